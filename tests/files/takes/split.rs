//! One recorded part, taken apart: by velocity, by note, by channel.

use super::{Place, piece::file};

/// A part for the hands of one drummer at 120, 96 ticks a quarter note: on every beat but the last a main note, and before it a
/// grace note by as many ticks as its number, 5.2 ms each; on the last a main note alone. Grace notes are soft, on a
/// key and a channel of their own.
fn flams(count: u8) -> Vec<u8> {
    let mut notes: Vec<(u32, [u8; 3])> = Vec::new();
    for n in 1..=count {
        let beat = 96 * u32::from(n);
        notes.push((beat - u32::from(n), [0x92, 40, 30 + n]));
        notes.push((beat, [0x99, 38, 90 + n]));
    }
    notes.push((96 * (u32::from(count) + 1), [0x99, 38, 127]));
    let mut last = 0;
    let track = notes.into_iter().flat_map(|(tick, note)| {
        let delta = tick - std::mem::replace(&mut last, tick);
        let long = [0x80 | u8::try_from(delta >> 7).expect("short"), u8::try_from(delta & 0x7f).expect("seven bits")];
        [&long, &note[..]].concat()
    });
    file(1, &[track.collect()])
}

#[test]
fn the_flams_within_one_part_are_looked_at() {
    let place = Place::new();
    place.write("take.mid", flams(8));
    place.write("list.toml", "[hits.all]\nfile = \"take.mid\"\nvoice = \"snare\"\ngrid = \"4 per beat\"\n");
    // The same as CSV, which has velocities alone.
    place.write("take.csv", place.prints("hits list.toml").replace(",due_beat", ",was_due"));
    for (file, grace, main) in [
        ("take.mid", "max-velocity = 60", "min-velocity = 61"),
        ("take.csv", "max-velocity = 38", "min-velocity = 91"),
        ("take.mid", "channel = 3", "channel = 10"),
        ("take.mid", "notes = { 40 = \"click\" }", "notes = { 38 = \"click\" }"),
    ] {
        let take = |name: &str, keys: &str| {
            let voice = if keys.starts_with("notes") { "" } else { "voice = \"snare\"\n" };
            format!("[hits.{name}]\nfile = \"{file}\"\n{voice}grid = \"4 per beat\"\n{keys}\n")
        };
        place.write("take.toml", format!("max-gap = \"50 ms\"\n{}{}", take("grace", grace), take("main", main)));
        let report = place.json("check take.toml --format json");
        let gap = &report["results"][0]["gaps"][0];
        assert_eq!(
            (&gap["paired"], &gap["unpaired"], &gap["like"]),
            (&8.into(), &serde_json::json!([0, 1]), &true.into())
        );
        // A tick is 0.5 s / 96; the list in the CSV has it to the picosecond.
        for (figure, ticks) in [("min_ms", 1.0), ("max_ms", 8.0), ("median_ms", 4.5)] {
            let ms = gap[figure].as_f64().expect("a figure");
            assert!((ms - ticks * 500.0 / 96.0).abs() < 1e-6, "{file} {grace}: {gap}");
        }
        assert_eq!(report["passes"], true);
    }
    // A fix may draw the line elsewhere: then the loudest grace notes are main notes of their own.
    place.write(
        "take.toml",
        "[hits.soft]\nfile = \"take.mid\"\nvoice = \"snare\"\ngrid = \"4 per beat\"\nmax-velocity = 60\n\
         [fix.softer]\nset.\"hits.soft.max-velocity\" = 33\n",
    );
    let report = place.json("check take.toml --format json");
    assert_eq!([0, 1].map(|n| report["results"][n]["sequencers"][0]["hits"].clone()), [8, 3]);
}
