//! The patch as it is being changed: its text, the way back, and how it stands to the file.

use super::file::OnDisk;
use super::history::History;
use super::journal::Journal;
use super::past::Since;
use crate::patch::LARGEST_FILE;
use crate::store::{WriteError, resolved, write_whole};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

/// One patch file and all that is done to it while it is open. A change says on which revision it stands, so that of two pages
/// that change at one time the second is told of the first.
#[derive(Debug)]
pub(super) struct Desk {
    file: PathBuf,
    journal: Journal,
    state: Mutex<State>,
    /// Whether it is not shown any more.
    left: AtomicBool,
}

#[derive(Debug)]
struct State {
    history: History,
    revision: u64,
    /// The file as it was when this text was begun, or last saved.
    begun: OnDisk,
    /// The file, where it has become another under work that is not saved.
    theirs: Option<OnDisk>,
    /// Whether this began with work that had not been saved.
    taken_up: bool,
    /// Why work that is not saved is not kept.
    unkept: Option<String>,
}

/// The desk at one moment.
#[derive(Clone, Debug)]
pub(super) struct View {
    /// What the patch file is called.
    pub(super) patch: String,
    pub(super) text: Arc<str>,
    pub(super) revision: u64,
    pub(super) begun: OnDisk,
    pub(super) theirs: Option<OnDisk>,
    /// How many steps lead back, and forth.
    pub(super) steps: [usize; 2],
    /// Since when a change may be kept as a fix, beside so many steps: `saved`, `opened`.
    pub(super) keeps: Vec<&'static str>,
    pub(super) taken_up: bool,
    pub(super) unkept: Option<String>,
}

/// Why a change is not made.
#[derive(Debug)]
pub(super) enum Refused {
    /// It stands on another revision than there is.
    Old,
    /// It cannot be done, and why.
    Cannot(String),
    /// The file is another than it was begun from.
    Changed,
    /// The file is gone, or is no text any more.
    Gone,
    /// The system does not let it be written.
    Unwritten(WriteError),
}

impl View {
    /// The file instead.
    pub(super) fn of_file(&self, file: OnDisk) -> Self {
        Self { text: file.text.as_str().into(), begun: file, theirs: None, ..self.clone() }
    }

    pub(super) fn saved(&self) -> bool {
        *self.text == *self.begun.text
    }
}

impl State {
    fn on(&self, base: u64) -> Result<(), Refused> {
        if self.revision == base { Ok(()) } else { Err(Refused::Old) }
    }

    /// The moments since which the text is another; what was saved as it was opened is one moment.
    fn keeps(&self) -> Vec<&'static str> {
        let (text, first, begun) = (self.history.text(), self.history.first(), self.begun.text.as_str());
        let saved = (begun != text && begun != first).then_some("saved");
        saved.into_iter().chain((first != text).then_some("opened")).collect()
    }

    fn moved(&mut self, journal: &Journal) {
        self.revision += 1;
        // What has become what the file says is no longer apart from it.
        if let Some(theirs) = self.theirs.take_if(|theirs| theirs.text == self.history.text()) {
            self.begun = theirs;
        }
        let noted = journal.note(&self.begun, self.history.text());
        self.unkept = noted.err().map(|e| {
            format!("what is not saved cannot be kept beside the patch, save it soon: {}", crate::store::in_words(&e))
        });
    }
}

impl Desk {
    /// With a file as it is; what an earlier run left unsaved is taken up, and one step back leads to the file's own.
    pub(super) fn new(file: &Path, now: OnDisk) -> Self {
        let journal = Journal::of(file);
        let (mut begun, mut theirs, mut taken_up) = (now.clone(), None, false);
        let mut history = History::new(now.text.clone());
        if let Some(unsaved) = journal.read() {
            let (of, text) = unsaved.texts();
            if text != now.text {
                taken_up = true;
                history.push(text, None, Instant::now());
                if of.hash != now.hash {
                    begun = of;
                    theirs = Some(now);
                }
            }
        }
        let state = State { history, revision: 1, begun, theirs, taken_up, unkept: None };
        Self { file: file.to_owned(), journal, state: Mutex::new(state), left: AtomicBool::new(false) }
    }

    /// The same, with revisions from this one on.
    pub(super) fn beginning(self, first: u64) -> Self {
        self.state().revision = first;
        self
    }

    pub(super) fn leave(&self) {
        self.left.store(true, Ordering::Relaxed);
    }

