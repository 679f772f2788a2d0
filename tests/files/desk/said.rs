//! What is said of every example, word for word: `said.txt` beside this file, to be read aloud.

use super::{all, of};
use hitgap::patch::{Part, Worth};
use hitgap::show::sentence::Editor;
use std::path::Path;

#[test]
fn every_rig_reads_as_a_colleague_would_say_it() {
    let mut said = String::new();
    for (name, text) in all() {
        said += &format!("{name}\n");
        for sentence in of(&text, None).sentences {
            said += &format!("  {}\n", sentence.plain.replace('\n', " "));
        }
        said += "\n";
    }
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/files/desk/said.txt");
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(&file, &said).expect("written");
    }
    let known = std::fs::read_to_string(&file).unwrap_or_default();
    for (now, known) in said.lines().zip(known.lines()) {
        assert_eq!(now, known);
    }
    assert_eq!(said.len(), known.len());
}

/// By hand: the sentences that the program is for.
#[test]
fn the_late_bell_is_told() {
    let text = crate::edit::examples().iter().find(|(name, _)| name == "late-bell").expect("an example").1.clone();
    let told = |fix| {
        let desk = of(&text, fix);
        move |id: &str| desk.sentences.iter().find(|s| s.id == id).expect("a sentence").plain.clone()
    };
    let original = told(None);
    assert_eq!(original("clock.slow"), "slow pulses 1 per 2 beats (every 1 s here), each pulse 5 ms long.");
    assert_eq!(
        original("sequencer.wren"),
        "wren plays Xxxxxxxx on slow 1 per 2 beats, and on home it waits for the next pulse. It sounds as bell."
    );
    assert_eq!(
        original("fix.phase"),
        "phase: one step on the slow clock's phase dial. It sets the phase of slow to 1 % (10 ms here)."
    );
    // A beat at 120 lasts half a second, two a second: a hundredth of it is 10 ms.
    let phase = told(Some("phase"));
    assert_eq!(
        phase("sequencer.wren"),
        "wren plays Xxxxxxxx on slow 1 per 2 beats, 1 % late (10 ms here), and on home it waits for the next pulse. It sounds as bell."
    );
    let gate = told(Some("or-gate"));
    assert_eq!(
        gate("sequencer.wren"),
        "wren plays Xxxxxxxx on slow 1 per 2 beats, through or-gate (40 µs), and on home it waits for the next pulse. It sounds as bell."
    );
}

#[test]
fn words_are_buttons_and_texts_stay_texts() {
    let text = "title = \"<b> & \\\"\"\n[clock.a]\nrate = \"4 per beat\"\n";
    let desk = of(text, None);
    let top = &desk.sentences[0];
    let number = desk.words.iter().position(|word| word.says == "<b> & \"").expect("the title");
    let button = format!(
        "<p class=\"sentence\" id=\"desk-top\"><button type=\"button\" class=\"word\" data-word=\"{number}\">&lt;b&gt; &amp; &quot;</button> is played"
    );
    assert!(top.markup.starts_with(&button), "{}", top.markup);
    assert!(top.markup.ends_with(">more</button></p>"), "{}", top.markup);
}

/// What a menu offers is said as a colleague would, not as the file names it; and a sign that is told stays a sign.
#[test]
fn menus_speak_as_sentences_do() {
    let desk = of(
        "[clock.a]\nrate = \"4 per beat\"\n[wire.w]\npath = [\"a\"]\n[sequencer.ox]\nclock = \"a\"\nsteps = \"x.\"\nvoice = \"hat\"\n",
        None,
    );
    let word = |key: &str| {
        desk.words.iter().find(|word| word.of == "sequencer.ox" && word.at.last() == Some(&Part::Key(key.to_owned())))
    };
    let Some(Editor::Path { from, .. }) = word("clock").map(|word| &word.takes) else { panic!("a path") };
    let said: Vec<&str> = from.iter().map(|choice| choice.says.as_str()).collect();
    assert_eq!(said, ["a", "the point w", "ox's step 1", "ox's last step", "ox's hits", "ox's clock, passed on"]);
    let Worth::Text(last) = &from[5].to else { panic!("a text") };
    assert_eq!(last, "sequencer.ox.thru");
    assert!(word("steps").expect("steps").about.starts_with("`x` a hit, `X` an accent, `.` a rest"));
}

#[test]
fn what_hangs_on_a_word_is_lit() {
    let text = &crate::edit::examples().iter().find(|(name, _)| name == "hand-in-hand").expect("an example").1;
    let desk = of(text, None);
    let lit = |at: &[&str], says: &str| {
        let same = |word: &&hitgap::show::sentence::Word| {
            serde_json::json!(word.at) == serde_json::json!(at) && word.says == says
        };
        desk.words.iter().find(same).unwrap_or_else(|| panic!("{at:?} {says}")).lights.clone()
    };
    // Moth's clock: the wire, then two stages; each word is lit by what it names.
    assert_eq!(lit(&["sequencer", "moth", "clock"], "the point split"), ["wire.split"]);
    assert_eq!(lit(&["sequencer", "moth", "clock"], "both"), ["stage.both"]);
    // All that hangs on the buffer: the wire that leads through it, and all who hang on that, and on what they hand on.
    let mut hang = lit(&["stage", "buffer"], "buffer");
    hang.sort();
    assert_eq!(
        hang,
        ["fix.same-reset", "sequencer.moth", "sequencer.ox", "sequencer.wren", "stage.both", "wire.split"]
    );
}

#[test]
fn a_fault_stands_at_its_word() {
    let rig = "[clock.a]\nrate = \"4 per beat\"\nphase = \"1 xs\"\n\n[sequencer.s]\nclock = \"b\"\nsteps = \"x\"\nvoice = \"kick\"\nreset = \"a\"\n";
    let desk = of(rig, None);
    let fault = |at: &[&str]| {
        let word = desk.words.iter().find(|word| serde_json::json!(word.at) == serde_json::json!(at)).expect("a word");
        word.fault.clone().unwrap_or_default()
    };
    assert!(
        fault(&["clock", "a", "phase"]).starts_with("`xs` is not a unit of shares"),
        "{}",
        fault(&["clock", "a", "phase"])
    );
    assert!(fault(&["sequencer", "s", "clock"]).starts_with("there is no output `b`"));
    assert!(fault(&["sequencer", "s", "reset"]).contains("no `reset-mode`"));
    assert_eq!(desk.faults.iter().map(|told| told.line).collect::<Vec<_>>(), [Some(3), Some(6), Some(9)]);
    // One of the whole table stands at its sentence.
    let desk = of("[clock.a]\nwidth = \"5 ms\"\n[sequencer.s]\nclock = \"a\"\nsteps = \"x\"\nvoice = \"kick\"\n", None);
    let output = desk.sentences.iter().find(|s| s.id == "clock.a").expect("a sentence");
    assert!(desk.words.iter().any(|word| word.fault.is_some()) || !output.faults.is_empty(), "{output:?}");
    // A fault of syntax: all but its line is told.
    let desk = of("[clock.a]\nrate = \"4 per beat\nwidth = \"5 ms\"\n", None);
    assert_eq!(desk.faults[0].line, Some(2));
    assert_eq!(desk.sentences[1].plain, "a pulses at no rate yet, each pulse 5 ms long.");
}
