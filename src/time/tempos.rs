use super::{Tempo, TempoError};
use crate::text::shown;

/// The most tempos of one list.
pub const MOST_TEMPOS: usize = 1000;

/// Why a text is no list of tempos.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum TemposError {
    /// A part is no tempo.
    #[error(transparent)]
    Tempo(#[from] TempoError),
    /// A range without a step.
    #[error("`{}` has no step: write from..to:step, such as 60..160:20", shown(.0))]
    NoStep(String),
    /// A step that is no positive decimal of at most 6 digits on either side.
    #[error("`{}` is not a step: write a positive number such as 20 or 2.5", shown(.0))]
    Step(String),
    /// A range whose end is below its beginning.
    #[error("`{}` runs downwards: write the smaller tempo first", shown(.0))]
    Downwards(String),
    /// No two ends of a range.
    #[error("`{}` is not a range: write 20..300", shown(.0))]
    NoRange(String),
    /// Several tempos where one belongs.
    #[error("`{}` is not one tempo", shown(.0))]
    NotOne(String),
    /// More than [`MOST_TEMPOS`].
    #[error("more than {MOST_TEMPOS} tempos; a larger step, or several runs, will do")]
    TooMany,
}

/// Reads a list of tempos: `60,90,120`, `60..160:20`, or both mixed. No two are equal, and they stand in the order in which they
/// were asked for; the end of a range is in it if a step meets it.
///
/// # Errors
/// The first fault.
pub fn tempos(text: &str) -> Result<Vec<Tempo>, TemposError> {
    let mut all: Vec<Tempo> = Vec::new();
    let mut add = |tempo: Tempo| {
        if !all.contains(&tempo) {
            if all.len() >= MOST_TEMPOS {
                return Err(TemposError::TooMany);
            }
            all.push(tempo);
        }
        Ok(())
    };
    for part in text.split(',') {
        let Some((from, rest)) = part.split_once("..") else {
            add(part.parse()?)?;
            continue;
        };
        let Some((to, step)) = rest.split_once(':') else {
            return Err(TemposError::NoStep(part.trim().to_owned()));
        };
        let (from, to): (Tempo, Tempo) = (from.parse()?, to.parse()?);
        let step = step_micro(step).ok_or_else(|| TemposError::Step(step.trim().to_owned()))?;
        if from > to {
            return Err(TemposError::Downwards(part.trim().to_owned()));
        }
        let mut micro = from.micro();
        while let Some(now) = Tempo::from_micro(micro).filter(|t| *t <= to) {
            add(now)?;
            micro += step;
        }
    }
    Ok(all)
}

/// Reads a range of tempos: `20..300`.
///
/// # Errors
/// Unless it is two tempos, the smaller one first.
pub fn tempo_range(text: &str) -> Result<(Tempo, Tempo), TemposError> {
    let (low, high) = text.split_once("..").ok_or_else(|| TemposError::NoRange(text.to_owned()))?;
    let one = |text: &str| match tempos(text)?[..] {
        [tempo] => Ok(tempo),
        _ => Err(TemposError::NotOne(text.to_owned())),
    };
    let (low, high) = (one(low)?, one(high)?);
    if low > high { Err(TemposError::Downwards(text.to_owned())) } else { Ok((low, high)) }
}

/// A step between tempos in millionths: it may be smaller than a tempo may be.
fn step_micro(text: &str) -> Option<u64> {
    let (whole, part) = text.trim().split_once('.').unwrap_or((text.trim(), "0"));
    let digits = |s: &str| !s.is_empty() && s.len() <= 6 && s.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(part) {
        return None;
    }
    let (whole, part): (u64, u64) = (whole.parse().ok()?, format!("{part:0<6}").parse().ok()?);
    Some(whole * 1_000_000 + part).filter(|&step| step > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<String>, TemposError> {
        tempos(text).map(|all| all.iter().map(Tempo::to_string).collect())
    }

    #[test]
    fn the_end_of_a_range_is_included_if_it_is_hit_and_equal_tempos_are_one() {
        assert_eq!(read("60..160:50").expect("range"), ["60", "110", "160"]);
        assert_eq!(read("60..159.5:50").expect("range"), ["60", "110"]);
        assert_eq!(read("120, 60,120.0,60..61:0.5").expect("list"), ["120", "60", "60.5", "61"]);
    }

    #[test]
    fn what_is_no_list_of_tempos_is_refused() {
        for text in [
            "",
            ",",
            "60..",
            "60..70",
            "60..70:0",
            "70..60:1",
            "60..70:-1",
            "1..1000:0.000001",
            "a",
            "60;70",
            "60..70:5:5",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_range_is_two_tempos_and_runs_upwards() {
        assert_eq!(tempo_range("20..300"), Ok((Tempo::whole(20), Tempo::whole(300))));
        assert_eq!(tempo_range("90..90"), Ok((Tempo::whole(90), Tempo::whole(90))));
        assert_eq!(tempo_range("90"), Err(TemposError::NoRange("90".to_owned())));
        assert_eq!(tempo_range("60,70..90"), Err(TemposError::NotOne("60,70".to_owned())));
        assert_eq!(tempo_range("90..60"), Err(TemposError::Downwards("90..60".to_owned())));
    }
}
