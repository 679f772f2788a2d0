//! The training page: scripted listeners take whole sessions, and the program reads what they save.

use super::access::{CONTROLS, FOCUS, check, checker, names, to, walk};
use super::driver::{Browser, ENTER, browser, url};
use super::hostile::{stays_within, texts_are_apart};
use super::plays::{SEND, onset, rise, samples};
use hitgap::ear::{Level, Session, Staircase};
use hitgap::page::{PageVoice, TrainingPage, training_page};
use hitgap::render::Master;
use hitgap::time::Tempo;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Runs the program in a folder.
fn hitgap(folder: &Path, args: &[&str]) -> String {
    let out = Command::new(env!("CARGO_BIN_EXE_hitgap")).args(args).current_dir(folder).output().expect("starts");
    assert_eq!(out.status.code(), Some(0), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).expect("text")
}

/// A folder with the page that the README's command makes.
fn page() -> (TempDir, PathBuf) {
    let folder = TempDir::new().expect("a temporary folder");
    hitgap(folder.path(), &["train", "--voices", "kick,snare", "--tempo", "90"]);
    let page = folder.path().join("out/train.kick+snare.90bpm.html");
    (folder, page)
}

/// What a session is begun with.
struct Asked {
    task: &'static str,
    /// Right answers for a step down.
    down: u32,
    tracks: u32,
}

/// A listener in the page: right from `threshold` on, guessing below, and a guesser altogether without one. Answers are drawn
/// track by track from a generator of its own, so that a session goes the same way every time. Sound ends at once. Each
/// trial leaves behind what the page made of it.
fn seat(browser: &Browser, threshold: Option<f64>) {
    browser.js(&format!(
        "const h = hitgap; window.state = window.state || {{}}; window.seen = []; window.mixed = 0; \
         h.output.play = async (samples, ended) => {{ if (!samples.some((x) => x !== 0) || !samples.every(Number.isFinite)) throw new Error('no sound'); \
           window.mixed += 1; ended(); }}; \
         const even = (track) => {{ const s = (Math.imul(window.state[track] ?? 1 + track, 1664525) + 1013904223) >>> 0; window.state[track] = s; return s / 4294967296; }}; \
         window.listen = async () => {{ \
           const t = h.training, now = t.now(), m = t.session().task === 'two-or-one' ? 3 : 2; \
           const ms = Math.pow(2, now.level / 1e6), threshold = {threshold}; \
           await t.hear(); \
           const right = now.catch && threshold !== null || threshold !== null && ms >= threshold || even(now.track) < 1 / m; \
           t.answer(right ? now.asked : (now.asked % m) + 1); \
           window.seen.push(t.tracks().map((s) => [s.level, s.turns.length, s.trials])); }};",
        threshold = threshold.map_or("null".to_owned(), |t| t.to_string()),
    ));
}

/// The view that is open: `setup`, `trial`, `rest` or `done`.
fn view(browser: &Browser) -> String {
    let open = browser
        .js("return ['setup', 'trial', 'rest', 'done'].filter((id) => !document.getElementById(id).hidden).join()");
    open.as_str().expect("a name").to_owned()
}

fn begin(browser: &Browser, asked: &Asked) {
    browser.js(&format!(
        "document.querySelector('input[value=\"{}\"]').checked = true; \
         const set = (id, to) => {{ const e = document.getElementById(id); e.value = to; e.dispatchEvent(new Event('change')); }}; \
         set('rule', '{}'); set('tracks', '{}');",
        asked.task, asked.down, asked.tracks
    ));
    browser.click("begin");
    assert_eq!(view(browser), "trial");
    browser.click("skip");
}

/// Answers until a rest, or until it is over.
fn until_rest(browser: &Browser) -> String {
    browser.run(
        "while (!document.getElementById('trial').hidden && hitgap.training.now()) await window.listen(); return 0;",
    );
    view(browser)
}

/// Answers to the end, resting when told; how often.
fn to_the_end(browser: &Browser) -> usize {
    let mut rests = 0;
    while until_rest(browser) == "rest" {
        rests += 1;
        browser.click("go-on");
    }
    assert_eq!(view(browser), "done");
    rests
}

