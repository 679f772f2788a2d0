use super::Bar;
use crate::hits::list;
use crate::patch::{Patch, Voice};
use crate::rig::{RigError, play};
use crate::time::Tempo;

/// Two players of a patch that an ear is trained with: their voices, a tempo, and the bar that they play together.
#[derive(Clone, Debug)]
pub struct Duo {
    /// The voices: two unlike ones if there are two.
    pub voices: [Voice; 2],
    /// The first tempo of the patch.
    pub tempo: Tempo,
    /// The bar in which the two are due together most often; `None` where they never are.
    pub bar: Option<Bar>,
}

impl Duo {
    /// The first player of a patch's original that has a voice, and the first other one whose voice is unlike; else the next
    /// with the same voice, or the first one twice. `None` for a patch that plays no voice.
    ///
    /// # Errors
    /// If the original cannot be played at the first tempo.
    pub fn of(patch: &Patch) -> Result<Option<Self>, RigError> {
        let rig = &patch.original.rig;
        let players = 0..rig.sequencers.len() + rig.takes.len();
        let used: Vec<(usize, &Voice)> =
            players.filter_map(|p| Some((p, rig.player_voice(p).map(|n| &rig.voices[n])?))).collect();
        let Some(&(first, voice)) = used.first() else { return Ok(None) };
        let (second, other) = used.iter().find(|u| u.1 != voice).or(used.get(1)).copied().unwrap_or((first, voice));
        let tempo = patch.tempos.first().copied().unwrap_or(Tempo::whole(90));
        let performance = play(rig, tempo)?;
        let bar = Bar::fullest(&list(rig, &performance), [first, second], patch.meter.bar());
        Ok(Some(Self { voices: [voice.clone(), other.clone()], tempo, bar }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::patch::Asked;

    fn duo(players: &[(&str, &str)]) -> Duo {
        let table = |(n, (voice, steps)): (usize, &(&str, &str))| {
            format!("[sequencer.s{n}]\nclock = \"beats\"\nsteps = \"{steps}\"\nvoice = \"{voice}\"\n")
        };
        let tables: String = players.iter().enumerate().map(table).collect();
        let text = format!("tempos = [70, 80]\nbars = 2\n[clock.beats]\nrate = \"1 per beat\"\n{tables}");
        let patch = Patch::parse(&text, &Asked::default()).map_err(|f| f.render("duo", &text, false)).expect("a patch");
        Duo::of(&patch).expect("played").expect("voices")
    }

    /// The voices that are chosen, and how often they are due together in the bar.
    fn chosen(players: &[(&str, &str)]) -> ([String; 2], Option<usize>) {
        let duo = duo(players);
        assert_eq!(duo.tempo, Tempo::whole(70));
        (duo.voices.map(|v| v.name), duo.bar.map(|bar| bar.pairs()))
    }

    #[test]
    fn two_unlike_voices_come_before_two_like_ones() {
        let of = |a: &str, b: &str| [a.to_owned(), b.to_owned()];
        assert_eq!(chosen(&[("kick", "x..."), ("kick", "x.x."), ("hat", "xx..")]), (of("kick", "hat"), Some(1)));
        assert_eq!(chosen(&[("kick", "xx.."), ("kick", "xxx.")]), (of("kick", "kick"), Some(2)));
        // Never due together; and one player alone, who is his own second.
        assert_eq!(chosen(&[("kick", "x..."), ("snare", ".x..")]), (of("kick", "snare"), None));
        assert_eq!(chosen(&[("kick", "x...")]).0, of("kick", "kick"));
    }
}
