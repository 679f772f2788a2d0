use super::{Class, Key, Point, PsychometricFunction, Shape, Task, fit};
use crate::stats::{binomial_tail, critical_value};

/// The result of a class: each student's mark, and the class as one listener.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassResult {
    /// The students' marks, in the order of their columns.
    pub marks: Vec<Mark>,
    /// All answers, gap by gap.
    pub points: Vec<Point>,
    /// The logistic psychometric function of the class as one listener; `None` where all its answers are as guessing has them.
    pub curve: Option<PsychometricFunction>,
}

/// A student's mark.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The student, as the column is headed.
    pub student: String,
    /// Right answers.
    pub right: u32,
    /// Answers given.
    pub answers: u32,
    /// The probability that guessing gives as many right answers or more: a binomial tail.
    pub guessing: f64,
    /// Whether `right` reaches the critical value: guessing does in less than 5 of 100 tests.
    pub above_guessing: bool,
}

/// So rarely a class that guesses is taken for one that hears.
const GUESSED: f64 = 0.001;

impl ClassResult {
    /// Marks all answers of a class against its key.
    #[must_use]
    pub fn new(key: &Key, class: &Class) -> Self {
        let (m, guess_rate) = (Task::TwoOrOne.alternatives(), Task::TwoOrOne.guess_rate());
        let mark = |(student, given): (&String, &Vec<Option<u32>>)| {
            let (right, answers) = key.mark(given);
            let above_guessing = critical_value(answers, m).is_some_and(|least| right >= least);
            Mark {
                student: student.clone(),
                right,
                answers,
                guessing: binomial_tail(right, answers, m),
                above_guessing,
            }
        };
        let marks: Vec<Mark> = class.students.iter().zip(&class.answers).map(mark).collect();
        let (right, answers) = marks.iter().fold((0, 0), |sum, m| (sum.0 + m.right, sum.1 + m.answers));
        let points = key.points(&class.answers);
        let heard = answers > 0 && binomial_tail(right, answers, m) < GUESSED;
        let fitted = if heard { fit(Shape::Logistic, guess_rate, &points) } else { None };
        Self { marks, points, curve: fitted.map(|f| f.curve) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn key(questions: u32) -> Key {
        Key::draw(questions, vec!["kick".into(), "snare".into()], 90.0, 7)
    }

    /// A class of so many students who hear at each gap with some probability, and guess where they do not.
    fn class(key: &Key, students: usize, hears: impl Fn(f64) -> f64, seed: u64) -> Class {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut answers = || {
            let answer = |q: &crate::ear::Question| {
                let hears = rng.random_bool(hears(q.level.ms()));
                Some(if hears { q.asked } else { rng.random_range(1..=3) })
            };
            key.questions.iter().map(answer).collect()
        };
        let answers = (0..students).map(|_| answers()).collect();
        Class { students: (0..students).map(|n| format!("student {n}")).collect(), answers }
    }

    /// By hand, of 5 questions with 3 answers each: 4 right or more are guessed in 11 of 243, 3 or more in 51 of 243.
    #[test]
    fn marks_are_told_from_guessing_at_the_critical_value() {
        let key = key(5);
        let right: Vec<Option<u32>> = key.questions.iter().map(|q| Some(q.asked)).collect();
        let wrong =
            |n: usize| right.iter().enumerate().map(move |(k, a)| if k < n { a.map(|a| a % 3 + 1) } else { *a });
        let class = Class {
            students: ["ox", "wren", "moth"].map(str::to_owned).to_vec(),
            answers: vec![wrong(1).collect(), wrong(2).collect(), vec![None; 5]],
        };
        let marks = ClassResult::new(&key, &class).marks;
        let of = |n: usize| (marks[n].right, marks[n].answers, marks[n].above_guessing);
        assert_eq!([of(0), of(1), of(2)], [(4, 5, true), (3, 5, false), (0, 0, false)]);
        // Rounding of a few terms.
        assert!((marks[0].guessing - 11.0 / 243.0).abs() < 1e-12 && (marks[1].guessing - 51.0 / 243.0).abs() < 1e-12);
    }

    /// Who guesses has no curve, whatever the chance: one class in a thousand has, by choice of the level. Who hears from 6 ms on has
    /// a threshold near it.
    #[test]
    fn a_class_that_guesses_has_no_curve_and_one_that_hears_has() {
        let key = key(40);
        let guessed = (0..500).filter(|&seed| ClassResult::new(&key, &class(&key, 8, |_| 0.0, seed)).curve.is_some());
        // Half a class of 500 is expected; more than 5 of Poisson's 0.5 come in 1.4 of 100,000.
        assert!(guessed.count() <= 5);
        let hears = |ms: f64| 1.0 / (1.0 + (6.0 / ms).powi(4));
        let curve = ClassResult::new(&key, &class(&key, 30, hears, 1)).curve.expect("a class that hears");
        // 1,200 answers, two gaps of five on the slope: the threshold is known to some 10 %.
        assert!((4.5..8.0).contains(&curve.threshold_ms()), "{}", curve.threshold_ms());
        assert_eq!(ClassResult::new(&key, &Class { students: Vec::new(), answers: Vec::new() }).curve, None);
    }
}
