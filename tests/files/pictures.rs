//! Pictures against what they are pictures of: read back by a library that is not ours, their places are turned into
//! figures again, and those are held against the hits, against closed forms, and against rendered samples.

use hitgap::hits::list;
use hitgap::judge::{first_notch_hz, judge};
use hitgap::patch::{Asked, Patch, Variant};
use hitgap::rig::{Performance, Point, listen, play, probe};
use hitgap::show::picture::{GapPicture, Trace, gap_over_tempo, timing, waveform};
use hitgap::show::scene::{self, Performed};
use hitgap::sound::render::{Bank, Channels, Format, Gain, Memory, Program, Spec, Watch};
use hitgap::sound::score::{CueList, Ensemble, Seating};
use hitgap::time::{Beat, Instant, PS_PER_MS, Span, Tempo};
use std::f64::consts::PI;
use std::sync::atomic::AtomicBool;

type Places = Vec<(f64, f64)>;

fn example(name: &str) -> Patch {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches").join(name).with_extension("toml");
    let text = std::fs::read_to_string(path).expect("an example");
    Patch::parse(&text, &Asked::default()).unwrap_or_else(|f| panic!("{}", f.render(name, &text, false)))
}

fn variant<'a>(patch: &'a Patch, name: &str) -> &'a Variant {
    std::iter::once(&patch.original).chain(&patch.fixes).find(|v| v.name == name).expect("a variant")
}

/// What is read back of a picture.
struct Seen {
    /// Texts with their places.
    texts: Vec<(String, f64, f64)>,
    /// Class, dash and points of all straight paths.
    paths: Vec<(String, Places)>,
}

fn seen(svg: &str) -> Seen {
    let document = roxmltree::Document::parse(svg).expect("XML");
    let number =
        |n: &roxmltree::Node<'_, '_>, key: &str| n.attribute(key).expect("a figure").parse::<f64>().expect("one");
    let texts = document.descendants().filter(|n| n.has_tag_name("text"));
    let texts = texts.map(|n| (n.text().unwrap_or_default().to_owned(), number(&n, "x"), number(&n, "y"))).collect();
    let paths = document.descendants().filter(|n| n.has_tag_name("path")).filter_map(|n| {
        let d = n.attribute("d")?;
        let straight = !d.contains('A') && d.matches('M').count() == 1;
        let pair = |p: &str| p.split_once(' ').map(|(x, y)| (x.parse().expect("x"), y.parse().expect("y")));
        let points = || d.trim_start_matches('M').trim_end_matches('Z').split('L').filter_map(pair).collect();
        straight.then(|| (n.attribute("class").unwrap_or_default().to_owned(), points()))
    });
    Seen { texts, paths: paths.collect() }
}

impl Seen {
    fn of_class(&self, class: &str) -> Vec<&Places> {
        self.paths.iter().filter(|(c, _)| c == class).map(|(_, p)| p).collect()
    }

    /// The place of a figure, from two labels of an even axis in a row at the same height.
    fn across(&self, labels: [&str; 2]) -> impl Fn(f64) -> f64 + use<> {
        let lowest = self.texts.iter().filter(|t| t.0 == labels[0]).map(|t| t.2).fold(f64::MIN, f64::max);
        let find = |word: &str| self.texts.iter().find(|t| t.0 == word && t.2 == lowest).expect("a label").1;
        let [a, b] = labels.map(|l| (l.replace('−', "-").parse::<f64>().expect("a figure"), find(l)));
        move |value| a.1 + (value - a.0) * (b.1 - a.1) / (b.0 - a.0)
    }

    /// The same from two labels of an axis of ratios at the left.
    fn up(&self, labels: [&str; 2]) -> impl Fn(f64) -> f64 + use<> {
        // Labels stand 4.5 units below what they label.
        let find = |word: &str| self.texts.iter().find(|t| t.0 == word && t.1 < 74.0).expect("a label").2 - 4.5;
        let [a, b] = labels.map(|l| (l.parse::<f64>().expect("a figure").log10(), find(l)));
        move |value: f64| a.1 + (value.log10() - a.0) * (b.1 - a.1) / (b.0 - a.0)
    }
}

