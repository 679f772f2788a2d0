use super::args::{DrawArgs, JudgeArgs, PatchArgs, SoundArgs};
use super::check::judged;
use super::levels::{louder_by, matched};
use super::listen::page;
use super::load::{Loaded, load};
use super::press::{Press, Sheet, bank, fits};
use super::takes::say_left_out;
use super::work::few_enough_compared;
use super::{CARE_SHORT, Failure, Outcome, talk};
use crate::dsp::amplitude;
use crate::hits::{Hit, list};
use crate::judge::Bodies;
use crate::patch::{Meter, Rig, Variant};
use crate::rig::{Performance, Run, play_run};
use crate::show::page::{ListeningPage, listening_page, over_budget};
use crate::show::report::{Compared, compare_table, plain};
use crate::sound::render::{Bank, Channels, Cue, Gain, Program};
use crate::sound::score::{Bars, Ensemble, Seating, Sheet as Score, Version, turns};
use crate::store::{Kind, sha256_hex};
use crate::time::{Clockwork, Instant, Span, Tempo};
use clap::Args;
use rayon::prelude::*;

#[derive(Args, Debug)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    patch: PatchArgs,
    #[command(flatten)]
    judge: JudgeArgs,
    /// A fix to hold against the original, or several joined by +; may be given again (default: every fix)
    #[arg(long, value_name = "NAME")]
    fix: Vec<String>,
    #[command(flatten)]
    draw: DrawArgs,
    /// Write the listening page: the versions side by side in a browser, in one file (compare does so anyhow)
    #[arg(long, conflicts_with = "no_page")]
    page: bool,
    /// Write no listening page
    #[arg(long)]
    no_page: bool,
    #[command(flatten)]
    sound: SoundArgs,
}

pub(super) fn run(args: &CompareArgs) -> Result<Outcome, Failure> {
    let loaded = load(&args.patch, args.judge.max_gap)?;
    let fixes = fixes(args, &loaded)?;
    let original = &loaded.patch.original;
    few_enough_compared(&loaded, &fixes, &args.sound, !args.no_page)?;
    let rigs: Vec<&Rig> = std::iter::once(&original.rig).chain(fixes.iter().map(|f| &f.rig)).collect();
    say_left_out(rigs.iter().flat_map(|rig| loaded.patch.tempos.iter().map(|tempo| (*rig, *tempo))));
    let ensemble = Ensemble::new(&rigs, Seating::Centre, args.sound.seed)?;
    let bank = bank(&args.sound, &ensemble)?;
    let run = args.draw.of(args.sound.seed);

    let mut bodies = Bodies::default();
    let mut compared = Vec::new();
    let mut all = Vec::new();
    for &tempo in &loaded.patch.tempos {
        let before = bodies.add(judged(original, tempo, &loaded.patch, run)?)?;
        for fix in &fixes {
            let after = bodies.add(judged(fix, tempo, &loaded.patch, run)?)?;
            compared.push(Compared { before: before.clone(), after });
        }
        all.push(AtTempo::new((&args.sound, &args.draw), &loaded, &ensemble, &fixes, tempo)?);
    }
    let programs: Vec<Programs<'_>> =
        all.iter().map(|e| e.programs(&bank, &args.sound)).collect::<Result<_, Failure>>()?;
    let page_name = (!args.no_page).then(|| Ok::<_, Failure>(format!("{}{}.html", loaded.stem()?, args.draw.tail())));
    let page_name = page_name.transpose()?;
    let names: Vec<String> = all.iter().flat_map(AtTempo::names).chain(page_name.clone()).collect();
    let press = Press::open(&args.sound, &names)?;
    press.expect(programs.iter().map(Programs::work).sum());
    let (mut gains, mut quiet) = (Vec::new(), 0);
    for (at_tempo, programs) in all.iter().zip(&programs) {
        let (factors, of_tempo) = at_tempo.print(&press, &bank, programs)?;
        gains.push(factors);
        quiet += of_tempo;
    }
    let first = all.first().and_then(|e| e.fixes.first()).map(|f| press.shown(&f.turns_sheet.name));
    if let Some(name) = &page_name {
        let played: Vec<_> =
            all.iter().zip(&gains).map(|(at, gains)| (at.played.as_slice(), gains.as_slice())).collect();
        let text = listening_page(&page(&loaded, &ensemble, &played, &compared)?);
        if let Some(words) = over_budget(text.len(), "tempos with `--tempo`, fixes with `--fix`, length with `--bars`")
        {
            talk::say(&format!("note: {words}"));
        }
        press.paste(
            Kind::Page,
            name,
            text.as_bytes(),
            "compare",
            Some((loaded.name.clone(), sha256_hex(loaded.source.as_bytes()))),
            args.draw.run,
        )?;
    }
    let page_name = page_name.map(|name| press.shown(&name));
    press.done();
    let table = compare_table(&loaded.patch, &loaded.name, &compared);
    talk::result(|out| {
        out.write_all(table.as_bytes())?;
        match (&page_name, &first) {
            (Some(page), _) => writeln!(out, "\nOpen first {page}, in any browser: all versions side by side.")?,
            (None, Some(first)) => writeln!(
                out,
                "\nListen first to {first}: a few bars of the original, a rest, the same bars with the fix."
            )?,
            (None, None) => {}
        }
        let (files, dir) = (names.len(), plain(&args.sound.out.display().to_string()));
        writeln!(out, "All {files} files are in {dir}, listed in manifest.json{}", loudness(quiet))?;
        writeln!(out, "{CARE_SHORT}")
    })?;
    Ok(Outcome::Done)
}

