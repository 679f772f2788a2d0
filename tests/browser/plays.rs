//! What it plays: the same samples as the renderer's, the gap that is printed, and no jump when the version is changed.

use super::driver::{Browser, browser};
use super::made::{Made, late_bell};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hitgap::sound::render::{Bank, Channels, Cue, Format, Gain, Master, Memory, Program, Spec, Watch};
use hitgap::time::{Instant, Span};
use serde_json::Value;

/// Sends samples out: 32-bit floats in base 64.
pub(crate) const SEND: &str = "const send = (samples) => { const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength); \
    let out = ''; for (let n = 0; n < bytes.length; n += 8192) out += String.fromCharCode(...bytes.subarray(n, n + 8192)); \
    return btoa(out); };";

/// Plays loops through the page's own graph, into memory.
const OFFLINE: &str = "const h = globalThis.hitgap; \
    const offline = async (loops, chosen, seconds, offset = 0) => { \
      const on = new OfflineAudioContext(1, Math.round(seconds * h.data.rate), h.data.rate); \
      h.sound.wire(on, on.destination, loops, h.data.rate, chosen, 0, offset); \
      return (await on.startRendering()).getChannelData(0); };";

pub(crate) fn samples(value: &Value) -> Vec<f64> {
    let bytes = STANDARD.decode(value.as_str().expect("base 64")).expect("base 64");
    bytes.as_chunks::<4>().0.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect()
}

/// Where samples first reach a share of their own peak, between samples by a straight line.
pub(crate) fn onset(samples: &[f64]) -> f64 {
    let peak = samples.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
    assert!(peak > 1e-3, "silence: {peak}");
    let level = 0.1 * peak;
    let n = samples.iter().position(|s| s.abs() >= level).expect("a peak is above a tenth of itself");
    assert!(n > 0, "it had begun before");
    let (before, after) = (samples[n - 1].abs(), samples[n].abs());
    n as f64 - 1.0 + (level - before) / (after - before)
}

/// A voice of the page, rendered alone by the renderer: how long after its instant a tenth of its peak is reached, in
/// milliseconds.
pub(crate) fn rise(voice: &Value) -> f64 {
    let pcm = STANDARD.decode(voice["pcm"].as_str().expect("samples")).expect("base 64");
    let scale = voice["scale"].as_f64().expect("a factor") as f32;
    let samples = pcm.as_chunks::<2>().0.iter().map(|b| f32::from(i16::from_le_bytes(*b)) / 32_767.0 * scale).collect();
    let master = Master { samples, pre: voice["pre"].as_i64().expect("a number") };
    let bank = Bank::new(48_000, vec![master]).expect("a voice");
    let cues = vec![Cue::centred(Instant(0), 0, 1.0)];
    let lead_in = Span(100_000_000_000);
    let program = Program::new(&bank, cues, lead_in, Instant(0)).expect("a program");
    let memory = Memory::default();
    let spec = Spec { format: Format::Float32, channels: Channels::Mono, seed: 0 };
    program.write(&spec, Gain::Fixed(1.0), &memory, Watch::nobody()).expect("memory takes everything");
    let wav = hound::WavReader::new(std::io::Cursor::new(memory.into_bytes())).expect("a WAV file");
    let heard: Vec<f64> = wav.into_samples::<f32>().map(|s| f64::from(s.expect("a sample"))).collect();
    onset(&heard) / 48.0 - 100.0
}

fn open(made: &Made) -> Option<Browser> {
    let browser = browser()?;
    browser.visit(&made.page);
    Some(browser)
}

