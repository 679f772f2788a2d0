/// Looks for the least value of a function of three numbers, from a point and the first steps along each axis.
///
/// The simplex of Nelder and Mead (Computer Journal 7:308, 1965) with its usual factors: reflection 1, expansion 2,
/// contraction ½, shrinkage ½, as in the documentation of MATLAB's `fminsearch`. Bounds are the function's business. Ends
/// when all corners agree to `close` in value and to 10⁻⁵ in place, or after 600 looks.
#[must_use]
pub fn minimise(f: &dyn Fn([f64; 3]) -> f64, from: [f64; 3], steps: [f64; 3], close: f64) -> ([f64; 3], f64) {
    let mut corners: Vec<([f64; 3], f64)> = vec![(from, f(from))];
    for axis in 0..3 {
        let mut at = from;
        at[axis] += steps[axis];
        corners.push((at, f(at)));
    }
    for _ in 0..600 {
        corners.sort_by(|a, b| a.1.total_cmp(&b.1));
        let (best, worst) = (corners[0], corners[3]);
        let wide = (0..3).any(|i| corners.iter().any(|c| (c.0[i] - best.0[i]).abs() > 1e-5));
        if worst.1 - best.1 < close && !wide {
            break;
        }
        let mut middle = [0.0; 3];
        for (i, m) in middle.iter_mut().enumerate() {
            *m = (corners[0].0[i] + corners[1].0[i] + corners[2].0[i]) / 3.0;
        }
        let along = |t: f64| {
            let mut at = middle;
            for (i, a) in at.iter_mut().enumerate() {
                *a += t * (middle[i] - worst.0[i]);
            }
            (at, f(at))
        };
        let over = along(1.0);
        if over.1 < best.1 {
            let far = along(2.0);
            corners[3] = if far.1 < over.1 { far } else { over };
        } else if over.1 < corners[2].1 {
            corners[3] = over;
        } else {
            let near = if over.1 < worst.1 { along(0.5) } else { along(-0.5) };
            if near.1 < worst.1.min(over.1) {
                corners[3] = near;
            } else {
                for corner in &mut corners[1..] {
                    for (x, b) in corner.0.iter_mut().zip(best.0) {
                        *x = b + (*x - b) / 2.0;
                    }
                    corner.1 = f(corner.0);
                }
            }
        }
    }
    corners.sort_by(|a, b| a.1.total_cmp(&b.1));
    corners[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rosenbrock's valley in two of three numbers: least at 1, 1.
    #[test]
    fn a_bent_valley_is_followed_to_its_end() {
        let f = |[x, y, z]: [f64; 3]| 100.0 * (y - x * x) * (y - x * x) + (1.0 - x) * (1.0 - x) + (z - 3.0) * (z - 3.0);
        let (at, value) = minimise(&f, [-1.2, 1.0, 0.0], [0.5, 0.5, 0.5], 1e-12);
        // The place is known to about the root of the value.
        assert!(value < 1e-9 && (at[0] - 1.0).abs() < 1e-4 && (at[2] - 3.0).abs() < 1e-4, "{at:?} {value}");
    }
}