/// Saves as a hand does, and gives the file's text.
fn save(browser: &Browser) -> String {
    browser.js("window.blobs = []; const make = URL.createObjectURL.bind(URL); \
         URL.createObjectURL = (blob) => { window.blobs.push(blob); return make(blob); };");
    browser.click("save");
    browser.run("return await window.blobs[0].text()").as_str().expect("text").to_owned()
}

/// The session that the page holds, walked by the program: every level is what its staircases ask for, and after each answer
/// they stand where the page's stood.
fn walked(session: &Session, seen: &Value, from: usize) {
    let mut tracks: Vec<Staircase> = session.tracks().iter().map(|_| Staircase::new(session.settings)).collect();
    let seen = seen.as_array().expect("a list");
    assert_eq!(session.trials.len(), from + seen.len());
    for (n, trial) in session.trials.iter().enumerate() {
        let track = &mut tracks[trial.track as usize];
        let expected = if trial.catch { session.settings.ceiling } else { track.level() };
        assert_eq!(trial.level, expected, "trial {}", n + 1);
        if !trial.catch {
            track.answer(trial.right());
        }
        let ours: Vec<Value> = tracks.iter().map(|t| json!([t.level().0, t.turns().len(), t.trials()])).collect();
        if n >= from {
            assert_eq!(seen[n - from], json!(ours), "trial {}", n + 1);
        }
    }
}

#[test]
fn whole_sessions_of_every_task_are_walked_as_the_program_walks_them() {
    let Some(browser) = browser() else { return };
    let (folder, page) = page();
    browser.requests();
    for asked in [
        Asked { task: "two-or-one", down: 2, tracks: 1 },
        Asked { task: "which-first", down: 3, tracks: 2 },
        Asked { task: "tight-or-loose", down: 1, tracks: 2 },
    ] {
        let task = asked.task;
        browser.visit(&page);
        seat(&browser, Some(5.0));
        begin(&browser, &asked);
        // Up to the first rest; then the tab is closed, and in another the page offers to go on from the same place.
        assert_eq!(until_rest(&browser), "rest", "{task}");
        let before = browser.js(
            "return [hitgap.training.session(), hitgap.training.tracks(), window.seen, window.state, window.mixed]",
        );
        let first: Session =
            Session::parse(browser.js("return JSON.stringify(hitgap.training.record())").as_str().expect("text"))
                .expect("read");
        walked(&first, &before[2], 0);
        assert_eq!((&before[4], first.trials.len()), (&json!(20), 20));
        assert_eq!(browser.console(), Vec::<String>::new());
        browser.close_tab();
        browser.visit(&page);
        let offered = browser
            .js("return [document.getElementById('resume').textContent, document.getElementById('waiting').hidden]");
        assert_eq!(offered, json!([format!("Go on: {}, 20 answers", task.replace('-', " ")), false]));
        browser.js(&format!("window.state = {};", before[3]));
        seat(&browser, Some(5.0));
        browser.click("resume");
        let after = browser.js("return [hitgap.training.session(), hitgap.training.tracks()]");
        assert_eq!((&after[0], &after[1]), (&before[0], &before[1]), "{task}");
        let rests = to_the_end(&browser);
        let said = browser.js("return document.getElementById('outcome').textContent");
        assert!(said.as_str().expect("a sentence").starts_with("Your gap turned around "), "{said}");
        let text = save(&browser);
        let session = Session::parse(&text).expect("a session that is read");
        assert_eq!((session.task.name(), session.tempo_bpm, session.pattern.as_deref()), (task, 90.0, None));
        walked(&session, &browser.js("return window.seen"), 20);
        assert!(session.tracks().len() == asked.tracks as usize && session.tracks().iter().all(Staircase::done));
        assert_eq!(rests, (session.trials.len() - 21) / 20, "a rest after each twenty");
        assert!(session.trials.iter().any(|t| t.catch));
        // What is saved and over waits no longer.
        browser.click("again");
        assert_eq!(browser.js("return document.getElementById('resume').hidden"), true);
        // And the program finds the threshold: he hears all from 5 ms on and nothing below, so that the curve crosses any
        // target near there; steps are a third of an octave, hence within a third of it.
        let file = format!("{task}.json");
        std::fs::write(folder.path().join(&file), text).expect("written");
        let read: Value =
            serde_json::from_str(&hitgap(folder.path(), &["results", &file, "--format", "json"])).expect("JSON");
        let threshold = read["sessions"][0]["threshold_ms"].as_f64().expect("a threshold");
        assert!((3.6..6.9).contains(&threshold), "{task}: {threshold}");
        let told = hitgap(folder.path(), &["results", &file]);
        assert!(told.contains(&format!("threshold {threshold:.2} ms")), "{told}");
        assert_eq!(browser.console(), Vec::<String>::new());
    }
    // The newcomer's last steps: the threshold is kept, and a check judges by it.
    hitgap(folder.path(), &["results", "two-or-one.json", "--save", "ear.toml"]);
    let patch = concat!(env!("CARGO_MANIFEST_DIR"), "/patches/late-bell.toml");
    let checked = hitgap(folder.path(), &["check", patch, "--fix", "or-gate", "--ear", "ear.toml"]);
    assert!(
        checked.contains("is this listener's own threshold: two or one, kick and snare at 90, 80.35 % right"),
        "{checked}"
    );
    // The page's own address, each time it was opened, and what its own saving made; nothing went out.
    let asked = browser.requests();
    assert!(asked.len() >= 3 && asked.iter().all(|a| *a == url(&page) || a.starts_with("blob:")), "{asked:?}");
}

