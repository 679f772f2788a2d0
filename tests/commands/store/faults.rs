//! Kills, several runs at once, and disks that take no more.

use super::child::{DIR, TASK, child_command, start};
use super::disk::{Outcome, content, facts, fill, listed, names, parts, present, put};
use hitgap::store::{MANIFEST, Store};
use std::collections::BTreeSet;
use std::fs;
use std::process::Command;
use std::time::Duration;

#[test]
fn a_kill_at_any_moment_leaves_whole_files_that_the_next_run_knows() -> Outcome {
    let dir = tempfile::tempdir()?;
    let dir = dir.path();
    let (mut left_parts, mut left_intents) = (0, 0);
    for round in 0..30_u64 {
        let child = start("go on and on", dir, "")?;
        // Spread over a few commits; each round stops somewhere else.
        std::thread::sleep(Duration::from_micros(round * 7919 % 40_000));
        child.kill()?;
        left_parts += parts(dir)?;
        let there = present(dir)?;
        if dir.join(MANIFEST).exists() {
            let (files, intents) = (listed(dir, "files")?, listed(dir, "intents")?);
            left_intents += intents.len();
            for (name, found) in &there {
                assert!([files.get(name), intents.get(name)].contains(&Some(found)), "`{name}` is not known");
            }
        } else {
            assert!(there.is_empty(), "files without a manifest");
        }
        let store = Store::open(dir, false)?;
        assert_eq!(parts(dir)?, 0, "unfinished files of the killed run are left");
        if dir.join(MANIFEST).exists() {
            assert!(listed(dir, "intents")?.is_empty());
            let mut files = listed(dir, "files")?;
            files.retain(|name, _| there.contains_key(name)); // A vanished one waits for the next merge.
            assert_eq!(files, there, "the manifest does not agree with the folder");
        }
        store.claim(&["a.wav", "b.wav", "c.wav"])?;
        drop(store);
        assert!(names(dir)?.1.iter().all(|name| name == ".hitgap-lock"));
    }
    println!("30 kills left {left_parts} unfinished files and {left_intents} open intents");
    assert!(left_parts > 0, "no kill came while a file was unfinished");
    Ok(())
}

#[test]
fn two_runs_into_one_folder_both_end_up_in_the_manifest() -> Outcome {
    let dir = tempfile::tempdir()?;
    let runs = [start("twenty files", dir.path(), "ox")?, start("twenty files", dir.path(), "wren")?];
    for run in runs {
        run.done()?;
    }
    let files = listed(dir.path(), "files")?;
    assert_eq!(files.len(), 41);
    assert_eq!(files, present(dir.path())?);
    assert_eq!(names(dir.path())?.1, BTreeSet::from([".hitgap-lock".into()]));
    Ok(())
}

#[test]
fn threads_of_one_run_do_not_lose_each_others_files() -> Outcome {
    let dir = tempfile::tempdir()?;
    let store = Store::open(dir.path(), false)?;
    std::thread::scope(|scope| {
        let put = |i: u32| put(&store, &format!("{i}.wav"), &content(i, 2000));
        let runs: Vec<_> =
            (0..4).map(|t| scope.spawn(move || (0..5).try_for_each(|i| put(5 * t + i).map(drop)))).collect();
        assert!(runs.into_iter().all(|run| run.join().is_ok_and(|done| done.is_ok())));
    });
    assert_eq!(listed(dir.path(), "files")?, present(dir.path())?);
    assert_eq!(present(dir.path())?.len(), 20);
    Ok(())
}

#[test]
fn unfinished_files_of_a_live_run_are_left_alone() -> Outcome {
    let dir = tempfile::tempdir()?;
    let store = Store::open(dir.path(), false)?;
    let draft = store.begin("a.wav")?;
    fill(&draft, &content(1, 70_000))?;
    // Another process, and another run in this one.
    start("twenty files", dir.path(), "ox")?.done()?;
    drop(Store::open(dir.path(), false)?);
    assert_eq!(parts(dir.path())?, 1);
    draft.commit(facts())?;
    assert!(present(dir.path())?.contains_key("a.wav"));
    assert_eq!(listed(dir.path(), "files")?, present(dir.path())?);
    Ok(())
}

