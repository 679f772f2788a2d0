//! Faults that need a process of their own: this program once more, with one task in its environment.

use super::disk::{Outcome, content, facts, fill, listed, parts, present, put};
use hitgap::store::Store;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};

/// The environment of a child: what to do, in which folder, with what in its files' names.
pub(crate) const TASK: &str = "HITGAP_TEST_TASK";
pub(crate) const DIR: &str = "HITGAP_TEST_DIR";
pub(crate) const TAG: &str = "HITGAP_TEST_TAG";

/// This program as a child with a task; `shell` runs before it.
pub(crate) fn child_command(shell: Option<&str>, task: &str, dir: &Path, tag: &str) -> Outcome<Command> {
    let this = std::env::current_exe()?;
    let mut command = match shell {
        None => Command::new(this),
        Some(shell) => {
            let mut sh = Command::new("sh");
            sh.arg("-c").arg(format!("{shell}; exec \"$0\" \"$@\"")).arg(this);
            sh
        }
    };
    command.args(["--exact", "store::child::child", "--ignored", "--nocapture"]);
    command.env(TASK, task).env(DIR, dir).env(TAG, tag);
    Ok(command)
}

/// A child that is under way, and its output: closed, it would fail the child.
pub(crate) struct Running(Child, BufReader<ChildStdout>);

impl Running {
    /// Ends it without a word (`SIGKILL`).
    pub(crate) fn kill(mut self) -> Outcome {
        self.0.kill()?;
        self.0.wait()?;
        Ok(())
    }

    /// Lets it come to its own, good end.
    pub(crate) fn done(mut self) -> Outcome {
        let mut said = String::new();
        self.1.read_to_string(&mut said)?;
        assert!(self.0.wait()?.success(), "{said}");
        Ok(())
    }
}

/// Starts a child and waits until it says that it is under way.
pub(crate) fn start(task: &str, dir: &Path, tag: &str) -> Outcome<Running> {
    let mut child = child_command(None, task, dir, tag)?.stdout(Stdio::piped()).spawn()?;
    let mut out = BufReader::new(child.stdout.take().ok_or("no stdout")?);
    let mut line = String::new();
    while out.read_line(&mut line)? > 0 {
        if line.contains("under way") {
            return Ok(Running(child, out));
        }
    }
    Err(format!("the child ended early: {:?}", child.wait()?).into())
}

#[test]
#[ignore = "the other half of the tests that need a process of their own"]
fn child() -> Outcome {
    let (Ok(task), Some(dir)) = (std::env::var(TASK), std::env::var_os(DIR)) else { return Ok(()) };
    let (dir, tag) = (Path::new(&dir), std::env::var(TAG).unwrap_or_default());
    match task.as_str() {
        "go on and on" => {
            let store = Store::open(dir, false)?;
            println!("under way");
            for round in 0_u32.. {
                let names = ["a.wav", "b.wav", "c.wav"];
                store.claim(&names)?;
                for (i, name) in names.iter().enumerate() {
                    put(&store, name, &content(round * 3 + i as u32, 100_000 + 1000 * (round as usize % 50)))?;
                }
            }
            Ok(())
        }
        "twenty files" => {
            let store = Store::open(dir, false)?;
            println!("under way");
            for i in 0..20 {
                put(&store, &format!("{tag}-{i:02}.wav"), &content(i, 5000))?;
                put(&store, "common.wav", &content(7, 5000))?;
            }
            Ok(())
        }
        "full disk" => full_disk(dir),
        "small limit" => small_limit(dir),
        "read-only disk" => {
            let error = Store::open(dir, true).err().ok_or("opened")?;
            assert!(error.to_string().contains("the disk can be read but not written\nhelp: "), "{error}");
            let deeper = Store::open(&dir.join("deeper"), true).err().ok_or("made")?;
            assert!(deeper.to_string().starts_with("cannot make the folder `"), "{deeper}");
            Ok(())
        }
        other => Err(format!("no such task: {other}").into()),
    }
}

/// In a folder on a disk of 1 MiB.
fn full_disk(dir: &Path) -> Outcome {
    let store = Store::open(dir, false)?;
    put(&store, "a.wav", &content(1, 50_000))?;
    // While the file is written.
    let error = put(&store, "b.wav", &content(2, 2 << 20)).err().ok_or("put")?.to_string();
    assert!(error.contains("b.wav`: the disk is full\nhelp: make room"), "{error}");
    // While the manifest is: the file itself fits.
    let draft = store.begin("a.wav")?;
    fill(&draft, &content(3, 60_000))?;
    let mut filler = fs::File::create(dir.join(".filler"))?;
    while filler.write_all(&[0; 4096]).is_ok() {}
    let error = draft.commit(facts()).err().ok_or("committed")?.to_string();
    assert!(error.contains("manifest.json`: the disk is full\nhelp: make room"), "{error}");
    // What was there is there, and listed, and nothing else.
    assert_eq!(present(dir)?.keys().collect::<Vec<_>>(), ["a.wav"]);
    assert_eq!(listed(dir, "files")?, present(dir)?);
    assert_eq!(fs::read(dir.join("a.wav"))?, content(1, 50_000));
    assert_eq!(parts(dir)?, 0);
    // With room again it goes on.
    drop(filler); // Open, it would keep its room.
    fs::remove_file(dir.join(".filler"))?;
    put(&store, "a.wav", &content(3, 60_000))?;
    assert_eq!(listed(dir, "files")?, present(dir)?);
    Ok(())
}

/// Where no file may be larger than 100 or 200 KB.
fn small_limit(dir: &Path) -> Outcome {
    let store = Store::open(dir, false)?;
    let error = put(&store, "a.wav", &content(1, 1 << 20)).err().ok_or("put")?.to_string();
    assert!(error.contains("a.wav`: it would grow larger than a file may be there\nhelp: "), "{error}");
    assert!(present(dir)?.is_empty());
    assert_eq!(parts(dir)?, 0);
    put(&store, "a.wav", &content(1, 50_000))?;
    Ok(())
}
