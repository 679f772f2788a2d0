//! A fix more in the text of a patch: what people wrote in it, their remarks, their order and every other byte stays.

use crate::patch::check::show::shown;
use crate::patch::parse::ORIGINAL;
use toml_edit::{Document, DocumentMut, InlineTable, Item, TableLike, Value};

/// What a patch holds its fixes under.
const FIX: &str = "fix";
/// The longest name that a patch takes.
const LONGEST_NAME: usize = 64;
/// A name that no variant may have: the level-matched files are called so.
const MATCHED: &str = "matched";

/// A set of changes, as a fix makes them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NewFix {
    /// The name that it shall have, if that is free.
    pub name: String,
    /// What it is, in a line.
    pub about: Option<String>,
    /// In their order, each the path and the value as TOML writes it: `sequencer.wren.clock` and `["slow", "gate"]`.
    pub set: Vec<(String, String)>,
    /// The output that is to be named as the one at the top of the patch, where the patch names none.
    pub one: Option<String>,
}

/// The text of a patch with a fix more, and the name under which it stands there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The whole text.
    pub text: String,
    /// The name that was free.
    pub name: String,
}

/// The reasons for which a fix cannot be written into a text.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeepError {
    /// The text is no TOML.
    #[error("the patch cannot be read: {0}")]
    NoToml(String),
    /// A value is no TOML.
    #[error("`{}` cannot be set to `{}`: {reason}", shown(.path), shown(.value))]
    Value {
        /// What was to be set.
        path: String,
        /// To what.
        value: String,
        /// What is wrong with it.
        reason: String,
    },
    /// A fix without changes.
    #[error("a fix that sets nothing cannot be kept")]
    Nothing,
    /// The patch is written in a way in which a table cannot be added by itself.
    #[error("the fix `{}` cannot be added to the patch as it is written", shown(.name))]
    NoPlace {
        /// The name that it would have.
        name: String,
        /// The lines that say it.
        lines: String,
    },
}

impl KeepError {
    /// What to do, for after `help: `.
    #[must_use]
    pub fn help(&self) -> String {
        match self {
            Self::NoToml(_) => "`hitgap check PATCH` shows what is wrong with it".to_owned(),
            Self::Value { .. } => "write a value as TOML does: a text in quotes, a list in brackets".to_owned(),
            Self::Nothing => "give it at least one path and value".to_owned(),
            Self::NoPlace { lines, .. } => format!("add it by hand:\n{}", lines.trim()),
        }
    }
}

/// The text of a patch with a `[fix.NAME]` table more: behind the last one, or at the end where there is none. A name that is
/// taken gets a number.
///
/// # Errors
/// See [`KeepError`].
pub fn keep(text: &str, fix: &NewFix) -> Result<Kept, KeepError> {
    if fix.set.is_empty() {
        return Err(KeepError::Nothing);
    }
    let document = Document::parse(text).map_err(|e| KeepError::NoToml(e.message().to_owned()))?;
    let fixes = document.get(FIX);
    let name = free(&fix.name, fixes.and_then(Item::as_table_like));
    let table = table(fix)?;
    let lines = lines(&name, &table);
    let end = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let wanted = expected(text, &name, fix, &table)?;
    let behind = fixes.and_then(last_byte).map(|at| behind_line(text, at));
    let places = behind.into_iter().chain([text.len()]);
    let mut texts: Vec<String> = places.map(|at| put(text, at, &lines, end)).collect();
    // Fixes within braces: those braces take it in.
    if let Some(Item::Value(Value::InlineTable(inner))) = fixes
        && let Some(at) = inner.span()
        && let Ok(Value::InlineTable(mut inner)) = text[at.clone()].parse()
    {
        inner.insert(&name, Value::InlineTable(table.clone()));
        texts.push(format!("{}{}{}", &text[..at.start], inner.to_string().trim(), &text[at.end..]));
    }
    let with_one = |text: String| match &fix.one {
        Some(one) if document.get("one").is_none() => first_line(&text, &format!("one = {}", quoted(one)), end),
        _ => text,
    };
    let read = |text: &String| text.parse::<toml::Table>().ok();
    texts
        .into_iter()
        .map(with_one)
        .find(|text| read(text).as_ref() == Some(&wanted))
        .map(|text| Kept { text, name: name.clone() })
        .ok_or(KeepError::NoPlace { name, lines })
}

/// The lines that say a fix.
///
/// # Errors
/// If a value is no TOML.
pub fn fix_lines(fix: &NewFix) -> Result<String, KeepError> {
    Ok(lines(&fix.name, &table(fix)?))
}

