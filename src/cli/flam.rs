use super::args::{Format, SoundArgs, Tempos, tempos};
use super::flam_page::{FlamPage, MAX_GAP, flam_page};
use super::levels::matched;
use super::press::{Press, Sheet, bank, fits};
use super::sweep_page::few_enough;
use super::work::Work;
use super::{CARE_SHORT, Failure, Outcome, talk};
use crate::dsp::{MASTER_RATE, amplitude};
use crate::hits::Hit;
use crate::judge::Body;
use crate::patch::{Course, Meter, Noise, Path, Rig, Sequencer, Source, Step, Voice, kit, quantity};
use crate::show::page::listening_page;
use crate::show::report::{FlamRow, flam_table, plain};
use crate::sound::render::{Channels, Cue, Gain, Program};
use crate::sound::score::{Ensemble, Seating, Sheet as Score};
use crate::store::Kind;
use crate::time::{Beat, ExactPs, Instant, Span, Tempo, round_half_up};
use crate::voice::{NoiseKey, master};
use clap::Args;
use std::collections::HashSet;

/// Bars in which the voices are apart; one with them together follows.
pub(super) const BARS_APART: i64 = 3;
pub(super) const BEATS: i64 = 4;

#[derive(Args, Debug)]
#[command(group(clap::ArgGroup::new("setting").required(true).args(["delay", "phase"])))]
pub(super) struct FlamArgs {
    /// How far the second voice is behind the first: 1ms,5ms,22ms; negative is ahead
    #[arg(long, value_name = "TIMES", allow_hyphen_values = true)]
    delay: Option<String>,
    /// The same as a share of the period of --rate: 1% or 1pct, several with commas
    #[arg(long, value_name = "SHARES", allow_hyphen_values = true)]
    phase: Option<String>,
    /// The output whose period counts: N per beat, or N per M beats
    #[arg(long, value_name = "RATE", default_value = "1 per beat")]
    rate: String,
    /// The two voices, of the built-in kit: see `hitgap voices`
    #[arg(long, value_name = "A,B", default_value = "kick,kick")]
    voices: String,
    /// Tempos in quarter notes a minute: 60,90,120 or 60..160:20
    #[arg(long, value_name = "TEMPOS", default_value = "120", value_parser = tempos)]
    tempo: Tempos,
    /// How to print the result
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    /// Write a listening page too: the voices together and apart, side by side in a browser, in one file
    #[arg(long)]
    page: bool,
    #[command(flatten)]
    sound: SoundArgs,
}

/// One file: two voices, a gap, a tempo.
struct Flam {
    row: FlamRow,
    /// The bars apart, then the bar together.
    apart: Vec<Cue>,
    together: Vec<Cue>,
    end: Instant,
}

