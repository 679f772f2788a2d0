//! Good files with something done to them: lines and words cut, doubled, swapped and replaced, numbers driven to their ends.

use proptest::prelude::*;
use std::path::Path;

/// What is put in place of a word, or between two: ends of number ranges, what a terminal would obey, what ends a string.
const WORDS: [&str; 60] = [
    "",
    "0",
    "-0",
    "-1",
    "1",
    "2",
    "3",
    "127",
    "128",
    "256",
    "257",
    "4096",
    "10000",
    "10001",
    "65536",
    "2147483648",
    "4294967296",
    "9223372036854775807",
    "9223372036854775808",
    "170141183460469231731687303715884105728",
    "999999999999999999",
    "1e999",
    "1e-9",
    "0.000000001",
    "0.000000000000001",
    "99.999999999",
    "1000000",
    "1_000",
    "0x1F",
    "nan",
    "inf",
    "true",
    "1979-05-27",
    "null",
    "\"",
    "'",
    "\"\"\"",
    "\\",
    "\\u001b",
    "[",
    "]",
    "{",
    "}",
    "[[",
    "=",
    ",",
    ".",
    "..",
    ":",
    "#",
    "%",
    " ms",
    " ps",
    " s",
    "\u{1b}[31m",
    "\u{202e}",
    "\u{9b}",
    "\0",
    "\u{feff}",
    "日\u{301}",
];

/// One thing that is done, by numbers that are taken modulo what there is.
type Edit = (u8, usize, usize, usize);

/// Every file of a folder of this crate whose name ends so.
pub(crate) fn examples(folder: &str, ending: &str) -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<_> =
        std::fs::read_dir(&folder).expect("the folder").map(|e| e.expect("an entry").path()).collect();
    files.retain(|f| f.to_str().is_some_and(|name| name.ends_with(ending)));
    files.sort();
    files.into_iter().map(|f| std::fs::read_to_string(f).expect("a text")).collect()
}

/// Any of the examples, changed up to five times.
pub(crate) fn edited(examples: Vec<String>) -> impl Strategy<Value = String> {
    let edit = (0_u8..14, any::<usize>(), any::<usize>(), any::<usize>());
    (prop::sample::select(examples), prop::collection::vec(edit, 0..6))
        .prop_map(|(text, edits)| edits.iter().fold(text, |text, edit| changed(&text, edit)))
}

/// Any bytes as text.
pub(crate) fn noise() -> impl Strategy<Value = String> {
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..400).prop_map(|bytes| String::from_utf8_lossy(&bytes).into_owned()),
        prop::collection::vec(prop::sample::select(WORDS.to_vec()), 0..40).prop_map(|words| words.concat()),
    ]
}

/// Runs of letters and digits; everything else is a word of one character.
fn words(text: &str) -> Vec<&str> {
    let mut all = Vec::new();
    let mut from = 0;
    let joins = |c: char| c.is_alphanumeric() || c == '_' || c == '-';
    for (n, c) in text.char_indices() {
        if !joins(c) {
            all.extend([&text[from..n], &text[n..n + c.len_utf8()]].into_iter().filter(|w| !w.is_empty()));
            from = n + c.len_utf8();
        }
    }
    all.extend(Some(&text[from..]).filter(|w| !w.is_empty()));
    all
}

fn changed(text: &str, &(what, at, to, with): &Edit) -> String {
    let with = WORDS[with % WORDS.len()];
    match what {
        0..=4 => {
            let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
            if lines.is_empty() {
                return with.to_owned();
            }
            let (at, to) = (at % lines.len(), to % lines.len());
            match what {
                0 => drop(lines.remove(at)),
                1 => lines.insert(to, lines[at].clone()),
                2 => lines.swap(at, to),
                // The value of one line with the key of another.
                3 => {
                    let value = lines[to].split_once('=').map(|(_, value)| value.to_owned());
                    let key = lines[at].split_once('=').map(|(key, _)| key.to_owned());
                    if let (Some(key), Some(value)) = (key, value) {
                        lines[at] = format!("{key}={value}");
                    }
                }
                _ => lines.insert(to, with.to_owned()),
            }
            lines.join("\n") + "\n"
        }
        5..=11 => {
            let mut words = words(text);
            // A number is more often at a bound than a name.
            let numbers: Vec<usize> =
                (0..words.len()).filter(|n| words[*n].starts_with(|c: char| c.is_ascii_digit())).collect();
            if words.is_empty() {
                return with.to_owned();
            }
            let (at, to) = (at % words.len(), to % words.len());
            match what {
                5 => drop(words.remove(at)),
                6 => words.insert(to, words[at]),
                7 => words.swap(at, to),
                8 => words[at] = with,
                9 => words.insert(at, with),
                _ => {
                    let at = if numbers.is_empty() { at } else { numbers[at % numbers.len()] };
                    words[at] = if what == 10 { with } else { words[to] };
                }
            }
            words.concat()
        }
        12 => text.chars().take(at % (text.chars().count() + 1)).collect(),
        _ => {
            // One bit of one byte.
            let mut bytes = text.as_bytes().to_vec();
            if !bytes.is_empty() {
                let at = at % bytes.len();
                bytes[at] ^= 1 << (to % 8);
            }
            String::from_utf8_lossy(&bytes).into_owned()
        }
    }
}
