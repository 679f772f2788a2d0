use super::bars::{Bars, Version};
use crate::patch::Meter;
use crate::time::{Beat, Clockwork, Instant, PS_PER_MS, Span, Tempo, round_half_up};

/// One stretch of an alternation: some bars of a patch, played by one of the two variants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segment {
    /// 0 for the first variant (A), 1 for the second (B).
    pub side: usize,
    /// The beat with which the stretch begins.
    pub from: Beat,
    /// The beat before which it ends.
    pub to: Beat,
    /// When `from` sounds, from the start of the alternation.
    pub at: Instant,
    /// The hits of its variant that are due in it, by their numbers.
    pub hits: Vec<usize>,
}

/// The shortest turn: long enough to hear a pattern, short enough to have the last one still in the ear.
const SHORTEST_TURN_MS: i64 = 3_000;
/// The shortest rest between turns.
const SHORTEST_REST_MS: i64 = 600;
/// The least between the last hit of a turn and the first of the next, however late the one and early the other: half of the
/// shortest rest, so that nothing of one side is heard as part of the other.
const APART: Span = Span::from_ms(SHORTEST_REST_MS / 2);

/// Plans an alternation of two variants at a tempo: the same bars as A, a rest, as B, a rest, then the next bars.
///
/// It begins where [`Bars::begin`] says. A turn is the fewest whole bars that last 3 s, and has what is due in them; a rest is
/// the fewest beats that last 0.6 s, or the smallest half, quarter … of a beat that does, and as many of these as it takes
/// until what is late in the turn before it has sounded. Where the tempo changes, bars keep the tempos that they have in
/// the piece, and rests that of its start.
#[must_use]
pub fn segments(versions: [Version<'_>; 2], bars: &Bars<'_>) -> Vec<Segment> {
    let clockwork = bars.clockwork();
    let tempo = clockwork.tempo();
    let stretches = stretches(bars, bars.begin(&versions), versions[0].rig.end);
    // Each hit goes straight to its turn: a long piece has as many turns as hits, and not every hit can ask every turn.
    let mut due: Vec<[Vec<usize>; 2]> = vec![<[Vec<usize>; 2]>::default(); stretches.len()];
    for (side, version) in versions.iter().enumerate() {
        for (number, hit) in version.hits.iter().enumerate() {
            let home = bars.home(hit);
            let begun = stretches.partition_point(|(from, _)| *from <= home).checked_sub(1);
            if let Some(stretch) = begun.filter(|n| home < stretches[*n].1) {
                due[stretch][side].push(number);
            }
        }
    }
    let rest = rest(tempo);
    let (mut now, mut at) = (Beat::from_integer(0), Instant::START);
    let mut sounded: Option<Instant> = None;
    let mut all = Vec::new();
    for ((from, to), due) in stretches.into_iter().zip(due) {
        for (side, hits) in due.into_iter().enumerate() {
            let times = || hits.iter().map(|n| versions[side].hits[*n].at - clockwork.instant(from));
            // At one tempo a turn is placed by its beat, so that it is rounded once.
            let place = |now: Beat, at: Instant| if clockwork.is_even() { tempo.instant(now) } else { at };
            if let (Some(first), Some(sounded)) = (times().min(), sounded) {
                while place(now, at) + first < sounded + APART {
                    now += rest;
                    at = at + (tempo.instant(rest) - Instant::START);
                }
            }
            let begins = place(now, at);
            sounded = sounded.max(times().max().map(|last| begins + last));
            now += to - from + rest;
            at = at + lasts(clockwork, from, to) + (tempo.instant(rest) - Instant::START);
            all.push(Segment { side, from, to, at: begins, hits });
        }
    }
    all
}

/// The bars of each pair of segments, from a bar line on to the end of the piece.
fn stretches(bars: &Bars<'_>, mut from: Beat, end: Beat) -> Vec<(Beat, Beat)> {
    let (clockwork, bar) = (bars.clockwork(), bars.length());
    let even = at_least(clockwork.tempo(), bar, SHORTEST_TURN_MS);
    let mut all = Vec::new();
    while from < end {
        let mut to = from + if clockwork.is_even() { even } else { bar };
        while !clockwork.is_even() && to < end && lasts(clockwork, from, to) < Span::from_ms(SHORTEST_TURN_MS) {
            to += bar;
        }
        let to = to.min(end);
        all.push((from, to));
        from = to;
    }
    all
}

/// How many bars of a piece are heard of it where many versions are heard one after the other: the fewest that last 3 s
/// at a tempo.
#[must_use]
pub fn excerpt(meter: Meter, tempo: Tempo) -> Beat {
    at_least(tempo, meter.bar(), SHORTEST_TURN_MS)
}

/// How long the beats between two last.
fn lasts(clockwork: &Clockwork, from: Beat, to: Beat) -> Span {
    if clockwork.is_even() {
        return clockwork.instant(to - from) - Instant::START;
    }
    clockwork.instant(to) - clockwork.instant(from)
}

/// The fewest whole `units` of beats that last `ms` milliseconds at a tempo.
fn at_least(tempo: Tempo, unit: Beat, ms: i64) -> Beat {
    let unit_ps = round_half_up(tempo.exact(unit)).max(1);
    let count = (i128::from(ms) * i128::from(PS_PER_MS) + unit_ps - 1) / unit_ps;
    unit * count.max(1)
}

/// How long nobody plays between two turns.
fn rest(tempo: Tempo) -> Beat {
    let shortest = i128::from(SHORTEST_REST_MS) * i128::from(PS_PER_MS);
    let mut rest = at_least(tempo, Beat::from_integer(1), SHORTEST_REST_MS);
    while round_half_up(tempo.exact(rest / 2)) >= shortest {
        rest /= 2;
    }
    rest
}

impl Segment {
    /// Where in the alternation sounds what sounds at a time in the piece.
    #[must_use]
    pub fn place(&self, clockwork: &Clockwork, at: Instant) -> Instant {
        self.at + (at - clockwork.instant(self.from))
    }

    /// How long the alternation lasts up to the end of this turn, as a span from its start.
    #[must_use]
    pub fn end(&self, clockwork: &Clockwork) -> Span {
        Span(self.at.0 + lasts(clockwork, self.from, self.to).0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hits::list;
    use crate::patch::{Asked, Patch, Rig};
    use crate::rig::play;
    use proptest::prelude::*;

    /// Turns; when each hit sounds, of which side and in which turn; how many hits each turn is due.
    type Planned = (Vec<Segment>, Vec<(i64, usize, usize)>, Vec<usize>);

    /// An alternation as times: where each of both sides' hits sounds, with its side and turn.
    fn planned(text: &str) -> Planned {
        let patch = Patch::parse(text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("", text, false)));
        let tempo = patch.tempos[0];
        let rigs: [&Rig; 2] = [&patch.original.rig, &patch.fixes[0].rig];
        let performances = rigs.map(|rig| play(rig, tempo).expect("short"));
        let hits = [0, 1].map(|n| list(rigs[n], &performances[n]));
        let versions = [0, 1].map(|n| Version { rig: rigs[n], performance: &performances[n], hits: &hits[n] });
        let clockwork = rigs[0].clockwork(tempo);
        let bars = Bars::new(patch.meter, &clockwork);
        let plan = segments(versions, &bars);
        let places = plan.iter().enumerate().flat_map(|(n, turn)| {
            let at = |h: &usize| turn.place(&clockwork, hits[turn.side][*h].at).0;
            turn.hits.iter().map(move |h| (at(h), turn.side, n)).collect::<Vec<_>>()
        });
        let places = places.collect();
        // How many hits of each side are due from the first turn on.
        let from = plan.first().map_or(Beat::default(), |t| t.from);
        let counts = hits.iter().map(|all| all.iter().filter(|h| h.due >= from && h.due < rigs[0].end).count());
        (plan, places, counts.collect())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Up to 300, early and late by up to a step, and off the one by up to half a bar: a turn has all that is due in its
        /// bars, once, and is over before the next begins.
        #[test]
        fn turns_have_what_is_due_in_them_and_stay_apart(
            tempo in 60_i64..=300, shift in -1000_i64..=1000, fixed in -1000_i64..=1000,
            wakes in prop_oneof![Just(None), (1_u64..=16).prop_map(Some)],
        ) {
            let us = |thousandths: i64| 15_000 * thousandths / tempo;
            // The first pulse of an early clock is not sent: on which step the box is right.
            let wakes = wakes.unwrap_or(if us(shift) < 0 { 2 } else { 1 });
            let (plan, places, counts) = planned(&format!(
                "tempos = [{tempo}]\nbars = 8\n[clock.plain]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\n\
                 [clock.moved]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\nshift = \"{} us\"\n\
                 [sequencer.ox]\nclock = \"plain\"\nsteps = \"x...x...x...x..x\"\nvoice = \"kick\"\n\
                 [sequencer.wren]\nclock = \"moved\"\nsteps = \"x.x.x...x.xxx..x\"\nvoice = \"snare\"\npower-up-step = {wakes}\n\
                 [fix.back]\nset.\"clock.moved.shift\" = \"{} us\"\n",
                us(shift), us(fixed)
            ));
            for side in [0, 1] {
                prop_assert_eq!(places.iter().filter(|p| p.1 == side).count(), counts[side]);
            }
            let ends = |n: usize| {
                let own = || places.iter().filter(move |p| p.2 == n).map(|p| p.0);
                own().min().zip(own().max())
            };
            for n in 1..plan.len() {
                if let (Some((_, last)), Some((first, _))) = (ends(n - 1), ends(n)) {
                    prop_assert!(first - last >= APART.0, "{} ms between {n} and the turn before", (first - last) / PS_PER_MS);
                }
            }
        }
    }

    /// By hand, at 240: bars of 1 s, so a turn has three; a rest of 0.75 s, three beats, since 1.5 are too short. A box that is
    /// two beats late plays until 0.25 s after the bars: 0.5 s are left, and it stays so. One that is 7 of 16 half beats late
    /// sounds up to 0.75 s after them, and the rest is twice as long.
    #[test]
    fn a_rest_waits_for_what_is_late() {
        let of = |steps: &str, wakes: u64, rate: &str| {
            let text = format!(
                "tempos = [240]\nbars = 9\n[clock.plain]\nrate = \"{rate}\"\n\
                 [sequencer.wren]\nclock = \"plain\"\nsteps = \"{steps}\"\nvoice = \"snare\"\npower-up-step = {wakes}\n\
                 [fix.told]\nset.\"sequencer.wren.power-up-step\" = 1\n"
            );
            planned(&text).0.iter().take(3).map(|t| (t.side, t.at.0 / PS_PER_MS)).collect::<Vec<_>>()
        };
        assert_eq!(of("xxxx", 3, "1 per beat"), [(0, 0), (1, 3750), (0, 7500)]);
        assert_eq!(of("xxxxxxxxxxxxxxxx", 10, "2 per beat"), [(0, 0), (1, 4500), (0, 8250)]);
    }
}