#[test]
fn who_guesses_gets_no_number() {
    let Some(browser) = browser() else { return };
    let (folder, page) = page();
    browser.visit(&page);
    seat(&browser, None);
    begin(&browser, &Asked { task: "two-or-one", down: 2, tracks: 1 });
    to_the_end(&browser);
    let said = browser.js("return document.getElementById('outcome').textContent");
    assert!(said.as_str().expect("a sentence").starts_with("No threshold yet"), "{said}");
    std::fs::write(folder.path().join("guess.json"), save(&browser)).expect("written");
    let told = hitgap(folder.path(), &["results", "guess.json", "--save", "ear.toml"]);
    assert!(told.contains("no threshold found"), "{told}");
    assert!(!folder.path().join("ear.toml").exists());
}

/// The table that the program's staircase is held against, in this browser.
#[test]
fn the_shared_table_is_walked() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    let table =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/ear/staircases.json")).expect("the table");
    let odd = browser.js(&format!(
        "const s = hitgap.staircase; return {table}.map((c) => {{ const w = s.begin(c.settings); const levels = [w.level]; \
           for (const a of c.answers) {{ s.answer(c.settings, w, a === '1'); levels.push(w.level); }} \
           const same = JSON.stringify([levels, w.turns, w.trials, s.done(c.settings, w)]) === JSON.stringify([c.levels, c.turns, c.trials, c.done]); \
           return same && Math.abs(s.target(c.settings) - c.target) < 1e-12; }})"
    ));
    let walked = odd.as_array().expect("cases");
    assert!(walked.len() == 60 && walked.iter().all(|w| w == true), "{odd}");
}

/// What stands in the browser's store may be anything: only a session that fits is offered.
#[test]
fn only_a_sound_session_is_gone_on_with() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    seat(&browser, Some(5.0));
    begin(&browser, &Asked { task: "two-or-one", down: 2, tracks: 1 });
    until_rest(&browser);
    let key = browser.js("return Object.keys(localStorage).find((k) => k.startsWith('hitgap-training'))");
    let good = browser.js(&format!("return localStorage.getItem({key})"));
    let good = good.as_str().expect("text");
    let swap = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}: {good}");
        good.replacen(from, to, 1)
    };
    for (text, offered) in [
        (good.to_owned(), true),
        (good[..good.len() - 3].to_owned(), false),
        ("null".into(), false),
        ("[]".into(), false),
        ("{\"task\":\"__proto__\",\"trials\":[{}],\"tracks\":1}".into(), false),
        (swap("two-or-one", "constructor"), false),
        (swap("\"tracks\":1", "\"tracks\":99999999"), false),
        (swap("5000000", "4999999"), false),
        (swap("\"trials\":[{", "\"trials\":[null,{"), false),
        (swap("\"down\":2", "\"down\":9"), false),
    ] {
        browser.js(&format!("localStorage.setItem({key}, {})", json!(text)));
        browser.visit(&page);
        assert_eq!(browser.js("return !document.getElementById('resume').hidden"), offered, "{text}");
        assert_eq!(browser.console(), Vec::<String>::new(), "{text}");
    }
}

