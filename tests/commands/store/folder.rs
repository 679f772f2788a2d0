//! One run at a time: names, foreign files, the manifest.

use super::disk::{Outcome, content, facts, fill, is_whole, listed, names, parts, present, put};
use hitgap::store::{MANIFEST, Store, StoreError, Why};
use std::collections::BTreeSet;
use std::fs;
use std::time::{Duration, SystemTime};

#[test]
fn a_file_has_its_name_only_when_it_is_complete() -> Outcome {
    let dir = tempfile::tempdir()?;
    let out = dir.path().join("deep/out");
    let store = Store::open(&out, false)?;
    store.claim(&["a.wav"])?;
    let draft = store.begin("a.wav")?;
    fill(&draft, &content(1, 70_000))?;
    assert!(present(&out)?.is_empty());
    let entry = draft.commit(facts())?;
    let there = present(&out)?;
    assert_eq!(there.get("a.wav"), Some(&(70_000, entry.sha256.clone())));
    assert_eq!((entry.file.as_str(), entry.bytes), ("a.wav", 70_000));
    assert_eq!(listed(&out, "files")?, there);
    assert!(listed(&out, "intents")?.is_empty());
    // One that is given up leaves nothing, nor does the run itself but for the file that all runs lock.
    let given_up = store.begin("b.wav")?;
    fill(&given_up, &content(2, 70_000))?;
    drop(given_up);
    drop(store);
    assert_eq!(names(&out)?, (BTreeSet::from(["a.wav".into()]), BTreeSet::from([".hitgap-lock".into()])));
    Ok(())
}

/// Refused for a name, for a file in the way, or given up: what a run made it takes away, and nothing else.
#[cfg(unix)]
#[test]
fn a_run_that_places_nothing_leaves_nothing() -> Outcome {
    let dir = tempfile::tempdir()?;
    let out = dir.path().join("a/b");
    let store = Store::open(&out, false)?;
    assert!(store.claim(&[".a.wav"]).is_err());
    drop(store.begin("a.wav")?);
    drop(store);
    assert_eq!(fs::read_dir(dir.path())?.count(), 0);
    // A folder and a file that were there stay.
    fs::create_dir(dir.path().join("a"))?;
    fs::write(dir.path().join("a/mine.wav"), "mine")?;
    let store = Store::open(&dir.path().join("a"), false)?;
    assert!(store.claim(&["mine.wav"]).is_err());
    drop(store);
    assert_eq!(names(&dir.path().join("a"))?, (BTreeSet::from(["mine.wav".into()]), BTreeSet::new()));
    // A manifest that cannot be read is refused as the folder is opened.
    fs::write(dir.path().join("a/manifest.json"), "[]")?;
    assert!(Store::open(&dir.path().join("a"), true).is_err());
    assert_eq!(names(&dir.path().join("a"))?.1, BTreeSet::new());
    Ok(())
}

#[cfg(unix)]
#[test]
fn a_file_gets_the_permissions_of_any_other() -> Outcome {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir()?;
    fs::write(dir.path().join("any"), "")?;
    put(&Store::open(dir.path(), false)?, "a.wav", &content(1, 100))?;
    let mode = |name| fs::metadata(dir.path().join(name)).map(|found| found.permissions().mode());
    assert_eq!(mode("a.wav")?, mode("any")?);
    assert_eq!(mode(MANIFEST)?, mode("any")?);
    Ok(())
}

#[test]
fn equal_runs_write_equal_manifests_in_any_order() -> Outcome {
    let manifest = |order: [u32; 3]| -> Outcome<Vec<u8>> {
        let dir = tempfile::tempdir()?;
        let store = Store::open(dir.path(), false)?;
        for i in order {
            put(&store, &format!("{i}.wav"), &content(i, 100))?;
        }
        Ok(fs::read(dir.path().join(MANIFEST))?)
    };
    let one = manifest([1, 2, 3])?;
    assert_eq!(one, manifest([3, 1, 2])?);
    assert!(!String::from_utf8(one)?.contains(&*std::env::temp_dir().to_string_lossy()));
    Ok(())
}

