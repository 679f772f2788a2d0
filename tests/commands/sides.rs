//! No printed gap lies on another side of the max gap, or of a band's edge, than the gap that was judged.

use super::place::Place;

/// Two boxes that share every beat, one of them later by a time; `near` is a fix that takes it to another.
fn patch(late: &str, near: &str, max_gap: &str) -> String {
    format!(
        "max-gap = \"{max_gap}\"\nbars = 2\ntempos = [60, 120]\n[clock.c]\nrate = \"1 per beat\"\n[clock.d]\nrate = \"1 per beat\"\n\
         shift = \"{late}\"\n[sequencer.ox]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"kick\"\n[sequencer.wren]\nclock = \"d\"\n\
         steps = \"x\"\nvoice = \"snare\"\n[fix.near]\nset.\"clock.d.shift\" = \"{near}\"\n"
    )
}

/// Picoseconds of a figure in milliseconds.
fn ps(figure: &str) -> Option<i64> {
    let (whole, part) = figure.split_once('.').unwrap_or((figure, ""));
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    (!whole.is_empty() && digits(whole) && digits(part) && part.len() <= 9)
        .then(|| format!("{whole}{part:0<9}").parse().ok())
        .flatten()
}

/// Every gap that a text tells: what stands before ` ms after`, or ` ms` in a list of figures. `just over` and `just under` are a
/// little to that side.
fn told(text: &str) -> Vec<i64> {
    let mut all = Vec::new();
    // The page's script has a place for a figure there.
    for (at, _) in text.match_indices(" ms after ").filter(|(at, _)| !text[..*at].ends_with('}')) {
        let words: Vec<&str> = text[..at].rsplit(|c: char| c.is_whitespace() || "\">(".contains(c)).take(3).collect();
        let gap = ps(words[0]).unwrap_or_else(|| panic!("{:?} in {text}", words[0]));
        let side = match words[1..] {
            ["over", "just"] => 1,
            ["under", "just"] => -1,
            _ => 0,
        };
        all.push(gap + side);
    }
    all
}

/// Every gap that a check tells first: all figures before ` ms` down to the end of the grid, and those of a line `at ..: a after b: ..`.
fn told_first(text: &str) -> Vec<i64> {
    let mut all = Vec::new();
    let figures =
        text.split("\n\n").take(2).flat_map(str::lines).chain(text.lines().filter(|l| l.starts_with("  at ")));
    for line in figures {
        for (at, _) in line.match_indices(" ms") {
            let list = line[..at].rsplit([':', '~', '=', '!']).next().unwrap_or_default();
            for figure in list.split(',').map(|part| part.rsplit("  ").next().unwrap_or_default().trim()) {
                let words: Vec<&str> = figure.split(' ').collect();
                let (number, side) = match words[..] {
                    [.., "just", "over", n] => (n, 1),
                    [.., "just", "under", n] => (n, -1),
                    [.., n] => (n, 0),
                    [] => continue,
                };
                all.extend(ps(number).map(|gap| gap + side));
            }
        }
    }
    all
}

/// What a gap is called and whether it is over: the bands of docs/rules.md.
fn judged(gap: i64, max_gap: i64) -> (usize, bool) {
    let ms = |n: i64| n * 1_000_000_000;
    let band = [ms(1), ms(5), ms(10)].iter().filter(|edge| gap >= **edge).count() + usize::from(gap > ms(50));
    (band, gap > max_gap)
}

