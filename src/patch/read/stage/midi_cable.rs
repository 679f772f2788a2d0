use crate::patch::check::fault::Fault;
use crate::patch::check::node::Value;
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, View, undefined};
use crate::patch::model::{MidiCable, NoteOffs, StageKind};
use crate::patch::read::fields::{Fields, Told};
use crate::time::Span;

/// Between a start and the first clock after it: about what senders leave (midi.teragonaudio.com/tech/midispec/seq.htm, which
/// explains MIDI 1.0; second-hand).
const START_LEAD: Span = Span::from_ms(1);

pub(super) fn read(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<StageKind, Told> {
    let running_status = fields.yes_or_no("running-status");
    let note_offs = fields
        .choice("note-offs", &[("none", NoteOffs::None), ("as-note-on", NoteOffs::AsNoteOn), ("own", NoteOffs::Own)]);
    let start_lead = fields.whole_time("start-lead");
    let song_position = fields.yes_or_no("song-position");
    let order = order(fields, view);
    Ok(StageKind::MidiCable(MidiCable {
        running_status: running_status?.unwrap_or(false),
        note_offs: note_offs?.unwrap_or(NoteOffs::None),
        start_lead: start_lead?.unwrap_or(START_LEAD),
        song_position: song_position?.unwrap_or(false),
        order: order?,
    }))
}

fn order(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Vec<String>, Told> {
    const EXAMPLE: &str =
        "write order = [\"ox\", \"wren\"], names of sequencers, outputs or stages, those first that are sent first";
    const KINDS: [Kind; 3] = [Kind::Sequencer, Kind::Output, Kind::Stage];
    let Some((_, node)) = fields.get("order") else { return Ok(Vec::new()) };
    let Value::List(list) = &node.value else {
        return Err(fields.wrong_type("order", node, "a list of names", EXAMPLE));
    };
    let mut order: Vec<String> = Vec::new();
    let mut told = Ok(());
    for node in list {
        let Value::Text(name) = &node.value else {
            told = Err(fields.wrong_type("order", node, "a name in quotes", EXAMPLE));
            continue;
        };
        let known = KINDS.iter().any(|kind| view.position(*kind, name).is_some());
        let fault = if !known {
            let all = KINDS.iter().flat_map(|kind| view.names(*kind));
            let how = format!("define it with a heading [sequencer.{}]", shown(name));
            undefined(node.at.clone(), name, "sequencer, output or stage", all, &how)
        } else if order.contains(name) {
            Fault::new(node.at.clone(), format!("`{}` is twice in one order", shown(name)))
                .label("expected each name once")
                .help("take one out")
        } else {
            order.push(name.clone());
            continue;
        };
        told = Err(fields.tell(fault));
    }
    told.map(|()| order)
}