#[test]
fn a_session_is_worked_by_keyboard_alone_with_its_own_sound() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    for scheme in ["light", "dark"] {
        browser.look(1280, scheme);
        assert_eq!(walk(&browser), names(&browser.js(CONTROLS)), "{scheme}");
    }
    to(&browser, "begin");
    browser.press(&[ENTER]);
    assert_eq!(browser.js(FOCUS)[0], "hear");
    // A trial of practice through the sound output; before it is over no figure answers.
    browser.press(&["p", "1"]);
    browser.until("return !document.getElementById('answer-1').disabled");
    assert_eq!(browser.js("return document.activeElement.id"), "question");
    // A Space too many answers nothing, nor does it play again.
    browser.press(&[" "]);
    assert_eq!(browser.js("return document.getElementById('answer-1').disabled"), false);
    assert!(
        browser
            .js("return document.getElementById('progress').textContent")
            .as_str()
            .expect("text")
            .contains("4 to go")
    );
    let trial = walk(&browser);
    assert_eq!(trial, names(&browser.js(CONTROLS)));
    browser.press(&["2"]);
    assert!(
        browser
            .js("return document.getElementById('progress').textContent")
            .as_str()
            .expect("text")
            .contains("3 to go")
    );
    assert_eq!(browser.js(FOCUS)[0], "hear");
    to(&browser, "skip");
    browser.press(&[ENTER]);
    assert_eq!(browser.js("return document.getElementById('skip').hidden"), true);
    // Who turns it down in between still plays by P and answers by figures.
    to(&browser, "level");
    browser.press(&["p"]);
    browser.until("return !document.getElementById('answer-1').disabled");
    to(&browser, "level");
    browser.press(&["3"]);
    assert_eq!(browser.js("return hitgap.training.session().trials.length"), 1);
    assert_eq!(browser.js("return hitgap.training.session().trials[0].answered"), 3);
    // To the rest, and on.
    seat(&browser, Some(5.0));
    assert_eq!(until_rest(&browser), "rest");
    assert_eq!(browser.js(FOCUS)[0], "go-on");
    browser.press(&[ENTER]);
    to(&browser, "stop");
    browser.press(&[ENTER]);
    assert_eq!(browser.js("return document.activeElement.id"), "outcome");
    let done = walk(&browser);
    assert!(["save", "more", "again"].iter().all(|c| done.contains(*c)), "{done:?}");
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// Setup, trial, rest and end, as wide as a phone and wider: nothing scrolls sideways, and the checker finds nothing serious.
#[test]
fn every_view_fits_and_can_be_read() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    let axe = checker();
    let mut rules = 0;
    let mut looked = |what: &str| {
        stays_within(&browser, what);
        texts_are_apart(&browser, what);
        for (width, scheme) in [(360, "light"), (1400, "dark")] {
            browser.look(width, scheme);
            if axe.is_some() {
                rules += check(&browser, &format!("{what} at {width}, {scheme}"));
            }
        }
    };
    browser.visit(&page);
    if let Some(axe) = &axe {
        browser.js(axe);
    }
    seat(&browser, Some(5.0));
    looked("setup");
    begin(&browser, &Asked { task: "which-first", down: 2, tracks: 2 });
    looked("trial");
    browser.run("await hitgap.training.hear(); return 0;");
    looked("answers");
    assert_eq!(until_rest(&browser), "rest");
    looked("rest");
    browser.click("rest-stop");
    looked("done");
    assert!(axe.is_none() || rules > 10 * 10, "{rules}");
}

