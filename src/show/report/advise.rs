use super::advise_aside::in_the_way;
use super::advise_figures::{
    Round, delay_phrase, ends_in_ms, farads, ohms, percent, share_phrase, steps_phrase, us, whole_percent,
};
use super::{Align, Table, words};
use crate::judge::Reason;
use crate::judge::advise::{
    Advice, Alternative, Aside, AtTempo, DialSetting, Fit, Hold, Level, Part, RcPair, ShareWindow, Window,
};
use crate::patch::{Rig, Share};
use crate::time::{PS_PER_US, Span, Tempo};
use num_rational::Ratio;
use std::fmt::Write;

/// What is to be shown of an advice.
#[derive(Clone, Debug)]
pub struct Advised<'a> {
    /// The patch as it was named on the command line.
    pub name: String,
    /// Whose threshold the max gap is, in a sentence; `None` where it is not from an ear file.
    pub max_gap_from: Option<String>,
    /// What the patch calls itself, if it does.
    pub title: Option<&'a str>,
    /// The name of the variant that the delay goes into.
    pub variant: &'a str,
    /// The rig.
    pub rig: &'a Rig,
    /// The answer.
    pub advice: &'a Advice,
    /// Where no delay will do at some tempo: whether one will at another input.
    pub instead: Option<Alternative>,
    /// Who is at fault where more delay here mends it and the box itself is fine, with the first tempo at which something is wrong.
    pub blamed: Option<(usize, Tempo, Reason)>,
    /// Where others keep it from passing whatever is done here: who they are, and the advice as if they were not there.
    pub aside: Option<(&'a Aside, &'a Advice)>,
}

/// What a logic gate and its wires are taken to cost where chances are told (common practice, no source).
const SHORT: Span = Span(40 * PS_PER_US);

/// The caution wherever parts and wires are spoken of.
pub(super) const WIRING: &str = "Wiring: patch with the power off where the maker says so, keep within the inputs' rated voltages, and leave mains\n\
wiring to licensed people under local codes.";

/// An advice as people read it, in tables of so many columns of a terminal.
#[must_use]
pub fn advise_table(advised: &Advised<'_>, width: usize) -> String {
    let mut out = head(advised);
    let apart;
    let advised = match advised.aside {
        Some((aside, advice)) => {
            out.push_str(&in_the_way(advised, aside, advice));
            apart = Advised { rig: &aside.rig, advice, instead: None, aside: None, blamed: None, ..advised.clone() };
            &apart
        }
        None => advised,
    };
    let advice = advised.advice;
    out.push('\n');
    windows(&mut out, advice, width);
    out.push('\n');
    ends(&mut out, advised);
    for hold in &advice.holds {
        let _ = writeln!(out, "{}", hold_line(hold));
    }
    // Where nothing is needed, nothing need be bought or soldered.
    let needed = !needs_nothing(advice);
    let put_in = needed && !advice.parts.is_empty();
    if put_in {
        out.push('\n');
        parts(&mut out, advice, width);
    }
    let rc = advice.rc.as_ref().filter(|_| needed);
    if let Some(rc) = rc {
        out.push('\n');
        rc_lines(&mut out, rc);
    }
    if let Some(from) = &advised.max_gap_from {
        let _ = writeln!(out, "{from}");
    }
    if put_in || rc.is_some() {
        let _ = writeln!(out, "{WIRING}");
    }
    out
}

fn head(advised: &Advised<'_>) -> String {
    let title = advised.title.map_or_else(|| words::plain(&advised.name), words::plain);
    let with = if advised.variant == crate::patch::ORIGINAL {
        String::new()
    } else {
        format!(", with the fix {}", advised.variant)
    };
    format!("{title}: more delay on {}{with}\n", advised.advice.target.name(advised.rig))
}