pub(super) fn run(args: &FlamArgs) -> Result<Outcome, Failure> {
    let period = quantity::rate(&args.rate).map_err(|e| Failure::input(&e, e.help()))?;
    let count = args.delay.iter().chain(&args.phase).map(|list| list.split(',').count()).sum::<usize>();
    let mut work = Work::default();
    work.files(count.saturating_mul(args.tempo.0.len()).saturating_add(usize::from(args.page)));
    if args.page {
        work.versions((1 + count).saturating_mul(args.tempo.0.len()));
    }
    work.fits("`flam`")?;
    if args.page {
        few_enough(count)?;
    }
    let settings = settings(args, period)?;
    let voices = voices(&args.voices).map_err(|(found, help)| Failure::input(found, help))?;
    let rig = rig(&voices);
    let ensemble = Ensemble::new(&[&rig], Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let body = body(&voices, args.sound.seed)?;
    let mut flams: Vec<Flam> = Vec::new();
    let mut names: HashSet<String> = HashSet::new();
    for &tempo in &args.tempo.0 {
        for setting in &settings {
            let gap = setting.gap(tempo);
            let file = format!("flam.{}+{}.{}ms.{tempo}bpm.wav", voices[0].name, voices[1].name, exact_ms(gap));
            if names.insert(file.clone()) {
                let about = (tempo, setting.text.clone(), gap);
                let row = FlamRow::new(about, tempo.exact(period), args.sound.sample_rate, body.as_ref(), file);
                flams.push(flam(row, &rig, &ensemble));
            }
        }
    }
    let page_name = args.page.then(|| format!("flam.{}+{}.html", voices[0].name, voices[1].name));
    let press = {
        for flam in &flams {
            fits(&flam.program(&bank, &args.sound, 1.0)?, &args.sound, Channels::Mono)?;
        }
        let mut names: Vec<String> = flams.iter().map(|f| f.row.file.clone()).collect();
        names.extend(page_name.clone());
        Press::open(&args.sound, &names)?
    };
    for same in flams.chunk_by(|a, b| a.row.tempo == b.row.tempo) {
        // All of a tempo are as loud as the two voices at once in every bar, whatever else is asked for.
        let reference = together_throughout(&rig, &ensemble, same[0].row.tempo);
        let reference = Program::new(&bank, reference, args.sound.lead_in, Instant::START)?;
        let programs: Vec<Program<'_>> =
            same.iter().map(|flam| flam.even(&bank, &args.sound, &press)).collect::<Result<_, Failure>>()?;
        let levels = matched(&press, &reference, &programs)?;
        for ((flam, program), [wanted, alone]) in same.iter().zip(&programs).zip(levels.fixes) {
            let sheet = Sheet::bare(flam.row.file.clone(), Kind::Flam, "flam", Some(flam.row.tempo), Channels::Mono);
            press.print(&sheet, program, Gain::Fixed(alone))?;
            if alone < wanted {
                let db = 20.0 * libm::log10(wanted / alone);
                talk::say(&format!("note: {} is {db:.1} dB quieter than the others, or it would clip", flam.row.file));
            }
        }
    }
    if let Some(name) = &page_name {
        let asked = FlamPage {
            title: format!("{} and {}, a time apart", voices[0].name, voices[1].name),
            source: "two voices of the kit".to_owned(),
            voices: &voices,
            settings: &settings,
            rate: args.delay.is_none().then_some(args.rate.as_str()),
            tempos: &args.tempo.0,
        };
        let text = listening_page(&flam_page(&asked, &args.sound, &press)?);
        press.paste(Kind::Page, name, text.as_bytes(), "flam", None, None)?;
    }
    let page = page_name.map(|name| press.shown(&name));
    press.done();
    let rows: Vec<FlamRow> = flams.into_iter().map(|f| f.row).collect();
    say(args, &voices, &rows, page.as_deref())?;
    Ok(Outcome::Done)
}

/// The spectrum of a voice that both are; of unlike voices nothing.
///
/// # Errors
/// Exit status 2 for settings that no model can draw; the kit has none.
pub(super) fn body(voices: &[Voice; 2], seed: u64) -> Result<Option<Body>, Failure> {
    if voices[0] != voices[1] {
        return Ok(None);
    }
    let hit = master(&voices[0].settings, &NoiseKey::voice(seed, &voices[0].name))?;
    Ok(Some(Body::of(&hit.samples, MASTER_RATE)))
}

fn say(args: &FlamArgs, voices: &[Voice; 2], rows: &[FlamRow], page: Option<&str>) -> Result<(), Failure> {
    talk::result(|out| match args.format {
        Format::Table => {
            let names = [voices[0].name.as_str(), voices[1].name.as_str()];
            out.write_all(flam_table(names, &args.rate, rows, MAX_GAP).as_bytes())?;
            if let Some(page) = page {
                writeln!(out, "\nOpen first {page}, in any browser: together and apart, side by side.")?;
            }
            let dir = plain(&args.sound.out.display().to_string());
            writeln!(
                out,
                "\nIn {dir}, a file each, equally loud: {BARS_APART} bars with the voices apart, one with them together."
            )?;
            for row in rows {
                writeln!(out, "  {}", plain(&args.sound.out.join(&row.file).display().to_string()))?;
            }
            writeln!(out, "{CARE_SHORT}")
        }
        Format::Json => {
            let mut report = serde_json::json!({
                "format": 1, "voices": [voices[0].name, voices[1].name], "rate": args.rate, "rows": rows,
            });
            if let Some(page) = page {
                report["page"] = page.into();
            }
            talk::json(out, &report)
        }
        Format::Csv => {
            let mut csv = csv::Writer::from_writer(out);
            rows.iter().try_for_each(|row| csv.serialize(row))?;
            csv.flush()
        }
    })
}

/// A gap as it was asked for.
pub(super) struct Setting {
    pub(super) text: String,
    size: Size,
}

enum Size {
    Time(Span),
    /// A distance in beats.
    Beats(Beat),
}

impl Setting {
    /// The second voice's hit minus the first's.
    pub(super) fn gap(&self, tempo: Tempo) -> Span {
        match self.size {
            Size::Time(gap) => gap,
            Size::Beats(beats) => {
                let exact: ExactPs = tempo.exact(beats);
                Span(i64::try_from(round_half_up(exact)).unwrap_or(i64::MAX))
            }
        }
    }
}

/// The longest gap that is taken: beyond, somebody wrote the wrong unit.
const LONGEST_GAP: Span = Span::from_ms(10_000);

fn settings(args: &FlamArgs, period: Beat) -> Result<Vec<Setting>, Failure> {
    let shares = args.delay.is_none();
    let list = args.delay.as_ref().or(args.phase.as_ref()).map_or("", String::as_str);
    let read = |text| setting(text, shares, period, &args.tempo.0).map_err(|(found, help)| Failure::input(found, help));
    if let Some((found, meant)) = quantity::decimal_comma(list) {
        let help = format!("write {meant}: a comma parts one setting from the next");
        return Err(Failure::input(format!("`{found}` has a comma in its number"), help));
    }
    list.split(',').map(read).collect()
}

/// Reads a time, or a share of a period.
///
/// # Errors
/// What was found, and what to do.
pub(super) fn setting(text: &str, shares: bool, period: Beat, tempos: &[Tempo]) -> Result<Setting, (String, String)> {
    let text = text.trim();
    let said = |e: quantity::QuantityError| (e.to_string(), e.help());
    let size = if shares {
        // As on a phase dial: 99 % and −1 % are one setting.
        Size::Beats(period * quantity::phase(quantity::share(text).map_err(said)?))
    } else {
        Size::Time(quantity::whole_time(text).map_err(said)?)
    };
    let setting = Setting { text: text.to_owned(), size };
    let slowest = tempos.iter().min().copied().unwrap_or(Tempo::whole(120));
    if setting.gap(slowest).abs() > LONGEST_GAP {
        let found = format!("a gap of {} ms is longer than 10 s", exact_ms(setting.gap(slowest)));
        return Err((found, "look at the unit: times are written as 5ms or 40us".to_owned()));
    }
    Ok(setting)
}

/// Finds two voices of the kit, named as `kick,snare`.
///
/// # Errors
/// What was found, and what to do.
pub(super) fn voices(text: &str) -> Result<[Voice; 2], (String, String)> {
    let find = |name: &str| {
        let name = name.trim();
        kit().iter().find(|v| v.name == name).cloned().ok_or_else(|| {
            let known: Vec<&str> = kit().iter().map(|v| v.name.as_str()).collect();
            (
                format!("there is no voice `{}` in the kit", crate::patch::shown(name)),
                format!("the kit has {}", known.join(", ")),
            )
        })
    };
    match text.split(',').collect::<Vec<_>>().as_slice() {
        [a, b] => Ok([find(a)?, find(b)?]),
        other => Err((
            format!("two voices are needed, found {}", other.len()),
            "write two with a comma between, such as kick,snare".to_owned(),
        )),
    }
}

/// A rig of two sequencers without a clock, so that hits have voices to be played by.
pub(super) fn rig(voices: &[Voice; 2]) -> Rig {
    let like = voices[0] == voices[1];
    let sequencer = |n: usize| {
        let clock = Path { source: Source::Output(0), stages: Vec::new() };
        Sequencer::new(["first", "second"][n], clock, vec![Step::Accent], if like { 0 } else { n })
    };
    let kept = |v: &Voice| Voice { noise: Noise::Same, ..v.clone() };
    Rig {
        end: Meter { count: 4, unit: 4 }.bar(),
        outputs: Vec::new(),
        stages: Vec::new(),
        wires: Vec::new(),
        sequencers: vec![sequencer(0), sequencer(1)],
        takes: Vec::new(),
        voices: if like { vec![kept(&voices[0])] } else { voices.iter().map(kept).collect() },
        one: None,
        jitter: None,
        course: Course::default(),
    }
}

/// Both voices on each beat of some bars, the second a gap after the first, all later by `start`.
fn bars((rig, ensemble): (&Rig, &Ensemble), tempo: Tempo, (from, to): (i64, i64), gap: Span, start: Span) -> Vec<Cue> {
    let mut score = Score::new(ensemble);
    for n in from * BEATS..to * BEATS {
        let beat = Beat::from_integer(i128::from(n));
        let at = tempo.instant(beat) + start;
        for (sequencer, at) in [(0, at), (1, at + gap)] {
            let voice = rig.sequencers[sequencer].voice;
            let hit = Hit { at, beat, due: beat, sequencer, step: 1, velocity: 127, level_mdb: 0, voice };
            score.add(0, rig, &hit, at, 1.0);
        }
    }
    score.finish()
}

/// What all files of a tempo are as loud as: their bars, with both voices together in all of them.
fn together_throughout(rig: &Rig, ensemble: &Ensemble, tempo: Tempo) -> Vec<Cue> {
    bars((rig, ensemble), tempo, (0, BARS_APART + 1), Span::ZERO, Span::ZERO)
}

fn flam(row: FlamRow, rig: &Rig, ensemble: &Ensemble) -> Flam {
    let (tempo, gap) = (row.tempo, row.gap);
    // A second voice that is ahead must not come before the file.
    let start = Span((-gap.0).max(0));
    let bars = |from: i64, to: i64, gap: Span| bars((rig, ensemble), tempo, (from, to), gap, start);
    // The bar together waits until the last hit apart has sounded, a gap of a beat or more included.
    let bar = tempo.instant(Beat::from_integer(i128::from(BEATS)));
    let mut late = BARS_APART;
    while gap.abs().0 > tempo.instant(Beat::new(1, 2)).0 + (late - BARS_APART) * bar.0 {
        late += 1;
    }
    let end = tempo.instant(Beat::from_integer(i128::from((late + 1) * BEATS))) + start;
    Flam { row, apart: bars(0, BARS_APART, gap), together: bars(late, late + 1, Span::ZERO), end }
}

impl Flam {
    /// The whole, its bar together as loud as each of those apart: two equal hits at once are 6 dB louder than one, and nobody
    /// should hear that instead of the gap. The energies of the bars are compared.
    fn even<'a>(
        &'a self,
        bank: &'a crate::sound::render::Bank,
        sound: &SoundArgs,
        press: &Press,
    ) -> Result<Program<'a>, Failure> {
        let alone = |cues: &Vec<Cue>| {
            let program = Program::new(bank, cues.clone(), sound.lead_in, Instant::START)?;
            press.counted(|watch| program.loudness(watch))
        };
        let (apart, together) = (alone(&self.apart)?, alone(&self.together)?);
        let bars = 10.0 * libm::log10(BARS_APART as f64);
        let louder = apart.energy.zip(together.energy).map_or(0.0, |(a, t)| a - bars - t);
        self.program(bank, sound, amplitude(louder))
    }

    /// The whole, with a factor on the bar together.
    fn program<'a>(
        &'a self,
        bank: &'a crate::sound::render::Bank,
        sound: &SoundArgs,
        together: f64,
    ) -> Result<Program<'a>, Failure> {
        let louder = |c: &Cue| Cue { left: c.left * together as f32, right: c.right * together as f32, ..*c };
        let cues = self.apart.iter().copied().chain(self.together.iter().map(louder)).collect();
        Ok(Program::new(bank, cues, sound.lead_in, self.end)?)
    }
}

/// Milliseconds with every picosecond, without idle noughts, for a file's name.
fn exact_ms(gap: Span) -> String {
    crate::text::nine_places(Beat::new(i128::from(gap.0), i128::from(Span::from_ms(1).0)))
}
