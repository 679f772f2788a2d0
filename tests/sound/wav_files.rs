//! The files: their layout, read back by others; their levels; and that nothing but the input decides their bytes.

use crate::meter::{Draws, bytes, db, hiss, hit, kick, sampled};
use ebur128::{EbuR128, Mode};
use hitgap::sound::render::{
    Bank, Channels, Cue, Format, Gain, Master, Memory, Program, RenderError, Sink, Spec, Watch, wav,
};
use hitgap::time::{Instant, Span};
use sha2::{Digest, Sha256};
use std::f64::consts::TAU;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::formats::{FormatOptions, TrackType, probe::Hint};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;

pub(crate) const LEAD_IN: Span = Span::from_ms(20);

pub(crate) fn spec(format: Format, channels: Channels) -> Spec {
    Spec { format, channels, seed: 1 }
}

pub(crate) fn bank(rate: u32) -> Bank {
    Bank::new(rate, vec![kick(), hiss()]).expect("a usual rate")
}

/// Hits of both voices at odd times, panned, over about a second.
pub(crate) fn cues() -> Vec<Cue> {
    let mut draws = Draws::new(9);
    let cue = |n: u32| Cue {
        at: Instant((draws.next() * 0.7e12) as i64),
        voice: n % 2,
        left: (0.3 * draws.next()) as f32,
        right: (0.3 * draws.next()) as f32,
    };
    (0..40).map(cue).collect()
}

/// What an independent reader makes of a file: rate, channels and samples.
pub(crate) fn decoded(bytes: Vec<u8>) -> (u32, usize, Vec<f32>) {
    let stream = MediaSourceStream::new(Box::new(std::io::Cursor::new(bytes)), Default::default());
    let probed = symphonia::default::get_probe().probe(
        &Hint::new(),
        stream,
        FormatOptions::default(),
        MetadataOptions::default(),
    );
    let mut format = probed.expect("a known format");
    let track = format.default_track(TrackType::Audio).expect("a track");
    let params = track.codec_params.as_ref().and_then(|params| params.audio()).expect("sound").clone();
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(&params, &AudioDecoderOptions::default())
        .expect("a known codec");
    let mut samples = Vec::new();
    while let Some(packet) = format.next_packet().expect("whole packets") {
        let decoded = decoder.decode(&packet).expect("sound packets");
        let mut some = Vec::new();
        decoded.copy_to_vec_interleaved(&mut some);
        samples.extend::<Vec<f32>>(some);
    }
    (params.sample_rate.expect("a rate"), params.channels.expect("channels").count(), samples)
}

#[test]
fn an_independent_reader_hears_what_was_meant() {
    let bank = bank(48_000);
    for channels in [Channels::Mono, Channels::Stereo] {
        let meant = decoded(bytes(&bank, cues(), LEAD_IN, spec(Format::Float32, channels), Gain::Fixed(0.5))).2;
        for (format, worst) in [
            // Half a step, and half a 24-bit step of the float itself.
            (Format::Pcm24, 0.5001 / 8_388_608.0),
            // Half a step and a whole one of dither.
            (Format::Pcm16, 1.5001 / 32_768.0),
        ] {
            let (rate, count, samples) =
                decoded(bytes(&bank, cues(), LEAD_IN, spec(format, channels), Gain::Fixed(0.5)));
            assert_eq!((rate, count, samples.len()), (48_000, usize::from(channels.count()), meant.len()));
            let off = samples.iter().zip(&meant).map(|(a, b)| f64::from((a - b).abs())).fold(0.0, f64::max);
            assert!(off <= worst, "{format:?} {channels:?}: {off:e} off");
            assert!(off > worst / 10.0, "{format:?} {channels:?}: rounding must be there");
        }
    }
}

/// One field of a file, as far as it is read.
struct Fields<'f>(&'f [u8]);

impl Fields<'_> {
    fn tag(&mut self, tag: &str) {
        assert_eq!(std::str::from_utf8(&self.0[..4]), Ok(tag));
        self.0 = &self.0[4..];
    }

    fn number(&mut self, bytes: usize) -> u32 {
        let (number, rest) = self.0.split_at(bytes);
        self.0 = rest;
        number.iter().rev().fold(0, |n, byte| n << 8 | u32::from(*byte))
    }
}

