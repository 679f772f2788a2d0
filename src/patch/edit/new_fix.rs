//! A fix that somebody has worked out, as a table more in the text of a patch.

use super::place::SET;
use super::scan::Page;
use super::worth::Worth;
use super::{EditError, section, set, way};
use crate::patch::check::view::{LONGEST_NAME, TAKEN};
use crate::text::shown;

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
pub struct WithFix {
    /// The whole text.
    pub text: String,
    /// The name that was free.
    pub name: String,
}

/// The text of a patch with a fix more; every other byte stays. A name that is taken gets a number.
///
/// # Errors
/// If the text or a value is no TOML, if nothing is set, or if the text is written so that no fix can be added.
pub fn with_fix(text: &str, fix: &NewFix) -> Result<WithFix, EditError> {
    let entries = entries(fix)?;
    let document = Page::read(text)?.document();
    let name = free(&fix.name, document.get("fix"));
    let added = section::add(text, &way(&["fix", &name]), &Worth::Table(entries));
    let mut text = added.map_err(|_| {
        let lines = fix_lines(&NewFix { name: name.clone(), ..fix.clone() }).unwrap_or_default();
        let says = format!("the fix `{}` cannot be added to the patch as it is written", shown(&name));
        EditError::new(&says, &format!("add it by hand:\n{}", lines.trim()))
    })?;
    if let Some(one) = fix.one.as_ref().filter(|_| document.get("one").is_none()) {
        text = set::set(&text, &way(&["one"]), &Worth::text(one))?;
    }
    Ok(WithFix { text, name })
}

/// The text of a patch with a key at its top set to a value, as TOML writes it.
///
/// # Errors
/// If the text or the value is no TOML, or the text is written so that it cannot be set.
pub(in crate::patch) fn with_top(text: &str, key: &str, value: &str) -> Result<String, EditError> {
    let read = Page::read(&format!("value = {value}")).ok().and_then(|page| page.document().get("value").cloned());
    let told = || EditError::new(&format!("`{}` is no value of TOML", shown(value)), "write it as a patch has it");
    set::set(text, &way(&[key]), &read.ok_or_else(told)?)
}

/// The lines that say a fix.
///
/// # Errors
/// If a value is no TOML, or nothing is set.
pub fn fix_lines(fix: &NewFix) -> Result<String, EditError> {
    Ok(Page::read("")?.section(&way(&["fix", &fix.name]), &entries(fix)?))
}

/// The keys of the table and their values.
fn entries(fix: &NewFix) -> Result<Vec<(String, Worth)>, EditError> {
    if fix.set.is_empty() {
        return Err(EditError::new("a fix that sets nothing cannot be kept", "give it at least one path and value"));
    }
    let read = |(path, value): &(String, String)| {
        let line = format!("value = {value}");
        let read = Page::read(&line).ok().and_then(|page| page.document().get("value").cloned());
        let told = || format!("`{}` cannot be set to `{}`", shown(path), shown(value));
        let help = "write a value as TOML does: a text in quotes, a list in brackets";
        read.map(|value| (path.clone(), value)).ok_or_else(|| EditError::new(&told(), help))
    };
    let set = fix.set.iter().map(read).collect::<Result<_, _>>()?;
    let about = fix.about.as_ref().map(|about| ("about".to_owned(), Worth::text(about)));
    Ok(about.into_iter().chain([(SET.to_owned(), Worth::Table(set))]).collect())
}

/// A name that nothing has: the one that is asked for, or that with the next number.
fn free(asked: &str, taken: Option<&Worth>) -> String {
    let fits = |c: char| c.is_ascii_alphanumeric() || "_-".contains(c);
    let name: String = asked.chars().map(|c| if fits(c) { c } else { '-' }).take(LONGEST_NAME).collect();
    let name = name.trim_start_matches(['-', '_']);
    let name = if name.is_empty() { "mended" } else { name };
    let is_taken = |name: &str| {
        let in_file =
            matches!(taken, Some(Worth::Table(all)) if all.iter().any(|(key, _)| key.eq_ignore_ascii_case(name)));
        in_file || TAKEN.iter().any(|own| name.eq_ignore_ascii_case(own))
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
                let kept = with_fix(&text, &gate("or-gate")).unwrap_or_else(|e| panic!("{name}: {e}"));
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
        let text = include_str!("../../../patches/late-bell.toml");
        let kept = with_fix(text, &gate("or-gate")).expect("kept");
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
        let kept = with_fix(text, &NewFix { name: "A".into(), ..fix }).expect("kept");
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
            let kept = with_fix(text, &NewFix { name: "b".into(), set: set(), ..NewFix::default() });
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
        let document = |text: &str| Page::read(text).expect("TOML").document();
        let all = document("[fix.Mended]\n[fix.mended-2]\n");
        let taken = || all.get("fix");
        assert_eq!(free("mended", taken()), "mended-3");
        assert_eq!(free("original", taken()), "original-2");
        assert_eq!(free("a gate + more", None), "a-gate---more");
        assert_eq!(free("", None), "mended");
        let long = "x".repeat(80);
        let own = document(&format!("[fix.{}]\n", &long[..64]));
        assert_eq!(free(&long, own.get("fix")), format!("{}-2", &long[..62]));
    }

    #[test]
    fn the_one_is_named_at_the_top_where_nothing_names_it() {
        let set = || vec![("clock.o.shift".to_owned(), "\"1 ms\"".to_owned())];
        let fix = NewFix { name: "b".into(), set: set(), one: Some("o".into()), ..NewFix::default() };
        let with = |text: &str| with_fix(text, &fix).expect("kept").text;
        assert!(with("# a rig\n\nbars = 4\n[clock.o]\n").starts_with("# a rig\n\nbars = 4\none = \"o\"\n[clock.o]\n"));
        assert!(
            with("# a rig\n\n# the clock\n[clock.o]\n")
                .starts_with("# a rig\n\none = \"o\"\n\n# the clock\n[clock.o]\n")
        );
        assert!(with("one = \"x\"\n").starts_with("one = \"x\"\n\n[fix.b]"));
    }

    #[test]
    fn what_cannot_be_kept_is_told() {
        let bad = NewFix { name: "b".into(), set: vec![("a.b.c".into(), "1 ms".into())], ..NewFix::default() };
        let told = |text: &str, fix: &NewFix| with_fix(text, fix).expect_err("no fix").says;
        assert_eq!(told("", &bad), "`a.b.c` cannot be set to `1 ms`");
        assert_eq!(told("", &NewFix::default()), "a fix that sets nothing cannot be kept");
        let fix = NewFix { set: vec![("a.b.c".into(), "1".into())], ..bad };
        assert!(told("[", &fix).starts_with("the text has a fault in line 1"), "{}", told("[", &fix));
        let no_place = with_fix("fix = 1", &fix).expect_err("a number holds no fix");
        assert!(no_place.help.contains("[fix.b]\nset.\"a.b.c\" = 1"), "{}", no_place.help);
    }
}
