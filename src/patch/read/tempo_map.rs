//! The `tempo-map` at the top of a patch.

use crate::patch::check::fault::{Fault, Place};
use crate::patch::check::node::Value;
use crate::patch::check::show::shown;
use crate::patch::check::view::MOST_OF_A_KIND;
use crate::patch::decimal::Decimal;
use crate::patch::model::{Bound, Keys, Row, Rule, Takes, decimal};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::quantity::{self, QuantityError};
use crate::patch::read::values::check;
use crate::time::{Aim, Beat, Ramp, Tempo, TempoStep};
use num_rational::Ratio;

/// The keys of an entry.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "an entry of `tempo-map`",
    about: "a change of tempo",
    rows: &[
        Row::needed(
            "at",
            Takes::Beats(Bound::at("0 beats")),
            "write at = \"16 beats\", where the tempo begins to change",
            "where the tempo begins to change",
        ),
        Row::needed("tempo", Takes::TempoOrShare, HELP, "a tempo, or a share of that with which the piece begins"),
        Row::free("over", Takes::Beats(Bound::past("0 beats")), "it changes at once", "how long the change lasts"),
        Row::free(
            "shape",
            Takes::Words(&["linear-in-time", "linear-in-beats", "exponential-in-beats", "linear-period"]),
            "none, without `over`",
            "by which reading the change is even",
        ),
    ],
    rules: &[Rule::Needs("over", "shape"), Rule::Needs("shape", "over")],
};
const HELP: &str = "write tempo = 150, or tempo = \"125 %\" of the tempo with which the piece begins";
const BEATS: &str = "a place in beats, such as \"16 beats\"";
const EXAMPLE: &str =
    "write tempo-map = [{ at = \"16 beats\", tempo = 150, over = \"8 beats\", shape = \"linear-in-beats\" }]";
const SHAPES: [(&str, Ramp); 4] = [
    ("linear-in-time", Ramp::LinearInTime),
    ("linear-in-beats", Ramp::LinearInBeats),
    ("exponential-in-beats", Ramp::ExponentialInBeats),
    ("linear-period", Ramp::LinearPeriod),
];
/// The beats that last 100 days at the fastest tempo.
const MOST_BEATS: i128 = 144_000_000;
/// The most decimals of a beat, and of a per cent.
const FINEST_BEAT: u32 = 6;
const FINEST_SHARE: i128 = 1_000_000;
/// Millionths of a quarter note a minute: 1 to 1000.
const BOUNDS: std::ops::RangeInclusive<i128> = 1_000_000..=1_000_000_000;

/// One entry, and where it stands.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Entry {
    pub(in crate::patch) step: TempoStep,
    pub(in crate::patch) at: Place,
}

impl Entry {
    /// Where the tempo stands still again.
    fn end(&self) -> Beat {
        self.step.ramp.map_or(self.step.at, |(over, _)| self.step.at + over)
    }
}

/// A number of beats: `"16 beats"`, `"1 beat"`, `"2.5 beats"`.
pub(in crate::patch) fn beats(text: &str) -> Result<Beat, QuantityError> {
    let fail = |message: String, write: Option<String>| QuantityError::new(message, write, BEATS);
    let (number, unit) = Decimal::split(text, BEATS)?;
    match unit {
        "beat" | "beats" => {}
        "" => {
            return Err(fail(format!("`{}` has no unit", shown(text)), Some(format!("{} beats", shown(text.trim())))));
        }
        "bar" | "bars" => {
            let message = format!("`{}` is counted in bars, and a place in a patch in beats", shown(text));
            return Err(fail(message, None));
        }
        _ => return Err(fail(format!("`{}` is not a unit of beats", shown(unit)), None)),
    }
    if number.decimals > FINEST_BEAT {
        return Err(fail(format!("`{}` is finer than {FINEST_BEAT} decimals of a beat", shown(text)), None));
    }
    if number.negative {
        return Err(fail(format!("`{}` is before the start", shown(text)), None));
    }
    if number.ratio() > Ratio::from_integer(MOST_BEATS) {
        return Err(fail(format!("`{}` is past the longest piece", shown(text)), None));
    }
    Ok(number.ratio())
}

/// A beat as it is written in messages.
pub(in crate::patch) fn show_beat(beat: Beat) -> String {
    decimal(crate::time::round_half_up(beat * 1000))
}