/// A phase of 1 % of two beats is 1200/tempo ms, two beats are 120,000/tempo ms, a gate is 40 µs at any tempo (closed forms).
#[test]
fn gaps_over_tempo_stand_where_they_belong() {
    let patch = example("late-bell");
    let all: Vec<&Variant> = std::iter::once(&patch.original).chain(&patch.fixes).collect();
    let range = (Tempo::whole(40), Tempo::whole(200));
    let picture = scene::gap_picture(("t", "Title"), &all, &patch.tempos, range, patch.max_gap, &scene::NEVER);
    let seen = seen(&gap_over_tempo(&picture));
    let (x, y) = (seen.across(["50", "160"]), seen.up(["0.1", "1000"]));
    let forms: [fn(f64) -> f64; 3] = [|t| 120_000.0 / t, |t| 1200.0 / t, |_| 0.04];
    for (n, form) in forms.into_iter().enumerate() {
        let lines = seen.of_class(&format!("hg-line hg-s{n}"));
        let line = lines.iter().find(|l| l.len() > 40).expect("a line of many tempos");
        let points = &picture.lines[n].pieces[0];
        assert_eq!(line.len(), points.len());
        for (place, (tempo, ms)) in line.iter().zip(points) {
            // A picosecond is lost where an instant is rounded.
            assert!((ms - form(*tempo)).abs() < 2e-9, "{tempo}: {ms}");
            assert!((place.0 - x(*tempo)).abs() < 0.5 && (place.1 - y(*ms)).abs() < 0.5, "{tempo}: {place:?}");
        }
        // At the tempos of the patch, the hits themselves say so.
        for &tempo in &patch.tempos {
            let performance = play(&all[n].rig, tempo).expect("played");
            let verdict = judge(&all[n].rig, &performance, patch.max_gap).expect("judged");
            let gap = verdict.gaps[0].worst().expect("a gap").ms();
            assert!(points.contains(&(tempo.bpm(), gap)), "{tempo}");
        }
    }
}

/// What nobody wants any more is not played: no line has a place.
#[test]
fn a_picture_that_is_given_up_plays_nothing_more() {
    let patch = example("late-bell");
    let range = (Tempo::whole(40), Tempo::whole(200));
    let of = |cancel| scene::gap_picture(("t", "T"), &[&patch.original], &patch.tempos, range, patch.max_gap, cancel);
    let places = |picture: &GapPicture| picture.lines.iter().flat_map(|line| &line.pieces).flatten().count();
    assert!(places(&of(&scene::NEVER)) > 40);
    assert_eq!(places(&of(&AtomicBool::new(true))), 0);
}

#[test]
fn a_line_breaks_where_another_step_is_played() {
    let patch = example("wren-slips");
    let (from, to) = (Tempo::whole(48), Tempo::whole(150));
    let picture =
        scene::gap_picture(("t", "T"), &[&patch.original], &patch.tempos, (from, to), patch.max_gap, &scene::NEVER);
    let pieces = &picture.lines[0].pieces;
    assert!(pieces.len() > 1, "{pieces:?}");
    // Between two pieces nothing is left out but a sliver: a grid step, halved seven times.
    let sliver = 102.0 / 48.0 / 128.0 + 1e-6;
    for pair in pieces.windows(2) {
        let (end, start) = (pair[0].last().expect("one"), pair[1].first().expect("one"));
        assert!(start.0 - end.0 <= sliver, "{end:?} {start:?}");
    }
    let svg = gap_over_tempo(&picture);
    let drawn = seen(&svg).of_class("hg-line hg-s0").len();
    assert_eq!(drawn, pieces.len());
    assert!(svg.contains("it jumps where another step is played"));
    // Gaps of nought lie in their strip, below the scale.
    assert!(pieces.iter().flatten().any(|p| p.1 == 0.0) && seen(&svg).texts.iter().any(|t| t.0 == "0" && t.1 < 74.0));
}

