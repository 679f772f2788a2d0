//! Takes: hits from files beside sequencers, as a user meets them.
//!
//! The oracles are times in files that were written down here, the program's own lists read again, and `midly` for what
//! is in a MIDI file.

mod piece;
mod split;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// A folder with the example patches, in which the program runs.
struct Place(TempDir);

impl Place {
    fn new() -> Self {
        let dir = TempDir::new().expect("a temporary folder");
        for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("patches")).expect("the examples") {
            let from = entry.expect("an entry").path();
            std::fs::copy(&from, dir.path().join(from.file_name().expect("a name"))).expect("a copy");
        }
        Self(dir)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, bytes).expect("a file");
    }

    /// Runs the program with the words of a line.
    fn run(&self, line: &str) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_hitgap"));
        command.args(line.split_whitespace()).current_dir(self.0.path()).stdin(Stdio::null());
        command.output().expect("the program starts")
    }

    /// What it prints, where it must end well.
    fn prints(&self, line: &str) -> String {
        let ran = self.run(line);
        assert!(ran.status.success(), "{line}: {}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).expect("text")
    }

    fn json(&self, line: &str) -> serde_json::Value {
        serde_json::from_slice(&self.run(line).stdout).expect("JSON")
    }

    /// Its exit status and what it says to people.
    fn fails(&self, line: &str) -> (Option<i32>, String) {
        let ran = self.run(line);
        assert!(ran.stdout.is_empty(), "{line}: no partial result");
        (ran.status.code(), String::from_utf8(ran.stderr).expect("text"))
    }
}

/// A patch with nothing but a take in it.
fn alone(keys: &str) -> String {
    format!("tempos = [120]\nbars = 2\n\n[hits.wren]\n{keys}\n")
}

/// A standard MIDI file of type 0, byte by byte: 480 ticks a quarter note, no tempo, so at 120; keys 36 and 38 in turns on
/// beats 0, 1, 2 and 3.
fn four_beats() -> Vec<u8> {
    let mut notes = Vec::new();
    for (n, key) in [36, 38, 36, 38].into_iter().enumerate() {
        notes.extend(if n == 0 { &[0x00][..] } else { &[0x83, 0x60] });
        notes.extend([0x99, key, 100]);
    }
    notes.extend([0x00, 0xff, 0x2f, 0x00]);
    let mut file = b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk\0\0\0".to_vec();
    file.push(u8::try_from(notes.len()).expect("short"));
    file.extend(notes);
    file
}

#[test]
fn the_example_flams_and_a_nudge_leaves_what_wavers() {
    let place = Place::new();
    let report = place.json("check taken-by-hand.toml --format json");
    // The second of the sequencers is the take: no pulses, never off the one, its file named.
    let of = |variant: usize| &report["results"][variant];
    let wren = &of(0)["sequencers"][1];
    assert_eq!(wren["name"], "wren");
    assert_eq!(wren["file"], "taken-by-hand.csv");
    assert_eq!(
        (&wren["pulses_late_worst"], &wren["pulses_late_last"]),
        (&serde_json::Value::Null, &serde_json::Value::Null)
    );
    assert_eq!((&wren["right"], &wren["agrees"]), (&true.into(), &true.into()));
    // Worked out from the file alone: beat b at 96 is b · 0.625 s; Ox plays every beat, and the take is due on the
    // nearest quarter of one.
    let text = std::fs::read_to_string(place.path("taken-by-hand.csv")).expect("the take");
    let times: Vec<f64> =
        text.lines().skip(1).map(|l| l.split(',').next().expect("a time").parse().expect("a number")).collect();
    assert_eq!(wren["hits"], times.len());
    let gaps: Vec<f64> = times
        .iter()
        .filter_map(|t| {
            let due = (t / 0.625 * 4.0).round() / 4.0;
            (due.fract() == 0.0).then_some((t - due * 0.625) * 1000.0)
        })
        .collect();
    assert_eq!(of(0)["gaps"][0]["paired"], gaps.len());
    assert_eq!(of(0)["gaps"][0]["unpaired"], serde_json::json!([0, times.len() - gaps.len()]));
    for (variant, nudge, passes, band) in [(0, 0.0, false, "flam"), (1, -11.0, true, "thicker")] {
        let gap = &of(variant)["gaps"][0];
        let (least, most) = gaps.iter().fold((f64::MAX, f64::MIN), |(a, b), g| (a.min(g + nudge), b.max(g + nudge)));
        // The file has four decimals; here floats were added.
        assert!((gap["min_ms"].as_f64().expect("a figure") - least).abs() < 1e-6, "{gap}");
        assert!((gap["max_ms"].as_f64().expect("a figure") - most).abs() < 1e-6, "{gap}");
        assert_eq!((&of(variant)["passes"], &gap["band"]), (&passes.into(), &band.into()));
    }
}

