//! What the page has made: files, and a patch to begin with.

use super::{Open, PATCH};
use crate::place::Place;
use serde_json::Value;
use std::time::Duration;

/// Files from the page: those that `compare` makes of the same patch, with what is on the desk; one work at a time, and it can be stopped.
#[test]
fn files_are_made_from_the_page() {
    let place = Place::new();
    let server = Open::new(&place, &format!("{PATCH} --out made"));
    let cookie = server.cookie();
    let over = || loop {
        let job = server.ask("GET /progress", &[("Cookie", cookie.as_str())]).json();
        if job["over"] == true {
            return job;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(server.ask("GET /progress", &[("Cookie", cookie.as_str())]).json(), Value::Null);
    let make = |work: &str| server.change(&cookie, "POST /files", &serde_json::json!({ "do": work }));
    assert_eq!(make("compare").status, 202);
    let job = over();
    assert!(job["error"].is_null() && job["share"] == 1.0, "{job}");
    let page = job["files"][0].as_str().expect("a page");
    assert!(page.ends_with("late-bell.html") && place.path(page).exists(), "{job}");
    let compared = place.command(&format!("hitgap compare {PATCH} --out other")).output().expect("it runs");
    assert!(compared.status.success());
    for entry in std::fs::read_dir(place.path("other")).expect("a folder") {
        let name = entry.expect("an entry").file_name();
        let [made, other] = ["made", "other"].map(|dir| std::fs::read(place.path(dir).join(&name)).expect("a file"));
        // The manifest has paths of its own.
        assert!(made == other || name == "manifest.json", "{}", name.display());
    }
    // What takes long is stopped, and leaves nothing half written.
    let long = Open::new(&place, "patches/late-bell.toml --out long");
    let cookie = long.cookie();
    let text = std::fs::read_to_string(place.path("patches/late-bell.toml")).expect("a patch");
    let put = serde_json::json!({ "base": 1, "text": text.replace("bars   = 8", "bars   = 2000") });
    assert_eq!(long.change(&cookie, "PUT /text", &put).status, 200);
    assert_eq!(long.change(&cookie, "POST /files", &serde_json::json!({ "do": "render" })).status, 202);
    assert_eq!(long.change(&cookie, "POST /files", &serde_json::json!({ "do": "render" })).status, 409);
    assert_eq!(long.change(&cookie, "POST /stop", &serde_json::json!({})).status, 200);
    let job = loop {
        let job = long.ask("GET /progress", &[("Cookie", cookie.as_str())]).json();
        if job["over"] == true {
            break job;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(job["error"].as_str().is_some_and(|error| error.contains("stopped")), "{job}");
}

/// Without a patch there is a gallery: what is chosen there is written into the folder, over nothing, and is open.
#[test]
fn a_rig_of_the_gallery_is_written_and_opened() {
    let place = Place::new().with("late-bell.toml", "mine\n");
    let server = Open::new(&place, "");
    let cookie = server.cookie();
    let own = [("Cookie", cookie.as_str())];
    let gallery = server.ask("GET /", &own);
    assert_eq!(gallery.status, 200);
    assert!(gallery.body.contains("data-begin=\"late-bell\">The late bell<"));
    assert_eq!(server.ask("GET /now", &own).status, 404);
    let begin = |name: &str| server.change(&cookie, "POST /begin", &serde_json::json!({ "name": name }));
    assert_eq!([begin("../late-bell").status, begin("components").status, begin("").status], [422; 3]);
    assert_eq!(begin("late-bell").status, 200);
    assert_eq!(std::fs::read_to_string(place.path("late-bell.toml")).expect("a file"), "mine\n");
    let written = std::fs::read_to_string(place.path("late-bell-2.toml")).expect("a file");
    assert_eq!(server.now(&cookie)["desk"]["text"], written.as_str());
    assert!(server.ask("GET /", &own).body.contains("data-edition"));
    // Another one can be begun from there, and a tab of the first changes nothing of it.
    let first = server.now(&cookie)["desk"]["revision"].as_u64().expect("a number");
    assert!(server.ask("GET /gallery", &own).body.contains("Back to late-bell-2.toml"));
    assert_eq!(begin("thin-ice").status, 200);
    let now = server.now(&cookie);
    assert_eq!((&now["desk"]["patch"], &now["desk"]["gallery"]), (&"thin-ice.toml".into(), &true.into()));
    let late = serde_json::json!({ "base": first, "text": "" });
    assert_eq!(server.change(&cookie, "PUT /text", &late).status, 409);
    assert_eq!(server.now(&cookie)["desk"]["text"], now["desk"]["text"]);
}
