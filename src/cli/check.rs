use super::args::{Format, PatchArgs};
use super::load::load;
use super::{Failure, Outcome, talk};
use crate::gap::{Body, judge};
use crate::patch::{Rig, Variant};
use crate::report::{Checked, Judged, check_csv, check_json, check_table};
use crate::rig::play;
use crate::time::{Span, Tempo};
use clap::Args;
use rayon::prelude::*;
use std::collections::BTreeMap;

#[derive(Args, Debug)]
pub struct CheckArgs {
    #[command(flatten)]
    patch: PatchArgs,
    /// A variant to look at: a fix, several joined by +, or original; may be given again (default: all)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
}

pub fn run(args: &CheckArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch)?;
    let variants = loaded.variants(&args.fix)?;
    let cells: Vec<(&Variant, Tempo)> =
        variants.iter().flat_map(|v| loaded.patch.tempos.iter().map(move |&t| (v, t))).collect();
    let mut bodies = Bodies::default();
    let results = cells
        .par_iter()
        .map(|&(variant, tempo)| judged(variant, tempo, loaded.patch.max_gap))
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .map(|j| bodies.add(j))
        .collect();
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
pub fn judged(variant: &Variant, tempo: Tempo, max_gap: Span) -> Result<Judged<'_>, Failure> {
    let out_of_time = |e: &dyn std::fmt::Display| Failure::input(e, "fewer bars, or a faster tempo");
    let performance = play(&variant.rig, tempo).map_err(|e| out_of_time(&e))?;
    let verdict = judge(&variant.rig, &performance, max_gap).map_err(|e| out_of_time(&e))?;
    Ok(Judged { variant, tempo, verdict, body_db: Vec::new() })
}

/// The low ends of the voices that like pairs need, each worked out once.
#[derive(Default)]
pub struct Bodies(BTreeMap<String, Body>);

impl Bodies {
    /// Adds what the gaps between like sounds cost in body.
    pub fn add<'a>(&mut self, mut judged: Judged<'a>) -> Judged<'a> {
        let rig = &judged.variant.rig;
        judged.body_db = judged
            .verdict
            .gaps
            .iter()
            .map(|g| g.first_notch_hz().and(g.worst()).map(|worst| self.of(rig, g.between[0]).two_hits_db(worst)))
            .collect();
        judged
    }

    fn of(&mut self, rig: &Rig, sequencer: usize) -> &Body {
        let voice = &rig.voices[rig.sequencers[sequencer].voice];
        let key = format!("{:?}", voice.settings);
        self.0.entry(key).or_insert_with(|| {
            let master = crate::voice::master(&voice.settings, &voice.name);
            Body::of(&master.samples, master.rate)
        })
    }
}
