use super::{Band, Gaps, Meant, Pair, Stats, first_notch_hz, pair, pair_hits};
use crate::hits::{Taken, taken};
use crate::patch::{ResetMode, Rig, Sequencer};
use crate::rig::{Move, Passage, Performance, Track, stage::HeldUp, stage::Tally};
use crate::time::{Beat, Clockwork, Instant, LineError, Span, round_half_up};
use std::collections::BTreeMap;

/// What is to be said of one variant at one tempo.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Each sequencer and then each take, in the rig's order.
    pub standings: Vec<Standing>,
    /// Each pair of those, in the same order.
    pub gaps: Vec<Gap>,
    /// Why it does not pass; empty if it passes.
    pub reasons: Vec<Reason>,
    /// What does not keep it from passing and should be known.
    pub warnings: Vec<Warning>,
    /// For each stage on a path, what happened to pulses there, all its channels together; those where nothing did, and
    /// whose delay is the same for all, are left out.
    pub passages: Vec<Passage>,
}

/// The standing of one sequencer against the one, or the playing of a take: it is never off the one, having none.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Clock pulses that came to its input.
    pub pulses: u64,
    /// How many hits it has.
    pub hits: usize,
    /// Changes at its inputs that were too short to be seen.
    pub unseen: u64,
    /// Hits that were lost on the way to the ear.
    pub lost: u64,
    /// Its worst settled offset in pulses, with its sign; `None` if it never played.
    pub late_worst: Option<i64>,
    /// The settled offset with which the piece ends, in pulses.
    pub late_last: Option<i64>,
    /// How many of what offsets count in make a pulse of the output: more than 1 behind a multiplier.
    pub scale: i64,
    /// Whether its step 1 stands on the one throughout.
    pub right: bool,
    /// Whether it agrees with the others; where they differ, whether it is the one that is right.
    pub agrees: bool,
    /// The worst offset in time; `None` if it never played, or if its clock has no period.
    pub off_by: Option<Span>,
    /// Where it is off the one, pulse by pulse, in order; of a rig that nothing is changed in, nothing is told.
    pub off: Vec<Off>,
    /// Its hits against the ideal times of their due beats.
    pub lateness: Option<Stats>,
    /// Its hits against the ideal times of their pulses' beats: what the path adds, the counting left aside.
    pub path_lateness: Option<Stats>,
}

/// A stretch in which a sequencer is off the one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Off {
    /// The beat at which it first is, by the time at which that was, to a thousandth.
    pub from: Beat,
    /// The beat at which it is no longer, or is off by another number; `None` where it stays off.
    pub to: Option<Beat>,
    /// By how many pulses; negative is early.
    pub pulses_late: i64,
}

/// The gaps between the hits of two sequencers that have the same due beat.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// Indices of the two, the first of the file first. A gap is the second's hit minus the first's.
    pub between: [usize; 2],
    /// How many gaps there are.
    pub paired: usize,
    /// Each one's hits without a partner.
    pub unpaired: [usize; 2],
    /// The spread; `None` where nothing pairs.
    pub stats: Option<Stats>,
    /// Whether both play one voice.
    pub like: bool,
}

impl Gap {
    /// The largest gap without its sign; `None` where nothing pairs.
    #[must_use]
    pub fn worst(&self) -> Option<Span> {
        self.stats.map(Stats::worst)
    }

    /// The largest gap with its sign; of two that are equal, the positive one.
    #[must_use]
    pub fn worst_signed(&self) -> Option<Span> {
        self.stats.map(|s| if s.max.abs() >= s.min.abs() { s.max } else { s.min })
    }

    /// The band of the worst gap.
    #[must_use]
    pub fn band(&self) -> Option<Band> {
        self.worst().map(Band::of)
    }

    /// The first notch of the worst gap, in hertz, where both play one voice.
    #[must_use]
    pub fn first_notch_hz(&self) -> Option<f64> {
        self.worst().filter(|_| self.like).and_then(first_notch_hz)
    }
}

