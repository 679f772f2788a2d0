use super::Advised;
use super::advise_json::{fit_word, level_word};
use crate::judge::advise::{DialSetting, Window};
use crate::time::{PS_PER_US, Span};
use std::io::{self, Write};

const COLUMNS: [&str; 11] = [
    "row",
    "name",
    "tempo_bpm",
    "fit",
    "least_ms",
    "most_ms",
    "least_percent",
    "most_percent",
    "to_least_us",
    "to_most_us",
    "price",
];

/// Writes an advice as CSV. A row `window` is a window over all tolerances (without a tempo: at every tempo), `typical` one of
/// the typical run, `setting` a step of the dial, `holds` a range of tempos of a setting, `component` a component with its delay
/// as the window. What a row does not speak of is empty.
///
/// # Errors
/// What the writer says.
pub fn advise_csv(advised: &Advised<'_>, out: impl Write) -> io::Result<()> {
    let advice = advised.advice;
    let mut csv = csv::Writer::from_writer(out);
    csv.write_record(COLUMNS)?;
    let mut write = |cells: &[(&str, String)]| {
        let cell =
            |column: &&str| cells.iter().find(|(name, _)| name == column).map_or("", |(_, v)| v.as_str()).to_owned();
        csv.write_record(COLUMNS.iter().map(cell))
    };
    let ends = |w: &Window| [("least_ms", w.least.ms().to_string()), ("most_ms", w.most.ms().to_string())];
    let us = |span: Span| (span.0 as f64 / PS_PER_US as f64).to_string();
    for at in &advice.tempos {
        let tempo = ("tempo_bpm", at.tempo.to_string());
        let shares = at.shares();
        for (n, w) in at.sure.iter().enumerate() {
            let mut cells = vec![("row", "window".to_owned()), tempo.clone()];
            cells.extend(ends(w));
            if let Some(s) = shares.get(n) {
                let percent = |s: crate::patch::Share| (*s.numer() as f64 / *s.denom() as f64 * 100.0).to_string();
                cells.extend([("least_percent", percent(s.least)), ("most_percent", percent(s.most))]);
            }
            write(&cells)?;
        }
        for w in &at.passes {
            let mut cells = vec![("row", "typical".to_owned()), tempo.clone()];
            cells.extend(ends(w));
            write(&cells)?;
        }
        let steps = advice.dial.as_ref().map(|(steps, _)| at.settings(*steps).0).unwrap_or_default();
        for step in steps {
            write(&[
                ("row", "setting".to_owned()),
                ("name", step.to_string()),
                tempo.clone(),
                ("fit", "fits".to_owned()),
            ])?;
        }
    }
    for w in &advice.sure {
        let mut cells = vec![("row", "window".to_owned())];
        cells.extend(ends(w));
        write(&cells)?;
    }
    for hold in &advice.holds {
        let name = match hold.setting {
            DialSetting::Time(time) => format!("{} ms", super::exact_ms(time)),
            DialSetting::Share(share) => format!("{} %", crate::text::nine_places(share * 100)),
        };
        for (from, to) in &hold.ranges {
            let range = format!("{from}..{to}");
            write(&[
                ("row", "holds".to_owned()),
                ("name", name.clone()),
                ("tempo_bpm", range),
                ("fit", "passes".to_owned()),
            ])?;
        }
    }
    for part in &advice.parts {
        let lead = [("row", "component".to_owned()), ("name", part.name.clone())];
        let price = ("price", part.price.clone().unwrap_or_default());
        let mut of = |tempo: String, fit: &str, delay: Option<Window>, room: Option<crate::judge::advise::Room>| {
            let mut cells = lead.to_vec();
            cells.extend([("tempo_bpm", tempo), ("fit", fit.to_owned()), price.clone()]);
            cells.extend(delay.iter().flat_map(ends));
            cells.extend(room.iter().flat_map(|r| [("to_least_us", us(r.sooner)), ("to_most_us", us(r.later))]));
            write(&cells)
        };
        of(String::new(), fit_word(part.fit), part.delay, part.room)?;
        for at in &part.at {
            of(at.tempo.to_string(), level_word(at.level), at.delay, at.room)?;
        }
    }
    csv.flush()
}