#[test]
fn a_take_is_heard_in_the_mix_alone_and_by_turns() {
    let place = Place::new();
    let files = place.prints("render taken-by-hand.toml --stems --bars 1 --out made");
    let names: Vec<&str> = files.lines().filter_map(|l| l.rsplit('/').next()).collect();
    let name = |stem: &str| format!("taken-by-hand.original.96bpm{stem}.wav");
    assert_eq!(names, [name(""), name(".ox"), name(".wren")]);
    let samples = |file: &str| -> Vec<i32> {
        let mut reader = hound::WavReader::open(place.path("made").join(file)).expect("a sound");
        reader.samples::<i32>().map(|s| s.expect("a sample")).collect()
    };
    let [mix, ox, wren] = ["", ".ox", ".wren"].map(|stem| samples(&name(stem)));
    assert!(wren.iter().any(|s| s.abs() > 1 << 18), "the take sounds");
    // A mix is the sum of its stems, but for the rounding of three files to 24 bits.
    assert!(mix.iter().zip(ox.iter().zip(&wren)).all(|(m, (a, b))| (m - a - b).abs() <= 2));
    let said = place.prints("compare taken-by-hand.toml --bars 1 --out turns");
    assert!(said.contains("wren 15.2 ms after ox") && said.contains("original → nudge"), "{said}");
    assert!(place.path("turns/taken-by-hand.original+nudge.96bpm.wav").exists());
}

#[test]
fn a_list_read_again_is_the_same_list() {
    let place = Place::new();
    let mut compared = 0;
    for (patch, fix, tempo, names) in [
        ("late-bell", "original", "97.3", &["ox", "wren"][..]),
        ("late-bell", "phase+or-gate", "50", &["ox", "wren"]),
        ("thin-ice", "phase", "133.333333", &["ox", "wren"]),
        ("moth-wakes-on-seven", "original", "120", &["ox", "wren", "moth"]),
        ("taken-by-hand", "nudge", "96", &["ox", "wren"]),
    ] {
        let list = place.prints(&format!("hits {patch}.toml --fix {fix} --tempo {tempo}"));
        let named = |name: &&&str| list.contains(&format!(",{name},"));
        place.write("again/list.csv", &list);
        let mut again = "bars = 64\n".to_owned();
        for name in names.iter().filter(named) {
            again += &format!("[hits.{name}]\nfile = \"list.csv\"\nonly = \"{name}\"\nvoice = \"click\"\n");
        }
        place.write("again/again.toml", &again);
        // At whatever tempo: the file gives all that is asked.
        assert!(place.prints(&format!("hits again/again.toml --tempo {tempo}")) == list, "{patch} {fix}");
        assert!(place.prints("hits again/again.toml --tempo 61") == list, "{patch} {fix}");
        compared += list.lines().count() - 1;
    }
    assert!(compared > 300, "{compared} hits were compared");
}

/// Beats in thirds are written with nine decimals, and meet those of a sequencer all the same.
#[test]
fn a_sequencer_and_its_own_list_pair_without_a_gap() {
    let place = Place::new();
    let triplets = "tempos = [117.7]\n[clock.thirds]\nrate = \"3 per beat\"\n\n[clock.sevenths]\nrate = \"7 per 5 beats\"\n\n\
                    [sequencer.ox]\nclock = \"thirds\"\nsteps = \"Xxx\"\nvoice = \"kick\"\n\n\
                    [sequencer.moth]\nclock = \"sevenths\"\nsteps = \"x\"\nvoice = \"hat\"\n";
    place.write("thirds.toml", triplets);
    place.write("list.csv", place.prints("hits thirds.toml"));
    let take = |name: &str| format!("[hits.{name}-again]\nfile = \"list.csv\"\nonly = \"{name}\"\nvoice = \"snare\"\n");
    place.write("both.toml", format!("{triplets}\n{}{}", take("ox"), take("moth")));
    let report = place.json("check both.toml --format json");
    for gap in report["results"][0]["gaps"].as_array().expect("gaps") {
        let [a, b] = [0, 1].map(|n| gap["between"][n].as_str().expect("a name"));
        if b == format!("{a}-again") {
            assert_eq!((&gap["unpaired"], &gap["worst_ms"]), (&serde_json::json!([0, 0]), &0.0.into()), "{gap}");
            assert!(gap["paired"].as_u64().expect("a number") > 20);
        }
    }
}

