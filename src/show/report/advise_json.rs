use super::Advised;
use super::advise::needs_nothing;
use super::words;
use crate::judge::Reason;
use crate::judge::advise::{AtTempo, DialSetting, Fit, Hold, Level, Part, PartAt, RcPair, Room, Window};
use crate::time::{PS_PER_US, Span};
use serde::Serialize;

/// What `advise --format json` writes. Fields may be added; none changes its meaning without a new `format`.
#[derive(Serialize, Debug)]
pub struct AdviseReport {
    format: u32,
    patch: String,
    variant: String,
    on: String,
    max_gap_ms: f64,
    /// With an ear file only.
    #[serde(skip_serializing_if = "Option::is_none")]
    max_gap_from: Option<String>,
    skew_ms: f64,
    /// How far ends are kept away from where somebody would play another step.
    kept_ms: Option<f64>,
    /// How late the loop of the box may look.
    looks_ms: Option<f64>,
    /// At every tempo.
    windows: Vec<WindowRow>,
    shares: Vec<ShareRow>,
    typical: Vec<WindowRow>,
    dial_steps: Option<u32>,
    settings: Vec<u32>,
    tempos: Vec<TempoRow>,
    holds: Vec<HoldRow>,
    components: Vec<PartRow>,
    rc: Option<RcRow>,
    /// Where others keep it from passing whatever is done there.
    #[serde(skip_serializing_if = "Option::is_none")]
    without: Option<WithoutRow>,
}

/// What this input itself needs, those in the way left aside.
#[derive(Serialize, Debug)]
struct WithoutRow {
    in_the_way: Vec<String>,
    why: Vec<String>,
    windows: Vec<WindowRow>,
    components: Vec<PartRow>,
}

#[derive(Serialize, Debug)]
struct WindowRow {
    least_ms: f64,
    most_ms: f64,
}

#[derive(Serialize, Debug)]
struct ShareRow {
    least_percent: f64,
    most_percent: f64,
}

#[derive(Serialize, Debug)]
struct TempoRow {
    tempo_bpm: f64,
    period_ms: Option<f64>,
    searched_ms: f64,
    windows: Vec<WindowRow>,
    shares: Vec<ShareRow>,
    /// What passes in the typical run, without anything kept for tolerances and the skew.
    typical: Vec<WindowRow>,
    settings: Vec<u32>,
    exact: bool,
    with_less: Vec<String>,
    with_more: Vec<String>,
    at_risk_elsewhere: Vec<String>,
}

#[derive(Serialize, Debug)]
struct HoldRow {
    delay_ms: Option<f64>,
    share_percent: Option<f64>,
    from_bpm: f64,
    to_bpm: f64,
    exact: bool,
    ranges_bpm: Vec<[f64; 2]>,
}

#[derive(Serialize, Debug)]
struct PartRow {
    name: String,
    fit: &'static str,
    price: Option<String>,
    note: Option<String>,
    delay_us: Option<[f64; 2]>,
    to_least_us: Option<f64>,
    to_most_us: Option<f64>,
    tempos: Vec<PartTempoRow>,
}

#[derive(Serialize, Debug)]
struct PartTempoRow {
    tempo_bpm: f64,
    fit: &'static str,
    delay_us: Option<[f64; 2]>,
    to_least_us: Option<f64>,
    to_most_us: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    runs: Option<RunsRow>,
}

#[derive(Serialize, Debug)]
struct RunsRow {
    well: u64,
    of: u64,
}

#[derive(Serialize, Debug)]
struct RcRow {
    ohm: f64,
    farad: f64,
    aimed_ms: f64,
    usual_ms: f64,
    delay_us: [f64; 2],
    tempos: Vec<PartTempoRow>,
}

/// An advice for programs.
#[must_use]
pub fn advise_json(advised: &Advised<'_>) -> AdviseReport {
    let advice = advised.advice;
    let first = advice.tempos.first();
    AdviseReport {
        format: 1,
        patch: advised.name.clone(),
        variant: advised.variant.to_owned(),
        on: advice.target.name(advised.rig),
        max_gap_ms: advice.aim.max_gap.ms(),
        max_gap_from: advised.max_gap_from.clone(),
        skew_ms: advice.aim.skew.ms(),
        kept_ms: first.and_then(|t| t.kept).map(Span::ms),
        looks_ms: first.and_then(|t| t.looks).map(Span::ms),
        windows: rows(&advice.sure),
        shares: advice.shares.iter().map(|s| share_row(s.least, s.most)).collect(),
        typical: rows(&advice.passes),
        dial_steps: advice.dial.as_ref().map(|(steps, _)| *steps),
        settings: advice.dial.as_ref().map(|(_, all)| all.clone()).unwrap_or_default(),
        tempos: advice.tempos.iter().map(|at| tempo_row(advised, at)).collect(),
        holds: advice.holds.iter().map(hold_row).collect(),
        components: advice.parts.iter().map(part_row).collect(),
        // Where nothing is needed, nothing need be soldered.
        rc: advice.rc.as_ref().filter(|_| !needs_nothing(advice)).map(rc_row),
        without: advised.aside.map(|(aside, beside)| WithoutRow {
            in_the_way: aside.players.iter().map(|(n, ..)| advised.rig.player_name(*n).to_owned()).collect(),
            why: aside.players.iter().map(|(.., why)| words::reason(advised.rig, why, advice.aim.max_gap)).collect(),
            windows: rows(&beside.sure),
            components: beside.parts.iter().map(part_row).collect(),
        }),
    }
}

