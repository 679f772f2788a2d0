//! A voice that is played from files.

use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::check_keys;
use crate::patch::model::{Noise, Voice};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::file_path;
use crate::patch::read::quantities;
use crate::patch::read::voice::{KEYS, ONSET, TRIM, level, pan};
use crate::voice::Sound;
use crate::voice::recorded::{Cut, ENDINGS, Recorded, StrokeFile};
use std::sync::Arc;

const EXAMPLE: &str = "write file = \"drum.wav\", relative to the patch file";
const SOFTER: &str = "write softer = { 100 = \"soft.wav\" }: up to which velocity, and which file";

/// Reads a `[voice.NAME]` table with a `file`.
pub(super) fn voice(fields: &mut Fields<'_, '_>) -> Result<Voice, Told> {
    let known: Vec<&str> = KEYS.names().collect();
    check_keys(&fields.section.fields, &known, "a voice with a `file`", fields.faults);
    let mut told = Ok(());
    if let (Some((file, _)), Some((model, _))) = (fields.get("file"), fields.get("model")) {
        let fault = Fault::new(model.at.clone(), format!("{} has both `file` and `model`", fields.what))
            .label("expected one of the two")
            .context(file.at.clone(), "the other is here")
            .help("a voice is played from a file, or drawn by a model: take one of the two out");
        told = Err(fields.tell(fault));
    }
    fields.without_effect("noise", "a recording has its own noise, at every hit the same");
    let file = file(fields);
    let softer = softer(fields);
    let onset = quantities::plain(fields, "onset", &ONSET);
    let trim = quantities::plain(fields, "trim", &TRIM);
    let level = level(fields);
    let pan = pan(fields);
    told?;
    let mut files = vec![StrokeFile { file: file?, up_to: 127 }];
    files.extend(softer?);
    let cut = Cut { onset: onset?, trim: trim? };
    Ok(Voice {
        name: fields.section.name.text.clone(),
        sound: Sound::Recorded(Recorded { files, cut, strokes: Arc::default() }),
        level_db: level?.unwrap_or(0.0),
        pan: pan?.unwrap_or(0.0),
        noise: Noise::Same,
    })
}

fn file(fields: &mut Fields<'_, '_>) -> Result<String, Told> {
    let text = fields.text("file", "drum.wav");
    let written = fields.needed("file", text, EXAMPLE)?;
    sound_file(fields, "file", written, EXAMPLE)
}

/// A path whose ending says that it is a sound.
fn sound_file(
    fields: &mut Fields<'_, '_>,
    key: &str,
    (path, node): (&str, &Node),
    example: &str,
) -> Result<String, Told> {
    let path = file_path::plain(fields, key, (path, node), example)?;
    match file_path::ending(&path) {
        Some(ending) if ENDINGS.contains(&ending.as_str()) => Ok(path),
        _ => Err(fields.tell(file_path::unknown_kind(&path, node, "a drum", &ENDINGS, example))),
    }
}

/// The files of softer strokes, the loudest first.
fn softer(fields: &mut Fields<'_, '_>) -> Result<Vec<StrokeFile>, Told> {
    let Some((name, node)) = fields.get("softer") else { return Ok(Vec::new()) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("softer", node, "a table of velocities and files", SOFTER));
    };
    fields.within(name, table, |inner| {
        let mut all: Vec<StrokeFile> = Vec::new();
        let mut told = Ok(());
        for (key, _) in &table.entries {
            // Written as a number is shown: 036 would be a second name of 36.
            let up_to = key.text.parse::<u8>().ok().filter(|n| (1..127).contains(n) && n.to_string() == key.text);
            let Some(up_to) = up_to else {
                let fault =
                    Fault::new(key.at.clone(), format!("`{}` is no velocity of a softer stroke", shown(&key.text)))
                        .label("expected a whole number from 1 to 126")
                        .help(SOFTER);
                told = Err(inner.tell(fault));
                continue;
            };
            match stroke(inner, &key.text) {
                Ok(Some(file)) => all.push(StrokeFile { file, up_to }),
                Ok(None) => {}
                Err(error) => told = Err(error),
            }
        }
        told?;
        all.sort_by_key(|stroke| std::cmp::Reverse(stroke.up_to));
        Ok(all)
    })
}

fn stroke(fields: &mut Fields<'_, '_>, key: &str) -> Got<String> {
    let Some(written) = fields.text(key, "soft.wav")? else { return Ok(None) };
    sound_file(fields, key, written, SOFTER).map(Some)
}
