use std::io;

use rayon::prelude::*;

use super::bleed::{self, Bleed, Side};
use super::chain::{Path, Taps};
use super::channel::{self, Found, Sounding, straight};
use super::heard::{Class, Heard, Hit, Note, Role};
use super::levels::Levels;
use super::pulses::pulses;
use super::recording::{File, Recording};

/// A class is another channel's, leaked: this share of its hits, that close in seconds, so much weaker, that alike.
const LEAKED_SHARE: f64 = 0.9;
const LEAKED_WITHIN: f64 = 0.004;
const LEAKED_POWER: f64 = 0.1;
const LEAKED_LIKE: f64 = 0.7;

/// Finds all pulses and hits of some recordings, which all have the same channels and rate; a list of what was heard a channel.
///
/// # Errors
/// What stands in the way of reading a recording.
///
/// # Panics
/// If the recordings differ in rate or channels, or `roles` names another number of channels.
pub fn listen(recordings: &[&dyn Recording], roles: &[Role]) -> io::Result<Vec<Heard>> {
    let Some(rate) = recordings.first().map(|recording| recording.rate()) else {
        return Ok(vec![Heard::default(); roles.len()]);
    };
    assert!(
        recordings.iter().all(|recording| recording.rate() == rate && recording.channels() == roles.len()),
        "all recordings have one rate and a role for each channel"
    );
    let channels: Vec<usize> = (0..roles.len()).collect();
    let levels = recordings
        .iter()
        .map(|recording| channels.par_iter().map(|channel| Levels::of(*recording, *channel)).collect())
        .collect::<io::Result<Vec<Vec<Levels>>>>()?;
    let files: Vec<File> = recordings
        .iter()
        .zip(&levels)
        .map(|(recording, levels)| File {
            recording: *recording,
            rests: levels.iter().map(|level| level.rest).collect(),
        })
        .collect();
    let peaks: Vec<f64> = channels
        .iter()
        .map(|channel| levels.iter().fold(0.0_f64, |peak, level| peak.max(level[*channel].peak)))
        .collect();
    let mut found = channels
        .par_iter()
        .map(|channel| one(&files, roles, *channel, &peaks, rate))
        .collect::<io::Result<Vec<(Heard, Found)>>>()?;
    drop_leaks(&mut found, rate);
    let heard = found.into_iter().enumerate().map(|(channel, (mut heard, found))| {
        add_hits(&mut heard, found, rate);
        let clipped = levels.iter().map(|level| level[channel].clipped).sum();
        if clipped > 0 {
            heard.notes.push(Note::Clipped { samples: clipped });
        }
        heard
    });
    Ok(heard.collect())
}

fn one(files: &[File], roles: &[Role], channel: usize, peaks: &[f64], rate: f64) -> io::Result<(Heard, Found)> {
    let mut heard = Heard::default();
    if peaks[channel] == 0.0 || roles[channel] == Role::Unused {
        return Ok((heard, Found::default()));
    }
    if roles[channel] == Role::Pulses {
        for (number, file) in files.iter().enumerate() {
            let upwards = upwards(file, channel)?;
            heard.hits.extend(pulses(file, channel, upwards)?.into_iter().map(|edge| Hit {
                file: number,
                class: 0,
                seconds: edge.place / rate,
                error: edge.error / rate,
                amplitude: 1.0,
            }));
        }
        heard.classes.push(Class { hits: heard.hits.len(), ..Class::default() });
        return Ok((heard, Found::default()));
    }
    let mut paths = vec![straight(channel)];
    for other in (0..roles.len()).filter(|other| *other != channel && roles[*other] != Role::Unused) {
        let side = |channel: usize| Side { channel, peak: peaks[channel] };
        match bleed::find(files, side(channel), side(other))? {
            Bleed::None => {}
            Bleed::CannotTell => heard.notes.push(Note::BleedUnknown { from: other }),
            Bleed::Found(taps) => {
                heard.notes.push(Note::BleedTaken { from: other });
                let taken = taps.0.iter().map(|tap| -tap).collect();
                paths.push(Path { channel: other, taps: Taps(taken) });
            }
        }
    }
    let found = channel::hits(files, &paths, rate)?;
    Ok((heard, found))
}

