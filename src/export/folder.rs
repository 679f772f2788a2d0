//! Writing renders: the folder, the names, progress. All that makes sound files goes through here.

use super::{Destination, ExportError, FileSpec, Progress};
use crate::sound::render::{Channels, Format, Gain, Program, RenderError, Sink, Spec, Watch, Written};
use crate::store::interrupt::{self, AtWork};
use crate::store::{Draft, Facts, Kind, Ready, SampleFormat, Store};
use crate::text::plain;
use rayon::prelude::*;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};

/// Files that get their names together: so few that a run that dies loses little, so many that the waits for the disk do
/// not count.
const BATCH: usize = 32;

/// A folder that is open for renders, and how they are written.
pub struct OutputFolder {
    store: Store,
    /// How files of one channel are written.
    spec: Spec,
    progress: Arc<dyn Progress>,
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

impl OutputFolder {
    /// Opens the folder and makes sure that all of these names are free.
    ///
    /// # Errors
    /// Where the folder cannot be opened, a name is not free, or the program is asked to end.
    pub fn open(to: &Destination, names: &[String]) -> Result<Self, ExportError> {
        let (store, at_work) = open(&to.dir, to.overwrite)?;
        store.claim(names)?;
        Ok(Self { store, spec: to.sound.spec(Channels::Mono), progress: Arc::clone(&to.progress), _at_work: at_work })
    }

    /// How many frames lie ahead; each is counted once when it is measured and once when it is written.
    pub fn expect(&self, frames: u64) {
        self.progress.expect(frames);
    }

    /// Advances the bar by what a render does; Ctrl-C stops it.
    ///
    /// # Errors
    /// As of the work.
    pub fn counted<T>(&self, work: impl FnOnce(Watch<'_>) -> Result<T, RenderError>) -> Result<T, ExportError> {
        let progress = |frames: u64| self.progress.advance(frames);
        Ok(work(Watch { progress: &progress, cancel: self.progress.stop() })?)
    }

    /// Renders a program into a file, lists it in the manifest and says so.
    ///
    /// # Errors
    /// Where the disk refuses, or the program is asked to end.
    pub fn render(&self, file: &FileSpec, program: &Program<'_>, gain: Gain) -> Result<Written, ExportError> {
        let (ready, written) = self.finish(file, program, gain, None)?;
        self.place(ready, &file.name)?;
        Ok(written)
    }

    /// Gives a finished file its name and says so.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn place(&self, ready: Ready, name: &str) -> Result<(), ExportError> {
        self.store.place(vec![ready])?;
        self.wrote(name);
        Ok(())
    }

    /// Says that a file was written, where nothing else shows it.
    pub fn wrote(&self, name: &str) {
        self.progress.wrote(&self.shown(name));
    }

    /// Says something of what is made.
    pub fn say(&self, text: &str) {
        self.progress.say(text);
    }

    /// Renders many programs, as many at once as there are threads, and gives the files their names in batches: whatever
    /// ends the run, what was finished stays. With `resume`, a file that stands there already and was made by the same recipe is
    /// kept as it is. Says which were made, by their numbers.
    ///
    /// # Errors
    /// As [`OutputFolder::render`].
    pub fn render_all(
        &self,
        jobs: &[(FileSpec, &Program<'_>, Gain)],
        recipes: &[String],
        resume: bool,
    ) -> Result<Vec<usize>, ExportError> {
        let made = |n: usize| -> Result<bool, ExportError> {
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
    fn finished(&self, done: impl Iterator<Item = Result<Ready, ExportError>>) -> Result<Vec<Ready>, ExportError> {
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
    pub fn place_all(&self, done: Vec<Result<Ready, ExportError>>, names: &[String]) -> Result<(), ExportError> {
        self.store.place(self.finished(done.into_iter())?)?;
        names.iter().for_each(|name| self.wrote(name));
        Ok(())
    }

    /// Renders a program into a file that has not its name yet: from any thread.
    ///
    /// # Errors
    /// As [`OutputFolder::render`].
    pub fn finish(
        &self,
        file: &FileSpec,
        program: &Program<'_>,
        gain: Gain,
        recipe: Option<String>,
    ) -> Result<(Ready, Written), ExportError> {
        let spec = Spec { channels: file.channels, ..self.spec };
        self.progress.at(&file.name);
        let draft = self.store.begin(&file.name)?;
        let written = self
            .counted(|watch| program.write_with(&file.info(spec.seed), (&spec, gain), &Rendered(&draft), watch))
            .map_err(|f| match f {
                ExportError::Sink(cause) => draft.error(cause).into(),
                other => other,
            })?;
        if self.progress.stop().load(Ordering::Relaxed) {
            return Err(interrupt::Interrupted.into());
        }
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
    /// Where the disk refuses.
    pub fn write_bytes(
        &self,
        kind: Kind,
        name: &str,
        bytes: &[u8],
        command: &str,
        patch: Option<(String, String)>,
        run: Option<u64>,
    ) -> Result<(), ExportError> {
        let draft = self.store.begin(name)?;
        draft.file().write_all(bytes).map_err(|e| draft.error(e))?;
        draft.commit(Facts { run, ..Facts::silent(kind, command, patch, self.spec.seed) })?;
        self.wrote(name);
        Ok(())
    }

    /// Where a file of this folder lies.
    #[must_use]
    pub fn path(&self, name: &str) -> PathBuf {
        self.store.dir().join(name)
    }

    /// A path for people: what would upset a terminal is marked.
    #[must_use]
    pub fn shown(&self, name: &str) -> String {
        plain(&self.path(name).display().to_string())
    }

    /// The folder itself.
    #[must_use]
    pub const fn store(&self) -> &Store {
        &self.store
    }

    /// All is made.
    pub fn done(self) {
        self.progress.done();
    }
}

/// Opens a folder of renders. What is unfinished in it when the program is asked to end goes away.
///
/// # Errors
/// Where it cannot be opened, or the program is asked to end.
pub(super) fn open(dir: &Path, overwrite: bool) -> Result<(Store, AtWork), ExportError> {
    let at_work = interrupt::at_work();
    let store = Store::open_watched(dir, overwrite, |leftovers| at_work.leaves(&leftovers))?;
    interrupt::go_on()?;
    Ok((store, at_work))
}
