//! How well single hits are placed: the table of `docs/measure.md`.

use super::{Track, bits, held, voice};
use hitgap::dsp::uniform;
use hitgap::measure::{Heard, Held, Hit, Note, Recording, Role, listen};

const VOICES: [&str; 3] = ["kick", "snare", "hat"];
/// Seconds from step to step, and how many there are.
const STEP: f64 = 0.17;
const STEPS: usize = 72;

/// How a recording is spoiled.
#[derive(Clone, Copy, Default)]
struct Spoilt {
    /// The peak of a channel over its noise.
    snr_db: f64,
    bleed_db: Option<f64>,
    clip_db: Option<f64>,
    ppm: f64,
    room_and_hum: bool,
}

/// Three channels, and the times of the hits on each; all of them `later`.
fn recorded(spoilt: Spoilt, later: f64) -> (Held, Vec<Vec<f64>>) {
    let plays: [fn(usize) -> bool; 3] = [|n| matches!(n % 8, 0 | 3 | 6), |n| n % 4 == 2, |n| n.is_multiple_of(2)];
    let mut chance = bits("table", 1);
    let mut times = vec![Vec::new(); 3];
    let mut tracks = Vec::new();
    for (channel, name) in VOICES.iter().enumerate() {
        let master = voice(name);
        let mut track = Track::new(STEP * STEPS as f64 + 0.5);
        for step in (0..STEPS).filter(|step| plays[channel](*step)) {
            let at = 0.1 + step as f64 * STEP + 0.004 * uniform(&mut chance) + later;
            track.strike(&master, at * (1.0 + spoilt.ppm * 1e-6), 0.5);
            times[channel].push(at);
        }
        tracks.push(track);
    }
    let peaks: Vec<f64> = tracks.iter().map(Track::peak).collect();
    if let Some(db) = spoilt.bleed_db {
        let dry: Vec<Track> = tracks.iter().map(|track| Track(track.0.clone())).collect();
        for (track, other) in tracks.iter_mut().zip([1, 0, 0]) {
            track.bleed(&dry[other], -db);
        }
    }
    for (channel, track) in tracks.iter_mut().enumerate() {
        if spoilt.room_and_hum {
            track.room(&mut bits("room", channel as u64));
            track.hum(0.01 * peaks[channel], 0.02);
        }
        if let Some(db) = spoilt.clip_db {
            track.clip(db);
        }
        if spoilt.snr_db.is_finite() {
            track.noise(peaks[channel], spoilt.snr_db, &mut bits("noise", channel as u64));
        }
    }
    (held(&tracks), times)
}

fn heard(recording: &Held) -> Vec<Heard> {
    let roles = vec![Role::Hits; recording.channels()];
    listen(&[recording as &dyn Recording], &roles).expect("what is held can be read")
}

/// The errors of a channel's hits in µs about their mean, and their root mean square of standard errors; panics where a hit is
/// missed, false, or of another class than the rest.
fn errors(name: &str, hits: &[Hit], times: &[f64], ppm: f64) -> (Vec<f64>, f64) {
    assert_eq!(hits.len(), times.len(), "{name}: hits found, hits played");
    assert!(hits.iter().all(|hit| hit.class == 0), "{name}: one voice is one class");
    let errors: Vec<f64> =
        hits.iter().zip(times).map(|(hit, at)| (hit.seconds / (1.0 + ppm * 1e-6) - at) * 1e6).collect();
    // The onset of a voice is a rule, the instant at which it is struck another: within a millisecond.
    assert!(errors.iter().all(|error| error.abs() < 1_000.0), "{name}: {errors:?}");
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    let square = hits.iter().map(|hit| (hit.error * 1e6).powi(2)).sum::<f64>() / hits.len() as f64;
    (errors.iter().map(|error| error - mean).collect(), square.sqrt())
}

/// What a method that was tried on renders reached, in µs: median, 95 %, largest of the distances from a class's mean. The
/// bounds are twice that: other hits, other noise, fewer of them.
const REACHED: [(&str, Spoilt, [[f64; 3]; 3]); 7] = {
    let plain = Spoilt { snr_db: 0.0, bleed_db: None, clip_db: None, ppm: 0.0, room_and_hum: false };
    [
        ("60 dB", Spoilt { snr_db: 60.0, ..plain }, [[0.03, 0.12, 0.14], [0.01, 0.05, 0.07], [0.004, 0.01, 0.02]]),
        ("40 dB", Spoilt { snr_db: 40.0, ..plain }, [[0.31, 1.2, 1.3], [0.07, 0.19, 0.29], [0.04, 0.13, 0.16]]),
        ("30 dB", Spoilt { snr_db: 30.0, ..plain }, [[1.2, 3.0, 5.1], [0.21, 0.61, 0.76], [0.12, 0.42, 0.50]]),
        ("20 dB", Spoilt { snr_db: 20.0, ..plain }, [[5.0, 14.0, 16.0], [0.61, 1.8, 2.5], [0.45, 1.3, 1.5]]),
        (
            "30 dB, 50 ppm, room, bleed, hum",
            Spoilt { snr_db: 30.0, bleed_db: Some(-30.0), ppm: 50.0, room_and_hum: true, ..plain },
            [[1.2, 3.1, 4.3], [0.21, 0.67, 0.81], [0.13, 0.41, 0.48]],
        ),
        (
            "40 dB, bleed at -20 dB",
            Spoilt { snr_db: 40.0, bleed_db: Some(-20.0), ..plain },
            [[0.35, 1.1, 1.3], [0.08, 0.22, 0.33], [0.04, 0.20, 0.33]],
        ),
        (
            "40 dB, clipped by 6 dB",
            Spoilt { snr_db: 40.0, clip_db: Some(6.0), ..plain },
            [[1.4, 7.5, 8.7], [0.10, 0.30, 0.40], [0.08, 0.23, 0.32]],
        ),
    ]
};