/// The reasons for which a variant does not pass at a tempo.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reason {
    /// There are sequencers, and this one has no hit.
    NeverPlays {
        /// Which one, as an index into [`Rig::sequencers`].
        sequencer: usize,
    },
    /// None of its hits has a due beat in common with another sequencer's.
    PairsWithNothing {
        /// Which one, as an index into [`Rig::sequencers`].
        sequencer: usize,
    },
    /// Sequencers disagree, and this one is off.
    MissesTheOne {
        /// Which one, as an index into [`Rig::sequencers`].
        sequencer: usize,
        /// Its worst settled offset, in `scale`ths of a pulse of the output.
        pulses_late: i64,
        /// How many of what offsets count in make a pulse: see [`Standing::scale`].
        scale: i64,
        /// Its worst settled offset in time, where its clock has a period.
        off_by: Option<Span>,
    },
    /// Two sequencers' hits are further apart than the max gap.
    GapTooLarge {
        /// Indices of the two.
        between: [usize; 2],
        /// The worst gap, with its sign.
        gap: Span,
    },
}

/// What should be known of a variant that may pass all the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Warning {
    /// All sequencers agree, and all are off alike.
    AllOffAlike,
    /// There is one sequencer only: no gap can be looked at.
    Alone,
    /// There is one sequencer only, and it is off.
    OffAlone,
    /// Hits of a take are due outside the patch.
    Outside {
        /// Index of the take, counting on from the sequencers.
        take: usize,
        /// How many of its hits are.
        hits: usize,
    },
    /// It stands on the one only because everything starts together.
    NoReset {
        /// Which one, as an index into [`Rig::sequencers`].
        sequencer: usize,
    },
}

impl Verdict {
    /// Whether all agree and every gap is within the max gap.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.reasons.is_empty()
    }

    /// The largest gap of all pairs, without its sign; `None` where nothing pairs.
    #[must_use]
    pub fn worst_gap(&self) -> Option<&Gap> {
        self.gaps.iter().filter(|g| g.stats.is_some()).max_by_key(|g| (g.worst(), std::cmp::Reverse(g.between)))
    }
}

/// Judges a performance of a rig. `max_gap` is the largest gap that is still acceptable.
///
/// # Errors
/// If an ideal time does not fit; a checked patch never does that.
pub fn judge(rig: &Rig, performance: &Performance, max_gap: Span) -> Result<Verdict, LineError> {
    judge_pairs(rig, performance, &taken(rig, performance.tempo), max_gap, |_, _| {})
}

/// Judges a performance with what the takes play, which no run changes; every gap of every pair, in the order of
/// [`Verdict::gaps`], is shown to `each` on the way.
pub(super) fn judge_pairs(
    rig: &Rig,
    performance: &Performance,
    takes: &[Taken],
    max_gap: Span,
    mut each: impl FnMut(usize, &Gaps),
) -> Result<Verdict, LineError> {
    let mut gaps: Vec<Gap> = Vec::new();
    all_pairs(rig, performance, takes, |between, Pair { gaps: mut all, unpaired }| {
        each(gaps.len(), &all);
        let [a, b] = between;
        let like = rig.player_voice(a).is_some_and(|voice| rig.player_voice(b) == Some(voice));
        gaps.push(Gap { between, paired: all.len(), unpaired, stats: all.stats(), like });
    });
    let mut standings = performance
        .tracks
        .iter()
        .enumerate()
        .map(|(s, track)| stand(rig, performance, s, track))
        .collect::<Result<Vec<_>, _>>()?;
    let clockwork = rig.clockwork(performance.tempo);
    standings.extend(takes.iter().map(|take| stand_by(take, &clockwork)));
    let all_agree = offsets_agree(rig, performance);
    let mut reasons = Vec::new();
    for (sequencer, standing) in standings.iter_mut().enumerate() {
        standing.agrees = standing.right || all_agree;
        let pairs = gaps.iter().any(|g| g.between.contains(&sequencer) && g.paired > 0);
        if standing.hits == 0 {
            reasons.push(Reason::NeverPlays { sequencer });
        } else if rig.players() > 1 && !pairs {
            reasons.push(Reason::PairsWithNothing { sequencer });
        }
        if let (false, Some(pulses_late)) = (standing.agrees, standing.late_worst) {
            reasons.push(Reason::MissesTheOne {
                sequencer,
                pulses_late,
                scale: standing.scale,
                off_by: standing.off_by,
            });
        }
    }
    for g in &gaps {
        if let Some(gap) = g.worst_signed().filter(|gap| gap.abs() > max_gap) {
            reasons.push(Reason::GapTooLarge { between: g.between, gap });
        }
    }
    let mut warnings = Vec::new();
    if rig.players() == 1 {
        warnings.push(Warning::Alone);
    }
    let off = |s: &Standing| !s.right && s.late_worst.is_some();
    if all_agree && standings.iter().any(off) {
        warnings.push(if rig.sequencers.len() == 1 { Warning::OffAlone } else { Warning::AllOffAlike });
    }
    // Where nobody has a reset, everybody knows; where some have one, it is easily overlooked who has not.
    let resets = |s: &Sequencer| s.reset.as_ref().is_some_and(|r| r.mode != ResetMode::Ignored);
    let free = |s: &Sequencer| !resets(s) && !s.own_one && s.idle_reset.is_none();
    if rig.sequencers.iter().any(resets) {
        let unheld =
            rig.sequencers.iter().zip(&standings).enumerate().filter(|(_, (s, standing))| free(s) && standing.right);
        warnings.extend(unheld.map(|(sequencer, _)| Warning::NoReset { sequencer }));
    }
    let outside = takes.iter().enumerate().filter(|(_, take)| take.outside > 0);
    warnings.extend(outside.map(|(n, take)| Warning::Outside { take: rig.sequencers.len() + n, hits: take.outside }));
    Ok(Verdict { standings, gaps, reasons, warnings, passages: passages(performance) })
}

