use super::place::Place;
use serde_json::Value;
use sha2::{Digest, Sha256};

#[test]
fn what_is_drawn_is_said() {
    let place = Place::new();
    place.shows(
        "plot",
        &[
            "hitgap check patches/late-bell.toml --tempo 50,160 --plot",
            "hitgap check patches/loose-hands.toml --fix original --runs 200 --plot --out mine --format csv",
            "hitgap check patches/late-bell.toml --out elsewhere",
        ],
    );
    let drawn = |names: Vec<String>| names.into_iter().filter(|n| n.ends_with(".svg")).collect::<Vec<_>>();
    assert_eq!(drawn(place.names("out")).len(), 6);
    assert_eq!(drawn(place.names("mine")).len(), 3);
    assert!(place.names("elsewhere").is_empty());
}

/// Every picture is listed as it is, and two runs make the same bytes.
#[test]
fn pictures_are_listed_beside_the_sounds() {
    let place = Place::new();
    place.run("hitgap render patches/thin-ice.toml --bars 1 --tempo 160").exits(0);
    place.run("hitgap check patches/thin-ice.toml --plot").exits(1);
    place.run("hitgap check patches/thin-ice.toml --plot --out again").exits(1);
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let entries = manifest["files"].as_array().expect("a list");
    assert_eq!(entries.iter().filter(|e| e["kind"] == "mix").count(), 1);
    let pictures: Vec<&Value> = entries.iter().filter(|e| e["kind"] == "picture").collect();
    assert_eq!(pictures.len(), 6, "gaps, three timings, two waves");
    for entry in pictures {
        let name = entry["file"].as_str().expect("a name");
        let bytes = place.read(&format!("out/{name}"));
        assert_eq!(bytes, place.read(&format!("again/{name}")), "{name}");
        assert_eq!(entry["bytes"].as_u64(), Some(bytes.len() as u64), "{name}");
        let digest: String = Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(entry["sha256"].as_str(), Some(digest.as_str()), "{name}");
        assert_eq!((&entry["command"], &entry["frames"]), (&Value::from("check"), &Value::Null), "{name}");
        let text = String::from_utf8(bytes).expect("text");
        assert!(roxmltree::Document::parse(&text).is_ok(), "{name}");
        // Nothing is fetched, and nothing runs.
        assert!(!text.contains("href") && !text.contains("url(") && !text.contains("<script"), "{name}");
    }
}

#[test]
fn a_foreign_file_is_not_drawn_over() {
    let place = Place::new().with("out/late-bell.gap-over-tempo.svg", "mine");
    let ran = place.run("hitgap check patches/late-bell.toml --plot").exits(3);
    assert!(ran.stderr.contains("late-bell.gap-over-tempo.svg"), "{}", ran.stderr);
    assert_eq!(place.read("out/late-bell.gap-over-tempo.svg"), b"mine");
    assert!(!place.names("out").iter().any(|n| n.contains("timing")));
    place.run("hitgap check patches/late-bell.toml --plot --overwrite").exits(1);
}

#[test]
fn a_hostile_title_stays_text() {
    let title = "<script>alert('1')</script> & \\\"quotes\\\" ]]> \\u05e9\\u05dc\\u05d5\\u05dd";
    let place =
        Place::new().with_changed("hostile.toml", "late-bell.toml", &[("\"The late bell\"", &format!("\"{title}\""))]);
    place.run("hitgap check hostile.toml --plot --tempo 120").exits(1);
    let names = place.names("out");
    let pictures: Vec<&String> = names.iter().filter(|n| n.ends_with(".svg")).collect();
    assert_eq!(pictures.len(), 6);
    for name in pictures {
        let text = String::from_utf8(place.read(&format!("out/{name}"))).expect("text");
        let document = roxmltree::Document::parse(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        let said = document.descendants().find(|n| n.has_tag_name("title")).and_then(|n| n.text()).expect("a title");
        assert!(said.starts_with("<script>alert('1')</script> & \"quotes\" ]]> \u{5e9}"), "{said}");
        assert!(!document.descendants().any(|n| n.has_tag_name("script")), "{name}");
    }
}

/// docs/commands.md shows this one.
#[test]
fn the_picture_in_the_commands_page_is_what_is_drawn() {
    let place = Place::new();
    place.run("hitgap check patches/late-bell.toml --plot").exits(1);
    let drawn = place.read("out/late-bell.gap-over-tempo.svg");
    let shown = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/late-bell.gap-over-tempo.svg");
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::create_dir_all(shown.parent().expect("a folder")).expect("a folder");
        std::fs::write(&shown, &drawn).expect("a file");
    }
    let held = std::fs::read_to_string(&shown).expect("the picture").replace("\r\n", "\n");
    assert!(held.as_bytes() == drawn, "HITGAP_BLESS=1 writes it anew");
}
