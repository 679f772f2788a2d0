//! What takes from files play at a tempo.

use super::placed::{Line, placed};
use super::{Eras, Hit};
use crate::patch::{Rig, When};
use crate::time::{Beat, Tempo};

/// What one take plays at one tempo.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// Its hits, in order of time; those of one instant in the order of the file.
    pub hits: Vec<Hit>,
    /// How many hits of the file are left out: due before the start of the patch, or at its end or later.
    pub outside: usize,
}

/// What the takes of a rig play at a tempo, in the rig's order.
///
/// A hit sounds at its time in the file plus the take's offset, whatever the tempo; or, where the take follows the tempo,
/// at the ideal time of its beat plus the offset. Its due beat is that of the file or else the nearest point of the take's
/// grid, the later of two that are equally near: nearest to when
/// it sounds, or to its own beat where the take follows the tempo. Of hits without a due beat of their own that are played as
/// one, a grace note and its main note or two drums at once, all are due where the loudest is.
/// A hit without a step of its own has its number in time, from 1.
#[must_use]
pub fn taken(rig: &Rig, tempo: Tempo) -> Vec<Taken> {
    let lines = placed(&rig.takes, &rig.clockwork(tempo), rig.end);
    let eras = Eras::new(rig, tempo);
    lines.into_iter().enumerate().map(|(n, line)| one(rig, &eras, line, rig.sequencers.len() + n)).collect()
}

fn one(rig: &Rig, eras: &Eras<'_>, line: Line<'_>, player: usize) -> Taken {
    let mut out = Taken { hits: Vec::with_capacity(line.hits.len()), outside: line.beyond };
    for hit in line.hits {
        if hit.due < Beat::default() || hit.due >= rig.end {
            out.outside += 1;
            continue;
        }
        let struck = hit.struck;
        let beat = match struck.when {
            When::Beat(beat) => beat,
            When::Time(_) => struck.beat.unwrap_or(hit.due),
        };
        out.hits.push(Hit {
            at: hit.at,
            beat,
            due: hit.due,
            sequencer: player,
            step: struck.step.unwrap_or(out.hits.len() + 1),
            velocity: struck.velocity,
            level_mdb: 0,
            voice: eras.at(hit.at).map_or(struck.voice, |era| era.voices[struck.voice]),
        });
    }
    out
}
