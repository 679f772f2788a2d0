//! What a take says of the piece: its tempo, its meter, its length. The files are written here byte by byte, after the
//! Standard MIDI File specification 1.0: `FF 51 03` and microseconds a quarter note, `FF 58 04` and a meter.

use super::Place;

const END: [u8; 4] = [0x00, 0xff, 0x2f, 0x00];

/// A file of type 1 of these tracks at 96 ticks a quarter note, whose head promises so many.
pub(crate) fn file(promised: u16, tracks: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06\0\x01".to_vec();
    bytes.extend(promised.to_be_bytes());
    bytes.extend(96_u16.to_be_bytes());
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend(u32::try_from(track.len() + END.len()).expect("short").to_be_bytes());
        bytes.extend(track.iter().chain(&END));
    }
    bytes
}

fn tempo(micros: u32) -> Vec<u8> {
    [&[0x00, 0xff, 0x51, 0x03], &micros.to_be_bytes()[1..]].concat()
}

/// A note of each key on every quarter note from the start.
fn beats(count: usize) -> Vec<u8> {
    (0..count).flat_map(|n| [if n == 0 { 0 } else { 96 }, 0x99, 38, 100]).collect()
}

/// 138 is 434,783 µs (60,000,000 / 138, rounded); three quarters are 03 02: the second is a power of two.
fn waltz(count: usize) -> Vec<u8> {
    let head = [tempo(434_783), vec![0x00, 0xff, 0x58, 0x04, 3, 2, 24, 8]].concat();
    file(2, &[head, beats(count)])
}

const BEATS: &str =
    "[clock.beats]\nrate = \"1 per beat\"\n\n[sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"kick\"\n\n";
const WREN: &str = "[hits.wren]\nfile = \"take.mid\"\nvoice = \"snare\"\ngrid = \"4 per beat\"\n";

