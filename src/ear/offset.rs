use super::Task;

impl Task {
    /// Where the two voices stand in an interval of a trial (from 1, as `asked` is): in halves of the gap, later is positive.
    /// `early` is a coin that is thrown for each interval.
    ///
    /// Where the question is which interval is split, each voice alone is early or late by half a gap in every interval, all of
    /// its hits alike, and by a fair coin: in the split one the other voice goes the other way, elsewhere the same. So a
    /// voice keeps its own beat, and what one hears of one voice is as likely whichever answer is right.
    /// Which of two came first cannot be hidden so: who hears one voice and knows to a few milliseconds when the trial began
    /// has a cue, and nobody knows that.
    #[must_use]
    pub fn offsets(self, asked: u32, interval: u32, early: bool) -> [i32; 2] {
        let order = self == Self::WhichFirst;
        let first = if order && asked == 1 || !order && early { -1 } else { 1 };
        [first, if order || interval == asked { -first } else { first }]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::Procedure;
    use crate::ear::{Listener, Rule, Session, Settings, Staircase, Trial, estimate};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// The tasks that ask which interval is split, and how many intervals they have.
    const SPLIT: [(Task, u32); 2] = [(Task::TwoOrOne, 3), (Task::TightOrLoose, 2)];

    /// By construction: over all throws of the coins, what one voice does in a whole trial is the same list whatever is asked.
    #[test]
    fn one_voice_is_as_likely_whatever_is_asked() {
        for (task, intervals) in SPLIT {
            for voice in 0..2 {
                let seen = |asked: u32| {
                    let trial = |coins: u32| -> Vec<i32> {
                        (1..=intervals).map(|n| task.offsets(asked, n, coins >> n & 1 == 1)[voice]).collect()
                    };
                    let mut all: Vec<Vec<i32>> = (0..2_u32.pow(intervals)).map(|c| trial(2 * c)).collect();
                    all.sort();
                    all
                };
                for asked in 2..=intervals {
                    assert_eq!(seen(asked), seen(1), "{task:?}, voice {voice}");
                }
            }
        }
    }

    /// Both voices: together but in the interval that is asked for, where they are a gap apart, either way as often.
    #[test]
    fn two_voices_are_a_gap_apart_where_it_is_asked() {
        for (task, intervals) in SPLIT {
            for (asked, interval) in (1..=intervals).flat_map(|a| (1..=intervals).map(move |n| (a, n))) {
                let apart = [false, true].map(|early| {
                    let [a, b] = task.offsets(asked, interval, early);
                    b - a
                });
                assert_eq!(apart, if asked == interval { [-2, 2] } else { [0, 0] });
            }
        }
        for early in [false, true] {
            assert_eq!([1, 2].map(|a| Task::WhichFirst.offsets(a, 1, early)), [[-1, 1], [1, -1]]);
        }
    }

    /// How the voices of a bar are moved.
    #[derive(Clone, Copy, Debug, PartialEq)]
    enum By {
        Rule,
        /// As it was: in the loose bar each pair of hits is split, by turns one way and the other.
        Alternating,
    }

    /// The beats on which each of two voices plays in a bar of four; on the first two beats of each half both do.
    const PLAYS: [&[f64]; 2] = [&[0.0, 1.0, 2.0, 2.5, 3.0], &[0.0, 1.0, 1.5, 2.0, 3.0]];
    const BEAT_S: f64 = 2.0 / 3.0;

    /// When the voices are heard in both bars of a trial, from the beginning of each bar's place, roved by up to 40 ms.
    fn trial(by: By, gap_s: f64, asked: u32, rng: &mut ChaCha8Rng) -> [[Vec<f64>; 2]; 2] {
        [1, 2].map(|bar| {
            let (early, from) = (rng.random_bool(0.5), rng.random_range(-0.04..0.04));
            let offsets = Task::TightOrLoose.offsets(asked, bar, early);
            [0, 1].map(|voice| {
                let at = |(n, beat): (usize, &f64)| {
                    let both = PLAYS[1 - voice].contains(beat);
                    let side = if (n % 2 == 0) == early { 1.0 } else { -1.0 } * if voice == 0 { 1.0 } else { -1.0 };
                    let halves = match by {
                        By::Rule => f64::from(offsets[voice]),
                        By::Alternating if bar == asked && both => side,
                        By::Alternating => 0.0,
                    };
                    from + beat * BEAT_S + halves * gap_s / 2.0
                };
                PLAYS[voice].iter().enumerate().map(at).collect()
            })
        })
    }

    /// How uneven a voice is against its own beat: the largest departure of an interval from what is written.
    fn uneven(voice: usize, heard: &[f64]) -> f64 {
        let off = |n: usize| heard[n] - heard[n - 1] - BEAT_S * (PLAYS[voice][n] - PLAYS[voice][n - 1]);
        (1..heard.len()).map(|n| off(n).abs()).fold(0.0, f64::max)
    }

    /// A figure of one voice, by its number and when it is heard.
    type Statistic = fn(usize, &[f64]) -> f64;

    /// What a listener may make of one voice of one bar.
    const STATISTICS: [(&str, Statistic); 6] = [
        ("uneven", uneven),
        ("late", |_, h| h[0]),
        ("far from its place", |_, h| h[0].abs()),
        ("far at its end", |v, h| (h[4] - BEAT_S * PLAYS[v][4]).abs()),
        ("mean place", |_, h| h.iter().sum::<f64>()),
        ("spread", |_, h| h.iter().map(|x| (x - h[2]) * (x - h[2])).sum::<f64>()),
    ];

    /// Who hears one voice alone and says "loose" of the bar with more of anything is right as often as a coin, at every gap; who
    /// hears both is always right. The bars as they once were gave it away: there the same listener is always right.
    #[test]
    fn who_hears_one_voice_alone_stays_at_chance() {
        const TRIALS: u32 = 4000;
        let mut rng = ChaCha8Rng::seed_from_u64(10);
        for gap_s in [0.002, 0.016, 0.128] {
            for by in [By::Rule, By::Alternating] {
                let mut right = [[0_u32; STATISTICS.len()]; 2];
                let mut both = 0;
                for _ in 0..TRIALS {
                    let asked = rng.random_range(1..=2);
                    let bars = trial(by, gap_s, asked, &mut rng);
                    for voice in 0..2 {
                        for (n, (_, of)) in STATISTICS.iter().enumerate() {
                            let [one, two] = [0, 1].map(|bar| of(voice, &bars[bar][voice]));
                            // What differs by rounding alone is alike: then he guesses.
                            let first = if (one - two).abs() < 1e-9 { rng.random_bool(0.5) } else { one > two };
                            right[voice][n] += u32::from(first == (asked == 1));
                        }
                    }
                    let apart = [0, 1].map(|bar: usize| (bars[bar][0][0] - bars[bar][1][0]).abs());
                    both += u32::from((apart[0] > apart[1]) == (asked == 1));
                }
                assert_eq!(both, TRIALS, "{by:?}: the task can be done");
                for (voice, n) in (0..2).flat_map(|v| (0..STATISTICS.len()).map(move |n| (v, n))) {
                    let (right, what) = (right[voice][n], STATISTICS[n].0);
                    println!("{by:?}, {} ms, voice {voice}, {what}: {right} of {TRIALS}", 1000.0 * gap_s);
                    match (by, what) {
                        // Five standard errors of a fair coin: 158.
                        (By::Rule, _) => {
                            assert!(right.abs_diff(TRIALS / 2) < 158, "{what}, voice {voice}, {gap_s} s: {right}");
                        }
                        (By::Alternating, "uneven") => assert_eq!(right, TRIALS),
                        (By::Alternating, _) => {}
                    }
                }
            }
        }
    }

    /// Whole sessions of one who hears one voice, and any unevenness of 6 ms in it (Friberg and Sundberg, JASA 98:2524, 1995): a
    /// thousand, and not one has a threshold. In the bars as they once were he had one.
    #[test]
    fn who_hears_one_voice_alone_has_no_threshold() {
        let settings = Settings::usual(Rule::published(2).expect("rule"));
        let session = |by: By, seed: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let (mut track, mut trials) = (Staircase::new(settings), Vec::new());
            while !track.done() {
                let (level, asked) = (track.level(), rng.random_range(1..=2));
                let bars = trial(by, level.ms() / 1000.0, asked, &mut rng);
                let [one, two] = [0, 1].map(|bar: usize| uneven(0, &bars[bar][0]));
                let first = if (one - two).abs() < 0.006 { rng.random_bool(0.5) } else { one > two };
                let answered = if first { 1 } else { 2 };
                trials.push(Trial { track: 0, level, asked, answered, catch: false });
                track.answer(asked == answered);
            }
            Session { trials, ..Session::plain(Task::TightOrLoose, Procedure::Staircase(settings)) }
        };
        let found = |by: By, sessions: u64| {
            (0..sessions).filter(|seed| estimate(&session(by, *seed), 0, 0).threshold.is_ok()).count()
        };
        assert_eq!(found(By::Rule, 1000), 0);
        assert!(found(By::Alternating, 100) > 95);
        // The simulated listener who guesses fares alike.
        let guesses = Listener::guessing(Task::TightOrLoose, 1).session(Task::TightOrLoose, &settings, 0);
        let guessed = Session { trials: guesses, ..Session::plain(Task::TightOrLoose, Procedure::Staircase(settings)) };
        assert!(estimate(&guessed, 0, 0).threshold.is_err());
    }
}
