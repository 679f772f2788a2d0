use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::node::{Key, Table, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::Section;
use crate::patch::model::USUAL_MAX_GAP;
use crate::patch::model::given::Given;
use crate::patch::model::measures::TIME;
use crate::patch::model::{Jitter, Meter, Noise, OF_CLOCK, Recorded, decimal, jitter as read_jitter, show_time};
use crate::patch::read::box_kind::BoxKinds;
use crate::patch::read::change::{Turning, changes};
use crate::patch::read::fields::{Fields, Got};
use crate::patch::read::quantities::plain;
use crate::patch::read::tempo::tempos;
use crate::patch::read::tempo_map::{Entry, tempo_map};
use crate::patch::read::top_keys::KEYS;
use crate::patch::read::values::{Values, check};
use crate::patch::read::voice::NOISES;
use crate::patch::read::words::words;
use crate::time::{Beat, LONGEST_PIECE_PS, PS_PER_US, Span, Tempo, decimal_comma};
use num_rational::Ratio;
use std::collections::HashSet;
use std::ops::Range;

/// What is asked for beside the file, on the command line; it overrides what the file says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// The tempos to look at; equal ones are one. An empty list asks for nothing.
    pub tempos: Option<Vec<Tempo>>,
    /// How many bars the patch lasts.
    pub bars: Option<u64>,
    /// The largest gap that is still acceptable.
    pub max_gap: Option<Span>,
    /// What takes say of the piece; it holds where neither the patch nor the rest of this says anything.
    pub recorded: Recorded,
    /// Kinds of boxes from files, which the patch may name beside its own and those of the kit.
    pub boxes: BoxKinds,
}

/// What stands at the top of a patch, and what was asked for instead.
#[derive(Clone, Debug)]
pub(in crate::patch) struct Top {
    pub(in crate::patch) title: Option<String>,
    pub(in crate::patch) note: Option<String>,
    pub(in crate::patch) tempos: Vec<Tempo>,
    pub(in crate::patch) meter: Meter,
    pub(in crate::patch) bars: Option<u64>,
    pub(in crate::patch) max_gap: Span,
    /// Whether the patch or the command line says so.
    pub(in crate::patch) max_gap_given: bool,
    pub(in crate::patch) skew: Span,
    pub(in crate::patch) max_wobble: Option<Span>,
    pub(in crate::patch) noise: Noise,
    /// Of the clock itself.
    pub(in crate::patch) jitter: Option<Jitter>,
    /// The output that `one` names, and where.
    pub(in crate::patch) one: Option<(String, Range<usize>)>,
    /// Where the tempo changes.
    pub(in crate::patch) tempo_map: Vec<Entry>,
    /// What is turned and switched in the course of the piece.
    pub(in crate::patch) changes: Vec<Turning>,
}

impl Top {
    /// The fastest tempo: what holds there of periods and widths holds at every other.
    pub(in crate::patch) fn fastest(&self) -> Tempo {
        let changed = |tempo: &Tempo| {
            let micro = |entry: &Entry| u64::try_from(entry.step.to.micro(*tempo)).ok().and_then(Tempo::from_micro);
            self.tempo_map.iter().filter_map(micro).max()
        };
        let changed = self.tempos.iter().filter_map(changed).max();
        self.tempos.iter().copied().chain(changed).max().unwrap_or(Tempo::whole(120))
    }
}

