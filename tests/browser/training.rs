//! Training: scripted listeners take whole sessions, and the program reads what they save.

use super::driver::{Browser, browser, url};
use hitgap::ear::{Procedure, Session, Staircase};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Runs the program in a folder.
pub(super) fn hitgap(folder: &Path, args: &[&str]) -> String {
    let out = Command::new(env!("CARGO_BIN_EXE_hitgap")).args(args).current_dir(folder).output().expect("starts");
    assert_eq!(out.status.code(), Some(0), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).expect("text")
}

/// A folder with the page that the command in docs/ear.md makes.
pub(super) fn page() -> (TempDir, PathBuf) {
    let folder = TempDir::new().expect("a temporary folder");
    hitgap(folder.path(), &["train", "--voices", "kick,snare", "--tempo", "90"]);
    let page = folder.path().join("out/train.kick+snare.90bpm.html");
    (folder, page)
}

/// What a session is begun with.
pub(super) struct Asked {
    pub(super) task: &'static str,
    /// Right answers for a step down.
    pub(super) down: u32,
    pub(super) tracks: u32,
}

/// A listener in the page: right from `threshold` on, guessing below, and a guesser altogether without one. Answers are drawn
/// track by track from a generator of its own, so that a session goes the same way every time. Sound ends at once. Each
/// trial leaves behind what the page made of it.
pub(super) fn seat(browser: &Browser, threshold: Option<f64>) {
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
           window.seen.push(t.tracks().map((s) => s.turns ? [s.level, s.turns.length, s.trials] : [s.level, s.trials, h.psi.width(s)])); }};",
        threshold = threshold.map_or("null".to_owned(), |t| t.to_string()),
    ));
}

/// The view that is open: `setup`, `trial`, `rest` or `done`.
pub(super) fn view(browser: &Browser) -> String {
    let open = browser
        .js("return ['setup', 'trial', 'rest', 'done'].filter((id) => !document.getElementById(id).hidden).join()");
    open.as_str().expect("a name").to_owned()
}

pub(super) fn begin(browser: &Browser, asked: &Asked) {
    browser.js(&format!(
        "document.querySelector('input[value=\"{}\"]').checked = true; \
         const set = (id, to) => {{ const e = document.getElementById(id); e.value = to; e.dispatchEvent(new Event('change')); }}; \
         set('procedure', 'staircase'); set('rule', '{}'); set('tracks', '{}');",
        asked.task, asked.down, asked.tracks
    ));
    browser.click("begin");
    assert_eq!(view(browser), "trial");
    browser.click("skip");
}

/// Answers until a rest, or until it is over.
pub(super) fn until_rest(browser: &Browser) -> String {
    browser.run(
        "while (!document.getElementById('trial').hidden && hitgap.training.now()) await window.listen(); return 0;",
    );
    view(browser)
}

/// Answers to the end, resting when told; how often.
pub(super) fn to_the_end(browser: &Browser) -> usize {
    let mut rests = 0;
    while until_rest(browser) == "rest" {
        rests += 1;
        browser.click("go-on");
    }
    assert_eq!(view(browser), "done");
    rests
}

/// Saves as a hand does, and gives the file's text.
pub(super) fn save(browser: &Browser) -> String {
    browser.js("window.blobs = []; const make = URL.createObjectURL.bind(URL); \
         URL.createObjectURL = (blob) => { window.blobs.push(blob); return make(blob); };");
    browser.click("save");
    browser.run("return await window.blobs[0].text()").as_str().expect("text").to_owned()
}

/// The session that the page holds, walked by the program: every level is what its staircases ask for, and after each answer
/// they stand where the page's stood.
fn walked(session: &Session, seen: &Value, from: usize) {
    let Procedure::Staircase(settings) = session.procedure else { panic!("a session of staircases") };
    let mut tracks: Vec<Staircase> = session.tracks().iter().map(|_| Staircase::new(settings)).collect();
    let seen = seen.as_array().expect("a list");
    assert_eq!(session.trials.len(), from + seen.len());
    for (n, trial) in session.trials.iter().enumerate() {
        let track = &mut tracks[trial.track as usize];
        let expected = if trial.catch { settings.ceiling } else { track.level() };
        assert_eq!(trial.level, expected, "trial {}", n + 1);
        if !trial.catch {
            track.answer(trial.right());
        }
        let ours: Vec<Value> = tracks.iter().map(|t| json!([t.level().0, t.reversals().len(), t.trials()])).collect();
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
        let said = said.as_str().expect("a sentence").to_owned();
        let begins = match task {
            "two-or-one" => "You hear a gap of about ",
            "which-first" => "You hear who comes first from about ",
            _ => "You hear a bar as loose from about ",
        };
        assert!(said.starts_with(begins) && said.ends_with(", kick and snare at 90."), "{said}");
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
        // The page says the same of it, in the same words, and with the same ends: figures in a sentence have a place or two.
        let told = hitgap(folder.path(), &["results", &file, "--quiet"]);
        let figures = |text: &str| -> Vec<f64> {
            text.split(|c: char| !c.is_ascii_digit() && c != '.')
                .filter_map(|n| n.trim_end_matches('.').parse().ok())
                .collect()
        };
        let words = |text: &str| text.trim_end().replace(|c: char| c.is_ascii_digit() || c == '.', "");
        assert_eq!(words(&said), words(&told));
        let (page, program) = (figures(&said), figures(&told));
        assert!(page.len() == 4 && (page[0] - threshold).abs() < 0.06, "{said} {threshold}");
        assert!(
            page.iter().zip(&program).all(|(a, b)| (a - b).abs() <= if *b < 2.9 { 0.11 } else { 1.01 }),
            "{said} {told}"
        );
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
    assert!(told.contains("No threshold found"), "{told}");
    assert!(!folder.path().join("ear.toml").exists());
}

/// The table that the program's staircase is held against, in this browser.
#[test]
fn the_shared_table_is_walked() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    let table = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sound/staircases.json"))
        .expect("the table");
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
    // Tight or loose of an older page had another bar: it is not gone on with; the other tasks are as they were.
    browser.js(&format!("localStorage.removeItem({key})"));
    let older = |text: &str| {
        assert!(text.contains("\"format\":2,"), "{text}");
        text.replacen("\"format\":2,", "", 1)
    };
    for task in ["tight-or-loose", "which-first"] {
        browser.visit(&page);
        seat(&browser, Some(5.0));
        begin(&browser, &Asked { task, down: 2, tracks: 1 });
        until_rest(&browser);
        let kept = browser.js(&format!("return localStorage.getItem({key})"));
        let kept = kept.as_str().expect("text");
        for (text, offered) in [(kept.to_owned(), true), (older(kept), task == "which-first")] {
            browser.js(&format!("localStorage.setItem({key}, {})", json!(text)));
            browser.visit(&page);
            assert_eq!(browser.js("return !document.getElementById('resume').hidden"), offered, "{text}");
        }
    }
}
