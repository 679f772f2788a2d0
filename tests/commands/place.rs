//! A folder of its own with the example patches in it, and the program run there.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// The folder of this crate.
const HOME: &str = env!("CARGO_MANIFEST_DIR");

pub(crate) struct Place {
    dir: TempDir,
}

impl Place {
    /// A new folder with a copy of `patches/`.
    pub(crate) fn new() -> Self {
        let place = Self { dir: TempDir::new().expect("a temporary folder") };
        std::fs::create_dir(place.path("patches")).expect("a folder");
        for entry in std::fs::read_dir(Path::new(HOME).join("patches")).expect("the examples") {
            let from = entry.expect("an entry").path();
            let name = from.file_name().expect("a name").to_owned();
            std::fs::copy(&from, place.path("patches").join(name)).expect("a copy");
        }
        place
    }

    /// Puts a file there.
    pub(crate) fn with(self, name: &str, bytes: impl AsRef<[u8]>) -> Self {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, bytes).expect("a file");
        self
    }

    /// An example patch with words of it replaced; each must be there.
    pub(crate) fn with_changed(self, name: &str, example: &str, changes: &[(&str, &str)]) -> Self {
        let mut text = std::fs::read_to_string(self.path("patches").join(example)).expect("an example");
        for (from, to) in changes {
            assert!(text.contains(from), "{example} has no {from:?}");
            text = text.replace(from, to);
        }
        self.with(name, text)
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// The names in a folder, those with a dot too, sorted; none if there is no folder.
    pub(crate) fn names(&self, dir: &str) -> Vec<String> {
        let Ok(entries) = std::fs::read_dir(self.path(dir)) else { return Vec::new() };
        let mut names: Vec<String> =
            entries.map(|e| e.expect("an entry").file_name().into_string().expect("a plain name")).collect();
        names.sort();
        names
    }

    /// The sound files of a folder and their bytes.
    pub(crate) fn sounds(&self, dir: &str) -> BTreeMap<String, Vec<u8>> {
        let wavs = self.names(dir).into_iter().filter(|n| n.ends_with(".wav"));
        wavs.map(|n| (n.clone(), self.read(&format!("{dir}/{n}")))).collect()
    }

    /// The program with the words of a line, in the folder, deaf and with nothing of the caller's terminal about it.
    pub(crate) fn command(&self, line: &str) -> Command {
        let words = words(line);
        assert_eq!(words.first().map(String::as_str), Some("hitgap"), "{line}");
        let mut command = Command::new(env!("CARGO_BIN_EXE_hitgap"));
        command.args(&words[1..]).current_dir(self.dir.path()).stdin(Stdio::null());
        for name in ["COLUMNS", "LINES", "RAYON_NUM_THREADS", "RUST_BACKTRACE", "CLICOLOR_FORCE", "HITGAP_OPENER"] {
            command.env_remove(name);
        }
        command
    }

    /// Runs a line to its end.
    pub(crate) fn run(&self, line: &str) -> Ran {
        Ran::new(line, &mut self.command(line))
    }

    /// Runs some lines and holds all that is seen of them against `transcripts/NAME.txt`.
    #[track_caller]
    pub(crate) fn shows(&self, name: &str, lines: &[&str]) {
        let seen = lines.iter().map(|line| self.run(line).transcript()).collect::<Vec<_>>().join("\n");
        let path = Path::new(HOME).join("tests/commands/transcripts").join(format!("{name}.txt"));
        if std::env::var_os("HITGAP_BLESS").is_some() {
            std::fs::write(&path, seen).expect("a transcript");
            return;
        }
        let held = std::fs::read_to_string(&path).unwrap_or_default();
        // Windows may have checked it out with other line ends.
        let held = held.replace("\r\n", "\n");
        let differs = seen.lines().zip(held.lines()).position(|(seen, held)| seen != held);
        let at = differs.unwrap_or(seen.lines().count().min(held.lines().count()));
        let line = |text: &str| text.lines().nth(at).unwrap_or("(the end)").to_owned();
        assert!(
            seen == held,
            "{name}.txt, line {}:\n  held: {}\n  seen: {}\nHITGAP_BLESS=1 writes it anew. All that was seen:\n{seen}",
            at + 1,
            line(&held),
            line(&seen)
        );
    }
}

/// What was seen of a command.
pub(crate) struct Ran {
    line: String,
    pub(crate) status: Option<i32>,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Ran {
    /// One that printed this and was ended then.
    pub(crate) fn ended(line: &str, stdout: String) -> Self {
        Self { line: line.to_owned(), status: Some(0), stdout, stderr: String::new() }
    }

    pub(crate) fn new(line: &str, command: &mut Command) -> Self {
        let output = command.output().expect("the program starts");
        Self {
            line: line.to_owned(),
            status: output.status.code(),
            stdout: String::from_utf8(output.stdout).expect("text on stdout"),
            stderr: String::from_utf8(output.stderr).expect("text on stderr"),
        }
    }

    #[track_caller]
    pub(crate) fn exits(self, status: i32) -> Self {
        assert_eq!(self.status, Some(status), "{}\n{}{}", self.line, self.stdout, self.stderr);
        self
    }

    pub(crate) fn transcript(&self) -> String {
        let mut text = format!("$ {}\n", self.line);
        for (mark, part) in [("", &self.stdout), ("stderr:\n", &self.stderr)] {
            if !part.is_empty() {
                text.push_str(mark);
                text.push_str(part);
                assert!(part.ends_with('\n'), "{}: the last line must end", self.line);
            }
        }
        let status = self.status.map_or("none: killed".to_owned(), |s| s.to_string());
        text + &format!("exit status {status}\n")
    }
}

/// The words of a line as a shell would split it, as far as blanks and double quotes go.
pub(crate) fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let (mut word, mut quoted) = (None::<String>, false);
    for c in line.chars() {
        match c {
            '"' => {
                quoted = !quoted;
                word.get_or_insert_default();
            }
            ' ' if !quoted => words.extend(word.take()),
            c => word.get_or_insert_default().push(c),
        }
    }
    assert!(!quoted, "{line}");
    words.extend(word);
    words
}

#[test]
fn every_transcript_belongs_to_a_test() {
    let home = Path::new(HOME).join("tests/commands");
    let list = |dir: &Path| std::fs::read_dir(dir).expect("a folder").map(|e| e.expect("an entry").path()).collect();
    let sources: Vec<PathBuf> = list(&home);
    let sources: String =
        sources.iter().filter(|p| p.extension().is_some()).map(|p| std::fs::read_to_string(p).expect("text")).collect();
    let transcripts: Vec<PathBuf> = list(&home.join("transcripts"));
    assert!(transcripts.len() > 10);
    for path in transcripts {
        let name = path.file_stem().expect("a name").to_str().expect("a plain name");
        // The helps are shown for whatever commands there are.
        assert!(name.starts_with("help-") || sources.contains(&format!("\"{name}\"")), "no test shows {name}");
    }
}
