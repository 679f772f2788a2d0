//! Rigs as people describe them, the patch that each comes to, and its verdict worked out by hand in the same page.

use super::place::Place;
use serde_json::Value;
use std::path::Path;

/// A row of the table at the end of a page.
struct Row {
    variant: String,
    tempo: f64,
    passes: bool,
    /// Who is off the one, and by how many pulses at the worst.
    off: Vec<(String, i64)>,
    widest_ms: f64,
}

/// Figures are written with two decimals at least.
const TOLERANCE_MS: f64 = 0.005;

fn rows(page: &str) -> Vec<Row> {
    let rows = page.lines().skip_while(|line| !line.starts_with("| version |")).skip(2);
    rows.take_while(|line| line.starts_with('|'))
        .map(|line| {
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            let off = cells[3].split(", ").filter(|cell| !cell.is_empty()).map(|cell| {
                let (name, pulses) = cell.split_once(' ').expect("a name and a number");
                (name.to_owned(), pulses.parse().expect("a whole number"))
            });
            Row {
                variant: cells[0].to_owned(),
                tempo: cells[1].parse().expect("a tempo"),
                passes: cells[2] == "yes",
                off: off.collect(),
                widest_ms: cells[4].parse().expect("a gap"),
            }
        })
        .collect()
}

#[test]
fn a_rig_described_in_words_has_the_verdict_worked_out_by_hand() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/rigs-in-words");
    let mut pages: Vec<_> =
        std::fs::read_dir(folder).expect("the pages").map(|e| e.expect("an entry").path()).collect();
    pages.sort();
    assert!(pages.len() >= 3);
    for file in pages {
        let name = file.file_name().expect("a name").to_string_lossy().into_owned();
        let page = std::fs::read_to_string(&file).expect("a page").replace("\r\n", "\n");
        let patch = page.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).expect("a patch");
        assert!(patch.contains("like"), "{name} says what its boxes are like");
        let place = Place::new().with("mine.toml", patch);
        let ran = place.run("hitgap check mine.toml --format json");
        let said: Value = serde_json::from_str(&ran.stdout).unwrap_or_else(|_| panic!("{name}: {}", ran.stderr));
        let results = said["results"].as_array().expect("results");
        let rows = rows(&page);
        assert_eq!(rows.len(), results.len(), "{name}: a row for each variant and tempo");
        for (row, result) in rows.iter().zip(results) {
            let what = format!("{name}: {} at {}", row.variant, row.tempo);
            assert_eq!(
                (&result["variant"], &result["tempo_bpm"]),
                (&row.variant.as_str().into(), &row.tempo.into()),
                "{what}"
            );
            assert_eq!(result["passes"], row.passes, "{what}: {}", result["reasons"]);
            let off: Vec<(String, i64)> = result["sequencers"]
                .as_array()
                .expect("boxes")
                .iter()
                .map(|s| (s["name"].as_str().expect("a name").to_owned(), s["pulses_late_worst"].as_i64().unwrap_or(0)))
                .filter(|(_, pulses)| *pulses != 0)
                .collect();
            assert_eq!(off, row.off, "{what}");
            let worst = result["gaps"].as_array().expect("gaps").iter().filter_map(|gap| gap["worst_ms"].as_f64());
            let widest = worst.map(f64::abs).fold(0.0, f64::max);
            assert!((widest - row.widest_ms).abs() < TOLERANCE_MS, "{what}: {widest} ms");
        }
    }
}
