//! A measured delay in the words of a patch: what an output, a sequencer and stages say of it.

use crate::measure::{Estimate, Finding, Kind, Lattice, Missing};
use crate::text::without_noughts;

/// How many SDs late the middle of what a `jitter` stage scatters lies.
const LATE: f64 = 4.0;
/// Frames a second that blocks of audio usually have.
const RATES: [u32; 4] = [48_000, 44_100, 96_000, 88_200];
/// How near a length is to a whole block of so many frames that it is taken for one.
const NEAR: f64 = 1e-3;

/// What a share adds from one tempo to another is of no account under this, in seconds.
const OF_ACCOUNT: f64 = 10e-6;

/// Whether a value is more than its error, in 95 of a hundred cases.
fn stands_out(of: Estimate) -> bool {
    of.value.abs() > 1.96 * of.error
}

/// From the shortest to the longest place of the grid, in seconds.
fn range(finding: &Finding) -> f64 {
    let periods = finding.sessions.iter().map(|session| session.period);
    let (short, long) = periods.fold((f64::MAX, 0.0_f64), |e, period| (e.0.min(period), e.1.max(period)));
    (long - short).max(0.0)
}

/// What makes hits late.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Delay {
    /// A share of a place of the grid.
    share: f64,
    /// What is neither a share nor what the parts below are late by in their middle; in seconds.
    fixed: Estimate,
    /// The SD of what hits waver by; 0 where they do not.
    waver: f64,
    /// A loop or blocks.
    lattice: Option<Lattice>,
}

/// A stage, and what a component is called that does the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    /// What stands behind the box's name.
    pub(super) name: &'static str,
    /// The keys of its table, a line each.
    pub(super) keys: String,
}

impl Delay {
    /// What a patch can say of a finding. With `accept` a line over the tempos is taken where its kind cannot be told.
    ///
    /// # Errors
    /// Why a patch cannot say it.
    pub(super) fn of(finding: &Finding, accept: bool) -> Result<Self, String> {
        let verdict = &finding.verdict;
        let most = |waver: f64, session: &crate::measure::Session| match session.summary() {
            Some(of) if of.wavers => waver.max(of.waver),
            _ => waver,
        };
        let waver = finding.sessions.iter().fold(0.0, most);
        let plain = Self { share: 0.0, fixed: verdict.constant, waver, lattice: None };
        match verdict.kind {
            // The other of the two is of no account, but where it is sure it is told: so that what is written has the same gaps.
            Kind::Together | Kind::Fixed => {
                let stands = stands_out(verdict.share) && verdict.share.value.abs() * range(finding) > OF_ACCOUNT;
                Ok(if stands { Self { share: verdict.share.value, fixed: verdict.fixed, ..plain } } else { plain })
            }
            Kind::Share => Ok(Self {
                share: verdict.share.value,
                fixed: if stands_out(verdict.fixed) { verdict.fixed } else { Estimate { value: 0.0, error: 0.0 } },
                ..plain
            }),
            Kind::Both => Ok(Self { share: verdict.share.value, fixed: verdict.fixed, ..plain }),
            Kind::Lattice(lattice) => {
                let (low, high) = lattice.least;
                let waits = f64::from(lattice.blocks) * lattice.length;
                // The bounds hold it for sure; as 95 in a hundred they are two errors to either side.
                let error = (0.25 * (high - low)).hypot(finding.onset);
                let fixed = Estimate { value: f64::midpoint(low, high) - waits, error };
                Ok(Self { fixed, waver: 0.0, lattice: Some(lattice), ..plain })
            }
            Kind::Whole(_) => Err("whole places of the grid are steps of its pattern, not a delay; turn that".into()),
            Kind::NoLine => Err("neither a time nor a share explains it; --onsets keeps its hits as takes".into()),
            Kind::CannotTell(_) if !accept => {
                Err("its kind of delay cannot be told; record what is asked for, or take it as it lies with --accept"
                    .into())
            }
            // One tempo has no line.
            Kind::CannotTell(Missing::Tempo) => Ok(plain),
            Kind::CannotTell(_) => Ok(Self { share: verdict.share.value, fixed: verdict.fixed, ..plain }),
        }
    }

    /// What the middle of the scatter is late by.
    fn late(&self) -> f64 {
        LATE * self.waver
    }

    /// The share of a place of the grid, where there is one to be said.
    pub(super) fn share(&self) -> Option<f64> {
        (self.share != 0.0).then_some(self.share)
    }

    /// The phase of its own output, where a share is to be said.
    pub(super) fn phase(&self) -> Option<String> {
        self.share().map(|share| format!("{} %", without_noughts(&format!("{:.6}", share * 100.0))))
    }

