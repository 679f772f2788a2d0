//! An edit made in the document by `toml_edit`, all of it written anew: the rules as docs have them, a second time.

use serde_json::{Value as Json, json};
use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// Keys that hold names.
const NAMING: [&str; 9] = ["clock", "reset", "path", "with", "out", "poll", "order", "one", "voice"];

pub(super) fn json_of(item: &Item) -> Json {
    let value = |value: &Value| -> Json {
        fn of(value: &Value) -> Json {
            match value {
                Value::String(text) => json!(text.value()),
                Value::Integer(n) => json!(n.value()),
                Value::Float(n) => json!(n.value()),
                Value::Boolean(yes) => json!(yes.value()),
                Value::Datetime(_) => Json::Null,
                Value::Array(list) => list.iter().map(of).collect(),
                Value::InlineTable(table) => {
                    Json::Object(table.iter().map(|(key, value)| (key.to_owned(), of(value))).collect())
                }
            }
        }
        of(value)
    };
    match item {
        Item::Value(inner) => value(inner),
        Item::Table(table) => Json::Object(table.iter().map(|(key, item)| (key.to_owned(), json_of(item))).collect()),
        _ => Json::Null,
    }
}

fn value_of(json: &Json) -> Value {
    match json {
        Json::String(text) => text.as_str().into(),
        Json::Number(n) => n.as_i64().map_or_else(|| n.as_f64().expect("a number").into(), Value::from),
        Json::Bool(yes) => (*yes).into(),
        Json::Array(list) => Value::Array(list.iter().map(value_of).collect()),
        Json::Object(table) => Value::InlineTable(table.iter().map(|(key, value)| (key, value_of(value))).collect()),
        Json::Null => "".into(),
    }
}

pub(super) fn document(text: &str) -> DocumentMut {
    text.parse().expect("TOML")
}

/// The same in the document, all of it written anew.
pub(super) fn otherwise(text: &str, edit: &Json) -> String {
    let mut document = document(text);
    let part = |n: usize| edit["at"][n].as_str().expect("a word").to_owned();
    let (kind, name) = (part(0), part(1));
    match (edit["do"].as_str().expect("a word"), edit.get("fix").and_then(Json::as_str)) {
        ("set", None) => {
            let table = document[&kind][&name].as_table_like_mut().expect("a table");
            table.insert(&part(2), Item::Value(value_of(&edit["to"])));
        }
        ("set", Some(fix)) => {
            let own = document.get(&kind).and_then(|all| all.get(&name)?.get(part(2)));
            let own = own.map(json_of) == Some(edit["to"].clone());
            let path = format!("{kind}.{name}.{}", part(2));
            let set = document.get("fix").and_then(|fixes| fixes.get(fix)?.get("set")?.as_table_like());
            let (there, alone) = set.map_or((false, true), |set| (set.contains_key(&path), set.len() < 2));
            // What the patch has anyway is not set.
            if own && !there {
                return document.to_string();
            }
            let fixes = document.entry("fix").or_insert_with(implicit);
            let table =
                fixes.as_table_like_mut().expect("tables").entry(fix).or_insert_with(|| Item::Table(Table::new()));
            let set = table.as_table_like_mut().expect("a table").entry("set");
            let set = set.or_insert_with(|| Item::Value(Value::InlineTable(InlineTable::new())));
            let set = set.as_table_like_mut().expect("a table");
            if own && !alone {
                set.remove(&path);
            } else {
                set.insert(&path, Item::Value(value_of(&edit["to"])));
            }
        }
        ("clear", _) => drop(
            document[&kind]
                .as_table_like_mut()
                .expect("tables")
                .get_mut(&name)
                .map(|table| table.as_table_like_mut().expect("a table").remove(&part(2))),
        ),
        ("add", _) => put(&mut document, &kind, &name, value_of(&edit["to"])),
        ("duplicate", _) => {
            let table = value_of(&json_of(&document[&kind][&name]));
            let to = edit["as"].as_str().expect("a name");
            // Behind what it is a copy of.
            let all = document[&kind].as_table_like_mut().expect("tables");
            let mut items = Vec::new();
            for key in all.iter().map(|(key, _)| key.to_owned()).collect::<Vec<_>>() {
                let item = all.remove(&key).expect("a table");
                let copied = (key == name).then(|| (to.to_owned(), Item::Value(table.clone())));
                items.push((key, item));
                items.extend(copied);
            }
            whole(&mut document, &kind, items);
        }
        ("rename", _) => {
            let to = edit["as"].as_str().expect("a name");
            let all = document[&kind].as_table_like_mut().expect("tables");
            let keys: Vec<String> = all.iter().map(|(key, _)| key.to_owned()).collect();
            let take = |key: String| {
                let item = all.remove(&key).expect("a table");
                (if key == name { to.to_owned() } else { key }, item)
            };
            let items = keys.into_iter().map(take).collect();
            whole(&mut document, &kind, items);
            let names = |text: &str| renamed(text, (&kind, &name), to);
            each(document.as_table_mut(), "", &names);
        }
        ("remove", _) => {
            document[&kind].as_table_like_mut().expect("tables").remove(&name);
            leave_out(&mut document, &kind, &name, text);
        }
        (what, _) => panic!("{what}"),
    }
    document.to_string()
}

