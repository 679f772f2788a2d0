use super::args::{Format, SoundArgs};
use super::press::{Press, Sheet, bank, fits};
use super::{CARE_SHORT, Failure, Outcome, talk};
use crate::hits::Hit;
use crate::patch::{Course, Path, Rig, Sequencer, Source, Step, Voice, kit, kit_about};
use crate::show::report::{Align, Table, to_decimals};
use crate::sound::render::{Channels, Gain, Program};
use crate::sound::score::{Ensemble, Seating, Sheet as Score};
use crate::store::Kind;
use crate::time::{Beat, Instant, Span};
use crate::voice::{Facts, NoiseKey, master};
use clap::Args;

#[derive(Args, Debug)]
pub(super) struct VoicesArgs {
    /// Also write each voice alone, one hit at full velocity
    #[arg(long)]
    render: bool,
    /// How to print the list
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &VoicesArgs) -> Result<Outcome, Failure> {
    let mut facts = Vec::new();
    for voice in kit() {
        let hit = master(&voice.settings, &NoiseKey::voice(args.sound.seed, &voice.name))?;
        facts.push((voice, Facts::of(&hit)));
    }
    // Files first: a list on stdout says that all is done.
    let files = if args.render { render(args)? } else { Vec::new() };
    talk::result(|out| match args.format {
        Format::Table => {
            out.write_all(table(&facts).as_bytes())?;
            out.write_all(TAIL.as_bytes())?;
            for file in &files {
                writeln!(out, "{file}")?;
            }
            if files.is_empty() { Ok(()) } else { writeln!(out, "{CARE_SHORT}") }
        }
        Format::Json => {
            let rows: Vec<_> = facts.iter().map(|(voice, facts)| json(voice, facts)).collect();
            talk::json(out, &serde_json::json!({ "format": 1, "voices": rows }))
        }
        Format::Csv => {
            let mut csv = csv::Writer::from_writer(out);
            csv.write_record([
                "voice",
                "model",
                "level_db",
                "pitch_hz",
                "attack_ms",
                "length_s",
                "parameter",
                "value",
                "unit",
            ])?;
            for (voice, f) in &facts {
                for (param, value) in voice.settings.model.params().iter().zip(&voice.settings.values) {
                    let pitch = f.pitch_hz.map_or_else(String::new, |p| to_decimals(p, 2).to_string());
                    let (level, attack, length) =
                        (voice.level_db, to_decimals(f.attack_ms, 4), to_decimals(f.length_s, 6));
                    let head = [voice.name.clone(), voice.settings.model.name().into(), level.to_string(), pitch];
                    let tail = [
                        attack.to_string(),
                        length.to_string(),
                        param.key.into(),
                        value.to_string(),
                        unit(param.unit).into(),
                    ];
                    csv.write_record(head.iter().chain(&tail))?;
                }
            }
            csv.flush()
        }
    })?;
    Ok(Outcome::Done)
}

const TAIL: &str = "\nA patch may use these names as they are, or make a voice of its own: [voice.bell] with a `model` and any of the\n\
settings above; what it leaves out is as listed here. Each also takes `level`, `pan` and `noise`.\n";

