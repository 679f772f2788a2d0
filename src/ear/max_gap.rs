use super::{Conditions, EarFile, Task, Threshold};
use crate::patch::Patch;
use crate::time::{PS_PER_MS, Span};

/// The max gap of a whole check, taken from a listener's own threshold.
#[derive(Clone, Debug, PartialEq)]
pub struct MaxGap<'a> {
    /// The one of the ear file that it is taken from.
    pub threshold: &'a Threshold,
    /// The threshold's gap in whole picoseconds.
    pub gap: Span,
    /// Whether the threshold is of other voices than those that the patch plays, or of voices that had other sounds.
    pub other_voices: bool,
    /// Whether the patch plays voices of these names, and only their sounds are others.
    pub other_sounds: bool,
}

impl<'a> MaxGap<'a> {
    /// Finds the nearest threshold of two-or-one at each tempo of a patch, and takes the smallest of them: one max gap has to do
    /// for all tempos. `None` where the listener has no threshold for that task.
    #[must_use]
    pub fn of(ear: &'a EarFile, patch: &Patch) -> Option<Self> {
        let (voices, sounds) = voices(patch);
        let nearest =
            |tempo_bpm: f64| ear.nearest(Task::TwoOrOne, &Conditions { voices: &voices, sounds: &sounds, tempo_bpm });
        let found = patch.tempos.iter().filter_map(|t| nearest(t.bpm()));
        let threshold = found.min_by(|a, b| a.gap_ms.total_cmp(&b.gap_ms))?;
        let named = threshold.voices.iter().all(|name| voices.contains(name));
        let other = threshold.heard().any(|(name, from)| {
            !voices.iter().zip(&sounds).any(|(voice, sound)| (voice.as_str(), sound.as_str()) == (name, from))
        });
        Some(Self {
            threshold,
            gap: Span((threshold.gap_ms * PS_PER_MS as f64).round() as i64),
            other_voices: other,
            other_sounds: other && named,
        })
    }
}

/// The names of all voices that a patch plays, in any variant, and what each is played from.
fn voices(patch: &Patch) -> (Vec<String>, Vec<String>) {
    let mut all: Vec<(String, String)> = Vec::new();
    for variant in std::iter::once(&patch.original).chain(&patch.fixes) {
        for voice in &variant.rig.voices {
            let heard = (voice.name.clone(), voice.sound.checksum().unwrap_or_default());
            if !all.contains(&heard) {
                all.push(heard);
            }
        }
    }
    all.into_iter().unzip()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::Asked;

    fn patch(tempos: &str) -> Patch {
        let text = format!(
            "tempos = {tempos}\nbars = 1\n[clock.beats]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"beats\"\nsteps = \"x\"\n\
             voice = \"kick\"\n[sequencer.wren]\nclock = \"beats\"\nsteps = \"x\"\nvoice = \"snare\"\n\
             [fix.hat]\nset.\"sequencer.wren.voice\" = \"hat\"\n"
        );
        Patch::parse(&text, &Asked::default()).expect("a patch")
    }

    fn threshold(task: Task, voices: [&str; 2], tempo_bpm: f64, gap_ms: f64) -> Threshold {
        let voices = voices.map(str::to_owned).to_vec();
        let (between_ms, share, trials, saved) = ([gap_ms / 2.0, 2.0 * gap_ms], 0.8, 50, String::new());
        Threshold { task, voices, sounds: Vec::new(), tempo_bpm, gap_ms, between_ms, share, trials, saved }
    }

    /// Of the tempos the strictest counts, of thresholds at one tempo the nearest; never another task's.
    #[test]
    fn the_smallest_of_the_nearest_counts() {
        let thresholds = vec![
            threshold(Task::WhichFirst, ["kick", "snare"], 60.0, 1.0),
            threshold(Task::TwoOrOne, ["kick", "snare"], 60.0, 6.5),
            threshold(Task::TwoOrOne, ["kick", "snare"], 240.0, 4.000_000_000_4),
            threshold(Task::TwoOrOne, ["click", "snare"], 240.0, 2.0),
        ];
        let ear = EarFile { thresholds };
        let found = |tempos: &str| MaxGap::of(&ear, &patch(tempos)).map(|m| (m.gap, m.other_voices));
        assert_eq!(found("[60, 240]"), Some((Span::from_ms(4), false)));
        assert_eq!(found("[70]"), Some((Span(6_500 * PS_PER_MS / 1000), false)));
        let click = EarFile { thresholds: ear.thresholds[3..].to_vec() };
        assert!(MaxGap::of(&click, &patch("[60]")).is_some_and(|m| m.other_voices));
        let other_task = EarFile { thresholds: ear.thresholds[..1].to_vec() };
        assert_eq!(MaxGap::of(&other_task, &patch("[60]")), None);
    }

    /// A threshold of one recording says little of another under the same name.
    #[test]
    fn other_sounds_under_the_same_names_are_told() {
        let of = |sounds: &[&str]| Threshold {
            sounds: sounds.iter().map(|s| (*s).to_owned()).collect(),
            ..threshold(Task::TwoOrOne, ["kick", "snare"], 60.0, 3.0)
        };
        let told = |sounds: &[&str]| {
            let ear = EarFile { thresholds: vec![of(sounds)] };
            MaxGap::of(&ear, &patch("[60]")).map(|m| (m.other_voices, m.other_sounds))
        };
        assert_eq!(told(&[]), Some((false, false)));
        assert_eq!(told(&["", "0a"]), Some((true, true)));
    }

    /// A voice that only a fix plays is the patch's too.
    #[test]
    fn the_voices_of_fixes_are_known() {
        let ear = EarFile { thresholds: vec![threshold(Task::TwoOrOne, ["hat", "kick"], 60.0, 3.0)] };
        assert!(MaxGap::of(&ear, &patch("[60]")).is_some_and(|m| !m.other_voices));
    }
}
