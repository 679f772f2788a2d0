//! Gaps that are asked for where an answer tells most: the page's choice against the program's, trial by trial, to the last bit.
//!
//! `tests/sound/psi.json` is one table for both, from answers to the level that comes next; `HITGAP_BLESS=1` writes it anew.

use super::ear::{node, part};
use hitgap::ear::{Level, Posterior, Psi, PsiSettings, Task};
use serde_json::{Value, json};

const TABLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sound/psi.json");

/// Answers by a small linear congruential generator: of listeners who are right from a level on, of some who lapse, and of one who guesses.
fn cases() -> Value {
    let mut all = Vec::new();
    let mut state = 12_345_u32;
    let mut even = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1_u32 << 24)
    };
    let usual = PsiSettings::usual();
    let short = PsiSettings {
        floor: Level(0),
        ceiling: Level(6_000_000),
        target: 7500,
        narrow: 2_000_000,
        least_trials: 10,
        most_trials: 30,
        ..usual
    };
    for task in [Task::TwoOrOne, Task::WhichFirst] {
        for settings in [usual, short] {
            for (from, lapse) in [(0, 0.0), (2_300_000, 0.0), (2_300_000, 0.1), (5_900_000, 0.0), (i32::MAX, 0.0)] {
                let guess = task.guess_rate();
                let mut psi = Psi::new(settings, guess).expect("reached");
                let (mut answers, mut levels) = (String::new(), vec![psi.level().0]);
                for n in 1..=settings.most_trials {
                    // Each eleventh is a plain one.
                    let level = if n % 11 == 0 { settings.ceiling } else { psi.level() };
                    let right = if level.0 >= from { even() >= lapse } else { even() < guess };
                    answers.push(if right { '1' } else { '0' });
                    psi.answer(level, right);
                    levels.push(psi.level().0);
                }
                let [low, high] = psi.posterior().between();
                all.push(json!({
                    "settings": settings, "guess": task.alternatives(), "answers": answers, "levels": levels, "done": psi.done(),
                    "low": low.to_bits().to_string(), "high": high.to_bits().to_string(),
                    "middle": psi.posterior().quantile(0.5).to_bits().to_string(),
                    "against_guessing": psi.posterior().against_guessing().to_bits().to_string(),
                }));
            }
        }
    }
    Value::Array(all)
}

#[test]
fn the_program_asks_as_the_table_says() {
    let text = format!("{}\n", serde_json::to_string(&cases()).expect("json").replace("},{\"ag", "},\n{\"ag"));
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(TABLE, &text).expect("written");
    }
    assert_eq!(std::fs::read_to_string(TABLE).expect("the table"), text);
}

/// The page's own script: every level, and the bits of the interval, the middle and the evidence.
#[test]
fn the_page_asks_as_the_table_says() {
    let script = format!(
        "{}{}\nconst cases = JSON.parse(require('fs').readFileSync({}, 'utf8'));\n{}",
        part("posterior"),
        part("psi"),
        json!(TABLE),
        "const bits = (x) => new BigUint64Array(new Float64Array([x]).buffer)[0].toString();
        let trials = 0;
        for (const c of cases) {
            const s = psi.begin(c.settings, 1 / c.guess), levels = [s.level];
            for (const [n, a] of [...c.answers].entries()) {
                psi.answer(c.settings, s, (n + 1) % 11 === 0 ? c.settings.ceiling : s.level, a === '1');
                levels.push(s.level);
                trials += 1;
            }
            const [low, high] = posterior.between(s.likely);
            const own = [levels, psi.done(c.settings, s), ...[low, high, posterior.quantile(s.likely, 0.5), s.likely.against].map(bits)];
            const theirs = [c.levels, c.done, c.low, c.high, c.middle, c.against_guessing];
            if (JSON.stringify(own) !== JSON.stringify(theirs)) throw new Error(JSON.stringify([own, theirs]));
        }
        console.log(trials);"
    );
    if let Some(said) = node(&script) {
        assert_eq!(said.trim(), (10 * 120 + 10 * 30).to_string());
    }
}

/// An independent implementation of the method, on the same answers: mean and standard deviation of the threshold's logarithm, geometric mean
/// of the slope and mean of the lapse rate, for rows 2, 3, 6 and 12 of the table.
///
/// The figures are from the Python package questplus 2023.1 (PyPI), with the same grid and prior and a table of likelihoods of SciPy's
/// `expit` and `logit`; outside of this project, to twelve digits.
#[test]
fn another_implementation_finds_the_same_likely() {
    let table: Value = serde_json::from_str(&std::fs::read_to_string(TABLE).expect("the table")).expect("JSON");
    for (row, theirs) in [
        (2, [1.62121978066, 0.0507386488578, 8.74802232882, 0.0250311330657]),
        (3, [4.08894733831, 0.0239032633651, 10.3019335329, 0.0113903337115]),
        (6, [1.55493732717, 0.323580936545, 3.23741410246, 0.0210601965355]),
        (12, [2.25407692505, 0.386339776534, 1.28313269929, 0.0259836581553]),
    ] {
        let case = &table[row];
        let settings: PsiSettings = serde_json::from_value(case["settings"].clone()).expect("settings");
        let guess_rate = 1.0 / case["guess"].as_f64().expect("alternatives");
        let mut posterior = Posterior::new(guess_rate, settings.share()).expect("reached");
        for (n, answer) in case["answers"].as_str().expect("answers").chars().enumerate() {
            let asked = Level(case["levels"][n].as_i64().expect("a level") as i32);
            posterior.answer(if (n + 1) % 11 == 0 { settings.ceiling } else { asked }, answer == '1');
        }
        let ((mean, sd), (slope, lapse_rate)) = (posterior.ln_moments(), posterior.slope_and_lapse_rate());
        for (own, other) in [mean, sd, slope, lapse_rate].into_iter().zip(theirs) {
            // Twelve digits, and variances are differences of squares.
            assert!((own / other - 1.0).abs() < 1e-9, "row {row}: {own} {other}");
        }
    }
}
