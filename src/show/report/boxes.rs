use crate::patch::BoxKind;
use std::fmt::Write;

/// What follows the list.
const TAIL: &str = "\nIn a patch: like = \"NAME\" in the table of a sequencer, and its `reset` and `steps` beside it. A key that stands there\n\
holds instead of the kind's. Kinds of your own: a heading [box.NAME] in the patch, or --boxes FILE.\n\
Not sure which you own? docs/boxes.md, or hitgap identify.\n";

/// The kinds of boxes as people read them: what each does, and how to tell that one owns it.
#[must_use]
pub fn boxes_table(kinds: &[&BoxKind]) -> String {
    let mut out = String::new();
    for kind in kinds {
        let _ = writeln!(out, "{}", kind.name());
        if let Some(about) = kind.about() {
            let _ = writeln!(out, "  {about}");
        }
        if let Some(tell) = kind.tell() {
            let _ = writeln!(out, "  to tell: {tell}");
        }
    }
    out.push_str(TAIL);
    out
}

/// The kinds of boxes as one value of JSON.
#[must_use]
pub fn boxes_json(kinds: &[&BoxKind]) -> serde_json::Value {
    let pairs = |pairs: Vec<(String, String)>| {
        pairs
            .into_iter()
            .map(|(key, value)| (key, value.into()))
            .collect::<serde_json::Map<String, serde_json::Value>>()
    };
    let row = |kind: &&BoxKind| {
        serde_json::json!({
            "name": kind.name(), "about": kind.about(), "tell": kind.tell(),
            "keys": pairs(kind.keys()), "brings": pairs(kind.brings()),
        })
    };
    serde_json::json!({ "format": 1, "boxes": kinds.iter().map(row).collect::<Vec<_>>() })
}
