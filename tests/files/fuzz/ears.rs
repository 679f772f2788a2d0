//! What listeners save: sessions, blind tests, a class and its key, ear files.

use super::edits::{edited, examples, noise};
use super::{cases, is_plain};
use hitgap::ear::{
    BlindTest, Class, Conditions, EarFile, Key, Listener, PsychometricFunction, Rule, Session, Settings, Shape, Task,
    estimate, kind,
};
use hitgap::show::report::{Detail, Trained, training_json, training_table};
use proptest::prelude::*;

/// A place within the text or just behind it.
fn within(text: &str, line: usize, column: usize) {
    let lines = text.matches('\n').count() + 1;
    assert!((1..=lines + 1).contains(&line), "line {line} of {lines}");
    let longest = text.split('\n').map(str::len).max().unwrap_or(0);
    assert!(column <= longest + 1, "column {column} of {longest}");
}

pub(crate) fn read_session(text: &str) {
    match Session::parse(text) {
        Err(error) => {
            within(text, error.line, error.column);
            assert!(!error.what.is_empty());
        }
        Ok(session) => {
            assert_eq!(Session::parse(&session.to_json()).as_ref(), Ok(&session), "what is written is read again");
            let trained = [Trained { name: "a.json".to_owned(), estimate: estimate(&session, 3, 1), session }];
            for detail in [Detail::Quiet, Detail::Usual, Detail::Full] {
                is_plain(&training_table(&trained, detail));
            }
            serde_json::to_string(&training_json(&trained)).expect("JSON");
        }
    }
}

pub(crate) fn read_blind(text: &str) {
    for error in [kind(text).err(), BlindTest::parse(text).err()].into_iter().flatten() {
        is_plain(&error.to_string());
        assert!(error.what.chars().count() <= 201, "{}", error.what);
        within(text, error.line, error.column);
    }
    if let Ok(test) = BlindTest::parse(text) {
        let guessing = test.guessing();
        assert!((0.0..=1.0).contains(&guessing.p()) && test.right() as usize <= test.trials.len());
        is_plain(&guessing.sentence(test.tests));
        if let Some(name) = &test.listener {
            is_plain(name);
            assert!((1..=64).contains(&name.chars().count()), "{name}");
        }
        let (share, [low, high]) = test.share();
        assert!(low <= share && share <= high);
    }
}

pub(crate) fn read_key(text: &str) {
    match Key::parse(text) {
        Err(error) => within(text, error.line, error.column),
        Ok(key) => assert_eq!(Key::parse(&key.to_json()).as_ref(), Ok(&key)),
    }
}

pub(crate) fn read_class(text: &str) {
    let key = Key::draw(20, vec!["kick".into(), "snare".into()], 90.0, 7);
    match Class::parse(&key, text) {
        Err(error) => {
            is_plain(&error.to_string());
            within(text, error.line as usize, 0);
        }
        Ok(class) => {
            assert!(class.answers.iter().all(|a| a.len() == 20) && class.answers.len() == class.students.len());
            for answers in &class.answers {
                let (right, of) = key.mark(answers);
                assert!(right <= of && of <= 20);
            }
            let points = key.points(&class.answers);
            let fitted = hitgap::ear::fit(Shape::Logistic, 1.0 / 3.0, &points);
            assert!(fitted.is_none_or(|f| f.curve.threshold_ms() > 0.0));
        }
    }
}

pub(crate) fn read_ear(text: &str) {
    if let Ok(ear) = EarFile::parse(text) {
        let again = EarFile::parse(&ear.to_toml());
        assert!(again.is_ok(), "{again:?}");
        let voices = ["kick".to_owned(), "hat".to_owned()];
        let near = ear.nearest(Task::TwoOrOne, &Conditions { voices: &voices, sounds: &[], tempo_bpm: 120.0 });
        assert_eq!(near.is_some(), ear.thresholds.iter().any(|e| e.task == Task::TwoOrOne));
    }
}

/// Sessions of simulated listeners, for each task.
fn sessions() -> Vec<String> {
    let mut all = examples("patches", "wren-listens.json");
    for task in [Task::TwoOrOne, Task::WhichFirst] {
        let settings = Settings::usual(Rule::published(2).expect("a rule"));
        let guess = task.guess_rate();
        let curve = PsychometricFunction {
            shape: Shape::Weibull,
            ln_threshold: 1.8,
            slope: 2.0,
            guess_rate: guess,
            lapse_rate: 0.0,
        };
        let trials = Listener::new(curve, 7).session(task, &settings, 10);
        let voices = vec!["kick".to_owned(), "snare".to_owned()];
        all.push(
            Session {
                task,
                voices,
                sounds: Vec::new(),
                tempo_bpm: 90.0,
                settings,
                trials,
                saved: "2026-05-04".into(),
                pattern: None,
                each_even: true,
            }
            .to_json(),
        );
    }
    all
}

fn blinds() -> Vec<String> {
    let trial = "{\"x\":\"a\",\"answer\":\"b\",\"heard\":{\"a\":1,\"b\":2,\"x\":1}}";
    vec![format!(
        "{{\n \"hitgap\": \"blind-test\", \"format\": 1, \"patch\": \"late-bell\", \"title\": \"The late bell\",\n \"tempo_bpm\": 120,\n \
         \"a\": {{\"variant\": \"original\", \"gap_ms\": 24}}, \"b\": {{\"variant\": \"phase\", \"gap_ms\": null}},\n \"trials\": [{}],\n \
         \"right\": 0, \"of\": 9, \"p\": 1, \"saved\": \"2026-05-04T10:00:00Z\", \"listener\": \"Zoë 7\"}}\n",
        [trial; 9].join(",\n")
    )]
}

fn ear_files() -> Vec<String> {
    let one = "[[threshold]]\ntask = \"two-or-one\"\nvoices = [\"kick\", \"snare\"]\ntempo-bpm = 90.0\ngap-ms = 6.80\n\
               between-ms = [3.97, 8.69]\nshare = 0.8035\ntrials = 73\nsaved = \"2026-05-04\"\n";
    vec![format!("format = 1\n\n{one}\n{}", one.replace("90.0", "120.5"))]
}

fn classes() -> Vec<String> {
    let rows: String = (1..=20).map(|n| format!("{n},{},{},\n", n % 3 + 1, (n + 1) % 3 + 1)).collect();
    vec![format!("trial,ox,wren,moth\n{rows}")]
}

proptest! {
    #![proptest_config(cases(128))]

    #[test]
    fn edited_sessions_are_answered(text in edited(sessions())) {
        read_session(&text);
    }

    #[test]
    fn edited_blind_tests_are_answered(text in edited(blinds())) {
        read_blind(&text);
    }

    #[test]
    fn edited_keys_and_classes_are_answered(
        key in edited(vec![Key::draw(20, vec!["kick".into(), "snare".into()], 90.0, 7).to_json()]), class in edited(classes()),
    ) {
        read_key(&key);
        read_class(&class);
    }

    #[test]
    fn edited_ear_files_are_answered(text in edited(ear_files())) {
        read_ear(&text);
    }

    #[test]
    fn noise_is_answered_by_all(text in noise()) {
        read_session(&text);
        read_blind(&text);
        read_key(&text);
        read_class(&text);
        read_ear(&text);
    }
}
