use super::text::number;

/// The outline of the mark of a line of a number, centred at a place: round, square, upright, on its tip, a cross, and
/// upside down; then again.
pub(super) fn shape(line: usize, (x, y): (f64, f64)) -> String {
    let corners = |list: &[(f64, f64)]| {
        let at = |(dx, dy): &(f64, f64)| format!("{} {}", number(x + dx), number(y + dy));
        format!("M{}Z", list.iter().map(at).collect::<Vec<_>>().join("L"))
    };
    match line % 6 {
        0 => {
            let (left, right, y) = (number(x - 4.0), number(x + 4.0), number(y));
            format!("M{left} {y}A4 4 0 0 1 {right} {y}A4 4 0 0 1 {left} {y}Z")
        }
        1 => corners(&[(-3.6, -3.6), (3.6, -3.6), (3.6, 3.6), (-3.6, 3.6)]),
        2 => corners(&[(0.0, -4.8), (4.6, 3.6), (-4.6, 3.6)]),
        3 => corners(&[(0.0, -5.2), (5.2, 0.0), (0.0, 5.2), (-5.2, 0.0)]),
        4 => corners(&[
            (-1.5, -4.5),
            (1.5, -4.5),
            (1.5, -1.5),
            (4.5, -1.5),
            (4.5, 1.5),
            (1.5, 1.5),
            (1.5, 4.5),
            (-1.5, 4.5),
            (-1.5, 1.5),
            (-4.5, 1.5),
            (-4.5, -1.5),
            (-1.5, -1.5),
        ]),
        _ => corners(&[(0.0, 4.8), (4.6, -3.6), (-4.6, -3.6)]),
    }
}