/// Just on the other side of what two decimals would show: table, chart, page, pictures and reasons.
#[test]
fn a_figure_is_on_the_side_of_the_gap_that_was_judged() {
    for (late, max_gap) in [
        ("2.004 ms", "2 ms"),
        ("2.000000001 ms", "2 ms"),
        ("1.999999999 ms", "2 ms"),
        ("9.996 ms", "20 ms"),
        ("9.999999999 ms", "2 ms"),
        ("0.9996 ms", "2 ms"),
        ("4.999 ms", "4.9985 ms"),
        ("50.004 ms", "50.002 ms"),
        ("49.999999999 ms", "60 ms"),
        ("150.04 ms", "150 ms"),
        ("0.00003 ms", "0.00002 ms"),
    ] {
        // The original is as late as that, the fix not at all; then the other way round.
        for (original, fix) in [(late, "0 ms"), ("0 ms", late)] {
            let place = Place::new().with("p.toml", patch(original, fix, max_gap));
            let gap = ps(late.trim_end_matches(" ms")).expect("a time");
            let limit = ps(max_gap.trim_end_matches(" ms")).expect("a time");
            let mut seen = Vec::new();
            for line in [
                "hitgap check p.toml --plot --out drawn",
                "hitgap check p.toml --verbose",
                "hitgap check p.toml --format json",
                "hitgap check p.toml --format csv",
                "hitgap compare p.toml",
            ] {
                seen.push((line.to_owned(), place.run(line).stdout));
            }
            for (folder, end) in [("drawn", "svg"), ("out", "html")] {
                for name in place.names(folder).into_iter().filter(|n| n.ends_with(end)) {
                    let text = String::from_utf8(place.read(&format!("{folder}/{name}"))).expect("text");
                    seen.push((name, text));
                }
            }
            let first = "hitgap check p.toml --plot --out drawn";
            let gaps = |name: &str, text: &str| if name == first { told_first(text) } else { told(text) };
            let figures: Vec<(&str, i64)> = seen
                .iter()
                .flat_map(|(name, text)| gaps(name, text).into_iter().map(move |g| (name.as_str(), g)))
                .collect();
            let places: std::collections::BTreeSet<&str> = figures.iter().map(|f| f.0).collect();
            // Both tables, comparison, page and picture; and the reasons of JSON and CSV where it is over.
            let least = if gap > limit { 7 } else { 5 };
            assert!(places.len() >= least, "{late} against {max_gap}: {places:?}");
            for (name, figure) in figures {
                assert_eq!(
                    judged(figure, limit),
                    judged(gap, limit),
                    "{figure} ps for {late} against {max_gap} in {name}"
                );
            }
        }
    }
}

/// The same of a grid, of two voices, and of many runs.
#[test]
fn grids_flams_and_runs_tell_gaps_on_their_side() {
    let place = Place::new().with("p.toml", patch("0 ms", "1 ms", "2 ms"));
    let sweep = "hitgap sweep p.toml --on clock.d --delay 2.004ms,1.999ms,9.996ms --tempo 120 --page";
    let ran = place.run(sweep).exits(0);
    for words in ["wren 2.004 ms after ox", "wren 2 ms after ox", "wren 9.996 ms after ox", "fails", "split"] {
        assert!(ran.stdout.contains(words), "{words}: {}", ran.stdout);
    }
    let page = String::from_utf8(place.read("out/p.original.d.html")).expect("text");
    assert!(page.contains("wren 2.004 ms after ox"), "{page}");
    let ran = place.run("hitgap flam --delay 9.996ms,2.004ms --page").exits(0);
    assert!(ran.stdout.contains("9.996") && ran.stdout.contains("split"), "{}", ran.stdout);
    let page = String::from_utf8(place.read("out/flam.kick+kick.html")).expect("text");
    assert!(page.contains("the second 2.004 ms after the first"), "{page}");
    // A delay that is drawn between 2.001 and 2.004 ms, over a max gap of 2: no figure of it is 2.
    let drawn = patch("0 ms", "1 ms", "2 ms").replace("clock = \"d\"", "clock = [\"d\", \"wire\"]")
        + "[stage.wire]\nkind = \"delay\"\ndelay = { min = \"2.001 ms\", typ = \"2.002 ms\", max = \"2.004 ms\" }\n";
    let place = place.with("d.toml", drawn);
    let ran = place.run("hitgap check d.toml --fix original --tempo 120 --runs 50").exits(1);
    let row = ran.stdout.lines().find(|l| l.trim_start().starts_with("wren after ox")).expect("a row");
    let figures: Vec<&str> = row.split_whitespace().skip(3).take(5).collect();
    for figure in figures {
        let gap = ps(figure).unwrap_or_else(|| panic!("{row}"));
        assert!(gap > 2_000_000_000 && gap <= 2_004_000_000, "{row}");
    }
}