#[test]
fn a_midi_file_is_read_at_its_own_times_or_follows_the_tempo() {
    let place = Place::new();
    place.write("take.mid", four_beats());
    let hits = |keys: &str, tempo: &str| -> Vec<String> {
        place.write("take.toml", alone(&format!("file = \"take.mid\"\n{keys}")));
        place.prints(&format!("hits take.toml --tempo {tempo}")).lines().skip(1).map(str::to_owned).collect()
    };
    let both = "notes = { 36 = \"kick\", 38 = \"snare\" }\ngrid = \"4 per beat\"";
    // At 120 a quarter note is half a second.
    let at_120 = [
        "0.000000000000,0,0,wren,1,100",
        "0.500000000000,1,1,wren,2,100",
        "1.000000000000,2,2,wren,3,100",
        "1.500000000000,3,3,wren,4,100",
    ];
    assert_eq!(hits(both, "120"), at_120);
    // At 60 the same times are half as many beats.
    assert_eq!(hits(both, "60")[3], "1.500000000000,1.5,1.5,wren,4,100");
    assert_eq!(hits(&format!("{both}\nfollow-tempo = true"), "60")[3], "3.000000000000,3,3,wren,4,100");
    // A nudge of a sixteenth is one of the due beat too, and what is due before the start is left out.
    assert_eq!(hits(&format!("{both}\noffset = \"125 ms\""), "120")[0], "0.125000000000,0.25,0.25,wren,1,100");
    assert_eq!(hits(&format!("{both}\noffset = \"-125 ms\""), "120").len(), 3);
    // Notes without a voice are left out.
    assert_eq!(hits("notes = { 38 = \"snare\" }\ngrid = \"1 per beat\"", "120").len(), 2);
    assert_eq!(hits("voice = \"kick\"\nchannel = 9\ngrid = \"1 per beat\"", "120").len(), 0);
    // Two voices are no like sounds with anybody.
    place.write("take.toml", alone(&format!("file = \"take.mid\"\n{both}\noffset = \"-125 ms\"")));
    let report = place.json("check take.toml --format json");
    let warnings = report["results"][0]["warnings"].as_array().expect("warnings");
    assert!(
        warnings
            .iter()
            .any(|w| w == "1 hit is left out of wren: due before the start, or at the end of the patch or later")
    );
}

