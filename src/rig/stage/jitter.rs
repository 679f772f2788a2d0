//! Chance on the way: each event moved by itself, or all of them by a slow wander.
//!
//! Nothing comes before its cause, so that the middle of what is scattered lies late by the furthest it goes the other
//! way. A pulse is moved as a whole: rise and fall share one draw, and it keeps its length. Pulses that would overtake
//! each other are one on the wire, counted as merged.
//!
//! - Gaussian of standard deviation σ: `4σ + σ·z`, *z* normal and cut at 4 (drawn again beyond). The gap of two such has the
//!   SD `σ√2` and the mean size `2σ/√π` (closed form). The cut leaves out 63 draws in a million and takes 0.05 % off the SD
//!   (1.41346 σ instead of 1.41421) and 0.03 % off the mean size (1.12799 σ instead of 1.12838); no gap passes 8 σ.
//! - uniform: evenly from nothing to the range.
//! - wander: three sine waves of 0.5 to 1.5 cycles a `period`, one from each third, with phases drawn and amplitudes that
//!   add up to `most`, from `device`, so that the channels of one device wander together. A model of our own for a
//!   clock that drifts to and fro. A pulse goes by the wander at its rise.
//!
//! Without chance everything is as late as its middle (4σ, half the range, `most`), so that the run without chance lies
//! in the middle of the drawn ones.

use super::passing::{HitStage, Passing};
use super::{Out, Stage};
use crate::patch::{self, Scatter, StageKind};
use crate::rig::{CUT, Chance, Edge};
use crate::time::{Instant, Span};
use std::f64::consts::TAU;

/// A movement of events in time, by which each is late: that of a jitter stage, or of a clock that jitters by itself.
#[derive(Clone, Debug)]
pub struct Sway {
    each: Option<Scatter>,
    wander: Option<Wander>,
    /// The draws of the wander.
    device: Chance,
    events: Chance,
}

impl Sway {
    /// Draws the wander of this run from `device`, each event's own move from `events`.
    pub(crate) fn new(settings: &patch::Jitter, device: Chance, events: Chance) -> Self {
        let wander = settings.wander.map(|w| Wander::new(w, device.clone()));
        Self { each: settings.each, wander, device, events }
    }

    /// Set anew: the waves go on from where they stand, with another height and another speed.
    fn turn(&mut self, settings: &patch::Jitter, now: Instant) {
        self.each = settings.each;
        let before = self.wander.take();
        self.wander = settings.wander.map(|w| Wander::new(w, self.device.clone()));
        if let (Some(Wander { waves: Some(before), .. }), Some(Wander { waves: Some(waves), .. })) =
            (&before, &mut self.wander)
        {
            for (wave, before) in waves.iter_mut().zip(before) {
                wave.phase = before.phase + (before.frequency - wave.frequency) * now.0 as f64;
            }
        }
    }

    /// Draws how late an event at this instant is; never negative.
    pub fn late(&mut self, at: Instant) -> Span {
        let mut events = std::mem::replace(&mut self.events, Chance::none());
        let late = self.late_by(at, &mut events);
        self.events = events;
        late
    }

    /// How late an event at this instant is, its own move drawn from elsewhere; never negative.
    pub(in crate::rig) fn late_by(&self, at: Instant, events: &mut Chance) -> Span {
        let each = match self.each {
            None => 0,
            Some(Scatter::Gaussian(sd)) => CUT as i64 * sd.0 + events.normal_time(sd).0,
            Some(Scatter::Uniform(range)) => (events.uniform() * range.0 as f64).round() as i64,
        };
        Span(each + self.wander.as_ref().map_or(0, |w| w.late(at).0))
    }
}

/// A wander as drawn for a run.
#[derive(Clone, Debug)]
struct Wander {
    most: Span,
    /// None without chance.
    waves: Option<[Wave; 3]>,
}

#[derive(Clone, Copy, Debug)]
struct Wave {
    /// In picoseconds.
    amplitude: f64,
    /// In turns a picosecond.
    frequency: f64,
    /// In turns.
    phase: f64,
}

