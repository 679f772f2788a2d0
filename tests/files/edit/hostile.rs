//! Edits that nobody meant, of texts that nobody meant: an edit made, or a refusal that says what to do.

use crate::fuzz::edits::{edited as damaged, examples};
use crate::fuzz::{cases, is_plain};
use hitgap::patch::{Edit, edited};
use proptest::prelude::*;
use serde_json::{Value, json};

/// Makes an edit of a text; what comes out can be edited again.
fn attempt(text: &str, edit: &Value) {
    let Ok(edit) = serde_json::from_value::<Edit>(edit.clone()) else { return };
    match edited(text, &edit) {
        Ok(done) => {
            let same = json!({"do": "clear", "at": ["no-such-key"]});
            let same: Edit = serde_json::from_value(same).expect("an edit");
            assert_eq!(edited(&done, &same).as_deref(), Ok(&done[..]), "{edit:?}\n{text}");
        }
        Err(error) => {
            assert!(!error.says.is_empty() && !error.help.is_empty(), "{error:?}");
            is_plain(&error.says);
        }
    }
}

fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        6 => prop::sample::select(vec![
            "clock", "stage", "sequencer", "voice", "fix", "wire", "hits", "box", "component", "change", "tempo-map", "tempos",
            "set", "slow", "sixteenths", "ox", "wren", "gate", "or-gate", "rate", "phase", "reset", "reset-mode", "out", "input",
            "jitter", "title", "brings", "clock.slow.phase", "sequencer.wren", "original", "", "a.b", "\u{1b}[31m", "é", "x x",
        ]).prop_map(str::to_owned),
        1 => any::<String>(),
    ]
}

fn values() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        words().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<bool>().prop_map(Value::from),
        Just(Value::Null),
        Just(json!("\"\"\"'''\n\r\n\\")),
    ];
    leaf.prop_recursive(4, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::btree_map(words(), inner, 0..4).prop_map(|map| json!(map)),
        ]
    })
}

fn any_edit() -> impl Strategy<Value = Value> {
    let at = prop::collection::vec(
        prop_oneof![5 => words().prop_map(Value::from), 1 => (0_u64..4).prop_map(Value::from), 1 => values()],
        0..6,
    );
    let what = prop::sample::select(vec!["set", "clear", "add", "remove", "duplicate", "rename", "keep", "what"]);
    (what, at, values(), words(), any::<bool>()).prop_map(|(what, at, to, name, fixed)| {
        let mut edit = match what {
            "set" | "add" => json!({"do": what, "at": at, "to": to}),
            "duplicate" | "rename" => json!({"do": what, "at": at, "as": name}),
            "keep" => json!({"do": what, "fix": name, "of": "[clock.slow]\nrate = \"1 per beat\"\n"}),
            _ => json!({"do": what, "at": at}),
        };
        if fixed && ["set", "clear"].contains(&what) {
            edit["fix"] = json!(name);
        }
        edit
    })
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn an_edit_of_a_patch_is_made_or_refused(text in prop::sample::select(super::examples().to_vec()), edit in any_edit()) {
        attempt(&text.1, &edit);
    }

    #[test]
    fn an_edit_of_a_damaged_text_is_made_or_refused(text in damaged(examples("patches", ".toml")), edit in any_edit()) {
        attempt(&text, &edit);
    }

    #[test]
    fn an_edit_of_any_text_is_made_or_refused(text in any::<String>(), edit in any_edit()) {
        attempt(&text, &edit);
    }
}

#[test]
fn what_is_too_large_is_refused() {
    let long = "a".repeat(300);
    let deep = (0..100).fold(json!(1), |inner, _| json!([inner]));
    for (text, edit) in [
        ("", json!({"do": "set", "at": [long], "to": 1})),
        ("", json!({"do": "set", "at": vec!["a"; 9], "to": 1})),
        ("", json!({"do": "set", "at": [], "to": 1})),
        ("", json!({"do": "set", "at": ["a"], "to": deep})),
        ("", json!({"do": "set", "at": ["a"], "to": vec![0; 5000]})),
        ("", json!({"do": "set", "at": ["a"], "to": "x".repeat(1 << 20)})),
        ("", json!({"do": "add", "at": ["clock", "x".repeat(65)], "to": {}})),
    ] {
        let edit: Edit = serde_json::from_value(edit).expect("an edit");
        let error = edited(text, &edit).expect_err("a refusal");
        assert!(!error.says.is_empty() && !error.help.is_empty(), "{error}");
    }
}