/// 30,720 ticks a quarter note at 500,000 µs: half a tick is 8.14 µs.
#[test]
fn a_list_goes_through_a_midi_file_within_half_a_tick() {
    let place = Place::new();
    // Four bars at 120 last 8 s, and the take 9.4.
    let said = place.run("hits taken-by-hand.toml --tempo 120 --format midi --out take.mid");
    assert_eq!(String::from_utf8_lossy(&said.stdout), "take.mid\n");
    assert_eq!(
        String::from_utf8_lossy(&said.stderr),
        "note: 5 hits are left out of wren: due before the start, or at the end of the patch or later\n\
         help: without `bars` a patch lasts as long as its takes, and `offset` moves a take\n\
         times are rounded to ticks, 30720 a quarter note, by at most 0.0081 ms; the tempo is written as 500000 us a quarter note\n"
    );
    let bytes = std::fs::read(place.path("take.mid")).expect("the file");
    let smf = midly::Smf::parse(&bytes).expect("what midly reads");
    assert_eq!(smf.header.timing, midly::Timing::Metrical(30_720.into()));
    assert_eq!((smf.header.format, smf.tracks.len()), (midly::Format::Parallel, 3));
    assert!(bytes.windows(6).any(|w| w == [0xff, 0x51, 0x03, 0x07, 0xa1, 0x20]), "500,000 is 07 A1 20");
    // To a pipe the same bytes.
    assert!(place.run("hits taken-by-hand.toml --tempo 120 --format midi").stdout == bytes);
    let take = |name: &str| {
        format!("[hits.{name}]\nfile = \"take.mid\"\nonly = \"{name}\"\nvoice = \"click\"\ngrid = \"4 per beat\"\n")
    };
    place.write("again.toml", format!("bars = 4\n{}{}", take("ox"), take("wren")));
    let rows = |text: String| -> Vec<(f64, String, String, String)> {
        let mut rows: Vec<_> = text
            .lines()
            .skip(1)
            .map(|line| {
                let cells: Vec<&str> = line.split(',').collect();
                (
                    cells[0].parse::<f64>().expect("seconds"),
                    cells[2].to_owned(),
                    cells[3].to_owned(),
                    cells[5].to_owned(),
                )
            })
            .collect();
        rows.sort_by(|a, b| a.2.cmp(&b.2).then(a.0.total_cmp(&b.0)));
        rows
    };
    let before = rows(place.prints("hits taken-by-hand.toml --tempo 120"));
    let after = rows(place.prints("hits again.toml --tempo 120"));
    assert_eq!(before.len(), after.len());
    for (a, b) in before.iter().zip(&after) {
        assert!((a.0 - b.0).abs() <= 0.5 / 30_720.0 * 0.5 + 1e-12, "{a:?} {b:?}");
        assert_eq!((&a.1, &a.2, &a.3), (&b.1, &b.2, &b.3));
    }
}

#[test]
fn a_file_that_is_there_is_left_alone() {
    let place = Place::new();
    place.write("mine.csv", "dear diary");
    let line = "hits late-bell.toml --out mine.csv";
    let (status, said) = place.fails(line);
    assert_eq!(status, Some(3));
    assert_eq!(
        said,
        "error: `mine.csv` is there already\nhelp: name another file, or write over it with --overwrite\n"
    );
    assert_eq!(std::fs::read(place.path("mine.csv")).expect("the diary"), b"dear diary");
    place.prints(&format!("{line} --overwrite"));
    assert_eq!(std::fs::read_to_string(place.path("mine.csv")).expect("a list"), place.prints("hits late-bell.toml"));
    let (status, said) = place.fails("hits late-bell.toml --out nowhere/mine.csv");
    assert!(status == Some(3) && said.starts_with("error: `nowhere/mine.csv` could not be written: "), "{said}");
    let names: Vec<_> =
        std::fs::read_dir(place.0.path()).expect("the folder").map(|e| e.expect("an entry").file_name()).collect();
    assert!(names.iter().all(|n| !n.to_string_lossy().starts_with('.')), "no half-written file is left: {names:?}");
}

#[test]
fn what_is_wrong_with_a_file_is_told() {
    let place = Place::new();
    place.write("deep/take.toml", alone("file = \"take.csv\"\nvoice = \"snare\"\ngrid = \"4 per beat\""));
    let fails = |bytes: &[u8]| {
        place.write("deep/take.csv", bytes);
        place.fails("check deep/take.toml")
    };
    assert_eq!(
        fails(b"time_s\n0.5\n0;6\n"),
        (
            Some(2),
            "error: the take `wren` (`deep/take.csv`): line 3, column 1 (`time_s`): found `0;6`, expected seconds as a plain \
             decimal, such as 1.25\nhelp: write seconds from the clock's start, with a point: 0.512\n"
                .to_owned()
        )
    );
    assert_eq!(fails(b"MThd").0, Some(2));
    let large = vec![b'\n'; (64 << 20) + 10];
    assert_eq!(
        fails(&large),
        (
            Some(2),
            "error: the take `wren` (`deep/take.csv`): found 67108874 bytes, expected at most 67108864 (64 MiB)\n\
             help: cut the recording into shorter ones\n"
                .to_owned()
        )
    );
    std::fs::remove_file(place.path("deep/take.csv")).expect("gone");
    let (status, said) = place.fails("check deep/take.toml");
    assert_eq!(status, Some(3));
    assert!(said.starts_with("error: the take `wren` (`deep/take.csv`) could not be read: "), "{said}");
    assert!(said.ends_with("help: look at the spelling: `file` is relative to the patch file\n"), "{said}");
    // A file that only a fix names is looked for as well.
    let fix = "[fix.other]\nset.\"hits.wren.file\" = \"other.csv\"\n";
    let take = alone("file = \"take.csv\"\nvoice = \"snare\"\ngrid = \"4 per beat\"");
    place.write("deep/take.csv", "time_s\n0\n");
    place.write("deep/take.toml", format!("{take}\n{fix}"));
    assert!(place.fails("hits deep/take.toml").1.contains("`deep/other.csv`"));
    place.write("deep/other.csv", "time_s\n1\n");
    let time =
        |fix: &str| place.prints(&format!("hits deep/take.toml --fix {fix}")).lines().nth(1).map(|l| l[..5].to_owned());
    assert_eq!((time("original"), time("other")), (Some("0.000".to_owned()), Some("1.000".to_owned())));
}

