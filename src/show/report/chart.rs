use super::{Checked, Table, table::Align, words};
use crate::judge::Gap;
use crate::judge::Judged;
use crate::time::Span;
use std::fmt::Write;

/// The most tempos that have a column: of more, some that are equally far apart in the list.
const MOST_TEMPOS: usize = 12;
/// The most variants that have a letter: of more there is no chart.
const MOST_VARIANTS: usize = 8;

/// The fewest rows that show more than the table does.
const FEWEST_ROWS: i32 = 3;

/// Gap over tempo in characters: two rows to a tenfold, a letter a variant, side by side in the column of its tempo. Empty
/// with a single tempo, where nothing meets, and where all gaps are of nearly one size.
#[must_use]
pub(super) fn gap_chart(checked: &Checked<'_>) -> String {
    let variants: Vec<&[Judged<'_>]> = checked.results.chunk_by(|a, b| a.variant.name == b.variant.name).collect();
    let tempos = variants.first().map_or(0, |v| v.len());
    let gap = |j: &Judged<'_>| j.verdict.worst_gap().and_then(Gap::worst);
    let rows = || checked.results.iter().filter_map(gap).filter_map(row);
    let (Some(low), Some(high)) = (rows().min(), rows().max()) else { return String::new() };
    if tempos < 2 || variants.len() > MOST_VARIANTS {
        return String::new();
    }
    let limit = row(checked.patch.max_gap);
    let (low, high) = (low.min(limit.unwrap_or(low)), high.max(limit.unwrap_or(high)));
    if high - low + 1 < FEWEST_ROWS {
        return String::new();
    }
    let shown = tempos.min(MOST_TEMPOS);
    let columns: Vec<usize> = (0..shown).map(|n| n * (tempos - 1) / (shown - 1).max(1)).collect();
    let letter = |n: usize| char::from(b'a' + n as u8);
    let names: Vec<String> =
        variants.iter().enumerate().map(|(n, v)| format!("{} {}", letter(n), v[0].variant.name)).collect();
    let mut out = format!("gap in ms over tempo: {}\n", names.join(", "));
    let mut head = vec![(String::new(), Align::Right)];
    head.extend(columns.iter().map(|_| (String::new(), Align::Left)));
    head.push((String::new(), Align::Left));
    let mut lines = Table::new(&head.iter().map(|(t, a)| (t.as_str(), *a)).collect::<Vec<_>>());
    let cells = |at: Option<i32>, none: char| -> Vec<String> {
        let cell = |&column: &usize| {
            let here = |n: usize| gap(&variants[n][column]).is_some_and(|g| row(g) == at);
            let text: String = (0..variants.len()).map(|n| if here(n) { letter(n) } else { none }).collect();
            if none == ' ' { text.trim_end().to_owned() } else { text }
        };
        columns.iter().map(cell).collect()
    };
    for n in (low..=high).rev() {
        let label = if n.rem_euclid(2) == 0 { words::ms(power(n / 2)) } else { String::new() };
        let (dots, note) = if Some(n) == limit {
            ('·', format!("··  max gap {} ms", words::exact_ms(checked.patch.max_gap)))
        } else {
            (' ', String::new())
        };
        lines.row([label].into_iter().chain(cells(Some(n), dots)).chain([note]));
    }
    if checked.results.iter().filter_map(gap).any(|g| g == Span::ZERO) {
        lines.row(["0".to_owned()].into_iter().chain(cells(None, ' ')));
    }
    let tempo = |c: &usize| variants[0][*c].tempo.to_string();
    lines.row(["tempo".to_owned()].into_iter().chain(columns.iter().map(tempo)));
    // The first line is that of the headings, which are empty.
    let _ = out.write_str(lines.render().trim_start_matches('\n'));
    out.push('\n');
    out
}

/// The row of a gap: even ones begin at powers of ten of a millisecond, odd ones at √10 times that; none for nought.
fn row(gap: Span) -> Option<i32> {
    // Whole numbers: what is a power of ten must not fall below itself by rounding.
    let ps = i128::from(gap.0).abs();
    let tens = ps.checked_ilog10()?;
    let half = ps * ps >= 10 * 10_i128.pow(2 * tens);
    Some(2 * (tens as i32 - 9) + i32::from(half))
}

/// A power of ten of a millisecond; under a picosecond there is none.
fn power(exponent: i32) -> Span {
    let ps = i64::from(exponent) + 9;
    Span(10_i64.pow(u32::try_from(ps.clamp(0, 18)).unwrap_or(0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_begins_with_its_power_of_ten() {
        for exponent in -6..=5 {
            let at = power(exponent);
            assert_eq!(row(at), Some(2 * exponent), "{exponent}");
            assert_eq!(row(Span(at.0 - 1)), Some(2 * exponent - 1), "{exponent}");
            assert_eq!(row(Span(-at.0 * 4)), Some(2 * exponent + 1), "√10 is 3.16");
        }
        assert_eq!(row(Span::ZERO), None);
    }
}