#[test]
fn the_gate_is_seen_at_work_in_microseconds() {
    let patch = example("late-bell");
    let rig = &variant(&patch, "or-gate").rig;
    let performance = play(rig, Tempo::whole(50)).expect("played");
    let moment = scene::moment(rig, &performance, patch.meter.bar()).expect("a moment");
    assert_eq!(moment.beat, Beat::from_integer(16), "the first reset after the first bar");
    let picture = scene::timing_picture(("t", "T", ""), (rig, patch.max_gap), &performance, &moment);
    let rises = |name: &str| -> Vec<f64> {
        let lane = picture.lanes.iter().find(|l| l.name == name).unwrap_or_else(|| panic!("no lane {name}"));
        match &lane.trace {
            Trace::Level { edges, .. } => edges.iter().filter(|e| e.1).map(|e| e.0).collect(),
            Trace::Hits(hits) => hits.iter().map(|h| h.0).collect(),
        }
    };
    for (name, at) in [
        ("home", 0.0),
        ("slow", 0.0),
        ("or-gate", 0.04),
        ("wren clock", 0.04),
        ("wren reset", 0.0),
        ("ox hits", 0.0),
        ("wren hits", 0.04),
    ] {
        assert_eq!(rises(name), [at], "{name}");
    }
    let said: Vec<&str> = picture.distances.iter().map(|d| d.label.as_str()).collect();
    assert_eq!(said, ["wren 0.04 ms after ox", "wren decides by 0.04 ms"]);
    let seen = seen(&timing(&picture));
    let x = seen.across(["0", "40"]);
    assert!(seen.texts.iter().any(|t| t.0 == "time in µs from beat 16"));
    // The level of the stage rises where 40 µs are.
    let stage = seen.of_class("hg-line hg-s2")[0];
    assert!((stage[1].0 - x(40.0)).abs() < 0.5 && stage[2].0 == stage[1].0, "{stage:?}");
}

/// Ox is handed a late reset and strikes twice: its second hit is 22 ms after Wren's, whose first partner it was.
#[test]
fn a_second_strike_has_its_arrow_too() {
    let patch = example("counting-twenty-four");
    let rig = &patch.original.rig;
    let performance = play(rig, Tempo::whole(90)).expect("played");
    let moment = scene::moment(rig, &performance, patch.meter.bar()).expect("a moment");
    let picture = scene::timing_picture(("t", "T", ""), (rig, patch.max_gap), &performance, &moment);
    assert_eq!(picture.distances.iter().map(|d| d.label.as_str()).collect::<Vec<_>>(), ["ox 22 ms after wren"]);
}