/// The gap that a page prints for each of these cells, a tempo and a version by number, in milliseconds: what its graph plays
/// must be that.
pub(crate) fn gaps_heard(browser: &Browser, cells: &[(usize, usize)]) -> Vec<f64> {
    let voices = browser.js("return hitgap.data.voices");
    let rises: Vec<f64> = voices.as_array().expect("voices").iter().map(rise).collect();
    let mut seen = Vec::new();
    for (tempo, version) in cells {
        // The loop of each of the two voices alone, through the page's graph, around the first beat that both of those who are named
        // are due on; both together must be the loop that is played.
        let got = browser.run(&format!(
                "{SEND} {OFFLINE} const [t, v] = [{tempo}, {version}]; const cell = h.data.tempos[t].cells[v]; \
                 const bars = 2; const seconds = bars * h.data.tempos[t].barMs / 1000; \
                 const frames = Math.round(seconds * h.data.rate); \
                 const players = / ms after /.test(cell.gap) ? cell.gap.split(/ [0-9.]+ ms after /) : [null, null]; \
                 const of = (name) => cell.hits.filter((x) => h.data.variants[v].players[x[4]][0] === name); \
                 const first = of(players[1]).find((x) => of(players[0]).some((y) => y[5] === x[5])); \
                 const later = of(players[0]).find((y) => y[5] === first[5]); \
                 const [at, gap, one, second] = [first[0], later[0] - first[0], first[1], later[1]]; \
                 const alone = (voice) => h.engine.mix(h.voices, h.played(t, v, bars).filter((x) => x[1] === voice), h.data.rate, frames, true); \
                 const whole = await offline(h.data.variants.map((_, n) => h.loop(t, n, bars)), v, seconds); \
                 const [a, b] = [await offline([alone(one)], 0, seconds), await offline([alone(second)], 0, seconds)]; \
                 let odd = 0, peak = 0; for (let n = 0; n < frames; n += 1) {{ odd = Math.max(odd, Math.abs(whole[n] - a[n] - b[n])); peak = Math.max(peak, Math.abs(whole[n])); }} \
                 const cut = (s, from, to) => {{ const [a, b] = [from, to].map((ms) => Math.floor(ms / 1000 * h.data.rate)); \
                   return Float32Array.from({{ length: b - a }}, (_, n) => s[((a + n) % frames + frames) % frames]); }}; \
                 return {{ one, second, at, gap, odd: odd / peak, text: cell.gap, \
                   a: send(cut(a, at - 20, at + 20)), b: send(cut(b, at + gap / 2 - 20, at + gap + 20)) }};"
            ));
        assert!(got["odd"].as_f64().expect("a number") < 1e-6, "{got}");
        let voice = |key: &str| got[key].as_u64().expect("a voice") as usize;
        // Both windows begin at a whole sample, the second half the gap later: what the second box plays together with
        // the first's hit, where it is a pulse late, is not its hit.
        let whole = |ms: f64| (ms * 48.0).floor() / 48.0;
        let (at, gap) = (got["at"].as_f64().expect("ms"), got["gap"].as_f64().expect("ms"));
        let a = whole(at - 20.0) + onset(&samples(&got["a"])) / 48.0 - rises[voice("one")];
        let b = whole(at + gap / 2.0 - 20.0) + onset(&samples(&got["b"])) / 48.0 - rises[voice("second")];
        let text = got["text"].as_str().expect("the gap").to_owned();
        let printed: f64 = text.split_whitespace().nth(1).expect("a figure").parse().expect("a number");
        assert!(text.contains(" ms after "), "{text}");
        assert!((b - a - printed).abs() < 0.1, "{text}: the page plays {} ms", b - a);
        seen.push(printed);
    }
    seen
}

#[test]
fn the_gap_that_is_heard_is_the_gap_that_is_printed() {
    let Some(browser) = open(late_bell()) else { return };
    let cells: Vec<(usize, usize)> = (0..4).flat_map(|t| (0..3).map(move |v| (t, v))).collect();
    let seen = gaps_heard(&browser, &cells);
    // By hand: a step of 1 % of two beats at 50 is 24 ms; a gate is 40 µs; a pulse of the slow clock at 50 is 2400 ms.
    assert_eq!(seen[..3], [2400.0, 24.0, 0.04]);
}

#[test]
fn what_the_page_mixes_is_what_the_renderer_writes() {
    let made = late_bell();
    let Some(browser) = open(made) else { return };
    for (tempo, bpm) in [(0, 50), (3, 160)] {
        for (version, name) in ["original", "phase", "or-gate"].iter().enumerate() {
            let got = browser.run(&format!(
                "{SEND} const h = globalThis.hitgap; const cell = h.data.tempos[{tempo}].cells[{version}]; \
                 const bar = Math.round(h.data.tempos[{tempo}].barMs / 1000 * h.data.rate); \
                 const hits = cell.hits.map(([ms, voice, gain]) => [ms / 1000, voice, gain * cell.gain]); \
                 return {{ bar, all: send(h.engine.mix(h.voices, hits, h.data.rate, 2 * bar, false)) }};"
            ));
            let bar = got["bar"].as_u64().expect("a number") as usize;
            let page = samples(&got["all"]);
            let file = made.folder.join(format!("late-bell.{name}.{bpm}bpm.matched.wav"));
            let wav = hound::WavReader::open(&file).expect("the file beside the page");
            let spec = wav.spec();
            assert_eq!((spec.sample_rate, spec.channels), (48_000, 1), "{spec:?}");
            let full = 2.0_f64.powi(i32::from(spec.bits_per_sample) - 1);
            let wav: Vec<f64> = wav.into_samples::<i32>().map(|s| f64::from(s.expect("a sample")) / full).collect();
            // The loop begins with a bar line; the file with its lead-in before the clock's start. In the second bar what
            // sounded before the first has died away.
            let here = &page[bar..2 * bar];
            let lead = 48_000 / 10;
            let (mut least, mut at) = (f64::MAX, 0);
            for n in 0..8 {
                let from = lead + n * bar;
                let Some(there) = wav.get(from..from + bar) else { break };
                let residue = here.iter().zip(there).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                if residue < least {
                    (least, at) = (residue, n);
                }
            }
            let peak = here.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
            let db = 20.0 * (least / peak).log10();
            // 16-bit masters: a rounding is wrong by 1/65534 of its voice's peak at most, −96 dB; the sinc's sixteen taps
            // may add a few of these up, two voices two, and the file's own 24 bits are far below.
            assert!(db < -85.0, "{name} at {bpm}, bar {at}: {db:.1} dB");
            assert!(peak > 0.05, "{peak}");
        }
    }
}

