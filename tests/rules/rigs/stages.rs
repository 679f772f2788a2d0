//! What a patch says of a stage, of every kind.

use super::{MS, NS, S, US, stage, straight};
use hitgap::patch::{
    Air, AttackMeans, AudioBuffer, Delay, Divide, Does, Envelope, EventGrain, FiresOn, Follows, Jitter, Logic,
    MidiCable, Multiply, NoteOffs, OneShot, Poll, Rc, Reads, Retrigger, Scatter, Shape, Source, StageKind, Strike,
    Tolerance, Wander, WhileBusy,
};
use hitgap::time::Span;
use proptest::prelude::*;

fn plain(ps: i64) -> Tolerance<Span> {
    Tolerance::plain(Span(ps))
}

#[test]
fn delays_of_every_sort() {
    let delay = |rise, fall, swallows, one_shot| StageKind::Delay(Delay { rise, fall, swallows, one_shot });
    let kind = "kind = \"delay\"\n";
    assert_eq!(stage(&format!("{kind}delay = \"40 us\"")), delay(plain(40 * US), plain(40 * US), Span::ZERO, None));
    assert_eq!(
        stage(&format!("{kind}rise = \"40 us\"\nfall = \"60 us\"\nswallows = \"40 us\"")),
        delay(plain(40 * US), plain(60 * US), Span(40 * US), None)
    );
    let shot = |while_busy| Some(OneShot { width: plain(300 * MS), while_busy });
    assert_eq!(
        stage(&format!("{kind}width = \"300 ms\"")),
        delay(plain(0), plain(0), Span::ZERO, shot(WhileBusy::Ignores)),
        "at once, and deaf while it is busy"
    );
    for (word, busy) in
        [("passes", WhileBusy::Passes), ("ignores", WhileBusy::Ignores), ("restarts", WhileBusy::Restarts)]
    {
        let lines = format!("{kind}rise = \"1 ms\"\nwidth = \"300 ms\"\nwhile-busy = \"{word}\"");
        assert_eq!(stage(&lines), delay(plain(MS), plain(MS), Span::ZERO, shot(busy)));
    }
}

#[test]
fn values_with_limits() {
    let rise = |value: &str| match stage(&format!("kind = \"delay\"\ndelay = {value}")) {
        StageKind::Delay(delay) => (delay.rise.min.0, delay.rise.typ.0, delay.rise.max.0),
        other => panic!("{other:?}"),
    };
    assert_eq!(rise("{ min = \"20 ns\", typ = \"120 ns\", max = \"250 ns\" }"), (20 * NS, 120 * NS, 250 * NS));
    assert_eq!(rise("{ typ = \"120 ns\", max = \"250 ns\" }"), (0, 120 * NS, 250 * NS), "no least on the sheet is 0");
    assert_eq!(rise("{ min = \"20 ns\", max = \"250 ns\" }"), (20 * NS, 135 * NS, 250 * NS), "no usual is the middle");
    assert_eq!(rise("{ max = \"7 ps\" }"), (0, 4, 7), "rounded once, halves up");
    assert_eq!(rise("{ value = \"120 ns\", tolerance = \"5 %\" }"), (114 * NS, 120 * NS, 126 * NS));
    assert_eq!(rise("{ value = \"120 ns\", tolerance = \"100pct\" }"), (0, 120 * NS, 240 * NS));
    assert_eq!(rise("{ value = \"120 ns\", tolerance = \"20 ns\" }"), (100 * NS, 120 * NS, 140 * NS));
    // Dotted, as TOML allows.
    let dotted = "kind = \"delay\"\ndelay.typ = \"1 us\"\ndelay.max = \"2 us\"";
    assert!(matches!(stage(dotted), StageKind::Delay(d) if d.rise.max == Span(2 * US) && d.fall == d.rise));
}