#[test]
fn hits_are_placed_as_well_as_the_table_says_and_know_how_well() {
    for (name, spoilt, reached) in REACHED {
        let (recording, times) = recorded(spoilt, 0.0);
        for (channel, heard) in heard(&recording).iter().enumerate() {
            let name = format!("{name}, {}", VOICES[channel]);
            let (errors, standard) = errors(&name, &heard.hits, &times[channel], spoilt.ppm);
            let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            let found = [0.5, 0.95, 1.0].map(|share| hitgap::stats::quantile(&sizes, share));
            println!("{name}: {found:.3?} of {:.3?}", reached[channel]);
            for (found, reached) in found.into_iter().zip(reached[channel]) {
                assert!(found < 2.0 * reached, "{name}: {found} us");
            }
            let sd = (errors.iter().map(|error| error * error).sum::<f64>() / (errors.len() - 1) as f64).sqrt();
            println!("{name}: SD over SE {:.2}", sd / standard);
            // What clipping takes of a wave hangs on where samples fall, and nothing that is left shows it.
            let most = if spoilt.clip_db.is_some() { 2.5 } else { 1.4 };
            assert!((0.6..most).contains(&(sd / standard)), "{name}: SD {sd}, SE {standard}");
        }
    }
}

#[test]
fn a_leak_is_taken_out_or_told() {
    let (recording, _) = recorded(Spoilt { snr_db: 40.0, bleed_db: Some(-20.0), ..Spoilt::default() }, 0.0);
    let heard = heard(&recording);
    for (channel, other) in [(0, 1), (1, 0), (2, 0)] {
        assert!(heard[channel].notes.contains(&Note::BleedTaken { from: other }), "{:?}", heard[channel].notes);
    }
}

#[test]
fn what_comes_later_is_heard_later_by_as_much() {
    // Nothing but the hits: what differs is the shift alone. 0.37 samples of 48 kHz.
    let quiet = Spoilt { snr_db: f64::INFINITY, ..Spoilt::default() };
    let later = 0.37 / super::RATE;
    let [first, second] = [0.0, later].map(|later| heard(&recorded(quiet, later).0));
    for (first, second) in first.iter().zip(&second) {
        assert!(first.hits.len() > 10 && first.hits.len() == second.hits.len());
        for (a, b) in first.hits.iter().zip(&second.hits) {
            assert!((b.seconds - a.seconds - later).abs() < 0.01e-6, "{:.4} us", (b.seconds - a.seconds - later) * 1e6);
        }
    }
}

#[test]
fn gain_and_polarity_change_nothing() {
    let (recording, _) = recorded(Spoilt { snr_db: 40.0, ..Spoilt::default() }, 0.0);
    let first = heard(&recording);
    for gain in [-1.0_f32, 0.25, 8.0, -0.3] {
        let louder = |channel: &Vec<f32>| channel.iter().map(|x| x * gain).collect();
        let channels = recording.channels.iter().map(louder).collect();
        for (first, second) in first.iter().zip(heard(&Held { rate: super::RATE, channels })) {
            assert_eq!(first.hits.len(), second.hits.len());
            for (a, b) in first.hits.iter().zip(&second.hits) {
                // Samples are rounded to 24 bits anew, and the levels of noise fall elsewhere in the cells that count them:
                // a hundredth of the least error at 40 dB.
                assert!((b.seconds - a.seconds).abs() < 0.005e-6, "{gain}: {:.5} us", (b.seconds - a.seconds) * 1e6);
            }
        }
    }
}

#[test]
fn noise_hum_and_silence_hold_no_hits() {
    let mut tracks: Vec<Track> = (0..3).map(|_| Track::new(20.0)).collect();
    tracks[1].noise(1.0, 30.0, &mut bits("alone", 0));
    tracks[2].noise(1.0, 60.0, &mut bits("alone", 1));
    tracks[2].hum(0.1, -0.05);
    for heard in heard(&held(&tracks)) {
        assert!(heard.hits.is_empty() && heard.classes.is_empty(), "{heard:?}");
    }
}