/// A name that nothing has: the one that is asked for, or that with the next number.
fn free(asked: &str, taken: Option<&dyn TableLike>) -> String {
    let fits = |c: char| c.is_ascii_alphanumeric() || "_-".contains(c);
    let name: String = asked.chars().map(|c| if fits(c) { c } else { '-' }).take(LONGEST_NAME).collect();
    let name = name.trim_start_matches(['-', '_']);
    let name = if name.is_empty() { "mended" } else { name };
    let is_taken = |name: &str| {
        let in_file = taken.is_some_and(|t| t.iter().any(|(key, _)| key.eq_ignore_ascii_case(name)));
        in_file || [ORIGINAL, MATCHED].iter().any(|own| name.eq_ignore_ascii_case(own))
    };
    if !is_taken(name) {
        return name.to_owned();
    }
    let numbered = |n: usize| {
        let end = format!("-{n}");
        format!("{}{end}", &name[..name.len().min(LONGEST_NAME - end.len())])
    };
    (2..).map(numbered).find(|name| !is_taken(name)).unwrap_or_default()
}

/// What stands under the heading, as one table.
fn table(fix: &NewFix) -> Result<InlineTable, KeepError> {
    let mut all = InlineTable::new();
    if let Some(about) = &fix.about {
        all.insert("about", about.as_str().into());
    }
    let mut set = InlineTable::new();
    for (path, value) in &fix.set {
        let read = value.trim().parse::<Value>().map_err(|e| KeepError::Value {
            path: path.clone(),
            value: value.clone(),
            reason: e.message().to_owned(),
        })?;
        set.insert(path, read);
    }
    all.insert("set", Value::InlineTable(set));
    Ok(all)
}

/// The heading and its lines.
fn lines(name: &str, table: &InlineTable) -> String {
    let mut lines = format!("[{FIX}.{name}]\n");
    for (key, value) in table {
        match value {
            Value::InlineTable(set) => {
                for (path, value) in set {
                    lines += &format!("{key}.{} = {}\n", quoted(path), value.to_string().trim());
                }
            }
            value => lines += &format!("{key} = {}\n", value.to_string().trim()),
        }
    }
    lines
}

fn quoted(text: &str) -> String {
    Value::from(text).to_string().trim().to_owned()
}

/// All that the new text must say.
fn expected(text: &str, name: &str, fix: &NewFix, table: &InlineTable) -> Result<toml::Table, KeepError> {
    let no_toml = |e: toml::de::Error| KeepError::NoToml(e.message().to_owned());
    let mut all: toml::Table = text.parse().map_err(no_toml)?;
    let mut page = DocumentMut::new();
    page.insert(FIX, Item::Value(Value::InlineTable(table.clone())));
    let mut read: toml::Table = page.to_string().parse().map_err(no_toml)?;
    let fixes = all.entry(FIX).or_insert_with(|| toml::Value::Table(toml::Table::new()));
    if let (Some(fixes), Some(own)) = (fixes.as_table_mut(), read.remove(FIX)) {
        fixes.insert(name.to_owned(), own);
    }
    if let (Some(one), false) = (&fix.one, all.contains_key("one")) {
        all.insert("one".to_owned(), toml::Value::String(one.clone()));
    }
    Ok(all)
}

/// Where what a table holds ends in the text.
fn last_byte(item: &Item) -> Option<usize> {
    let own = item.span().map(|at| at.end);
    let inner = item.as_table_like().into_iter().flat_map(TableLike::iter).filter_map(|(_, item)| last_byte(item));
    inner.chain(own).max()
}

/// The start of the line behind the one that holds a byte, and behind remarks that follow it at once and belong to no heading.
fn behind_line(text: &str, at: usize) -> usize {
    let next = |at: usize| text[at..].find('\n').map_or(text.len(), |n| at + n + 1);
    let mut end = next(at);
    let line = |at: usize| text[at..next(at)].trim();
    let mut ahead = end;
    while ahead < text.len() && line(ahead).starts_with('#') {
        ahead = next(ahead);
    }
    if ahead == text.len() || line(ahead).is_empty() {
        end = ahead;
    }
    end
}

