//! A box that is added plays at once: it is plugged in where a box that is there already is. And what an output does by default is said.

use super::{all, of};
use hitgap::hits::in_order;
use hitgap::patch::{Asked, Edit, Part, Patch, Worth, edited};
use hitgap::rig::play;
use hitgap::show::sentence::Desk;

fn key(key: &str) -> Part {
    Part::Key(key.to_owned())
}

/// Every way to add a box: what it begins with, what is said of that, and what it is like.
fn boxes(desk: &Desk) -> Vec<(Worth, String, String)> {
    let plain = desk.can.add.iter().filter(|add| add.kind == "sequencer" && add.needs.is_none());
    let plain = plain.map(|add| (add.to.clone(), add.note.clone().expect("said"), "plain".to_owned()));
    let like = desk.can.boxes.iter();
    let like = like.map(|one| (one.to.clone().expect("a table"), one.note.clone().expect("said"), one.name.clone()));
    plain.chain(like).collect()
}

#[test]
fn a_new_box_plays_at_once_whatever_it_is_like() {
    let mut tried = 0;
    for (name, text) in all() {
        // With a fix in hand, it is added to the patch without it all the same.
        let fix = Patch::parse(&text, &Asked::default()).ok().and_then(|p| p.fixes.first().map(|fix| fix.name.clone()));
        let desk = of(&text, fix.as_deref());
        if desk.can.add.iter().any(|add| add.kind == "sequencer" && add.needs.is_some()) {
            continue;
        }
        for (to, _, like) in boxes(&desk) {
            let add = Edit::Add { at: vec![key("sequencer"), key("brand-new")], to };
            let done = edited(&text, &add).unwrap_or_else(|e| panic!("{name}, {like}: {e}"));
            let patch = Patch::parse(&done, &Asked::default()).unwrap_or_else(|e| panic!("{name}, {like}: {e}"));
            let rig = &patch.original.rig;
            let own = rig.sequencers.iter().position(|s| s.name == "brand-new").expect("the box");
            let performance = play(rig, patch.tempos[0]).expect("it plays");
            let hits = in_order(rig, &performance).filter(|hit| hit.sequencer == own).count();
            assert!(hits > 0, "{name}, {like}: {done}");
            tried += 1;
        }
    }
    assert!(tried > 300, "{tried}");
}

#[test]
fn whose_clock_and_reset_it_has_is_said() {
    let rig = "[clock.a]\nrate = \"4 per beat\"\n[clock.b]\nrate = \"1 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
               [stage.gate]\nkind = \"delay\"\ndelay = \"40 us\"\n";
    let first = "[sequencer.moth]\nclock = \"a\"\nsteps = \"x...\"\nvoice = \"hat\"\n";
    let second = "[sequencer.wren]\nclock = [\"b\", \"gate\"]\nreset = \"home\"\nreset-mode = \"held\"\nsteps = \"x\"\nvoice = \"snare\"\n";
    let begins = |text: &str, like: &str| {
        let all = boxes(&of(text, None));
        let (to, note, _) = all.into_iter().find(|(.., name)| name == like).expect("offered");
        let told = |key: &str| to.get(key).map(Worth::written);
        (told("clock"), told("reset"), told("reset-mode"), note)
    };
    let some = |text: &str| Some(text.to_owned());
    // Nobody is there: the first output.
    let (clock, reset, mode, note) = begins(rig, "plain");
    assert_eq!((clock, reset, mode), (some("\"a\""), None, None));
    assert_eq!(note, "It takes its clock from the first output, so that it plays at once");
    let (clock, reset, mode, note) = begins(&format!("{rig}{first}"), "plain");
    assert_eq!((clock, reset, mode), (some("\"a\""), None, None));
    assert_eq!(note, "It takes its clock from where moth has it, so that it plays at once");
    // The first that has both, and a kind says itself what a reset does.
    let both = format!("{rig}{first}{second}");
    let (clock, reset, mode, note) = begins(&both, "plain");
    assert_eq!((clock, reset, mode), (some("[\"b\", \"gate\"]"), some("\"home\""), some("\"held\"")));
    assert_eq!(note, "It takes its clock and its reset from where wren has them, so that it plays at once");
    let (clock, reset, mode, _) = begins(&both, "waits-clock-first");
    assert_eq!((clock, reset, mode), (some("[\"b\", \"gate\"]"), some("\"home\""), None));
    // One that has no reset, or has both by its kind.
    for (like, clock) in
        [("plays-on", some("[\"b\", \"gate\"]")), ("waits-out-silence", some("[\"b\", \"gate\"]")), ("serial-24", None)]
    {
        let (own, reset, ..) = begins(&both, like);
        assert_eq!((own, reset), (clock, None), "{like}");
    }
}

/// docs/keys.md, `width`: the shorter of 5 ms and half the period. By hand, at 120: 4 per beat are 125 ms apart, 100 per beat 5 ms.
#[test]
fn what_a_pulse_lasts_by_default_is_said() {
    let said = |clock: &str| {
        let desk = of(&format!("[clock.a]\n{clock}\n"), None);
        let word = desk.words.iter().find(|word| word.at.last() == Some(&key("width"))).cloned();
        (desk.sentences.iter().find(|s| s.id == "clock.a").expect("a sentence").plain.clone(), word)
    };
    let (plain, word) = said("rate = \"4 per beat\"");
    assert_eq!(plain, "a pulses 4 per beat (every 125 ms here), each pulse 5 ms long by default.");
    let word = word.expect("a word");
    assert_eq!((word.value, word.without.as_deref()), (None, Some("the shorter of 5 ms and half the period")));
    assert_eq!(
        said("rate = \"100 per beat\"").0,
        "a pulses 100 per beat (every 5 ms here), each pulse 2.5 ms long by default."
    );
    assert_eq!(said("at = \"start\"").0, "a pulses once when the clock starts, for 5 ms by default.");
    assert_eq!(said("at = \"run\"").0, "a is high while the clock runs.");
    assert_eq!(
        said("rate = \"4 per beat\"\nwidth = \"5 ms\"").0,
        "a pulses 4 per beat (every 125 ms here), each pulse 5 ms long."
    );
}