fn windows(out: &mut String, advice: &Advice, width: usize) {
    let mut columns = vec![
        ("tempo", Align::Right),
        ("at least", Align::Right),
        ("at most", Align::Right),
        ("share of the period", Align::Left),
    ];
    let of_dial = advice.dial.as_ref().map(|(steps, _)| format!("of {steps} steps"));
    columns.extend(of_dial.as_ref().map(|name| (name.as_str(), Align::Left)));
    let mut table = Table::new(&columns);
    let mut rows = |tempo: String, windows: &[Window], shares: &[ShareWindow], dial: Option<&[u32]>| {
        if windows.is_empty() && shares.is_empty() {
            let cells = [tempo, "none".into(), "none".into(), "—".into()];
            table.row(cells.into_iter().chain(dial.map(steps_phrase)));
            return;
        }
        for n in 0..windows.len().max(shares.len()) {
            let first = n == 0;
            let window = windows.get(n).map(|w| ends_in_ms(*w));
            let cells = [
                if first { tempo.clone() } else { String::new() },
                window.as_ref().map_or_else(|| "none".into(), |[least, _]| format!("{least} ms")),
                window.as_ref().map_or_else(|| "none".into(), |[_, most]| format!("{most} ms")),
                shares.get(n).map_or_else(|| "—".into(), |s| share_phrase(*s)),
            ];
            table.row(cells.into_iter().chain(dial.filter(|_| first).map(steps_phrase)));
        }
    };
    for at in &advice.tempos {
        let dial = advice.dial.as_ref().map(|(steps, _)| at.settings(*steps).0);
        rows(at.tempo.to_string(), &at.sure, &at.shares(), dial.as_deref());
    }
    if advice.tempos.len() > 1 {
        rows("all".into(), &advice.sure, &advice.shares, advice.dial.as_ref().map(|(_, all)| all.as_slice()));
    }
    out.push_str(&table.render_within(width));
}

/// Whether everything is right without any delay, at every tempo.
pub(super) fn needs_nothing(advice: &Advice) -> bool {
    advice.sure.first().is_some_and(|window| window.least == Span::ZERO)
}

/// Why the windows end where they do, and what else is to be known.
fn ends(out: &mut String, advised: &Advised<'_>) {
    let (advice, rig) = (advised.advice, advised.rig);
    let name = &rig.sequencers[advice.target.sequencer].name;
    let tell =
        |reasons: &[Reason]| reasons.first().map_or_else(String::new, |r| words::reason(rig, r, advice.aim.max_gap));
    let mut said: Vec<String> = Vec::new();
    if needs_nothing(advice) {
        said.push("Nothing is needed: no delay at all will do.".to_owned());
    }
    if let Some((_, tempo, reason)) = &advised.blamed {
        let why = words::reason(rig, reason, advice.aim.max_gap);
        said.push(format!("{name} itself is fine: at {tempo}, {why}. More delay here makes {name} wait."));
    }
    // The tempo that sets each end is the one to know.
    let sets = |at: &&AtTempo| !at.sure.is_empty() || !at.passes.is_empty();
    let low = |at: &AtTempo| at.sure.first().or(at.passes.first()).map(|w| w.least);
    let high = |at: &AtTempo| at.sure.last().or(at.passes.last()).map(|w| w.most);
    let binds_low = advice.tempos.iter().filter(sets).rev().max_by_key(|at| low(at));
    let binds_high = advice.tempos.iter().filter(sets).min_by_key(|at| high(at));
    if let Some(at) = binds_low.filter(|at| !at.below.is_empty()) {
        said.push(format!("With less, at {}, {}.", at.tempo, tell(&at.below)));
    }
    match binds_high {
        Some(at) if !at.above.is_empty() => said.push(format!("With more, at {}, {}.", at.tempo, tell(&at.above))),
        Some(at) => said.push(format!("Looked at up to {} ms, where the next pulse comes.", words::ms(at.searched))),
        None => {}
    }
    for at in advice.tempos.iter().filter(|at| at.passes.is_empty()) {
        said.push(format!("At {} no delay will do: at best, {}.", at.tempo, tell(&at.below)));
    }
    match advised.instead {
        Some(Alternative::On(target)) => {
            let on = target.name(rig);
            said.push(format!("More delay on {on} will do: try `--on {on}`."));
        }
        Some(Alternative::Nowhere) => said.push("Nor is one delay at any other input sure at every tempo.".to_owned()),
        Some(Alternative::Unknown) | None => {}
    }
    let risky = advice.tempos.iter().filter(|at| at.sure.is_empty() && !at.passes.is_empty());
    for at in risky {
        let [least, most] = ends_in_ms(at.passes[0]);
        said.push(format!(
            "At {} all that passes, {least} to {most} ms, is at risk: less than the skew, or what tolerances can do, changes it.",
            at.tempo,
        ));
    }
    if advice.sure.is_empty() && advice.tempos.iter().all(|at| !at.sure.is_empty()) {
        said.push("No one delay serves all these tempos.".to_owned());
    }
    match advice.tempos.first().and_then(|at| at.kept) {
        None => said.push(format!("Nothing bounds how {name}'s inputs move against each other: no delay is sure.")),
        Some(kept) => {
            let touches = advice
                .tempos
                .iter()
                .any(|at| at.passes.iter().zip(&at.sure).any(|(p, s)| p.least < s.least || p.most > s.most));
            if touches {
                let passes = advice.passes.first().or(advice.tempos[0].passes.first());
                let from = passes.map_or_else(String::new, |w| {
                    let [least, most] = ends_in_ms(*w);
                    format!("\nWithout that, {least} to {most} ms pass.")
                });
                said.push(format!(
                    "Ends are kept {} ms from where somebody would play another step: the skew, and what tolerances can do.{from}",
                    words::ms(kept)
                ));
            }
        }
    }
    if let Some((at, looks)) = advice.tempos.first().and_then(|at| Some((at, at.looks?))) {
        let odds = at.odds(SHORT).map_or_else(String::new, |odds| {
            format!(
                "A shorter delay is right at some resets only: {} ms at {} % of them.",
                words::ms(SHORT),
                whole_percent(odds)
            )
        });
        said.push(format!(
            "{name} looks at its inputs only now and then, up to {} ms late; the windows are certain all the same.\n{odds}",
            words::ms(looks)
        ));
    }
    if advice.tempos.iter().any(|at| !at.exact) {
        said.push(
            "Something behind this box queues or looks: the windows were found on a grid, and may have missed one."
                .into(),
        );
    }
    for other in advice.tempos.iter().flat_map(|at| &at.elsewhere) {
        let name = &rig.sequencers[other.sequencer].name;
        let line = match other.margin {
            Some(_) => format!("Mind: {name} is at risk by itself, which no delay here changes."),
            None => format!("Mind: how sure {name} is of its own resets is not known, and no delay here changes it."),
        };
        if !said.contains(&line) {
            said.push(line);
        }
    }
    for line in said {
        let _ = writeln!(out, "{line}");
    }
}

