use super::place::Place;
use std::collections::BTreeSet;

#[test]
fn a_hit_list_to_the_letter() {
    Place::new().shows(
        "hits",
        &[
            "hitgap hits patches/late-bell.toml --bars 2",
            "hitgap hits patches/late-bell.toml --bars 2 --tempo 97.5 --fix phase+or-gate",
            "hitgap hits patches/moth-wakes-on-seven.toml --bars 1 --fix run-wire",
            "hitgap hits patches/late-bell.toml --tempo 50,60",
        ],
    );
}

/// `time_s,beat,due_beat,sequencer,step,velocity`: 12 decimals, at most 9, steps from 1, 100 for x and 127 for X.
#[test]
fn hits_are_written_as_the_contract_says() {
    let place = Place::new();
    for (patch, fix) in
        [("late-bell", "original"), ("late-bell", "phase"), ("thin-ice", "phase"), ("moth-wakes-on-seven", "original")]
    {
        let text = place.run(&format!("hitgap hits patches/{patch}.toml --fix {fix} --tempo 97.3")).exits(0).stdout;
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        assert_eq!(
            reader.headers().expect("headings"),
            ["time_s", "beat", "due_beat", "sequencer", "step", "velocity"].as_slice()
        );
        let mut order = Vec::new();
        let mut velocities = BTreeSet::new();
        for row in reader.records() {
            let row = row.expect("a sound row");
            let (whole, part) = row[0].split_once('.').expect("a point");
            assert!(part.len() == 12 && part.bytes().chain(whole.bytes()).all(|b| b.is_ascii_digit()), "{row:?}");
            for beat in [&row[1], &row[2]] {
                let decimals = beat.split_once('.').map_or("", |(_, d)| d);
                assert!(decimals.len() <= 9 && !decimals.ends_with('0'), "{row:?}");
                beat.parse::<f64>().expect("a decimal");
            }
            let picoseconds: u64 = format!("{whole}{part}").parse().expect("digits");
            let step: usize = row[4].parse().expect("a step");
            assert!((1..=16).contains(&step));
            order.push((picoseconds, row[3].to_owned(), step));
            velocities.insert(row[5].to_owned());
            // A pulse never sounds before its beat here, nor a hundredth of a period (two beats at most) after it.
            let late = picoseconds as f64 / 1e12 - row[1].parse::<f64>().expect("a beat") * 60.0 / 97.3;
            assert!((-1e-12..0.02 * 60.0 / 97.3 + 1e-12).contains(&late), "{row:?}");
        }
        assert!(order.len() > 40 && order.is_sorted(), "{patch}: in order of time, then name, then step");
        assert_eq!(velocities, BTreeSet::from(["100".into(), "127".into()]), "{patch}");
    }
}

#[test]
fn the_first_tempo_of_the_patch_is_taken() {
    let place = Place::new();
    let hits = |more: &str| place.run(&format!("hitgap hits patches/late-bell.toml{more}")).exits(0).stdout;
    assert_eq!(hits(""), hits(" --tempo 50"));
    assert_ne!(hits(""), hits(" --tempo 80"));
    assert_eq!(hits(""), hits(" --fix original"));
}