/// How the two of a pair stand to each other, with so many fixes that are too quiet in a file of their own.
fn loudness(quiet: usize) -> String {
    let but = match quiet {
        0 => return "; the two of a pair are matched in loudness.".to_owned(),
        1 => "the file that the note above names: it would clip".to_owned(),
        n => format!("the {n} files that the notes above name: they would clip"),
    };
    format!(".\nThe two of a pair are matched in loudness, but for {but}.")
}

fn fixes(args: &CompareArgs, loaded: &Loaded) -> Result<Vec<Variant>, Failure> {
    if loaded.patch.fixes.is_empty() {
        return Err(Failure::input(
            format!("`{}` has no fix to hold against the original", loaded.name),
            "write one at the end of the patch, such as\n\n    [fix.later]\n    about = \"one step on a phase dial\"\n    \
             set.\"clock.OUTPUT.phase\" = \"1 %\"\n",
        ));
    }
    if args.fix.is_empty() {
        return Ok(loaded.patch.fixes.clone());
    }
    if args.fix.iter().any(|f| f == "original") {
        return Err(Failure::input("`original` is what every fix is held against", "name fixes only"));
    }
    loaded.variants(&args.fix)
}

/// All that is written at one tempo.
struct AtTempo<'e> {
    lead_in: Span,
    /// The original, then each fix.
    played: Vec<Played<'e>>,
    original: Part,
    original_sheet: Sheet,
    fixes: Vec<Mended>,
}

/// A fix, alone and by turns with the original.
struct Mended {
    fixed: Part,
    fixed_sheet: Sheet,
    turns: Part,
    /// For each cue of `turns`, whether it is the original's (0) or the fix's (1).
    sides: Vec<usize>,
    turns_sheet: Sheet,
}

/// Cues, and where their file ends at the soonest.
struct Part {
    cues: Vec<Cue>,
    end: Instant,
}

impl Part {
    fn program<'a>(&'a self, bank: &'a Bank, lead_in: Span) -> Result<Program<'a>, Failure> {
        Ok(Program::new(bank, self.cues.clone(), lead_in, self.end)?)
    }
}

struct Programs<'a> {
    original: Program<'a>,
    fixed: Vec<Program<'a>>,
    /// Frames of the alternations: gains do not change them.
    turns: u64,
}

impl Programs<'_> {
    /// Frames that are measured, listened to or written.
    fn work(&self) -> u64 {
        let fixed: u64 = self.fixed.iter().map(Program::frames).sum();
        4 * (self.original.frames() + fixed) + 4 * self.turns
    }
}

/// A variant played at a tempo.
pub(super) struct Played<'a> {
    pub(super) variant: &'a Variant,
    /// The variant's place among the ensemble's rigs.
    pub(super) of: usize,
    pub(super) performance: Performance,
    pub(super) hits: Vec<Hit>,
}

impl<'a> Played<'a> {
    pub(super) fn new(variant: &'a Variant, of: usize, tempo: Tempo, run: Run) -> Result<Self, Failure> {
        let performance = play_run(&variant.rig, tempo, run).map_err(|e| Failure::input(&e, e.help()))?;
        let hits = list(&variant.rig, &performance);
        Ok(Self { variant, of, performance, hits })
    }

