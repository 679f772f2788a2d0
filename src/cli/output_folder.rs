//! Writing renders: the folder, the names, progress. Every command that makes sound goes through here.

use super::args::SoundArgs;
use super::interrupt::{self, AtWork};
use super::load::Loaded;
use super::{Failure, terminal};
use crate::show::report::plain;
use crate::sound::render::{Bank, Channels, Format, Gain, Program, RenderError, Sink, Spec, Watch, Written, wav};
use crate::store::{Draft, Facts, Kind, Ready, SampleFormat, Store};
use crate::time::Tempo;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use rayon::prelude::*;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// Files that get their names together: so few that a run that dies loses little, so many that the waits for the disk do
/// not count.
const BATCH: usize = 32;

/// A folder that is open for renders, and how they are written.
#[derive(Debug)]
pub(super) struct OutputFolder {
    store: Store,
    /// How files of one channel are written.
    spec: Spec,
    bar: Option<ProgressBar>,
    // The last: until the folder is closed, there is something to clear away.
    _at_work: AtWork,
}

/// A draft that is rendered into.
struct Rendered<'d>(&'d Draft<'d>);

impl Sink for Rendered<'_> {
    fn write_at(&self, bytes: &[u8], position: u64) -> std::io::Result<()> {
        self.0.file().write_at(bytes, position)
    }

    fn reached(&self, bytes: u64) {
        self.0.reached(bytes);
    }
}

/// A file to be made.
#[derive(Clone, Debug)]
pub(super) struct FileSpec {
    /// Its name in the folder.
    pub(super) name: String,
    /// What it holds.
    pub(super) kind: Kind,
    /// The command that makes it.
    pub(super) command: &'static str,
    /// The patch's path and the checksum of its text.
    pub(super) patch: Option<(String, String)>,
    /// The variant.
    pub(super) variant: Option<String>,
    /// Whose part it is, for a stem.
    pub(super) sequencer: Option<String>,
    /// Quarter notes a minute.
    pub(super) tempo_bpm: Option<f64>,
    /// Which run's draws it plays; `None` for the typical run.
    pub(super) run: Option<u64>,
    /// Mono from the centre, or stereo.
    pub(super) channels: Channels,
    /// What it is called, for people: the patch's title.
    pub(super) title: Option<String>,
    /// What it holds where no patch stands behind it.
    pub(super) about: Option<String>,
}

impl FileSpec {
    /// A file that no patch stands behind.
    pub(super) fn bare(
        name: String,
        kind: Kind,
        command: &'static str,
        tempo: Option<Tempo>,
        channels: Channels,
    ) -> Self {
        let tempo_bpm = tempo.map(Tempo::bpm);
        Self {
            name,
            kind,
            command,
            patch: None,
            variant: None,
            sequencer: None,
            tempo_bpm,
            run: None,
            channels,
            title: None,
            about: None,
        }
    }

    /// A file of a variant, from the centre. The patch is given as [`origin`] tells it.
    pub(super) fn of_variant(
        name: String,
        kind: Kind,
        command: &'static str,
        (patch, variant): (&(String, String), &str),
        tempo: Option<Tempo>,
    ) -> Self {
        let (patch, variant) = (Some(patch.clone()), Some(variant.to_owned()));
        Self { patch, variant, ..Self::bare(name, kind, command, tempo, Channels::Mono) }
    }
}

