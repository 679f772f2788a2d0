use super::args::{Format, JudgeArgs, PatchArgs};
use super::load::load;
use super::{Failure, Outcome, talk};
use crate::gap::{Body, judge, sure};
use crate::patch::{Patch, Rig, Variant};
use crate::report::{Checked, Judged, check_csv, check_json, check_table};
use crate::rig::play;
use crate::time::Tempo;
use crate::voice::{NoiseKey, Settings, VoiceError, master};
use clap::Args;
use rayon::prelude::*;

#[derive(Args, Debug)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// A variant to look at: a fix, several joined by +, or original; may be given again (default: all)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

pub(super) fn run(args: &CheckArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let variants = loaded.variants(&args.fix)?;
    let cells: Vec<(&Variant, Tempo)> =
        variants.iter().flat_map(|v| loaded.patch.tempos.iter().map(move |&t| (v, t))).collect();
    let mut bodies = Bodies::default();
    let results = cells
        .par_iter()
        .map(|&(variant, tempo)| judged(variant, tempo, &loaded.patch))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .map(|j| bodies.add(j))
        .collect::<Result<Vec<_>, _>>()?;
    let checked = Checked { name: loaded.name.clone(), patch: &loaded.patch, results };
    talk::result(|out| match args.format {
        Format::Table => out.write_all(check_table(&checked).as_bytes()),
        Format::Json => {
            serde_json::to_writer_pretty(&mut *out, &check_json(&checked))?;
            out.write_all(b"\n")
        }
        Format::Csv => check_csv(&checked, out),
    })?;
    Ok(if checked.passes() { Outcome::Done } else { Outcome::Fails })
}

/// One variant at one tempo, played and judged.
///
/// # Errors
/// Exit status 2, if an instant does not fit; a checked patch never does that.
pub(super) fn judged<'a>(variant: &'a Variant, tempo: Tempo, patch: &Patch) -> Result<Judged<'a>, Failure> {
    let out_of_time = |e: &dyn std::fmt::Display| Failure::input(e, "fewer bars, or a faster tempo");
    let performance = play(&variant.rig, tempo).map_err(|e| out_of_time(&e))?;
    let verdict = judge(&variant.rig, &performance, patch.max_gap).map_err(|e| out_of_time(&e))?;
    let sure = sure(&variant.rig, &performance, patch.skew);
    Ok(Judged { variant, tempo, verdict, body_db: Vec::new(), sure })
}

/// The low ends of the voices that like pairs need, each worked out once.
#[derive(Default)]
pub(super) struct Bodies(Vec<(Settings, Body)>);

impl Bodies {
    /// Adds what the gaps between like sounds cost in body.
    ///
    /// # Errors
    /// Exit status 2 for settings that no model can draw; a checked patch has none.
    pub(super) fn add<'a>(&mut self, mut judged: Judged<'a>) -> Result<Judged<'a>, Failure> {
        let rig = &judged.variant.rig;
        for gap in &judged.verdict.gaps {
            // Beyond the notch's reach the two hits no longer add up to one sound.
            let worst = gap.first_notch_hz().and(gap.worst());
            let body = worst.map(|worst| Ok::<_, Failure>(self.of(rig, gap.between[0])?.two_hits_db(worst)));
            judged.body_db.push(body.transpose()?);
        }
        Ok(judged)
    }

    fn of(&mut self, rig: &Rig, sequencer: usize) -> Result<&Body, VoiceError> {
        let voice = &rig.voices[rig.sequencers[sequencer].voice];
        let known = self.0.iter().position(|(settings, _)| *settings == voice.settings);
        let at = match known {
            Some(at) => at,
            None => {
                let hit = master(&voice.settings, &NoiseKey::voice(1, &voice.name))?;
                self.0.push((voice.settings.clone(), Body::of(&hit.samples, hit.rate)));
                self.0.len() - 1
            }
        };
        Ok(&self.0[at].1)
    }
}
