use crate::hits::Hit;
use crate::patch::{Meter, Rig};
use crate::rig::Performance;
use crate::time::{Beat, Clockwork, Instant, Span, wholes};

/// What a variant plays at a tempo.
#[derive(Clone, Copy, Debug)]
pub struct Version<'a> {
    /// Who plays.
    pub rig: &'a Rig,
    /// How.
    pub performance: &'a Performance,
    /// All of its hits.
    pub hits: &'a [Hit],
}

/// The bars of a piece, and which hits belong to which: of loops, turns and excerpts.
#[derive(Clone, Copy, Debug)]
pub struct Bars<'c> {
    length: Beat,
    clockwork: &'c Clockwork,
    /// How long a bar lasts, to the picosecond, where each is as long.
    lasts: Option<Span>,
}

impl<'c> Bars<'c> {
    /// The bars of a meter at the tempos of a piece.
    #[must_use]
    pub fn new(meter: Meter, clockwork: &'c Clockwork) -> Self {
        let length = meter.bar();
        let lasts = clockwork.is_even().then(|| clockwork.instant(length) - Instant::START);
        Self { length, clockwork, lasts }
    }

    /// How long a bar is.
    #[must_use]
    pub fn length(&self) -> Beat {
        self.length
    }

    /// The time that goes with them.
    #[must_use]
    pub fn clockwork(&self) -> &'c Clockwork {
        self.clockwork
    }

    /// The beat by which a hit belongs to a bar: the one on which it is due, however early or late it sounds. What sounds more
    /// than a bar away from there stands for another bar to whoever hears it, and belongs to the bar in which it sounds: the
    /// beat of that bar's line.
    #[must_use]
    pub fn home(&self, hit: &Hit) -> Beat {
        if self.is_near(hit) {
            return hit.due;
        }
        self.clockwork.first_multiple(self.length, Instant(hit.at.0.saturating_add(1))) - self.length
    }

    fn is_near(&self, hit: &Hit) -> bool {
        let line = |beat: Beat| self.clockwork.instant(beat);
        // Each line is rounded by half a picosecond; only so near to one is it asked for.
        if let Some(lasts) = self.lasts {
            let away = hit.at.0.saturating_sub(line(hit.due).0).saturating_abs();
            if lasts.0.abs_diff(away) > 2 {
                return away < lasts.0;
            }
        }
        line(hit.due - self.length) <= hit.at && hit.at <= line(hit.due + self.length)
    }

    /// The bar line with which versions begin that are held against each other: the first by which the first reset has acted on
    /// every sequencer in all of them, since every sequencer starts armed and the first bar can hide the fault, and from
    /// which on all that is due is played: what would sound before the clock's start is not, and what was counted before the
    /// reset acted may be due after it. A piece that is over by then begins as the resets have it, or from its start.
    #[must_use]
    pub fn begin(&self, versions: &[Version<'_>]) -> Beat {
        let line = |at: Instant| self.clockwork.first_multiple(self.length, at);
        let acted = versions.iter().flat_map(|v| v.performance.tracks.iter().filter_map(|t| t.reset_acted)).max();
        let reset = line(acted.unwrap_or(Instant::START));
        let whole = versions.iter().map(|v| self.whole_from(v, reset)).max().unwrap_or(reset);
        let end = versions.iter().map(|v| v.rig.end).min().unwrap_or(reset);
        [whole, reset].into_iter().find(|from| *from < end).unwrap_or_default()
    }

    /// The first bar line from a beat on from which on a version plays all that is due.
    fn whole_from(&self, version: &Version<'_>, reset: Beat) -> Beat {
        let mut from = reset;
        for (player, track) in version.performance.tracks.iter().enumerate() {
            let mine = || version.hits.iter().filter(move |h| h.sequencer == player && self.is_near(h));
            // Counted by another beat than after the reset.
            let stray = mine().filter(|h| h.due >= reset && track.reset_acted.is_some_and(|acted| h.at < acted));
            let stray = stray.map(|h| h.due).max().map(|due| self.bar_of(due) + self.length);
            // By as much as a box is ever early it may have been from the start, unless it played what is due there.
            let early = mine().map(|h| self.clockwork.instant(h.due) - h.at).max().unwrap_or(Span::ZERO);
            let cut = early > Span::ZERO && mine().all(|h| h.due > Beat::default());
            let early = cut.then(|| self.clockwork.first_multiple(self.length, Instant::START + early));
            from = from.max(stray.unwrap_or(reset)).max(early.unwrap_or(reset));
        }
        from
    }

    /// The end of the last bar from a beat on in which versions play all that is due: a box whose counting is late plays the
    /// last of it after the end of the piece, which nobody hears. The end of the piece where nobody's is, or where it leaves
    /// no bar.
    #[must_use]
    pub fn end(&self, versions: &[Version<'_>], from: Beat) -> Beat {
        let end = versions.iter().map(|v| v.rig.end).min().unwrap_or(from);
        let sequenced = |v: &Version<'_>| v.rig.sequencers.len();
        let late = versions.iter().flat_map(|v| {
            v.hits
                .iter()
                .filter(move |h| h.sequencer < sequenced(v) && self.is_near(h))
                .map(|h| if h.beat == h.due { Beat::default() } else { h.beat - h.due })
        });
        let late = late.max().unwrap_or_default();
        let whole = self.bar_of(end - late);
        if late > Beat::default() && whole > from { whole } else { end }
    }

    /// The bar line at a beat or before it.
    fn bar_of(&self, beat: Beat) -> Beat {
        self.length * wholes(Beat::default(), beat, self.length)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hits::list;
    use crate::patch::{Asked, Patch};
    use crate::rig::play;
    use crate::time::Tempo;

    const FOUR: Meter = Meter { count: 4, unit: 4 };
    const MS: i64 = 1_000_000_000;

    fn hit(at_ms: i64, due: i128) -> Hit {
        let due = Beat::from_integer(due);
        Hit { at: Instant(at_ms * MS), beat: due, due, sequencer: 0, step: 1, velocity: 1, level_mdb: 0, voice: 0 }
    }

    /// At 120 a bar lasts 2 s. Up to a bar away a hit belongs where it is due, farther away where it sounds.
    #[test]
    fn a_hit_belongs_where_it_is_due_unless_it_is_bars_away() {
        let clockwork = Clockwork::even(Tempo::whole(120));
        let bars = Bars::new(FOUR, &clockwork);
        let homes = [(4_000, 8), (3_500, 8), (2_000, 8), (6_000, 8), (1_999, 8), (6_001, 8), (-1, 0), (-2_001, 0)];
        let found: Vec<Beat> = homes.iter().map(|&(at, due)| bars.home(&hit(at, due))).collect();
        assert_eq!(found, [8, 8, 8, 8, 0, 12, 0, -4].map(Beat::from_integer));
    }

    /// By the words of the rule: between the lines a bar before and after, each rounded for itself, at tempos at which no beat is whole.
    #[test]
    fn near_is_what_the_two_lines_say_to_the_picosecond() {
        for micro in [120_000_000, 121_300_000, 97_123_457, 1_000_001] {
            let clockwork = Clockwork::even(Tempo::from_micro(micro).expect("a tempo"));
            let bars = Bars::new(FOUR, &clockwork);
            for quarter in 0..40 {
                let due = Beat::new(quarter, 3);
                for by in [-FOUR.bar(), FOUR.bar()] {
                    let [line, low, high] = [by, -FOUR.bar(), FOUR.bar()].map(|by| clockwork.instant(due + by));
                    for off in -4..=4 {
                        let at = Instant(line.0 + off);
                        let own = Hit { at, due, ..hit(0, 0) };
                        assert_eq!(bars.is_near(&own), low <= at && at <= high, "{micro} {due} {off}");
                    }
                }
            }
        }
    }

    /// At 120: a drum on every beat, and a box whose lines are given.
    fn ends(output: &str, sequencer: &str) -> (Beat, Beat) {
        let text = format!(
            "tempos = [120]\nbars = 8\n[clock.beats]\nrate = \"1 per beat\"\n[clock.its]\n{output}\n\
             [sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"kick\"\n\
             [sequencer.wren]\nclock = \"its\"\nvoice = \"snare\"\n{sequencer}\n"
        );
        let patch = Patch::parse(&text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render("", &text, false)));
        let rig = &patch.original.rig;
        let performance = play(rig, patch.tempos[0]).expect("in bounds");
        let hits = list(rig, &performance);
        let clockwork = rig.clockwork(patch.tempos[0]);
        let bars = Bars::new(FOUR, &clockwork);
        let versions = [Version { rig, performance: &performance, hits: &hits }];
        let from = bars.begin(&versions);
        (from, bars.end(&versions, from))
    }

    /// By hand, in beats: what is early at the start has lost its first hit, what counts late loses its last.
    #[test]
    fn bars_are_taken_in_which_all_that_is_due_is_played() {
        let beats = |from, to| (Beat::from_integer(from), Beat::from_integer(to));
        let every = "rate = \"1 per beat\"";
        let plain = "steps = \"xxxx\"";
        assert_eq!(ends(every, plain), beats(0, 32));
        // Late by a time it plays all.
        assert_eq!(ends("rate = \"1 per beat\"\nshift = \"40 ms\"", plain), beats(0, 32));
        // Early it has lost its first pulse: with one step it plays all but the first hit, with four it counts one late.
        let early = "rate = \"1 per beat\"\nshift = \"-40 ms\"";
        assert_eq!(ends(early, "steps = \"x\""), beats(4, 32));
        assert_eq!(ends(early, plain), beats(0, 28));
        // It wakes on step 3 of 8, two beats ahead, or on step 7, two beats behind.
        let eight = "steps = \"xxxxxxxx\"";
        assert_eq!(ends(every, &format!("{eight}\npower-up-step = 3")), beats(4, 32));
        assert_eq!(ends(every, &format!("{eight}\npower-up-step = 7")), beats(0, 28));
    }
}