proptest! {
    /// Whatever limits are read, they are in order, and a tolerance is as far below as above.
    #[test]
    fn limits_are_in_order(
        numbers in proptest::collection::vec(0_u32..1000, 3), share in 0_u32..=100,
        has in proptest::collection::vec(any::<bool>(), 2),
    ) {
        let mut numbers = numbers;
        numbers.sort_unstable();
        let pair = |has: bool, key: &str, n: u32| if has { format!("{key} = \"{n} ns\", ") } else { String::new() };
        let value = format!(
            "{{ {}{}max = \"{} ns\" }}", pair(has[0], "min", numbers[0]), pair(has[1], "typ", numbers[1]), numbers[2]
        );
        let around = format!("{{ value = \"{} ns\", tolerance = \"{share} %\" }}", numbers[1]);
        let StageKind::Delay(read) = stage(&format!("kind = \"delay\"\nrise = {value}\nfall = {around}")) else {
            return Err(TestCaseError::fail("no delay"));
        };
        prop_assert!(read.rise.min <= read.rise.typ && read.rise.typ <= read.rise.max);
        prop_assert_eq!(read.rise.max.0, i64::from(numbers[2]) * NS);
        prop_assert_eq!(read.fall.typ.0 - read.fall.min.0, read.fall.max.0 - read.fall.typ.0);
        // A whole share of whole nanoseconds: no rounding.
        prop_assert_eq!(read.fall.max.0 - read.fall.typ.0, i64::from(numbers[1]) * i64::from(share) * NS / 100);
    }
}

#[test]
fn slow_edges() {
    let lines = "kind = \"rc\"\nr = \"10 kohm\"\nc = \"100 nF\"\nthreshold-rise = \"2.5 V\"";
    let usual = Rc {
        r: Tolerance::plain(10_000.0),
        c: Tolerance::plain(100e-9),
        high: 5.0,
        low: 0.0,
        source: 0.0,
        load: f64::INFINITY,
        discharge: f64::INFINITY,
        threshold_rise: Tolerance::plain(2.5),
        threshold_fall: Tolerance::plain(2.5),
    };
    assert_eq!(stage(lines), StageKind::Rc(usual.clone()));
    let all = "kind = \"rc\"\nr = { value = \"10 k\u{2126}\", tolerance = \"5 %\" }\n\
               c = { min = \"80 nF\", max = \"120 nF\" }\nhigh = \"10 V\"\nlow = \"-1 V\"\nsource = \"1 kohm\"\n\
               load = \"1 Mohm\"\ndischarge = \"470 ohm\"\nthreshold-rise = \"2.5 V\"\nthreshold-fall = \"1.5 V\"";
    let StageKind::Rc(read) = stage(all) else { panic!("an rc stage") };
    // 9,500 to 10,500 Ω: 10,000·0.05 is exact in binary up to a rounding error of the last place.
    assert!((read.r.min - 9500.0).abs() < 1e-9 && (read.r.max - 10_500.0).abs() < 1e-9);
    assert!((read.c.typ - 100e-9).abs() < 1e-18, "the middle");
    let expected = Rc {
        r: read.r,
        c: read.c,
        high: 10.0,
        low: -1.0,
        source: 1000.0,
        load: 1e6,
        discharge: 470.0,
        threshold_fall: Tolerance::plain(1.5),
        ..usual
    };
    assert_eq!(read, expected);
}

#[test]
fn envelopes() {
    let lines = "kind = \"envelope\"\nattack = \"5 ms\"\ndecay = \"20 ms\"\npeak = \"8 V\"\nthreshold-rise = \"2 V\"";
    let usual = Envelope {
        attack: plain(5 * MS),
        decay: plain(20 * MS),
        shape: Shape::Linear,
        attack_means: AttackMeans::ToPeak,
        peak: 8.0,
        threshold_rise: 2.0,
        threshold_fall: 2.0,
        follows: Follows::Trigger,
        retrigger: Retrigger::FromHere,
    };
    assert_eq!(stage(lines), StageKind::Envelope(usual.clone()));
    let all = format!(
        "{lines}\nshape = \"exponential\"\nattack-means = \"time-constant\"\nthreshold-fall = \"1 V\"\n\
         follows = \"gate\"\nretrigger = \"ignore\""
    );
    let expected = Envelope {
        shape: Shape::Exponential,
        attack_means: AttackMeans::TimeConstant,
        threshold_fall: 1.0,
        follows: Follows::Gate,
        retrigger: Retrigger::Ignore,
        ..usual
    };
    assert_eq!(stage(&all), StageKind::Envelope(expected));
    let zero = stage(&format!("{lines}\nretrigger = \"from-zero\""));
    assert!(matches!(zero, StageKind::Envelope(e) if e.retrigger == Retrigger::FromZero));
}

