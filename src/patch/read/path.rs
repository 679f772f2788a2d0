use crate::patch::check::fault::{Fault, Place};
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::{by_nearness, listed, nearest, shown};
use crate::patch::check::view::{Kind, MOST_OF_A_KIND, View, undefined};
use crate::patch::model::{Carries, Path, Source, Tap};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::kinds::{kind_of, kinds_that};

/// The outputs of a sequencer, as a path names them.
pub(in crate::patch) const TAPS: [(&str, Tap); 4] =
    [("step-1", Tap::Step1), ("end", Tap::End), ("hits", Tap::Hits), ("thru", Tap::Thru)];

/// Reads the way to an input: where it begins (an output, a wire, an output of a sequencer), or a list of that and then
/// stages.
pub(in crate::patch) fn path(fields: &mut Fields<'_, '_>, key: &str, view: &View<'_>) -> Got<Path> {
    let Some((_, node)) = fields.get(key) else { return Ok(None) };
    let example = format!("write {key} = \"OUTPUT\", or {key} = [\"OUTPUT\", \"STAGE\"]");
    let nodes: Vec<&Node> = match &node.value {
        Value::Text(_) => vec![node],
        Value::List(list) if list.is_empty() => {
            let fault = Fault::new(node.at.clone(), format!("`{key}` is an empty list"))
                .label("expected an output, then stages in order")
                .help(example);
            return Err(fields.tell(fault));
        }
        Value::List(list) if list.len() > MOST_OF_A_KIND + 1 => {
            let found = format!("{} stages in one path", list.len() - 1);
            return Err(fields.out_of_bounds(key, &found, &format!("at most {MOST_OF_A_KIND} stages")));
        }
        Value::List(list) => list.iter().collect(),
        _ => return Err(fields.wrong_type(key, node, "the name of an output, or a list of names", &example)),
    };
    let mut begin = Ok(Source::Output(0));
    let mut stages = Stages::new(Carries::Pulses);
    for (n, node) in nodes.iter().enumerate() {
        let Value::Text(name) = &node.value else {
            stages.told = Some(fields.wrong_type(key, node, "a name in quotes", &example));
            continue;
        };
        if n == 0 {
            begin = source(fields, node, name, key, view);
        } else {
            stages.add(fields, node, name, view);
        }
    }
    match (stages.told, begin) {
        (Some(told), _) | (None, Err(told)) => Err(told),
        (None, Ok(source)) => Ok(Some(Path { source, stages: stages.indices })),
    }
}