/// Every example: what is probed at an output is what its lazy stream says, what is probed before an input is what comes to
/// it, and every hit in the stretch is drawn.
#[test]
fn what_is_probed_is_what_the_streams_say() {
    let (mut outputs, mut inputs, mut hits) = (0, 0, 0);
    for entry in std::fs::read_dir(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches")).expect("examples")
    {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        if path.extension().is_none_or(|e| e != "toml") || name == "taken-by-hand" || name.ends_with(".lesson") {
            continue;
        }
        // A list of components and a lesson are no patches.
        if name == "components" || name.ends_with(".lesson") {
            continue;
        }
        let patch = example(&name);
        for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
            let rig = &variant.rig;
            let performance = play(rig, patch.tempos[0]).expect("played");
            let (probed, heard) = (probe(rig, &performance), listen(rig, &performance));
            for p in &probed {
                let Point::Output(n) = p.point else { continue };
                if matches!(rig.outputs[n].timing, hitgap::patch::Timing::Run | hitgap::patch::Timing::Stop) {
                    continue;
                }
                let rises: Vec<Instant> = p.edges.iter().filter(|e| e.rise).map(|e| e.at).collect();
                let pulses: Vec<Instant> = performance.timelines[n].pulses(rig.end).map(|p| p.rise).collect();
                assert_eq!(rises, pulses, "{name} {} {}", variant.name, rig.outputs[n].name);
                outputs += 1;
            }
            for (sequencer, heard) in rig.sequencers.iter().zip(&heard) {
                let Some(&stage) = sequencer.clock.stages.last() else { continue };
                let rises: Vec<Instant> = heard.clock.iter().map(|p| p.rise).collect();
                let channels = probed.iter().filter(|p| p.point == Point::Stage(stage));
                let found =
                    channels.filter(|p| p.edges.iter().filter(|e| e.rise).map(|e| e.at).eq(rises.iter().copied()));
                assert!(found.count() > 0, "{name} {} {}", variant.name, sequencer.name);
                inputs += 1;
            }
            let Some(moment) = scene::moment(rig, &performance, patch.meter.bar()) else { continue };
            let picture = scene::timing_picture(("t", "T", ""), (rig, patch.max_gap), &performance, &moment);
            let within = |at: &Instant| {
                let ms = (*at - moment.at).ms();
                picture.from_ms <= ms && ms <= picture.to_ms
            };
            for player in 0..rig.players() {
                let all = list(rig, &performance).into_iter().filter(|h| h.sequencer == player);
                let at: Vec<f64> = all.map(|h| h.at).filter(within).map(|at| (at - moment.at).ms()).collect();
                let lane = picture.lanes.iter().find(|l| l.name == format!("{} hits", rig.player_name(player)));
                let Some(Trace::Hits(drawn)) = lane.map(|l| &l.trace) else { panic!("no hits of {player}") };
                assert_eq!(drawn.iter().map(|h| h.0).collect::<Vec<_>>(), at);
                hits += at.len();
            }
        }
    }
    assert!(outputs > 50 && inputs > 10 && hits > 50, "{outputs} {inputs} {hits}");
}

/// The two onsets of the picture are the hits, and the wave rises there: from silence to a tenth of its peak within 0.6 ms
/// before the mark (an attack lasts 0.3 to 0.4 ms and peaks at its hit's instant, as the voices' own tests hold).
#[test]
fn the_wave_begins_at_its_onsets() {
    let patch = example("late-bell");
    let tempo = Tempo::whole(50);
    let fix = variant(&patch, "phase");
    let played: Vec<Performance> =
        [&patch.original, fix].iter().map(|v| play(&v.rig, tempo).expect("played")).collect();
    let both = [
        Performed { name: "original", rig: &patch.original.rig, performance: &played[0] },
        Performed { name: "phase", rig: &fix.rig, performance: &played[1] },
    ];
    let meeting = scene::meeting(both[0], both[1], ["ox", "wren"], Beat::from_integer(16)).expect("they meet");
    assert_eq!(meeting.beat, Beat::from_integer(16));
    let picture = scene::wave_picture(("t", "T", ""), both, &meeting, (patch.max_gap, 1)).expect("rendered");
    assert_eq!(picture.panels[0].note, "wren 2400 ms later, outside");
    let panel = &picture.panels[1];
    assert_eq!(panel.onsets, [(0.0, "ox".to_owned()), (24.0, "wren".to_owned())]);
    let peak = panel.samples.iter().fold(0.0_f32, |m, s| m.max(s.abs()));
    let first = panel.samples.iter().position(|s| s.abs() > peak / 10.0).expect("a sound");
    let at = picture.from_ms + first as f64 / 48.0;
    assert!((-0.6..=0.05).contains(&at), "{at}");
    // The same stretch of the whole piece, rendered as a comparison renders it: nothing is left out that still sounds, and
    // every sample is where it is in the file. Both are sums of 32-bit samples, in the same order.
    let ensemble = Ensemble::new(&[&patch.original.rig, &fix.rig], Seating::Centre, 1).expect("voices");
    let bank = Bank::new(48_000, ensemble.masters()).expect("a bank");
    let mut score = CueList::new(&ensemble);
    list(&fix.rig, &played[1]).iter().for_each(|h| score.add(1, &fix.rig, h, h.at, 1.0));
    let cues = score.finish();
    let whole = floats(&Program::new(&bank, cues, Span::ZERO, Instant(0)).expect("a program"));
    let zero = fix.rig.clockwork(tempo).instant(meeting.beat);
    let start = zero.0 / PS_PER_MS * 48 + (picture.from_ms * 48.0).round() as i64;
    let apart = panel
        .samples
        .iter()
        .zip(&whole[usize::try_from(start).expect("within")..])
        .map(|(a, b)| (a - b).abs())
        .fold(0.0_f32, f32::max);
    assert!(apart < 1e-6, "{apart}");
    let svg = waveform(&picture);
    let seen = seen(&svg);
    let x = seen.across(["0", "20"]);
    let marks = seen.of_class("hg-rule");
    let places: Vec<f64> = marks.iter().map(|m| m[0].0).collect();
    for (place, ms) in places.iter().zip([0.0, 0.0, 24.0]) {
        assert!((place - x(ms)).abs() < 0.5, "{places:?}");
    }
    assert_eq!(places.len(), 3, "wren's hit in the original lies outside");
}