/// The text with lines put in at a place, an empty line before and, where anything follows, one behind.
fn put(text: &str, at: usize, lines: &str, end: &str) -> String {
    let (before, after) = text.split_at(at);
    let lines = lines.replace('\n', end);
    let is_empty = |line: Option<&str>| line.is_none_or(|line| line.trim().is_empty());
    let broken = if before.is_empty() || before.ends_with('\n') { "" } else { end };
    let apart = if is_empty(before.lines().last()) { "" } else { end };
    let follows = if is_empty(after.lines().next()) { "" } else { end };
    format!("{before}{broken}{apart}{lines}{follows}{after}")
}

/// The text with a line before the first key at its top, or before the first heading.
fn first_line(text: &str, line: &str, end: &str) -> String {
    let mut at = 0;
    for one in text.split_inclusive('\n') {
        let said = one.trim_start_matches('\u{feff}').trim();
        if !(said.is_empty() || said.starts_with('#')) {
            break;
        }
        at += one.len();
    }
    // Remarks right above a heading are that heading's.
    let is_heading = text[at..].starts_with('[');
    if is_heading {
        let above = text[..at].rfind("\n\n").map_or(0, |n| n + 2);
        at = above.max(usize::from(text.starts_with('\u{feff}')) * '\u{feff}'.len_utf8());
    }
    let (before, after) = text.split_at(at);
    format!("{before}{line}{end}{}{after}", if is_heading { end } else { "" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::{Asked, Patch};

    fn gate(name: &str) -> NewFix {
        NewFix {
            name: name.to_owned(),
            about: Some("a gate: \"fast\"".to_owned()),
            set: vec![
                ("stage.fast".to_owned(), "{ kind = \"delay\", delay = \"40 us\" }".to_owned()),
                ("sequencer.wren.clock".to_owned(), "[\"slow\", \"fast\"]".to_owned()),
            ],
            one: None,
        }
    }

    /// The text is the old one with something put in at one place: nothing else differs in a byte.
    fn only_put_in(old: &str, new: &str) {
        let same = old.bytes().zip(new.bytes()).take_while(|(a, b)| a == b).count();
        let behind = old.len() - same;
        assert_eq!(&old[same..], &new[new.len() - behind..], "{new}");
    }

    #[test]
    fn every_example_takes_a_fix_and_is_the_same_besides() {
        for example in std::fs::read_dir("patches").expect("examples") {
            let path = example.expect("a file").path();
            let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
            let skipped = name == "components.toml" || name.contains(".lesson.");
            if skipped || path.extension().is_none_or(|end| end != "toml") {
                continue;
            }
            let old = std::fs::read_to_string(&path).expect("a patch");
            for text in [old.clone(), old.replace('\n', "\r\n"), old.trim_end().to_owned()] {
                let kept = keep(&text, &gate("or-gate")).unwrap_or_else(|e| panic!("{name}: {e}"));
                only_put_in(&text, &kept.text);
                assert_eq!(text.contains('\r'), kept.text.lines().count() > 0 && kept.text.contains('\r'), "{name}");
                assert!(!kept.text.replace("\r\n", "").contains('\n') || !text.contains('\r'), "{name}: mixed ends");
                let said = |text: &str| text.parse::<toml::Table>().expect("TOML");
                let (mut with, without) = (said(&kept.text), said(&text));
                let fixes = with["fix"].as_table_mut().expect("fixes");
                let own = fixes.remove(&kept.name).expect("the fix");
                assert_eq!(own["set"]["sequencer.wren.clock"][1].as_str(), Some("fast"));
                assert_eq!(own["about"].as_str(), Some("a gate: \"fast\""));
                if fixes.is_empty() {
                    with.remove("fix");
                }
                assert_eq!(with, without, "{name}");
            }
        }
    }

    #[test]
    fn it_is_a_variant_of_the_patch_as_if_written_by_hand() {
        let text = include_str!("../../patches/late-bell.toml");
        let kept = keep(text, &gate("or-gate")).expect("kept");
        assert_eq!(kept.name, "or-gate-2");
        let patch = Patch::parse(&kept.text, &Asked::default()).expect("a patch");
        let [by_hand, ours] = ["or-gate", "or-gate-2"].map(|name| patch.variant(name).expect("a fix").rig);
        let last = ours.stages.last().expect("a stage");
        assert_eq!((last.name.as_str(), &last.kind), ("fast", &by_hand.stages[0].kind));
        assert_eq!(ours.sequencers[1].clock.stages, [ours.stages.len() - 1]);
    }

    #[test]
    fn it_stands_behind_the_last_fix_and_remarks_stay_where_they_are() {
        let text = "# top\ntempos = [60] # t\n\n[fix.a]\nset.\"clock.o.phase\" = \"1 %\" # why\n# more of a\n\n# of the clock\n[clock.o]\nrate = \"1 per beat\"\n";
        let fix = NewFix { set: vec![("clock.o.shift".into(), "\"1 ms\"".into())], ..NewFix::default() };
        let kept = keep(text, &NewFix { name: "A".into(), ..fix }).expect("kept");
        assert_eq!(kept.name, "A-2");
        let added = "\n[fix.A-2]\nset.\"clock.o.shift\" = \"1 ms\"\n";
        assert_eq!(kept.text, text.replace("# more of a\n", &format!("# more of a\n{added}")));
    }

    #[test]
    fn fixes_in_braces_or_by_dots_take_it_too() {
        let set = || vec![("clock.o.shift".to_owned(), "\"1 ms\"".to_owned())];
        for text in [
            "fix = { a = { set = { \"clock.o.phase\" = \"1 %\" } } } # braces\nbars = 4\n[clock.o]\nrate = \"1 per beat\"\n",
            "fix.a.set.\"clock.o.phase\" = \"1 %\"\nbars = 4\n[clock.o]\nrate = \"1 per beat\"\n",
            "[fix]\na = { set = { \"clock.o.phase\" = \"1 %\" } }\n[clock.o]\nrate = \"1 per beat\"\n",
            "[fix.a.set]\n\"clock.o.phase\" = \"1 %\"\n",
            "\u{feff}[clock.o]\nrate = \"1 per beat\"\n[fix.a]\nset.\"clock.o.phase\" = \"1 %\"",
            "",
        ] {
            let kept = keep(text, &NewFix { name: "b".into(), set: set(), ..NewFix::default() });
            let kept = kept.unwrap_or_else(|e| panic!("{text}: {e}"));
            let read: toml::Table = kept.text.parse().expect("TOML");
            assert_eq!(read["fix"]["b"]["set"]["clock.o.shift"].as_str(), Some("1 ms"), "{}", kept.text);
            if !text.starts_with("fix = {") {
                only_put_in(text, &kept.text);
            }
            assert!(kept.text.contains("# braces") == text.contains("# braces"));
        }
    }

    #[test]
    fn names_are_made_free_and_fit() {
        let taken: DocumentMut = "[fix.Mended]\n[fix.mended-2]\n".parse().expect("TOML");
        let taken = || taken.get(FIX).and_then(Item::as_table_like);
        assert_eq!(free("mended", taken()), "mended-3");
        assert_eq!(free("original", taken()), "original-2");
        assert_eq!(free("a gate + more", None), "a-gate---more");
        assert_eq!(free("", None), "mended");
        let long = "x".repeat(80);
        let own: DocumentMut = format!("[fix.{}]\n", &long[..64]).parse().expect("TOML");
        assert_eq!(free(&long, own.get(FIX).and_then(Item::as_table_like)), format!("{}-2", &long[..62]));
    }

    #[test]
    fn the_one_is_named_at_the_top_where_nothing_names_it() {
        let set = || vec![("clock.o.shift".to_owned(), "\"1 ms\"".to_owned())];
        let fix = NewFix { name: "b".into(), set: set(), one: Some("o".into()), ..NewFix::default() };
        let with = |text: &str| keep(text, &fix).expect("kept").text;
        assert!(with("# a rig\n\nbars = 4\n[clock.o]\n").starts_with("# a rig\n\none = \"o\"\nbars = 4\n"));
        assert!(
            with("# a rig\n\n# the clock\n[clock.o]\n")
                .starts_with("# a rig\n\none = \"o\"\n\n# the clock\n[clock.o]\n")
        );
        assert!(with("one = \"x\"\n").starts_with("one = \"x\"\n\n[fix.b]"));
    }

    #[test]
    fn what_cannot_be_kept_is_told() {
        let bad = NewFix { name: "b".into(), set: vec![("a.b.c".into(), "1 ms".into())], ..NewFix::default() };
        assert!(matches!(keep("", &bad), Err(KeepError::Value { .. })));
        assert_eq!(keep("", &NewFix::default()), Err(KeepError::Nothing));
        let fix = NewFix { set: vec![("a.b.c".into(), "1".into())], ..bad };
        assert!(matches!(keep("[", &fix), Err(KeepError::NoToml(_))));
        let no_place = keep("fix = 1", &fix).expect_err("a number holds no fix");
        assert!(no_place.help().contains("[fix.b]\nset.\"a.b.c\" = 1"), "{}", no_place.help());
    }
}
