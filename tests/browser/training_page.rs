//! The training page itself: worked by keyboard, as wide as a phone, with names that mean mischief, and what it plays.

use super::access::{FOCUS, check, checker, to};
use super::driver::{ENTER, browser};
use super::hostile::{stays_within, texts_are_apart};
use super::plays::{SEND, onset, rise, samples};
use super::training::{Asked, begin, page, seat, until_rest};
use hitgap::ear::Level;
use hitgap::show::page::{PageVoice, TrainingPage, training_page};
use hitgap::sound::render::Master;
use hitgap::time::Tempo;
use serde_json::json;
use tempfile::TempDir;

#[test]
fn letters_and_figures_work_a_session_with_its_own_sound() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
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
    assert_eq!(browser.console(), Vec::<String>::new());
}

/// What to do, the three choices and the button to begin are seen at once, on a desk and on a phone.
#[test]
fn all_that_begins_is_above_the_fold() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    for (width, height) in [(1280, 900), (390, 844)] {
        browser.look(width, "light");
        let below = browser.js(
            "return ['h1', '.lead', '#begin', '.cards label:nth-child(1)', '.cards label:nth-child(2)', '.cards label:nth-child(3)'] \
             .map((at) => document.querySelector(at).getBoundingClientRect().bottom)",
        );
        let below: Vec<f64> = below.as_array().expect("places").iter().filter_map(serde_json::Value::as_f64).collect();
        assert!(below.len() == 6 && below.iter().all(|b| *b > 0.0 && *b < f64::from(height)), "{width}: {below:?}");
    }
}

/// The button that was pressed says how it was, what comes next is said, and the trace has a mark an answer: full where it was right.
#[test]
fn an_answer_is_told_where_it_was_given() {
    let Some(browser) = browser() else { return };
    let (_folder, page) = page();
    browser.visit(&page);
    seat(&browser, Some(5.0));
    begin(&browser, &Asked { task: "two-or-one", down: 1, tracks: 1 });
    let answer = |right: bool| {
        browser.run("await hitgap.training.hear(); return 0;");
        browser.js(&format!(
            "const t = hitgap.training, asked = t.now().asked, pressed = {right} ? asked : asked % 3 + 1; t.answer(pressed); \
             const text = (at) => document.querySelector(at).textContent; \
             const marks = (kind) => document.querySelectorAll(`#trace .${{kind}}:not(text)`).length; \
             return [asked, text(`#answer-${{pressed}} .told`), text('#said'), marks('right'), marks('wrong'), text('#progress'), \
               document.querySelectorAll('.answers [data-right]').length];"
        ))
    };
    let right = answer(true);
    assert_eq!(right[1], "right: 32 ms apart");
    assert_eq!(right[2], "right: 32 ms apart; smaller now");
    // By hand: one right answer is 0.2845 of an octave down, 26.3 ms.
    assert!(right[5].as_str().is_some_and(|p| p.starts_with("Your gap is now 26 ms. Best so far: 32 ms. ")), "{right}");
    assert_eq!([&right[3], &right[4], &right[6]], [1, 0, 1]);
    let wrong = answer(false);
    let ordinal = ["first", "second", "third"][wrong[0].as_u64().expect("a number") as usize - 1];
    assert_eq!(wrong[1], format!("no: it was the {ordinal}"));
    assert_eq!(wrong[2], format!("no: it was the {ordinal}; wider again"));
    assert_eq!([&wrong[3], &wrong[4], &wrong[6]], [1, 1, 1]);
    // What was said stays until the next is heard.
    browser.run("await hitgap.training.hear(); return 0;");
    assert_eq!(browser.js("return document.querySelectorAll('.answers [data-right]').length"), 0);
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
            sounds: [None, None],
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

/// Less what chance adds, every interval is equally loud whatever its gap, as a library of BS.1770 hears it, and with all that
/// chance can add no peak between samples is nearer to full scale than 10 dB, before the one factor of the level: for like and unlike
/// voices, in every task.
#[test]
fn no_trial_is_louder_for_its_gap_and_all_leave_headroom() {
    let Some(browser) = browser() else { return };
    for voices in ["kick,snare", "snare,snare", "kick,kick", "hat,click"] {
        let folder = TempDir::new().expect("a temporary folder");
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_hitgap"))
            .args(["train", "--voices", voices, "--tempo", "90"])
            .current_dir(folder.path())
            .output()
            .expect("starts");
        assert!(out.status.success());
        browser.visit(&folder.path().join(format!("out/train.{}.90bpm.html", voices.replace(',', "+"))));
        for (task, intervals) in [("two-or-one", 3), ("which-first", 1), ("tight-or-loose", 2)] {
            let mut energies: Vec<f64> = Vec::new();
            for level in [-2_000_000, -450_000, 700_000, 1_655_000, 2_321_900, 3_300_000, 4_451_200, 7_000_000] {
                // Chance is held still in the middle for energies, and at its top for peaks: there all intervals are 3 dB up.
                let got = browser.run(&format!(
                    "{SEND} const h = hitgap, draw = h.chance.draw, gap = Math.pow(2, {level} / 1000000) / 1000; \
                     const held = (share) => {{ h.chance.draw = (n) => Math.min(n - 1, Math.floor(n * share)); \
                       const all = h.trial.samples('{task}', gap, 1); h.chance.draw = draw; return send(all); }}; \
                     return {{ even: held(0.5), most: held(1)}};"
                ));
                let [even, most] = ["even", "most"].map(|k| samples(&got[k]));
                let mut meter = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::TRUE_PEAK).expect("a meter");
                meter.add_frames_f64(&most).expect("frames");
                let peak = 20.0 * meter.true_peak(0).expect("a peak").log10();
                // Gaps are looked at in steps of a sixth of an octave, and peaks at samples: a tenth or two are between.
                assert!(peak < -9.5, "{voices}, {task} at {level}: {peak:.2} dBTP");
                assert!(peak > -20.0, "{voices}, {task} at {level}: {peak:.2} dBTP is too careful");
                // All intervals together: each has the same energy, so all gaps must give one figure.
                let mut energy = 0.0;
                let mut meter = ebur128::EbuR128::new(1, 48_000, ebur128::Mode::M).expect("a meter");
                let windows = even.len().div_ceil(19_200) * 19_200;
                for window in [even, vec![0.0; 19_200]].concat()[..windows].chunks(19_200) {
                    meter.add_frames_f64(window).expect("frames");
                    energy += 10_f64.powf(meter.loudness_momentary().expect("a loudness") / 10.0);
                }
                energies.push(10.0 * (energy / f64::from(intervals)).log10());
            }
            // Tails run into the next interval, at another place for every gap.
            assert!(energies.iter().all(|e| (e - energies[0]).abs() < 0.15), "{voices}, {task}: {energies:.2?}");
        }
        assert_eq!(browser.console(), Vec::<String>::new());
    }
}
