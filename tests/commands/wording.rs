//! Messages that say what is meant: of commas, of one and many, of bounds.

use super::place::Place;

#[test]
fn a_decimal_comma_is_told_as_one() {
    let place = Place::new();
    for (line, wanted) in [
        ("hitgap flam --delay \"2,5 ms\"", "`2,5 ms` has a comma in its number\nhelp: write 2.5 ms: a comma parts"),
        ("hitgap flam --delay 1ms,-0,5ms", "`-0,5ms` has a comma in its number\nhelp: write -0.5ms: "),
        ("hitgap flam --phase \"1,5 %\"", "`1,5 %` has a comma in its number\nhelp: write 1.5 %: "),
        (
            "hitgap sweep patches/late-bell.toml --on sequencer.wren.clock --delay 2,5ms",
            "`2,5ms` has a comma in its number\nhelp: write 2.5ms: ",
        ),
        ("hitgap render patches/late-bell.toml --lead-in 2,5ms", "`2,5ms` has a comma in its number; write \"2.5ms\""),
    ] {
        let ran = place.run(line).exits(2);
        assert!(ran.stderr.contains(wanted), "{line}: {}", ran.stderr);
    }
    place.run("hitgap flam --delay 2ms,5ms").exits(0);
    assert_eq!(place.sounds("out").len(), 2);
}

#[test]
fn one_and_many_are_told_apart() {
    let patch = String::from_utf8(Place::new().read("patches/late-bell.toml")).expect("text");
    let many = |kind: &str, body: &str| (0..257).map(|n| format!("[{kind}.n{n}]\n{body}\n")).collect::<String>();
    let session = String::from_utf8(Place::new().read("patches/wren-listens.json")).expect("text");
    let mut one: serde_json::Value = serde_json::from_str(&session).expect("JSON");
    one["trials"].as_array_mut().expect("a list").truncate(1);
    let place = Place::new()
        .with("fixes.toml", patch.clone() + &many("fix", "set.\"clock.slow.phase\" = \"1 %\""))
        .with("list.toml", many("component", "kind = \"delay\"\ndelay = \"1 ms\""))
        .with("one.json", one.to_string())
        .with("case.toml", patch + "[fix.Phase]\nset.\"clock.slow.phase\" = \"1 %\"\n");
    let said = place.run("hitgap check fixes.toml").exits(2).stderr;
    assert!(said.contains("there are more than 256 fixes") && said.contains("take fixes out"), "{said}");
    let said = place.run("hitgap check case.toml").exits(2).stderr;
    assert!(said.contains("the fixes `phase` and `Phase` differ only by case"), "{said}");
    let said = place
        .run("hitgap advise patches/late-bell.toml --on sequencer.wren.clock --components list.toml")
        .exits(2)
        .stderr;
    assert!(said.contains("there are more than 256 components") && !said.contains("the patch"), "{said}");
    let said = place.run("hitgap results one.json --plot").exits(0).stdout;
    assert!(said.contains("1 answer, ") && !said.contains("1 answers"), "{said}");
    let picture = String::from_utf8(place.read("out/one.track.svg")).expect("text");
    assert!(picture.contains("1 trial, ") && !picture.contains("1 trials"), "{picture}");
}

#[test]
fn what_is_past_a_bound_does_not_read_like_it() {
    let change = |shift: &str| {
        [
            ("phase = \"1 %\"", ""),
            ("rate  = \"1 per 16 beats\"", &*format!("rate  = \"1 per 16 beats\"\nshift = \"{shift}\"")),
        ]
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
    };
    for (shift, found) in [("600.0000001 s", "600.0000001 s"), ("601 s", "601 s")] {
        let changes = change(shift);
        let place = Place::new().with_changed("a.toml", "late-bell.toml", &[(&changes[1].0, &changes[1].1)]);
        let said = place.run("hitgap check a.toml").exits(2).stderr;
        assert!(
            said.contains(&format!("`shift` is out of bounds: {found}")) && said.contains("at most 600 s"),
            "{said}"
        );
    }
    let place = Place::new().with_changed("b.toml", "late-bell.toml", &[("\"40 us\"", "\"600.000000000001 s\"")]);
    let said = place.run("hitgap check b.toml").exits(2).stderr;
    assert!(said.contains("600.000000000001 s"), "{said}");
    let said = place.run("hitgap flam --delay 10.000000001s").exits(2).stderr;
    assert!(said.contains("a gap of 10000.000001 ms is longer than 10 s"), "{said}");
}

/// An ear file is added to, never written over: the word is about pictures, and harmless beside it.
#[test]
fn to_save_may_be_said_with_overwrite() {
    let place = Place::new().with("notes.toml", "mine = true\n");
    let save = "hitgap results patches/wren-listens.json --overwrite";
    for _ in 0..2 {
        place.run(&format!("{save} --save ear.toml")).exits(0);
    }
    place.run(&format!("{save} --save notes.toml")).exits(2);
    assert_eq!(place.read("notes.toml"), b"mine = true\n");
    place.run(save).exits(2);
    place.run(&format!("{save} --plot")).exits(0);
}
