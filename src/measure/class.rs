use std::io;

use super::chain::Chain;
use super::classes::Member;
use super::cut::{Cut, Stretch};
use super::fine::{Fit, fit};
use super::likeness::{LAG, energy, likeness};
use super::recording::File;
use super::template::Template;
use super::view::View;
use crate::stats::quantile;

/// Hits of which a template is made at most, spread over all.
const MOST: usize = 256;
/// How often template and places are worked out in turn.
const ROUNDS: usize = 4;
/// The part of its loudest moment at which a template is taken to begin.
const BEGINS: f64 = 0.05;

/// Where a channel is read.
pub(super) struct Place<'a> {
    pub(super) stretch: &'a Stretch,
    pub(super) files: &'a [File<'a>],
    pub(super) chain: &'a Chain,
    pub(super) rate: f64,
}

/// A class of hits: its template, and how it is compared.
pub(super) struct Shape {
    pub(super) template: Template,
    pub(super) view: View,
    /// The amplitude in the middle of those that the template was made of.
    pub(super) amplitude: f64,
}

struct Aligned {
    file: usize,
    cut: Cut,
    lag: f64,
    amplitude: f64,
}

impl Place<'_> {
    /// Makes the template of some hits: in four rounds each is put where the template of the round before fits it best.
    pub(super) fn shape(
        &self,
        of: &[usize],
        cuts: &[Cut],
        members: &[Member],
        view: View,
    ) -> io::Result<Option<Shape>> {
        let step = members.len().div_ceil(MOST);
        let mut hits = Vec::new();
        for member in members.iter().step_by(step.max(1)) {
            let file = of[member.cut];
            let whole = member.lag.round();
            let place = cuts[member.cut].place + whole as isize;
            let cut = view.cut(self.stretch, &self.files[file], self.chain, place)?;
            let amplitude = self.stretch.product(&cut.samples, &cut.samples).sqrt();
            hits.push(Aligned { file, cut, lag: member.lag - whole, amplitude });
        }
        hits.retain(|hit| hit.amplitude > 0.0);
        for round in 0..ROUNDS {
            if hits.len() < 2 {
                return Ok(None);
            }
            let mut template = self.template(&hits, &view);
            if round < 2 {
                let begins = self.begins(&template) as isize - self.stretch.before as isize;
                for hit in &mut hits {
                    let place = hit.cut.place + begins;
                    hit.cut = view.cut(self.stretch, &self.files[hit.file], self.chain, place)?;
                }
                template = self.template(&hits, &view);
            }
            let mut kept = Vec::new();
            for hit in hits {
                if let Some((cut, found)) = self.settle(&template, &view, hit.file, hit.cut, hit.lag)? {
                    kept.push(Aligned { file: hit.file, cut, lag: found.lag, amplitude: found.amplitude });
                }
            }
            hits = kept;
        }
        if hits.len() < 2 {
            return Ok(None);
        }
        let mut amplitudes: Vec<f64> = hits.iter().map(|hit| hit.amplitude).collect();
        let template = self.template(&hits, &view);
        Ok(Some(Shape { template, view, amplitude: median(&mut amplitudes) }))
    }

    fn template(&self, hits: &[Aligned], view: &View) -> Template {
        let aligned: Vec<Vec<f64>> = hits
            .iter()
            .map(|hit| {
                let shifted = self.stretch.fourier.later(&hit.cut.bins, -hit.lag);
                let mut samples = self.stretch.fourier.samples(shifted);
                samples.iter_mut().for_each(|sample| *sample /= hit.amplitude);
                samples
            })
            .collect();
        Template::of(self.stretch, &aligned, view.reach())
    }

    /// The sample at which a template begins, to half a millisecond.
    fn begins(&self, template: &Template) -> usize {
        let samples = template.samples(self.stretch);
        let half = ((0.000_25 * self.rate) as usize).max(1);
        let sums: Vec<f64> = (0..samples.len())
            .map(|at| energy(&samples[at.saturating_sub(half)..(at + half).min(samples.len())]))
            .collect();
        let most = sums.iter().copied().fold(0.0, f64::max);
        sums.iter().position(|sum| *sum >= BEGINS * most).map_or(self.stretch.before, |at| at + half)
    }

    /// Fits a hit whose cut may be off by a sample or two, and cuts anew until it is not.
    pub(super) fn settle(
        &self,
        template: &Template,
        view: &View,
        file: usize,
        mut cut: Cut,
        mut lag: f64,
    ) -> io::Result<Option<(Cut, Fit)>> {
        for _ in 0..3 {
            let whole = lag.round();
            if whole != 0.0 {
                cut = view.cut(self.stretch, &self.files[file], self.chain, cut.place + whole as isize)?;
            }
            let Some(found) = fit(self.stretch, template, &cut, lag - whole) else { return Ok(None) };
            if found.lag.abs() <= 0.75 {
                return Ok(Some((cut, found)));
            }
            lag = found.lag;
        }
        Ok(None)
    }

    /// Looks for a template about a place and fits it there.
    pub(super) fn find(&self, shape: &Shape, file: usize, wave: &Cut) -> io::Result<Option<(Cut, Fit)>> {
        let cut = shape.view.of(self.stretch, wave.clone());
        let energies = [energy(&shape.template.samples(self.stretch)), energy(&cut.samples)];
        let alike = likeness(self.stretch, &shape.template.bins, &cut.bins, energies, (LAG * self.rate) as usize);
        self.settle(&shape.template, &shape.view, file, cut, alike.lag)
    }
}

/// The value in the middle; 0 of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    values.sort_by(f64::total_cmp);
    quantile(values, 0.5)
}