/// `1 % passes from 75 up (looked at from 20 to 300).`
fn hold_line(hold: &Hold) -> String {
    let what = match hold.setting {
        DialSetting::Time(time) => format!("{} ms", words::exact_ms(time)),
        DialSetting::Share(share) => format!("{} %", percent(share, Round::Near)),
    };
    let (low, high) = hold.between;
    let range = |&(from, to): &(Tempo, Tempo)| match (from == low, to == high) {
        (true, true) => "at every tempo".to_owned(),
        (true, false) => format!("up to {to}"),
        (false, true) => format!("from {from} up"),
        (false, false) => format!("from {from} to {to}"),
    };
    let ranges: Vec<String> = hold.ranges.iter().map(range).collect();
    let where_ = if ranges.is_empty() { "at no tempo".to_owned() } else { ranges.join(", and ") };
    let exact = if hold.exact { "" } else { "; there was too much to try, so that a tempo may be missing" };
    format!("{what} passes {where_} (looked at from {low} to {high}{exact}).")
}

fn parts(out: &mut String, advice: &Advice, width: usize) {
    let priced = advice.parts.iter().any(|p| p.price.is_some());
    let mut columns = vec![
        ("component", Align::Left),
        ("", Align::Left),
        ("its delay", Align::Right),
        ("room below", Align::Right),
        ("room above", Align::Right),
    ];
    if priced {
        columns.push(("price", Align::Left));
    }
    let mut table = Table::new(&columns);
    let mut said = String::new();
    for part in &advice.parts {
        let margin = |room: Option<Span>, of: Option<Span>| match room {
            None => "—".to_owned(),
            Some(room) => {
                // More than ten times its own delay is room enough for anything.
                let share = of.filter(|of| of.0 > 0).map(|of| Ratio::new(i128::from(room.0), i128::from(of.0)));
                let share = share.filter(|s| *s < Ratio::from_integer(10));
                let share = share.map_or_else(String::new, |s| format!(" ({} %)", whole_percent(s)));
                format!("{} µs{share}", us(room))
            }
        };
        let (least, most) = (part.delay.map(|d| d.least), part.delay.map(|d| d.most));
        let cells = [
            words::plain(&part.name),
            fit_phrase(part),
            part.delay.map_or_else(|| "no pulse".into(), delay_phrase),
            margin(part.room.map(|r| r.sooner), least),
            margin(part.room.map(|r| r.later), most),
        ];
        said.extend(cells[1..].iter().map(|cell| format!("{cell}\n")));
        let price = part.price.as_deref().map_or_else(|| "—".into(), words::plain);
        table.row(cells.into_iter().chain(priced.then_some(price)));
    }
    out.push_str(&table.render_within(width));
    // Of its own words each is explained that stands above; a share comes in brackets, and what is missing with a minus.
    let room = match (said.contains('('), said.contains('−')) {
        (true, true) => {
            format!("{ROOM}, also\n             as a share of that delay; with a minus, so much is missing")
        }
        (true, false) => format!("{ROOM}, also\n             as a share of that delay"),
        (false, true) => format!("{ROOM};\n             with a minus, so much is missing"),
        (false, false) => ROOM.to_owned(),
    };
    let legend = [
        (advice.parts.iter().any(|p| p.room.is_some()), room.as_str()),
        (
            said.contains("at risk"),
            "at risk:   it may pass, and luck decides: its tolerances, its loop or the skew can bring it over an end",
        ),
        (
            said.contains("all well"),
            "all well:  in so many of 100 runs drawn for it nobody was off the one and no gap was too wide",
        ),
    ];
    if legend.iter().any(|(said, _)| *said) {
        out.push('\n');
    }
    for (_, line) in legend.iter().filter(|(said, _)| *said) {
        let _ = writeln!(out, "  {line}");
    }
}