/// A program as samples.
fn floats(program: &Program<'_>) -> Vec<f32> {
    let file = Memory::default();
    let spec = Spec { format: Format::Float32, channels: Channels::Mono, seed: 1 };
    program.write(&spec, Gain::Fixed(1.0), &file, Watch::nobody()).expect("written");
    let reader = hound::WavReader::new(std::io::Cursor::new(file.into_bytes())).expect("a WAV file");
    reader.into_samples::<f32>().map(|s| s.expect("a sample")).collect()
}

/// The strength at a frequency: a Fourier sum of all samples.
fn strength(samples: &[f64], hz: f64, rate: f64) -> f64 {
    let turn = 2.0 * PI * hz / rate;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in samples.iter().enumerate() {
        let (sin, cos) = (turn * n as f64).sin_cos();
        (re, im) = (re + s * cos, im + s * sin);
    }
    re.hypot(im)
}

/// Two equal hits `d` apart have 2·|cos(π·f·d)| of one hit's strength at `f` (closed form): at the notch that is displayed,
/// which is rounded to a hertz, next to nothing is left of it, and elsewhere as much as that says.
#[test]
fn at_the_displayed_notch_the_rendered_pair_cancels() {
    let patch = example("thin-ice");
    let rig = &variant(&patch, "phase").rig;
    let ensemble = Ensemble::new(&[rig], Seating::Centre, 1).expect("voices");
    let bank = Bank::new(48_000, ensemble.masters()).expect("a bank");
    let rendered = |hits: &[&hitgap::hits::Hit], start: Instant| -> Vec<f64> {
        let mut score = CueList::new(&ensemble);
        // Equal accents, so that what differs is time alone.
        hits.iter().for_each(|h| {
            score.add(
                0,
                rig,
                &hitgap::hits::Hit { velocity: 127, level_mdb: 0, ..(*h).clone() },
                Instant((h.at - start).0),
                1.0,
            );
        });
        let cues = score.finish();
        let program = Program::new(&bank, cues, Span::from_ms(100), Instant(0)).expect("a program");
        floats(&program).into_iter().map(f64::from).collect()
    };
    for &tempo in &patch.tempos {
        let performance = play(rig, tempo).expect("played");
        let hits = list(rig, &performance);
        let due: Vec<_> = hits.iter().filter(|h| h.due == Beat::from_integer(16)).collect();
        let [ox, wren] = due[..] else { panic!("two hits: {due:?}") };
        assert_eq!(ox.voice, wren.voice, "like sounds");
        let gap = wren.at - ox.at;
        let shown = first_notch_hz(gap).expect("a notch").round();
        let start = Instant(ox.at.0 / PS_PER_MS * PS_PER_MS);
        let (pair, one) = (rendered(&[ox, wren], start), rendered(&[ox], start));
        for hz in [shown, shown / 2.0, shown * 1.5, 60.0, 3.0 * shown] {
            let left = strength(&pair, hz, 48_000.0) / strength(&one, hz, 48_000.0);
            let says = 2.0 * (PI * hz * gap.ms() / 1000.0).cos().abs();
            // A hundred decibels under one hit: what the renderer's kernel and 32-bit samples may leave (6e-7 was measured).
            assert!((left - says).abs() < 1e-5, "{tempo}, {hz} Hz: {left} against {says}");
        }
        assert!(strength(&pair, shown, 48_000.0) / strength(&one, shown, 48_000.0) < 0.005, "{tempo}");
    }
}