/// Reads the map. `tempos` are those that the patch is looked at, with each of which a piece may begin.
pub(in crate::patch) fn tempo_map(fields: &mut Fields<'_, '_>, tempos: &[Tempo]) -> Got<Vec<Entry>> {
    let Some((key, node)) = fields.get("tempo-map") else { return Ok(None) };
    let Value::List(list) = &node.value else {
        return Err(fields.wrong_type("tempo-map", node, "a list of tables", EXAMPLE));
    };
    if list.is_empty() {
        let fault = Fault::new(node.at.clone(), "`tempo-map` is an empty list").label("expected at least one change");
        return Err(fields.tell(fault.help(format!("{EXAMPLE}, or take it out"))));
    }
    if list.len() > MOST_OF_A_KIND {
        let found = format!("{} changes of tempo", list.len());
        return Err(fields.out_of_bounds("tempo-map", &found, &format!("at most {MOST_OF_A_KIND} changes")));
    }
    let all: Vec<_> = list
        .iter()
        .enumerate()
        .map(|(n, node)| {
            fields
                .entry((key, node), format!("entry {} of `tempo-map`", n + 1), EXAMPLE, |fields| entry(fields, tempos))
        })
        .collect();
    let all = all.into_iter().collect::<Result<Vec<_>, Told>>()?;
    let mut told = Ok(());
    for two in all.windows(2) {
        let (first, second) = (&two[0], &two[1]);
        let (begins, ends) = (show_beat(second.step.at), show_beat(first.end()));
        let message = if second.step.at < first.step.at {
            format!("the tempo map goes back: from beat {} to beat {begins}", show_beat(first.step.at))
        } else if second.step.at == first.step.at {
            format!("the tempo changes twice at beat {begins}")
        } else if second.step.at < first.end() {
            format!("a change of tempo begins at beat {begins}, within one that ends at beat {ends}")
        } else {
            continue;
        };
        let fault = Fault::new(second.at.clone(), message)
            .label(format!("expected a place from beat {ends} on"))
            .context(first.at.clone(), format!("this one ends at beat {ends}"))
            .help("write changes of tempo in order, each beginning where the one before has ended or later");
        told = Err(fields.tell(fault));
    }
    told.map(|()| Some(all))
}

fn entry(fields: &mut Fields<'_, '_>, tempos: &[Tempo]) -> Result<Entry, Told> {
    check(fields, &KEYS);
    let at = fields.quantity("at", beats);
    let at = fields.needed("at", at, "write at = \"16 beats\", where the tempo begins to change");
    let to = aim(fields, tempos);
    let over = fields.quantity("over", beats);
    let shape = fields.choice("shape", &SHAPES);
    let ramp = match (over?, shape?) {
        (None, None) => None,
        (Some(over), _) if over == Beat::from_integer(0) => {
            return Err(fields.out_of_bounds(
                "over",
                "0 beats",
                "more than 0 beats; without `over` it changes at once",
            ));
        }
        (Some(over), Some(shape)) => Some((over, shape)),
        (Some(_), None) => {
            let help = "write shape = \"linear-in-time\", \"linear-in-beats\", \"exponential-in-beats\" or \"linear-period\": \
                        from 120 to 150 over 16 beats they last 7.111, 7.141, 7.170 and 7.200 s";
            return Err(fields.missing("shape", help));
        }
        (None, Some(_)) => {
            return Err(fields.missing("over", "write over = \"8 beats\", or take `shape` out: it changes at once"));
        }
    };
    Ok(Entry { step: TempoStep { at: at?, to: to?, ramp }, at: fields.at.clone() })
}

fn aim(fields: &mut Fields<'_, '_>, tempos: &[Tempo]) -> Result<Aim, Told> {
    let Some((_, node)) = fields.get("tempo") else { return Err(fields.missing("tempo", HELP)) };
    if let Value::Number(_) = &node.value {
        return crate::patch::read::tempo::tempo(fields, node, HELP).map(Aim::Tempo);
    }
    let Value::Text(text) = &node.value else {
        return Err(fields.wrong_type("tempo", node, "a number without quotes or a share in per cent", HELP));
    };
    if let Ok(tempo) = text.parse::<Tempo>() {
        let fault = Fault::new(node.at.clone(), format!("the tempo `{}` is a text", shown(text)))
            .label("expected a number without quotes, or a share in per cent")
            .help(format!("write tempo = {tempo}, or tempo = \"125 %\""));
        return Err(fields.tell(fault));
    }
    let Some(share) = fields.quantity("tempo", quantity::share)? else { return Err(Told) };
    if !(share * FINEST_SHARE).is_integer() {
        let found = "more than 4 decimals of a per cent";
        return Err(fields.out_of_bounds("tempo", found, "a share with at most 4 decimals"));
    }
    for tempo in tempos {
        let micro = Aim::Share(share).micro(*tempo);
        if !BOUNDS.contains(&micro) {
            let written = fields.written("tempo");
            let found = format!("{written} of {tempo} is {}", decimal(micro / 1000));
            return Err(fields.out_of_bounds("tempo", &found, "1 to 1000 quarter notes a minute at every tempo"));
        }
    }
    Ok(Aim::Share(share))
}
