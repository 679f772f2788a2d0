use super::place::Place;
use std::fmt::Write;

#[test]
fn the_least_that_must_be_done() {
    let place = Place::new();
    place.shows(
        "mend",
        &[
            "hitgap mend patches/late-bell.toml",
            "hitgap mend patches/five-teachers.toml --show 2",
            "hitgap mend patches/taken-by-hand.toml",
            "hitgap mend patches/soft-attack.toml",
            "hitgap mend patches/through-the-laptop.toml --budget 1",
        ],
    );
    place.shows(
        "mend-wishes",
        &[
            "hitgap mend patches/five-teachers.toml --keep dial --budget 1",
            "hitgap mend patches/three-in-the-basket.toml --price component.envelope=3 --keep clock --keep cable",
            "hitgap mend patches/hand-in-hand.toml --may sequencer.wren.reset-mode=this-clock,immediate --budget 2 --show 2",
            "hitgap mend patches/late-bell.toml --keep sequencer.heron",
            "hitgap mend patches/late-bell.toml --nudge heron",
            "hitgap mend patches/late-bell.toml --price part",
            "hitgap mend patches/late-bell.toml --may sequencer.wren.clock=home",
            "hitgap mend patches/late-bell.toml --may wren=home",
            "hitgap mend patches/late-bell.toml --budget 5",
        ],
    );
    place.shows(
        "mend-formats",
        &[
            "hitgap mend patches/three-in-the-basket.toml --tempo 60,75 --budget 1 --format json",
            "hitgap mend patches/three-in-the-basket.toml --tempo 60,75 --budget 1 --format csv",
        ],
    );
}

/// What is written stands in the patch as any fix: everything else is as it was, and it can be checked and heard.
#[test]
fn what_is_found_can_be_kept_checked_and_heard() {
    // The example has a fix that does the same, which is told and not added again.
    let place = Place::new();
    let ran = place.run("hitgap mend patches/late-bell.toml --write").exits(0);
    assert!(ran.stderr.contains("[fix.or-gate] of `patches/late-bell.toml` does the same already"), "{}", ran.stderr);
    let bell = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let before = bell.split("[fix.or-gate]").next().expect("a rig").to_owned();
    let place = Place::new().with("bell.toml", before.as_str());
    let ran = place.run("hitgap mend bell.toml --write").exits(0);
    assert!(ran.stderr.contains("wrote [fix.or-gate-wren] to bell.toml"), "{}", ran.stderr);
    assert!(ran.stderr.contains("`hitgap check bell.toml --fix or-gate-wren`"), "{}", ran.stderr);
    let after = String::from_utf8(place.read("bell.toml")).expect("text");
    let about = "about = \"put or-gate into the way to wren's clock\"\n";
    let added = format!("\n[fix.or-gate-wren]\n{about}set.\"sequencer.wren.clock\" = [\"slow\", \"or-gate\"]\n");
    assert_eq!(after.replacen(&added, "", 1), before);
    place.run("hitgap check bell.toml --fix or-gate-wren").exits(0);
    place.run("hitgap compare bell.toml --fix or-gate-wren --tempo 120 --bars 8").exits(0);
    // The same is not added again.
    let ran = place.run("hitgap mend bell.toml --write").exits(0);
    assert!(ran.stderr.contains("[fix.or-gate-wren] of `bell.toml` does the same already"), "{}", ran.stderr);
    assert_eq!(String::from_utf8(place.read("bell.toml")).expect("text"), after);
    // Where nothing does, nothing is written.
    let before = place.read("patches/wren-slips.toml");
    let ran = place.run("hitgap mend patches/wren-slips.toml --budget 1 --write").exits(0);
    assert!(ran.stderr.contains("no fix to write"), "{}", ran.stderr);
    assert_eq!(place.read("patches/wren-slips.toml"), before);
}

/// Every proposal for every example that can be mended is rendered, and passes its check.
#[test]
fn what_is_proposed_for_the_examples_passes_and_sounds() {
    for name in ["thin-ice", "five-teachers", "across-the-room", "serial-beside-pulses", "moth-blinks", "lantern-rests"]
    {
        let place = Place::new();
        let ran = place.run(&format!("hitgap mend patches/{name}.toml --write=3")).exits(0);
        let fixes: Vec<&str> = ran.stderr.split("[fix.").skip(1).filter_map(|rest| rest.split(']').next()).collect();
        assert!(!fixes.is_empty(), "{name}: {}", ran.stderr);
        for fix in fixes {
            place.run(&format!("hitgap check patches/{name}.toml --fix {fix}")).exits(0);
            place.run(&format!("hitgap render patches/{name}.toml --fix {fix} --bars 2 --sample-rate 8000")).exits(0);
        }
    }
}