#[test]
fn logic_and_counting() {
    let or = |delay, swallows| {
        StageKind::Logic(Logic {
            does: Does::Or,
            with: Some(straight(Source::Output(0))),
            delay,
            swallows: Span(swallows),
        })
    };
    assert_eq!(stage("kind = \"logic\"\ndoes = \"or\"\nwith = \"c\""), or(plain(0), 0));
    let quick = "kind = \"logic\"\ndoes = \"or\"\nwith = \"c\"\ndelay = \"120 ns\"";
    assert_eq!(stage(quick), or(plain(120 * NS), 120 * NS), "it swallows what is shorter than its delay");
    assert_eq!(stage(&format!("{quick}\nswallows = \"0 s\"")), or(plain(120 * NS), 0));
    let sheet = "kind = \"logic\"\ndoes = \"not\"\ndelay = { min = \"50 ns\", typ = \"120 ns\", max = \"250 ns\" }";
    let delay = Tolerance { min: Span(50 * NS), typ: Span(120 * NS), max: Span(250 * NS) };
    let not = Logic { does: Does::Not, with: None, delay, swallows: Span(50 * NS) };
    assert_eq!(stage(sheet), StageKind::Logic(not), "at least what any device swallows");
    for (word, does) in [("and", Does::And), ("xor", Does::Xor)] {
        let read = stage(&format!("kind = \"logic\"\ndoes = \"{word}\"\nwith = [\"c\"]"));
        assert!(matches!(read, StageKind::Logic(l) if l.does == does));
    }
    let divide = |by, fires_on, reset, power_up| StageKind::Divide(Divide { by, fires_on, reset, power_up });
    assert_eq!(stage("kind = \"divide\"\nby = 4"), divide(4, FiresOn::First, None, 0));
    assert_eq!(
        stage("kind = \"divide\"\nby = 4\nfires-on = \"last\"\nreset = \"c\"\npower-up = 3"),
        divide(4, FiresOn::Last, Some(straight(Source::Output(0))), 3)
    );
    assert_eq!(stage("kind = \"multiply\"\nby = 3"), StageKind::Multiply(Multiply { by: 3 }));
}

