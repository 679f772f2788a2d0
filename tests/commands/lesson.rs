use super::marks::marks;
use super::place::Place;
use super::wav::{Wav, loudness, ticks};
use serde_json::Value;
use std::collections::BTreeSet;

fn page(place: &Place, name: &str) -> String {
    String::from_utf8(place.read(name)).expect("text")
}

/// What a page's player holds: the JSON in its script element.
pub(crate) fn data(page: &str, id: &str) -> Value {
    let (_, rest) = page.split_once(&format!("<script type=\"application/json\" id=\"{id}\">")).expect("the data");
    serde_json::from_str(rest.split_once("</script>").expect("its end").0).expect("JSON")
}

/// The values of an attribute, each word of them.
fn words<'a>(page: &'a str, attribute: &str) -> Vec<&'a str> {
    let lead = format!(" {attribute}=\"");
    page.split(lead.as_str()).skip(1).flat_map(|rest| rest.split('"').next().unwrap_or("").split(' ')).collect()
}

#[test]
fn a_lesson_says_what_is_in_it() {
    let place = Place::new();
    place.shows("lesson", &["hitgap lesson patches/three-robots.lesson.toml"]);
    assert_eq!(place.names("out"), [".hitgap-lock", "manifest.json", "three-robots.html"]);
    let first = place.read("out/three-robots.html");
    // The same bytes again, and whatever else was made before.
    place.run("hitgap lesson patches/three-robots.lesson.toml --out there").exits(0);
    assert!(first == place.read("out/three-robots.html") && first == place.read("there/three-robots.html"));
    // Five chapters, mixed in the browser: well within what can be mailed.
    assert!(first.len() < 8 << 20, "{} bytes", first.len());
}

#[test]
fn a_lessons_page_is_whole_and_asks_nobody() {
    let place = Place::new();
    place.run("hitgap lesson patches/three-robots.lesson.toml").exits(0);
    let page = page(&place, "out/three-robots.html");
    let ids = words(&page, "id");
    let once: BTreeSet<&str> = ids.iter().copied().collect();
    assert!(ids.len() > 100 && once.len() == ids.len(), "an id stands twice");
    for attribute in ["aria-labelledby", "aria-describedby", "aria-controls", "for"] {
        for id in words(&page, attribute) {
            assert!(once.contains(id), "{attribute} {id}");
        }
    }
    for n in 1..=5 {
        assert!(page.contains(&format!("href=\"#chapter-{n}\"")) && once.contains(format!("chapter-{n}").as_str()));
        assert_eq!(data(&page, &format!("c{n}-data"))["format"], 1);
        // Each chapter has a player of its own.
        assert!(["answers", "tempo", "version", "play"].iter().all(|id| once.contains(format!("c{n}-{id}").as_str())));
    }
    for request in [" src=", "url(", "@import", "<link", "<iframe", "fetch(", "XMLHttpRequest", "import("] {
        assert!(!page.contains(request), "{request}");
    }
    assert!(page.contains("default-src &#39;none&#39;"));
    // Care of hearing comes before the first sound.
    let at = |words: &str| page.find(words).expect(words);
    assert!(at("NIOSH") < at("id=\"c1-play\"") && at("H.870") < at("id=\"c1-play\""));
    // No level is called safe and no gap inaudible.
    let lower = page.to_lowercase();
    assert!(!lower.contains("inaudible") && !lower.contains("nobody will hear"));
}

/// What a chapter plays is what the comparison's own page plays.
#[test]
fn a_chapter_plays_what_a_comparison_plays() {
    let text = "title = \"One\"\n[[chapter]]\nheading = \"H\"\ntext = \"t\"\npatch = \"../patches/late-bell.toml\"\n\
                fixes = [\"phase\", \"phase+or-gate\"]\ntempos = [80, 160]\nbars = 5\n";
    let place = Place::new().with("mine/one.toml", text);
    place.run("hitgap lesson mine/one.toml").exits(0);
    place.run("hitgap compare patches/late-bell.toml --fix phase --fix phase+or-gate --tempo 80,160 --bars 5").exits(0);
    let mut chapter = data(&page(&place, "out/one.html"), "c1-data");
    let mut alone = data(&page(&place, "out/late-bell.html"), "data");
    assert_eq!((&chapter["title"], &alone["title"]), (&"H".into(), &"The late bell".into()));
    for data in [&mut chapter, &mut alone] {
        data["title"] = Value::Null;
        data["patch"] = Value::Null;
    }
    assert!(chapter == alone);
}