fn table(facts: &[(&Voice, Facts)]) -> String {
    let mut out = String::new();
    for (voice, f) in facts {
        let pitch = f.pitch_hz.map_or_else(|| "no pitch".into(), |p| format!("pitch {p:.0} Hz"));
        out.push_str(&format!(
            "{} — {}\n  {pitch}, rises in {:.2} ms, lasts {:.0} ms, {} dB in the mix\n",
            voice.name,
            kit_about(voice.settings.model),
            f.attack_ms,
            f.length_s * 1000.0,
            voice.level_db.to_string().replace('-', "−"),
        ));
        let mut table = Table::new(&[("setting", Align::Left), ("", Align::Right), ("what it does", Align::Left)]);
        for (param, &value) in voice.settings.model.params().iter().zip(&voice.settings.values) {
            table.row([param.key.into(), param.unit.show(value).replace('-', "−"), param.about.into()]);
        }
        out.push_str(&table.render());
        out.push('\n');
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

fn json(voice: &Voice, f: &Facts) -> serde_json::Value {
    let settings: serde_json::Map<String, serde_json::Value> = voice
        .settings
        .model
        .params()
        .iter()
        .zip(&voice.settings.values)
        .map(|(p, v)| (p.key.to_owned(), p.unit.show(*v).into()))
        .collect();
    serde_json::json!({
        "name": voice.name, "model": voice.settings.model.name(), "about": kit_about(voice.settings.model),
        "level_db": voice.level_db, "pan": voice.pan, "settings": settings,
        "pitch_hz": f.pitch_hz.map(|p| to_decimals(p, 2)), "attack_ms": to_decimals(f.attack_ms, 4),
        "length_s": to_decimals(f.length_s, 6), "k_energy": to_decimals(f.k_energy, 9),
    })
}

fn unit(unit: crate::voice::Unit) -> &'static str {
    match unit {
        crate::voice::Unit::Frequency => "Hz",
        crate::voice::Unit::Time => "s",
        crate::voice::Unit::Level => "dB",
        crate::voice::Unit::Share => "1",
    }
}

/// How long a file lasts after its hit: a loudness meter hears nothing that is shorter than 0.4 s, and its short-term reading
/// takes 3 s (EBU Tech 3341).
const LASTS: Instant = Instant(Span::from_ms(3_000).0);

/// Writes each voice alone and says where.
fn render(args: &VoicesArgs) -> Result<Vec<String>, Failure> {
    let rig = rig();
    let ensemble = Ensemble::new(&[&rig], Seating::Patch, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let mut parts = Vec::new();
    for (n, voice) in rig.voices.iter().enumerate() {
        let mut score = Score::new(&ensemble);
        let hit = Hit {
            at: Instant::START,
            beat: Beat::default(),
            due: Beat::default(),
            sequencer: n,
            step: 1,
            velocity: 127,
            level_mdb: 0,
            voice: n,
        };
        score.add(0, &rig, &hit, Instant::START, 1.0);
        parts.push((format!("voice.{}.wav", voice.name), score.finish()));
    }
    let programs: Vec<Program<'_>> = parts
        .iter()
        .map(|(_, cues)| {
            let program = Program::new(&bank, cues.clone(), args.sound.lead_in, LASTS)?;
            fits(&program, &args.sound, Channels::Stereo)?;
            Ok(program)
        })
        .collect::<Result<_, Failure>>()?;
    let names: Vec<String> = parts.iter().map(|p| p.0.clone()).collect();
    let press = Press::open(&args.sound, &names)?;
    press.expect(programs.iter().map(|p| 2 * p.frames()).sum());
    for (name, program) in names.iter().zip(&programs) {
        let sheet = Sheet::bare(name.clone(), Kind::Voice, "voices", None, Channels::Stereo);
        press.print(&sheet, program, Gain::Auto)?;
    }
    let files = names.iter().map(|n| press.shown(n)).collect();
    press.done();
    Ok(files)
}

/// A rig with a sequencer for each voice of the kit, so that hits have voices to be played by.
fn rig() -> Rig {
    let sequencer = |(n, voice): (usize, &Voice)| {
        let clock = Path { source: Source::Output(0), stages: Vec::new() };
        Sequencer::new(&voice.name, clock, vec![Step::Accent], n)
    };
    Rig {
        end: Beat::from_integer(1),
        outputs: Vec::new(),
        stages: Vec::new(),
        wires: Vec::new(),
        sequencers: kit().iter().enumerate().map(sequencer).collect(),
        takes: Vec::new(),
        voices: kit().to_vec(),
        one: None,
        jitter: None,
        course: Course::default(),
    }
}