#[test]
fn its_own_files_are_replaced_and_vanished_ones_forgotten() -> Outcome {
    let dir = tempfile::tempdir()?;
    let store = Store::open(dir.path(), false)?;
    for name in ["a.wav", "b.wav", "c.wav"] {
        put(&store, name, &content(1, 100))?;
    }
    drop(store);
    fs::remove_file(dir.path().join("b.wav"))?;
    let store = Store::open(dir.path(), false)?;
    assert!(listed(dir.path(), "files")?.contains_key("b.wav"), "opening alone changes nothing");
    store.claim(&["a.wav", "b.wav"])?;
    put(&store, "a.wav", &content(2, 300))?;
    let files = listed(dir.path(), "files")?;
    assert_eq!(files, present(dir.path())?);
    assert_eq!(files.keys().collect::<Vec<_>>(), ["a.wav", "c.wav"]);
    assert_eq!(files["a.wav"].0, 300);
    // And once more in the same run, which remembers what it read of the file before.
    put(&store, "a.wav", &content(3, 300))?;
    assert_eq!(listed(dir.path(), "files")?, present(dir.path())?);
    Ok(())
}

#[test]
fn a_foreign_file_keeps_every_byte() -> Outcome {
    let dir = tempfile::tempdir()?;
    let theirs = dir.path().join("theirs.wav");
    fs::write(&theirs, "somebody's evening")?;
    let store = Store::open(dir.path(), false)?;
    put(&store, "a.wav", &content(1, 100))?;
    put(&store, "b.wav", &content(1, 100))?;
    // Edited since: another size, and the same size.
    fs::write(dir.path().join("a.wav"), "edited")?;
    let mut edited = content(1, 100);
    edited[50] ^= 1;
    fs::write(dir.path().join("b.wav"), &edited)?;

    for (name, reason, kept) in [
        ("theirs.wav", Why::NotListed, &b"somebody's evening"[..]),
        ("a.wav", Why::Changed, b"edited"),
        ("b.wav", Why::Changed, &edited),
    ] {
        let claimed = store.claim(&["new.wav", name]).err().ok_or("claimed")?;
        let put = put(&store, name, &content(2, 100)).err().ok_or("put")?;
        for error in [claimed, put] {
            assert!(matches!(&error, StoreError::Foreign { why, .. } if *why == reason), "{error:?}");
            let text = error.to_string();
            assert!(text.contains(name) && text.contains("help: ") && text.contains("`--overwrite`"), "{text}");
        }
        assert_eq!(fs::read(dir.path().join(name))?, kept);
    }
    let all = store.claim(&["theirs.wav", "a.wav", "b.wav"]).err().ok_or("claimed")?.to_string();
    assert!(all.contains("theirs.wav") && all.contains("; so are 2 files more"), "{all}");
    assert_eq!(parts(dir.path())?, 0, "what was refused is gone");

    drop(store);
    let store = Store::open(dir.path(), true)?;
    store.claim(&["theirs.wav", "a.wav", "b.wav"])?;
    put(&store, "theirs.wav", &content(2, 100))?;
    assert!(is_whole(&fs::read(&theirs)?));
    assert!(listed(dir.path(), "files")?.contains_key("theirs.wav"));
    Ok(())
}

#[test]
fn a_foreign_file_that_comes_while_rendering_is_kept_too() -> Outcome {
    let dir = tempfile::tempdir()?;
    let store = Store::open(dir.path(), false)?;
    store.claim(&["a.wav"])?;
    let draft = store.begin("a.wav")?;
    fill(&draft, &content(1, 100))?;
    fs::write(dir.path().join("a.wav"), "just saved")?;
    assert!(matches!(draft.commit(facts()), Err(StoreError::Foreign { why: Why::NotListed, .. })));
    assert_eq!(fs::read(dir.path().join("a.wav"))?, b"just saved");
    Ok(())
}

#[test]
fn an_edit_between_claim_and_commit_is_seen() -> Outcome {
    let dir = tempfile::tempdir()?;
    let path = dir.path().join("a.wav");
    put(&Store::open(dir.path(), false)?, "a.wav", &content(1, 100))?;
    let store = Store::open(dir.path(), false)?;
    store.claim(&["a.wav"])?; // Reads the file, and remembers.
    let mut edited = content(1, 100);
    edited[50] ^= 1;
    fs::write(&path, &edited)?;
    // Clocks of file systems may tick slowly: make sure that it is a later time.
    fs::File::options().write(true).open(&path)?.set_modified(SystemTime::now() + Duration::from_secs(10))?;
    assert!(matches!(put(&store, "a.wav", &content(2, 100)), Err(StoreError::Foreign { why: Why::Changed, .. })));
    assert_eq!(fs::read(&path)?, edited);
    Ok(())
}