#[test]
fn a_folder_that_vanishes_while_rendering_is_named() -> Outcome {
    let dir = tempfile::tempdir()?;
    let out = dir.path().join("out");
    let store = Store::open(&out, false)?;
    let draft = store.begin("a.wav")?;
    if let Err(e) = fs::remove_dir_all(&out) {
        println!("skipped: this system does not remove open files ({e})");
        return Ok(());
    }
    let error = draft.commit(facts()).err().ok_or("committed")?.to_string();
    assert!(error.contains("out") && error.contains("it is not there") && error.contains("help: "), "{error}");
    Ok(())
}

/// Runs a task on a small disk in memory of its own, which goes away with the child.
fn on_a_small_disk(task: &str, options: &str) -> Outcome {
    let dir = tempfile::tempdir()?;
    let mount = format!("mount -t tmpfs -o {options} none \"${DIR}\"");
    // As root, or as the root of a user namespace of one's own where that is allowed.
    for apart in ["unshare -m", "unshare -rm"] {
        let can = Command::new("sh").arg("-c").arg(format!("{apart} sh -c '{mount}'")).env(DIR, dir.path()).output();
        if can.is_ok_and(|can| can.status.success()) {
            // Put together by hand, since here the child is started by `unshare` and not by `sh`.
            let inner = child_command(Some(&mount), task, dir.path(), "")?;
            let mut outer = Command::new("unshare");
            outer.args(apart.split(' ').skip(1)).arg(inner.get_program()).args(inner.get_args());
            outer.env(TASK, task).env(DIR, dir.path());
            let done = outer.output()?;
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&[done.stdout, done.stderr].concat()));
            assert!(names(dir.path())?.0.is_empty(), "the task did not run on its own disk");
            return Ok(());
        }
    }
    println!("skipped: `unshare` and `mount` are not there or not allowed, so that there is no small disk");
    Ok(())
}

#[test]
fn a_full_disk_harms_nothing_that_was_there() -> Outcome {
    on_a_small_disk("full disk", "size=1m")
}

#[test]
fn a_read_only_disk_is_named() -> Outcome {
    on_a_small_disk("read-only disk", "ro")
}

#[test]
fn a_limit_on_file_sizes_harms_nothing_that_was_there() -> Outcome {
    let dir = tempfile::tempdir()?;
    // The signal would kill the program before it could say anything; programs are usually started without this limit.
    let limit = "trap '' XFSZ && ulimit -f 200";
    if !Command::new("sh").arg("-c").arg(limit).output().is_ok_and(|can| can.status.success()) {
        println!("skipped: there is no `sh` here that can limit the size of files");
        return Ok(());
    }
    let done = child_command(Some(limit), "small limit", dir.path(), "")?.output()?;
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&[done.stdout, done.stderr].concat()));
    assert_eq!(listed(dir.path(), "files")?, present(dir.path())?);
    Ok(())
}

#[cfg(unix)]
#[test]
fn a_folder_without_permission_is_named() -> Outcome {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir()?;
    let out = dir.path().join("out");
    fs::create_dir(&out)?;
    fs::set_permissions(&out, fs::Permissions::from_mode(0o555))?;
    if fs::write(out.join("probe"), "").is_ok() {
        println!("skipped: this user may write anywhere (root), so that no folder is read-only");
        return Ok(());
    }
    let error = Store::open(&out, true).err().ok_or("opened")?.to_string();
    assert!(error.contains("you may not do that there\nhelp: choose a folder that you may write into"), "{error}");
    fs::set_permissions(&out, fs::Permissions::from_mode(0o755))?;
    Ok(())
}
