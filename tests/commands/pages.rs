//! What the README and the pages of `docs/` tell their readers to type is typed, and what they show is held against what is
//! seen. Each page stands by itself: it is gone through from top to bottom, in a folder of its own with a copy of `patches/`.
//!
//! - A line of an `sh` block is a command: `cargo run --release -- …` and `hitgap …` are run; any other must be listed in
//!   `ELSEWHERE`.
//! - A command in the text, such as `hitgap voices` in backticks, is run too.
//! - A file in the text, such as `out/late-bell.html`, is there when the page has been gone through.
//! - A `text` block belongs to the first command of the `sh` block before it, if nothing else stands between but words; else it
//!   is an error in `mine.toml`, which is then made from what `hitgap new` writes with the line that the block shows.
//! - A `toml` block is a whole patch, or, where its first line is `# from patches/NAME.toml`, stands in that file.
//! - There are no other blocks.
//!
//! `HITGAP_BLESS=1 cargo test --test commands pages` writes into the pages what commands print now: read the difference.

use super::place::{Place, Ran};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::Stdio;

/// Commands that others run: the tests themselves, and what would change the reader's machine.
const ELSEWHERE: [&str; 2] = ["cargo test", "cargo install --path ."];

/// One of the pages that are written for users.
pub(crate) struct Page {
    /// As seen from the folder of the crate.
    pub(crate) name: String,
    pub(crate) text: String,
}

/// What stands in a page, from top to bottom.
pub(crate) enum Part {
    Words(String),
    /// A fenced block: what it is, what is in it, and in which lines of the page that stands.
    Block {
        kind: String,
        text: String,
        lines: Range<usize>,
    },
}

