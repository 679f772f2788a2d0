//! A patch that is open: what is on the desk, what is shown of it, and who makes one into the other.

use super::asking::Asking;
use super::desk::Desk;
use super::file::OnDisk;
use super::job::Jobs;
use super::maker::{Maker, Origin, Subject, contents, follow};
use super::shown::{Edition, Shown};
use super::telling::Tellings;
use super::watched::{Bell, Watched};
use super::{Run, ServeError};
use crate::export::{Depth, ExportError};
use crate::source::read_text;
use axum::extract::FromRequestParts;
use axum::http::StatusCode;
use axum::http::request::Parts;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// All of one patch.
pub(super) struct Opened {
    pub(super) shown: Shown,
    pub(super) desk: Desk,
    pub(super) maker: Maker,
    pub(super) bell: Bell,
    pub(super) jobs: Jobs,
    pub(super) asking: Asking,
    /// Whether it was chosen in the gallery, to which a way leads back.
    pub(super) gallery: bool,
    /// What pages have been told of the words.
    pub(super) tellings: Tellings,
}

impl AsRef<Maker> for Opened {
    fn as_ref(&self) -> &Maker {
        &self.maker
    }
}

impl Opened {
    /// Reads a patch, makes its first page, and follows it from then on.
    ///
    /// # Errors
    /// For what the patch is refused for, and where the system does not play along.
    pub(super) fn new(subject: Subject) -> Result<Arc<Self>, ServeError> {
        Self::made(subject, 1, false)
    }

    /// The same for one that was chosen in the gallery; its revisions begin with this one.
    ///
    /// # Errors
    /// As for any other.
    pub(super) fn of_gallery(subject: Subject, first: u64) -> Result<Arc<Self>, ServeError> {
        Self::made(subject, first, true)
    }

    /// Is not shown any more: it is followed no further. What is not saved of it stays beside it, and that is told.
    pub(super) fn leave(&self) {
        self.desk.leave();
        self.bell.ring();
        if let Some(note) = self.desk.parting() {
            (self.maker.subject.talk.say)(&note);
        }
    }

    fn made(subject: Subject, first: u64, gallery: bool) -> Result<Arc<Self>, ServeError> {
        let mut watched = Watched::new().map_err(ServeError::system)?;
        // Looked at before it is read, so that no change falls in between.
        let before: Vec<PathBuf> = std::iter::once(&subject.patch).chain(&subject.boxes).cloned().collect();
        watched.look_at(&before).map_err(ServeError::system)?;
        let was = contents(&before);
        let now = OnDisk::new(read_text(&subject.patch, "a patch").map_err(ExportError::from)?);
        let (desk, maker) = (Desk::new(&subject.patch, now.clone()).beginning(first), Maker::new(subject));
        // Where what was not saved has a fault, the file is what is shown first.
        let (never, view, mut read) = (AtomicBool::new(false), desk.view(), Vec::new());
        let file = view.of_file(now);
        let (of, made) = match maker.make(&view, Depth::Levels, &never, &mut read) {
            Err(_) if view.text != file.text => (0, maker.make(&file, Depth::Levels, &never, &mut read)?),
            made => (view.revision, made?),
        };
        let origin = Origin::new((of, 0), &maker.subject.patch, &read, &was);
        watched.look_at(before.iter().chain(&read)).map_err(ServeError::system)?;
        let shown = Shown::new(Edition::new(1, of, made));
        let opened = Arc::new(Self {
            shown,
            desk,
            maker,
            bell: watched.bell(),
            jobs: Jobs::default(),
            asking: Asking::default(),
            gallery,
            tellings: Tellings::default(),
        });
        let own = Arc::clone(&opened);
        let made = std::thread::Builder::new().name("maker".into());
        made.spawn(move || follow(&own.maker, &own.desk, &own.shown, watched, origin)).map_err(ServeError::system)?;
        Ok(opened)
    }
}

/// The patch that a request is about.
pub(super) struct Open(pub(super) Arc<Opened>);

impl FromRequestParts<Arc<Run>> for Open {
    type Rejection = (StatusCode, &'static str);

    async fn from_request_parts(_: &mut Parts, run: &Arc<Run>) -> Result<Self, Self::Rejection> {
        run.opened.get().map(Self).ok_or((StatusCode::NOT_FOUND, "no patch is open yet"))
    }
}
