use super::fault::Fault;
use super::fields::{Fields, Got};
use super::model::Path;
use super::node::{Node, Value};
use super::show::{listed, shown};
use super::view::{Kind, MOST_OF_A_KIND, View, undefined};

/// Reads the way to an input: the name of an output, or a list of an output and then stages.
pub(super) fn path(fields: &mut Fields<'_, '_>, key: &str, view: &View<'_>) -> Got<Path> {
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
    let mut output = Ok(0);
    let mut stages = Vec::new();
    let mut told = None;
    for (n, node) in nodes.iter().enumerate() {
        let Value::Text(name) = &node.value else {
            told = Some(fields.wrong_type(key, node, "a name in quotes", &example));
            continue;
        };
        let kind = if n == 0 { Kind::Output } else { Kind::Stage };
        match view.position(kind, name) {
            Some(index) if n == 0 => output = Ok(index),
            Some(index) if stages.contains(&index) => {
                let fault = Fault::new(node.at.clone(), format!("the stage `{}` is twice in one path", shown(name)))
                    .label("expected each stage once")
                    .help("take one out, or define a second stage");
                told = Some(fields.tell(fault));
            }
            Some(index) => stages.push(index),
            None => told = Some(fields.tell(unknown(node, name, kind, key, view))),
        }
    }
    match (told, output) {
        (Some(told), _) | (None, Err(told)) => Err(told),
        (None, Ok(output)) => Ok(Some(Path { output, stages })),
    }
}

fn unknown(node: &Node, name: &str, kind: Kind, key: &str, view: &View<'_>) -> Fault {
    let safe = shown(name);
    if kind == Kind::Output && view.position(Kind::Stage, name).is_some() {
        return Fault::new(node.at.clone(), format!("`{safe}` is a stage, and a path begins with an output"))
            .label("found a stage, expected an output")
            .help(format!(
                "write {key} = [\"OUTPUT\", \"{safe}\"]; of outputs there is {}",
                listed(view.names(Kind::Output))
            ));
    }
    if kind == Kind::Stage && view.position(Kind::Output, name).is_some() {
        return Fault::new(node.at.clone(), format!("`{safe}` is an output, and a path has one, its first name"))
            .label("found an output, expected a stage")
            .help(format!(
                "keep one output, then stages in order; of stages there is {}",
                listed(view.names(Kind::Stage))
            ));
    }
    let how = format!("define it with a heading [{}.{safe}]", kind.key());
    undefined(node.at.clone(), name, kind.noun(), view.names(kind), &how)
}