    pub(super) fn version(&self) -> Version<'_> {
        Version { rig: &self.variant.rig, performance: &self.performance, hits: &self.hits }
    }

    fn part(&self, ensemble: &Ensemble, end: Instant) -> Part {
        let mut score = Score::new(ensemble);
        self.hits.iter().for_each(|h| score.add(self.of, &self.variant.rig, h, h.at, 1.0));
        Part { cues: score.finish(), end }
    }
}

impl<'e> AtTempo<'e> {
    fn new(
        (sound, draw): (&SoundArgs, &DrawArgs),
        loaded: &'e Loaded,
        ensemble: &'e Ensemble,
        fixes: &'e [Variant],
        tempo: Tempo,
    ) -> Result<Self, Failure> {
        let (stem, lead_in) = (loaded.stem()?, sound.lead_in);
        let (run, drawn) = (draw.of(sound.seed), draw.tail());
        let patch = Some((loaded.name.clone(), sha256_hex(loaded.source.as_bytes())));
        let sheet = |kind: Kind, variant: &str, tail: &str| Sheet {
            name: format!("{stem}.{variant}.{tempo}bpm{drawn}{tail}.wav"),
            kind,
            command: "compare",
            patch: patch.clone(),
            variant: Some(variant.to_owned()),
            sequencer: None,
            tempo_bpm: Some(tempo.bpm()),
            run: draw.run,
            channels: Channels::Mono,
        };
        let variants = std::iter::once(&loaded.patch.original).chain(fixes).enumerate();
        let played: Vec<Played<'e>> =
            variants.map(|(n, v)| Played::new(v, n, tempo, run)).collect::<Result<_, Failure>>()?;
        let original = &played[0];
        let clockwork = original.variant.rig.clockwork(tempo);
        let end = clockwork.instant(original.variant.rig.end);
        let mended = |(fix, played): (&Variant, &Played<'e>)| {
            let (turns, sides) = by_turns([original, played], loaded.patch.meter, &clockwork, ensemble);
            Mended {
                fixed: played.part(ensemble, end),
                fixed_sheet: sheet(Kind::Matched, &fix.name, ".matched"),
                turns,
                sides,
                turns_sheet: sheet(Kind::Alternation, &format!("original+{}", fix.name), ""),
            }
        };
        Ok(Self {
            lead_in,
            fixes: fixes.iter().zip(&played[1..]).map(mended).collect(),
            original: original.part(ensemble, end),
            original_sheet: sheet(Kind::Matched, "original", ".matched"),
            played,
        })
    }

    fn names(&self) -> Vec<String> {
        let of_fixes = self.fixes.iter().flat_map(|f| [f.fixed_sheet.name.clone(), f.turns_sheet.name.clone()]);
        std::iter::once(self.original_sheet.name.clone()).chain(of_fixes).collect()
    }

    fn programs<'a>(&'a self, bank: &'a Bank, sound: &SoundArgs) -> Result<Programs<'a>, Failure> {
        let sized = |part: &'a Part| {
            let program = part.program(bank, self.lead_in)?;
            fits(&program, sound, Channels::Mono)?;
            Ok::<_, Failure>(program)
        };
        let mut turns = 0;
        for fix in &self.fixes {
            turns += sized(&fix.turns)?.frames();
        }
        let fixed = self.fixes.iter().map(|f| sized(&f.fixed)).collect::<Result<_, _>>()?;
        Ok(Programs { original: sized(&self.original)?, fixed, turns })
    }

    /// Matches each fix to the original in loudness and writes the files. Gives back the factors with which all versions
    /// are equally loud and none clips, the original's first, and how many fixes had to stay quieter in their own files.
    fn print(&self, press: &Press, bank: &Bank, programs: &Programs<'_>) -> Result<(Vec<f64>, usize), Failure> {
        let levels = matched(press, &programs.original, &programs.fixed)?;
        let (stand, mut quiet) = (levels.stand, 0);
        for (fix, [matched, alone]) in
            self.fixes.iter().zip(&levels.fixes).filter(|(_, [matched, alone])| alone < matched)
        {
            quiet += 1;
            let short = 20.0 * (matched / alone).log10();
            let (name, turns) = (&fix.fixed_sheet.name, &fix.turns_sheet.name);
            talk::say(&format!("note: {name} is {short:.1} dB too quiet, or it would clip; {turns} is matched"));
        }
        // The original; then of each fix what it is alone, and what it is by turns.
        let finish = |n: usize| {
            let Some(of) = n.checked_sub(1) else {
                return press.finish(&self.original_sheet, &programs.original, Gain::Fixed(stand), None);
            };
            let (fix, [_, alone]) = (&self.fixes[of / 2], levels.fixes[of / 2]);
            if of % 2 == 0 {
                return press.finish(&fix.fixed_sheet, &programs.fixed[of / 2], Gain::Fixed(alone), None);
            }
            // What is heard by turns is matched by what is heard by turns: the first bars may differ from the rest.
            let heard = |side: usize| {
                let alone = fix.turns([1.0 - side as f64, side as f64], bank, self.lead_in)?;
                press.counted(|watch| alone.loudness(watch))
            };
            let louder = louder_by(heard(0)?, heard(1)?);
            let turns = fix.turns([stand, stand * amplitude(louder)], bank, self.lead_in)?;
            press.finish(&fix.turns_sheet, &turns, Gain::Auto, None)
        };
        let names = self.names();
        let done = (0..names.len()).into_par_iter().map(|n| Ok(finish(n)?.0)).collect();
        press.place_all(done, &names)?;
        Ok((levels.all(), quiet))
    }
}

