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

/// What is asked for is written into the current folder, with all that it needs and no path into this project.
#[test]
fn an_example_is_written_with_what_goes_with_it() {
    let place = Place::new();
    std::fs::create_dir(place.path("elsewhere")).expect("a folder");
    place.shows(
        "new-example",
        &[
            "hitgap new --example late-bell",
            "hitgap new --example three-robots",
            "hitgap new --example taken-by-hand",
            "hitgap new \"elsewhere/my part.toml\" --example components",
            "hitgap new --example wren-listens",
            "hitgap new --example late-bell",
            "hitgap new --example late-bel",
            "hitgap new late-bell.toml --example three-robots",
            "hitgap new nowhere/mine.toml --example thin-ice",
            "hitgap new",
        ],
    );
    let written =
        ["late-bell.toml", "moth-blinks.toml", "taken-by-hand.csv", "three-robots.lesson.toml", "wren-listens.json"];
    for name in written {
        assert_eq!(place.read(name), place.read(&format!("patches/{name}")), "{name}");
    }
    assert_eq!(place.read("elsewhere/my part.toml"), place.read("patches/components.toml"));
    assert_eq!(place.names("nowhere"), [""; 0]);
}

/// Every example that is listed can be had by its name alone in an empty folder, and what is said to come next works there.
#[test]
fn whatever_example_is_listed_can_be_tried_as_it_says() {
    let list = Place::new().run("hitgap new --example none").exits(2).stderr;
    let names: Vec<&str> =
        list.lines().filter_map(|l| l.strip_prefix("  ")).filter_map(|l| l.split_whitespace().next()).collect();
    assert!(names.len() > 20, "{list}");
    let help = Place::new().run("hitgap new --help").exits(0).stdout;
    for name in names {
        assert!(help.contains(&format!("- {name}")), "{name}: {help}");
        let place = Place::new();
        std::fs::remove_dir_all(place.path("patches")).expect("the copy is gone");
        let said = place.run(&format!("hitgap new --example {name}")).exits(0).stdout;
        let (files, next) = said.split_once("\n\n").expect("what comes next");
        let mut files: Vec<&str> = files.lines().map(|l| l.split(',').next().expect("a name")).collect();
        files.sort_unstable();
        assert_eq!(place.names("."), files, "{name} says what it writes");
        let lines: Vec<&str> = next.lines().filter_map(|l| l.find("hitgap ").map(|at| &l[at..])).collect();
        assert!(!lines.is_empty(), "{said}");
        for line in lines {
            // Short, where it is a sound: what is asked here is whether the line is right.
            let short =
                if line.contains(" compare ") || line.contains(" render ") { " --bars 1 --tempo 120" } else { "" };
            let ran = place.run(&format!("{line}{short}"));
            let may_fail = line.contains(" check ");
            assert!(ran.status == Some(0) || may_fail && ran.status == Some(1), "{line}: {}{}", ran.stdout, ran.stderr);
        }
    }
}

/// Nothing that is there is written over, and where one file is in the way none of the others is written.
#[test]
fn an_example_is_never_written_over_a_file_that_is_there() {
    let mine = "# mine\n";
    let place = Place::new().with("moth-blinks.toml", mine).with("late-bell.toml", mine).with("thin-ice.toml", mine);
    place.shows(
        "new-example-in-the-way",
        &[
            "hitgap new --example thin-ice",
            "hitgap new --example three-robots",
            "hitgap new moth-blinks.toml --example thin-ice",
        ],
    );
    assert_eq!(place.names("."), ["late-bell.toml", "moth-blinks.toml", "patches", "thin-ice.toml"]);
    assert_eq!((place.read("moth-blinks.toml"), place.read("thin-ice.toml")), (mine.into(), mine.into()));
    // Whoever asks for it gets it.
    place.run("hitgap new --example three-robots --overwrite").exits(0);
    assert_eq!(place.read("moth-blinks.toml"), place.read("patches/moth-blinks.toml"));
    assert_eq!(place.read("thin-ice.toml"), mine.as_bytes());
}
