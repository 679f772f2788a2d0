//! From figures to places.

use super::text::figure;

/// A stretch of figures laid over a stretch of the picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    log: bool,
    /// The figures at both ends, the smaller first.
    low: f64,
    high: f64,
    /// Their places.
    from: f64,
    to: f64,
}

impl Scale {
    /// A scale on which equal differences are equally long.
    pub(super) fn even((low, high): (f64, f64), (from, to): (f64, f64)) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { log: false, low, high, from, to }
    }

    /// A scale on which equal ratios are; both ends must be positive.
    pub(super) fn log((low, high): (f64, f64), (from, to): (f64, f64)) -> Self {
        Self { log: true, low, high: if high > low { high } else { low * 10.0 }, from, to }
    }

    /// Where a figure lies; beyond the ends, at the end.
    pub(super) fn at(&self, value: f64) -> f64 {
        let value = value.clamp(self.low, self.high);
        let share = if self.log {
            // The same on every machine.
            libm::log10(value / self.low) / libm::log10(self.high / self.low)
        } else {
            (value - self.low) / (self.high - self.low)
        };
        self.from + share * (self.to - self.from)
    }

    /// Figures that are worth a label, from the smallest on: with `most` of them at most, powers of ten on a scale of ratios,
    /// and 1, 2 or 5 times such a power apart on an even one.
    pub(super) fn ticks(&self, most: usize) -> Vec<(f64, String)> {
        let most = most.max(1);
        let mut all = Vec::new();
        if self.log {
            let (first, last) = (libm::ceil(libm::log10(self.low) - 1e-9), libm::floor(libm::log10(self.high) + 1e-9));
            let count = (last - first + 1.0).max(0.0) as usize;
            let step = count.div_ceil(most).max(1);
            all.extend((0..count).step_by(step).map(|n| libm::pow(10.0, first + n as f64)));
        } else {
            let step = step((self.high - self.low) / most as f64);
            let first = libm::ceil(self.low / step - 1e-9);
            let count = (libm::floor(self.high / step + 1e-9) - first + 1.0).max(0.0) as usize;
            all.extend((0..count.min(most + 1)).map(|n| (first + n as f64) * step));
        }
        all.into_iter().map(|value| (value, figure(value + 0.0))).collect()
    }
}

/// The smallest of 1, 2 and 5 times a power of ten that is not under a size.
pub(super) fn step(size: f64) -> f64 {
    let size = size.max(1e-9);
    let ten = libm::pow(10.0, libm::floor(libm::log10(size)));
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * ten).find(|s| *s >= size * (1.0 - 1e-9)).unwrap_or(ten * 10.0)
}

/// The largest of 1, 2 and 5 times a power of ten that is not over a size.
pub(super) fn step_below(size: f64) -> f64 {
    let size = size.max(1e-9);
    let ten = libm::pow(10.0, libm::floor(libm::log10(size) + 1e-9));
    [5.0, 2.0, 1.0].into_iter().map(|m| m * ten).find(|s| *s <= size * (1.0 + 1e-9)).unwrap_or(ten)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decade_is_as_long_as_the_next() {
        let scale = Scale::log((0.01, 1000.0), (300.0, 50.0));
        let at: Vec<f64> = [0.01, 0.1, 1.0, 1000.0].map(|v| scale.at(v)).to_vec();
        assert!(at.iter().zip([300.0, 250.0, 200.0, 50.0]).all(|(a, b)| (a - b).abs() < 1e-9), "{at:?}");
        let words: Vec<String> = scale.ticks(9).into_iter().map(|t| t.1).collect();
        assert_eq!(words, ["0.01", "0.1", "1", "10", "100", "1000"]);
    }

    #[test]
    fn ticks_are_round_figures() {
        let words = |low, high, most| -> Vec<String> {
            Scale::even((low, high), (0.0, 1.0)).ticks(most).into_iter().map(|t| t.1).collect()
        };
        assert_eq!(words(40.0, 200.0, 5), ["50", "100", "150", "200"]);
        assert_eq!(words(-0.03, 0.05, 5), ["−0.02", "0", "0.02", "0.04"]);
        assert_eq!([step(3.0), step(0.02), step(1.0)], [5.0, 0.02, 1.0]);
        assert_eq!([step_below(3.0), step_below(0.04), step_below(1.0)], [2.0, 0.02, 1.0]);
    }
}