/// RIFF/WAVE: sizes from golden files of other projects (RIFF size is the file less 8; `fmt ` of 16 bytes with tag 1
/// for 16 and 24 bits); floats with tag 3, `fmt ` of 18 bytes whose last field, the size of what follows, is 0, and a
/// `fact` of 4 bytes, which is not required for PCM (Multimedia Programming Interface and Data Specifications 1.0, 1991) but is
/// there in other projects' files of floats; the order of the fields from memory.
/// No form here has a mask of speakers, so that a single channel is nobody's left.
#[test]
fn header_fields_are_those_of_the_layout() {
    let cases = [
        (Format::Pcm16, Channels::Mono, 16, 1),
        (Format::Pcm16, Channels::Stereo, 16, 1),
        (Format::Pcm24, Channels::Mono, 16, 1),
        (Format::Pcm24, Channels::Stereo, 16, 1),
        (Format::Float32, Channels::Mono, 18, 3),
        (Format::Float32, Channels::Stereo, 18, 3),
    ];
    for (format, channels, fmt_size, kind) in cases {
        for rate in [44_100, 192_000] {
            let spec = spec(format, channels);
            let bytes = bytes(&bank(rate), cues(), LEAD_IN, spec, Gain::Auto);
            let (count, bits) = (u32::from(channels.count()), u32::from(format.bits()));
            let mut fields = Fields(&bytes);
            fields.tag("RIFF");
            assert_eq!(fields.number(4) as usize, bytes.len() - 8);
            fields.tag("WAVE");
            fields.tag("fmt ");
            assert_eq!(fields.number(4), fmt_size);
            assert_eq!(fields.number(2), kind);
            assert_eq!(fields.number(2), count);
            assert_eq!(fields.number(4), rate);
            assert_eq!(fields.number(4), rate * count * bits / 8, "bytes a second");
            assert_eq!(fields.number(2), count * bits / 8, "bytes a frame");
            assert_eq!(fields.number(2), bits);
            if fmt_size == 18 {
                assert_eq!(fields.number(2), 0, "length of what follows");
            }
            let data = fields.0.len() - if format == Format::Float32 { 20 } else { 8 };
            if format == Format::Float32 {
                fields.tag("fact");
                assert_eq!(fields.number(4), 4);
                assert_eq!(fields.number(4) as usize, data / 4 / count as usize, "frames");
            }
            fields.tag("data");
            assert_eq!(fields.number(4) as usize, data);
            assert_eq!(fields.0.len(), data);
            assert_eq!(data % 2, 0, "no padding is needed");
            assert_eq!(wav::size((data / (count * bits / 8) as usize) as u64, &spec).ok(), Some(bytes.len() as u64));
        }
    }
}

/// The true peak in dBTP that another meter reads.
fn true_peak(bytes: Vec<u8>) -> f64 {
    let (rate, channels, mut samples) = decoded(bytes);
    // The meter's filter is late: silence lets it finish.
    samples.resize(samples.len() + 100 * channels, 0.0);
    let mut meter = EbuR128::new(channels as u32, rate, Mode::TRUE_PEAK).expect("a usual rate");
    meter.add_frames_f32(&samples).expect("whole frames");
    db((0..channels as u32).map(|n| meter.true_peak(n).expect("a channel")).fold(0.0, f64::max))
}

/// A tone for 50 ms with soft ends of 10 ms, that peaks at 1.
fn tone(hz: f64, degrees: f64) -> Master {
    sampled(0.05, 0, |t| {
        let ends = (t.min(0.05 - t) / 0.01).clamp(0.0, 1.0);
        0.5 * (1.0 - (TAU / 2.0 * ends).cos()) * (TAU * (hz * t + degrees / 360.0)).sin()
    })
}

#[test]
fn no_file_passes_one_decibel_below_full_scale() {
    for rate in [44_100, 48_000, 96_000] {
        let fs = f64::from(rate);
        // The tones of EBU Tech 3341, cases 15 to 19: their samples lie up to 3 dB below their peaks.
        let tones = [(4.0, 0.0, 0.5), (4.0, 45.0, 0.5), (6.0, 60.0, 0.5), (8.0, 67.5, 0.5), (4.0, 45.0, 1.41)];
        for (part, degrees, level) in tones.map(|(part, degrees, level)| (fs / part, degrees, level)) {
            if part > 18_000.0 {
                continue;
            }
            let bank = Bank::new(rate, vec![tone(part, degrees), kick(), hiss()]).expect("a usual rate");
            let loud = |gain: f32| vec![Cue::centred(Instant(0), 0, gain)];
            let file = bytes(&bank, loud(level), LEAD_IN, spec(Format::Float32, Channels::Stereo), Gain::Auto);
            let peak = true_peak(file);
            if level < 0.8 {
                // Nothing has turned it down: −6 dBTP, with the tolerance of the document.
                assert!((-6.02 - 0.4..-6.02 + 0.2).contains(&peak), "{part} Hz: {peak:.2} dBTP");
            } else {
                assert!((-2.1..-1.0).contains(&peak), "{part} Hz: {peak:.2} dBTP");
            }
            // Far too loud, and mixed with others, in every format.
            for format in [Format::Pcm16, Format::Pcm24, Format::Float32] {
                let mut all = loud(4.0);
                all.extend((0..16).map(|n| Cue {
                    at: Instant(n * 7_654_321_987),
                    voice: 1 + n as u32 % 2,
                    left: 2.0,
                    right: 1.0,
                }));
                let peak = true_peak(bytes(&bank, all, LEAD_IN, spec(format, Channels::Stereo), Gain::Auto));
                assert!((-2.2..-1.0).contains(&peak), "{part} Hz and drums, {format:?}: {peak:.2} dBTP");
            }
        }
    }
}

