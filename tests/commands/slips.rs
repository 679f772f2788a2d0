//! What newcomers write that is no patch or no command, what they are told, and that what they are told works.
//!
//! Each file of `tests/slips` holds one slip: what stands in the good patch beside it, what somebody wrote instead, and what of
//! the answer is pasted over what. The text beside it holds the whole conversation; `HITGAP_BLESS=1` writes it anew.
//!
//! A paste must stand in the answer to the letter, and when all are made the command does its work without an error.

use super::place::{Place, Ran};
use std::path::{Path, PathBuf};
use toml::Table;

const COMMAND: &str = "hitgap check slip.toml --quiet";

/// One slip and its pastes.
struct Slip {
    name: String,
    line: String,
    patch: String,
    utf16: bool,
    files: Vec<(String, String)>,
    pastes: Vec<Paste>,
}

/// What is replaced, by what, and what the answer says of it: the text itself, unless it cannot be pasted as it stands.
struct Paste {
    over: String,
    text: String,
    said: String,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/slips")
}

fn read(path: &Path) -> Slip {
    let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
    let table: Table = std::fs::read_to_string(path).expect("a text").parse().unwrap_or_else(|e| panic!("{name}: {e}"));
    let known = ["about", "run", "good", "slip", "patch", "utf16", "files", "paste"];
    assert!(table.keys().all(|key| known.contains(&key.as_str())), "{name} has a key of another name");
    let text = |key: &str| table.get(key).map(|value| value.as_str().expect("a text").to_owned());
    assert!(text("about").is_some_and(|about| !about.is_empty()), "{name} says what the slip is");
    let good = std::fs::read_to_string(folder().join("good.toml")).expect("the good patch");
    let patch = match (text("patch"), text("good"), text("slip")) {
        (Some(patch), None, None) => patch,
        (None, Some(good_line), Some(slip)) => {
            assert!(good.contains(&good_line), "{name}: the good patch has no {good_line:?}");
            good.replacen(&good_line, &slip, 1)
        }
        (None, None, None) => good,
        _ => panic!("{name}: `patch`, or `good` and `slip`"),
    };
    let list = |value: &toml::Value| -> Vec<String> {
        value.as_array().expect("a list").iter().map(|v| v.as_str().expect("a text").to_owned()).collect()
    };
    let pastes = table.get("paste").map(|all| all.as_array().expect("a list").iter().map(list).collect::<Vec<_>>());
    let pastes = pastes.unwrap_or_default().into_iter().map(|paste| match &paste[..] {
        [over, text] => Paste { over: over.clone(), text: text.clone(), said: text.clone() },
        [over, text, said] => Paste { over: over.clone(), text: text.clone(), said: said.clone() },
        _ => panic!("{name}: a paste has two or three texts"),
    });
    let files = table.get("files").and_then(toml::Value::as_table).cloned().unwrap_or_default();
    Slip {
        line: text("run").unwrap_or_else(|| COMMAND.to_owned()),
        patch,
        utf16: table.contains_key("utf16"),
        files: files.into_iter().map(|(name, text)| (name, text.as_str().expect("a text").to_owned())).collect(),
        pastes: pastes.collect(),
        name,
    }
}

/// Goes through a slip; gives back the conversation, and what is wrong with it.
fn conversation(mut slip: Slip) -> (String, Option<String>) {
    let mut place = Place::new();
    for (name, text) in &slip.files {
        place = place.with(name, text);
    }
    let (mut said, mut wrong) = (String::new(), None);
    for step in 0..=slip.pastes.len() {
        let bytes = match slip.utf16 && step == 0 {
            true => [0xff, 0xfe].into_iter().chain(slip.patch.encode_utf16().flat_map(u16::to_le_bytes)).collect(),
            false => slip.patch.clone().into_bytes(),
        };
        place = place.with("slip.toml", bytes);
        let ran: Ran = place.run(&slip.line);
        let refused = !matches!(ran.status, Some(0 | 1)) || ran.stderr.contains("error:");
        let Some(paste) = slip.pastes.get(step) else {
            said += &format!("$ {}\nexit status {}\n", slip.line, ran.status.unwrap_or(-1));
            if refused && !slip.pastes.is_empty() {
                wrong = wrong.or(Some(format!("{}: what was pasted does not help:\n{}", slip.name, ran.stderr)));
            }
            break;
        };
        said += &ran.transcript();
        said += &format!("pasted: {}\n\n", paste.text);
        // A message may be broken into lines, and a help of several is indented.
        let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let answer = format!("{}{}", ran.stderr, ran.stdout);
        if !answer.contains(&paste.said) && !flat(&answer).contains(&flat(&paste.said)) {
            wrong = wrong.or(Some(format!("{}: no {:?} in\n{answer}", slip.name, paste.said)));
        }
        let (place_of, is_line) = (slip.patch.contains(&paste.over), slip.line.contains(&paste.over));
        assert!(place_of || is_line, "{}: nowhere {:?}", slip.name, paste.over);
        let target = if is_line { &mut slip.line } else { &mut slip.patch };
        *target = target.replacen(&paste.over, &paste.text, 1);
    }
    (said, wrong)
}

#[test]
fn what_a_newcomer_is_told_can_be_pasted_and_works() {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder()).expect("the slips").map(|entry| entry.expect("an entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "toml") && !file.ends_with("good.toml"));
    files.sort();
    assert!(files.len() >= 60, "{} slips", files.len());
    let mut wrong = Vec::new();
    for file in files {
        let (said, fault) = conversation(read(&file));
        wrong.extend(fault);
        let beside = file.with_extension("txt");
        if std::env::var_os("HITGAP_BLESS").is_some() {
            std::fs::write(&beside, &said).expect("a file");
        }
        let held = std::fs::read_to_string(&beside).unwrap_or_default().replace("\r\n", "\n");
        if held != said {
            wrong.push(format!("{}: seen\n{said}\nheld\n{held}", beside.display()));
        }
    }
    assert!(wrong.is_empty(), "{} slips:\n{}", wrong.len(), wrong.join("\n\n"));
}
