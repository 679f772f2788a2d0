use super::*;
use crate::patch::{Asked, Patch};
use crate::rig::Run;
use crate::sound::score::Seating;
use proptest::prelude::*;

/// A rig of two boxes on sixteenths, 16 steps each, which a fix moves.
#[derive(Clone, Debug)]
struct Rigged {
    tempo: u64,
    bars: u64,
    /// How much later than meant each box's clock comes, in thousandths of a step: from one early to one late.
    shifts: [i64; 2],
    /// What the second does with the fix.
    fixed: i64,
    /// On which step each wakes, none being told of a one; without it, on the step that is right.
    wakes: [Option<u64>; 2],
    /// Steps as bits: which are hits.
    steps: [u16; 2],
}

fn rigged() -> impl Strategy<Value = Rigged> {
    let shift = prop_oneof![-1000_i64..=1000, Just(0), Just(-1000), Just(1000)];
    let wakes = prop_oneof![2 => Just(None), 1 => (1_u64..=16).prop_map(Some)];
    (60_u64..=300, 4_u64..=8, [shift.clone(), shift.clone()], shift, [wakes.clone(), wakes], [1_u16.., 1_u16..])
        .prop_map(|(tempo, bars, shifts, fixed, wakes, steps)| Rigged { tempo, bars, shifts, fixed, wakes, steps })
}

impl Rigged {
    fn text(&self) -> String {
        let step_us = 15_000_000 / self.tempo as i64;
        let us = |thousandths: i64| step_us * thousandths / 1000;
        let line =
            |n: usize| -> String { (0..16).map(|k| if self.steps[n] >> k & 1 == 1 { 'x' } else { '.' }).collect() };
        let part = |n: usize, name: &str| {
            format!(
                "[clock.{name}-clock]\nrate = \"4 per beat\"\nwidth = \"1 ms\"\nshift = \"{} us\"\n\
                 [sequencer.{name}]\nclock = \"{name}-clock\"\nsteps = \"{}\"\nvoice = \"{name}-voice\"\npower-up-step = {}\n\
                 [voice.{name}-voice]\nmodel = \"click\"\n",
                us(self.shifts[n]),
                line(n),
                // The first pulse of an early clock is not sent.
                self.wakes[n].unwrap_or(if self.shifts[n] < 0 { 2 } else { 1 })
            )
        };
        format!(
            "tempos = [{}]\nbars = {}\n{}{}[fix.moved]\nset.\"clock.wren-clock.shift\" = \"{} us\"\n",
            self.tempo,
            self.bars,
            part(0, "ox"),
            part(1, "wren"),
            us(self.fixed)
        )
    }
}

/// A patch of so many bars, if not its own.
fn patch(text: &str, bars: Option<u64>) -> Patch {
    Patch::parse(text, &Asked { bars, ..Asked::default() }).unwrap_or_else(|f| panic!("{}", f.render("", text, false)))
}

/// What a loop plays: the page's own rule is `played` in `state.js`, and the tests in the browser hold both together.
fn played(hits: &[LoopHit], bars: u32) -> Vec<(usize, i64)> {
    let mut own: Vec<_> = hits.iter().filter(|h| h.bar < bars).map(|h| (h.voice, h.at.0)).collect();
    own.sort_unstable();
    own
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Of each version and loop: each hit of the list that is due in it, once; and all that sounds while as long a stretch of
    /// the piece goes by later, which is found without a word of what is due.
    #[test]
    fn a_loop_plays_all_that_is_due_in_it_once(rigged in rigged()) {
        let text = rigged.text();
        let short = patch(&text, None);
        let tempo = short.tempos[0];
        let variants = [&short.original, &short.fixes[0]];
        let ensemble = Ensemble::new(&variants.map(|v| &v.rig), Seating::Centre, 1).expect("voices");
        let all: Vec<PlayedVariant<'_>> =
            variants.iter().enumerate().filter_map(|(n, v)| PlayedVariant::new(v, n, tempo, Run::Typical).ok()).collect();
        let page = Loops::new(short.meter, &all);
        // Patterns last a bar of four beats, so from any bar line on it is the same.
        let bar = |n: i64| tempo.instant(Beat::from_integer(i128::from(4 * n))).0;
        let lines = |due: Beat| (due / Beat::from_integer(4)).floor().to_integer() as i64;
        prop_assert_eq!(page.length.0, bar(1));
        prop_assert!(page.available >= 2 && page.repeat == 2, "{} bars, {} looped", page.available, page.repeat);
        // At most the first bar has something that would have sounded before the start, and the last what sounds after the end.
        prop_assert!(i64::from(page.available) >= rigged.bars as i64 - 2);
        let long = rigged.bars + 2 * u64::from(page.available) + 4;
        let longer = patch(&text, Some(long));
        let variants = [&longer.original, &longer.fixes[0]];
        for (n, version) in all.iter().enumerate() {
            let hits = page.hits(&ensemble, version);
            let later = PlayedVariant::new(variants[n], n, tempo, Run::Typical).expect("short").hits;
            let voice = |h: &Hit| ensemble.part(n, h).0;
            for bars in 1..=page.available {
                let own = played(&hits, bars);
                let length = bar(i64::from(bars));
                // Some line it is from which on they are the list's own, and it is the first or the second.
                let due = |from: i64| {
                    let due = from..from + i64::from(bars);
                    let hits = all[n].hits.iter().filter(|h| due.contains(&lines(h.due)));
                    let mut hits: Vec<_> = hits.map(|h| (voice(h), h.at.0 - bar(from))).collect();
                    hits.sort_unstable();
                    hits
                };
                prop_assert!(own == due(0) || own == due(1), "loop of {bars}: {own:?}\n{:?}\n{:?}", due(0), due(1));
                // As heard while the third time such a stretch goes by, between two lines that are rounded as pulses are.
                let stretch = [2, 3].map(|n| bar(n * i64::from(bars) + 1));
                let mut heard: Vec<(usize, i64)> = later
                    .iter()
                    .filter(|h| (stretch[0]..stretch[1]).contains(&h.at.0))
                    .map(|h| (voice(h), h.at.0 - stretch[0]))
                    .collect();
                prop_assert_eq!(own.len(), heard.len(), "loop of {} bars", bars);
                for (voice, at) in own {
                    let apart = |other: i64| {
                        let apart = (at - other).rem_euclid(length);
                        apart.min(length - apart)
                    };
                    // Pulses are rounded one by one, to a picosecond; a loop's length too.
                    let found = heard.iter().position(|h| h.0 == voice && apart(h.1) <= 4);
                    prop_assert!(found.is_some(), "loop of {bars}: nothing sounds at {at}");
                    heard.swap_remove(found.unwrap_or_default());
                }
            }
        }
    }
}