#[test]
fn a_quiet_file_keeps_its_own_levels() {
    let bank = bank(48_000);
    let program = |gain| {
        Program::new(&bank, vec![Cue::centred(Instant(0), 0, gain)], LEAD_IN, Instant(0)).expect("a sound program")
    };
    let levels = program(0.5).measure(Watch::nobody()).expect("nobody stops it");
    assert_eq!(levels.safe_gain(), 1.0);
    let twice = program(1.0).measure(Watch::nobody()).expect("nobody stops it");
    assert_eq!(twice.true_peak, 2.0 * levels.true_peak);
    let much = program(8.0).measure(Watch::nobody()).expect("nobody stops it");
    // −1 dBTP less what is kept in hand.
    assert!((much.dbtp() + 20.0 * much.safe_gain().log10() + 1.7).abs() < 1e-6);
}

#[test]
fn stems_add_up_to_the_mix() {
    let bank = bank(48_000);
    // The whole has to be turned down; the stems would not have to be.
    let loud: Vec<Cue> =
        cues().into_iter().map(|cue| Cue { left: cue.left * 4.0, right: cue.right * 4.0, ..cue }).collect();
    let memory = Memory::default();
    let end = Instant(2_000_000_000_000);
    let of =
        |n: Option<u32>| -> Vec<Cue> { loud.iter().filter(|cue| n.is_none_or(|n| cue.voice == n)).copied().collect() };
    let program = |n| Program::new(&bank, of(n), LEAD_IN, end).expect("a sound program");
    let pcm = spec(Format::Pcm24, Channels::Stereo);
    let written = program(None).write(&pcm, Gain::Auto, &memory, Watch::nobody()).expect("room");
    assert!(written.gain < 0.9, "{}", written.gain);
    let whole = decoded(memory.into_bytes()).2;
    let mut sum = vec![0.0; whole.len()];
    for n in [0, 1] {
        let memory = Memory::default();
        program(Some(n)).write(&pcm, Gain::Fixed(written.gain), &memory, Watch::nobody()).expect("room");
        for (sum, v) in sum.iter_mut().zip(decoded(memory.into_bytes()).2) {
            *sum += v;
        }
    }
    let off = sum.iter().zip(&whole).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
    // Three roundings of half a step each, and floats that were added in another order.
    assert!(off <= 2.0 / 8_388_608.0, "{off:e}");
}

#[test]
fn bytes_do_not_depend_on_threads() {
    let all = cues();
    for format in [Format::Pcm16, Format::Pcm24, Format::Float32] {
        let render = |threads, cues: &[Cue]| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
            let memory = Memory::default();
            // A bank of its own, so that its caches are filled in another order.
            let bank = self::bank(44_100);
            let program = Program::new(&bank, cues.to_vec(), LEAD_IN, Instant(0)).expect("a sound program");
            pool.install(|| program.write(&spec(format, Channels::Stereo), Gain::Auto, &memory, Watch::nobody()))
                .expect("room");
            memory.into_bytes()
        };
        let one = render(1, &all);
        assert!(one == render(3, &all), "{format:?}");
        // Nor on the order in which hits of different times are given.
        let mut other = all.clone();
        other.reverse();
        assert!(one == render(2, &other), "{format:?}");
    }
}

/// No byte may come here.
pub(crate) struct Closed;

impl Sink for Closed {
    fn write_at(&self, _: &[u8], _: u64) -> std::io::Result<()> {
        panic!("a byte was written");
    }
}

