use super::cue_list::velocity;
use crate::dsp::{Master, amplitude};
use crate::hits::Hit;
use crate::patch::{Noise, Rig, Voice};
use crate::sound::render::Cue;
use crate::time::Instant;
use crate::voice::{Deck, Drum, NoiseKey, VoiceError};
use rayon::prelude::*;
use std::f64::consts::PI;
use std::sync::Arc;

/// From where, and how loud, voices are heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seating {
    /// At the level and the pan that the patch gives each.
    Patch,
    /// All from the centre and equally strong (K-weighted energy at full velocity, within 0.1 dB), so that nothing but
    /// time tells two hits apart. Panned, a gap under 1 ms would be heard as a move.
    Centre,
}

/// The voices of one or several rigs, made ready to be played, a player for each of their strokes. A voice that two rigs share
/// is there once.
#[derive(Debug)]
pub struct Ensemble {
    players: Vec<Arc<Player>>,
    /// For each player, where the pieces of its deck begin among all sounds, if each of its hits has noise of its own.
    decks: Vec<Option<usize>>,
    /// For each rig, where the first stroke of each of its voices stands among `players`; the others follow it.
    seats: Vec<Vec<usize>>,
    seed: u64,
}

#[derive(Debug)]
struct Player {
    voice: Voice,
    /// Which of the voice's strokes it plays.
    stroke: usize,
    drum: Drum,
    /// Factors on the left and the right channel at full velocity.
    gains: [f64; 2],
}

/// Voices that are ready to be played, kept for the next ensemble that has them: what is drawn once is not drawn again. All of
/// its ensembles must have one seating.
#[derive(Debug, Default)]
pub struct Cast(Vec<Arc<Player>>);

impl Cast {
    /// So many are kept that nobody plays any more.
    const IDLE: usize = 32;

    /// The player of a stroke of a voice, new where there is none yet.
    fn player(&self, voice: &Voice, stroke: usize, seating: Seating) -> Result<Arc<Player>, VoiceError> {
        if let Some(known) = self.0.iter().find(|p| p.stroke == stroke && p.voice == *voice) {
            return Ok(Arc::clone(known));
        }
        let drum = voice.sound.drum(stroke)?;
        // All strokes of a voice are as loud, one for one, as its loudest: what softens them is their velocity.
        let gains = match stroke {
            0 => gains(voice, &drum, seating),
            _ => gains(voice, &voice.sound.drum(0)?, seating),
        };
        Ok(Arc::new(Player { voice: voice.clone(), stroke, gains, drum }))
    }

    /// Keeps those that play now, and of the others the last that did.
    fn keep(&mut self, playing: &[Arc<Player>]) {
        self.0.retain(|known| !playing.iter().any(|p| Arc::ptr_eq(p, known)));
        self.0.drain(..self.0.len().saturating_sub(Self::IDLE));
        self.0.extend(playing.iter().cloned());
    }
}

impl Player {
    /// Its sound with the noise that all hits share.
    fn master(&self, seed: u64) -> Master {
        self.drum.master(&NoiseKey::voice(seed, &self.voice.name))
    }
}

impl Ensemble {
    /// Makes the voices of some rigs ready. All noise is drawn from `seed`.
    ///
    /// # Errors
    /// If a voice has settings that its model cannot draw; a checked patch has none.
    pub fn new(rigs: &[&Rig], seating: Seating, seed: u64) -> Result<Self, VoiceError> {
        Self::of_cast(rigs, seating, seed, &mut Cast::default())
    }

    /// The same, with players of a cast, which keeps those that are new.
    ///
    /// # Errors
    /// As of [`Ensemble::new`].
    pub fn of_cast(rigs: &[&Rig], seating: Seating, seed: u64, cast: &mut Cast) -> Result<Self, VoiceError> {
        let mut strokes: Vec<(&Voice, usize)> = Vec::new();
        let mut seats = Vec::new();
        for rig in rigs {
            let mut of_rig = Vec::new();
            for voice in &rig.voices {
                let found = strokes.iter().position(|(v, _)| *v == voice);
                of_rig.push(found.unwrap_or(strokes.len()));
                if found.is_none() {
                    strokes.extend((0..voice.sound.strokes()).map(|stroke| (voice, stroke)));
                }
            }
            seats.push(of_rig);
        }
        let known: &Cast = cast;
        let player = |(voice, stroke): &(&Voice, usize)| known.player(voice, *stroke, seating);
        let players: Vec<_> = strokes.par_iter().map(player).collect::<Result<_, VoiceError>>()?;
        cast.keep(&players);
        let mut next = players.len();
        let deck = |player: &Arc<Player>| {
            let own = player.voice.noise == Noise::Fresh && player.drum.has_noise();
            let first = next;
            next += if own { Deck::PIECES } else { 0 };
            own.then_some(first)
        };
        let decks = players.iter().map(deck).collect();
        Ok(Self { players, decks, seats, seed })
    }