impl Place {
    /// What it says to people, where it ends well or finds that something does not pass.
    fn says(&self, line: &str) -> String {
        let ran = self.run(line);
        assert!(ran.status.code().is_some_and(|code| code < 2), "{line}: {}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stderr).expect("text")
    }
}

#[test]
fn a_take_decides_what_the_patch_leaves_open() {
    let place = Place::new();
    place.write("take.mid", waltz(40));
    place.write("take.toml", format!("{BEATS}{WREN}"));
    let report = place.json("check take.toml --format json");
    let [result] = &report["results"].as_array().expect("results")[..] else { panic!("one tempo: {report}") };
    assert_eq!((&result["tempo_bpm"], &result["sequencers"][1]["hits"]), (&138.0.into(), &40.into()));
    // 40 beats end in bar 14 of three: Ox plays all 42 of its beats. The file's beat is 0.39 µs longer than that of 138.
    let gap = &result["gaps"][0];
    assert_eq!((&gap["paired"], &gap["unpaired"]), (&40.into(), &serde_json::json!([2, 0])));
    let drift = 39.0 * (434_783.0 - 60e6 / 138.0) / 1000.0;
    assert!((gap["worst_ms"].as_f64().expect("a figure") - drift).abs() < 1e-6, "{gap}");
    let said = place.says("check take.toml");
    assert_eq!(said, "note: what the patch leaves open is as in its takes: the tempo 138, the meter 3/4, 14 bars\n");
    // What is written or asked for stands, and what is left open alone is decided.
    for (written, options, decided) in [
        ("tempos = [138]\n", "", "the meter 3/4, 14 bars"),
        ("", " --tempo 138", "the meter 3/4, 14 bars"),
        ("meter = \"3/4\"\n", "", "the tempo 138, 14 bars"),
        ("meter = \"3/4\"\n", " --bars 14", "the tempo 138"),
        ("bars = 14\n", "", "the tempo 138, the meter 3/4"),
    ] {
        place.write("take.toml", format!("{written}{BEATS}{WREN}"));
        let said = place.says(&format!("check take.toml{options}"));
        assert_eq!(said, format!("note: what the patch leaves open is as in its takes: {decided}\n"));
        let more = place.json(&format!("check take.toml --format json{options}"));
        assert_eq!(more["results"], report["results"], "{written}{options}");
    }
    // A take that follows the tempo is at that of its file as well.
    place.write("take.toml", format!("{BEATS}{WREN}follow-tempo = true\n"));
    let report = place.json("check take.toml --format json");
    assert_eq!(report["results"][0]["tempo_bpm"], 138.0);
    assert_eq!(report["results"][0]["gaps"][0]["worst_ms"], 0.0);
    // The tempo is that of the first take that gives one, also where a fix brings the longest.
    place.write("silent.mid", file(1, &[beats(3)]));
    place.write("long.mid", waltz(90));
    let silent = WREN.replace("wren", "silent").replace("take.mid", "silent.mid");
    place.write("take.toml", format!("{BEATS}{silent}{WREN}[fix.long]\nset.\"hits.wren.file\" = \"long.mid\"\n"));
    let report = place.json("check take.toml --format json");
    assert_eq!(report["results"][0]["tempo_bpm"], 138.0);
    assert_eq!(report["results"][1]["sequencers"][2]["hits"], 90);
}

/// The patch is held against the tempo of its take, and not first against another: a pulse of 600 ms has room in a beat at 60,
/// and none at 120.
#[test]
fn a_patch_is_checked_at_the_tempo_of_its_take() {
    let place = Place::new();
    place.write("take.mid", file(2, &[tempo(1_000_000), beats(5)]));
    let wide = BEATS.replace("\"1 per beat\"\n", "\"1 per beat\"\nwidth = \"600 ms\"\n");
    place.write("take.toml", format!("{wide}{WREN}"));
    assert_eq!(place.json("check take.toml --format json")["results"][0]["tempo_bpm"], 60.0);
    assert!(place.fails("check take.toml --tempo 120").1.contains("`width`"));
}

#[test]
fn another_tempo_or_meter_than_that_of_the_take_is_told() {
    let place = Place::new();
    place.write("take.mid", waltz(12));
    let says = |text: String, options: &str| {
        place.write("take.toml", format!("bars = 8\n{text}"));
        place.says(&format!("check take.toml{options}"))
    };
    let two = format!("tempos = [120]\nmeter = \"4/4\"\n{BEATS}{WREN}");
    let meter = "note: the take `wren` (`take.mid`) is in 3/4: bars are counted in 4/4\n";
    let help = "help: --tempo 138 holds it against its own tempo, `follow-tempo = true` plays its beats at any\n";
    let at = |tempos: &str| {
        format!(
            "note: the take `wren` (`take.mid`) is at 138, and the patch at {tempos}: its hits keep their times, and are due on the \
             grid of the patch\n{help}"
        )
    };
    assert_eq!(says(two.clone(), ""), format!("{}{meter}", at("120")));
    assert_eq!(says(two.clone(), " --tempo 120,138,60..70:2"), format!("{}{meter}", at("120, 60, 62, 64 and 3 more")));
    // 138 is what the file means, whether its maker rounds 434,782.6 or cuts it off; what it says to six decimals is it too.
    assert_eq!(says(two.clone(), " --tempo 138"), meter);
    assert_eq!(says(two.clone(), " --tempo 137.999876"), meter);
    assert!(says(two.clone(), " --tempo 137.99").starts_with(&at("137.99")));
    assert_eq!(says(format!("{two}follow-tempo = true\n"), ""), meter);
    // Two takes of one file are told once.
    let again = WREN.replace("wren", "wren-again");
    assert_eq!(says(format!("{two}{again}"), ""), format!("{}{meter}", at("120")));
    // A file that says no tempo is at 120.
    place.write("take.mid", file(1, &[beats(12)]));
    let silent = says(format!("tempos = [90]\n{BEATS}{WREN}"), "");
    assert!(silent.starts_with(
        "note: the take `wren` (`take.mid`) is at 120, as a file is that gives no tempo, and the patch at 90: "
    ));
    assert_eq!(says(format!("{BEATS}{WREN}"), ""), "");
    // Past 1 to 1000 there is no such tempo: 50,000 µs are 1200.
    place.write("take.mid", file(2, &[tempo(50_000), beats(12)]));
    let fast = says(format!("{BEATS}{WREN}"), "");
    assert!(
        fast.starts_with("note: the take `wren` (`take.mid`) is at 50000 us a quarter note, and the patch at 120: "),
        "{fast}"
    );
    assert!(fast.ends_with("\nhelp: `follow-tempo = true` plays its beats at any\n"), "{fast}");
}

/// 60, 120 from beat 4 on, and at once 60 again, which lasts for no tick; then 80 after the last hit.
#[test]
fn a_tempo_that_changes_within_the_take_is_told() {
    let place = Place::new();
    let later = |delta: &[u8], micros| [delta, &tempo(micros)[1..]].concat();
    let changing =
        [tempo(1_000_000), later(&[0x83, 0x00], 1_000_000), later(&[0], 500_000), later(&[0x83, 0x00], 750_000)];
    place.write("take.mid", file(2, &[changing.concat(), beats(8)]));
    place.write("take.toml", format!("{BEATS}{WREN}"));
    let said = place.says("check take.toml");
    let note = "note: what the patch leaves open is as in its takes: the tempo 60\n\
         note: the take `wren` (`take.mid`) changes its tempo once, and is at 60 as its first hit begins: its hits keep their times, \
         and the grid of the patch stays even\n\
         help: write a [[tempo-map]] that does the same, or `follow-tempo = true`, which plays its beats at one tempo\n";
    assert_eq!(said, note);
    // Where the patch has a map, or the take follows, nobody need be told.
    place.write("take.toml", format!("{BEATS}{WREN}follow-tempo = true\n"));
    assert_eq!(place.says("check take.toml"), note.lines().next().expect("a line").to_owned() + "\n");
    let map = "tempo-map = [{ at = \"4 beats\", tempo = 120 }]\n";
    place.write("take.toml", format!("{map}{BEATS}{WREN}"));
    assert_eq!(place.json("check take.toml --format json")["results"][0]["gaps"][0]["worst_ms"], 0.0);
    assert_eq!(place.says("check take.toml").lines().count(), 1);
}

#[test]
fn a_tempo_of_nought_and_tracks_that_are_not_there_are_told() {
    let place = Place::new();
    place.write("take.toml", format!("{BEATS}{WREN}"));
    place.write("take.mid", file(2, &[tempo(0), beats(8)]));
    // 14 bytes of the file's head, 8 of the track's.
    let nought = "error: the take `wren` (`take.mid`): track 1, byte 22: found a tempo of 0 us a quarter note, expected 1 us or more\n\
         help: all that follows would sound at once: give the file a tempo where it was made\n";
    assert_eq!(place.fails("check take.toml"), (Some(2), nought.to_owned()));
    place.write("take.mid", file(3, &[beats(8)]));
    let warning = "warning: the head of the take `wren` (`take.mid`) promises 3 tracks, and there is 1\n\
         help: the file may be cut off: copy or export it again, or look whether all parts are there\n";
    assert_eq!(place.says("check take.toml"), warning);
    assert_eq!(place.says("hits take.toml"), warning);
    place.write("take.mid", file(1, &[beats(8)]));
    assert_eq!(place.says("check take.toml"), "");
}

#[test]
fn what_is_left_out_is_told_wherever_it_is_played() {
    let place = Place::new();
    place.write("take.csv", "time_s\n0\n0.5\n1.0\n9.99\n");
    let take = "[hits.wren]\nfile = \"take.csv\"\nvoice = \"snare\"\ngrid = \"4 per beat\"\n[fix.early]\nset.\"hits.wren.offset\" = \"-1 s\"\n";
    let help = "\nhelp: without `bars` a patch lasts as long as its takes, and `offset` moves a take\n";
    let note = |hits: &str| {
        format!("note: {hits} left out of wren: due before the start, or at the end of the patch or later{help}")
    };
    place.write("take.toml", format!("tempos = [60, 90]\nbars = 1\n{BEATS}{take}"));
    assert_eq!(place.says("hits take.toml"), note("1 hit is"));
    assert_eq!(place.says("hits take.toml --fix early"), note("3 hits are"));
    // Two tempos, and one thing to say; what is written is told below it.
    assert!(place.says("render take.toml").starts_with(&note("1 hit is")));
    assert_eq!(place.says("render take.toml").matches("left out").count(), 1);
    let compared = place.says("compare take.toml --no-page");
    assert!(compared.starts_with(&format!("{}{}", note("1 hit is"), note("3 hits are"))), "{compared}");
    // Where `bars` is not given the patch is as long as the take, at the fastest tempo: 9.99 s at 90 is beat 15, in the
    // fourth bar of four, and at 120 beat 20, in the sixth.
    place.write("take.toml", format!("tempos = [60, 90]\n{BEATS}{take}"));
    assert_eq!(place.says("hits take.toml").lines().count(), 1);
    for (tempos, bars) in [("60,90", 4), ("60,120", 6), ("120", 6), ("1000", 42)] {
        let report = place.json(&format!("check take.toml --format json --fix original --tempo {tempos}"));
        let result = &report["results"].as_array().expect("results").last().expect("one").clone();
        assert_eq!(result["sequencers"][0]["hits"], bars * 4, "{tempos}");
        assert_eq!(result["sequencers"][1]["hits"], 4, "{tempos}");
    }
}
