//! Ear training: the page's staircase against the program's, trial by trial, and a whole session in the page's own script.
//!
//! `tests/sound/staircases.json` is one table for both; `HITGAP_BLESS=1` writes it anew. The script runs under node where
//! there is one; without it those tests say so and pass.

use hitgap::ear::{Rule, Session, Settings, Staircase, Task, estimate};
use serde_json::{Value, json};
use std::process::{Command, Stdio};

const TABLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sound/staircases.json");

fn settings(s: &Settings) -> Value {
    json!({
        "down": s.rule.down(), "ratio": s.rule.ratio(), "start": s.start.0, "floor": s.floor.0, "ceiling": s.ceiling.0,
        "large_step": s.large_step, "small_step": s.small_step, "large_turns": s.large_reversals, "turns": s.reversals,
        "most_trials": s.most_trials,
    })
}

/// Answers by a small linear congruential generator, with one share of right ones or another.
fn cases() -> Value {
    let mut all = Vec::new();
    let mut state = 12_345_u32;
    for down in 1..=4 {
        let usual = Settings::usual(Rule::published(down).expect("rule"));
        let short = Settings { most_trials: 20, large_reversals: 0, reversals: 8, small_step: 50_000, ..usual };
        let weighted = Settings { rule: Rule::new(down, 3333).expect("rule"), ..usual };
        for settings_of in [usual, short, weighted] {
            for right_of_16 in [0, 8, 12, 14, 16] {
                let mut walked = Staircase::new(settings_of);
                let (mut answers, mut levels) = (String::new(), vec![walked.level().0]);
                // A few more than it takes: a staircase that has ended stays where it is.
                for _ in 0..settings_of.most_trials + 3 {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    let right = (state >> 28) < right_of_16;
                    answers.push(if right { '1' } else { '0' });
                    walked.answer(right);
                    levels.push(walked.level().0);
                }
                let turns: Vec<i32> = walked.reversals().iter().map(|l| l.0).collect();
                all.push(json!({
                    "settings": settings(&settings_of), "answers": answers, "levels": levels, "turns": turns,
                    "trials": walked.trials(), "done": walked.done(), "target": settings_of.rule.target(),
                }));
            }
        }
    }
    Value::Array(all)
}