/// A listening page without any other file: the original and these fixes.
///
/// # Errors
/// Exit status 2 for what cannot be rendered, 130 on Ctrl-C.
pub(super) fn listening(
    loaded: &Loaded,
    fixes: &[Variant],
    (sound, draw): (&SoundArgs, &DrawArgs),
    press: &Press,
) -> Result<ListeningPage, Failure> {
    let original = &loaded.patch.original;
    let rigs: Vec<&Rig> = std::iter::once(&original.rig).chain(fixes.iter().map(|f| &f.rig)).collect();
    let ensemble = Ensemble::new(&rigs, Seating::Centre, sound.seed)?;
    let bank = bank(sound, &ensemble)?;
    let run = draw.of(sound.seed);
    let mut bodies = Bodies::default();
    let (mut compared, mut all, mut gains) = (Vec::new(), Vec::new(), Vec::new());
    for &tempo in &loaded.patch.tempos {
        let before = bodies.add(judged(original, tempo, &loaded.patch, run)?)?;
        for fix in fixes {
            let after = bodies.add(judged(fix, tempo, &loaded.patch, run)?)?;
            compared.push(Compared { before: before.clone(), after });
        }
        let at = AtTempo::new((sound, draw), loaded, &ensemble, fixes, tempo)?;
        let levels = {
            let programs = at.programs(&bank, sound)?;
            matched(press, &programs.original, &programs.fixed)?
        };
        gains.push(levels.all());
        all.push(at);
    }
    let played: Vec<_> = all.iter().zip(&gains).map(|(at, gains)| (at.played.as_slice(), gains.as_slice())).collect();
    page(loaded, &ensemble, &played, &compared)
}

impl Mended {
    /// The alternation with a factor on each side's hits.
    fn turns<'a>(&'a self, gains: [f64; 2], bank: &'a Bank, lead_in: Span) -> Result<Program<'a>, Failure> {
        let turned = |(cue, side): (&Cue, &usize)| {
            let gain = gains[*side] as f32;
            Cue { left: cue.left * gain, right: cue.right * gain, ..*cue }
        };
        let cues = self.turns.cues.iter().zip(&self.sides).map(turned).collect();
        Ok(Program::new(bank, cues, lead_in, self.turns.end)?)
    }
}

/// The cues of an alternation, and the side that each belongs to. Where a hit comes before the first bar line, all comes so much
/// later: the earliest has the lead-in before it.
fn by_turns(sides: [&Played<'_>; 2], meter: Meter, clockwork: &Clockwork, ensemble: &Ensemble) -> (Part, Vec<usize>) {
    let plan = turns(sides.map(Played::version), &Bars::new(meter, clockwork));
    let (mut cues, mut owners) = (Vec::new(), Vec::new());
    let places = plan.iter().flat_map(|turn| {
        let hits = turn.hits.iter().map(|n| &sides[turn.side].hits[*n]);
        hits.map(|hit| (turn.side, hit, turn.place(clockwork, hit.at)))
    });
    let early = Span(places.clone().map(|(_, _, at)| -at.0).max().unwrap_or(0).max(0));
    for (side, hit, at) in places {
        let player = sides[side];
        // A hit with noise of its own has several.
        cues.extend(ensemble.cues(player.of, &player.variant.rig, hit, at + early, 1.0));
        owners.resize(cues.len(), side);
    }
    let end = plan.last().map_or(Instant::START, |t| Instant::START + t.end(clockwork)) + early;
    (Part { cues, end }, owners)
}
