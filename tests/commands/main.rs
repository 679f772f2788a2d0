//! The program as its users meet it: commands typed in a folder, what they print, which files they leave.
//!
//! What a command prints is held to the letter by `transcripts/NAME.txt`, which the tests write anew instead of reading
//! with `HITGAP_BLESS=1 cargo test --test commands`. Look at the difference before you commit it.

#[cfg(unix)]
mod absurd;
mod advise;
mod alone;
mod basket;
mod boxes;
mod check;
mod compare;
mod endings;
mod faults;
mod flam;
mod hits;
mod hostile;
mod identify;
mod input;
mod laws;
mod lesson;
mod links;
mod manifest;
mod manual;
mod marks;
mod matrix;
mod measure;
mod measure_circle;
mod mend;
mod new;
#[cfg(unix)]
mod odd;
mod open;
#[cfg(unix)]
mod opener;
mod out;
mod pages;
mod place;
mod plot;
#[cfg(unix)]
mod products;
mod readme;
mod render;
mod results;
mod rigs_in_words;
mod runs;
mod short;
mod sides;
mod slips;
mod sounds;
mod stops;
mod store;
mod survey;
mod sweep;
mod tidy;
mod training;
#[cfg(target_os = "linux")]
mod tty;
mod usage;
mod voices;
mod wav;
mod wording;