/// What a script prints under node; `None` without node.
pub(super) fn node(script: &str) -> Option<String> {
    let mut child = match Command::new("node")
        .args(["--input-type=commonjs", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
    {
        Ok(child) => child,
        Err(_) => {
            println!("there is no node here: the page's script was not run");
            return None;
        }
    };
    std::io::Write::write_all(&mut child.stdin.take().expect("piped"), script.as_bytes()).expect("node reads");
    let out = child.wait_with_output().expect("node ends");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    Some(String::from_utf8(out.stdout).expect("text"))
}

/// A module of the page as a piece of one script: what it imports stands before it.
pub(super) fn part(name: &str) -> String {
    let path = format!("{}/src/show/page/parts/{name}.mjs", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("a part of the page");
    let own = text.lines().filter(|line| !line.starts_with("import "));
    own.map(|line| format!("{}\n", line.strip_prefix("export ").unwrap_or(line))).collect()
}

#[test]
fn the_program_walks_the_table() {
    let text = format!("{}\n", serde_json::to_string(&cases()).expect("json").replace("},{\"ans", "},\n{\"ans"));
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(TABLE, &text).expect("written");
    }
    assert_eq!(std::fs::read_to_string(TABLE).expect("the table"), text);
}

#[test]
fn the_page_walks_the_same_table_trial_by_trial() {
    let script = format!(
        "{}\nconst cases = JSON.parse(require('fs').readFileSync({}, 'utf8'));\n{}",
        part("staircase"),
        json!(TABLE),
        "let trials = 0;
        for (const c of cases) {
            const s = staircase.begin(c.settings);
            const levels = [s.level];
            for (const a of c.answers) { staircase.answer(c.settings, s, a === '1'); levels.push(s.level); trials += 1; }
            const same = JSON.stringify([levels, s.turns, s.trials, staircase.done(c.settings, s)]) === JSON.stringify([c.levels, c.turns, c.trials, c.done]);
            if (!same || Math.abs(staircase.target(c.settings) - c.target) > 1e-12) throw new Error(JSON.stringify(c));
        }
        console.log(trials);"
    );
    if let Some(said) = node(&script) {
        // 40 cases of the usual length, 20 short ones, three trials more each.
        assert_eq!(said.trim(), (40 * 123 + 20 * 23).to_string());
    }
}

/// The page's own script, with just enough of a browser around it: a listener who is right from 5 ms on answers a whole
/// session, and the program reads what is saved and finds his threshold.
#[test]
fn a_whole_session_in_the_pages_own_script_is_read() {
    let place = tempfile::tempdir().expect("a folder");
    let made = Command::new(env!("CARGO_BIN_EXE_hitgap"))
        .args(["train", "--voices", "kick,snare", "--tempo", "90", "--out"])
        .arg(place.path())
        .output()
        .expect("runs");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let page = std::fs::read_to_string(place.path().join("train.kick+snare.90bpm.html")).expect("the page");
    let data = page.split_once("id=\"data\">").expect("data").1.split_once("</script>").expect("ends").0;
    let script = page.rsplit_once("<script>").expect("script").1.split_once("</script>").expect("ends").0;
    for (task, rule, procedure) in [
        ("two-or-one", 2, "staircase"),
        ("which-first", 3, "staircase"),
        ("tight-or-loose", 1, "staircase"),
        ("two-or-one", 2, "psi"),
        ("which-first", 2, "psi"),
    ] {
        let stub = format!(
            "const elements = new Map();
            const make = () => ({{ addEventListener() {{}}, focus() {{}}, matches: () => false, setAttribute() {{}}, append() {{}}, replaceChildren() {{}}, querySelector: () => make(), closest: () => make(), clientWidth: 0, dataset: {{}}, style: {{}}, value: '', textContent: '', hidden: false, disabled: false, checked: true, max: 0 }});
            globalThis.document = {{ getElementById(id) {{ if (!elements.has(id)) elements.set(id, make()); return elements.get(id); }},
                querySelector: () => ({{ value: {task} }}), addEventListener() {{}}, createElementNS: () => make(), documentElement: {{ dataset: {{}} }} }};
            document.getElementById('data').textContent = {data};
            document.getElementById('level').value = '-30';
            document.getElementById('rule').value = '{rule}';
            document.getElementById('tracks').value = '2';
            (0, eval)({script});
            const h = globalThis.hitgap;
            h.level.confirm();
            // Silence: the samples are mixed, and end at once.
            let mixed = 0;
            h.output.play = async (samples, ended) => {{ mixed += 1; if (!samples.every(Number.isFinite) || !samples.some((x) => x !== 0)) throw new Error('no sound'); ended(); }};
            h.training.begin;
            (async () => {{
                document.getElementById('procedure').value = '{procedure}';
                h.training.begin();
                h.training.skip();
                let seed = 1;
                const even = () => {{ seed = (seed * 1103515245 + 12345) % 2147483648; return seed / 2147483648; }};
                const answers = {alternatives};
                for (let n = 0; n < 400 && document.getElementById('done').hidden !== false || n === 0; n += 1) {{
                    if (document.getElementById('rest').hidden === false && document.getElementById('trial').hidden) {{ h.training.resume; break; }}
                    const now = h.training.now();
                    if (!now) break;
                    const ms = Math.pow(2, now.level / 1e6);
                    await h.training.hear();
                    const right = ms >= 5 || even() < 1 / answers;
                    h.training.answer(right ? now.asked : (now.asked % answers) + 1);
                    if (document.getElementById('rest').hidden === false) rests += 1, goOn();
                }}
                console.log(JSON.stringify({{ record: h.training.record(), mixed, rests }}));
            }})();
            let rests = 0;
            function goOn() {{ clicks.get('go-on')(); }}",
            task = json!(task),
            data = json!(data),
            script = json!(script),
            alternatives = if task == "two-or-one" { 3 } else { 2 },
        );
        // What a click does is what the page attached.
        let stub = stub.replacen(
            "const make = () => ({ addEventListener() {},",
            "const clicks = new Map();\nconst make = (id) => ({ addEventListener(kind, act) { if (kind === 'click') clicks.set(id, act); },",
            1,
        );
        let stub = stub.replace("elements.set(id, make())", "elements.set(id, make(id))");
        let Some(said) = node(&stub) else { return };
        let said: Value = serde_json::from_str(&said).expect("json");
        let session = Session::parse(&said["record"].to_string()).expect("a session that is read");
        assert_eq!((session.task.name(), session.voices.len(), session.tempo_bpm), (task, 2, 90.0));
        match session.psi() {
            Some(psi) => assert!(procedure == "psi" && psi.done()),
            None => {
                assert_eq!(procedure, "staircase");
                assert!(session.tracks().iter().all(Staircase::done) && session.tracks().len() == 2);
            }
        }
        assert_eq!(said["mixed"], session.trials.len());
        // A rest after each twenty trials, unless it is over.
        assert_eq!(said["rests"], (session.trials.len() - 1) / 20);
        let estimate = estimate(&session, 0, 0);
        let at = estimate.threshold.expect("a threshold");
        // He hears all from 5 ms on and nothing below: wherever the target lies, the curve crosses it near 5 ms; steps are a
        // third of an octave.
        assert!((at - 5.0_f64.ln()).abs() < 0.35, "{task}: {at}");
        assert!(estimate.catch_trials.0 > 0 && estimate.catch_trials.1 == 0);
    }
}

/// Where hits of a trial lie: together or the gap apart, and every trial is equally long. The filters are those of BS.1770-5,
/// tables 1 and 2.
#[test]
fn trials_hold_the_gap_that_is_asked() {
    let script = format!(
        "const data = {{ tempo_bpm: 90, rate: 48000, headroom_db: 10, places: [[0, 1], [0, 0.8]], staircase: {{ floor: 0, ceiling: 5000000 }},
          k: [[1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585], [1, -2, 1, -1.99004745483398, 0.99007225036621]] }};
        {}{}
        const samples = new Float32Array(400); samples.fill(0.5, 40, 300);
        const voices = [{{ samples, pre: 40, delayed: new Map() }}];
        {}
        const trial = makeTrial(data, voices);
        const gaps = {{}};
        for (let n = 0; n < 40; n += 1) {{
            const two = trial.hits('two-or-one', 0.007, 1 + n % 3).placed.map(([a, b]) => b[0] - a[0]);
            two.forEach((gap, k) => {{ const want = k === n % 3 ? 0.007 : 0; if (Math.abs(Math.abs(gap) - want) > 1e-12) throw new Error(two); }});
            const [first] = trial.hits('which-first', 0.004, 1 + n % 2).placed;
            for (const k of [0, 2]) if (Math.abs(first[k + 1][0] - first[k][0] - (n % 2 ? -0.004 : 0.004)) > 1e-12) throw new Error(first);
            const bars = trial.hits('tight-or-loose', 0.003, 1 + n % 2).placed.map((bar) => [0, 2, 4, 6].map((k) => bar[k + 1][0] - bar[k][0]));
            bars.forEach((bar, k) => bar.forEach((gap) => {{ if (Math.abs(Math.abs(gap) - (k === n % 2 ? 0.003 : 0)) > 1e-12) throw new Error(bar); }}));
            const lengths = [1, 2, 3].map((asked) => trial.samples('two-or-one', 0.001 * (n + 1), asked).length);
            gaps[lengths.join()] = true;
        }}
        console.log(Object.keys(gaps).length);",
        part("engine"),
        part("chance"),
        part("trial"),
    );
    if let Some(said) = node(&script) {
        // Every trial is equally long.
        assert_eq!(said.trim(), "1");
    }
}

