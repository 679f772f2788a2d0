//! Fixes: what they set, and how that changes the tables of the patch.

use crate::patch::check::fault::{Fault, Faults, Place};
use crate::patch::check::node::{Key, Node, Table, Value};
use crate::patch::check::show::{listed, nearest, shown};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, Section, check_names, named_tables};
use crate::patch::model::{Keys, Row, Takes};
use crate::patch::read::fields::Fields;
use crate::patch::read::values::check;
use crate::patch::read::words::words;

/// The keys of a fix.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a fix",
    about: "a named set of changes",
    rows: &[
        Row::free("about", Takes::Text { lines: false }, "none", "what it is, in a line"),
        Row::needed(
            "set",
            Takes::Set,
            "write a line such as set.\"clock.slow.phase\" = \"1 %\"",
            "what it sets: quoted paths and values",
        ),
    ],
    rules: &[],
};

/// A named set of changes.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Fix {
    pub(in crate::patch) name: String,
    pub(in crate::patch) about: Option<String>,
    /// In the order of the file.
    pub(in crate::patch) changes: Vec<Change>,
    /// Faults of its own have been told: its changes cannot be made.
    pub(in crate::patch) broken: bool,
}

/// One thing that a fix sets.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Change {
    /// As it is written.
    pub(in crate::patch) path: String,
    pub(in crate::patch) kind: Kind,
    /// The second part of the path.
    pub(in crate::patch) name: Key,
    /// The third; without one the whole table is set.
    pub(in crate::patch) field: Option<Key>,
    pub(in crate::patch) value: Node,
    /// All of it in the file, from the path to the end of the value.
    pub(in crate::patch) whole: Place,
}

/// Reads the `[fix.NAME]` tables.
pub(in crate::patch) fn fixes(source: &str, document: &Table, faults: &mut Faults, warnings: &mut Faults) -> Vec<Fix> {
    let Some(node) = document.get("fix") else { return Vec::new() };
    let example = "{ set.\"clock.slow.phase\" = \"1 %\" }";
    let sections = named_tables(node, "fix", "fix", example, faults);
    check_names(sections.iter().map(|s| s.name), "fix", faults);
    let fix = |section: &Section<'_>| fix(source, section, faults, warnings);
    sections.iter().take(MOST_OF_A_KIND).map(fix).collect()
}

fn fix(source: &str, section: &Section<'_>, faults: &mut Faults, warnings: &mut Faults) -> Fix {
    let name = section.name.text.clone();
    let before = faults.count();
    let what = format!("the fix `{}`", shown(&name));
    let mut fields = Fields { source, what, at: section.name.at.clone(), section, faults, warnings };
    let mut changes = Vec::new();
    let mut about = None;
    if !section.broken {
        check(&mut fields, &KEYS);
        about = words(&mut fields, "about", false);
        changes = set(&mut fields, Setter::Fix);
    }
    let broken = section.broken || fields.faults.count() > before;
    Fix { name, about, changes, broken }
}

/// Who sets something.
#[derive(Clone, Copy)]
pub(in crate::patch) enum Setter {
    /// A fix.
    Fix,
    /// A change in the course of the piece; with the keys at the top of a patch, which it cannot set.
    Change(&'static Keys),
}

impl Setter {
    /// With its article.
    fn what(self) -> &'static str {
        match self {
            Self::Fix => KEYS.what,
            Self::Change(_) => "a change",
        }
    }
}

/// Reads the changes of a `set`.
pub(in crate::patch) fn set(fields: &mut Fields<'_, '_>, who: Setter) -> Vec<Change> {
    let mut changes = Vec::new();
    match fields.get("set").map(|(_, node)| (node, &node.value)) {
        None => {
            fields.missing("set", "write a line such as set.\"clock.slow.phase\" = \"1 %\"");
        }
        Some((node, Value::Table(table))) if table.entries.is_empty() => {
            let fault = Fault::new(node.at.clone(), format!("{} sets nothing", fields.what));
            fields.tell(fault.label("found an empty table").help("write set.\"clock.slow.phase\" = \"1 %\""));
        }
        Some((_, Value::Table(table))) if table.entries.len() > MOST_OF_A_KIND => {
            let found = format!("{} paths in one `set`", table.entries.len());
            fields.out_of_bounds("set", &found, &format!("at most {MOST_OF_A_KIND} paths"));
        }
        Some((_, Value::Table(table))) => {
            for (key, node) in &table.entries {
                if let Some(change) = change(fields.source, key, node, who, fields.faults) {
                    changes.push(change);
                }
            }
        }
        Some((node, _)) => {
            fields.wrong_type("set", node, "quoted paths", "write set.\"clock.slow.phase\" = \"1 %\"");
        }
    }
    changes
}

