use std::io;

use super::chain::{Chain, Path, Taps};
use super::class::{Place, Shape, median};
use super::classes::{self, Member};
use super::coarse::{self, Energies, Floor};
use super::cut::{Cut, Stretch};
use super::fine::Fit;
use super::likeness::{LAG, energy, likeness};
use super::matched::{self, Candidate};
use super::noise::Noise;
use super::onset::{Onset, Spot, onset};
use super::recording::File;
use super::view::View;

/// The share of the largest possible correlation at which a hit is one of a class.
const LIKE: f64 = 0.6;
/// Under this share of all hits in classes, hits are unlike.
const ALIKE: f64 = 0.8;
/// The share of all hits that a large class has at least.
const LARGE: f64 = 0.05;
/// The part of the largest possible correlation under which a class's template does not explain its hits.
const WELL: f64 = 0.95;
/// Hits that classes, and onsets, are made of at most.
const SAMPLED: usize = 600;
const AVERAGED: usize = 256;
/// How soon no second hit begins, in seconds.
const DEAD: f64 = 0.02;

/// A hit of a class.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    pub(super) spot: Spot,
    /// In samples.
    pub(super) error: f64,
    /// Its correlation with the template, of the largest that noise leaves.
    share: f64,
}

/// A class with all its hits, in order.
pub(super) struct Sounding {
    pub(super) hits: Vec<Placed>,
    pub(super) onset: Onset,
    pub(super) loose: bool,
}

/// What one channel holds over all files.
#[derive(Default)]
pub(super) struct Found {
    pub(super) classes: Vec<Sounding>,
    /// Beginnings that are in no class.
    pub(super) unlike: usize,
}

/// Looks for all hits of a channel, which is the sum of `paths` of the files' channels.
pub(super) fn hits(files: &[File], paths: &[Path], rate: f64) -> io::Result<Found> {
    let stretch = Stretch::new(rate);
    let raw = Chain::new(paths, 4 * stretch.size());
    let mut noise = Noise::new(rate);
    for file in files {
        noise.add(file, &raw)?;
    }
    let whitener = noise.whitener(&noise.powers());
    let whitened: Vec<Path> =
        paths.iter().map(|path| Path { channel: path.channel, taps: path.taps.then(&whitener) }).collect();
    let bulk = Chain::new(&whitened, 3 * stretch.size());
    let energies = files.iter().map(|file| Energies::of(file, &bulk)).collect::<io::Result<Vec<_>>>()?;
    let floor = Floor::of(&energies);
    let coarse: Vec<(usize, usize)> = energies
        .iter()
        .enumerate()
        .flat_map(|(file, energies)| coarse::hits(energies, floor).into_iter().map(move |place| (file, place)))
        .collect();
    drop(energies);
    let white = Chain::new(&whitened, stretch.size());
    let place = Place { stretch: &stretch, files, chain: &white, rate };
    let search =
        Search { place: &place, raw: &Chain::new(paths, stretch.size()), paths: &whitened, noise: floor.power };
    search.all(&coarse)
}

struct Search<'a> {
    place: &'a Place<'a>,
    raw: &'a Chain,
    paths: &'a [Path],
    noise: f64,
}