impl OutputFolder {
    /// Opens the folder and makes sure that all of these names are free.
    ///
    /// # Errors
    /// Exit status 3, or 130.
    pub(super) fn open(sound: &SoundArgs, names: &[String]) -> Result<Self, Failure> {
        let (store, at_work) = interrupt::open(&sound.out, sound.overwrite)?;
        store.claim(names)?;
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
            let style = ProgressStyle::with_template("{msg:.dim} {wide_bar} {percent:>3} %  {eta} left");
            bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("━╸ "));
            bar
        });
        Ok(Self { store, spec: spec(sound, Channels::Mono), bar, _at_work: at_work })
    }

    /// How many frames lie ahead; each is counted once when it is measured and once when it is written.
    pub(super) fn expect(&self, frames: u64) {
        if let Some(bar) = &self.bar {
            bar.set_length(frames);
        }
    }

    /// Advances the bar by what a render does; Ctrl-C stops it.
    pub(super) fn counted<T>(&self, work: impl FnOnce(Watch<'_>) -> Result<T, RenderError>) -> Result<T, Failure> {
        let progress = |frames: u64| self.bar.iter().for_each(|bar| bar.inc(frames));
        Ok(work(Watch { progress: &progress, cancel: interrupt::flag() })?)
    }

    /// Renders a program into a file, lists it in the manifest and says so.
    ///
    /// # Errors
    /// Exit status 3 where the disk refuses, 130 on Ctrl-C.
    pub(super) fn render(&self, file: &FileSpec, program: &Program<'_>, gain: Gain) -> Result<Written, Failure> {
        let (ready, written) = self.finish(file, program, gain, None)?;
        self.place(ready, &file.name)?;
        Ok(written)
    }

    /// Gives a finished file its name and says so.
    ///
    /// # Errors
    /// Exit status 3 where the disk refuses.
    pub(super) fn place(&self, ready: Ready, name: &str) -> Result<(), Failure> {
        self.store.place(vec![ready])?;
        self.wrote(name);
        Ok(())
    }

    /// Says that a file was written, where no bar shows it.
    pub(super) fn wrote(&self, name: &str) {
        if self.bar.is_none() {
            terminal::say(&format!("wrote {}", self.shown(name)));
        }
    }

    /// Renders many programs, as many at once as there are threads, and gives the files their names in batches: whatever
    /// ends the run, what was finished stays. With `resume`, a file that stands there already and was made by the same recipe is
    /// kept as it is. Says which were made, by their numbers.
    ///
    /// # Errors
    /// As [`OutputFolder::render`].
    pub(super) fn render_all(
        &self,
        jobs: &[(FileSpec, &Program<'_>, Gain)],
        recipes: &[String],
        resume: bool,
    ) -> Result<Vec<usize>, Failure> {
        let made = |n: usize| -> Result<bool, Failure> {
            let there = self.store.kept(&jobs[n].0.name)?;
            Ok(there.is_some_and(|entry| entry.facts.recipe.as_ref() == Some(&recipes[n])))
        };
        let missing: Vec<usize> = match resume {
            false => (0..jobs.len()).collect(),
            true => {
                let made: Vec<bool> = (0..jobs.len()).into_par_iter().map(made).collect::<Result<_, _>>()?;
                (0..jobs.len()).filter(|n| !made[*n]).collect()
            }
        };
        let mut ready: Vec<Ready> = Vec::new();
        for batch in missing.chunks(BATCH) {
            let finish = |&n: &usize| {
                let (file, program, gain) = &jobs[n];
                self.finish(file, program, *gain, Some(recipes[n].clone()))
            };
            // One batch gets its names while the next is rendered: by a thread of its own, since it mostly waits for the disk.
            let before = Mutex::new(std::mem::take(&mut ready));
            let place =
                || self.store.place(std::mem::take(&mut *before.lock().unwrap_or_else(PoisonError::into_inner)));
            let (placed, done) = std::thread::scope(|scope| {
                let placing = std::thread::Builder::new().spawn_scoped(scope, place);
                let done: Vec<_> = batch.par_iter().map(finish).collect();
                // Where there was no thread to be had, now is the time.
                (placing.map_or_else(|_| Ok(place()), |thread| thread.join()), done)
            });
            let placed = placed.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            ready = self.finished(done.into_iter().map(|done| Ok(done?.0)))?;
            if let Err(refused) = placed {
                self.store.rescue(ready);
                return Err(refused.into());
            }
        }
        self.store.place(ready)?;
        Ok(missing)
    }

    /// Files that were finished side by side; where one was not, those that were get their names if they can, and what went
    /// wrong first is told.
    fn finished(&self, done: impl Iterator<Item = Result<Ready, Failure>>) -> Result<Vec<Ready>, Failure> {
        let (done, failed): (Vec<_>, Vec<_>) = done.partition(Result::is_ok);
        let ready: Vec<Ready> = done.into_iter().flatten().collect();
        if let Some(Err(first)) = failed.into_iter().next() {
            self.store.rescue(ready);
            return Err(first);
        }
        Ok(ready)
    }

    /// Gives files that were finished side by side their names, and says so.
    ///
    /// # Errors
    /// What went wrong first, on the way or now.
    pub(super) fn place_all(&self, done: Vec<Result<Ready, Failure>>, names: &[String]) -> Result<(), Failure> {
        self.store.place(self.finished(done.into_iter())?)?;
        names.iter().for_each(|name| self.wrote(name));
        Ok(())
    }

    /// Renders a program into a file that has not its name yet: from any thread.
    ///
    /// # Errors
    /// As [`OutputFolder::render`].
    pub(super) fn finish(
        &self,
        file: &FileSpec,
        program: &Program<'_>,
        gain: Gain,
        recipe: Option<String>,
    ) -> Result<(Ready, Written), Failure> {
        let spec = Spec { channels: file.channels, ..self.spec };
        if let Some(bar) = &self.bar {
            bar.set_message(file.name.clone());
        }
        let draft = self.store.begin(&file.name)?;
        let written = self
            .counted(|watch| program.write_with(&file.info(spec.seed), (&spec, gain), &Rendered(&draft), watch))
            .map_err(|f| match f {
                Failure::Sink(cause) => draft.error(cause).into(),
                other => other,
            })?;
        interrupt::go_on()?;
        let dbtp = written.levels.dbtp();
        let gain_db = 20.0 * libm::log10(written.gain);
        let ready = draft.finish(Facts {
            kind: file.kind,
            command: file.command.to_owned(),
            patch: file.patch.as_ref().map(|p| p.0.clone()),
            patch_sha256: file.patch.as_ref().map(|p| p.1.clone()),
            recipe,
            variant: file.variant.clone(),
            sequencer: file.sequencer.clone(),
            tempo_bpm: file.tempo_bpm,
            seed: spec.seed,
            run: file.run,
            sample_rate: Some(program.sample_rate()),
            sample_format: Some(match spec.format {
                Format::Pcm16 => SampleFormat::Int16,
                Format::Pcm24 => SampleFormat::Int24,
                Format::Float32 => SampleFormat::Float32,
            }),
            channels: Some(file.channels.count()),
            frames: Some(written.frames),
            marks: (written.marks > 0).then_some(written.marks as u64),
            gain_db: Some(gain_db),
            true_peak_dbtp: dbtp.is_finite().then_some(dbtp + gain_db),
        })?;
        Ok((ready, written))
    }

    /// Writes finished bytes into a file and lists it in the manifest.
    ///
    /// # Errors
    /// Exit status 3 where the disk refuses.
    pub(super) fn write_bytes(
        &self,
        kind: Kind,
        name: &str,
        bytes: &[u8],
        command: &str,
        patch: Option<(String, String)>,
        run: Option<u64>,
    ) -> Result<(), Failure> {
        let draft = self.store.begin(name)?;
        draft.file().write_all(bytes).map_err(|e| draft.error(e))?;
        draft.commit(Facts { run, ..Facts::silent(kind, command, patch, self.spec.seed) })?;
        self.wrote(name);
        Ok(())
    }

    /// Where a file of this folder lies.
    #[must_use]
    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.store.dir().join(name)
    }

    /// A path for people: what would upset a terminal is marked.
    #[must_use]
    pub(super) fn shown(&self, name: &str) -> String {
        plain(&self.path(name).display().to_string())
    }

    /// The folder itself.
    pub(super) const fn store(&self) -> &Store {
        &self.store
    }

    /// Takes the progress bar away.
    pub(super) fn done(self) {
        if let Some(bar) = self.bar {
            bar.finish_and_clear();
        }
    }
}

/// How a file of so many channels is written.
pub(super) fn spec(sound: &SoundArgs, channels: Channels) -> Spec {
    let format = match sound.bits() {
        16 => Format::Pcm16,
        32 => Format::Float32,
        _ => Format::Pcm24,
    };
    Spec { format, channels, seed: sound.seed }
}

/// Refuses what a WAV file cannot hold, before anything is opened or written.
///
/// # Errors
/// Exit status 2, with the size and the bound.
pub(super) fn fits(program: &Program<'_>, sound: &SoundArgs, channels: Channels) -> Result<(), Failure> {
    program.size(&spec(sound, channels))?;
    Ok(())
}

/// Refuses so many frames if a WAV file cannot hold them.
///
/// # Errors
/// As [`fits`].
pub(super) fn fits_frames(frames: u64, sound: &SoundArgs, channels: Channels) -> Result<(), Failure> {
    wav::size(frames, &spec(sound, channels))?;
    Ok(())
}

/// Refuses too much from the length of the patch alone, before anything of it is played.
///
/// # Errors
/// As [`fits`].
pub(super) fn lasts(end: crate::time::Instant, sound: &SoundArgs, channels: Channels) -> Result<(), Failure> {
    let ps = i128::from(sound.lead_in.0) + i128::from(end.0);
    let frames = ps * i128::from(sound.sample_rate) / i128::from(crate::time::PS_PER_SECOND);
    fits_frames(u64::try_from(frames).unwrap_or(u64::MAX), sound, channels)
}

/// The path of a patch and the checksum of its text, as a manifest has them.
pub(super) fn origin(loaded: &Loaded) -> (String, String) {
    (loaded.name.clone(), loaded.checksum())
}

/// The voices of a run at its sample rate.
///
/// # Errors
/// Exit status 2 for a sample rate that cannot be rendered.
pub(super) fn bank(sound: &SoundArgs, ensemble: &crate::sound::score::Ensemble) -> Result<Bank, Failure> {
    Ok(Bank::new(sound.sample_rate, ensemble.sounds())?)
}
