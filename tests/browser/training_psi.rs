//! Training where each gap is asked for where the answer tells most: whole sessions on the page, and the program reads what they save.

use super::driver::{Browser, browser};
use super::training::{hitgap, page, save, seat, to_the_end, until_rest, view};
use hitgap::ear::{Psi, Session};
use serde_json::{Value, json};

/// A session as it is offered: nothing is chosen but the task.
fn begin(browser: &Browser, task: &str) {
    browser.js(&format!("document.querySelector('input[value=\"{task}\"]').checked = true;"));
    browser.click("begin");
    assert_eq!(view(browser), "trial");
    browser.click("skip");
}

fn text(browser: &Browser, id: &str) -> String {
    let said = browser.js(&format!("return document.getElementById('{id}').textContent"));
    said.as_str().expect("text").to_owned()
}

/// After each answer the page's next level and width are the program's.
fn walked(session: &Session, seen: &Value, from: usize) -> Psi {
    let hitgap::ear::Procedure::Psi(settings) = session.procedure else { panic!("a session of another procedure") };
    let mut psi = Psi::new(settings, session.task.guess_rate()).expect("reached");
    let seen = seen.as_array().expect("a list");
    assert_eq!(session.trials.len(), from + seen.len());
    for (n, trial) in session.trials.iter().enumerate() {
        assert_eq!(trial.level, if trial.catch { settings.ceiling } else { psi.level() }, "trial {}", n + 1);
        psi.answer(trial.level, trial.right());
        if n >= from {
            let [level, trials, width] = [0, 1, 2].map(|k| seen[n - from][0][k].as_f64().expect("a number"));
            assert_eq!((level, trials), (f64::from(psi.level().0), f64::from(psi.trials())), "trial {}", n + 1);
            // The same bits, but for the reading of a decimal.
            assert!((width / psi.width() - 1.0).abs() < 1e-12, "trial {}: {width} {}", n + 1, psi.width());
        }
    }
    psi
}

#[test]
fn whole_sessions_are_asked_as_the_program_asks() {
    let Some(browser) = browser() else { return };
    let (folder, page) = page();
    for (task, least) in [("two-or-one", 40), ("which-first", 40)] {
        browser.visit(&page);
        assert_eq!(
            browser.js("return [document.getElementById('procedure').value, document.getElementById('rule').disabled]"),
            json!(["psi", true])
        );
        seat(&browser, Some(5.0));
        begin(&browser, task);
        assert_eq!(until_rest(&browser), "rest");
        // It says how much longer it takes, and how wide the interval is as soon as it can be told from guessing.
        let progress = text(&browser, "progress");
        let wide = progress.contains("So far it is ") && progress.contains(" wide. ");
        assert!(progress.contains(" It takes ") && (wide || progress.starts_with("Your gap is now ")), "{progress}");
        assert!(
            text(&browser, "behind").contains("to within × 1.6, and after 120 in any case."),
            "{}",
            text(&browser, "behind")
        );
        let before = browser.js("return [hitgap.training.session(), window.seen, window.state]");
        let record = browser.js("return JSON.stringify(hitgap.training.record())");
        walked(&Session::parse(record.as_str().expect("text")).expect("read"), &before[1], 0);
        // Another tab goes on from the same place.
        browser.close_tab();
        browser.visit(&page);
        browser.js(&format!("window.state = {};", before[2]));
        seat(&browser, Some(5.0));
        browser.click("resume");
        assert_eq!(browser.js("return hitgap.training.session()"), before[0]);
        to_the_end(&browser);
        let said = text(&browser, "outcome");
        let saved = save(&browser);
        let session = Session::parse(&saved).expect("a session that is read");
        let psi = walked(&session, &browser.js("return window.seen"), 20);
        assert!(psi.done() && session.trials.len() >= least && session.trials.len() < 120, "{}", session.trials.len());
        assert_eq!(session.trials.iter().filter(|t| t.catch).count(), session.trials.len() / 20);
        // The program says the same in the same words: figures to one place, by the browser's own power of two.
        let file = format!("{task}.json");
        std::fs::write(folder.path().join(&file), saved).expect("written");
        assert_eq!(said, hitgap(folder.path(), &["results", &file, "--quiet"]).trim_end());
        let read: Value =
            serde_json::from_str(&hitgap(folder.path(), &["results", &file, "--format", "json"])).expect("JSON");
        let threshold = read["sessions"][0]["threshold_ms"].as_f64().expect("a threshold");
        // He hears all from 5 ms on and nothing below; the steepest curve looked for falls from 95 to 50 % over a factor of 1.4.
        assert!((4.0..6.5).contains(&threshold), "{task}: {threshold}");
        assert_eq!(browser.console(), Vec::<String>::new());
    }
    // Two sessions of one task and sounds add up in the ear file.
    let again = std::fs::read_to_string(folder.path().join("two-or-one.json")).expect("written");
    let at = again.find("\"saved\"").expect("a date");
    let again = format!("{}\"saved\": \"another day\",{}", &again[..at], again[at..].split_once(',').expect("more").1);
    std::fs::write(folder.path().join("again.json"), again).expect("written");
    let told = hitgap(folder.path(), &["results", "two-or-one.json", "again.json", "--save", "ear.toml"]);
    assert!(told.contains("The 2 sessions of two or one, kick and snare at 90 agree"), "{told}");
    let patch = concat!(env!("CARGO_MANIFEST_DIR"), "/patches/late-bell.toml");
    let checked = hitgap(folder.path(), &["check", patch, "--fix", "or-gate", "--ear", "ear.toml"]);
    assert!(checked.contains("trials of 2 sessions that agree"), "{checked}");
}

#[test]
fn who_guesses_gets_no_number_and_only_a_sound_session_is_gone_on_with() {
    let Some(browser) = browser() else { return };
    let (folder, page) = page();
    browser.visit(&page);
    seat(&browser, None);
    begin(&browser, "two-or-one");
    until_rest(&browser);
    let key = browser.js("return Object.keys(localStorage).find((k) => k.startsWith('hitgap-training'))");
    let good = browser.js(&format!("return localStorage.getItem({key})"));
    let good = good.as_str().expect("text").to_owned();
    browser.click("go-on");
    to_the_end(&browser);
    assert!(text(&browser, "outcome").starts_with("No threshold yet"), "{}", text(&browser, "outcome"));
    std::fs::write(folder.path().join("guess.json"), save(&browser)).expect("written");
    let told = hitgap(folder.path(), &["results", "guess.json", "--save", "ear.toml"]);
    assert!(told.contains("No threshold found") && !folder.path().join("ear.toml").exists(), "{told}");
    for (from, to, offered) in [
        ("", "", true),
        ("\"narrow\":678072", "\"narrow\":678073", false),
        ("\"format\":3", "\"format\":2", false),
        ("\"tracks\":1", "\"tracks\":2", false),
        ("\"psi\":{", "\"staircase\":{},\"psi\":{", false),
        ("\"trials\":[{", "\"trials\":[null,{", false),
    ] {
        assert!(good.contains(from), "{from}: {good}");
        let kept = json!(good.replacen(from, to, 1));
        browser.js(&format!("localStorage.setItem({key}, {kept})"));
        browser.visit(&page);
        assert_eq!(browser.js("return !document.getElementById('resume').hidden"), offered, "{from}");
        assert_eq!(browser.console(), Vec::<String>::new(), "{from}");
    }
}
