//! Files that are made while the page waits: one work at a time, that says how far it is and can be stopped.

use super::desk::View;
use super::maker::Maker;
use crate::export::{ComparisonAsked, Destination, ExportError, Progress, Renders, SoundSettings, comparison, renders};
use crate::text::plain;
use serde::Deserialize;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// What is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Work {
    /// A sound file of every variant at every tempo.
    Render,
    /// The original against its fixes, and a page.
    Compare,
}

/// The work that was asked for last, if any was.
#[derive(Debug, Default)]
pub(super) struct Jobs(Mutex<Option<Arc<Job>>>);

#[derive(Debug)]
struct Job {
    work: Work,
    state: Arc<State>,
}

/// How far it is.
#[derive(Debug, Default)]
struct State {
    ahead: AtomicU64,
    done: AtomicU64,
    stop: AtomicBool,
    told: Mutex<Told>,
}

#[derive(Debug, Default)]
struct Told {
    at: String,
    says: Vec<String>,
    outcome: Option<Result<Vec<String>, String>>,
}

impl State {
    fn told<T>(&self, with: impl FnOnce(&mut Told) -> T) -> T {
        with(&mut self.told.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Progress for State {
    fn expect(&self, frames: u64) {
        self.ahead.store(frames, Ordering::Relaxed);
    }

    fn advance(&self, frames: u64) {
        self.done.fetch_add(frames, Ordering::Relaxed);
    }

    fn at(&self, name: &str) {
        self.told(|told| name.clone_into(&mut told.at));
    }

    fn wrote(&self, _: &str) {}

    fn say(&self, text: &str) {
        // A run may have much to say; a page shows a few lines.
        self.told(|told| told.says.truncate(20));
        self.told(|told| told.says.push(text.to_owned()));
    }

    fn done(&self) {}

    fn stop(&self) -> &AtomicBool {
        &self.stop
    }
}

impl Jobs {
    fn last(&self) -> Option<Arc<Job>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Begins a work of what is on the desk.
    ///
    /// # Errors
    /// Where one is under way.
    pub(super) fn begin(
        &self,
        work: Work,
        view: View,
        maker: &Arc<impl AsRef<Maker> + Send + Sync + 'static>,
    ) -> Result<(), String> {
        let mut last = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if last.as_ref().is_some_and(|job| job.state.told(|told| told.outcome.is_none())) {
            return Err("files are being made; stop that first, or wait".to_owned());
        }
        let state = Arc::<State>::default();
        let (own, maker) = (Arc::clone(&state), Arc::clone(maker));
        let run = move || {
            let maker: &Maker = (*maker).as_ref();
            let made = made(work, &view, maker, &own).map_err(|error| match error {
                ExportError::Interrupted(_) => "stopped; no half-written file is left".to_owned(),
                other => (maker.subject.tell)(other),
            });
            own.told(|told| told.outcome = Some(made));
        };
        std::thread::Builder::new().name("files".into()).spawn(run).map_err(|e| e.to_string())?;
        *last = Some(Arc::new(Job { work, state }));
        Ok(())
    }

    /// Has the work stopped that is under way.
    pub(super) fn stop(&self) {
        if let Some(job) = self.last() {
            job.state.stop.store(true, Ordering::Relaxed);
        }
    }

    /// How far the last work is, and what came of it; null where none was asked for.
    pub(super) fn json(&self) -> Value {
        let Some(job) = self.last() else { return Value::Null };
        let (done, ahead) = (job.state.done.load(Ordering::Relaxed), job.state.ahead.load(Ordering::Relaxed));
        job.state.told(|told| {
            let (files, error) = match &told.outcome {
                Some(Ok(files)) => (Some(files), None),
                Some(Err(error)) => (None, Some(error)),
                None => (None, None),
            };
            json!({
                "do": match job.work { Work::Render => "render", Work::Compare => "compare" },
                "share": if told.outcome.is_some() { 1.0 } else { (done as f64 / ahead.max(1) as f64).min(1.0) },
                "at": told.at,
                "says": told.says,
                "over": told.outcome.is_some(),
                "files": files,
                "error": error,
            })
        })
    }
}

/// Makes the files; gives back where they lie, the one to begin with first.
fn made(work: Work, view: &View, maker: &Maker, state: &Arc<State>) -> Result<Vec<String>, ExportError> {
    let loaded = maker.loaded(&view.text, &mut Vec::new())?;
    let subject = &maker.subject;
    let progress: Arc<dyn Progress> = Arc::<State>::clone(state);
    let to = Destination {
        dir: subject.out.clone(),
        overwrite: false,
        sound: SoundSettings::of_page(subject.seed),
        progress,
    };
    let shown = |path: &PathBuf| plain(&path.display().to_string());
    match work {
        Work::Render => {
            let variants = loaded.variants(&[])?;
            let (stems, tidy) = (false, false);
            let asked = Renders { loaded: &loaded, variants: &variants, stems, draw: subject.draw, tidy };
            Ok(renders(&asked, &to)?.iter().map(shown).collect())
        }
        Work::Compare => {
            let fixes = maker.fixes(&loaded)?;
            let asked = ComparisonAsked {
                loaded: &loaded,
                fixes: &fixes,
                draw: subject.draw,
                page: true,
                tidy: false,
                shop: None,
            };
            let files = comparison(&asked, &to)?;
            Ok(files.page.iter().chain(&files.first).map(shown).collect())
        }
    }
}