impl Search<'_> {
    fn all(&self, coarse: &[(usize, usize)]) -> io::Result<Found> {
        let step = coarse.len().div_ceil(SAMPLED).max(1);
        let sampled: Vec<(usize, usize)> = coarse.iter().copied().step_by(step).collect();
        let cuts = sampled.iter().map(|at| self.cut(*at)).collect::<io::Result<Vec<_>>>()?;
        let of: Vec<usize> = sampled.iter().map(|(file, _)| *file).collect();
        let groups = classes::classes(self.place.stretch, &cuts, self.noise, self.place.rate);
        let large = classes::LEAST.max((LARGE * cuts.len() as f64) as usize);
        let alike: usize = groups.iter().map(Vec::len).filter(|count| *count >= large).sum();
        if cuts.len() >= classes::LEAST && (alike as f64) < ALIKE * cuts.len() as f64 {
            return self.loose(coarse, &of, &cuts);
        }
        let mut shapes = Vec::new();
        for members in &groups {
            shapes.extend(self.place.shape(&of, &cuts, members, View::Wave)?);
        }
        let (mut placed, unlike) = self.assign(&shapes, coarse)?;
        let all: usize = placed.iter().map(Vec::len).sum();
        let well = |hits: &&Vec<Placed>| {
            let mut shares: Vec<f64> = hits.iter().map(|hit| hit.share).collect();
            median(&mut shares) >= WELL
        };
        let explained: usize = placed.iter().filter(well).map(Vec::len).sum();
        if all > 0 && (explained as f64) < ALIKE * all as f64 {
            return self.loose(coarse, &of, &cuts);
        }
        self.missed(&shapes, &mut placed, coarse)?;
        Ok(Found { classes: self.soundings(placed, false)?, unlike })
    }

    fn cut(&self, (file, place): (usize, usize)) -> io::Result<Cut> {
        self.place.stretch.cut(&self.place.files[file], self.place.chain, place as isize)
    }

    /// The class that a hit is like, and where it is.
    fn best(&self, shapes: &[Shape], file: usize, wave: &Cut) -> io::Result<Option<(usize, Placed)>> {
        let mut best: Option<(f64, usize, Placed)> = None;
        for (number, shape) in shapes.iter().enumerate() {
            let Some((cut, fit)) = self.place.find(shape, file, wave)? else { continue };
            let share = fit.correlation / self.cap(&cut);
            if share >= LIKE && best.as_ref().is_none_or(|(most, ..)| share > *most) {
                best = Some((share, number, placed_hit(file, &cut, &fit, share)));
            }
        }
        Ok(best.map(|(_, number, hit)| (number, hit)))
    }

    /// The largest correlation that noise leaves in the window of the fit.
    fn cap(&self, cut: &Cut) -> f64 {
        let stretch = self.place.stretch;
        let all = stretch.product(&cut.samples, &cut.samples);
        let noise = self.noise * stretch.weights.iter().sum::<f64>();
        // Noise alone reaches a correlation of its own; a hit of less power than that is nothing.
        if all > 0.0 { ((all - noise) / all).max(0.01).sqrt() } else { 1.0 }
    }

    fn assign(&self, shapes: &[Shape], coarse: &[(usize, usize)]) -> io::Result<(Vec<Vec<Placed>>, usize)> {
        let mut hits: Vec<Vec<Placed>> = vec![Vec::new(); shapes.len()];
        let mut unlike = 0;
        for at in coarse {
            match self.best(shapes, at.0, &self.cut(*at)?)? {
                Some((class, hit)) => hits[class].push(hit),
                None => unlike += 1,
            }
        }
        Ok((hits, unlike))
    }

    /// Adds what a matched filter finds and the rise of power missed.
    fn missed(&self, shapes: &[Shape], placed: &mut [Vec<Placed>], coarse: &[(usize, usize)]) -> io::Result<()> {
        let dead = (DEAD * self.place.rate) as usize;
        for (number, file) in self.place.files.iter().enumerate() {
            let mut taken: Vec<usize> = coarse.iter().filter(|(of, _)| *of == number).map(|(_, at)| *at).collect();
            for (class, shape) in shapes.iter().enumerate() {
                let filter = matched::filter(self.place.stretch, &shape.template, self.paths);
                let mut candidates = matched::candidates(
                    self.place.stretch,
                    file,
                    (&filter, &shape.template),
                    self.noise,
                    shape.amplitude,
                )?;
                candidates.sort_by(|a: &Candidate, b| b.amplitude.total_cmp(&a.amplitude));
                for Candidate { place, .. } in candidates {
                    let after = taken.partition_point(|at| *at <= place);
                    let near = taken.get(after).is_some_and(|at| at - place < dead)
                        || after.checked_sub(1).is_some_and(|before| place - taken[before] < dead);
                    if near || !matched::rises(file, self.place.chain, place)? {
                        continue;
                    }
                    let wave = self.cut((number, place))?;
                    if let Some((cut, fit)) = self.place.find(shape, number, &wave)?
                        && let share = fit.correlation / self.cap(&cut)
                        && share >= LIKE
                    {
                        placed[class].push(placed_hit(number, &cut, &fit, share));
                        taken.insert(after, place);
                    }
                }
            }
        }
        placed.iter_mut().for_each(|hits| hits.sort_by_key(|hit| (hit.spot.file, hit.spot.place)));
        Ok(())
    }

    /// All hits as one class, aligned by their envelopes.
    fn loose(&self, coarse: &[(usize, usize)], of: &[usize], cuts: &[Cut]) -> io::Result<Found> {
        let place = self.place;
        let view = View::envelope(place.rate, self.noise);
        let seen: Vec<Cut> = cuts.iter().map(|cut| view.of(place.stretch, cut.clone())).collect();
        let energies: Vec<f64> = seen.iter().map(|cut| energy(&cut.samples)).collect();
        let mut order: Vec<usize> = (0..seen.len()).collect();
        order.sort_by(|a, b| energies[*a].total_cmp(&energies[*b]));
        // The one in the middle by its energy is as typical as any.
        let first = order[order.len() / 2];
        let reach = (LAG * place.rate) as usize;
        let members: Vec<Member> = (0..seen.len())
            .map(|cut| {
                let energies = [energies[first], energies[cut]];
                Member { cut, lag: likeness(place.stretch, &seen[first].bins, &seen[cut].bins, energies, reach).lag }
            })
            .collect();
        let Some(shape) = place.shape(of, cuts, &members, view)? else {
            return Ok(Found { unlike: coarse.len(), ..Found::default() });
        };
        let (placed, unlike) = self.assign(&[shape], coarse)?;
        Ok(Found { classes: self.soundings(placed, true)?, unlike })
    }

    fn soundings(&self, placed: Vec<Vec<Placed>>, loose: bool) -> io::Result<Vec<Sounding>> {
        let mut classes = Vec::new();
        for hits in placed.into_iter().filter(|hits| hits.len() >= classes::LEAST) {
            let step = hits.len().div_ceil(AVERAGED).max(1);
            let spots: Vec<Spot> = hits.iter().step_by(step).map(|hit| hit.spot).collect();
            let place = self.place;
            if let Some(onset) = onset(place.stretch, place.files, self.raw, place.rate, &spots, loose)? {
                classes.push(Sounding { hits, onset, loose });
            }
        }
        Ok(classes)
    }
}

fn placed_hit(file: usize, cut: &Cut, fit: &Fit, share: f64) -> Placed {
    Placed { spot: Spot { file, place: cut.place, lag: fit.lag, amplitude: fit.amplitude }, error: fit.error, share }
}

/// A channel as it stands.
pub(super) fn straight(channel: usize) -> Path {
    Path { channel, taps: Taps(vec![1.0]) }
}
