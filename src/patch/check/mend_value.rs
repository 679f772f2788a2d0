//! One line of a file, read leniently: what key and what value somebody meant.

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Slip {
    Curly,
    /// One quote of two.
    Quote,
    Comma,
    Brackets,
    DecimalComma,
    Equals,
    /// A key of several words.
    Words,
    Heading,
    Comment,
    Behind,
    Backslash,
    Unquoted,
    Blank,
}

/// The tables that a patch or a lesson has, for headings that lost their brackets.
const HEADINGS: [&str; 10] =
    ["clock", "stage", "wire", "sequencer", "hits", "voice", "fix", "component", "jitter", "chapter"];
/// Those of which there are several of one name, so that their brackets are double.
const DOUBLE: [&str; 3] = ["chapter", "change", "tempo-map"];

/// A line as TOML, with the first thing that is wrong with it; `None` where nobody can tell what it is.
pub(super) fn line(line: &str) -> Option<(Slip, String)> {
    let (plain, odd) = plainly(line);
    let indent = &plain[..plain.len() - plain.trim_start().len()];
    let text = plain.trim();
    if let Some(remark) = ["//", ";", "--", "/*", "%"].iter().find_map(|mark| text.strip_prefix(mark)) {
        return Some((Slip::Comment, format!("{indent}# {}", remark.trim_end_matches("*/").trim())));
    }
    let (text, remark, marked) = remark(text);
    let (slip, code) = heading(text).or_else(|| entry(text))?;
    let tail = if remark.is_empty() { String::new() } else { format!(" # {remark}") };
    let slip = match slip {
        Some(slip) => slip,
        None if odd.is_some() => odd?,
        None => marked?,
    };
    Some((if slip == Slip::Unquoted { odd.unwrap_or(slip) } else { slip }, format!("{indent}{code}{tail}")))
}

/// A line with straight quotes and plain blanks, and which of the two it had otherwise.
fn plainly(line: &str) -> (String, Option<Slip>) {
    let mut slip = None;
    let plain = line
        .chars()
        .map(|c| match c {
            '\u{201c}'..='\u{201f}' | '\u{ab}' | '\u{bb}' | '\u{2018}'..='\u{201b}' | '\u{2033}' | '`' => {
                slip = Some(Slip::Curly);
                '"'
            }
            c if c != '\t' && c != ' ' && (c.is_whitespace() || c == '\u{200b}' || c == '\u{feff}') => {
                slip = slip.or(Some(Slip::Blank));
                ' '
            }
            c => c,
        })
        .collect();
    (plain, slip)
}

/// What stands before a remark, the remark, and whether it begins with another mark than `#`.
fn remark(text: &str) -> (&str, &str, Option<Slip>) {
    let mut quoted = false;
    for (n, c) in text.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '#' if !quoted => return (text[..n].trim_end(), text[n + 1..].trim(), None),
            '/' if !quoted && text[n..].starts_with("// ") => {
                return (text[..n].trim_end(), text[n + 2..].trim(), Some(Slip::Comment));
            }
            _ => {}
        }
    }
    (text, "", None)
}

fn heading(text: &str) -> Option<(Option<Slip>, String)> {
    let bracketed = text.starts_with(['[', '(', '{', '<']);
    let inner = text.trim_matches(['[', ']', '(', ')', '{', '}', '<', '>', ':']).trim();
    let parts: Vec<&str> = inner.split(['.', ':', '/', ' ', '"']).filter(|part| !part.is_empty()).collect();
    let (kind, name) = parts.split_first()?;
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_. :/\"".contains(c);
    if !inner.chars().all(plain) || !(bracketed || HEADINGS.contains(kind) && text.split_whitespace().count() < 3) {
        return None;
    }
    let name = name.join("-");
    let whole = if name.is_empty() { (*kind).to_owned() } else { format!("{kind}.{name}") };
    let heading = if DOUBLE.contains(kind) { format!("[[{whole}]]") } else { format!("[{whole}]") };
    Some(((heading != text).then_some(Slip::Heading), heading))
}

fn entry(text: &str) -> Option<(Option<Slip>, String)> {
    let mut quoted = false;
    let separator = text.char_indices().find(|(_, c)| {
        quoted ^= *c == '"';
        !quoted && matches!(c, '=' | ':')
    });
    let (key, rest, has) = match separator {
        Some((n, _)) => (&text[..n], text[n..].trim_start_matches(['=', ':', '>', ' ', '\t']), true),
        None => {
            let (key, rest) = text.split_once([' ', '\t'])?;
            // Two words alone are prose as likely as a key and its value.
            if !rest.trim_start().starts_with(|c: char| c.is_ascii_digit() || "\"[({".contains(c)) {
                return None;
            }
            (key, rest, false)
        }
    };
    let words: Vec<&str> = key.split_whitespace().collect();
    let key = words.join("-");
    let is_key = |c: char| c.is_ascii_alphanumeric() || "-_.\"".contains(c);
    if key.is_empty() || !key.chars().all(is_key) || key.starts_with('"') && !has {
        return None;
    }
    let between = separator.map_or("", |(n, _)| &text[n..text.len() - rest.len()]);
    let (slip, value) = value(rest.trim(), key.ends_with('s'))?;
    let slip = match between.trim() {
        "=" if words.len() > 1 => Some(Slip::Words),
        "=" => slip,
        _ => Some(Slip::Equals),
    };
    Some((slip, format!("{key} = {value}")))
}

