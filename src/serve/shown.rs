//! What is shown now: the last good version of the patch, and the fault of a newer one.

use super::desk::View;
use super::maker::Made;
use crate::export::ExportError;
use crate::show::page::{ListeningPage, PageVoice};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch::{Receiver, Sender};

/// A version of the patch, made into a page.
#[derive(Debug)]
pub(super) struct Edition {
    pub(super) number: u64,
    /// The revision of the desk that it is made of.
    pub(super) of: u64,
    pub(super) page: ListeningPage,
    pub(super) warnings: Vec<String>,
}

#[derive(Debug)]
struct Now {
    edition: Arc<Edition>,
    /// What is wrong with a revision.
    fault: Option<(u64, String)>,
    /// Voices that pages may ask for.
    voices: BTreeMap<String, PageVoice>,
}

/// What is shown, and who is told when that changes.
#[derive(Debug)]
pub(super) struct Shown {
    now: Mutex<Now>,
    /// Counts what has happened.
    news: Sender<u64>,
}

impl Edition {
    pub(super) fn new(number: u64, of: u64, Made { page, warnings, .. }: Made) -> Arc<Self> {
        Arc::new(Self { number, of, page, warnings })
    }
}

impl Shown {
    /// So many voices are kept for pages that ask; a page asks at once.
    const VOICES: usize = 128;

    pub(super) fn new(edition: Arc<Edition>) -> Self {
        let voices = edition.page.voices.iter().map(|voice| (voice.id().to_owned(), voice.clone())).collect();
        Self { now: Mutex::new(Now { edition, fault: None, voices }), news: Sender::new(0) }
    }

    fn now(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Another version is shown, without a fault; or the last good one stays, with what is wrong.
    pub(super) fn show(&self, view: &View, made: Result<Made, ExportError>, tell: fn(ExportError) -> String) {
        match made {
            Ok(made) => {
                self.lend(&made.page);
                let number = self.edition().number + 1;
                let edition = Edition::new(number, view.revision, made);
                let mut now = self.now();
                (now.edition, now.fault) = (edition, None);
            }
            Err(error) => self.now().fault = Some((view.revision, tell(error))),
        }
        self.tell();
    }

    /// Has the voices of a page at hand.
    pub(super) fn lend(&self, page: &ListeningPage) {
        let mut now = self.now();
        if now.voices.len() > Self::VOICES {
            now.voices.clear();
            let kept: Vec<PageVoice> = now.edition.page.voices.clone();
            now.voices.extend(kept.into_iter().map(|voice| (voice.id().to_owned(), voice)));
        }
        now.voices.extend(page.voices.iter().map(|voice| (voice.id().to_owned(), voice.clone())));
    }

    pub(super) fn voice(&self, id: &str) -> Option<PageVoice> {
        self.now().voices.get(id).cloned()
    }

    /// Tells that something has happened.
    pub(super) fn tell(&self) {
        self.news.send_modify(|n| *n += 1);
    }

    pub(super) fn edition(&self) -> Arc<Edition> {
        Arc::clone(&self.now().edition)
    }

    /// What is wrong with a revision.
    pub(super) fn fault(&self, of: u64) -> Option<String> {
        self.now().fault.as_ref().filter(|(revision, _)| *revision == of).map(|(_, told)| told.clone())
    }

    /// How many listen.
    pub(super) fn listeners(&self) -> usize {
        self.news.receiver_count()
    }

    pub(super) fn news(&self) -> Receiver<u64> {
        self.news.subscribe()
    }
}