    pub(super) fn left(&self) -> bool {
        self.left.load(Ordering::Relaxed)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn view(&self) -> View {
        let state = self.state();
        View {
            patch: self.file.file_name().map_or_else(String::new, |name| crate::text::shown(&name.to_string_lossy())),
            text: state.history.text().into(),
            revision: state.revision,
            begun: state.begun.clone(),
            theirs: state.theirs.clone(),
            steps: state.history.steps(),
            keeps: state.keeps(),
            taken_up: state.taken_up,
            unkept: state.unkept.clone(),
        }
    }

    /// The text of before, and the revision that there is now; `None` where fewer changes were made.
    pub(super) fn past(&self, since: Since) -> Option<(u64, String)> {
        let state = self.state();
        let text = match since {
            Since::Opened => state.history.first().to_owned(),
            Since::Saved => state.begun.text.clone(),
            Since::Steps(steps) => state.history.ago(steps)?,
        };
        Some((state.revision, text))
    }

    /// What is said where this ends now; `None` where all is saved.
    pub(super) fn parting(&self) -> Option<String> {
        let state = self.state();
        let file = crate::text::shown(&self.file.display().to_string());
        (state.history.text() != state.begun.text).then(|| match state.unkept {
            None => format!("note: changes of `{file}` are not saved; open it again, and they are taken up"),
            Some(_) => format!("note: changes of `{file}` are not saved, and could not be kept"),
        })
    }

    /// Makes a change that stands on a revision. Changes of one `word` that follow closely are one step back.
    ///
    /// # Errors
    /// Where the revision is old, or the change cannot be made; then nothing is changed.
    pub(super) fn change(
        &self,
        base: u64,
        word: Option<&str>,
        change: impl FnOnce(&str) -> Result<String, String>,
    ) -> Result<(), Refused> {
        let mut state = self.state();
        state.on(base)?;
        let text = change(state.history.text()).map_err(Refused::Cannot)?;
        if text.len() > LARGEST_FILE {
            return Err(Refused::Cannot(format!("the patch would have more than {LARGEST_FILE} bytes (1 MiB)")));
        }
        state.history.push(text, word, Instant::now());
        state.moved(&self.journal);
        Ok(())
    }

    /// A step back, or with `forth` one forth again.
    ///
    /// # Errors
    /// Where the revision is old, or there is no such step.
    pub(super) fn step(&self, base: u64, forth: bool) -> Result<(), Refused> {
        let mut state = self.state();
        state.on(base)?;
        let gone = if forth { state.history.redo() } else { state.history.undo() };
        if !gone {
            let way = if forth { "no change was undone" } else { "there is nothing to undo" };
            return Err(Refused::Cannot(way.to_owned()));
        }
        state.moved(&self.journal);
        Ok(())
    }

    /// Looks at the file: another text is taken over where nothing is unsaved, and else stands beside what is here. Whether
    /// something changed.
    pub(super) fn follow(&self) -> bool {
        let Some(now) = OnDisk::of(&self.file) else { return false };
        let mut state = self.state();
        if now.hash == state.begun.hash {
            // It is as it was begun from, again.
            return state.theirs.take().is_some();
        }
        if now.text == state.history.text() || state.history.text() == state.begun.text {
            state.history.push(now.text.clone(), None, Instant::now());
            (state.begun, state.theirs) = (now, None);
            state.moved(&self.journal);
            return true;
        }
        if state.theirs.as_ref() == Some(&now) {
            return false;
        }
        state.theirs = Some(now);
        state.revision += 1;
        true
    }

    /// Takes the file's text instead of what is here; a step back leads to that again.
    ///
    /// # Errors
    /// Where the revision is old, or there is no text in the file.
    pub(super) fn take(&self, base: u64) -> Result<(), Refused> {
        let mut state = self.state();
        state.on(base)?;
        let now = OnDisk::of(&self.file).ok_or(Refused::Gone)?;
        state.history.push(now.text.clone(), None, Instant::now());
        (state.begun, state.theirs) = (now, None);
        state.moved(&self.journal);
        Ok(())
    }

    /// Writes the text into the file, whole or not at all, if the file is still the one of that checksum: what the page has seen.
    ///
    /// # Errors
    /// Where the revision is old, the file is another, or it cannot be written.
    pub(super) fn save(&self, base: u64, seen: &str) -> Result<(), Refused> {
        let mut state = self.state();
        state.on(base)?;
        let now = OnDisk::of(&self.file);
        if now.as_ref().is_some_and(|now| now.hash != seen) {
            state.theirs = now;
            return Err(Refused::Changed);
        }
        let text = state.history.text().to_owned();
        // Where a link of that name leads, so that the link stays.
        write_whole(&resolved(&self.file), text.as_bytes(), true).map_err(Refused::Unwritten)?;
        (state.begun, state.theirs, state.taken_up) = (OnDisk::new(text), None, false);
        state.moved(&self.journal);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn desk(text: &str) -> (tempfile::TempDir, PathBuf, Desk) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("a.toml");
        fs::write(&file, text).expect("a file");
        let desk = Desk::new(&file, OnDisk::of(&file).expect("a text"));
        (folder, file, desk)
    }

    fn write(desk: &Desk, text: &str) {
        desk.change(desk.view().revision, None, |_| Ok(text.to_owned())).expect("changed");
    }

    #[test]
    fn what_another_program_writes_is_taken_over_and_is_a_step_back() {
        let (_folder, file, desk) = desk("one");
        fs::write(&file, "two").expect("a file");
        assert!(desk.follow() && !desk.follow());
        assert_eq!((&*desk.view().text, desk.view().saved(), desk.view().theirs), ("two", true, None));
        desk.step(desk.view().revision, false).expect("a step back");
        assert_eq!((&*desk.view().text, desk.view().saved()), ("one", false));
    }

    #[test]
    fn where_both_changed_both_are_kept_until_somebody_chooses() {
        let (_folder, file, desk) = desk("one");
        write(&desk, "mine");
        fs::write(&file, "theirs").expect("a file");
        assert!(desk.follow());
        let view = desk.view();
        let theirs = view.theirs.expect("the file has changed");
        assert_eq!((&*view.text, &*theirs.text), ("mine", "theirs"));
        // Not over what the page has not seen.
        let refused = desk.save(view.revision, &view.begun.hash);
        assert!(matches!(refused, Err(Refused::Changed)) && fs::read_to_string(&file).expect("a file") == "theirs");
        desk.save(view.revision, &theirs.hash).expect("saved over what was seen");
        assert_eq!(fs::read_to_string(&file).expect("a file"), "mine");
        assert!(desk.view().saved() && desk.view().theirs.is_none());
        // The other way.
        write(&desk, "mine again");
        fs::write(&file, "theirs again").expect("a file");
        desk.follow();
        desk.take(desk.view().revision).expect("taken");
        assert_eq!((&*desk.view().text, desk.view().saved()), ("theirs again", true));
        desk.step(desk.view().revision, false).expect("a step back");
        assert_eq!(&*desk.view().text, "mine again");
    }

    #[test]
    fn unsaved_work_outlives_the_program() {
        let (_folder, file, desk) = desk("one");
        write(&desk, "mine");
        assert!(desk.parting().expect("unsaved").contains("taken up"));
        drop(desk);
        let desk = Desk::new(&file, OnDisk::of(&file).expect("a text"));
        assert_eq!((&*desk.view().text, desk.view().taken_up, desk.view().steps), ("mine", true, [1, 0]));
        drop(desk);
        // The file has changed meanwhile.
        fs::write(&file, "theirs").expect("a file");
        let desk = Desk::new(&file, OnDisk::of(&file).expect("a text"));
        let view = desk.view();
        assert_eq!((&*view.text, &*view.begun.text, &*view.theirs.expect("both").text), ("mine", "one", "theirs"));
        desk.step(view.revision, false).expect("a step back");
        assert_eq!((&*desk.view().text, desk.view().saved(), desk.view().theirs), ("theirs", true, None));
    }

    #[test]
    fn since_when_something_is_kept() {
        let (_folder, _file, desk) = desk("one");
        assert!(desk.view().keeps.is_empty() && desk.past(Since::Steps(1)).is_none());
        write(&desk, "two");
        // Never saved: the file is as it was opened.
        assert_eq!(desk.view().keeps, ["opened"]);
        desk.save(desk.view().revision, &desk.view().begun.hash).expect("saved");
        assert_eq!((desk.view().keeps, desk.view().saved()), (vec!["opened"], true));
        write(&desk, "three");
        assert_eq!(desk.view().keeps, ["saved", "opened"]);
        let past = |since| desk.past(since).expect("a text").1;
        assert_eq!([Since::Saved, Since::Opened, Since::Steps(2)].map(past), ["two", "one", "one"]);
        // Back as it was opened, what was saved is another.
        write(&desk, "one");
        assert_eq!(desk.view().keeps, ["saved"]);
    }

    #[test]
    fn of_two_that_change_at_one_time_the_second_is_refused() {
        let (_folder, _file, desk) = desk("one");
        let base = desk.view().revision;
        desk.change(base, None, |text| Ok(format!("{text} two"))).expect("changed");
        assert!(matches!(desk.change(base, None, |_| Ok(String::new())), Err(Refused::Old)));
        assert!(matches!(desk.change(base + 1, None, |_| Err("no".to_owned())), Err(Refused::Cannot(_))));
        assert_eq!(&*desk.view().text, "one two");
    }
}