fn implicit() -> Item {
    let mut table = Table::new();
    table.set_implicit(true);
    Item::Table(table)
}

fn put(document: &mut DocumentMut, kind: &str, name: &str, table: Value) {
    let mut items: Vec<(String, Item)> = Vec::new();
    if let Some(all) = document.get_mut(kind).and_then(Item::as_table_like_mut) {
        for key in all.iter().map(|(key, _)| key.to_owned()).collect::<Vec<_>>() {
            items.push((key.clone(), all.remove(&key).expect("a table")));
        }
    }
    items.push((name.to_owned(), Item::Value(table)));
    whole(document, kind, items);
}

/// All tables of a kind on one line at the top of the file, in their order.
fn whole(document: &mut DocumentMut, kind: &str, items: Vec<(String, Item)>) {
    let mut table = InlineTable::new();
    for (key, item) in items {
        table.insert(&key, value_of(&json_of(&item)));
    }
    document.remove(kind);
    document.insert(kind, Item::Value(Value::InlineTable(table)));
}

/// A text that names a table, with its new name.
fn renamed(text: &str, (kind, name): (&str, &str), to: &str) -> String {
    let begin = format!("{kind}.{name}");
    match text.strip_prefix(&begin) {
        Some(rest) if rest.is_empty() || rest.starts_with('.') => format!("{kind}.{to}{rest}"),
        _ if text == name && ["clock", "stage", "voice"].contains(&kind) => to.to_owned(),
        _ => text.to_owned(),
    }
}

/// Whether a key of this name holds names of such a kind.
fn holds(kind: &str, key: &str) -> bool {
    let key = key.rsplit('.').next().unwrap_or(key);
    match kind {
        "voice" => key == "voice" || key == "notes",
        _ => NAMING.contains(&key) && key != "voice",
    }
}

/// Changes every text that may be a name, and every path of what is set.
fn each(table: &mut dyn TableLike, holder: &str, names: &dyn Fn(&str) -> String) {
    fn value(v: &mut Value, key: &str, names: &dyn Fn(&str) -> String) {
        match v {
            Value::String(text) => *v = names(text.value()).into(),
            Value::Array(list) => list.iter_mut().for_each(|inner| value(inner, key, names)),
            Value::InlineTable(table) => each(table, key, names),
            _ => {}
        }
    }
    let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    let mut items = Vec::new();
    for key in keys {
        let mut item = table.remove(&key).expect("an entry");
        match &mut item {
            Item::Value(v) if v.is_inline_table() => each(v.as_inline_table_mut().expect("a table"), &key, names),
            Item::Value(v) if NAMING.contains(&key.rsplit('.').next().unwrap_or(&key)) || holder == "notes" => {
                value(v, &key, names);
            }
            Item::Table(inner) => each(inner, &key, names),
            Item::ArrayOfTables(list) => list.iter_mut().for_each(|inner| each(inner, &key, names)),
            _ => {}
        }
        items.push((if holder == "set" { names(&key) } else { key }, item));
    }
    items.into_iter().for_each(|(key, item)| drop(table.insert(&key, item)));
}