/// Reads what lies between a sequencer and the ear: a list of stages, or the name of one.
pub(in crate::patch) fn out(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Vec<usize>, Told> {
    const EXAMPLE: &str = "write out = [\"STAGE\"], the stages between the sequencer and the ear in order";
    let Some((_, node)) = fields.get("out") else { return Ok(Vec::new()) };
    let nodes: Vec<&Node> = match &node.value {
        Value::Text(_) => vec![node],
        Value::List(list) if list.len() > MOST_OF_A_KIND => {
            let found = format!("{} stages", list.len());
            return Err(fields.out_of_bounds("out", &found, &format!("at most {MOST_OF_A_KIND} stages")));
        }
        Value::List(list) => list.iter().collect(),
        _ => return Err(fields.wrong_type("out", node, "a list of names of stages", EXAMPLE)),
    };
    let mut stages = Stages::new(Carries::Hits);
    for node in nodes {
        match &node.value {
            Value::Text(name) => stages.add(fields, node, name, view),
            _ => stages.told = Some(fields.wrong_type("out", node, "a name in quotes", EXAMPLE)),
        }
    }
    stages.told.map_or(Ok(stages.indices), Err)
}

/// Where the first name of a path, or one of its stages, stands in the file.
pub(in crate::patch) fn place_of_name(node: &Node, n: usize) -> Place {
    match &node.value {
        Value::List(list) => list.get(n).map_or(node.at.clone(), |node| node.at.clone()),
        _ => node.at.clone(),
    }
}

/// Stages in order, each once, as they are read.
struct Stages {
    indices: Vec<usize>,
    told: Option<Told>,
    what: Carries,
    seen: [bool; MOST_OF_A_KIND],
}

impl Stages {
    fn new(what: Carries) -> Self {
        Self { indices: Vec::new(), told: None, what, seen: [false; MOST_OF_A_KIND] }
    }

    fn add(&mut self, fields: &mut Fields<'_, '_>, node: &Node, name: &str, view: &View<'_>) {
        let Some(index) = view.position(Kind::Stage, name).filter(|index| *index < MOST_OF_A_KIND) else {
            let fault = match self.what {
                Carries::Pulses if is_source(view, name) => second_source(node, name, view),
                _ => unknown(node, name, Kind::Stage, view),
            };
            self.told = Some(fields.tell(fault));
            return;
        };
        if std::mem::replace(&mut self.seen[index], true) {
            let fault = Fault::new(node.at.clone(), format!("the stage `{}` is twice in one path", shown(name)))
                .label("expected each stage once")
                .help("take one out, or define a second stage");
            self.told = Some(fields.tell(fault));
            return;
        }
        match kind_of(&view.of(Kind::Stage)[index]) {
            Some(kind) if kind.carries != Carries::Both && kind.carries != self.what => {
                let (only, wanted, help) = match self.what {
                    Carries::Hits => {
                        let may = kinds_that(|kind| kind.carries != Carries::Pulses);
                        let help =
                            format!("put it into a `clock` or a `reset`; an `out` may have stages of the kinds {may}");
                        ("pulses", "hits", help)
                    }
                    _ => {
                        let help = format!("put it into the `out` of a sequencer: out = [\"{}\"]", shown(name));
                        ("hits", "pulses", help)
                    }
                };
                let message = format!("`{}` is {}, through which only {only} go", shown(name), kind.keys.what);
                let fault = Fault::new(node.at.clone(), message)
                    .label(format!("found {}, expected one that {wanted} go through", kind.keys.what))
                    .help(help);
                self.told = Some(fields.tell(fault));
            }
            _ => self.indices.push(index),
        }
    }
}

/// Where a path begins.
fn source(fields: &mut Fields<'_, '_>, node: &Node, name: &str, key: &str, view: &View<'_>) -> Result<Source, Told> {
    let parts: Vec<&str> = name.splitn(4, '.').collect();
    let fault = match parts[..] {
        [output] => match view.position(Kind::Output, output) {
            Some(index) => return Ok(Source::Output(index)),
            None => no_output(node, name, key, view),
        },
        ["wire", wire] => match view.position(Kind::Wire, wire) {
            Some(index) => return Ok(Source::Wire(index)),
            None => unknown(node, wire, Kind::Wire, view),
        },
        ["sequencer", sequencer, tap] => {
            let known = TAPS.iter().find(|(word, _)| *word == tap);
            match (view.position(Kind::Sequencer, sequencer), known) {
                (None, _) => unknown(node, sequencer, Kind::Sequencer, view),
                (Some(index), Some((_, tap))) => return Ok(Source::Sequencer { index, tap: *tap }),
                (Some(_), None) => no_tap(node, sequencer, tap),
            }
        }
        ["sequencer", sequencer] if view.position(Kind::Sequencer, sequencer).is_some() => no_tap(node, sequencer, ""),
        ["clock" | "stage", alone] => {
            let message = format!("`{}` names its kind too", shown(name));
            Fault::new(node.at.clone(), message).label("found a kind and a name, expected the name alone").help(
                format!("write \"{}\"; only `wire.NAME` and `sequencer.NAME.step-1` are written so", shown(alone)),
            )
        }
        _ => Fault::new(node.at.clone(), format!("`{}` is not where a path begins", shown(name)))
            .label("expected an output, `wire.NAME`, or an output of a sequencer")
            .help("write the name of an output, \"wire.NAME\", or \"sequencer.NAME.step-1\" (or .end, .hits, .thru)"),
    };
    Err(fields.tell(fault))
}

fn no_tap(node: &Node, sequencer: &str, tap: &str) -> Fault {
    let words = TAPS.map(|(word, _)| word);
    let sequencer = shown(sequencer);
    let message = match tap {
        "" => format!("`sequencer.{sequencer}` does not say which of its outputs"),
        tap => format!("`{}` is not an output of a sequencer", shown(tap)),
    };
    let close = nearest(tap, words);
    let label = match close {
        Some(close) if !tap.is_empty() => format!("did you mean `{close}`?"),
        _ => format!("expected one of {}", listed(words)),
    };
    let close = by_nearness(tap, words).first().map_or("step-1", |(_, word)| word);
    Fault::new(node.at.clone(), message).label(label).help(format!(
        "write \"sequencer.{sequencer}.{}\"; there is {}",
        if tap.is_empty() { "step-1" } else { close },
        listed(words)
    ))
}

fn no_output(node: &Node, name: &str, key: &str, view: &View<'_>) -> Fault {
    let safe = shown(name);
    let of_outputs = listed(view.names(Kind::Output));
    if view.position(Kind::Stage, name).is_some() {
        return Fault::new(node.at.clone(), format!("`{safe}` is a stage, and a path begins with an output"))
            .label("found a stage, expected an output")
            .help(format!("write {key} = [\"OUTPUT\", \"{safe}\"]; of outputs there is {of_outputs}"));
    }
    let whole = if view.position(Kind::Wire, name).is_some() {
        ("wire", format!("wire.{safe}"))
    } else if view.position(Kind::Sequencer, name).is_some() {
        ("sequencer", format!("sequencer.{safe}.step-1"))
    } else {
        return unknown(node, name, Kind::Output, view);
    };
    let (what, whole) = whole;
    Fault::new(node.at.clone(), format!("`{safe}` is a {what}, which a path names with its kind"))
        .label(format!("found a {what}, expected an output or \"{whole}\""))
        .help(format!("write \"{whole}\" to begin there; of outputs there is {of_outputs}"))
}

/// Whether a name is that of something that a path begins with.
fn is_source(view: &View<'_>, name: &str) -> bool {
    ["wire.", "sequencer."].iter().any(|start| name.starts_with(start))
        || [Kind::Output, Kind::Wire, Kind::Sequencer].iter().any(|kind| view.position(*kind, name).is_some())
}

fn second_source(node: &Node, name: &str, view: &View<'_>) -> Fault {
    let what = match name.split('.').next() {
        Some("wire") => "a wire",
        Some("sequencer") => "an output of a sequencer",
        _ if view.position(Kind::Output, name).is_some() => "an output",
        _ if view.position(Kind::Wire, name).is_some() => "a wire",
        _ => "a sequencer",
    };
    let message = format!("`{}` is {what}, and a path begins once, with its first name", shown(name));
    let help =
        format!("keep one beginning, then stages in order; of stages there is {}", listed(view.names(Kind::Stage)));
    Fault::new(node.at.clone(), message).label(format!("found {what}, expected a stage")).help(help)
}

fn unknown(node: &Node, name: &str, kind: Kind, view: &View<'_>) -> Fault {
    let how = format!("define it with a heading [{}.{}]", kind.key(), shown(name));
    undefined(node.at.clone(), name, kind.noun(), view.names(kind), &how)
}
