use super::together;
use crate::patch::check::fault::Fault;
use crate::patch::check::view::View;
use crate::patch::model::{Does, Logic, Sheet, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::patch::read::measure::{TIME, show_span};
use crate::patch::read::path::path;
use crate::patch::read::sheet::sheet;
use crate::time::Span;

pub(super) fn read(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<StageKind, Told> {
    let does = fields.choice("does", &[("or", Does::Or), ("and", Does::And), ("xor", Does::Xor), ("not", Does::Not)]);
    let does = fields.needed("does", does, "write does = \"or\", \"and\", \"xor\" or \"not\"");
    let with = path(fields, "with", view);
    let delay = sheet(fields, "delay", &TIME);
    let swallows = fields.whole_time("swallows");
    let with = match (does, fields.get("with")) {
        (Ok(Does::Not), Some((key, _))) => {
            let fault = Fault::new(key.at.clone(), format!("{} is a `not` and has a `with`", fields.what))
                .label("found a second input, expected none")
                .help("take it out, or write does = \"or\", \"and\" or \"xor\"");
            Err(fields.tell(fault))
        }
        (Ok(Does::Or | Does::And | Does::Xor), None) => {
            Err(fields.missing("with", "write with = \"OUTPUT\", the way to its second input"))
        }
        _ => with,
    };
    let (does, with, swallows) = (does?, with?, swallows?);
    let delay = delay?.unwrap_or(Sheet::plain(Span::ZERO));
    let swallows = match swallows {
        Some(swallows) if swallows > delay.min => {
            let help = "swallow less: whether a pulse is too short is known only at its end, and by then it would have left; \
                        a value without a `min` is 0 at least";
            let (found, most) = (show_span(swallows), show_span(delay.min));
            let expected = format!("at most {most}, the least delay");
            return Err(together(fields, "swallows", "swallows longer pulses than it delays", &found, &expected, help));
        }
        swallows => swallows.unwrap_or(delay.min),
    };
    Ok(StageKind::Logic(Logic { does, with, delay, swallows }))
}
