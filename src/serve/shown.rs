//! What is shown now: the last good version of the patch, and the fault of a newer one.

use crate::show::page::{ListeningPage, served_parts};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::watch::{Receiver, Sender};

/// A version of the patch, made into a page.
#[derive(Debug)]
pub(super) struct Edition {
    pub(super) number: u64,
    pub(super) page: ListeningPage,
    parts: serde_json::Value,
}

#[derive(Debug)]
struct Now {
    edition: Arc<Edition>,
    fault: Option<String>,
}

/// What is shown, and who is told when that changes.
#[derive(Debug)]
pub(super) struct Shown {
    now: Mutex<Now>,
    /// Counts what has happened.
    news: Sender<u64>,
}

impl Edition {
    pub(super) fn new(number: u64, page: ListeningPage) -> Arc<Self> {
        let parts = served_parts(&page);
        Arc::new(Self { number, page, parts })
    }
}

impl Shown {
    pub(super) fn new(edition: Arc<Edition>) -> Self {
        Self { now: Mutex::new(Now { edition, fault: None }), news: Sender::new(0) }
    }

    /// Another version is shown, without a fault.
    pub(super) fn renew(&self, edition: Arc<Edition>) {
        *self.now.lock().unwrap_or_else(PoisonError::into_inner) = Now { edition, fault: None };
        self.news.send_modify(|n| *n += 1);
    }

    /// The last good version stays, with what is wrong with the patch.
    pub(super) fn fails(&self, fault: String) {
        self.now.lock().unwrap_or_else(PoisonError::into_inner).fault = Some(fault);
        self.news.send_modify(|n| *n += 1);
    }

    pub(super) fn edition(&self) -> Arc<Edition> {
        Arc::clone(&self.now.lock().unwrap_or_else(PoisonError::into_inner).edition)
    }

    pub(super) fn news(&self) -> Receiver<u64> {
        self.news.subscribe()
    }

    /// All that a page takes over, as JSON.
    pub(super) fn json(&self) -> String {
        let (edition, fault) = {
            let now = self.now.lock().unwrap_or_else(PoisonError::into_inner);
            (Arc::clone(&now.edition), now.fault.clone())
        };
        let mut parts = edition.parts.clone();
        parts["edition"] = edition.number.into();
        parts["fault"] = fault.into();
        parts.to_string()
    }
}
