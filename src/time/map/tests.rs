use super::*;
use proptest::prelude::*;

const ALL: [Ramp; 4] = [Ramp::LinearInTime, Ramp::LinearInBeats, Ramp::ExponentialInBeats, Ramp::LinearPeriod];

fn beats(n: i128) -> Beat {
    Beat::from_integer(n)
}

fn ramp(from: Tempo, to: Tempo, over: Beat, shape: Ramp) -> Clockwork {
    Clockwork::new(from, &[TempoStep { at: beats(0), to: Aim::Tempo(to), ramp: Some((over, shape)) }])
}

/// The closed forms, worked out to 50 digits with the decimal arithmetic of Python (ln, exp and square root from
/// its library): start, end, beats, how far into them, and picoseconds for each reading. From 120 to 150 over 16
/// beats they are the 7.111111, 7.140594, 7.170272 and 7.200000 s, and from 60 to 120 over 4 the 2.666667, 2.772589,
/// 2.885390 and 3 s, of the table of outside values.
/// From a tempo to a tempo over so many beats, where in it, and the time there by each of the four readings.
type Row = (&'static str, &'static str, i128, (i128, i128), [f64; 4]);

const DECIMAL: [Row; 8] = [
    ("120", "150", 16, (1, 1), [7_111_111_111_111.111, 7_140_593_642_054.712, 7_170_272_188_359.28, 7.2e12]),
    ("120", "150", 16, (1, 2), [3_752_480_491_155.259, 3_769_057_141_004.271, 3_784_928_881_101.347, 3.8e12]),
    ("60", "120", 4, (1, 1), [2_666_666_666_666.667, 2_772_588_722_239.781, 2_885_390_081_777.927, 3e12]),
    ("120", "150", 7200, (1, 1), [3.2e15, 3_213_267_138_924_620.5, 3_226_622_484_761_675.8, 3.24e15]),
    (
        "120",
        "150",
        7200,
        (3, 10),
        [1_037_918_918_681_378.1, 1_041_417_526_746_616.1, 1_044_644_070_893_744.4, 1.0476e15],
    ),
    (
        "97.333333",
        "97.333334",
        3600,
        (7, 10),
        [1_553_424_657_268_249.2, 1_553_424_657_268_249.2, 1_553_424_657_268_249.2, 1_553_424_657_268_249.2],
    ),
    (
        "1000",
        "999",
        60_000,
        (1, 1),
        [3_601_800_900_450_225.1, 3_601_801_200_900_720.5, 3_601_801_501_351_256.0, 3_601_801_801_801_802.0],
    ),
    (
        "1000",
        "1",
        500,
        (9, 10),
        [41_026_289_683_974.69, 68_877_638_186_864.08, 2_172_285_554_827_770.0, 12_164_850_000_000_000.0],
    ),
];

#[test]
fn ramps_follow_their_closed_forms() {
    for (from, to, over, (n, d), expected) in DECIMAL {
        let (from, to): (Tempo, Tempo) = (from.parse().expect("a tempo"), to.parse().expect("a tempo"));
        for (shape, ps) in ALL.into_iter().zip(expected) {
            let map = ramp(from, to, beats(over), shape);
            let found = map.instant(beats(over) * Beat::new(n, d));
            // 2 ps over an hour, which is what `f64` gives; and half a picosecond for being whole.
            let most = 0.5 + 2.0 * (ps / 3.6e15).max(0.25);
            assert!((found.0 as f64 - ps).abs() <= most, "{from} to {to}, {shape:?}: {found} for {ps}");
        }
    }
}

#[test]
fn steps_are_exact() {
    // By hand: 16 beats of 0.5 s, 8 of 0.4 s, then 0.25 s each.
    let step = |at, to| TempoStep { at: beats(at), to, ramp: None };
    let map = Clockwork::new(
        Tempo::whole(120),
        &[step(16, Aim::Share(Ratio::new(5, 4))), step(24, Aim::Tempo(Tempo::whole(240)))],
    );
    let second = 1_000_000_000_000;
    for (beat, tenths) in [(-2, -10), (0, 0), (15, 75), (16, 80), (17, 84), (24, 112), (32, 132)] {
        assert_eq!(map.instant(beats(beat)), Instant(tenths * second / 10), "beat {beat}");
        assert_eq!(map.beat_at(Instant(tenths * second / 10)), beats(beat));
    }
    // A third of a beat at 150 is 133,333,333,333⅓ ps, rounded once with what is added.
    let third = map.place(beats(16) + Beat::new(1, 3), Ratio::new(1, 6)).expect("short");
    assert_eq!(third, Instant(8 * second + 133_333_333_334));
}

