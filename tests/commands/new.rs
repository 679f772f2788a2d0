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
        ],
    );
    place.run("hitgap new mine.toml --overwrite").exits(0);
    // Every line that is only commented out can be let in, one by one.
    let text = String::from_utf8(place.read("mine.toml")).expect("text");
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
    assert_eq!(tried, 6);
}
