use super::place::Place;

#[test]
fn a_new_patch_can_be_checked_as_it_is() {
    let place = Place::new();
    place.shows(
        "new",
        &[
            "hitgap new mine.toml",
            "hitgap check mine.toml --tempo 60,120",
            "hitgap new mine.toml",
            "hitgap new nowhere/mine.toml",
            "hitgap new --list",
            "hitgap new ours.toml --as two-boxes",
            "hitgap new first.lesson.toml",
            "hitgap new shop.toml --as components",
            "hitgap new ours.toml --as three-boxes",
            "hitgap new",
        ],
    );
    place.run("hitgap new mine.toml --overwrite").exits(0);
    // Every line that is only commented out can be let in, one by one.
    let text = String::from_utf8(place.read("mine.toml")).expect("text");
    assert!(text.lines().count() <= 20, "a box is a line");
    let mut tried = 0;
    for (n, line) in text.lines().enumerate() {
        let Some(key) =
            line.strip_prefix("# ").filter(|l| l.split_once(" = ").is_some_and(|(k, _)| !k.trim().contains(' ')))
        else {
            continue;
        };
        let changed: Vec<&str> = text.lines().enumerate().map(|(m, l)| if m == n { key } else { l }).collect();
        std::fs::write(place.path("let-in.toml"), changed.join("\n")).expect("written");
        let ran = place.run("hitgap check let-in.toml --tempo 120");
        assert!(matches!(ran.status, Some(0 | 1)), "{key}: {}", ran.stderr);
        tried += 1;
    }
    assert_eq!(tried, 1);
}

/// What stands under `Next` can be typed, for everything that may be written, and nobody warns of anything.
#[test]
fn what_is_said_to_come_next_does() {
    let place = Place::new();
    let list = place.run("hitgap new --list").exits(0).stdout;
    let names: Vec<&str> =
        list.lines().take_while(|l| !l.is_empty()).filter_map(|l| l.split_whitespace().next()).collect();
    assert!(names.len() >= 5, "{names:?}");
    for name in names {
        let said = place.run(&format!("hitgap new {name}.toml --as {name}")).exits(0).stdout;
        let lines: Vec<&str> = said.lines().filter_map(|l| l.split_once("hitgap ").map(|(_, line)| line)).collect();
        assert!(!lines.is_empty(), "{said}");
        for line in lines {
            let ran = place.run(&format!("hitgap {line}"));
            assert!(matches!(ran.status, Some(0 | 1)), "{line}: {}", ran.stderr);
            assert!(!ran.stderr.contains("warning:"), "{line}: {}", ran.stderr);
        }
    }
    // The name of the file says it too.
    place.run("hitgap new ours.lesson.toml").exits(0);
    assert_eq!(place.read("ours.lesson.toml"), place.read("lesson.toml"));
}