/// Seven steps between tempos without a common measure end within a picosecond of the exact sum.
#[test]
fn many_steps_do_not_drift() {
    let tempos = [97, 101, 103, 107, 109, 113, 127].map(Tempo::whole);
    let steps: Vec<_> = tempos
        .iter()
        .enumerate()
        .map(|(n, t)| TempoStep { at: beats(n as i128 * 4 + 4), to: Aim::Tempo(*t), ramp: None })
        .collect();
    let map = Clockwork::new(Tempo::whole(91), &steps);
    let exact: Ratio<BigInt> =
        std::iter::once(Tempo::whole(91)).chain(tempos).fold(Ratio::new(BigInt::from(0), BigInt::from(1)), |sum, t| {
            let beat = t.beat_ps() * 4;
            sum + Ratio::new(BigInt::from(*beat.numer()), BigInt::from(*beat.denom()))
        });
    let whole = (exact + Ratio::new(BigInt::from(1), BigInt::from(2))).floor().to_integer();
    assert_eq!(BigInt::from(map.instant(beats(32)).0), whole);
}

proptest! {
    /// Without entries a map is the plain tempo, and a step to the same tempo changes nothing by more than what a
    /// start is kept to: none of a whole picosecond at tempos whose beats are whole.
    #[test]
    fn a_map_that_changes_nothing_is_the_tempo(bpm in 1_u64..1000, n in -1_000_000_i128..100_000_000, d in 1_i128..100) {
        let tempo = Tempo::whole(bpm);
        let beat = Beat::new(n, d);
        prop_assert_eq!(Clockwork::even(tempo).instant(beat), tempo.instant(beat));
        let same = TempoStep { at: beats(3 * i128::from(bpm)), to: Aim::Share(Ratio::from_integer(1)), ramp: None };
        prop_assert_eq!(Clockwork::new(tempo, &[same]).instant(beat), tempo.instant(beat));
    }

    /// Later beats are never earlier in time, and the way back leads to the beat from which one came.
    #[test]
    fn time_grows_with_beats_and_back(
        v0 in 1_u64..1000, v1 in 1_u64..1000, over in 1_i128..64, shape in 0_usize..4, n in 0_i128..1_000_000,
    ) {
        let map = ramp(Tempo::whole(v0), Tempo::whole(v1), beats(over), ALL[shape]);
        let beat = beats(over) * Beat::new(n, 900_000);
        let (now, next) = (map.instant(beat), map.instant(beat + Beat::new(1, 1_000_000_000)));
        prop_assert!(now <= next);
        // To a picosecond and a half, as a beat: at 1000 a beat lasts 60 ms.
        let back = map.beat_at(now) - beat;
        prop_assert!(back.numer().abs() as f64 / *back.denom() as f64 <= 1.5 / 6e10 + 2e-12, "{}", back);
    }

    /// The time over all is what `dt = db/v` sums to in small steps of the middle tempo: a law that knows no closed form.
    #[test]
    fn ramps_are_sums_of_small_steps(v0 in 60_u64..240, v1 in 60_u64..240, shape in 0_usize..4) {
        let map = ramp(Tempo::whole(v0), Tempo::whole(v1), beats(8), ALL[shape]);
        let (a, b) = (v0 as f64 / 60.0, v1 as f64 / 60.0);
        let steps = 20_000;
        let (mut time, mut tempo_in_time) = (0.0, a);
        for i in 0..steps {
            let part = (f64::from(i) + 0.5) / f64::from(steps);
            let db = 8.0 / f64::from(steps);
            let v = match ALL[shape] {
                // dv/dt is constant, so dv/db = (b² − a²)/(2·8·v).
                Ramp::LinearInTime => {
                    let slope = (b * b - a * a) / 16.0;
                    let middle = tempo_in_time + slope * db / 2.0 / tempo_in_time;
                    tempo_in_time += slope * db / middle;
                    middle
                }
                Ramp::LinearInBeats => a + (b - a) * part,
                Ramp::ExponentialInBeats => a * (b / a).powf(part),
                Ramp::LinearPeriod => 1.0 / (1.0 / a + (1.0 / b - 1.0 / a) * part),
            };
            time += db / v;
        }
        let found = map.instant(beats(8)).seconds();
        // The middle rule errs by the square of a step: under one part in 10⁷ for these tempos.
        prop_assert!((found / time - 1.0).abs() < 1e-7, "{} for {}", found, time);
    }

    /// The quick sum and the long one agree.
    #[test]
    fn quick_and_long_sums_agree(n in -1_000_000_000_000_i128..1_000_000_000_000, d in 1_i128..1_000_000, micro in 1_000_000_u64..1_000_000_000) {
        let per = Tempo::from_micro(micro).expect("in bounds").beat_ps();
        let (start, after) = (Ratio::new(123_456_789, FINEST), Ratio::new(n, 1009));
        let beats = Beat::new(n, d);
        if let Some(quick) = quick_sum(start, beats, per, after) {
            prop_assert_eq!(Some(quick), long_sum(start, beats, per, after));
        }
        let none = Ratio::from_integer(0);
        prop_assert_eq!(plain_sum(none, beats, per, none), long_sum(none, beats, per, none));
        prop_assert_eq!(plain_sum(start, beats, per, none), None);
        prop_assert_eq!(plain_sum(none, beats, per, after), (n == 0).then(|| long_sum(none, beats, per, none)).flatten());
    }
}