/// A value as TOML; `several` where its key speaks of several things.
fn value(written: &str, several: bool) -> Option<(Option<Slip>, String)> {
    let text = written.trim_end_matches([',', ';']).trim_end();
    let behind = (text.len() < written.len()).then_some(Slip::Behind);
    if text.is_empty() {
        return None;
    }
    if text.starts_with('{') && text.contains(['=', ':']) {
        let table = outside_quotes(text, |c| if c == ':' { '=' } else { c });
        let table = if table.ends_with('}') { table } else { format!("{table} }}") };
        return Some((behind.or(Some(Slip::Equals)), table));
    }
    let bare = text.trim_matches(['[', ']', '(', ')', '{', '}']).trim();
    let is_list = bare.len() < text.len();
    let items = items(bare)?;
    let digits = |item: &str| !item.is_empty() && item.bytes().all(|b| b.is_ascii_digit());
    // `97,5` is a number and `84, 112` are two; of `60,90` the key decides.
    if !is_list
        && let Some((whole, part)) = bare.trim_matches('"').split_once(',')
        && digits(whole.trim_start_matches('-'))
        && part.starts_with(|c: char| c.is_ascii_digit())
        && !(several && digits(part) && part.len() > 1)
        && !part.contains(',')
    {
        return Some((Some(Slip::DecimalComma), one(&format!("{whole}.{part}")).1));
    }
    if !is_list && items.len() == 1 {
        let (slip, value) = one(bare);
        return Some((slip.or(behind), value));
    }
    let all: Vec<_> = items.iter().map(|item| one(item)).collect();
    let list = format!("[{}]", all.iter().map(|(_, value)| value.as_str()).collect::<Vec<_>>().join(", "));
    let square = text.starts_with('[') && text.ends_with(']');
    let commas = bare.matches(',').count() + 1;
    let slip = match all.iter().find_map(|(slip, _)| *slip) {
        _ if !square => Some(Slip::Brackets),
        _ if commas < items.len() => Some(Slip::Comma),
        slip => slip.or(behind),
    };
    Some((slip, list))
}

/// The items of a list, parted by commas, by semicolons, or by blanks where each is a number or stands in quotes.
fn items(bare: &str) -> Option<Vec<String>> {
    const MOST: usize = 64;
    let mut parts: Vec<String> = vec![String::new()];
    let (mut quoted, mut last) = (false, ' ');
    for c in bare.chars() {
        let closed = last == '"' && !quoted;
        quoted ^= c == '"';
        match c {
            ',' | ';' if !quoted => parts.push(String::new()),
            // One quote behind another: no comma between them.
            '"' if quoted && closed => parts.extend([format!("{c}")]),
            c => parts.last_mut()?.push(c),
        }
        if !c.is_whitespace() {
            last = c;
        }
    }
    let is_number = |word: &str| number(word).is_some();
    let split = |part: &String| -> Vec<String> {
        let words: Vec<&str> = part.split_whitespace().collect();
        match words.len() > 1 && words.iter().all(|word| is_number(word)) {
            true => words.into_iter().map(str::to_owned).collect(),
            false => vec![part.trim().to_owned()],
        }
    };
    let parts: Vec<String> = parts.iter().flat_map(split).filter(|part| !part.is_empty()).collect();
    (1..=MOST).contains(&parts.len()).then_some(parts)
}

fn number(word: &str) -> Option<&str> {
    let digits = word.trim_start_matches(['-', '+']);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
    let plain = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    (plain(whole) && plain(part) && (whole.len() == 1 || !whole.starts_with('0'))).then_some(word)
}

/// One value that is no list.
fn one(text: &str) -> (Option<Slip>, String) {
    if number(text).is_some() || ["true", "false"].contains(&text) {
        return (None, text.to_owned());
    }
    let inner = text.trim_matches(['"', '\'']);
    let quotes = text.matches('"').count();
    let slip = match quotes {
        _ if inner.contains('\\') => Some(Slip::Backslash),
        _ if text.len() == inner.len() => Some(Slip::Unquoted),
        2 if text.starts_with('"') && text.ends_with('"') => None,
        _ => Some(Slip::Quote),
    };
    (slip, format!("\"{}\"", inner.replace('\\', "/").replace('"', "").trim()))
}

fn outside_quotes(text: &str, change: impl Fn(char) -> char) -> String {
    let mut quoted = false;
    text.chars()
        .map(|c| {
            quoted ^= c == '"';
            if quoted { c } else { change(c) }
        })
        .collect()
}