const PLACES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sound/places.json");

/// Where the voices stand in every interval of every trial: one table for the program and the page.
#[test]
fn the_program_and_the_page_move_voices_alike() {
    let mut rows = Vec::new();
    for (task, intervals) in [(Task::TwoOrOne, 3), (Task::WhichFirst, 1), (Task::TightOrLoose, 2)] {
        for asked in 1..=task.alternatives() {
            for interval in 1..=intervals {
                for early in [false, true] {
                    let at = task.offsets(asked, interval, early);
                    let row = json!({ "task": task, "asked": asked, "interval": interval, "early": early, "at": at });
                    rows.push(format!("{row}"));
                }
            }
        }
    }
    let text = format!("[\n{}\n]\n", rows.join(",\n"));
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(PLACES, &text).expect("written");
    }
    assert_eq!(std::fs::read_to_string(PLACES).expect("the table"), text);
    let script = format!(
        "const data = {{ tempo_bpm: 90, rate: 48000, places: [[0, 1], [0, 0.8]] }}, voices = [], engine = {{}};
        {}{}
        const trial = makeTrial(data, voices);
        const rows = JSON.parse(require('fs').readFileSync({}, 'utf8'));
        for (const r of rows) if (JSON.stringify(trial.stands(r.task, r.asked, r.interval, r.early)) !== JSON.stringify(r.at)) throw new Error(JSON.stringify(r));
        // And so it is in the hits: a coin says which way an interval goes.
        chance.draw = (n) => n === 2 ? coin : (n - 1) / 2;
        let coin = 0, hits = 0;
        for (const r of rows) {{
            coin = r.early ? 1 : 0;
            const gap = 0.032, own = trial.hits(r.task, gap, r.asked).placed[r.interval - 1];
            for (let n = 0; n < own.length; n += 2) {{
                const apart = own[n + 1][0] - own[n][0], wanted = (r.at[1] - r.at[0]) * gap / 2;
                if (Math.abs(apart - wanted) > 1e-12) throw new Error(JSON.stringify([r, own]));
                hits += 2;
            }}
        }}
        console.log(rows.length, hits);",
        part("chance"),
        part("trial"),
        json!(PLACES),
    );
    if let Some(said) = node(&script) {
        // 18 intervals of one pair, 4 of two and 8 of four; two hits a pair.
        assert_eq!(said.trim(), "30 116");
    }
}