    /// The nudge of a box that comes before its place: no stage does that.
    pub(super) fn offset(&self) -> Option<String> {
        let rest = self.fixed.value - self.late();
        // What is under half a nanosecond is nothing.
        (rest < -0.5e-9).then(|| time(rest))
    }

    /// The stages between the box and the ear.
    pub(super) fn parts(&self) -> Vec<Part> {
        let mut parts = Vec::new();
        let (rest, error) = (self.fixed.value - self.late(), 1.96 * self.fixed.error);
        if let Some(lattice) = self.lattice {
            parts.push(waits(lattice));
        }
        if self.offset().is_none() && rest > 0.0 {
            let [least, usual, most] = [(rest - error).max(0.0), rest, rest + error].map(time);
            let keys =
                format!("kind = \"delay\"\ndelay = {{ min = \"{least}\", typ = \"{usual}\", max = \"{most}\" }}\n");
            parts.push(Part { name: "delay", keys });
        }
        if self.waver > 0.0 {
            let keys = format!("kind = \"jitter\"\neach = {{ sd = \"{}\" }}\n", time(self.waver));
            parts.push(Part { name: "waver", keys });
        }
        parts
    }
}

fn waits(lattice: Lattice) -> Part {
    if lattice.blocks == 0 {
        let keys = format!("kind = \"poll\"\nperiod = \"{}\"\nreads = \"latched\"\n", time(lattice.length));
        return Part { name: "loop", keys };
    }
    let usual = RATES.iter().find_map(|rate| {
        let frames = lattice.length * f64::from(*rate);
        let whole = (32..=4_096_u32)
            .find(|whole| whole.is_power_of_two() && (frames / f64::from(*whole) - 1.0).abs() < NEAR)?;
        Some((whole, *rate))
    });
    // No usual block is as long: a rate is found at which 256 frames are.
    let (frames, rate) = usual.unwrap_or_else(|| (256, (256.0 / lattice.length).round().clamp(1e3, 768e3) as u32));
    // An event of a block is heard when so many of them have passed, its own among them.
    let blocks = lattice.blocks + 1;
    let keys = format!(
        "kind = \"audio-buffer\"\nframes = {frames}\nsample-rate = \"{rate} Hz\"\nblocks = {blocks}\nevents = \"block\"\n"
    );
    Part { name: "blocks", keys }
}

/// Seconds as a patch has them, down to the nanosecond.
fn time(seconds: f64) -> String {
    let ms = format!("{:.6}", seconds * 1e3);
    let ms = without_noughts(&ms);
    format!("{} ms", if ms == "-0" { "0" } else { ms })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lattice(length: f64, blocks: u32) -> Lattice {
        Lattice { length, score: 1.0, least: (0.0, 0.0), blocks }
    }

    #[test]
    fn times_are_as_a_patch_has_them() {
        assert_eq!([2.5e-3, -1e-9, 0.0, 40e-6].map(time), ["2.5 ms", "-0.000001 ms", "0 ms", "0.04 ms"]);
    }

    /// What is early is a nudge, and what is scattered is so much earlier as its middle lies late.
    #[test]
    fn what_a_stage_cannot_do_is_a_nudge() {
        let late = |fixed: f64, waver: f64| Delay {
            share: 0.0,
            fixed: Estimate { value: fixed, error: 10e-6 },
            waver,
            lattice: None,
        };
        let names = |of: &Delay| of.parts().iter().map(|part| part.name).collect::<Vec<_>>();
        let (plain, early, loose) = (late(3e-3, 0.0), late(-3e-3, 0.0), late(3e-3, 1e-3));
        assert_eq!((names(&plain), plain.offset()), (vec!["delay"], None));
        assert!(plain.parts()[0].keys.contains("min = \"2.9804 ms\", typ = \"3 ms\", max = \"3.0196 ms\""));
        assert_eq!((names(&early), early.offset()), (vec![], Some("-3 ms".to_owned())));
        assert_eq!((names(&loose), loose.offset()), (vec!["waver"], Some("-1 ms".to_owned())));
        assert_eq!(plain.phase(), None);
    }

    #[test]
    fn a_length_is_a_loop_or_blocks_of_frames() {
        assert!(waits(lattice(4e-3, 0)).keys.contains("period = \"4 ms\""));
        let usual = waits(lattice(256.0 / 44_100.0 * 1.0004, 1)).keys;
        assert!(usual.contains("frames = 256\nsample-rate = \"44100 Hz\"\nblocks = 2"), "{usual}");
        let own = waits(lattice(5e-3, 2)).keys;
        assert!(own.contains("frames = 256\nsample-rate = \"51200 Hz\"\nblocks = 3"), "{own}");
    }
}