fn rows(windows: &[Window]) -> Vec<WindowRow> {
    windows.iter().map(|w| WindowRow { least_ms: w.least.ms(), most_ms: w.most.ms() }).collect()
}

fn share_row(least: crate::patch::Share, most: crate::patch::Share) -> ShareRow {
    let percent = |s: crate::patch::Share| *s.numer() as f64 / *s.denom() as f64 * 100.0;
    ShareRow { least_percent: percent(least), most_percent: percent(most) }
}

fn tempo_row(advised: &Advised<'_>, at: &AtTempo) -> TempoRow {
    let (rig, max_gap) = (advised.rig, advised.advice.aim.max_gap);
    let said = |reasons: &[Reason]| reasons.iter().map(|r| words::reason(rig, r, max_gap)).collect();
    let name = |s: usize| rig.sequencers[s].name.clone();
    TempoRow {
        tempo_bpm: at.tempo.bpm(),
        period_ms: at.period.map(|p| *p.numer() as f64 / *p.denom() as f64 / Span::from_ms(1).0 as f64),
        searched_ms: at.searched.ms(),
        windows: rows(&at.sure),
        shares: at.shares().iter().map(|s| share_row(s.least, s.most)).collect(),
        typical: rows(&at.passes),
        settings: advised.advice.dial.as_ref().map(|(steps, _)| at.settings(*steps).0).unwrap_or_default(),
        exact: at.exact,
        with_less: said(&at.below),
        with_more: said(&at.above),
        at_risk_elsewhere: at.elsewhere.iter().map(|e| name(e.sequencer)).collect(),
    }
}

fn hold_row(hold: &Hold) -> HoldRow {
    let (delay, share) = match hold.setting {
        DialSetting::Time(time) => (Some(time.ms()), None),
        DialSetting::Share(s) => (None, Some(*s.numer() as f64 / *s.denom() as f64 * 100.0)),
    };
    HoldRow {
        delay_ms: delay,
        share_percent: share,
        from_bpm: hold.between.0.bpm(),
        to_bpm: hold.between.1.bpm(),
        exact: hold.exact,
        ranges_bpm: hold.ranges.iter().map(|(a, b)| [a.bpm(), b.bpm()]).collect(),
    }
}

fn us(span: Span) -> f64 {
    span.0 as f64 / PS_PER_US as f64
}

pub(super) const fn level_word(level: Level) -> &'static str {
    match level {
        Level::Fits => "fits",
        Level::AtRisk => "at-risk",
        Level::Fails => "does-not-fit",
    }
}

pub(super) const fn fit_word(fit: Fit) -> &'static str {
    match fit {
        Fit::Always => "always",
        Fit::Sometimes => "sometimes",
        Fit::AtRisk => "at-risk",
        Fit::Never => "does-not-fit",
    }
}

fn margins(room: Option<Room>) -> [Option<f64>; 2] {
    [room.map(|r| us(r.sooner)), room.map(|r| us(r.later))]
}

fn part_row(part: &Part) -> PartRow {
    let [to_least_us, to_most_us] = margins(part.room);
    PartRow {
        name: part.name.clone(),
        fit: fit_word(part.fit),
        price: part.price.clone(),
        note: part.note.clone(),
        delay_us: part.delay.map(|d| [us(d.least), us(d.most)]),
        to_least_us,
        to_most_us,
        tempos: part.at.iter().map(part_tempo_row).collect(),
    }
}

fn part_tempo_row(at: &PartAt) -> PartTempoRow {
    let [to_least_us, to_most_us] = margins(at.room);
    PartTempoRow {
        tempo_bpm: at.tempo.bpm(),
        fit: level_word(at.level),
        delay_us: at.delay.map(|d| [us(d.least), us(d.most)]),
        to_least_us,
        to_most_us,
        runs: at.chance.map(|(well, of)| RunsRow { well, of }),
    }
}

fn rc_row(rc: &RcPair) -> RcRow {
    RcRow {
        ohm: rc.ohms,
        farad: rc.farads,
        aimed_ms: rc.aimed.ms(),
        usual_ms: rc.usual.ms(),
        delay_us: [us(rc.delay.least), us(rc.delay.most)],
        tempos: rc.at.iter().map(part_tempo_row).collect(),
    }
}