/// Whether pulses go up: whether the channel reaches further above its level at rest than below.
fn upwards(file: &File, channel: usize) -> io::Result<bool> {
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    let mut from = 0;
    while from < file.frames() {
        let mut samples = vec![0.0; 65_536.min(file.frames() - from)];
        file.read(channel, from as isize, &mut samples)?;
        for sample in &samples {
            low = low.min(*sample);
            high = high.max(*sample);
        }
        from += samples.len();
    }
    Ok(high >= -low)
}

/// Leaves out classes that are those of another channel, leaked.
fn drop_leaks(found: &mut [(Heard, Found)], rate: f64) {
    for channel in 0..found.len() {
        let mut dropped = Vec::new();
        for (number, class) in found[channel].1.classes.iter().enumerate() {
            let from = found
                .iter()
                .enumerate()
                .filter(|(other, _)| *other != channel)
                .find(|(_, (_, other))| other.classes.iter().any(|theirs| is_leak(class, theirs, rate)));
            if let Some((from, _)) = from {
                dropped.push((number, Note::ClassLeaked { from, hits: class.hits.len() }));
            }
        }
        for (number, note) in dropped.into_iter().rev() {
            found[channel].1.classes.remove(number);
            found[channel].0.notes.push(note);
        }
    }
}

fn is_leak(own: &Sounding, theirs: &Sounding, rate: f64) -> bool {
    let at = |class: &Sounding| -> Vec<(usize, f64)> {
        class.hits.iter().map(|hit| (hit.spot.file, hit.spot.place as f64 + hit.spot.lag)).collect()
    };
    let others = at(theirs);
    let near = at(own)
        .iter()
        .filter(|(file, place)| {
            let first = others.partition_point(|other| *other < (*file, place - LEAKED_WITHIN * rate));
            others.get(first).is_some_and(|(of, other)| of == file && *other <= place + LEAKED_WITHIN * rate)
        })
        .count();
    if (near as f64) < LEAKED_SHARE * own.hits.len() as f64 {
        return false;
    }
    let power = |wave: &[f64]| wave.iter().map(|sample| sample * sample).sum::<f64>();
    let (mine, other) = (power(&own.onset.wave), power(&theirs.onset.wave));
    if mine > LEAKED_POWER * other {
        return false;
    }
    // Both waves stand about their own templates' places: within a millisecond of each other.
    let reach = (0.001 * rate) as isize;
    let across = |lag: isize| {
        let pairs = own.onset.wave.iter().enumerate().filter_map(|(at, sample)| {
            theirs.onset.wave.get(usize::try_from(at as isize + lag).ok()?).map(|other| sample * other)
        });
        pairs.sum::<f64>().abs()
    };
    let most = (-reach..=reach).map(across).fold(0.0, f64::max);
    most >= LEAKED_LIKE * (mine * other).sqrt()
}

fn add_hits(heard: &mut Heard, found: Found, rate: f64) {
    if found.classes.iter().any(|class| class.loose) {
        heard.notes.push(Note::Loose);
    }
    if found.unlike > 0 {
        heard.notes.push(Note::Unlike { hits: found.unlike });
    }
    for (number, class) in found.classes.into_iter().enumerate() {
        heard.hits.extend(class.hits.iter().map(|hit| Hit {
            file: hit.spot.file,
            class: number,
            seconds: (hit.spot.place as f64 + hit.spot.lag + class.onset.offset) / rate,
            error: hit.error / rate,
            amplitude: hit.spot.amplitude,
        }));
        heard.classes.push(Class {
            hits: class.hits.len(),
            uncertainty: class.onset.uncertainty,
            loose: class.loose,
            wave: class.onset.wave,
            begins: class.onset.begins,
        });
    }
    heard.hits.sort_by(|a, b| (a.file, a.seconds).partial_cmp(&(b.file, b.seconds)).expect("times are numbers"));
}