/// Takes out what names a table that is gone.
fn leave_out(document: &mut DocumentMut, kind: &str, name: &str, before: &str) {
    let gone = |text: &str| match kind {
        "wire" | "sequencer" => text == format!("{kind}.{name}") || text.starts_with(&format!("{kind}.{name}.")),
        _ => text == name,
    };
    let original: DocumentMut = before.parse().expect("TOML");
    let own = |path: &str| {
        let mut parts = path.splitn(3, '.');
        let (kind, name, key) = (parts.next()?, parts.next()?, parts.next()?);
        original.get(kind)?.get(name)?.get(key).map(json_of)
    };
    fn clean(
        table: &mut dyn TableLike,
        kind: &str,
        gone: &dyn Fn(&str) -> bool,
        own: &dyn Fn(&str) -> Option<Json>,
        in_set: bool,
    ) {
        let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
        for key in keys {
            let Some(item) = table.get_mut(&key) else { continue };
            let last = key.rsplit('.').next().unwrap_or(&key).to_owned();
            if let Some(inner) = item.as_table_like_mut() {
                clean(inner, kind, gone, own, key == "set");
                continue;
            }
            if let Item::ArrayOfTables(list) = item {
                list.iter_mut().for_each(|inner| clean(inner, kind, gone, own, false));
                continue;
            }
            if !holds(kind, &key) {
                continue;
            }
            let begins = !["out", "order"].contains(&last.as_str()) && kind != "stage";
            match item {
                Item::Value(Value::String(text)) if gone(text.value()) => {
                    if last == "out" && in_set {
                        *item = Item::Value(Value::Array(toml_edit::Array::new()));
                        continue;
                    }
                    table.remove(&key);
                    if last == "reset" && !in_set {
                        table.remove("reset-mode");
                    }
                }
                Item::Value(Value::Array(list)) => {
                    let first = list.get(0).and_then(Value::as_str).is_some_and(gone);
                    if begins && first {
                        table.remove(&key);
                        if last == "reset" && !in_set {
                            table.remove("reset-mode");
                        }
                        continue;
                    }
                    let had = list.len();
                    let skip = usize::from(kind == "stage" && !["out", "order"].contains(&last.as_str()));
                    let mut n = 0;
                    list.retain(|value| {
                        n += 1;
                        n <= skip || !value.as_str().is_some_and(gone)
                    });
                    let lost = list.len() < had;
                    let now = json_of(&Item::Value(Value::Array(list.clone())));
                    let one = |json: Json| match json {
                        Json::Array(list) if list.len() == 1 => list[0].clone(),
                        json => json,
                    };
                    let idle = in_set && lost && one(now.clone()) == one(own(&key).unwrap_or(json!([])));
                    if idle || (lost && !in_set && now == json!([])) {
                        table.remove(&key);
                    }
                }
                _ => {}
            }
        }
    }
    let begin = format!("{kind}.{name}");
    fn unset(table: &mut dyn TableLike, begin: &str) {
        let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
        for key in keys {
            if let Some(Item::ArrayOfTables(list)) = table.get_mut(&key) {
                list.iter_mut().for_each(|inner| unset(inner, begin));
            } else if let Some(inner) = table.get_mut(&key).and_then(Item::as_table_like_mut) {
                if key == "set" {
                    let set: Vec<String> = inner.iter().map(|(key, _)| key.to_owned()).collect();
                    for path in set {
                        if path.strip_prefix(begin).is_some_and(|rest| rest.is_empty() || rest.starts_with('.')) {
                            inner.remove(&path);
                        }
                    }
                } else {
                    unset(inner, begin);
                }
            }
        }
    }
    let remains = kind == "voice" && hitgap::patch::kit().iter().any(|voice| voice.name == name);
    unset(document.as_table_mut(), &begin);
    if !remains {
        clean(document.as_table_mut(), kind, &gone, &own, false);
    }
    let bare = |table: &dyn TableLike| table.get("set").and_then(Item::as_table_like).is_none_or(|set| set.is_empty());
    if let Some(fixes) = document.get_mut("fix").and_then(Item::as_table_like_mut) {
        let empty: Vec<String> = fixes
            .iter()
            .filter(|(_, item)| item.as_table_like().is_some_and(|table| table.contains_key("set") && bare(table)))
            .map(|(name, _)| name.to_owned())
            .collect();
        empty.iter().for_each(|name| drop(fixes.remove(name)));
    }
    if let Some(Item::ArrayOfTables(changes)) = document.get_mut("change") {
        changes.retain(|table| !(table.contains_key("set") && bare(table)));
    }
}
