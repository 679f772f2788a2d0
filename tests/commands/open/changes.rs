//! Changes from the page: made, led back, saved, and lost by nobody.

use super::{Open, PATCH, gap};
use crate::place::Place;
use serde_json::Value;

/// What changes the patch says what it stands on, is heard at once, and leads back; the file is written when that is asked for.
#[test]
fn it_is_changed_saved_and_led_back() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let turned = text.replace("= \"1 %\"", "= \"3 %\"");
    let put = |base: u64, text: &str| {
        server.change(&cookie, "PUT /text", &serde_json::json!({ "base": base, "tempo": "120", "text": text }))
    };
    let answer = put(1, &turned);
    assert_eq!(answer.status, 200, "{answer:?}");
    let (desk, near) = (&answer.json()["desk"], &answer.json()["near"]);
    assert_eq!((&desk["revision"], &desk["saved"], &desk["undo"]), (&2.into(), &false.into(), &1.into()));
    // The answer has what is heard now: 3 % of two beats at 120, by hand; and, last, the version that the file has.
    assert_eq!(near["data"]["tempo"]["cells"][1]["gapMs"].as_f64().map(f64::abs), Some(30.0), "{near}");
    let names: Vec<_> = near["data"]["variants"].as_array().expect("versions").iter().map(|v| &v["name"]).collect();
    assert_eq!(names, ["original", "phase", "or-gate", "as saved"]);
    assert_eq!(std::fs::read_to_string(&file).expect("a patch"), text, "not saved yet");
    let whole = server.until(&cookie, &mut events, |now| now["of"] == 2);
    assert_eq!(whole["data"]["tempos"][0]["cells"][1]["hits"], near["data"]["tempo"]["cells"][1]["hits"]);
    // A second page that knows nothing of it changes nothing.
    let late = put(1, "");
    assert_eq!((late.status, &late.json()["desk"]["text"]), (409, &Value::from(turned.as_str())));
    // A fault is told as it is elsewhere, and is a step like any other.
    let wrong = put(2, &turned.replace("next-clock", "next-clok"));
    assert_eq!((wrong.status, &wrong.json()["near"]), (200, &Value::Null));
    assert!(wrong.json()["desk"]["fault"].as_str().is_some_and(|fault| fault.contains("next-clok")), "{wrong:?}");
    let base = |base: u64| serde_json::json!({ "base": base, "tempo": "120" });
    // Soon after each other, both were one turn of the text.
    let back = server.change(&cookie, "POST /undo", &base(3)).json();
    assert_eq!((&back["desk"]["text"], &back["desk"]["saved"]), (&Value::from(text.as_str()), &Value::from(true)));
    assert_eq!(server.change(&cookie, "POST /undo", &base(4)).status, 422);
    assert_eq!(put(4, &turned).status, 200);
    let hash = back["desk"]["hash"].as_str().expect("a checksum");
    let save = |base: u64, hash: &str| {
        server.change(&cookie, "POST /save", &serde_json::json!({ "base": base, "hash": hash }))
    };
    assert_eq!(save(5, &hash.replace(|c: char| c.is_ascii_digit(), "a")).status, 409);
    let saved = save(5, hash);
    assert_eq!((saved.status, &saved.json()["desk"]["saved"]), (200, &Value::from(true)), "{saved:?}");
    assert_eq!(std::fs::read_to_string(&file).expect("a patch"), turned);
}

/// While something is not saved, another program changes the file: nothing is overwritten, and both are kept.
#[test]
fn what_two_change_is_lost_by_neither() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    let file = place.path("patches/late-bell.toml");
    let text = std::fs::read_to_string(&file).expect("a patch");
    let [mine, mut theirs] = [3, 1].map(|share| text.replace("= \"1 %\"", &format!("= \"{share} %\"")));
    assert_eq!(server.change(&cookie, "PUT /text", &serde_json::json!({ "base": 1, "text": mine })).status, 200);
    for n in 0..50 {
        theirs = format!("{text}# {n}\n");
        std::fs::write(&file, &theirs).expect("written by another");
        let now = server.until(&cookie, &mut events, |now| now["desk"]["file"]["text"] == theirs.as_str());
        assert_eq!(now["desk"]["text"], mine.as_str());
        // Another hand has seen only what was there before.
        let (base, old) = (&now["desk"]["revision"], now["data"]["title"].as_str().expect("a text"));
        let over = serde_json::json!({ "base": base, "hash": old });
        assert_eq!(server.change(&cookie, "POST /save", &over).status, 409);
        assert_eq!(std::fs::read_to_string(&file).expect("a file"), theirs);
    }
    let now = server.now(&cookie);
    let taken = server.change(&cookie, "POST /take", &serde_json::json!({ "base": now["desk"]["revision"] })).json();
    assert_eq!((&taken["desk"]["text"], &taken["desk"]["file"]), (&Value::from(theirs.as_str()), &Value::Null));
    let back = server.change(&cookie, "POST /undo", &serde_json::json!({ "base": taken["desk"]["revision"] })).json();
    assert_eq!(back["desk"]["text"], mine.as_str());
}

