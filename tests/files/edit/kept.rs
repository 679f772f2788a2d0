//! What has been changed by chance, kept as a fix: with the fix, the text before plays what the text after does.

use super::random::{POOL, chosen};
use super::{edit, examples};
use crate::fuzz::cases;
use hitgap::patch::{Patch, Rig, edited};
use proptest::prelude::*;
use serde_json::json;

/// A rig, however long it plays: that depends on all fixes of a file.
fn rig(rig: &Rig) -> String {
    format!("{:?}", Rig { end: hitgap::time::Beat::from_integer(0), ..rig.clone() })
}

proptest! {
    #![proptest_config(cases(120))]

    #[test]
    fn a_fix_kept_is_what_was_changed(
        which in any::<usize>(),
        all in prop::collection::vec((0_u8..7, any::<usize>(), any::<usize>(), any::<usize>()), 1..8),
    ) {
        let examples = examples();
        let begun = &examples[which % examples.len()].1;
        // What a kind of box brings stands behind all that is written, and what a fix brings behind that: one rig in another order.
        prop_assume!(!begun.contains("serial-24"));
        let mut text = begun.clone();
        for numbers in all {
            let Some(change) = chosen(&text, &POOL, numbers) else { continue };
            let Ok(done) = edited(&text, &edit(change)) else { continue };
            if Patch::parse(&done, &Default::default()).is_ok() {
                text = done;
            }
        }
        let Ok(kept) = edited(&text, &edit(json!({"do": "keep", "fix": "kept", "of": begun}))) else { return Ok(()) };
        let now = Patch::parse(&text, &Default::default()).expect("a patch");
        let then = Patch::parse(&kept, &Default::default());
        prop_assert!(then.is_ok(), "{text}\n---\n{kept}\n---\n{then:?}");
        let then = then.expect("a patch");
        let fix = then.variant("kept").expect("the fix");
        prop_assert!(rig(&fix.rig) == rig(&now.original.rig), "{text}\n---\n{kept}\n{:?}\n{:?}", fix.rig, now.original.rig);
        // And without the fix it is as it was.
        let before = Patch::parse(begun, &Default::default()).expect("a patch");
        prop_assert_eq!(rig(&then.original.rig), rig(&before.original.rig));
    }
}

/// A first fix is kept, and then a second one that the first knows nothing of: the text is not saved in between.
#[test]
fn a_fix_that_was_kept_before_stays() {
    let begun = &examples().iter().find(|(name, _)| name == "late-bell").expect("an example").1;
    let step = |text: &str, change: serde_json::Value| edited(text, &edit(change)).unwrap_or_else(|e| panic!("{e}"));
    let keep = |text: &str, fix: &str| step(text, json!({"do": "keep", "fix": fix, "of": begun}));
    let gate = json!({"kind": "delay", "delay": "60 us"});
    let way = |gate: &str| json!({"do": "set", "at": ["sequencer", "wren", "clock"], "to": ["slow", gate]});
    // The first is written by hand, with a remark, and goes through a stage that is new and idle otherwise.
    let mut text = step(begun, json!({"do": "add", "at": ["stage", "new-gate"], "to": gate}));
    text +=
        "\n# tried on a Tuesday\n[fix.by-hand]\nset.\"sequencer.wren.clock\" = [\"slow\", \"new-gate\"] # it holds\n";
    let second = keep(&step(&text, way("or-gate")), "second");
    let third = keep(&step(&second, json!({"do": "set", "at": ["clock", "slow", "phase"], "to": "2 %"})), "third");
    let patch = Patch::parse(&third, &Default::default()).unwrap_or_else(|e| panic!("{third}\n{e}"));
    let names: Vec<&str> = patch.fixes.iter().map(|fix| fix.name.as_str()).collect();
    assert_eq!(names, ["phase", "or-gate", "by-hand", "second", "third"]);
    assert!(third.contains(
        "# tried on a Tuesday\n[fix.by-hand]\nset.\"sequencer.wren.clock\" = [\"slow\", \"new-gate\"] # it holds\n"
    ));
    let [now, before] =
        [&third, begun].map(|text| Patch::parse(text, &Default::default()).expect("a patch").original.rig);
    assert_eq!((now.sequencers, now.outputs), (before.sequencers, before.outputs));
    // What is new and plays cannot be there for the sake of a fix alone.
    let added = step(begun, json!({"do": "duplicate", "at": ["sequencer", "wren"], "as": "finch"}));
    let sets =
        step(&added, json!({"do": "set", "at": ["fix", "phase", "set", "sequencer.finch.latency"], "to": "1 ms"}));
    let refused = edited(&sets, &edit(json!({"do": "keep", "fix": "late", "of": begun}))).expect_err("refused");
    assert_eq!(refused.says, "the fix `phase` names the sequencer `finch`, which is new since");
}