#[test]
fn over_four_gibibytes_is_refused_before_a_byte() {
    // 2³² − 1 bytes are 4.1425 h at 48 kHz, 24 bits, two channels, and 6.7633 h at 44.1 kHz with 16 (closed form).
    let hours = |h: f64, rate: f64| (h * 3_600.0 * rate) as u64;
    for (rate, format, fits) in [(48_000.0, Format::Pcm24, 4.1425), (44_100.0, Format::Pcm16, 6.7633)] {
        let spec = spec(format, Channels::Stereo);
        assert!(wav::size(hours(fits - 0.0001, rate), &spec).is_ok());
        let refused = wav::size(hours(fits + 0.0001, rate), &spec);
        assert!(matches!(refused, Err(RenderError::TooLarge { bound: 4_294_967_303, .. })), "{refused:?}");
    }
    let bank = bank(48_000);
    let end = Instant(5 * 3_600 * 1_000_000_000_000);
    let program = Program::new(&bank, vec![hit(0)], LEAD_IN, end).expect("a sound program");
    let refused = program.write(&spec(Format::Pcm24, Channels::Stereo), Gain::Auto, &Closed, Watch::nobody());
    let message = refused.expect_err("five hours do not fit").to_string();
    // 5 h and 20 ms, six bytes a frame, and the header.
    assert!(message.contains(&(864_000_960_u64 * 6 + 44).to_string()), "{message}");
    assert!(message.contains("4294967303"), "{message}");
}

#[test]
fn a_render_stops_when_it_is_told_to() {
    let bank = bank(48_000);
    let program = Program::new(&bank, cues(), LEAD_IN, Instant(3_000_000_000_000)).expect("a sound program");
    let spec = spec(Format::Pcm24, Channels::Stereo);
    let (cancel, seen) = (AtomicBool::new(false), AtomicU64::new(0));
    let note = |frames: u64| {
        seen.fetch_add(frames, Ordering::Relaxed);
    };
    let watch = Watch { progress: &note, cancel: &cancel };
    program.write(&spec, Gain::Auto, &Memory::default(), watch).expect("nobody has stopped it");
    assert_eq!(seen.load(Ordering::Relaxed), 2 * program.frames(), "both passes are counted");
    let stop = |_: u64| cancel.store(true, Ordering::Relaxed);
    let stopped = program.write(&spec, Gain::Auto, &Closed, Watch { progress: &stop, cancel: &cancel });
    assert!(matches!(stopped, Err(RenderError::Cancelled)), "{stopped:?}");
}

#[test]
fn bad_input_is_refused() {
    let bank = bank(48_000);
    let of = |cue| Program::new(&bank, vec![cue], LEAD_IN, Instant(0)).map(|p| p.frames());
    assert!(matches!(of(hit(-20_000_000_001)), Err(RenderError::BeforeStart { .. })));
    assert!(of(hit(-20_000_000_000)).is_ok());
    let cue = hit(0);
    assert!(matches!(of(Cue { voice: 2, ..cue }), Err(RenderError::NoVoice { found: 2, count: 2 })));
    assert!(matches!(of(Cue { right: f32::NAN, ..cue }), Err(RenderError::Gain { .. })));
    for rate in [0, 7_999, 384_001] {
        assert!(matches!(Bank::new(rate, Vec::new()), Err(RenderError::SampleRate { found, .. }) if found == rate));
    }
    // A program without a hit is silence of the length asked for.
    let silence = Program::new(&bank, Vec::new(), LEAD_IN, Instant(1_000_000_000_000)).expect("sound");
    assert_eq!(silence.frames(), 48_000 + 960);
    assert_eq!(silence.measure(Watch::nobody()).expect("nobody stops it").dbtp(), f64::NEG_INFINITY);
    let loudness = silence.loudness(Watch::nobody()).expect("nobody stops it");
    assert_eq!((loudness.integrated, loudness.energy), (None, None));
}

#[test]
fn bytes_stay_what_they_were() {
    // Two voices made of whole numbers only, so that nothing but the render decides. Measured once, in debug and in
    // release; a change here is a change of sound, and belongs in the changelog.
    let voice = |factor: u32| {
        let samples = (0..9_600_u32).map(|n| {
            let wave = (n.wrapping_mul(factor) % 2_000) as f32 / 1_000.0 - 1.0;
            wave * (9_600 - n) as f32 / 9_600.0
        });
        Master { samples: samples.collect(), pre: 10 }
    };
    let hash = |rate, format, gain: f32| -> String {
        let bank = Bank::new(rate, vec![voice(3), voice(101)]).expect("a usual rate");
        let cue =
            |n: u32| Cue { at: Instant(i64::from(n) * 33_333_333_333), voice: n % 2, left: gain, right: gain / 3.0 };
        let bytes = bytes(&bank, (0..12).map(cue).collect(), LEAD_IN, spec(format, Channels::Stereo), Gain::Auto);
        Sha256::digest(bytes).iter().take(8).map(|byte| format!("{byte:02x}")).collect()
    };
    assert_eq!(hash(44_100, Format::Pcm16, 0.2), "185fcc36769372c1");
    assert_eq!(hash(48_000, Format::Pcm24, 0.2), "c8f693e38222c825");
    assert_eq!(hash(48_000, Format::Pcm24, 2.0), "92ded38f477379a5", "turned down");
    assert_eq!(hash(96_000, Format::Float32, 0.2), "8a39cc07508cd959");
}