#[test]
fn loops_cables_and_buffers() {
    let poll = Poll { period: Span(500 * US), phase: None, drift: 30e-6, reads: Reads::Level, samples: 1 };
    assert_eq!(stage("kind = \"poll\"\nperiod = \"500 us\""), StageKind::Poll(poll.clone()));
    assert_eq!(stage("kind = \"poll\"\nperiod = \"500 us\"\nphase = \"random\""), StageKind::Poll(poll.clone()));
    let latched = "kind = \"poll\"\nperiod = \"500 us\"\nphase = \"120 us\"\ndrift = \"0 ppm\"\nreads = \"latched\"";
    let expected = Poll { phase: Some(Span(120 * US)), drift: 0.0, reads: Reads::Latched, ..poll.clone() };
    assert_eq!(stage(latched), StageKind::Poll(expected));
    assert_eq!(
        stage("kind = \"poll\"\nperiod = \"500 us\"\nsamples = 3"),
        StageKind::Poll(Poll { samples: 3, ..poll })
    );

    // A pause of 1 ms after a start: what the field's explanations of MIDI 1.0 say senders leave (second-hand).
    let as_it_is = MidiCable {
        running_status: false,
        note_offs: NoteOffs::None,
        start_lead: Span::from_ms(1),
        song_position: false,
        order: vec![],
    };
    assert_eq!(stage("kind = \"midi-cable\""), StageKind::MidiCable(as_it_is));
    let all = "kind = \"midi-cable\"\nrunning-status = true\nnote-offs = \"as-note-on\"\norder = [\"s\", \"ox\", \"c\"]\n\
               start-lead = \"0 s\"\nsong-position = true";
    let cable = MidiCable {
        running_status: true,
        note_offs: NoteOffs::AsNoteOn,
        start_lead: Span::ZERO,
        song_position: true,
        order: ["s", "ox", "c"].map(str::to_owned).into(),
    };
    assert_eq!(stage(all), StageKind::MidiCable(cable));

    let buffer = AudioBuffer {
        frames: 128,
        blocks: 1,
        sample_rate: 48_000,
        events: EventGrain::Sample,
        phase: None,
        drift: 30e-6,
    };
    assert_eq!(stage("kind = \"audio-buffer\"\nframes = 128"), StageKind::AudioBuffer(buffer.clone()));
    let all = "kind = \"audio-buffer\"\nframes = 128\nblocks = 3\nsample-rate = \"44.1 kHz\"\nevents = \"block\"\n\
               phase = \"2.9 ms\"\ndrift = \"50 ppm\"";
    let expected = AudioBuffer {
        blocks: 3,
        sample_rate: 44_100,
        events: EventGrain::Block,
        phase: Some(Span(2900 * US)),
        drift: 50e-6,
        ..buffer
    };
    // 128/44,100 s is 2.902 ms: a phase of 2.9 ms is just within.
    assert_eq!(stage(all), StageKind::AudioBuffer(expected));
}

#[test]
fn air_strikes_and_jitter() {
    let air = |distance, temperature, level| StageKind::Air(Air { distance, temperature, level });
    assert_eq!(stage("kind = \"air\"\ndistance = \"3 m\""), air(Tolerance::plain(3.0), Tolerance::plain(20.0), true));
    assert_eq!(
        stage(
            "kind = \"air\"\ndistance = { value = \"300 cm\", tolerance = \"50 cm\" }\ntemperature = { value = \"-5 \u{b0}C\", tolerance = \"5 C\" }\nlevel = false"
        ),
        air(Tolerance { min: 2.5, typ: 3.0, max: 3.5 }, Tolerance { min: -10.0, typ: -5.0, max: 0.0 }, false)
    );
    let arm = Strike {
        stroke: Tolerance::plain(0.008),
        speed: Tolerance::plain(2.0),
        rise: plain(0),
        spread: Span::ZERO,
        recovery: Span::ZERO,
    };
    let lines = "kind = \"strike\"\nstroke = \"8 mm\"\nspeed = \"2 m/s\"";
    assert_eq!(stage(lines), StageKind::Strike(arm.clone()));
    let expected = Strike { rise: plain(3 * MS), spread: Span(MS / 2), recovery: Span(60 * MS), ..arm };
    let all = format!("{lines}\nrise = \"3 ms\"\nspread = \"0.5 ms\"\nrecovery = \"60 ms\"");
    assert_eq!(stage(&all), StageKind::Strike(expected));

    let jitter = |each, wander| StageKind::Jitter(Jitter { each, wander });
    let sd = Some(Scatter::Gaussian(Span(MS)));
    assert_eq!(stage("kind = \"jitter\"\neach = { sd = \"1 ms\" }"), jitter(sd, None));
    let even = Some(Scatter::Uniform(Span(2 * MS)));
    assert_eq!(stage("kind = \"jitter\"\neach = { range = \"2 ms\" }"), jitter(even, None));
    let wander = Some(Wander { most: Span(2 * MS), period: Span(20 * S) });
    assert_eq!(stage("kind = \"jitter\"\nwander = \"2 ms\"\nwander-period = \"20 s\""), jitter(None, wander));
}
