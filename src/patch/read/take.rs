use crate::patch::check::fault::Fault;
use crate::patch::check::node::{Node, Value};
use crate::patch::check::show::shown;
use crate::patch::check::view::{Kind, View};
use crate::patch::model::given::{Given, there};
use crate::patch::model::measures::NUDGE;
use crate::patch::model::{Keys, Recording, Row, Rule, Take, TakeKind, Takes};
use crate::patch::read::fields::{Fields, Got, Told};
use crate::patch::read::file_path;
use crate::patch::read::quantity;
use crate::patch::read::sequencer::is_voice;
use crate::patch::read::values::{Values, check};
use std::ops::RangeInclusive;

/// The keys of a take.
pub(in crate::patch) static KEYS: Keys = Keys {
    what: "a take",
    about: "hits from a file, played beside the sequencers",
    rows: &[
        Row::needed(
            "file",
            Takes::File(&ENDINGS),
            EXAMPLE,
            "where its file lies, as seen from the patch file: one that ends in .csv, .mid or .midi",
        ),
        Row::free("voice", Takes::Name("voice"), "`notes`", "what every hit plays whose note has no voice of its own"),
        Row::free("notes", Takes::Notes, "`voice`", "MIDI: keys that have a voice of their own"),
        Row::free("channel", Takes::Whole(1, 16), "all", "MIDI: the only channel to listen to"),
        Row::free(
            "only",
            Takes::Text { lines: true },
            "all",
            "the only name to listen to: of the `sequencer` column, or of a track",
        ),
        Row::or("min-velocity", Takes::Whole(1, 127), "1", "the softest hits to listen to"),
        Row::or("max-velocity", Takes::Whole(1, 127), "127", "the loudest hits to listen to"),
        Row::free(
            "grid",
            Takes::Rate,
            "none",
            "a hit whose due beat the file does not give is due on the nearest point of this",
        ),
        Row::or("offset", Takes::Quantity(&NUDGE), "0 s", "a nudge of every hit; later is positive"),
        Row::or("follow-tempo", Takes::YesNo, "false", "MIDI: whether its beats are played at the tempo asked for"),
    ],
    rules: &[Rule::AnyOf(&[&["voice"], &["notes"]])],
};
const EXAMPLE: &str = "write file = \"take.csv\" or \"take.mid\", relative to the patch file";
/// How the names of files end that hold hits.
const ENDINGS: [&str; 3] = ["csv", "mid", "midi"];
/// What only MIDI files have.
const OF_MIDI: [&str; 3] = ["notes", "channel", "follow-tempo"];

/// A take whose voices are still names.
pub(in crate::patch) struct Unvoiced {
    /// All but the voices.
    pub(in crate::patch) take: Take,
    pub(in crate::patch) voice: Option<String>,
    pub(in crate::patch) notes: Vec<(u8, String)>,
}

impl Unvoiced {
    /// Whether some hit may play a voice of this name.
    pub(in crate::patch) fn plays(&self, voice: &str) -> bool {
        self.voice.as_deref() == Some(voice) || self.notes.iter().any(|(_, name)| name == voice)
    }

    /// The take with its voices by index.
    pub(in crate::patch) fn voiced(self, index: impl Fn(&str) -> usize) -> Take {
        Take {
            voice: self.voice.as_deref().map(&index),
            notes: self.notes.iter().map(|(key, name)| (*key, index(name))).collect(),
            ..self.take
        }
    }
}