/// Reads the keys at the top. Whatever is faulty is told, and stands at its default in the answer.
pub(in crate::patch) fn top(
    source: &str,
    table: &Table,
    asked: &Asked,
    faults: &mut Faults,
    warnings: &mut Faults,
) -> Top {
    let key = Key { text: String::new(), at: 0..0 };
    let section = Section::new(&key, table);
    let mut fields = Fields { source, what: "the patch".to_owned(), at: 0..0, section: &section, faults, warnings };
    check(&mut fields, &KEYS);
    let title = words(&mut fields, "title", false);
    let note = words(&mut fields, "note", true);
    let written = tempos(&mut fields);
    if let (Ok(Some(list)), Some((_, node))) = (&written, fields.get("tempos"))
        && let Some(note) = decimal_comma(list)
    {
        let warning = Fault::new(node.at.clone(), note).label("a comma parts two tempos");
        fields.warnings.push(warning.help("write a decimal point, or leave it if both are meant"));
    }
    let asked_tempos = asked.tempos.as_ref().filter(|t| !t.is_empty());
    let mut tempos: Vec<Tempo> = asked_tempos.or(written.ok().flatten().as_ref()).cloned().unwrap_or_default();
    if tempos.is_empty() {
        tempos.push(asked.recorded.tempo.unwrap_or(Tempo::USUAL));
    }
    let mut seen = HashSet::new();
    tempos.retain(|tempo| seen.insert(*tempo));
    let meter = meter(&mut fields).or(asked.recorded.meter).unwrap_or(Meter::USUAL);
    let tempo_map = tempo_map(&mut fields, &tempos).ok().flatten().unwrap_or_default();
    let changes = changes(&mut fields, &KEYS).ok().flatten().unwrap_or_default();
    let slowest = tempos.iter().copied().min().unwrap_or(Tempo::whole(120));
    let bars = bars(&mut fields, asked.bars, meter, slowest);
    let max_gap = plain(&mut fields, "max-gap", &TIME).ok().flatten();
    let given = &mut Values::new(&mut fields, &KEYS, None);
    let (skew, max_wobble) = (given.time("skew").ok().flatten(), given.time("max-wobble").ok().flatten());
    let noise = fields.choice("noise", &NOISES).ok().flatten().unwrap_or(Noise::Same);
    let jitter = jitter(&mut fields).ok().flatten();
    let one = fields.text("one", "OUTPUT").ok().flatten().map(|(name, node)| (name.to_owned(), node.at.clone()));
    Top {
        title,
        note,
        tempos,
        meter,
        bars: bars.ok().flatten(),
        max_gap_given: asked.max_gap.or(max_gap).is_some(),
        max_gap: asked.max_gap.or(max_gap).unwrap_or(USUAL_MAX_GAP),
        skew: skew.unwrap_or(Span(10 * PS_PER_US)),
        max_wobble,
        noise,
        jitter,
        one,
        tempo_map,
        changes,
    }
}

/// How the clock itself is scattered.
fn jitter(fields: &mut Fields<'_, '_>) -> Got<Jitter> {
    const EXAMPLE: &str = "write a heading [jitter], and below it each = { sd = \"200 us\" }";
    let Some((key, node)) = fields.get("jitter") else { return Ok(None) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("jitter", node, "a table", EXAMPLE));
    };
    fields
        .within(key, table, |inner| {
            check(inner, &OF_CLOCK);
            read_jitter(&mut Values::new(inner, &OF_CLOCK, None))
        })
        .map(Some)
}

fn meter(fields: &mut Fields<'_, '_>) -> Option<Meter> {
    let (text, node) = fields.text("meter", "4/4").ok().flatten()?;
    let numbers = text.split_once('/').and_then(|(count, unit)| {
        let whole =
            |t: &str| t.trim().bytes().all(|b| b.is_ascii_digit()).then(|| t.trim().parse::<u32>().ok()).flatten();
        Some((whole(count)?, whole(unit)?))
    });
    if let Some(meter) = numbers.and_then(|(count, unit)| Meter::new(count, unit)) {
        return Some(meter);
    }
    let fault = Fault::new(node.at.clone(), format!("`{}` is not a meter", shown(text)))
        .label(format!("expected 1 to {0}, `/`, and one of 1, 2, 4, 8, 16, 32 and {0}", Meter::LARGEST))
        .help("write meter = \"4/4\"");
    fields.tell(fault);
    None
}

/// The bars that are asked for or written, where the piece is not too long at the slowest tempo.
fn bars(fields: &mut Fields<'_, '_>, asked: Option<u64>, meter: Meter, slowest: Tempo) -> Got<u64> {
    let written = Values::new(fields, &KEYS, None).whole("bars");
    let bars = match asked {
        Some(bars) => bars,
        None => match written? {
            Some(bars) => bars.cast_unsigned(),
            None => return Ok(None),
        },
    };
    // A beat is a minute at the slowest, and a bar at least a sixteenth of a beat: past this many no piece fits.
    const PAST_ALL: u64 = 1 << 40;
    let short = bars.min(PAST_ALL);
    let lasts = slowest.exact(meter.bar() * Beat::from_integer(i128::from(short)));
    if bars > 0 && lasts <= Ratio::from_integer(i128::from(LONGEST_PIECE_PS)) {
        return Ok(Some(bars));
    }
    let days = lasts / Ratio::from_integer(i128::from(LONGEST_PIECE_PS / 100));
    let message = match bars {
        0 => "a patch of 0 bars is asked for".to_owned(),
        PAST_ALL.. => format!("{bars} bars at {slowest} last longer than 100 days, which is the most"),
        _ => {
            format!(
                "{bars} bars at {slowest} last {} days, and the most is 100",
                decimal((days * 1000).ceil().to_integer())
            )
        }
    };
    let mut fault = Fault::new(0..0, message)
        .label("expected at most 100 days")
        .help(format!("write fewer bars: a bar at {slowest} lasts {}", show_time(slowest.exact(meter.bar()))));
    if bars == 0 {
        fault = fault.label("expected at least 1").help("ask for 1 bar or more");
    }
    fault.at = match asked {
        Some(_) => None,
        None => fields.get("bars").map(|(_, node)| node.at.clone()),
    };
    Err(fields.tell(fault))
}
