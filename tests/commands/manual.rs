use super::place::Place;

/// Each shell's script and each page names every command; pages are roff.
#[test]
fn completions_and_manual_pages_name_every_command() {
    let place = Place::new();
    let help = place.run("hitgap --help").exits(0).stdout;
    let listed = help.lines().skip_while(|l| *l != "Commands:").skip(1).take_while(|l| !l.is_empty());
    let named = |l: &&str| l.starts_with("  ") && !l.starts_with("   ");
    let commands: Vec<&str> = listed.filter(named).filter_map(|l| l.split_whitespace().next()).collect();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = place.run(&format!("hitgap completions {shell}")).exits(0).stdout;
        assert!(commands.iter().all(|c| script.contains(c)), "{shell}");
    }
    let page = place.run("hitgap manual").exits(0).stdout;
    assert!(page.contains(".TH") && page.contains("Exit status"), "{page}");
    std::fs::create_dir(place.path("man")).expect("a folder");
    place.run("hitgap manual --out man").exits(0);
    let mut pages: Vec<String> = commands.iter().filter(|c| **c != "help").map(|c| format!("hitgap-{c}.1")).collect();
    pages.push("hitgap.1".to_owned());
    pages.sort();
    assert_eq!(place.names("man"), pages);
    place.run("hitgap manual --out man").exits(3);
    place.run("hitgap manual --out man --overwrite").exits(0);
}
