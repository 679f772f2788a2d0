use crate::patch::Meter;
use crate::sound::render::{MOST_MARKS, Mark, Program};
use crate::time::{Beat, Clockwork, Instant, Span};

/// A time of what is played with a name: where a bar, a turn, a setting or a trial begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signpost {
    /// When that is, from the clock's start.
    pub at: Instant,
    /// What begins.
    pub label: String,
}

impl Signpost {
    /// The bar lines of a piece, from one beat until another. Of more than [`MOST_MARKS`] only every 2nd is taken, or every 4th, 8th
    /// and so on, counted from the first.
    #[must_use]
    pub fn bars(meter: Meter, clockwork: &Clockwork, (from, to): (Beat, Beat)) -> Vec<Self> {
        let first = (from / meter.bar()).ceil().to_integer();
        let end = (to / meter.bar()).ceil().to_integer();
        let step = step(usize::try_from(end - first).unwrap_or(0));
        let bar = |n: i128| Self { at: clockwork.instant(meter.bar() * n), label: format!("bar {}", n + 1) };
        (first..end).step_by(step).map(bar).collect()
    }

    /// How many there are of the bars of a piece that lasts until a beat.
    #[must_use]
    pub fn count(meter: Meter, to: Beat) -> usize {
        let bars = usize::try_from((to / meter.bar()).ceil().to_integer()).unwrap_or(0);
        bars.div_ceil(step(bars))
    }

    /// As many as a file takes of some that go together in groups of so many: every group, or every 2nd, 4th and so on.
    #[must_use]
    pub fn few(all: Vec<Self>, group: usize) -> Vec<Self> {
        let step = step(all.len());
        all.into_iter().enumerate().filter(|(n, _)| (n / group).is_multiple_of(step)).map(|(_, post)| post).collect()
    }

    /// This one, so much later.
    #[must_use]
    pub fn later(&self, by: Span) -> Self {
        Self { at: self.at + by, label: self.label.clone() }
    }

    /// A render in whose file these are marked, each at the frame that is nearest to its time.
    #[must_use]
    pub fn mark<'a>(program: Program<'a>, all: &[Self]) -> Program<'a> {
        let marks = all.iter().map(|post| Mark { frame: program.frame(post.at), label: post.label.clone() }).collect();
        program.marked(marks)
    }
}

/// Of so many every how many are taken: the smallest power of two that leaves no more than a file takes.
fn step(count: usize) -> usize {
    count.div_ceil(MOST_MARKS).next_power_of_two()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::render::Bank;
    use crate::time::Tempo;

    const FOUR: Meter = Meter { count: 4, unit: 4 };

    fn bars(tempo: Tempo, to: i128) -> Vec<Signpost> {
        Signpost::bars(FOUR, &Clockwork::even(tempo), (Beat::default(), Beat::from_integer(to)))
    }

    /// By hand: a bar of four at 127.3 lasts 240/127.3 s, 83,142.18 frames at 44,100, and the file begins 4,410 frames before the
    /// first. The third begins after twice that, 166,284.37, and each is rounded once: nothing adds up.
    #[test]
    fn a_bar_is_marked_at_the_nearest_frame() {
        let tempo: Tempo = "127.3".parse().expect("a tempo");
        let bank = Bank::new(44_100, Vec::new()).expect("a usual rate");
        let end = tempo.instant(Beat::from_integer(40));
        let program = Program::new(&bank, Vec::new(), Span::from_ms(100), end).expect("silence");
        let frames: Vec<u64> = bars(tempo, 40).iter().map(|bar| program.frame(bar.at)).collect();
        assert_eq!(frames[..3], [4_410, 87_552, 170_694]);
        for (n, frame) in frames.iter().enumerate() {
            assert_eq!(*frame, (4_410.0 + n as f64 * 240.0 / 127.3 * 44_100.0).round() as u64, "bar {n}");
        }
        assert_eq!(frames.len(), 10);
    }

    /// Of a piece of a day as many bars are marked as a file takes, evenly, from the first on; a bar that is cut off counts.
    #[test]
    fn of_too_many_bars_every_other_is_marked() {
        let told = |bars: Vec<Signpost>| {
            let label = |post: Option<&Signpost>| post.map(|p| p.label.clone()).unwrap_or_default();
            (bars.len(), label(bars.get(1)), label(bars.last()))
        };
        let of = |count, second: &str, last: &str| (count, second.to_owned(), last.to_owned());
        let most = MOST_MARKS as i128;
        for (beats, expected) in [
            (4 * most, of(10_000, "bar 2", "bar 10000")),
            (4 * most + 1, of(5_001, "bar 3", "bar 10001")),
            // A day at 120 has 43,200 bars.
            (24 * 3_600 * 2, of(5_400, "bar 9", "bar 43193")),
            (5, of(2, "bar 2", "bar 2")),
            (0, of(0, "", "")),
        ] {
            assert_eq!(told(bars(Tempo::whole(120), beats)), expected, "{beats}");
            assert_eq!(Signpost::count(FOUR, Beat::from_integer(beats)), expected.0);
        }
    }

    /// Two turns stay together: where the original is marked, so is the fix.
    #[test]
    fn groups_stay_together() {
        let all = |count: i64| (0..count).map(|n| Signpost { at: Instant(n), label: n.to_string() }).collect();
        let few = Signpost::few(all(12_001), 2);
        assert_eq!(few.iter().take(5).map(|p| p.at.0).collect::<Vec<_>>(), [0, 1, 4, 5, 8]);
        assert!(few.len() <= MOST_MARKS && Signpost::few(all(10_000), 2).len() == 10_000);
    }
}