#[test]
fn what_a_lesson_names_and_is_not_there_is_pointed_at() {
    let lesson = |chapter: &str| format!("title = \"A\"\n\n[[chapter]]\nheading = \"H\"\ntext = \"t\"\n{chapter}\n");
    let place = Place::new()
        .with("no-patch.toml", lesson("patch = \"patches/late-bel.toml\""))
        .with("no-fix.toml", lesson("patch = \"patches/late-bell.toml\"\nfixes = [\"or-gate\", \"fase\"]"))
        .with("original.toml", lesson("patch = \"patches/late-bell.toml\"\nfixes = [\"original\"]"))
        .with("loop.toml", lesson("patch = \"patches/late-bell.toml\"\nloop = 9"))
        .with("no-voice.toml", lesson("flam = { delays = [\"5 ms\"], voices = \"kick,bell\" }"))
        .with("too-far.toml", lesson("flam = { delays = [\"20 s\"] }"))
        .with("bad-patch.toml", lesson("patch = \"broken.toml\""))
        .with("broken.toml", "title = 3\n")
        .with("not-text.toml", b"\xff\xfe");
    place.shows(
        "bad-lesson",
        &[
            "hitgap lesson nothing.toml",
            "hitgap lesson no-patch.toml",
            "hitgap lesson no-fix.toml",
            "hitgap lesson original.toml",
            "hitgap lesson loop.toml",
            "hitgap lesson no-voice.toml",
            "hitgap lesson too-far.toml",
            "hitgap lesson bad-patch.toml",
            "hitgap lesson not-text.toml",
            "hitgap lesson patches/late-bell.toml",
        ],
    );
    assert!(place.names("out").iter().all(|n| !n.ends_with(".html")));
}

#[test]
fn what_a_teacher_writes_stays_text() {
    let hostile = "</script><script>alert(1)</script><img src=x onerror=alert(1)>";
    let text = format!(
        "title = '{hostile}'\nnote = '{hostile}'\n[[chapter]]\nheading = '{hostile}'\ntext = '{hostile} [a](javascript:b) ![c](http://d)'\n\
         listen-for = '{hostile}'\nquestion = '{hostile}'\nanswer = '{hostile}'\nflam = {{ delays = [\"5 ms\"] }}\n"
    );
    let place = Place::new().with("hostile.toml", text);
    place.run("hitgap lesson hostile.toml").exits(0);
    let page = page(&place, "out/hostile.html");
    assert!(!page.contains("<img") && !page.contains("javascript:b") && !page.contains("http://d"));
    // Our script and the data, and nothing else.
    assert_eq!(page.matches("<script").count(), 2);
    assert_eq!(page.matches("</script").count(), 2);
    assert!(page.contains("&lt;script&gt;alert(1)"));
}

/// A dial of 100 divisions on an output that pulses once in 8 beats: 80 and 40 ms at 60 and 120.
#[test]
fn two_voices_have_a_page_too() {
    let place = Place::new();
    place.shows(
        "flam-page",
        &["hitgap flam --phase 1%,-1% --rate \"1 per 8 beats\" --tempo 60,120 --voices kick,snare --page"],
    );
    let data = data(&page(&place, "out/flam.kick+snare.html"), "data");
    let names: Vec<&str> =
        data["variants"].as_array().expect("versions").iter().filter_map(|v| v["name"].as_str()).collect();
    assert_eq!(names, ["together", "1%", "-1%"]);
    for (tempo, beat_ms, gap_ms) in [(0, 1000.0, 80.0), (1, 500.0, 40.0)] {
        for (version, gap) in [(0, 0.0), (1, gap_ms), (2, -gap_ms)] {
            let cell = &data["tempos"][tempo]["cells"][version];
            assert_eq!(cell["gapMs"].as_f64(), Some(gap));
            let of = |voice: u64| -> Vec<f64> {
                let hits = cell["hits"].as_array().expect("hits").iter();
                hits.filter(|h| h[1] == voice).filter_map(|h| h[0].as_f64()).collect()
            };
            let (first, second) = (of(0), of(1));
            assert_eq!((first.len(), second.len()), (16, 16));
            for (n, (a, b)) in first.iter().zip(&second).enumerate() {
                // Whole picoseconds: exact as numbers of milliseconds here.
                assert_eq!((*a, *b), (beat_ms * n as f64, beat_ms * n as f64 + gap), "version {version} at {tempo}");
            }
        }
    }
    // Nothing but time tells them apart: one voice struck twice apart has half the energy of a double hit, about.
    place.run("hitgap flam --delay 22ms --voices click,click --page").exits(0);
    let data = super::lesson::data(&page(&place, "out/flam.click+click.html"), "data");
    let gain = |v: usize| data["tempos"][0]["cells"][v]["gain"].as_f64().expect("a gain");
    // Clicks are over in 1 ms: apart they add by energy, together by amplitude, 2 against 4. 0.1 dB.
    let db = 20.0 * (gain(1) / gain(0)).log10();
    assert!((db - 3.0103).abs() < 0.1, "{db}");
}