/// One wiring for an evening, and what is dialled for each song: on the terminal, as JSON and CSV, and as a card to print.
#[test]
fn an_evening_has_one_wiring_and_a_card() {
    let songs = "song,tempo,boxes,fixes\nLantern rising,50,,\nOx alone,97.5,ox,\n\"Two & two\",120..124,ox wren,\n";
    let place = Place::new().with("evening.csv", songs);
    place.shows(
        "mend-evening",
        &[
            "hitgap mend patches/late-bell.toml --songs evening.csv",
            "hitgap mend patches/late-bell.toml --songs evening.csv --format csv",
            "hitgap mend patches/late-bell.toml --songs evening.csv --keep part --keep cable --keep dial",
        ],
    );
    let line = "hitgap mend patches/late-bell.toml --songs evening.csv";
    let ran = place.run(&format!("{line} --format json --card card.html")).exits(0);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).expect("JSON");
    assert_eq!(told["wiring"].as_array().map(Vec::len), Some(1));
    assert_eq!((told["turns"].as_u64(), told["exact"].as_bool()), (Some(0), Some(true)));
    assert_eq!(told["songs"][1]["boxes"], serde_json::json!(["ox"]));
    assert_eq!(told["songs"][2]["tempos_bpm"].as_array().map(Vec::len), Some(5));
    let page = String::from_utf8(place.read("card.html")).expect("text");
    assert!(page.starts_with("<!doctype html>") && page.contains("<th scope=\"row\">Two &amp; two</th>"), "{page}");
    assert!(page.contains("<li>put or-gate into the way to wren&#39;s clock</li>"), "{page}");
    // Nothing is written over, unless that is asked for; and as text it is what the terminal shows.
    let ran = place.run(&format!("{line} --card card.html")).exits(3);
    assert_eq!(
        (ran.stdout.as_str(), ran.stderr.contains("`card.html` is there already")),
        ("", true),
        "before the search"
    );
    let ran = place.run("hitgap mend patches/late-bell.toml --card other.html").exits(2);
    assert!(ran.stderr.contains("--songs"), "{}", ran.stderr);
    place.run(&format!("{line} --card card.html --overwrite")).exits(0);
    let ran = place.run(&format!("{line} --card card.txt")).exits(0);
    // Its lines are broken as a page is wide.
    let words = |text: &str| text.split_whitespace().take(25).map(str::to_owned).collect::<Vec<_>>();
    let card = String::from_utf8(place.read("card.txt")).expect("text");
    assert_eq!(words(&card), words(&ran.stdout));
    assert!(card.lines().count() > ran.stdout.lines().count(), "{card}");
    // What is dialled for the evening is kept as fixes that pass.
    let bell = String::from_utf8(place.read("patches/late-bell.toml")).expect("text");
    let place =
        Place::new().with("evening.csv", songs).with("bell.toml", bell.split("[fix.or-gate]").next().expect("a rig"));
    let ran = place.run("hitgap mend bell.toml --songs evening.csv --write").exits(0);
    assert!(ran.stderr.contains("wrote [fix.song-lantern-rising] to "), "{}", ran.stderr);
    place.run("hitgap check bell.toml --fix song-lantern-rising --tempo 50,120,124").exits(0);
}

/// Four boxes: the snare and the bell miss the one, which a gate mends; the hat is 7 ms late, which only a nudge would.
const LATE_HAT: &str = "tempos = [80]\nbars = 8\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n\
    [sequencer.kick]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nsteps = \"X...x...\"\nvoice = \"kick\"\n\
    [sequencer.snare]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"next-clock\"\nsteps = \"X...x...\"\nvoice = \"snare\"\n\
    [sequencer.hat]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"this-clock\"\nlatency = \"7 ms\"\nsteps = \"X...x...\"\nvoice = \"hat\"\n\
    [component.or-gate]\nkind = \"delay\"\ndelay = \"40 us\"\nprice = \"0.50 Euro\"\n\
    [component.dear]\nkind = \"delay\"\ndelay = \"60 us\"\nprice = \"6\"\n";