/// Reads a `[hits.NAME]` table.
pub(in crate::patch) fn take(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Unvoiced, Told> {
    check(fields, &KEYS);
    unlike_sequencers(fields, view);
    let file = file(fields);
    let voice = voice(fields, "voice", view);
    let notes = notes(fields, view);
    let channel = Values::new(fields, &KEYS, None).whole("channel");
    let only = fields.text("only", "wren");
    let velocities = velocities(fields);
    let grid = fields.quantity("grid", quantity::rate);
    let given = &mut Values::new(fields, &KEYS, None);
    let (offset, follow_tempo) = (there(given.time("offset")), there(given.yes_or_no("follow-tempo")));
    let (path, kind) = file?;
    if kind == TakeKind::Csv {
        of_csv(fields)?;
    }
    let (voice, notes) = (voice?, notes?);
    if voice.is_none() && notes.is_empty() {
        let help = match kind {
            TakeKind::Csv => "write voice = \"snare\", or the name of a [voice.NAME] table",
            TakeKind::Midi => "write voice = \"snare\" for every note, or notes = { 36 = \"kick\", 38 = \"snare\" }",
        };
        return Err(fields.missing("voice", help));
    }
    let take = Take {
        name: fields.section.name.text.clone(),
        file: path,
        kind,
        voice: None,
        notes: Vec::new(),
        channel: channel?.and_then(|n| u8::try_from(n).ok()),
        only: only?.map(|(name, _)| name.to_owned()),
        velocities: velocities?,
        grid: grid?,
        offset: offset?,
        follow_tempo: follow_tempo?,
        recording: Recording::default(),
    };
    Ok(Unvoiced { take, voice, notes })
}

/// Takes and sequencers stand side by side in every list and in the names of stems.
fn unlike_sequencers(fields: &mut Fields<'_, '_>, view: &View<'_>) {
    let name = fields.section.name;
    let same = |s: &&crate::patch::check::view::Section<'_>| s.name.text.eq_ignore_ascii_case(&name.text);
    if let Some(sequencer) = view.of(Kind::Sequencer).iter().find(same) {
        let message = format!("there is a sequencer `{}` too", shown(&sequencer.name.text));
        let fault = Fault::new(name.at.clone(), message)
            .label("expected a name of its own")
            .context(sequencer.name.at.clone(), "the sequencer is here")
            .help("give one of the two another name: they stand side by side in every list");
        fields.tell(fault);
    }
}

/// The path, and what kind of file its ending says.
fn file(fields: &mut Fields<'_, '_>) -> Result<(String, TakeKind), Told> {
    let text = fields.text("file", "take.csv");
    let (path, node) = fields.needed("file", text, EXAMPLE)?;
    let path = file_path::plain(fields, "file", (path, node), EXAMPLE)?;
    match file_path::ending(&path).as_deref() {
        Some("csv") => Ok((path, TakeKind::Csv)),
        Some("mid" | "midi") => Ok((path, TakeKind::Midi)),
        _ => Err(fields.tell(file_path::unknown_kind(&path, node, "hits", &ENDINGS, EXAMPLE))),
    }
}

/// What a CSV file cannot have.
fn of_csv(fields: &mut Fields<'_, '_>) -> Result<(), Told> {
    if let Some((key, Node { value: Value::Bool(true), .. })) = fields.get("follow-tempo") {
        let fault = Fault::new(key.at.clone(), "a CSV file gives times, and they are what they are at every tempo")
            .label("expected a MIDI file, which counts beats")
            .help("take `follow-tempo` out, or name a .mid file");
        return Err(fields.tell(fault));
    }
    for key in OF_MIDI {
        fields.without_effect(key, "it matters only where `file` is a MIDI file");
    }
    Ok(())
}

/// The velocities to listen to: of one recorded part, the soft hits or the loud ones.
fn velocities(fields: &mut Fields<'_, '_>) -> Result<RangeInclusive<u8>, Told> {
    let given = &mut Values::new(fields, &KEYS, None);
    let [least, most] = ["min-velocity", "max-velocity"].map(|key| there(given.whole_to(key, 127)));
    let (least, most) = (least?, most?);
    if let (true, Some((key, node))) = (least > most, fields.get("min-velocity")) {
        let fault = Fault::new(node.at.clone(), format!("no hit has a velocity from {least} to {most}"))
            .label(format!("expected at most {most}, which is the `max-velocity`"))
            .help(format!("change `{}` or `max-velocity`: both ends are listened to", key.text));
        return Err(fields.tell(fault));
    }
    // Both are within 1 and 127.
    let [least, most] = [least, most].map(|velocity| u8::try_from(velocity).unwrap_or(127));
    Ok(least..=most)
}

fn voice(fields: &mut Fields<'_, '_>, key: &str, view: &View<'_>) -> Got<String> {
    let Some((name, node)) = fields.text(key, "kick")? else { return Ok(None) };
    is_voice(fields, node, name, view).map(Some)
}

/// Which voice each MIDI key plays.
fn notes(fields: &mut Fields<'_, '_>, view: &View<'_>) -> Result<Vec<(u8, String)>, Told> {
    const EXAMPLE: &str = "write notes = { 36 = \"kick\", 38 = \"snare\" }, MIDI keys from 0 to 127 and voices";
    let Some((name, node)) = fields.get("notes") else { return Ok(Vec::new()) };
    let Value::Table(table) = &node.value else {
        return Err(fields.wrong_type("notes", node, "a table of MIDI keys and voices", EXAMPLE));
    };
    fields.within(name, table, |inner| {
        let mut all = Ok(Vec::new());
        for (key, _) in &table.entries {
            // Written as a number is shown: 036 would be a second name of 36.
            let number = key.text.parse::<u8>().ok().filter(|n| *n < 128 && n.to_string() == key.text);
            let Some(number) = number else {
                let fault = Fault::new(key.at.clone(), format!("`{}` is not a MIDI key", shown(&key.text)))
                    .label("expected a whole number from 0 to 127")
                    .help(EXAMPLE);
                all = Err(inner.tell(fault));
                continue;
            };
            match (voice(inner, &key.text, view), &mut all) {
                (Ok(Some(voice)), Ok(all)) => all.push((number, voice)),
                (Err(told), _) => all = Err(told),
                _ => {}
            }
        }
        all
    })
}
