//! What is printed on a terminal of its own, which `script` makes: colours beside words, and a grid as wide as the window.

use super::place::Place;
use std::process::{Command, Stdio};

/// What a command line of the program prints on a terminal of so many columns; `None` where there is no `script`, which is said.
fn on_terminal(place: &Place, line: &str, columns: u32, env: &[(&str, &str)]) -> Option<String> {
    let mut script = Command::new("script");
    let line = format!("stty cols {columns} rows 40; {} {line}", env!("CARGO_BIN_EXE_hitgap"));
    script.args(["-qec", &line, "/dev/null"]).current_dir(place.path("")).stdin(Stdio::null());
    script.env("TERM", "xterm").env_remove("NO_COLOR").envs(env.iter().copied());
    let output = script.output().ok();
    if output.is_none() {
        println!("skipped: there is no `script` here");
    }
    output.map(|output| String::from_utf8_lossy(&output.stdout).replace('\r', ""))
}

#[test]
fn faults_have_colors_only_for_who_wants_them() {
    let place = Place::new().with("bad.toml", "[clock.a]\nrata = 1\n");
    let on = |env: &[(&str, &str)]| on_terminal(&place, "check bad.toml", 80, env);
    let Some(usual) = on(&[]) else { return };
    assert!(usual.contains("\u{1b}[") && usual.contains("rata"), "{usual:?}");
    for env in [("NO_COLOR", "1"), ("TERM", "dumb")] {
        let said = on(&[env]).expect("it ran before");
        assert!(!said.contains('\u{1b}') && said.contains("rata"), "{env:?}: {said:?}");
    }
    assert!(on(&[("NO_COLOR", "")]).is_some_and(|said| said.contains("\u{1b}[")));
}

#[test]
fn a_verdict_has_colours_beside_its_words_and_a_grid_of_the_width_there_is() {
    let place = Place::new();
    for columns in [45, 70, 120] {
        let Some(text) = on_terminal(&place, "check patches/late-bell.toml", columns, &[]) else { return };
        let cells =
            ["\u{1b}[1;31m! off the one\u{1b}[0m", "\u{1b}[33m~ apart\u{1b}[0m", "\u{1b}[32m= together\u{1b}[0m"];
        for cell in cells {
            assert_eq!(text.matches(cell).count(), 4, "{columns}: {text}");
        }
        // Below the sentence, each part of the grid begins with its tempos.
        let grid = text.split("\n\n").skip(1).take_while(|part| part.starts_with("tempo")).flat_map(str::lines);
        let bare = |line: &str| {
            ["[1;31m", "[33m", "[32m", "[0m"].iter().fold(line.replace('\u{1b}', ""), |l, c| l.replace(c, ""))
        };
        let widest = grid.map(|line| bare(line).chars().count()).max().expect("a grid");
        // A name of 8 and, each after two blanks, columns as wide as their longest line, `1 pulse, 2400 ms`: as many as there is
        // room for.
        let least = ((columns as usize - 8) / 19).min(4) * 19;
        assert!((least..=columns as usize).contains(&widest), "{columns}: {widest}");
    }
    let plain = on_terminal(&place, "check patches/late-bell.toml", 80, &[("NO_COLOR", "1")]).expect("it ran before");
    assert!(plain.contains("! off the one") && !plain.contains('\u{1b}'), "{plain}");
}
