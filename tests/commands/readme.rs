//! What the README tells its readers to type is typed, and what it shows is held against what is seen.
//!
//! - A line of an `sh` block is a command: `cargo run --release -- …` and `hitgap …` are run in a copy of `patches/`; any
//!   other must be listed in `ELSEWHERE`.
//! - A command in the text, such as `hitgap voices` in backticks, is run too.
//! - A `text` block belongs to the command of the `sh` block before it, if nothing else stands between but words; else it
//!   is an error in `mine.toml`, which is then made from `patches/late-bell.toml` with the line that the block shows.
//! - A `toml` block is a whole patch, or, where its first line is `# from patches/NAME.toml`, stands in that file.
//! - There are no other blocks.

use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// Commands that others run: the tests themselves, and what would change the reader's machine.
const ELSEWHERE: [&str; 2] = ["cargo test", "cargo install --path ."];

/// A fenced block: what it is, and what is in it.
struct Block {
    kind: String,
    text: String,
}

fn readme() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    std::fs::read_to_string(path).expect("the README").replace("\r\n", "\n")
}

/// The fenced blocks, and the words between.
fn parts(readme: &str) -> (Vec<Block>, String) {
    let (mut blocks, mut words, mut open) = (Vec::new(), String::new(), None::<Block>);
    for line in readme.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(kind), None) => open = Some(Block { kind: kind.to_owned(), text: String::new() }),
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (None, Some(block)) => block.text.extend([line, "\n"]),
            (None, None) => words.extend([line, "\n"]),
        }
    }
    assert!(open.is_none(), "a block is not closed");
    (blocks, words)
}

/// A folder with the examples.
fn folder() -> TempDir {
    let dir = TempDir::new().expect("a temporary folder");
    std::fs::create_dir(dir.path().join("patches")).expect("a folder");
    for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("patches")).expect("the examples") {
        let from = entry.expect("an entry").path();
        std::fs::copy(&from, dir.path().join("patches").join(from.file_name().expect("a name"))).expect("a copy");
    }
    dir
}

struct Ran {
    status: Option<i32>,
    stdout: String,
    stderr: String,
}

/// The words after `hitgap`, if it is our command.
fn ours(line: &str) -> Option<&str> {
    line.strip_prefix("hitgap ").or_else(|| line.strip_prefix("cargo run --release -- "))
}

fn run(dir: &TempDir, arguments: &str) -> Ran {
    let mut words = Vec::new();
    // As a shell would split it: what is between quotes is one word.
    for (n, part) in arguments.split('"').enumerate() {
        if n % 2 == 1 { words.push(part) } else { words.extend(part.split_whitespace()) }
    }
    let output = Command::new(env!("CARGO_BIN_EXE_hitgap"))
        .args(words)
        .current_dir(dir.path())
        .stdin(Stdio::null())
        .env_remove("RUST_BACKTRACE")
        .output()
        .expect("the program starts");
    let text = |bytes| String::from_utf8(bytes).expect("text");
    Ran { status: output.status.code(), stdout: text(output.stdout), stderr: text(output.stderr) }
}

/// What a command may end with: a check may fail, and does where it says so.
fn ends_well(arguments: &str, ran: &Ran) {
    let fails = ran.stdout.lines().any(|l| l.contains(" fails at "));
    let may = arguments.starts_with("check ") && fails;
    let expected = if may { 1 } else { 0 };
    assert_eq!(ran.status, Some(expected), "hitgap {arguments}\n{}{}", ran.stdout, ran.stderr);
}

#[test]
fn every_command_works_and_shows_what_the_readme_shows() {
    let (blocks, _) = parts(&readme());
    let dir = folder();
    let (mut commands, mut shown) = (0, 0);
    let mut last: Option<(String, Ran)> = None;
    for block in &blocks {
        match block.kind.as_str() {
            "sh" => {
                last = None;
                for line in block.text.lines().map(str::trim).filter(|l| !l.is_empty()) {
                    // A remark after the command is for the reader.
                    let line = line.split_once(" #").map_or(line, |(command, _)| command.trim_end());
                    let Some(arguments) = ours(line) else {
                        assert!(ELSEWHERE.contains(&line), "`{line}` is neither hitgap's nor listed here");
                        continue;
                    };
                    let ran = run(&dir, arguments);
                    ends_well(arguments, &ran);
                    commands += 1;
                    // What is shown below a block of several is of the first.
                    last.get_or_insert((arguments.to_owned(), ran));
                }
            }
            "text" => {
                shown += 1;
                match last.take() {
                    Some((arguments, ran)) => assert_eq!(block.text, ran.stdout, "hitgap {arguments}"),
                    None => fault(&block.text),
                }
            }
            "toml" => last = None,
            other => panic!("a block of `{other}`: this test does not know what to do with it:\n{}", block.text),
        }
    }
    assert!(commands >= 4 && shown >= 4, "{commands} commands, {shown} outputs");
}