impl Wander {
    fn new(settings: patch::Wander, mut device: Chance) -> Self {
        let (most, period) = (settings.most.0 as f64, settings.period.0 as f64);
        let waves = device.is_drawn().then(|| {
            let waves = [0.0, 1.0, 2.0].map(|third| Wave {
                frequency: (0.5 + (third + device.uniform()) / 3.0) / period,
                phase: device.uniform(),
                amplitude: 0.5 + 0.5 * device.uniform(),
            });
            let sum = waves[0].amplitude + waves[1].amplitude + waves[2].amplitude;
            waves.map(|w| Wave { amplitude: w.amplitude * most / sum, ..w })
        });
        Self { most: settings.most, waves }
    }

    /// From 0 to twice `most`.
    fn late(&self, at: Instant) -> Span {
        let value = |w: &Wave| {
            // Whole turns are taken off first, which keeps the sine's argument small.
            let turns = w.frequency * at.0 as f64 + w.phase;
            w.amplitude * libm::sin(TAU * (turns - turns.floor()))
        };
        let off = self.waves.as_ref().map_or(0.0, |[a, b, c]| value(a) + value(b) + value(c));
        Span((self.most.0 + off.round() as i64).clamp(0, 2 * self.most.0))
    }
}

/// A jitter stage at work.
#[derive(Debug)]
pub struct Jitter {
    sway: Sway,
    /// How late the pulse that is passing is.
    late: Option<Span>,
    /// When the last edge leaves: none overtakes it.
    end: Instant,
}

impl Jitter {
    /// Draws the wander of this run from `device`, each pulse's own move from `events`.
    pub(crate) fn new(settings: &patch::Jitter, device: Chance, events: Chance) -> Self {
        Self { sway: Sway::new(settings, device, events), late: None, end: Instant(i64::MIN) }
    }
}

impl Stage for Jitter {
    fn edge(&mut self, _port: usize, edge: Edge, out: &mut Out) {
        let late = match self.late.take() {
            Some(late) if !edge.rise => late,
            _ => self.sway.late(edge.at),
        };
        if edge.rise {
            self.late = Some(late);
        }
        self.end = self.end.max(edge.at + late);
        out.send(0, Edge { at: self.end, ..edge });
    }

    /// A pulse that is passing keeps its move.
    fn turn(&mut self, kind: &StageKind, now: Instant, _out: &mut Out) {
        if let StageKind::Jitter(settings) = kind {
            self.sway.turn(settings, now);
        }
    }
}

impl HitStage for Jitter {
    fn pass(&mut self, hit: Passing) -> Option<Passing> {
        Some(Passing { at: hit.at + self.sway.late(hit.at), ..hit })
    }

