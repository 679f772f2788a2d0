/// The pulses of a clock in one recording, numbered.
#[derive(Clone, Debug, PartialEq)]
pub struct Clock {
    /// Quarter notes from the first pulse, and seconds by the recorder's clock; in order.
    pulses: Vec<(f64, f64)>,
    /// Quarter notes from pulse to pulse.
    beats: f64,
    /// The straight line through all pulses: seconds at the first, and a quarter note.
    start: f64,
    quarter: f64,
    /// How far the recorder's clock is off against the tempo, in millionths, and its standard error.
    ppm: Option<(f64, f64)>,
}

/// How far from the written tempo pulses may be to be numbered by it.
const TEMPO_OFF: f64 = 0.02;

impl Clock {
    /// Numbers pulses at so many quarter notes a minute; none where under two of them keep that tempo at some whole number a
    /// quarter note, or some whole number of quarter notes.
    #[must_use]
    pub fn of(seconds: &[f64], tempo: f64) -> Option<Self> {
        let quarter = 60.0 / tempo;
        let mut between: Vec<f64> = seconds.windows(2).map(|two| (two[1] - two[0]) / quarter).collect();
        if between.is_empty() {
            return None;
        }
        let usual = super::class::median(&mut between);
        let beats = if usual < 0.75 { 1.0 / (1.0 / usual).round() } else { usual.round() };
        if !(usual / beats - 1.0).abs().le(&TEMPO_OFF) {
            return None;
        }
        let mut number = 0.0;
        let mut pulses = vec![(0.0, seconds[0])];
        for two in seconds.windows(2) {
            let steps = ((two[1] - two[0]) / quarter / beats).round();
            // A second edge within a pulse is none of its own.
            if steps >= 1.0 {
                number += steps;
                pulses.push((number * beats, two[1]));
            }
        }
        let (start, slope, error) = line(&pulses);
        let ppm = (pulses.len() >= 3).then(|| ((slope / quarter - 1.0) * 1e6, error / quarter * 1e6));
        Some(Self { pulses, beats, start, quarter: slope, ppm })
    }

    /// How much too many seconds the recorder counts, in millionths, and the standard error of that. The clock's own error is
    /// in it: nobody can tell the two apart.
    #[must_use]
    pub fn ppm(&self) -> Option<(f64, f64)> {
        self.ppm
    }

    /// Quarter notes from pulse to pulse.
    #[must_use]
    pub fn beats(&self) -> f64 {
        self.beats
    }

    /// The recorder's seconds at so many quarter notes from the first pulse: those of the pulse there, or of the line through
    /// its neighbours, or beyond them of the line through all.
    #[must_use]
    pub fn at(&self, beat: f64) -> f64 {
        let after = self.pulses.partition_point(|(of, _)| *of < beat - 1e-6);
        let line = |beat: f64| self.start + self.quarter * beat;
        let Some(right) = self.pulses.get(after) else { return line(beat) };
        if (right.0 - beat).abs() < 1e-6 {
            return right.1;
        }
        let Some(left) = after.checked_sub(1).map(|before| self.pulses[before]) else { return line(beat) };
        left.1 + (right.1 - left.1) * (beat - left.0) / (right.0 - left.0)
    }

    /// Quarter notes from the first pulse at the recorder's seconds, on the line through all pulses.
    #[must_use]
    pub fn beat(&self, seconds: f64) -> f64 {
        (seconds - self.start) / self.quarter
    }

    /// True seconds a second of the recorder, as far as the pulses say.
    #[must_use]
    pub fn true_seconds(&self) -> f64 {
        1.0 / (1.0 + self.ppm.map_or(0.0, |(ppm, _)| ppm) * 1e-6)
    }
}

/// The line through some points by least squares: its value at 0, its slope, the slope's standard error.
pub(super) fn line(points: &[(f64, f64)]) -> (f64, f64, f64) {
    let count = points.len() as f64;
    let (x, y) = points.iter().fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
    let (x, y) = (x / count, y / count);
    let square: f64 = points.iter().map(|point| (point.0 - x).powi(2)).sum();
    if square == 0.0 {
        return (y, 0.0, f64::INFINITY);
    }
    let slope = points.iter().map(|point| (point.0 - x) * (point.1 - y)).sum::<f64>() / square;
    let left: f64 = points.iter().map(|point| (point.1 - y - slope * (point.0 - x)).powi(2)).sum();
    let error = if count > 2.0 { (left / (count - 2.0) / square).sqrt() } else { f64::INFINITY };
    (y - slope * x, slope, error)
}
