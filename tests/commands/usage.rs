use super::place::Place;

#[test]
fn without_arguments_the_program_says_what_it_can_do() {
    Place::new().shows("usage", &["hitgap", "hitgap --version", "hitgap chekc patches/late-bell.toml"]);
}

#[test]
fn every_command_has_a_help() {
    let place = Place::new();
    place.shows("help", &["hitgap --help"]);
    let all = place.run("hitgap --help").exits(0).stdout;
    let listed = all.lines().skip_while(|l| *l != "Commands:").skip(1).take_while(|l| !l.is_empty());
    // A name stands two blanks in; what is further in goes on with the line before.
    let named = |l: &&str| l.starts_with("  ") && !l.starts_with("   ");
    let listed: Vec<&str> = listed.filter(named).filter_map(|l| l.split_whitespace().next()).collect();
    assert!(listed.len() > 6, "{listed:?}");
    for command in listed.into_iter().filter(|c| *c != "help") {
        place.shows(&format!("help-{command}"), &[&format!("hitgap {command} --help")]);
        assert!(place.run(&format!("hitgap {command} -h")).exits(0).stdout.contains("Usage: hitgap"), "{command}");
    }
}

#[test]
fn bad_usage_is_refused() {
    Place::new().shows(
        "bad-usage",
        &[
            "hitgap check",
            "hitgap check patches/late-bell.toml --fixx phase",
            "hitgap check patches/late-bell.toml --format xml",
            "hitgap check patches/late-bell.toml --bars 0",
            "hitgap check patches/late-bell.toml --bars -1",
            "hitgap check patches/late-bell.toml --bars 99999999999",
            "hitgap check patches/late-bell.toml --max-gap 2",
            "hitgap check patches/late-bell.toml --max-gap -1ms",
            "hitgap check patches/late-bell.toml --max-gap \"2 %\"",
            "hitgap render patches/late-bell.toml --bits 8",
            "hitgap render patches/late-bell.toml --sample-rate 100",
            "hitgap render patches/late-bell.toml --lead-in -5ms",
            "hitgap render patches/late-bell.toml --lead-in 8640000s",
            "hitgap render patches/late-bell.toml --seed -1",
        ],
    );
}

#[test]
fn bad_lists_of_tempos_are_refused() {
    let tempos = [
        "\"\"",
        "60,",
        "0",
        "1000.5",
        "-60",
        "abc",
        "60;70",
        "60..",
        "60..70",
        "60..70:0",
        "70..60:5",
        "60..70:5:5",
        "1..1000:0.1",
        "60.0000001",
    ];
    let lines: Vec<String> =
        tempos.iter().map(|t| format!("hitgap check patches/late-bell.toml --tempo={t}")).collect();
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let place = Place::new();
    place.shows("bad-tempos", &lines);
    for line in lines {
        place.run(line).exits(2);
    }
}
