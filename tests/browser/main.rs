//! Listening pages in a real browser, from disk: what it asks for, what it plays, how it is worked by keyboard, what its
//! blind test says.
//!
//! Needs `chromium` and `chromedriver`; without them each test passes and one line says that they were skipped. With
//! `HITGAP_BROWSER=required` that is a failure.

mod access;
mod blind;
mod driver;
mod flam;
mod hostile;
mod lesson;
mod made;
mod opens;
mod plays;
mod sweep;