/// What would help is said where it is not allowed; with it, the price of the list counts, and names alone do.
#[test]
fn what_is_kept_and_what_could_be_nudged_is_said() {
    let place = Place::new().with("late-hat.toml", LATE_HAT);
    place.shows(
        "mend-hints",
        &[
            "hitgap mend late-hat.toml --keep cable",
            "hitgap mend late-hat.toml --keep cable --keep hat",
            "hitgap mend late-hat.toml --keep cable --nudge sequencer.hat --show 2",
            "hitgap mend late-hat.toml --keep cable --nudge hat --price or-gate=7.25 --show 1",
            "hitgap mend late-hat.toml --keep snar",
            "hitgap mend late-hat.toml --keep heron",
            "hitgap mend late-hat.toml --nudge hut",
            "hitgap mend late-hat.toml --may sequencer.snare.like=takes-high-pulse",
            "hitgap mend late-hat.toml --may sequencer.snare.colour=red",
            "hitgap mend late-hat.toml --keep part --keep cable",
        ],
    );
    let ran = place.run("hitgap mend late-hat.toml --keep cable --nudge hat --format json").exits(0);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).expect("JSON");
    assert_eq!((&told["proposals"][0]["cost"], &told["hints"]), (&0.5.into(), &serde_json::json!([])));
    assert_eq!(told["proposals"][0]["changes"][0]["price"], "0.50 Euro");
}

/// Fixes that are dialled for a song, and a tempo map of its own; and what is wrong with a list, by its line.
#[test]
fn a_list_of_songs_says_what_is_dialled() {
    let songs = "song,tempo,fixes,tempo-map\nA,50,,\nB,60,phase,\nC,80,,\"[{ at = '8 beats', tempo = '110 %' }]\"\n";
    let place = Place::new().with("evening.csv", songs);
    let line = "hitgap mend patches/late-bell.toml --songs evening.csv --budget 2";
    let ran = place.run(&format!("{line} --format json")).exits(0);
    let told: serde_json::Value = serde_json::from_str(&ran.stdout).expect("JSON");
    let served = told["songs"].as_array().expect("songs").iter().filter(|song| song["served"] == true).count();
    assert!(served >= 2, "{}", ran.stdout);
    let said = |list: &str| {
        let place = Place::new().with("evening.csv", list);
        place.run("hitgap mend patches/late-bell.toml --songs evening.csv").exits(2).stderr
    };
    assert!(said("song,tempo,boxes\nA,50,heron\n").contains("line 2: there is no box `heron`"));
    assert!(said("song,tempo,fixes\nA,50,nothing\n").contains("line 2: "));
    assert!(said("song,tempo,fixes\nA,50,or-gate\n").contains("the wiring is one for the whole evening"));
    assert!(said("song,tempo,tempo-map\nA,50,fast\n").contains("line 2: its tempo map is none"));
    place.run("hitgap mend patches/late-bell.toml --songs evening.csv --tempo 60").exits(2);
    place.run("hitgap mend patches/late-bell.toml --songs evening.csv --resume x.search").exits(2);
}

/// Stopped by a limit it goes on where it was, and says the same as if nobody had stopped it; a damaged file is put aside, and what is
/// not its own is left as it is.
#[test]
fn a_search_that_was_stopped_goes_on() {
    let line = "hitgap mend patches/late-bell.toml --resume bell.search";
    let whole = Place::new().run("hitgap mend patches/late-bell.toml").exits(0).stdout;
    let place = Place::new().with("notes.txt", "not a search\n");
    let ran = place.run(&format!("{line} --limit 1000")).exits(0);
    assert!(ran.stdout.contains("Stopped where --limit said"), "{}", ran.stdout);
    let ran = place.run(&format!("{line} --limit 300")).exits(0);
    assert!(ran.stderr.contains("going on after 1000 sets"), "{}", ran.stderr);
    // One byte of what came last is changed: the thousand before are whole.
    let mut bytes = place.read("bell.search");
    *bytes.last_mut().expect("bytes") ^= 1;
    let place = place.with("bell.search", bytes.clone());
    let ran = place.run(line).exits(0);
    assert!(
        ran.stderr.contains("`bell.search` was damaged") && ran.stderr.contains("going on after 1000 sets"),
        "{}",
        ran.stderr
    );
    assert_eq!((ran.stdout.as_str(), place.read("bell.search.damaged")), (whole.as_str(), bytes));
    let ran = place.run(line).exits(0);
    assert_eq!(ran.stdout, whole);
    let ran = place.run(&format!("{line} --budget 2")).exits(3);
    assert!(ran.stderr.contains("belongs to another search"), "{}", ran.stderr);
    place.run("hitgap mend patches/late-bell.toml --resume notes.txt").exits(3);
    assert_eq!(place.read("notes.txt"), b"not a search\n");
}