/// What happened at each stage, its channels taken together.
fn passages(performance: &Performance) -> Vec<Passage> {
    let mut stages: BTreeMap<usize, (Tally, Option<HeldUp>)> = BTreeMap::new();
    for Passage { stage, tally, held_up } in &performance.passages {
        let (all, held) = stages.entry(*stage).or_default();
        // Of several channels, the one that is held up most when all has settled.
        *held = [*held, *held_up].into_iter().flatten().max_by_key(|h| h.last);
        all.lost += tally.lost;
        all.merged += tally.merged;
        all.added += tally.added;
    }
    let told = stages.into_iter().filter(|(_, (tally, held_up))| *tally != Tally::default() || held_up.is_some());
    told.map(|(stage, (tally, held_up))| Passage { stage, tally, held_up }).collect()
}

/// Every pair of players, in order, and how their hits pair.
pub(super) fn all_pairs(rig: &Rig, performance: &Performance, takes: &[Taken], mut each: impl FnMut([usize; 2], Pair)) {
    let track = |s: usize| Meant {
        track: &performance.tracks[s],
        clock: &performance.timelines[rig.origin(&rig.sequencers[s].clock)],
        counting: &performance.countings[s],
    };
    // Sequencers count in pulses, which compare fast; where a take is one of two, both are held by their beats.
    let hits = |player: usize| match player.checked_sub(rig.sequencers.len()) {
        None => track(player).hits(),
        Some(take) => takes[take].hits.iter().map(|h| (h.due, h.at)).collect(),
    };
    let count = rig.players();
    for [a, b] in (0..count).flat_map(|a| (a + 1..count).map(move |b| [a, b])) {
        let are_sequencers = b < rig.sequencers.len();
        each([a, b], if are_sequencers { pair(track(a), track(b)) } else { pair_hits(hits(a), hits(b)) });
    }
}