#[test]
fn hostile_names_stay_text() {
    let Some(browser) = browser() else { return };
    let folder = TempDir::new().expect("a temporary folder");
    let click = || {
        let samples = (0..200).map(|n| if n == 100 { 0.5 } else { 0.0 }).collect();
        PageVoice::new(Master { samples, pre: 100 })
    };
    let breaking = "</script><script>window.brokenIn = true</script><img src=x onerror=\"window.brokenIn = true\">";
    for names in [[breaking, "' & {{script}} <!-- ]]>"], ["שלום", "مرحبا\u{202e} 🥁"], [&"x".repeat(300), "__proto__"]]
    {
        let page = TrainingPage {
            names: names.map(str::to_owned),
            voices: vec![click(), click()],
            places: [(0, 1.0), (1, 1.0)],
            tempo: Tempo::whole(90),
            bar: None,
            care: breaking.to_owned(),
        };
        let file = folder.path().join("hostile.html");
        std::fs::write(&file, training_page(&page)).expect("written");
        browser.visit(&file);
        seat(&browser, Some(5.0));
        begin(&browser, &Asked { task: "which-first", down: 2, tracks: 1 });
        browser.run("await hitgap.training.hear(); return 0;");
        let seen = browser.js(
            "return { broken: window.brokenIn === true, odd: document.querySelectorAll('img, iframe, object, embed, a[href]').length, \
             scripts: document.querySelectorAll('script').length, first: document.getElementById('answer-1').textContent }",
        );
        assert_eq!(seen, json!({ "broken": false, "odd": 0, "scripts": 2, "first": format!("1: {}", names[0]) }));
        stays_within(&browser, names[0]);
        assert_eq!(browser.console(), Vec::<String>::new());
    }
}

/// Two hits of an interval are one buffer, and as far apart in it as the level says: each voice alone through an offline
/// context, less the voice's own rise as the renderer writes it.
#[test]
fn a_step_of_the_ladder_is_as_wide_as_it_says() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    let masters = browser.js("return hitgap.data.masters");
    let rises: Vec<f64> = masters.as_array().expect("voices").iter().map(rise).collect();
    for (task, asked) in [("two-or-one", 1), ("which-first", 1), ("tight-or-loose", 1)] {
        for level in [-2_000_000, -450_000, 0, 1_451_200, 2_750_000, 4_451_200, 5_000_000, 7_000_000] {
            let level = Level(level);
            // Chance is held still: no roving, and the first voice first. Muted is what has the factor 0.
            let got = browser.run(&format!(
                "{SEND} const h = hitgap; const draw = h.chance.draw; h.chance.draw = (n) => Math.floor(n / 2); \
                 const gap = Math.pow(2, {level} / 1000000) / 1000, places = h.data.places, was = places.map((p) => p[1]); \
                 const through = async (muted) => {{ places.forEach((p, n) => {{ p[1] = n === muted ? 0 : was[n]; }}); \
                   const all = h.trial.samples('{task}', gap, {asked}); \
                   const on = new OfflineAudioContext(1, Math.round(0.6 * h.data.rate), h.data.rate); \
                   const buffer = on.createBuffer(1, all.length, h.data.rate); buffer.copyToChannel(all, 0); \
                   const source = on.createBufferSource(); source.buffer = buffer; source.connect(on.destination); source.start(); \
                   return (await on.startRendering()).getChannelData(0); }}; \
                 const [both, a, b] = [await through(-1), await through(1), await through(0)]; \
                 places.forEach((p, n) => {{ p[1] = was[n]; }}); h.chance.draw = draw; \
                 return {{ both: send(both), a: send(a), b: send(b) }};",
                level = level.0,
            ));
            let [both, a, b] = ["both", "a", "b"].map(|k| samples(&got[k]));
            let apart = (onset(&b) / 48.0 - rises[1]) - (onset(&a) / 48.0 - rises[0]);
            assert!((apart - level.ms()).abs() < 0.1, "{task} at {} ms: the page plays {apart} ms", level.ms());
            // What is heard is these two and nothing else, each by its own factor: least squares.
            let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
            let (aa, bb, ab, ya, yb) = (dot(&a, &a), dot(&b, &b), dot(&a, &b), dot(&both, &a), dot(&both, &b));
            let (p, q) = ((ya * bb - yb * ab) / (aa * bb - ab * ab), (yb * aa - ya * ab) / (aa * bb - ab * ab));
            let left =
                both.iter().zip(a.iter().zip(&b)).map(|(y, (a, b))| (y - p * a - q * b).abs()).fold(0.0, f64::max);
            let peak = both.iter().fold(0.0_f64, |m, y| m.max(y.abs()));
            // 32-bit samples.
            assert!(left < 1e-5 * peak, "{task} at {} ms: {left} of {peak}", level.ms());
        }
    }
}