/// Wren is two beats late at 50 (a closed form: 2 · 60/50 s), whichever steps of its pattern sound.
#[test]
fn a_late_box_that_rests_on_step_1_is_seen_all_the_same() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("patches/late-bell.toml");
    let text = std::fs::read_to_string(path).expect("an example");
    let drawn = |ox: &str, wren: &str| {
        let text = text.replace("\"X...x...x...x...\"", ox).replace("\"Xxxxxxxx\"", wren);
        let patch = Patch::parse(&text, &Asked::default()).expect("a patch");
        let rig = &patch.original.rig;
        let performance = play(rig, Tempo::whole(50)).expect("played");
        let moment = scene::moment(rig, &performance, patch.meter.bar()).expect("a moment");
        assert_eq!(moment.beat, Beat::from_integer(16));
        scene::timing_picture(("t", "T", "A"), (rig, patch.max_gap), &performance, &moment)
    };
    let shows = |ox: &str, wren: &str, step: &str, at: f64, says: &str, (from, to): (f64, f64)| {
        let picture = drawn(ox, wren);
        let lane = picture.lanes.iter().find(|l| l.name == "wren hits").expect("a lane");
        let Trace::Hits(hits) = &lane.trace else { panic!("hits") };
        assert!(hits.contains(&(at, step.to_owned())), "{step} at {at}: {hits:?}");
        assert!((picture.from_ms..=picture.to_ms).contains(&at));
        let distance = picture.distances.iter().find(|d| d.label == says);
        let distance = distance.unwrap_or_else(|| panic!("{says}: {:?}", picture.distances));
        assert_eq!((distance.from.0, distance.to.0), (from, to));
    };
    let (whole, bell) = ("\"X...x...x...x...\"", "\"Xxxxxxxx\"");
    shows(whole, bell, "step 1", 2400.0, "wren 2400 ms after ox", (0.0, 2400.0));
    // Step 2 is due on beat 18, 2.4 s after the one, and sounds on beat 20.
    shows(whole, "\".xxxxxxx\"", "step 2", 4800.0, "wren 2400 ms after ox", (2400.0, 4800.0));
    // Ox plays on the one alone: what Wren misses is its own beat.
    shows("\"X...............\"", "\".xxxxxxx\"", "step 2", 4800.0, "wren 2400 ms after its beat", (2400.0, 4800.0));
    // A box that is right and rests makes the picture no wider.
    let narrow = |name: &str| {
        let patch = Patch::parse(&text.replace(bell, "\".xxxxxxx\""), &Asked::default()).expect("a patch");
        let rig = &variant(&patch, name).rig;
        let performance = play(rig, Tempo::whole(50)).expect("played");
        let moment = scene::moment(rig, &performance, patch.meter.bar()).expect("a moment");
        scene::timing_picture(("t", "T", "A"), (rig, patch.max_gap), &performance, &moment)
    };
    let picture = narrow("or-gate");
    assert!(picture.to_ms - picture.from_ms < 0.1, "{} to {}", picture.from_ms, picture.to_ms);
}