    /// A master for each player, with the noise that all its hits share.
    #[must_use]
    pub fn masters(&self) -> Vec<Master> {
        self.players.par_iter().map(|p| p.master(self.seed)).collect()
    }

    /// Its voices and which of their strokes, in the order of [`Ensemble::masters`].
    pub fn strokes(&self) -> impl ExactSizeIterator<Item = (&Voice, usize)> {
        self.players.iter().map(|p| (&p.voice, p.stroke))
    }

    /// The master at a place among [`Ensemble::strokes`].
    #[must_use]
    pub fn master(&self, number: usize) -> Master {
        self.players[number].master(self.seed)
    }

    /// All that the cues of a [`CueList`](super::CueList) name: the masters, then the pieces of those whose hits have each noise of
    /// its own.
    #[must_use]
    pub fn sounds(&self) -> Vec<Master> {
        let decks = self.players.par_iter().zip(&self.decks).filter(|(_, deck)| deck.is_some());
        let pieces = decks.filter_map(|(p, _)| p.drum.deck(&NoiseKey::deck(self.seed, &p.voice.name)));
        let pieces: Vec<Deck> = pieces.collect();
        self.masters().into_iter().chain(pieces.into_iter().flat_map(Deck::pieces)).collect()
    }

    /// Which of the masters a hit of rig number `of` has, and the factor on it at the centre, velocity and the way to the
    /// ear included. A voice whose hits have noise of their own has the master that they would share.
    #[must_use]
    pub fn part(&self, of: usize, hit: &Hit) -> (usize, f64) {
        let number = self.player(of, hit);
        let level = amplitude(f64::from(hit.level_mdb) / 1000.0);
        (number, self.players[number].gains[0] * velocity(hit.velocity) * level)
    }

    /// What sounds at a hit of rig number `of` that is at a time of its own, with a factor on its level: one cue, or of a hit
    /// with noise of its own one for each of its pieces.
    pub fn cues(&self, of: usize, rig: &Rig, hit: &Hit, at: Instant, gain: f64) -> impl Iterator<Item = Cue> + use<> {
        let number = self.player(of, hit);
        let player = &self.players[number];
        let gain = gain * velocity(hit.velocity) * amplitude(f64::from(hit.level_mdb) / 1000.0);
        let [left, right] = player.gains.map(|g| (g * gain) as f32);
        let voice = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let deck = self.decks[number];
        let whole = deck.is_none().then(|| Cue { at, voice: voice(number), left, right });
        let pieces = deck.map(|deck| {
            let key = NoiseKey::hit(self.seed, rig.player_name(hit.sequencer), hit.due);
            Deck::hit(&key).map(move |(piece, flipped)| {
                let sign = if flipped { -1.0 } else { 1.0 };
                Cue { at, voice: voice(deck + piece), left: sign * left, right: sign * right }
            })
        });
        whole.into_iter().chain(pieces.into_iter().flatten())
    }

    /// The number of the player of a rig's hit: of its voice, the stroke for its velocity.
    fn player(&self, rig: usize, hit: &Hit) -> usize {
        let first = self.seats[rig][hit.voice];
        first + self.players[first].voice.sound.stroke(hit.velocity)
    }
}

fn gains(voice: &Voice, drum: &Drum, seating: Seating) -> [f64; 2] {
    match seating {
        Seating::Centre => [amplitude(drum.balance_db()); 2],
        Seating::Patch => {
            // Constant power: −3 dB on both sides at the centre, so that a voice is as loud wherever it stands.
            let angle = (voice.pan + 1.0) * PI / 4.0;
            let level = amplitude(voice.level_db);
            let centred = voice.pan == 0.0;
            let half = std::f64::consts::FRAC_1_SQRT_2;
            let (left, right) = if centred { (half, half) } else { (libm::cos(angle), libm::sin(angle)) };
            [level * left, level * right]
        }
    }
}