/// A rig that takes long: eight boxes and twenty parts, and nothing that does.
fn long() -> String {
    let mut text = String::from(
        "tempos = [60, 90, 120, 160]\nbars = 32\n[clock.sixteenths]\nrate = \"4 per beat\"\n[clock.home]\nrate = \"1 per 16 beats\"\n",
    );
    for n in 0..8 {
        let mode = if n < 2 { "next-clock" } else { "this-clock" };
        let more = if n == 7 { "latency = \"8 ms\"\n" } else { "" };
        let _ = write!(
            text,
            "[sequencer.s{n}]\nclock = \"sixteenths\"\nreset = \"home\"\nreset-mode = \"{mode}\"\nsteps = \"X...x...\"\nvoice = \"click\"\n{more}"
        );
    }
    for n in 0..20 {
        let _ = write!(text, "[component.gate-{n}]\nkind = \"delay\"\ndelay = \"{} us\"\n", 100 * n + 20);
    }
    text
}

/// What a search prints that is asked to end once it has begun.
#[cfg(unix)]
fn stopped(place: &Place, line: &str, signal: &str) -> String {
    use std::io::BufRead;
    use std::process::{Command, Stdio};

    let mut child = place.command(line).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("it starts");
    let mut talk = std::io::BufReader::new(child.stderr.take().expect("a pipe"));
    let mut said = String::new();
    // Once it has said how much there is to do, Ctrl-C is listened to.
    talk.read_line(&mut said).expect("a line");
    assert!(said.starts_with("searching "), "{said}");
    assert!(Command::new("kill").args([signal, &child.id().to_string()]).status().expect("kill").success());
    let output = child.wait_with_output().expect("an end");
    assert_eq!(output.status.code(), Some(130));
    String::from_utf8(output.stdout).expect("text")
}

#[cfg(unix)]
#[test]
fn ctrl_c_prints_what_was_found_so_far() {
    let place = Place::new().with("long.toml", long());
    let out = stopped(&place, "hitgap mend long.toml --budget 4", "-INT");
    assert!(out.starts_with("long.toml: stopped before it was done; "), "{out}");
    assert!(out.contains("Stopped before it was done") && out.contains("As it is, s0 misses the one"), "{out}");
}

/// An evening that was stopped says of a song that it was not searched, and how it is as it is; as JSON and CSV too.
#[cfg(unix)]
#[test]
fn an_evening_that_was_stopped_says_nothing_that_was_not_found() {
    let songs = "song,tempo,boxes\nAlone,60,s0\nAll,120,\n";
    let place = Place::new().with("long.toml", long()).with("songs.csv", songs);
    let line = "hitgap mend long.toml --budget 4 --songs songs.csv";
    let out = stopped(&place, line, "-TERM");
    assert!(out.starts_with("long.toml: stopped before it was done; "), "{out}");
    assert!(out.contains(" Not searched: ") && !out.contains("nothing does"), "{out}");
    let row = |of: &str| out.lines().find(|line| line.contains(of)).unwrap_or_default().to_owned();
    assert!(row("  All ").contains("not searched") && !row("  All ").contains("good"), "{out}");
    let told: serde_json::Value =
        serde_json::from_str(&stopped(&place, &format!("{line} --format json"), "-TERM")).expect("JSON");
    assert!(told["not_searched"].as_array().is_some_and(|all| all.contains(&serde_json::json!("All"))), "{told}");
    assert_eq!((&told["songs"][1]["searched"], &told["songs"][1]["could_be_served"]), (&false.into(), &().into()));
    assert_eq!((&told["songs"][1]["stands"], &told["in_the_way"]), (&false.into(), &serde_json::json!([])));
    let csv = stopped(&place, &format!("{line} --format csv"), "-TERM");
    assert!(csv.lines().any(|line| line.starts_with("2,All,") && line.contains(",not searched,")), "{csv}");
}
