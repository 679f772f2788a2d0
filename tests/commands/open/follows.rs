//! Files that change under the page.

use super::{Open, PATCH, gap};
use crate::place::Place;
use serde_json::Value;

/// Editors write into a file, or put another in its place; a fault is told as `check` tells it, and what was good stays.
#[test]
fn it_follows_the_file() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    events.next();
    let first = server.now(&cookie);
    assert_eq!((&first["edition"], &first["of"], &first["desk"]["revision"]), (&1.into(), &1.into(), &1.into()));
    assert!(first["desk"]["fault"].is_null() && gap(&first, 1) == Some(10.0), "{}", first["desk"]);
    // The phase of 1 % of two beats at 120 is 10 ms, and 3 % are 30 ms: by hand.
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let turned = text.replace("set.\"clock.slow.phase\" = \"1 %\"", "set.\"clock.slow.phase\" = \"3 %\"");
    assert_ne!(turned, text);
    std::fs::write(&file, &turned).expect("saved");
    let second = server.until(&cookie, &mut events, |now| gap(now, 1) == Some(30.0));
    assert_eq!(second["desk"]["text"].as_str(), Some(&*turned));
    // Renamed over, with a fault.
    let other = place.path("patches/late-bell.toml.new");
    std::fs::write(&other, turned.replace("reset-mode = \"next-clock\"", "reset-mode = \"next-clok\""))
        .expect("a file");
    std::fs::rename(&other, &file).expect("renamed");
    let third = server.until(&cookie, &mut events, |now| !now["desk"]["fault"].is_null());
    assert_eq!(third["data"], second["data"]);
    let check = place.command("hitgap check patches/late-bell.toml").output().expect("it runs");
    let told = String::from_utf8(check.stderr).expect("text");
    assert!(told.contains("next-clok"), "{told}");
    assert_eq!(third["desk"]["fault"].as_str().map(str::trim_end), Some(told.trim_end()));
    // Good again, the same as before: what was wrong is gone.
    std::fs::write(&other, &text).expect("a file");
    std::fs::rename(&other, &file).expect("renamed");
    let fourth = server.until(&cookie, &mut events, |now| now["desk"]["fault"].is_null() && gap(now, 1) == Some(10.0));
    assert_eq!(fourth["data"], first["data"]);
    // A page that comes later is the newest; and every step leads back.
    let page = server.ask("GET /", &[("Cookie", cookie.as_str())]).body;
    assert!(page.contains(&format!("data-edition=\"{}\"", fourth["edition"])));
    assert_eq!((&fourth["desk"]["undo"], &fourth["desk"]["saved"]), (&3.into(), &true.into()));
}

/// A take is a file of its own; one that is missing is waited for, and one outside of the patch's folder is not read.
#[test]
fn it_follows_takes_and_leaves_other_files_alone() {
    let take = |ms: u32| format!("time_s,due_beat\n0.{ms:03},0\n");
    let patch = "tempos = [120]\nbars = 1\n[clock.q]\nrate = \"1 per beat\"\n[sequencer.a]\nclock = \"q\"\nsteps = \"X...\"\nvoice = \"v\"\n\
                 [voice.v]\nmodel = \"kick\"\n[hits.hand]\nfile = \"take.csv\"\nvoice = \"v\"\n";
    let place = Place::new().with("rig/p.toml", patch).with("rig/take.csv", take(4)).with("out.csv", take(6));
    let server = Open::new(&place, "rig/p.toml");
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    assert_eq!(gap(&server.now(&cookie), 0), Some(4.0));
    std::fs::write(place.path("rig/take.csv"), take(7)).expect("saved");
    server.until(&cookie, &mut events, |now| gap(now, 0) == Some(7.0));
    let fault = |now: &Value, words: &str| now["desk"]["fault"].as_str().is_some_and(|f| f.contains(words));
    std::fs::write(place.path("rig/p.toml"), patch.replace("take.csv", "../out.csv")).expect("saved");
    server.until(&cookie, &mut events, |now| fault(now, "outside of the patch's folder"));
    std::fs::write(place.path("rig/p.toml"), patch.replace("take.csv", "later.csv")).expect("saved");
    server.until(&cookie, &mut events, |now| fault(now, "could not be read"));
    std::fs::write(place.path("rig/later.csv"), take(9)).expect("saved");
    server.until(&cookie, &mut events, |now| now["desk"]["fault"].is_null() && gap(now, 0) == Some(9.0));
}