/// Ten thousand hits are routine, far apart and close together.
#[test]
fn ten_thousand_hits_are_all_there() {
    let place = Place::new();
    let rows: String = (0..10_000_i64).map(|n| format!("{}.{:03}\n", n / 8, n % 8 * 125 + n % 3)).collect();
    place.write("take.csv", format!("time_s\n{rows}"));
    place.write(
        "take.toml",
        alone("file = \"take.csv\"\nvoice = \"hat\"\ngrid = \"4 per beat\"").replace("bars = 2", "bars = 700"),
    );
    let list = place.prints("hits take.toml --tempo 120");
    assert_eq!(list.lines().count(), 10_001);
    // An eighth of a second at 120 is a sixteenth; a millisecond or two do not change the nearest.
    for (n, row) in list.lines().skip(1).enumerate() {
        let due: f64 = row.split(',').nth(2).expect("a due beat").parse().expect("a number");
        assert_eq!(due, n as f64 / 4.0, "{row}");
    }
}

/// Against a take, which every run has alike, only the other's jitter is left: the gap's SD is σ, not σ√2 (closed form;
/// cut at 4 SD it is 0.9995 σ). 16,000 draws leave 0.6 % of it to chance; 3 % are five times that.
#[test]
fn runs_leave_a_take_as_it_is() {
    let place = Place::new();
    let rows: String = (0..32).map(|n| format!("{}.{:03}\n", n / 2, n % 2 * 500 + 50)).collect();
    place.write("take.csv", format!("time_s\n{rows}"));
    let patch = "tempos = [120]\nbars = 8\nmax-gap = \"100 ms\"\n[clock.beats]\nrate = \"1 per beat\"\n\n\
                 [stage.loose]\nkind = \"jitter\"\neach = { sd = \"1 ms\" }\n\n\
                 [sequencer.ox]\nclock = [\"beats\", \"loose\"]\nsteps = \"x\"\nvoice = \"kick\"\n\n\
                 [sequencer.moth]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"hat\"\n\n\
                 [hits.wren]\nfile = \"take.csv\"\nvoice = \"snare\"\ngrid = \"1 per beat\"\n";
    place.write("take.toml", patch);
    let report = place.json("check take.toml --format json --runs 500 --seed 3");
    let runs = &report["results"][0]["runs"];
    let gap = |a: &str, b: &str| {
        let pair = serde_json::json!([a, b]);
        runs["gaps"].as_array().expect("gaps").iter().find(|g| g["between"] == pair).expect("a pair").clone()
    };
    let sd = gap("ox", "wren")["figures"]["sd_ms"].as_f64().expect("a figure");
    assert!((sd - 1.0).abs() < 0.03, "{runs}");
    assert_eq!(gap("moth", "wren")["figures"]["sd_ms"], 0.0);
    assert_eq!(gap("moth", "wren")["figures"]["worst_ms"], 50.0);
    // Jitter never comes before its cause and goes 8 ms late at most: the first of the three is Moth, the last the take.
    assert_eq!((&runs["spread"]["p5_ms"], &runs["spread"]["worst_ms"]), (&50.0.into(), &50.0.into()));
    assert_eq!(runs["spread"]["count"], 500 * 32);
    assert_eq!(runs["sequencers"].as_array().expect("sequencers").len(), 2);
}