    fn refit(&mut self, kind: &StageKind, at: Instant) {
        if let StageKind::Jitter(settings) = kind {
            self.sway.turn(settings, at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::stage::out::alone;
    use crate::rig::{Pulse, Run, Wire};
    use proptest::prelude::*;

    const RUN: Run = Run::Drawn { seed: 1, number: 1 };

    fn each(scatter: Scatter) -> patch::Jitter {
        patch::Jitter { each: Some(scatter), wander: None }
    }

    fn wander(most: Span, period: Span) -> patch::Jitter {
        patch::Jitter { each: None, wander: Some(patch::Wander { most, period }) }
    }

    fn stage(settings: &patch::Jitter, run: Run, name: &str) -> Jitter {
        Jitter::new(settings, run.chance(&format!("{name}/device")), run.chance(&format!("{name}/events")))
    }

    /// Pulses of 5 ms every 100 ms, through a jitter stage: how late each rise is, in milliseconds.
    fn rises_late(settings: &patch::Jitter, run: Run, name: &str, pulses: i64) -> Vec<f64> {
        let at = |k: i64, ms| Instant(Span::from_ms(100 * k + ms).0);
        let edge = |number, at, rise| (0, Edge { at, rise, number });
        let edges: Vec<_> = (0..pulses).flat_map(|k| [edge(k, at(k, 0), true), edge(k, at(k, 5), false)]).collect();
        let (left, tally) = alone(&mut stage(settings, run, name), 1, &edges);
        assert_eq!(tally, crate::rig::stage::Tally::default());
        let pairs = left[0].chunks_exact(2).map(|e| {
            assert_eq!(e[1].at - e[0].at, Span::from_ms(5), "a pulse keeps its length");
            assert!(e[0].at >= at(e[0].number, 0), "nothing comes before its cause");
            (e[0].at - at(e[0].number, 0)).ms()
        });
        pairs.collect()
    }

    #[test]
    fn the_gap_of_two_gaussians_has_the_moments_of_the_closed_form() {
        let settings = each(Scatter::Gaussian(Span::from_ms(1)));
        let n = 50_000;
        let [a, b] = ["a", "b"].map(|name| rises_late(&settings, RUN, name, n));
        let mean = |x: &mut dyn Iterator<Item = f64>| x.sum::<f64>() / n as f64;
        // Five standard errors: σ/√n is 0.0045; of the SD √2·σ/√(2n), 0.0045; of the size √(2 − 4/π)·σ/√n, 0.0038.
        assert!((mean(&mut a.iter().copied()) - 4.0).abs() < 0.023);
        let gaps = || a.iter().zip(&b).map(|(a, b)| a - b);
        let sd = mean(&mut gaps().map(|g| g * g)).sqrt();
        let size = mean(&mut gaps().map(f64::abs));
        // √2 and 2/√π = 1.128379 before the cut, 1.413456 and 1.127987 after it (integrals over the cut density).
        assert!((sd - 1.413_456).abs() < 0.023, "{sd}");
        assert!((size - 1.127_987).abs() < 0.019, "{size}");
        assert!(a.iter().chain(&b).all(|late| (0.0..=8.0).contains(late)));
    }

    #[test]
    fn a_uniform_scatter_has_the_moments_of_the_closed_form() {
        let late = rises_late(&each(Scatter::Uniform(Span::from_ms(12))), RUN, "a", 20_000);
        let n = late.len() as f64;
        let mean = late.iter().sum::<f64>() / n;
        let variance = late.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / n;
        // P/2 and P²/12; five standard errors: of the mean P/√(12n), 0.0245; of the variance P²/√(180n), 0.076.
        assert!((mean - 6.0).abs() < 0.123, "{mean}");
        assert!((variance - 12.0).abs() < 0.38, "{variance}");
        assert!(late.iter().all(|x| (0.0..=12.0).contains(x)));
    }

    #[test]
    fn without_chance_everything_is_as_late_as_its_middle() {
        let late = |settings: &patch::Jitter| rises_late(settings, Run::Typical, "a", 3);
        assert_eq!(late(&each(Scatter::Gaussian(Span::from_ms(1)))), [4.0; 3]);
        assert_eq!(late(&each(Scatter::Uniform(Span::from_ms(3)))), [1.5; 3]);
        assert_eq!(late(&wander(Span::from_ms(2), Span::from_ms(1000))), [2.0; 3]);
        assert_eq!(late(&patch::Jitter { each: None, wander: None }), [0.0; 3]);
    }

    #[test]
    fn a_wander_is_slow_bounded_and_lies_about_its_middle() {
        let settings = wander(Span::from_ms(2), Span::from_ms(10_000));
        let (mut crossings, mut sum, mut furthest) = (0, 0.0, 0.0_f64);
        for number in 1..=50 {
            // 1000 s: 100 periods.
            let late = rises_late(&settings, Run::Drawn { seed: 1, number }, "a", 10_000);
            assert!(late.iter().all(|x| (0.0..=4.0).contains(x)));
            // No steeper than all waves at their steepest: 2π·1.5/period·most, 0.19 ms in 100 ms.
            assert!(late.windows(2).all(|w| (w[1] - w[0]).abs() <= TAU * 1.5 / 100.0 * 2.0 + 1e-9));
            crossings += late.windows(2).filter(|w| w[0] < 2.0 && w[1] >= 2.0).count();
            sum += late.iter().sum::<f64>() / 10_000.0;
            furthest = late.iter().map(|x| (x - 2.0).abs()).fold(furthest, f64::max);
        }
        // A sum of waves crosses its middle √(Σa²f²/Σa²) times a period (Rice's formula,
        // 1/π √(−ρ″(0)) crossings a unit of time, half of them upwards: Barnett and Kedem, IEEE Trans Inf Theory 44:1672, 1998; exact for many waves):
        // √(1 + 1/12) = 1.041 for frequencies spread evenly over 0.5 to 1.5. A tenth, since there are only three.
        let a_period = f64::from(crossings as u32) / 5_000.0;
        assert!((a_period - 1.041).abs() < 0.104, "{a_period}");
        // A wave of 50 cycles leaves at most 2 ms/(π·50) of a mean.
        assert!((sum / 50.0 - 2.0).abs() < 0.013, "{sum}");
        assert!(furthest > 1.8, "{furthest}");
    }

    #[test]
    fn channels_of_one_device_wander_together() {
        let settings = wander(Span::from_ms(2), Span::from_ms(10_000));
        let mut channels =
            ["a/1", "a/2"].map(|events| Jitter::new(&settings, RUN.chance("a"), RUN.chance(events)).sway);
        for ms in 0..100 {
            let at = Instant(Span::from_ms(77 * ms).0);
            let [one, other] = &mut channels;
            assert_eq!(one.late(at), other.late(at));
        }
    }

    #[test]
    fn hits_are_moved_as_pulses_are() {
        let settings = each(Scatter::Uniform(Span::from_ms(12)));
        let mut jitter = stage(&settings, RUN, "a");
        let hits = (0..50).map(|k| {
            let at = Instant(Span::from_ms(100 * k).0);
            let hit = Passing { at, velocity: 1, level_db: 0.0, index: 0 };
            (jitter.pass(hit).expect("jitter loses nothing").at - at).ms()
        });
        assert_eq!(hits.collect::<Vec<_>>(), rises_late(&settings, RUN, "a", 50));
    }

    proptest! {
        /// Jitter far beyond the pulses' spacing: still the union of moved pulses, put in order where they would overtake.
        #[test]
        fn pulses_never_overtake(gaps in prop::collection::vec((1_i64..50, 1_i64..50), 0..40), range in 0_i64..300, number in 0_u64..50) {
            let settings = each(Scatter::Uniform(Span(range)));
            let run = Run::Drawn { seed: 1, number };
            let mut sway = stage(&settings, run, "a").sway;
            let (mut at, mut end) = (0, Instant(0));
            let mut edges = Vec::new();
            let mut moved = Vec::new();
            for (k, &(gap, width)) in (0..).zip(&gaps) {
                let rise = at + gap;
                at = rise + width;
                edges.push((0, Edge { at: Instant(rise), rise: true, number: k }));
                edges.push((0, Edge { at: Instant(at), rise: false, number: k }));
                let late = sway.late(Instant(rise));
                let pulse = Pulse { rise: end.max(Instant(rise) + late), fall: end.max(Instant(at) + late), number: k };
                end = pulse.fall;
                moved.push(pulse);
            }
            let union: Vec<_> = Wire::new(moved.into_iter()).map(|p| (p.rise, p.fall, p.number)).collect();
            let (left, tally) = alone(&mut stage(&settings, run, "a"), 1, &edges);
            let seen: Vec<_> = left[0].chunks_exact(2).map(|e| (e[0].at, e[1].at, e[0].number)).collect();
            prop_assert_eq!(seen.len() as u64, gaps.len() as u64 - tally.lost - tally.merged);
            prop_assert_eq!(seen, union);
        }
    }
}