#[test]
fn changing_the_version_goes_on_at_the_same_instant() {
    let Some(browser) = open(late_bell()) else { return };
    // Loops of one tempo are equally long, to the sample, and as long as the bars say.
    let lengths = browser.js(
        "return hitgap.data.tempos.map((t, n) => [1, 2, 4].map((bars) => \
         [bars * t.barMs / 1000 * hitgap.data.rate, ...hitgap.data.variants.map((_, v) => hitgap.loop(n, v, bars).length)]))",
    );
    for row in lengths.as_array().expect("tempos").iter().flat_map(|t| t.as_array().expect("lengths")) {
        let all: Vec<f64> = row.as_array().expect("numbers").iter().filter_map(Value::as_f64).collect();
        assert_eq!(all.len(), 4);
        assert!(all[1..].iter().all(|n| *n == all[1] && (n - all[0]).abs() <= 0.5), "{all:?}");
    }
    // The graph's clock.
    browser.click("play");
    browser.until("return hitgap.sound.position() > 0.3");
    let kept = browser.js(
        "const s = hitgap.sound, c = s.context(); const seconds = hitgap.loop(0, 0, hitgap.state.bars).length / hitgap.data.rate; \
         const a = [c.currentTime, s.position()]; hitgap.player.version(1); const b = [c.currentTime, s.position()]; \
         hitgap.player.version(2); const d = [c.currentTime, s.position()]; \
         return { a, b, d, seconds, chosen: s.chosen(), playing: s.playing() };",
    );
    let pair = |key: &str| [kept[key][0].as_f64().expect("seconds"), kept[key][1].as_f64().expect("seconds")];
    let seconds = kept["seconds"].as_f64().expect("seconds");
    for key in ["b", "d"] {
        let ([t0, p0], [t1, p1]) = (pair("a"), pair(key));
        let slip = ((p1 - p0) - (t1 - t0)).rem_euclid(seconds);
        assert!(slip.min(seconds - slip) < 1e-9, "{kept}");
    }
    assert_eq!((&kept["chosen"], &kept["playing"]), (&Value::from(2), &Value::Bool(true)));
    // Another tempo goes on at the same beat.
    let beats = browser.run(
        "const h = hitgap; const beat = () => h.sound.position() / (h.data.tempos[h.state.tempo].barMs / 4000); \
         const before = beat(); h.player.tempo(2); await new Promise((done) => setTimeout(done, 0)); \
         while (!document.getElementById('said').textContent.includes('at 120')) await new Promise((done) => setTimeout(done, 5)); \
         return [before, beat()];",
    );
    let [before, after] = [beats[0].as_f64().expect("beats"), beats[1].as_f64().expect("beats")];
    // The next begins 0.05 s, a tenth of a beat, after it is asked for, from where the last one was; what lies between is the
    // time that mixing takes, through which the last one goes on. The loop has eight beats.
    let on = (after - before).rem_euclid(8.0);
    assert!(!(4.0..7.89).contains(&on), "{beats}");
    // What the graph lets through is the chosen loop, sample by sample, from any place of it, over the seam and on.
    let same = browser.run(&format!(
        "{OFFLINE} const loops = h.data.variants.map((_, v) => h.loop(2, v, 2)); const n = loops[0].length; const from = 12345; \
         const odd = []; \
         for (let v = 0; v < loops.length; v += 1) {{ \
           const out = await offline(loops, v, 1.5 * n / h.data.rate, from / h.data.rate); \
           let worst = 0; for (let k = 0; k < out.length; k += 1) worst = Math.max(worst, Math.abs(out[k] - loops[v][(k + from) % n])); \
           odd.push(worst); }} return odd;"
    ));
    for odd in same.as_array().expect("figures") {
        assert!(odd.as_f64().expect("a figure") < 1e-6, "{same}");
    }
}
