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
