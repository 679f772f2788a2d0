use super::{needs, together};
use crate::patch::check::fault::Fault;
use crate::patch::check::view::View;
use crate::patch::model::{Delay, OneShot, Sheet, StageKind, WhileBusy};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::measure::{TIME, WIDTH, show_span};
use crate::patch::read::sheet::sheet;
use crate::time::Span;

const NONE: Sheet<Span> = Sheet::plain(Span::ZERO);

pub(super) fn read(fields: &mut Fields<'_, '_>, _: &View<'_>) -> Result<StageKind, Told> {
    let both = sheet(fields, "delay", &TIME);
    let rise = sheet(fields, "rise", &TIME);
    let fall = sheet(fields, "fall", &TIME);
    let swallows = fields.whole_time("swallows");
    let width = sheet(fields, "width", &WIDTH);
    let while_busy = fields.choice(
        "while-busy",
        &[("passes", WhileBusy::Passes), ("ignores", WhileBusy::Ignores), ("restarts", WhileBusy::Restarts)],
    );
    let alone = needs(fields, "while-busy", "width", "write a `width`, which makes the stage a one-shot");
    let delays = apart(fields, both, rise, fall);
    let (width, while_busy, swallows) = (width?, while_busy?, swallows?.unwrap_or(Span::ZERO));
    alone?;
    let (rise, fall) = delays?;
    let least = if width.is_some() { rise.min } else { rise.min.min(fall.min) };
    if swallows > least {
        let help = "swallow less: whether a pulse is too short is known only at its end, and by then it would have left; \
                    a value without a `min` is 0 at least";
        let (found, most) = (show_span(swallows), show_span(least));
        let expected = format!("at most {most}, the least delay");
        return Err(together(fields, "swallows", "swallows longer pulses than it delays", &found, &expected, help));
    }
    let one_shot = width.map(|width| OneShot { width, while_busy: while_busy.unwrap_or(WhileBusy::Ignores) });
    if one_shot.is_some() {
        fields.without_effect("fall", "a one-shot takes no notice of falls");
    }
    Ok(StageKind::Delay(Delay { rise, fall, swallows, one_shot }))
}

/// The delays of rises and of falls: one for both, or each its own.
fn apart(
    fields: &mut Fields<'_, '_>,
    both: Got<Sheet<Span>>,
    rise: Got<Sheet<Span>>,
    fall: Got<Sheet<Span>>,
) -> Result<(Sheet<Span>, Sheet<Span>), Told> {
    let own = ["rise", "fall"].into_iter().find_map(|key| fields.get(key));
    if let (Some((both, _)), Some((own, _))) = (fields.get("delay"), own) {
        let fault = Fault::new(own.at.clone(), format!("{} has both `delay` and `{}`", fields.what, own.text))
            .label("expected one of the two")
            .context(both.at.clone(), "the other is here")
            .help("keep `delay` for both, or `rise` and `fall`, each its own");
        return Err(fields.tell(fault));
    }
    let (both, rise, fall) = (both?, rise?, fall?);
    match (both, rise, fall) {
        (Some(both), ..) => Ok((both, both)),
        (None, Some(rise), Some(fall)) => Ok((rise, fall)),
        (None, Some(rise), None) if fields.has("width") => Ok((rise, rise)),
        (None, None, _) if fields.has("width") => Ok((NONE, NONE)),
        (None, Some(_), None) => Err(fields.missing("fall", "write fall = \"60 us\", or `delay` for both")),
        (None, None, Some(_)) => Err(fields.missing("rise", "write rise = \"40 us\", or `delay` for both")),
        (None, None, None) => {
            Err(fields.missing("delay", "write delay = \"40 us\", or rise = \"40 us\" and fall = \"60 us\""))
        }
    }
}
