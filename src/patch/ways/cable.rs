//! Serial lines on a path and on the way to the ear.

use super::{Line, Ways};
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::shown;
use crate::patch::check::view::Kind;
use crate::patch::model::StageKind;
use crate::patch::read::path::place_of_name;

impl Ways<'_> {
    /// Tells the serial lines that are named on a path and after a sequencer too: what goes to an input is worked out before
    /// what goes to the ear, so that the two cannot wait for each other in one queue.
    pub(super) fn check_cables(&self, faults: &mut Faults) {
        let is_cable = |stage: &usize| matches!(self.rig.stages[*stage].kind, StageKind::MidiCable(_));
        let on_path = |stage: usize| {
            let place = |line: &Line<'_>| Some(line.first + 1 + line.path.stages.iter().position(|s| *s == stage)?);
            self.lines.iter().find_map(place)
        };
        for stage in (0..self.rig.stages.len()).filter(is_cable) {
            let Some(point) = on_path(stage) else { continue };
            let mut sequencers = self.rig.sequencers.iter().enumerate();
            let Some((owner, n)) =
                sequencers.find_map(|(owner, s)| Some((owner, s.out.iter().position(|s| *s == stage)?)))
            else {
                continue;
            };
            let sequencer = &self.rig.sequencers[owner].name;
            let section = &self.view.of(Kind::Sequencer)[owner];
            let at = section.get("out").map_or(section.name.at.clone(), |(_, node)| place_of_name(node, n));
            let (line, _) = self.line(point);
            let (kind, owner) = line.owner;
            let path = format!("{}.{}.{}", kind.key(), shown(&self.view.of(kind)[owner].name.text), line.key);
            let cable = shown(&self.rig.stages[stage].name);
            let fault = Fault::new(at, format!("the serial line `{cable}` goes to an input and to the ear"))
                .label(format!(
                    "found it in `out` of `{}` and in `{path}`; expected one or the other, since one queue for both is not worked out",
                    shown(sequencer)
                ))
                .help(format!("define a second line, [stage.{cable}-2] kind = \"midi-cable\", and name it in one of the two"));
            faults.push(fault);
        }
    }
}