fn stand(rig: &Rig, performance: &Performance, index: usize, track: &Track) -> Result<Standing, LineError> {
    let clock = &performance.timelines[rig.origin(&rig.sequencers[index].clock)];
    let against = |pulse: fn(&crate::rig::Sound) -> i64| -> Result<Option<Stats>, LineError> {
        let times = track.sounds.iter().map(|s| Ok(s.at - performance.countings[index].ideal(clock, pulse(s))?));
        Ok(Stats::of(&mut times.collect::<Result<Vec<_>, _>>()?))
    };
    // Of two that are equally far off, the earlier.
    let late_worst = track.settled.iter().map(|s| s.pulses_late).reduce(|w, n| if n.abs() > w.abs() { n } else { w });
    let scale = i128::from(performance.countings[index].scale());
    let off_by = late_worst.and_then(|late| {
        let span = |exact| Span(i64::try_from(round_half_up(exact)).unwrap_or(i64::MAX));
        if clock.is_even() {
            return Some(span(clock.period()? * i128::from(late) / scale));
        }
        // Where periods differ, it is counted from the one at which it was so.
        let one = track.settled.iter().find(|s| s.pulses_late == late)?.one;
        let from = one_beat(rig, performance, &rig.sequencers[index], one);
        let beats = clock.period_at(from)? * i128::from(late) / scale;
        if rig.course.tempo_map.is_empty() {
            return Some(span(performance.tempo.exact(beats)));
        }
        Some(clock.ideal_of(from + beats) - clock.ideal_of(from))
    });
    Ok(Standing {
        pulses: track.pulses,
        hits: track.sounds.len(),
        unseen: track.unseen,
        lost: track.lost,
        late_worst,
        late_last: track.settled.last().map(|s| s.pulses_late),
        scale: performance.countings[index].scale(),
        right: track.settled.iter().all(|s| s.pulses_late == 0) && !track.settled.is_empty(),
        agrees: false,
        off_by,
        off: if rig.course.is_steady() { Vec::new() } else { off(rig, performance, track) },
        lateness: against(|s| s.due)?,
        path_lateness: against(|s| s.pulse)?,
    })
}

/// How a take stands: it has no counting that could miss the one, so that nothing but its hits can speak against it.
fn stand_by(take: &Taken, clockwork: &Clockwork) -> Standing {
    let mut ideal: Option<(Beat, Instant)> = None;
    let late = |hit: &crate::hits::Hit| {
        // Hits of one due beat mostly stand together.
        let of = match ideal {
            Some((beat, at)) if beat == hit.due => at,
            _ => clockwork.instant(hit.due),
        };
        ideal = Some((hit.due, of));
        hit.at - of
    };
    Standing {
        pulses: 0,
        hits: take.hits.len(),
        unseen: 0,
        lost: 0,
        late_worst: None,
        late_last: None,
        scale: 1,
        right: true,
        agrees: true,
        off: Vec::new(),
        off_by: None,
        lateness: Stats::of(&mut take.hits.iter().map(late).collect::<Vec<_>>()),
        path_lateness: None,
    }
}

fn off(rig: &Rig, performance: &Performance, track: &Track) -> Vec<Off> {
    // What nobody meant has no beat of its own: it is told by its time, to a thousandth of a beat.
    let clockwork = rig.clockwork(performance.tempo);
    let beat = |at| Beat::new(round_half_up(clockwork.beat_at(at) * 1000), 1000);
    let moves = track.moves.iter().enumerate().filter(|(_, m)| m.pulses_late != 0);
    let stretch = |(n, m): (usize, &Move)| {
        let to = track.moves.get(n + 1).map(|next| beat(next.at));
        Off { from: beat(m.at), to, pulses_late: m.pulses_late }
    };
    moves.map(stretch).collect()
}

/// The beat that a one of a sequencer is meant for.
fn one_beat(rig: &Rig, performance: &Performance, sequencer: &Sequencer, one: i64) -> Beat {
    let output = rig.one.filter(|_| !sequencer.own_one).unwrap_or(rig.outputs.len());
    performance.timelines.get(output).map_or(Beat::from_integer(0), |ones| ones.meant(one))
}

/// Whether the offsets, in beats, of all sequencers are equal at every one. For a sequencer with ones of its own only
/// the start counts: it is held against where the others stand after the first one.
fn offsets_agree(rig: &Rig, performance: &Performance) -> bool {
    let mut at_one: BTreeMap<i64, Beat> = BTreeMap::new();
    for ((sequencer, track), counting) in rig.sequencers.iter().zip(&performance.tracks).zip(&performance.countings) {
        let clock = &performance.timelines[rig.origin(&sequencer.clock)];
        for settled in &track.settled {
            let period = clock.period_at(one_beat(rig, performance, sequencer, settled.one));
            // A clock of one pulse has no period; its offset counts as one of so many beats.
            let period = period.unwrap_or(Beat::from_integer(1));
            let offset = period * i128::from(settled.pulses_late) / i128::from(counting.scale());
            if *at_one.entry(settled.one).or_insert(offset) != offset {
                return false;
            }
        }
    }
    true
}
