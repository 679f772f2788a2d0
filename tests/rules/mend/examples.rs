//! Every example is mended, or shown to be beyond mending with what is at hand; what is proposed is read again from the text and
//! judged by the program as any fix.

use hitgap::judge::advise::Aim;
use hitgap::judge::judge;
use hitgap::judge::mend::{Catalogue, Extent, Mended, Question, Watch, Wishes, mend};
use hitgap::patch::{Asked, Component, Patch, with_fix};
use hitgap::rig::play;

fn text(name: &str) -> String {
    std::fs::read_to_string(format!("patches/{name}.toml")).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// The patch without its fixes: nobody tells what would do. Which dials and nudges there are, the fixes do say.
fn ask(text: &str, wishes: &Wishes, budget: usize) -> (Patch, Catalogue, Mended) {
    let patch = Patch::parse(text, &Asked::default()).unwrap_or_else(|e| panic!("{e}"));
    let generic: Vec<Component> = patch.read_components(&self::text("components")).expect("components");
    let own = Catalogue::new(&patch, &patch.components, wishes).expect("changes");
    let parts = if own.parts.is_empty() { &generic } else { &patch.components };
    let catalogue = Catalogue::new(&patch, parts, wishes).expect("changes");
    let aim = Aim { max_gap: patch.max_gap, skew: patch.skew };
    let extent = Extent { budget, beyond: false };
    let mended =
        mend(&Question { patch: &patch, catalogue: &catalogue, aim, tempos: &patch.tempos, extent }, &Watch::nobody());
    (patch, catalogue, mended)
}

/// What is proposed stands in the file, is a variant there, and passes.
fn hold(name: &str, text: &str, patch: &Patch, mended: &Mended) {
    for proposal in mended.proposals.iter().take(20) {
        let kept = with_fix(text, &proposal.fix).unwrap_or_else(|e| panic!("{name}: {e}"));
        let again =
            Patch::parse(&kept.text, &Asked::default()).unwrap_or_else(|e| panic!("{name}: {e}\n{}", kept.text));
        let rig = again.variant(&kept.name).unwrap_or_else(|e| panic!("{name}: {e}")).rig;
        for &tempo in &patch.tempos {
            let performance = play(&rig, tempo).unwrap_or_else(|e| panic!("{name}: {e}"));
            let verdict = judge(&rig, &performance, patch.max_gap).expect("short");
            assert!(verdict.passes(), "{name} at {tempo}: {:?}\n{}", verdict.reasons, kept.text);
            assert!(verdict.standings.iter().all(|s| s.right), "{name} at {tempo}");
        }
    }
}

/// What becomes of an example.
enum End {
    /// It needs nothing.
    Stands,
    /// The first proposal, as the lines of a fix.
    Mended(&'static [(&'static str, &'static str)]),
    /// Nothing of up to so many changes does.
    Beyond(usize),
}

/// Worked out from what each example says of itself; where nothing does, the remark says why.
const ENDS: [(&str, End); 20] = [
    ("late-bell", End::Mended(&[("sequencer.wren.clock", "[\"slow\", \"or-gate\"]")])),
    ("thin-ice", End::Mended(&[("sequencer.wren.clock", "[\"later\", \"or-gate\"]")])),
    // Half a millisecond ahead is in the middle of what the five allow, by the steps of the dial.
    ("five-teachers", End::Mended(&[("clock.home.shift", "\"-500 us\"")])),
    ("across-the-room", End::Mended(&[("sequencer.wren.offset", "\"-12 ms\"")])),
    ("counting-twenty-four", End::Mended(&[("clock.home.shift", "\"-500 us\"")])),
    ("lantern-hurries", End::Mended(&[("sequencer.wren.clock", "[\"slow\", \"gate\"]")])),
    ("lantern-trembles", End::Mended(&[("clock.later.shift", "\"0 s\"")])),
    ("serial-beside-pulses", End::Mended(&[("clock.sixteenths.shift", "\"1 ms\"")])),
    ("slow-edge", End::Stands),
    ("soft-attack", End::Stands),
    // A queue: whoever is first, the last waits for seven others.
    ("eight-on-one-wire", End::Beyond(1)),
    // A gate that is put in within the piece has tolerances, and what is on its way then may take either way.
    ("gate-at-last", End::Beyond(2)),
    // Its divider begins anew with nothing, and Moth, behind the doubler, is late whatever the divider does.
    ("half-and-double", End::Beyond(2)),
    ("hand-in-hand", End::Beyond(1)),
    // Its wobble is wider than the max gap, and the hits of both have their own.
    ("loose-hands", End::Beyond(2)),
    // It has no reset that anybody knows how it reads.
    ("moth-wakes-on-seven", End::Beyond(2)),
    // Blocks of audio, whose length is a setting of the program.
    ("through-the-laptop", End::Beyond(2)),
    ("wren-slips", End::Beyond(2)),
    (
        "moth-blinks",
        End::Mended(&[
            ("wire.slow-gate-shared", "{ path = [\"sixteenths\", \"slow-gate\"] }"),
            ("sequencer.ox.clock", "\"wire.slow-gate-shared\""),
            ("sequencer.moth.clock", "\"wire.slow-gate-shared\""),
        ]),
    ),
    ("lantern-rests", End::Mended(&[("sequencer.wren.reset", "[\"run\", \"cable\"]")])),
];

/// None is forgotten: what is no patch of its own, and what needs its files beside it, is named here.
#[test]
fn no_example_is_left_out() {
    let known = |name: &str| ENDS.iter().any(|(own, _)| *own == name) || name == "three-in-the-basket";
    for file in std::fs::read_dir("patches").expect("examples") {
        let path = file.expect("a file").path();
        let name = path.file_name().and_then(|name| name.to_str()).and_then(|name| name.strip_suffix(".toml"));
        let Some(name) = name.filter(|name| !name.contains('.') && *name != "components") else { continue };
        // A take is read by the program: `tests/commands/mend.rs` has it.
        assert!(known(name) || name == "taken-by-hand", "{name}");
    }
}

#[test]
fn every_example_is_mended_or_beyond_mending() {
    for (name, end) in &ENDS {
        let text = text(name);
        let budget = if let End::Beyond(most) = end { *most } else { 3 };
        let (patch, _, mended) = ask(&text, &Wishes::default(), budget);
        assert!(mended.is_complete(), "{name}");
        assert!(mended.unwritten.is_empty(), "{name}: {:?}", mended.unwritten);
        hold(name, &text, &patch, &mended);
        let first: Option<Vec<(&str, &str)>> = mended
            .proposals
            .first()
            .map(|p| p.fix.set.iter().map(|(path, value)| (path.as_str(), value.as_str())).collect());
        match end {
            End::Stands => assert!(mended.now.is_empty(), "{name}: {:?}", mended.now),
            End::Mended(lines) => assert_eq!(first.as_deref(), Some(*lines), "{name}"),
            End::Beyond(_) => {
                assert_eq!(first, None, "{name}");
                // Where nothing that was tried takes any fault away, nothing is called near.
                assert!(mended.nearest.is_none_or(|(set, left)| !set.is_empty() && !left.is_empty()), "{name}");
            }
        }
    }
}

/// The text without its fixes.
fn untold(text: &str) -> String {
    let mut in_fix = false;
    let lines = text.lines().filter(|line| {
        if line.starts_with('[') {
            in_fix = line.starts_with("[fix.");
        }
        !in_fix
    });
    lines.map(|line| format!("{line}\n")).collect()
}

/// Nothing in the file says how: its fixes are taken out.
#[test]
fn what_the_fixes_do_is_found_without_them() {
    for name in ["late-bell", "thin-ice", "five-teachers", "serial-beside-pulses", "three-in-the-basket"] {
        let text = untold(&text(name));
        let (patch, catalogue, mended) = ask(&text, &Wishes::default(), 3);
        assert!(patch.fixes.is_empty());
        let best = mended.proposals.first().unwrap_or_else(|| panic!("{name}: {:?}", mended.nearest));
        assert_eq!(best.changes.len(), 1, "{name}: {:?}", catalogue.offers[best.changes[0]].change);
        hold(name, &text, &patch, &mended);
    }
}

/// What only its owner knows of a box has to be said; then it is found. Without parts, or the gate would do.
#[test]
fn what_may_be_set_is_tried() {
    let (name, path, value) = ("thin-ice", "sequencer.wren.reset-mode", "\"this-clock\"");
    let may = vec![(path.to_owned(), vec![value.to_owned()])];
    let text = text(name);
    let (patch, _, mended) = ask(&text, &Wishes { may, keep: vec!["part".to_owned()], ..Wishes::default() }, 2);
    let best = mended.proposals.first().unwrap_or_else(|| panic!("{:?}", mended.nearest));
    assert!(best.fix.set.iter().any(|(own, _)| own == path), "{:?}", best.fix.set);
    hold(name, &text, &patch, &mended);
}