#[test]
fn a_folder_in_the_way_is_never_replaced() -> Outcome {
    let dir = tempfile::tempdir()?;
    fs::create_dir(dir.path().join("a.wav"))?;
    let store = Store::open(dir.path(), true)?;
    assert!(matches!(store.claim(&["a.wav"]), Err(StoreError::Foreign { why: Why::Folder, .. })));
    assert!(matches!(put(&store, "a.wav", b""), Err(StoreError::Foreign { why: Why::Folder, .. })));
    assert!(dir.path().join("a.wav").is_dir());
    let file = dir.path().join("file");
    fs::write(&file, "")?;
    assert!(matches!(Store::open(&file, true), Err(StoreError::NoFolder { .. })));
    Ok(())
}

#[cfg(unix)]
#[test]
fn a_link_is_foreign_and_what_it_leads_to_is_never_written() -> Outcome {
    let dir = tempfile::tempdir()?;
    let (out, target) = (dir.path().join("out"), dir.path().join("precious"));
    put(&Store::open(&out, false)?, "a.wav", &content(1, 100))?;
    fs::rename(out.join("a.wav"), &target)?;
    std::os::unix::fs::symlink(&target, out.join("a.wav"))?;
    assert!(matches!(Store::open(&out, false)?.claim(&["a.wav"]), Err(StoreError::Foreign { .. })));
    put(&Store::open(&out, true)?, "a.wav", &content(2, 100))?;
    assert_eq!(fs::read(&target)?, content(1, 100));
    assert_eq!(fs::read(out.join("a.wav"))?, content(2, 100));
    Ok(())
}

#[test]
fn a_manifest_that_is_not_ours_or_damaged_is_never_overwritten() -> Outcome {
    for text in [
        "",
        "{ \"format\": 1, \"made_by\": \"hitgap 0.1.0\", \"files\": [",
        "{ \"name\": \"a web page\" }",
        "{ \"format\": 99, \"made_by\": \"hitgap 42.0.0\", \"files\": [] }",
    ] {
        let dir = tempfile::tempdir()?;
        let path = dir.path().join(MANIFEST);
        fs::write(&path, text)?;
        for overwrite in [false, true] {
            let error = Store::open(dir.path(), overwrite).err().ok_or("opened")?.to_string();
            assert!(error.contains(MANIFEST) && error.contains("help: "), "{error}");
        }
        assert_eq!(fs::read_to_string(&path)?, text);
        // Damaged while a run is under way: the file stays out, and the manifest as it is.
        fs::remove_file(&path)?;
        let store = Store::open(dir.path(), true)?;
        fs::write(&path, text)?;
        assert!(put(&store, "a.wav", &content(1, 100)).is_err());
        assert_eq!(fs::read_to_string(&path)?, text);
        assert!(present(dir.path())?.is_empty());
    }
    Ok(())
}

#[test]
fn names_stay_in_the_folder() -> Outcome {
    let dir = tempfile::tempdir()?;
    let out = dir.path().join("out");
    let store = Store::open(&out, true)?;
    let long = "x".repeat(1_000_000);
    for name in ["", "..", "../up.wav", "a/b.wav", "/top.wav", "a\\b.wav", "a\u{1b}[2J.wav", "a\0", MANIFEST, &long] {
        assert!(matches!(store.claim(&[name]), Err(StoreError::Name { .. })), "{name:.20}");
        let error = store.begin(name).err().ok_or("begun")?.to_string();
        assert!(error.contains("help: ") && error.len() < 1000 && !error.contains('\u{1b}'), "{error}");
    }
    for twins in [["a.wav", "a.wav"], ["a.wav", "A.wav"]] {
        assert!(matches!(store.claim(&twins), Err(StoreError::Name { .. })), "{twins:?}");
    }
    assert_eq!(fs::read_dir(dir.path())?.count(), 1);
    assert!(present(&out)?.is_empty());
    Ok(())
}