pub(crate) fn home() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn page(name: &str) -> Page {
    let text = std::fs::read_to_string(home().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
    // Windows may have checked it out with other line ends.
    Page { name: name.to_owned(), text: text.replace("\r\n", "\n") }
}

/// The pages of `docs/`, sorted.
pub(crate) fn docs() -> Vec<Page> {
    let entries = std::fs::read_dir(home().join("docs")).expect("the pages");
    let mut names: Vec<String> =
        entries.map(|e| e.expect("an entry").file_name().into_string().expect("a plain name")).collect();
    names.retain(|name| Path::new(name).extension().is_some_and(|e| e == "md"));
    names.sort();
    names.iter().map(|name| page(&format!("docs/{name}"))).collect()
}

/// The README, and the pages of `docs/`.
fn all() -> Vec<Page> {
    std::iter::once(page("README.md")).chain(docs()).collect()
}

impl Page {
    pub(crate) fn parts(&self) -> Vec<Part> {
        let (mut parts, mut open) = (Vec::new(), None);
        for (at, line) in self.text.lines().enumerate() {
            match (line.strip_prefix("```"), &mut open) {
                (Some(kind), None) => open = Some((kind.to_owned(), String::new(), at + 1)),
                (Some(_), Some(_)) => {
                    let (kind, text, from) = open.take().expect("an open block");
                    parts.push(Part::Block { kind, text, lines: from..at });
                }
                (None, Some((_, text, _))) => text.extend([line, "\n"]),
                (None, None) => match parts.last_mut() {
                    Some(Part::Words(words)) => words.extend([line, "\n"]),
                    _ => parts.push(Part::Words(format!("{line}\n"))),
                },
            }
        }
        assert!(open.is_none(), "{}: a block is not closed", self.name);
        parts
    }
}

/// The command as the tests write it, if it is ours.
fn ours(line: &str) -> Option<String> {
    let arguments = line.strip_prefix("hitgap ").or_else(|| line.strip_prefix("cargo run --release -- "))?;
    (!arguments.is_empty()).then(|| format!("hitgap {arguments}"))
}

/// What stands in backticks, on one line each.
fn codes(words: &str) -> impl Iterator<Item = String> {
    words.split('`').skip(1).step_by(2).map(|code| code.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The commands among words in backticks. `COMMAND` stands for every command.
fn within(words: &str) -> Vec<String> {
    let each = |line: String| match line.contains("COMMAND") {
        true => commands().iter().map(|c| line.replace("COMMAND", c)).collect(),
        false => vec![line],
    };
    codes(words).filter_map(|code| ours(&code)).flat_map(each).collect()
}

/// A command ends with 0, but for a check of what fails: that ends with 1, and says the same to programs.
fn ends_well(page: &Page, place: &Place, line: &str) -> Ran {
    if (line == "hitgap open" || line.starts_with("hitgap open ")) && !line.ends_with(" --help") {
        return serves(place, line);
    }
    let ran = place.run(line);
    let judges = line.starts_with("hitgap check ") && !line.ends_with(" --help");
    let said = judges.then(|| place.run(&format!("{line} --format json")).stdout);
    let said = said.map(|said| serde_json::from_str::<Value>(&said).expect("JSON"));
    let expected = i32::from(said.is_some_and(|said| said["passes"] == false));
    assert_eq!(ran.status, Some(expected), "{}: {line}\n{}{}", page.name, ran.stdout, ran.stderr);
    ran
}

/// `open` goes on until it is asked to end: it prints an address, and is ended then.
fn serves(place: &Place, line: &str) -> Ran {
    let mut child = place.command(&format!("{line} --no-open"));
    let mut child = child.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("it starts");
    let mut stdout = String::new();
    BufReader::new(child.stdout.take().expect("a pipe")).read_line(&mut stdout).expect("a line");
    child.kill().expect("it is ended");
    child.wait().expect("an end");
    assert!(stdout.starts_with("Open http://127.0.0.1:"), "{line}: {stdout}");
    Ran::ended(line, stdout)
}

/// All commands, as `--help` lists them.
fn commands() -> Vec<String> {
    let help = Place::new().run("hitgap --help").exits(0).stdout;
    let listed = help.lines().skip_while(|l| *l != "Commands:").skip(1).take_while(|l| !l.is_empty());
    let named = |l: &&str| l.starts_with("  ") && !l.starts_with("   ");
    let names = listed.filter(named).filter_map(|l| l.split_whitespace().next());
    names.filter(|name| *name != "help").map(str::to_owned).collect()
}

/// What came of a page that was gone through.
#[derive(Default)]
struct Walk {
    commands: usize,
    outputs: usize,
    /// Files that the text speaks of.
    files: Vec<String>,
    /// The first command of the block before, which what is shown next is of.
    last: Option<Ran>,
    /// What is shown otherwise than it is seen: in which lines, and what is seen.
    otherwise: Vec<(Range<usize>, String)>,
}

impl Walk {
    fn through(page: &Page, place: &Place) -> Self {
        let mut walk = Self::default();
        for part in page.parts() {
            match part {
                Part::Words(words) => {
                    walk.files.extend(codes(&words).filter(|code| code.starts_with("out/")));
                    for line in within(&words) {
                        ends_well(page, place, &line);
                        walk.commands += 1;
                    }
                }
                Part::Block { kind, text, .. } if kind == "sh" => walk.types(page, place, &text),
                Part::Block { kind, text, lines } if kind == "text" => {
                    walk.outputs += 1;
                    let seen = walk.last.take().map_or_else(|| fault(page, &text), |ran| ran.stdout);
                    if seen != text {
                        walk.otherwise.push((lines, seen));
                    }
                }
                Part::Block { kind, .. } if kind == "toml" => walk.last = None,
                Part::Block { kind, text, .. } => {
                    panic!("{}: what a block of `{kind}` holds, this test does not know:\n{text}", page.name)
                }
            }
        }
        walk
    }

    /// The lines of a block of commands.
    fn types(&mut self, page: &Page, place: &Place, text: &str) {
        self.last = None;
        for line in text.lines().map(str::trim).filter(|l| !l.is_empty()) {
            let Some(line) = ours(line) else {
                assert!(ELSEWHERE.contains(&line), "{}: `{line}` is neither hitgap's nor listed here", page.name);
                continue;
            };
            let ran = ends_well(page, place, &line);
            self.commands += 1;
            self.last.get_or_insert(ran);
        }
    }
}

#[test]
fn every_command_works_and_prints_what_its_page_shows() {
    let (mut commands, mut outputs, mut files) = (0, 0, 0);
    for page in all() {
        let place = Place::new();
        let walk = Walk::through(&page, &place);
        for file in &walk.files {
            assert!(place.path(file).exists(), "{}: no command makes {file}", page.name);
        }
        if std::env::var_os("HITGAP_BLESS").is_some() {
            write(&page, &walk.otherwise);
        } else if let Some((lines, seen)) = walk.otherwise.first() {
            panic!("{}, line {}: HITGAP_BLESS=1 writes what is seen:\n{seen}", page.name, lines.start + 1);
        }
        (commands, outputs, files) = (commands + walk.commands, outputs + walk.outputs, files + walk.files.len());
    }
    assert!(commands >= 40 && outputs >= 10 && files >= 5, "{commands} commands, {outputs} outputs, {files} files");
}

/// The page with other lines in its blocks.
fn write(page: &Page, anew: &[(Range<usize>, String)]) {
    if anew.is_empty() {
        return;
    }
    let mut lines: Vec<&str> = page.text.lines().collect();
    for (place, text) in anew.iter().rev() {
        lines.splice(place.clone(), text.lines());
    }
    std::fs::write(home().join(&page.name), lines.join("\n") + "\n").expect("a page");
}

/// What is said of a fault in `mine.toml` that is shown without a command: the line that is shown is put into what
/// `hitgap new` writes.
fn fault(page: &Page, text: &str) -> String {
    let place = Place::new();
    let (_, at) =
        text.split_once("--> mine.toml:").unwrap_or_else(|| panic!("{}: no command makes this:\n{text}", page.name));
    let number: usize = at.split(':').next().and_then(|n| n.parse().ok()).expect("a line");
    let mark = format!("{number} | ");
    let shown = text.lines().find_map(|l| l.strip_prefix(&mark)).expect("the line");
    place.run("hitgap new mine.toml").exits(0);
    let example = String::from_utf8(place.read("mine.toml")).expect("a new patch");
    let mut lines: Vec<&str> = example.lines().collect();
    lines[number - 1] = shown;
    let place = place.with("mine.toml", lines.join("\n") + "\n");
    let ran = place.run("hitgap check mine.toml").exits(2);
    assert_eq!(ran.stdout, "");
    ran.stderr
}

#[test]
fn every_patch_that_is_shown_is_one() {
    let (mut whole, mut parts) = (0, 0);
    for page in all() {
        for part in page.parts() {
            let Part::Block { kind, text, .. } = part else { continue };
            if kind != "toml" {
                continue;
            }
            if let Some((name, part)) = text.strip_prefix("# from ").and_then(|text| text.split_once('\n')) {
                let file = std::fs::read_to_string(home().join(name)).expect("the file that is named");
                assert!(file.replace("\r\n", "\n").contains(part), "{}: {name} does not hold\n{part}", page.name);
                parts += 1;
                continue;
            }
            let place = Place::new().with("shown.toml", &text);
            let ran = place.run("hitgap check shown.toml");
            assert!(matches!(ran.status, Some(0 | 1)), "{}: {}", page.name, ran.stderr);
            assert_eq!(ran.stderr, "", "{}: not even a warning", page.name);
            place.run("hitgap render shown.toml --bars 1").exits(0);
            whole += 1;
        }
    }
    assert!(whole >= 1 && parts >= 1, "{whole} patches, {parts} parts of one");
}

/// The index has every example once, numbered in the order in which to try them, and what it says to type plays.
#[test]
fn every_example_has_its_place_in_the_index_and_plays() {
    let index = page("docs/README.md");
    let place = Place::new();
    let mut order = Vec::new();
    for row in index.text.lines().filter(|l| l.contains("](../patches/")) {
        let cells: Vec<&str> = row.trim_matches('|').split(" | ").map(str::trim).collect();
        let name = cells[1].split('`').nth(1).expect("a name in backticks").to_owned();
        assert_eq!(cells[1], format!("[`{name}`](../patches/{name}.toml)"));
        order.push(name.clone());
        assert_eq!(cells[0], order.len().to_string(), "{name}: rows are numbered from 1");
        assert!(cells.len() == 4 && cells.iter().all(|c| !c.is_empty()), "{name}: a story, and what is heard");
        // What the row says to type is run with all that the page says; else it is what the text before the tables says.
        if within(row).is_empty() {
            place.run(&format!("hitgap compare patches/{name}.toml")).exits(0);
        }
    }
    // What is no example to be tried by itself: parts for `advise`.
    let mut there = place.names("patches");
    there.retain(|name| name != "components.toml");
    let mut there: Vec<String> =
        there.iter().filter_map(|name| name.strip_suffix(".toml")).map(str::to_owned).collect();
    there.sort();
    order.sort();
    assert_eq!(order, there);
    // Files that are no examples are told somewhere, too.
    let told: String = all().iter().map(|page| page.text.as_str()).collect();
    for name in place.names("patches") {
        assert!(told.contains(&format!("patches/{name}")), "no page knows {name}");
    }
}

/// The table of commands has every command once, in the order of the job.
#[test]
fn the_table_of_commands_has_every_command() {
    let page = page("docs/commands.md");
    let rows =
        page.text.lines().skip_while(|l| !l.starts_with("| command |")).skip(2).take_while(|l| l.starts_with('|'));
    let mut named: Vec<String> = Vec::new();
    for row in rows {
        let first = row.trim_matches('|').split(" | ").next().expect("a cell");
        let codes = first.split('`').skip(1).step_by(2);
        named.extend(codes.filter_map(|code| code.split_whitespace().next()).map(str::to_owned));
    }
    let mut there = commands();
    named.sort();
    there.sort();
    assert_eq!(named, there);
}

/// A page opens with words that say what it answers, before any list, table or block.
#[test]
fn every_page_opens_with_what_it_answers() {
    let pages = docs();
    assert!(pages.len() >= 8);
    for page in &pages {
        let mut lines = page.text.lines().filter(|l| !l.is_empty() && !l.starts_with("<!--"));
        let title = lines.next().unwrap_or_default();
        assert!(title.starts_with("# "), "{}: {title}", page.name);
        let first = lines.next().unwrap_or_default();
        let plain = first.chars().next().is_some_and(|c| c.is_alphanumeric() || c == '`');
        assert!(plain && !first.starts_with("```"), "{}: words are expected, not {first}", page.name);
    }
}