fn change(source: &str, key: &Key, node: &Node, who: Setter, faults: &mut Faults) -> Option<Change> {
    let path = &key.text;
    let parts: Vec<&str> = path.split('.').collect();
    // `set.clock.slow.phase` and `set."clock.slow".phase` are other tables than meant: the whole path must be quoted.
    let dotted = matches!(&node.value, Value::Table(table) if table.dotted);
    if dotted || (parts.len() == 1 && matches!(node.value, Value::Table(_))) {
        let mut lines = Vec::new();
        quoted_lines(source, path, node, &mut lines);
        let fault = Fault::new(key.at.clone(), "the path after `set` is not quoted as a whole")
            .label("expected one quoted path")
            .help(format!("write {}", lines.join("\nand   ")));
        faults.push(fault);
        return None;
    }
    let kinds = || Kind::ALL.map(Kind::key);
    let Some(kind) = Kind::of_key(parts[0]) else {
        let label = match nearest(parts[0], kinds()) {
            Some(close) => format!("did you mean `{close}`?"),
            None => format!("expected a path that begins with {}", listed(kinds()).replace(" and ", " or ")),
        };
        let fault = Fault::new(key.at.clone(), format!("{} cannot set `{}`", who.what(), shown(path)))
            .label(label)
            .help(match (&parts[..], who) {
                (["tempos" | "tempo-map"], Setter::Change(_)) => {
                    "tempos change by a [[tempo-map]]; a change sets a path such as \"clock.slow.phase\""
                }
                ([key], Setter::Change(top)) if top.row(key).is_some() => {
                    "what stands at the top of a patch holds for the whole piece; \
                     a change sets a path such as \"clock.slow.phase\""
                }
                _ => "write a path such as \"clock.slow.phase\": the kind, the name and the key",
            });
        faults.push(fault);
        return None;
    };
    let part = |n: usize| {
        let before: usize = parts[..n].iter().map(|p| p.len() + 1).sum();
        let at = crate::patch::read::fields::place_in_text(source, &key_node(key), path, before, parts[n].len());
        Key { text: parts[n].to_owned(), at }
    };
    if !(2..=3).contains(&parts.len()) {
        let fault = Fault::new(key.at.clone(), format!("the path `{}` has {} parts", shown(path), parts.len()))
            .label("expected two or three")
            .help(format!(
                "write \"{0}.NAME.KEY\" to set one key, or \"{0}.NAME\" to set a whole table such as {1}",
                kind.key(),
                kind.example()
            ));
        faults.push(fault);
        return None;
    }
    let field = (parts.len() == 3).then(|| part(2));
    if field.is_none() && !matches!(node.value, Value::Table(_)) {
        let fault = Fault::new(node.at.clone(), format!("`{}` is {}, not a whole table", shown(path), node.kind()))
            .label(format!("found {}, expected a table", node.kind()))
            .help(format!("write set.\"{0}\" = {1}, or set one key as \"{0}.KEY\"", shown(path), kind.example()));
        faults.push(fault);
        return None;
    }
    let whole = key.at.start..last_byte(node).max(key.at.end);
    Some(Change { path: path.clone(), kind, name: part(1), field, value: node.clone(), whole })
}

/// A key as a value, for finding a part of it in the file.
fn key_node(key: &Key) -> Node {
    Node { at: key.at.clone(), value: Value::Bool(false) }
}

/// The lines that an unquoted path should have been.
fn quoted_lines(source: &str, path: &str, node: &Node, lines: &mut Vec<String>) {
    const MOST_LINES: usize = 4;
    if lines.len() == MOST_LINES {
        return;
    }
    let depth = path.split('.').count();
    match &node.value {
        Value::Table(table) if depth < 3 && (table.dotted || depth == 1) => {
            for (key, node) in &table.entries {
                quoted_lines(source, &format!("{path}.{}", key.text), node, lines);
            }
        }
        // A heading has its lines elsewhere; a table in braces, a list and a text are written as they stand.
        Value::Table(_) if source.get(node.at.clone()).is_some_and(|t| t.starts_with('[')) => {
            let heading = source.get(node.at.clone()).unwrap_or_default();
            lines.push(shown(&heading.replacen(path, &format!("\"{path}\""), 1)));
        }
        _ => {
            let value = source.get(node.at.clone()).unwrap_or_default();
            lines.push(format!("set.\"{}\" = {}", shown(path), shown(value)));
        }
    }
}

/// The end of a value in the file. What a heading holds stands behind the heading.
fn last_byte(node: &Node) -> usize {
    match &node.value {
        Value::Table(table) => table.entries.iter().map(|(_, n)| last_byte(n)).max().unwrap_or(0).max(node.at.end),
        _ => node.at.end,
    }
}
