use std::io;

use super::clock::Clock;
use super::gaps::{Due, Session, between, session};
use super::heard::{Heard, Note, Role};
use super::listen::listen;
use super::model::{BETWEEN, Estimate, Verdict, verdict};
use super::recording::Recording;

/// How far apart, as an eighth note at this many quarter notes a minute, what one wire strikes may sound in a recording of that.
const ONE_WIRE: f64 = 120.0;
/// Under this share of a channel's hits, a class is an exception that is not measured by itself.
const CLASS: f64 = 0.1;

/// What was recorded, and what is asked of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// What each channel has on it, in the order of the recordings' channels.
    pub roles: Vec<Role>,
    /// Quarter notes a minute, a recording each.
    pub tempos: Vec<f64>,
    /// Places of the grid a quarter note, to which hits belong.
    pub places: f64,
    /// The place, from 0, of the first hit in each recording, where it is known.
    pub first: Option<u32>,
    /// Whether one recording follows that has no tempo: all struck by one wire, so that the gaps in it are those of the voices
    /// and the cables alone, and are taken off.
    pub zero: bool,
}

/// Why nothing can be said.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// A recording could not be read.
    #[error("a recording could not be read: {0}")]
    Read(#[from] io::Error),
    /// The pulses of a recording do not keep its tempo; their usual distance in seconds, where there are two.
    #[error("the pulses do not keep the tempo")]
    Tempo {
        /// Which recording, from 0.
        file: usize,
        /// Seconds from pulse to pulse.
        apart: Option<f64>,
    },
}

/// How hits of one channel, or of one sound on it, come against the clock or another channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The channel that has the hits.
    pub channel: usize,
    /// Which of its sounds, from 0, where it has several.
    pub sound: Option<usize>,
    /// The channel that they are held against.
    pub against: usize,
    /// How far another rule for where a hit begins would move all gaps together, in seconds; where one wire struck all, how well
    /// that is known.
    pub onset: f64,
    /// The gap of a recording in which one wire struck both, which is taken off all others; in seconds.
    pub zero: Option<Estimate>,
    /// The mean of its hits as they were recorded, and where in it a hit begins, in samples.
    pub wave: (Vec<f64>, f64),
    /// The gaps of each recording.
    pub sessions: Vec<Session>,
    /// What kind of delay that is.
    pub verdict: Verdict,
}

/// All that recordings say.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// Samples a second of the recordings.
    pub rate: f64,
    /// How far the recorder and the clock disagree in each recording, in millionths, with the standard error; none without pulses.
    pub ppm: Vec<Option<(f64, f64)>>,
    /// Channel by channel.
    pub findings: Vec<Finding>,
    /// Channels on which fewer than three like hits were found.
    pub silent: Vec<usize>,
    /// What else there is to say, with the channel.
    pub notes: Vec<(usize, Note)>,
}

