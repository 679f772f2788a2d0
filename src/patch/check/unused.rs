//! Stages and wires that nothing is plugged into: right, and most likely forgotten.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Node, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;
use std::collections::HashSet;

/// Warns of stages and wires whose names stand in no path, neither in the patch nor in a fix or a change. What a kind of box brought is
/// left aside: nobody wrote it.
pub(in crate::patch) fn warn_of_unused(table: &Table, warnings: &mut Faults) {
    let (mut texts, mut likes) = (HashSet::new(), Vec::new());
    table.entries.iter().for_each(|(key, node)| gather(&key.text, node, &mut texts, &mut likes));
    for (kind, before) in [(Kind::Stage, ""), (Kind::Wire, "wire.")] {
        let Some(Value::Table(all)) = table.get(kind.key()).map(|node| &node.value) else { continue };
        for (name, _) in &all.entries {
            if texts.contains(format!("{before}{}", name.text).as_str()) || likes.contains(&&name.at) {
                continue;
            }
            let (noun, name_shown) = (kind.noun(), shown(&name.text));
            let fault = Fault::new(name.at.clone(), format!("nothing goes through the {noun} `{name_shown}`"))
                .label("no path names it")
                .help(format!("put \"{before}{name_shown}\" into the path of a box, or take the {noun} out"));
            warnings.push(fault);
        }
    }
}

/// Every text of a tree, and where kinds of boxes are named.
fn gather<'t>(key: &str, node: &'t Node, texts: &mut HashSet<&'t str>, likes: &mut Vec<&'t Place>) {
    match &node.value {
        Value::Text(text) => {
            texts.insert(text);
            if key == "like" {
                likes.push(&node.at);
            }
        }
        Value::List(list) => list.iter().for_each(|node| gather(key, node, texts, likes)),
        Value::Table(table) => table.entries.iter().for_each(|(key, node)| gather(&key.text, node, texts, likes)),
        Value::Number(_) | Value::Bool(_) | Value::Date => {}
    }
}

#[cfg(test)]
mod tests {
    use crate::patch::{Asked, Patch};

    fn warned(more: &str) -> String {
        let text = format!(
            "[clock.c]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 4 beats\"\n[stage.half]\nkind = \"divide\"\nby = 2\n\
             [sequencer.ox]\nclock = \"c\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"x\"\nvoice = \"kick\"\n{more}"
        );
        Patch::parse(&text, &Asked::default()).expect("a patch").warnings.render("p.toml", &text, false)
    }

    #[test]
    fn a_stage_that_is_in_no_path_is_told_and_no_other() {
        assert!(warned("").contains("nothing goes through the stage `half`"));
        for plugged in [
            "[sequencer.wren]\nclock = [\"c\", \"half\"]\nsteps = \"x\"\nvoice = \"hat\"\n",
            "[wire.slow]\npath = [\"c\", \"half\"]\n[sequencer.wren]\nclock = \"wire.slow\"\nsteps = \"x\"\nvoice = \"hat\"\n",
            "[fix.slow]\nset.\"sequencer.ox.clock\" = [\"c\", \"half\"]\n",
        ] {
            assert!(!warned(plugged).contains("nothing goes through"), "{plugged}{}", warned(plugged));
        }
        let spare = warned("[wire.slow]\npath = [\"c\", \"half\"]\n");
        assert!(spare.contains("nothing goes through the wire `slow`") && !spare.contains("stage `half`"), "{spare}");
    }

    /// A serial box whose reset is another brings a run wire, and no warning.
    #[test]
    fn what_a_kind_of_box_brings_is_not_told() {
        let text = "[clock.c]\nrate = \"24 per beat\"\n[sequencer.ox]\nlike = \"serial-24\"\nclock = \"c\"\nreset = \"serial-run\"\n\
                    steps = \"x\"\nvoice = \"kick\"\n";
        let patch = Patch::parse(text, &Asked::default()).expect("a patch");
        assert!(patch.warnings.is_empty(), "{}", patch.warnings.render("p.toml", text, false));
    }
}
