//! Tempos, alone and in a list.

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::MOST_OF_A_KIND;
use crate::patch::read::fields::{Fields, Got, Told};
use crate::time::Tempo;

pub(in crate::patch) fn tempos(fields: &mut Fields<'_, '_>) -> Got<Vec<Tempo>> {
    const EXAMPLE: &str = "write tempos = [60, 97.5, 120], quarter notes a minute";
    let Some((_, node)) = fields.get("tempos") else { return Ok(None) };
    let list = match &node.value {
        Value::List(list) if !list.is_empty() => list,
        Value::List(_) => {
            let fault = Fault::new(node.at.clone(), "`tempos` is an empty list").label("expected at least one tempo");
            return Err(fields.tell(fault.help(EXAMPLE)));
        }
        Value::Number(_) => {
            let written = shown(fields.source.get(node.at.clone()).unwrap_or_default());
            return Err(fields.wrong_type("tempos", node, "a list of numbers", &format!("write tempos = [{written}]")));
        }
        _ => return Err(fields.wrong_type("tempos", node, "a list of numbers", EXAMPLE)),
    };
    if list.len() > MOST_OF_A_KIND {
        let found = format!("{} tempos", list.len());
        return Err(fields.out_of_bounds("tempos", &found, &format!("at most {MOST_OF_A_KIND} tempos")));
    }
    let all: Vec<_> = list.iter().map(|node| tempo(fields, node, EXAMPLE)).collect();
    all.into_iter().collect::<Result<Vec<_>, Told>>().map(Some)
}

pub(in crate::patch) fn tempo(fields: &mut Fields<'_, '_>, node: &Node, example: &str) -> Result<Tempo, Told> {
    let Value::Number(_) = &node.value else {
        let fault = Fault::new(node.at.clone(), format!("a tempo is {}", node.kind()))
            .label(format!("found {}, expected a number without quotes", node.kind()))
            .help(example);
        return Err(fields.tell(fault));
    };
    let written = fields.source.get(node.at.clone()).unwrap_or_default();
    written.parse().map_err(|error: crate::time::TempoError| {
        let message = match error {
            crate::time::TempoError::NotANumber(_) => format!("`{}` is not a tempo", shown(written)),
            error => error.to_string(),
        };
        let label = "expected 1 to 1000 quarter notes a minute, with at most 6 decimals";
        fields.tell(Fault::new(node.at.clone(), message).label(label).help(example))
    })
}