/// Holds a fault in `mine.toml` that is shown without a command: the line it shows is put into what `hitgap new` writes.
fn fault(text: &str) {
    let dir = folder();
    let (_, place) = text.split_once("--> mine.toml:").unwrap_or_else(|| panic!("no command makes this:\n{text}"));
    let number: usize = place.split(':').next().and_then(|n| n.parse().ok()).expect("a line");
    let mark = format!("{number} | ");
    let shown = text.lines().find_map(|l| l.strip_prefix(&mark)).expect("the line");
    run(&dir, "new mine.toml");
    let example = std::fs::read_to_string(dir.path().join("mine.toml")).expect("a new patch");
    let mut lines: Vec<&str> = example.lines().collect();
    lines[number - 1] = shown;
    std::fs::write(dir.path().join("mine.toml"), lines.join("\n") + "\n").expect("a file");
    let ran = run(&dir, "check mine.toml");
    assert_eq!((ran.status, ran.stdout.as_str()), (Some(2), ""), "{}", ran.stderr);
    assert_eq!(ran.stderr, text);
}

#[test]
fn commands_within_the_text_work_too() {
    let (_, words) = parts(&readme());
    let dir = folder();
    let mut seen = 0;
    for code in words.split('`').skip(1).step_by(2) {
        let code = code.split_whitespace().collect::<Vec<_>>().join(" ");
        let Some(arguments) = ours(&code).filter(|a| !a.is_empty()) else { continue };
        // A placeholder stands for every command.
        let commands = if arguments.contains("COMMAND") {
            ["advise", "check", "hits", "render", "compare", "flam", "voices"]
                .map(|c| arguments.replace("COMMAND", c))
                .to_vec()
        } else {
            vec![arguments.to_owned()]
        };
        for arguments in commands {
            ends_well(&arguments, &run(&dir, &arguments));
            seen += 1;
        }
    }
    assert!(seen >= 6, "{seen}");
}

#[test]
fn every_patch_is_one() {
    let (blocks, _) = parts(&readme());
    let dir = folder();
    let patches: Vec<&Block> = blocks.iter().filter(|b| b.kind == "toml").collect();
    assert!(!patches.is_empty());
    for patch in patches {
        if let Some((name, part)) = patch.text.strip_prefix("# from ").and_then(|text| text.split_once('\n')) {
            let whole = std::fs::read_to_string(dir.path().join(name)).expect("the file that is named");
            assert!(whole.replace("\r\n", "\n").contains(part), "{name} does not hold\n{part}");
            continue;
        }
        std::fs::write(dir.path().join("shown.toml"), &patch.text).expect("a file");
        let ran = run(&dir, "check shown.toml");
        assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
        assert_eq!(ran.stderr, "", "not even a warning");
        assert_eq!(run(&dir, "render shown.toml --bars 1").status, Some(0));
    }
}

#[test]
fn every_file_that_the_readme_names_is_there() {
    let readme = readme();
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    for patch in std::fs::read_dir(home.join("patches")).expect("the examples") {
        let name = patch.expect("an entry").path().file_stem().expect("a name").to_string_lossy().into_owned();
        assert!(readme.contains(&format!("`{name}`")), "the README does not know {name}");
    }
    let named = readme.split(|c: char| c.is_whitespace() || c == '`').filter(|w| w.starts_with("patches/"));
    let mut count = 0;
    for path in named {
        assert!(home.join(path.trim_end_matches(['.', ',', ';', ')'])).exists(), "{path}");
        count += 1;
    }
    assert!(count > 3);
    // What it shows lies in `docs/`, and is not heavy to load.
    let mut pictures = 0;
    for picture in readme.split("](docs/").skip(1) {
        let name = picture.split(')').next().expect("a name");
        let size = std::fs::metadata(home.join("docs").join(name)).expect("the picture").len();
        assert!(size < 200_000, "{name} has {size} bytes");
        pictures += 1;
    }
    assert!(pictures >= 2);
}