/// What the two columns of room are.
const ROOM: &str = "room:      how far its least delay is above what is needed, and its largest below what is allowed";

pub(super) fn fit_phrase(part: &Part) -> String {
    let at = |level: Level| {
        let tempos: Vec<String> = part.at.iter().filter(|a| a.level == level).map(|a| a.tempo.to_string()).collect();
        tempos.join(", ")
    };
    let risky = part.at.iter().filter(|a| a.level == Level::AtRisk).filter_map(|a| a.chance);
    let odds: Vec<Share> = risky.map(|(well, of)| Ratio::new(i128::from(well), i128::from(of.max(1)))).collect();
    let odds = match (odds.iter().min(), odds.iter().max()) {
        (Some(low), Some(high)) if low == high => format!(", all well in {} % of runs", whole_percent(*low)),
        (Some(low), Some(high)) => {
            format!(", all well in {} to {} % of runs", whole_percent(*low), whole_percent(*high))
        }
        _ => String::new(),
    };
    match part.fit {
        Fit::Always => "fits always".to_owned(),
        Fit::Sometimes => format!("fits at {}", at(Level::Fits)),
        Fit::AtRisk if part.at.iter().any(|a| a.level == Level::Fails) => {
            format!("at risk at {}{odds}", at(Level::AtRisk))
        }
        Fit::AtRisk => format!("at risk{odds}"),
        Fit::Never => "does not fit".to_owned(),
    }
}

fn rc_lines(out: &mut String, rc: &RcPair) {
    let always = rc.at.iter().all(|a| a.level == Level::Fits);
    let fits = rc.at.iter().filter(|a| a.level == Level::Fits).map(|a| a.tempo.to_string());
    let fits: Vec<String> = fits.collect();
    let verdict = match (always, fits.is_empty()) {
        (true, _) => "fits always".to_owned(),
        (false, true) => "at risk at every tempo".to_owned(),
        (false, false) => format!("fits at {}", fits.join(", ")),
    };
    let _ = writeln!(
        out,
        "Or solder {} (5 %) and {} (10 %), of E24 and E12 (IEC 60063): {verdict}. They come nearest the middle of the\n\
         window, {} ms: a 5 V edge is late by {} µs, or by {} to {} µs with their tolerances and an input that\n\
         switches anywhere from 1.5 to 3.5 V, which alone is a spread of 0.85 RC.",
        ohms(rc.ohms),
        farads(rc.farads),
        words::ms(rc.aimed),
        us(rc.usual),
        us(rc.delay.least),
        us(rc.delay.most),
    );
}