/// Listens to recordings and holds all hits against the first channel with pulses, or, without one, against the first with hits.
///
/// # Errors
/// [`Fault`].
///
/// # Panics
/// As [`listen`], and if there are not as many tempos as recordings.
pub fn findings(recordings: &[&dyn Recording], request: &Request) -> Result<Findings, Fault> {
    let files = request.tempos.len();
    assert_eq!(recordings.len(), files + usize::from(request.zero), "a tempo a recording, but none of a zero");
    let heard = listen(recordings, &request.roles)?;
    let of = |role: Role| request.roles.iter().position(|it| *it == role);
    let pulses = of(Role::Pulses);
    let clocks = match pulses {
        Some(channel) => clocks(&heard[channel], &request.tempos)?,
        None => Vec::new(),
    };
    let against = pulses.or_else(|| of(Role::Hits)).unwrap_or(0);
    let mut found = Findings {
        rate: recordings.first().map_or(0.0, |recording| recording.rate()),
        ppm: (0..files).map(|file| clocks.get(file).and_then(Clock::ppm)).collect(),
        findings: Vec::new(),
        silent: Vec::new(),
        notes: Vec::new(),
    };
    for (channel, heard_here) in heard.iter().enumerate() {
        found.notes.extend(heard_here.notes.iter().map(|note| (channel, *note)));
        if request.roles[channel] != Role::Hits {
            continue;
        }
        if heard_here.hits.is_empty() {
            found.silent.push(channel);
        }
        if channel == against {
            continue;
        }
        let large = CLASS * heard_here.hits.len() as f64;
        let classes: Vec<usize> =
            (0..heard_here.classes.len()).filter(|class| heard_here.classes[*class].hits as f64 >= large).collect();
        for class in &classes {
            let mut sessions: Vec<Session> = (0..files)
                .map(|file| {
                    let hits = times(heard_here, file, Some(*class));
                    let tempo = request.tempos[file];
                    match clocks.get(file) {
                        Some(clock) => {
                            session(clock, tempo, request.places, &hits, due(request, heard_here, file, *class))
                        }
                        None => between(tempo, request.places, &times(&heard[against], file, None), &hits),
                    }
                })
                .collect();
            let own = &heard_here.classes[*class];
            let others = heard[against].classes.iter().map(|class| class.uncertainty).fold(0.0, f64::max);
            let mut onset = others.hypot(own.uncertainty);
            let zero = if request.zero {
                zero(&times(&heard[against], files, None), &times(heard_here, files, Some(*class)))
            } else {
                None
            };
            if let Some(zero) = zero {
                onset = zero.error;
                for gap in sessions.iter_mut().flat_map(|session| &mut session.gaps) {
                    gap.gap -= zero.value;
                    gap.at -= zero.value;
                }
            }
            if let Some(verdict) = verdict(&sessions, onset, request.first.is_some() && pulses.is_some()) {
                let sound = (classes.len() > 1).then_some(*class);
                let wave = (own.wave.clone(), own.begins);
                found.findings.push(Finding { channel, sound, against, onset, zero, wave, sessions, verdict });
            }
        }
    }
    Ok(found)
}

/// The gap that hits have which one wire strikes; none of under three.
fn zero(first: &[(f64, f64)], second: &[(f64, f64)]) -> Option<Estimate> {
    let summary = between(ONE_WIRE, 2.0, first, second).summary()?;
    (summary.count >= 3).then(|| Estimate { value: summary.mean, error: summary.error.hypot(BETWEEN) })
}

/// The first hit is known of the channel, not of each of its sounds: others are counted from it.
fn due(request: &Request, heard: &Heard, file: usize, class: usize) -> Due {
    match (request.first, heard.hits.iter().find(|hit| hit.file == file)) {
        (Some(first), Some(hit)) if hit.class == class => Due::First(first),
        _ => Due::Nearest,
    }
}

/// When the hits of a recording come, and how surely; of one class or of all.
fn times(heard: &Heard, file: usize, class: Option<usize>) -> Vec<(f64, f64)> {
    let wanted = |hit: &&super::heard::Hit| hit.file == file && class.is_none_or(|class| hit.class == class);
    heard.hits.iter().filter(wanted).map(|hit| (hit.seconds, hit.error)).collect()
}

fn clocks(heard: &Heard, tempos: &[f64]) -> Result<Vec<Clock>, Fault> {
    let clock = |(file, tempo): (usize, &f64)| {
        let seconds: Vec<f64> = times(heard, file, None).into_iter().map(|(seconds, _)| seconds).collect();
        Clock::of(&seconds, *tempo).ok_or_else(|| {
            let mut between: Vec<f64> = seconds.windows(2).map(|two| two[1] - two[0]).collect();
            let apart = (!between.is_empty()).then(|| super::class::median(&mut between));
            Fault::Tempo { file, apart }
        })
    };
    tempos.iter().enumerate().map(clock).collect()
}
