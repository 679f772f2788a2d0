//! Listening pages and the training page in a real browser, from disk: what they ask for, what they play, how they are worked
//! by keyboard, what a blind test and a session say.
//!
//! Needs `chromium` and `chromedriver`; without them each test passes and one line says that they were skipped. With
//! `HITGAP_BROWSER=required` that is a failure.

mod access;
mod advice;
mod blind;
mod built;
mod by_keys;
mod class;
mod desk;
mod driver;
mod examples;
mod flam;
mod hostile;
mod identify;
mod keeps;
mod keyboard;
mod lanes;
mod lesson;
mod level;
mod looks;
mod loops;
mod made;
mod open;
mod opens;
mod plays;
mod sweep;
mod training;
mod training_page;