/// What one voice does in a whole trial of the page, over all throws of the coins: the same list to the last bit whichever
/// answer is right, and in each bar exactly as even as the bar is written. For the plain bar and for one with hits due alone.
#[test]
fn one_voice_of_the_page_gives_nothing_away() {
    let own = json!({ "name": "own", "beats": 4, "hits": [[0, 0, 1], [0, 1, 0.7], [0.5, 1, 1], [1.75, 0, 1], [2, 0, 1], [2, 1, 1], [3.5, 1, 0.5]] });
    for bar in [Value::Null, own] {
        let script = format!(
            "const data = {{ tempo_bpm: 90, rate: 48000, places: [[0, 1], [1, 0.8]], bar: {bar} }}, voices = [], engine = {{}};
            {}{}
            const trial = makeTrial(data, voices);
            let coins = [];
            const rove = [311, 1999990, 77777];
            let roved = 0;
            chance.draw = (n) => n === 2 ? coins.shift() : rove[roved++ % rove.length];
            const seen = (task, intervals, asked, voice, gap) => {{
                const all = [];
                for (let c = 0; c < 2 ** intervals; c += 1) {{
                    coins = Array.from({{ length: intervals }}, (_, n) => (c >> n) & 1);
                    roved = 0;
                    const heard = trial.hits(task, gap, asked).placed.map((own) => own.filter((h) => h[1] === voice).map((h) => h[0]));
                    if (coins.length) throw new Error('a coin an interval');
                    if (task === 'tight-or-loose') for (const bar of heard) {{
                        const written = heard.flat().length / 2;
                        const beats = (data.bar ? data.bar.hits : [0, 1, 2, 3].map((k) => [k, voice])).filter((h) => h[1] === voice).map((h) => h[0]);
                        if (written !== beats.length) throw new Error('hits');
                        bar.forEach((at, n) => {{ if (Math.abs(at - bar[0] - (beats[n] - beats[0]) * 60 / 90) > 1e-12) throw new Error('uneven'); }});
                    }}
                    all.push(JSON.stringify(heard));
                }}
                return all.sort().join();
            }};
            for (const [task, intervals] of [['two-or-one', 3], ['tight-or-loose', 2]])
                for (const voice of [0, 1]) for (const gap of [0.002, 0.0317, 0.128])
                    for (let asked = 2; asked <= intervals; asked += 1)
                        if (seen(task, intervals, asked, voice, gap) !== seen(task, intervals, 1, voice, gap)) throw new Error(`${{task}} ${{voice}} ${{gap}}`);
            console.log('alike');",
            part("chance"),
            part("trial"),
        );
        if let Some(said) = node(&script) {
            assert_eq!(said.trim(), "alike");
        }
    }
}

/// Sessions of the simulated listener, through the program, to a number that `check` uses.
#[test]
fn all_tasks_have_names_that_files_use() {
    for task in Task::ALL {
        assert_eq!(serde_json::to_value(task).expect("json"), json!(task.name()));
    }
}