/// The program is killed in the middle: what was not saved is there when the patch is opened again, and leads back to the file.
#[test]
fn what_is_not_saved_outlives_the_program() {
    let place = Place::new();
    let mut server = Open::new(&place, PATCH);
    let text = std::fs::read_to_string(place.path("patches/late-bell.toml")).expect("a patch");
    let mine = text.replace("= \"1 %\"", "= \"3 %\"");
    let put = serde_json::json!({ "base": 1, "text": mine });
    assert_eq!(server.change(&server.cookie(), "PUT /text", &put).status, 200);
    server.child.kill().expect("killed");
    server.child.wait().expect("an end");
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let now = server.now(&cookie);
    assert_eq!((&now["desk"]["text"], &now["desk"]["saved"]), (&Value::from(mine.as_str()), &Value::from(false)));
    assert!(now["desk"]["kept"].as_str().is_some_and(|kept| kept.contains("not saved")));
    assert_eq!(gap(&now, 1), Some(30.0));
    let back = server.change(&cookie, "POST /undo", &serde_json::json!({ "base": 1 })).json();
    assert_eq!(back["desk"]["text"], text.as_str());
    // All is as the file has it: nothing lies about.
    assert!(!place.path("patches/.late-bell.toml.unsaved").exists());
}

/// A page that says what it has is sent what is new alone, and comes to the same as one that asks for all.
#[test]
fn a_page_is_told_what_is_new_alone() {
    let place = Place::new();
    let server = Open::new(&place, PATCH);
    let cookie = server.cookie();
    let mut events = server.events(&cookie);
    let look = |query: &str| server.ask(&format!("GET /now?{query}"), &[("Cookie", cookie.as_str())]);
    let all = look("tempo=120").json();
    let has = all["desk"]["told"].as_str().expect("a name");
    assert_eq!(all["desk"]["since"], Value::Null);
    let edits = serde_json::json!([{ "do": "set", "at": ["fix", "phase", "set", "clock.slow.phase"], "to": "3 %" }]);
    let edit = serde_json::json!({ "base": 1, "tempo": "120", "has": has, "edits": edits });
    let answer = server.change(&cookie, "POST /edit", &edit);
    assert_eq!(answer.status, 200, "{answer:?}");
    let news = &answer.json()["desk"];
    assert_eq!((&news["since"], &news["can"]), (&all["desk"]["told"], &Value::Null));
    let whole = server.until(&cookie, &mut events, |now| now["of"] == 2);
    for list in ["sentences", "words"] {
        let pieces = news[list].as_array().expect("a list");
        let new = pieces.iter().filter(|piece| piece.is_object()).count();
        assert!((1..=4).contains(&new), "{list}: {pieces:?}");
        let had = |run: &Value| {
            let [from, count] = [0, 1].map(|n| run[n].as_u64().expect("a number") as usize);
            all["desk"][list].as_array().expect("a list")[from..from + count].to_vec()
        };
        let own = pieces.iter().flat_map(|piece| if piece.is_array() { had(piece) } else { vec![piece.clone()] });
        assert_eq!(own.collect::<Value>(), whole["desk"][list]);
    }
    // Of an edition that the page has nothing is sent; who has another, or has been told what nobody remembers, gets all.
    let edition = &whole["edition"];
    let known = look(&format!("tempo=120&edition={edition}")).json();
    assert_eq!((&known["edition"], &known["data"], &known["pictures"]), (edition, &Value::Null, &Value::Null));
    assert_eq!(look("tempo=120&edition=1&has=long-ago").json()["data"], whole["data"]);
    assert_eq!(look("tempo=120&has=long-ago").json()["desk"]["words"], whole["desk"]["words"]);
}