/// By hand, in seconds: a stroke, then after 1 s the bar of each version at 120, 2 s long, 0.7 s apart; 2 s later two strokes 0.3 s
/// apart, and the bars of the second chapter.
#[test]
fn a_reel_plays_the_chapters_one_after_the_other() {
    let two = "tempos = [120]\nbars = 4\n[clock.beats]\nrate = \"1 per beat\"\n[stage.late]\nkind = \"delay\"\ndelay = \"30 ms\"\n\
               [sequencer.ox]\nclock = \"beats\"\nsteps = \"X\"\nvoice = \"click\"\n\
               [sequencer.wren]\nclock = [\"beats\", \"late\"]\nsteps = \"X\"\nvoice = \"click\"\n\
               [fix.prompt]\nset.\"sequencer.wren.clock\" = \"beats\"\n";
    let lesson = "title = \"Ticks\"\n[[chapter]]\nheading = \"One\"\ntext = \"t\"\nloop = 1\n\
                  flam = { voices = \"click,click\", delays = [\"20 ms\"] }\n\
                  [[chapter]]\nheading = \"Two\"\ntext = \"t\"\nloop = 1\npatch = \"two.toml\"\n";
    let place = Place::new().with("two.toml", two).with("ticks.toml", lesson);
    place.shows("reel", &["hitgap lesson ticks.toml --reel"]);
    let file = place.read("out/ticks.reel.wav");
    let beats = |from: f64, late: f64| {
        let at = move |n: u32| from + 0.5 * f64::from(n);
        let both = move |n: u32| if late > 0.0 { vec![at(n), at(n) + late] } else { vec![at(n)] };
        (0..4).flat_map(both).collect::<Vec<f64>>()
    };
    let parts = [vec![0.0], beats(1.0, 0.0), beats(3.7, 0.02), vec![7.7, 8.0], beats(9.0, 0.03), beats(11.7, 0.0)];
    let expected: Vec<f64> = parts.concat().into_iter().map(|s| s + 0.1).collect();
    let wav = Wav::read(&file);
    let found = ticks(&wav);
    let off = found.iter().zip(&expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    // A tick is found to a frame or so.
    assert!(found.len() == expected.len() && off < 0.000_04, "{found:?}\n{expected:?}");
    let labels = ["1. One", "together at 120", "20 ms at 120", "2. Two", "original at 120", "prompt at 120"];
    let marked =
        parts.iter().zip(labels).map(|(part, label)| (((part[0] + 0.1) * 48_000.0).round() as u32, label.to_owned()));
    assert_eq!(marks(&file), marked.collect::<Vec<_>>());
    // The strokes are softer than what they announce, and by as much as is promised below full scale.
    let peak = |from: f64, to: f64| wav.between(from + 0.1, to + 0.1).iter().fold(0.0_f64, |m, s| m.max(s.abs()));
    for stroke in [0.0, 7.7, 8.0] {
        // The largest sample may miss the peak of 2 kHz at 48 kHz by 0.04 dB.
        assert!((20.0 * peak(stroke - 0.01, stroke + 0.01).log10() + 16.0).abs() < 0.1, "{stroke}");
    }
    assert!(peak(1.0, 3.0) > 2.0 * peak(-0.01, 0.01));
    // All versions of a chapter are equally loud, as on its page: gated loudness of equal stretches, within 0.3 dB.
    let loud = |from: f64| loudness(wav.between(from + 0.05, from + 2.15), wav.rate);
    assert!((loud(1.0) - loud(3.7)).abs() < 0.3 && (loud(9.0) - loud(11.7)).abs() < 0.3);
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let entry = manifest["files"].as_array().expect("files").iter().find(|f| f["kind"] == "reel").expect("a reel");
    assert_eq!(
        (&entry["file"], &entry["marks"], &entry["command"]),
        (&"ticks.reel.wav".into(), &6.into(), &"lesson".into())
    );
    // Again the same bytes.
    place.run("hitgap lesson ticks.toml --reel --out there").exits(0);
    assert!(place.read("there/ticks.reel.wav") == file);
}
