//! hitgap works out every pulse and hit of a clocked rig exactly, says how far apart the hits land, and renders them
//! so that people hear it. The program is one user of this library; [`cli`] is all of it that knows the terminal.
//!
//! # A tour
//!
//! One way leads through, and each module uses only those before it:
//!
//! 1. [`patch`] reads the text of a patch into a checked [`patch::Patch`], or tells every fault at its place.
//! 2. [`rig`] plays it at a tempo: every pulse and every play, in whole picoseconds of [`time`].
//! 3. [`hits`] lists what sounds, when, and when it is due; it reads and writes CSV, JSON and MIDI.
//! 4. [`judge`] says who misses the one and how far apart hits land; what a delay should be ([`judge::advise`]), what chance does
//!    ([`judge::runs`]), how a box reads its reset ([`judge::identify`]).
//! 5. [`sound`] makes it heard: hits become cues, cues become samples between samples; [`voice`] holds the drums.
//! 6. [`ear`] measures listeners: staircases, thresholds, blind tests.
//! 7. [`show`] says it: words and tables, JSON and CSV, pictures, pages.
//! 8. [`store`] puts files into a folder, whole or not at all; [`export`] makes what goes there, and [`source`] reads what a
//!    patch names. [`store::interrupt`] hears that the program is to end.
//!
//! Below them lie [`text`], [`dsp`] and [`stats`], which know nothing of drums.
//!
//! # From a patch to a verdict
//!
//! Two robots on one clock. Wren's beats stand 1 % of a beat late on the dial: a share, and so another time at every tempo.
//!
//! ```
//! use hitgap::judge::judge;
//! use hitgap::patch::{Asked, Patch};
//! use hitgap::rig::play;
//! use hitgap::time::{Span, Tempo};
//!
//! let text = r#"
//! tempos = [60, 120]
//! bars = 2
//! [clock.beats]
//! rate = "1 per beat"
//! [clock.late]
//! rate = "1 per beat"
//! phase = "1 %"
//! [sequencer.ox]
//! clock = "beats"
//! steps = "Xx"
//! voice = "kick"
//! [sequencer.wren]
//! clock = "late"
//! steps = "Xx"
//! voice = "hat"
//! "#;
//! // Every fault of a text comes back at once, each with its place and what to do.
//! let patch = Patch::parse(text, &Asked::default()).map_err(|faults| faults.render("two.toml", text, false))?;
//! let mut gaps = Vec::new();
//! for &tempo in &patch.tempos {
//!     let rig = &patch.original.rig;
//!     let performance = play(rig, tempo)?;
//!     let verdict = judge(rig, &performance, Span::from_ms(6))?;
//!     gaps.push((tempo, verdict.gaps[0].worst(), verdict.passes()));
//! }
//! // A beat is 1 s at 60 and 0.5 s at 120: in whole picoseconds, 10 ms and 5 ms.
//! let ms = |n| Some(Span::from_ms(n));
//! assert_eq!(gaps, [(Tempo::whole(60), ms(10), false), (Tempo::whole(120), ms(5), true)]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # From a patch to sound
//!
//! ```
//! use hitgap::hits::in_order;
//! use hitgap::patch::{Asked, Patch};
//! use hitgap::sound::render::{Bank, Channels, Format, Gain, LEAD_IN, Memory, Program, Spec, Watch};
//! use hitgap::rig::play;
//! use hitgap::sound::score::{Ensemble, Seating, CueList};
//! use hitgap::time::Tempo;
//!
//! let text = "bars = 1\n[clock.beats]\nrate = \"1 per beat\"\n[sequencer.ox]\nclock = \"beats\"\nsteps = \"Xx\"\nvoice = \"kick\"\n";
//! let patch = Patch::parse(text, &Asked::default()).map_err(|faults| faults.render("ox.toml", text, false))?;
//! let (rig, tempo, seed) = (&patch.original.rig, Tempo::whole(120), 1);
//! let performance = play(rig, tempo)?;
//! let ensemble = Ensemble::new(&[rig], Seating::Patch, seed)?;
//! let mut sheet = CueList::new(&ensemble);
//! in_order(rig, &performance).for_each(|hit| sheet.add(0, rig, &hit, hit.at, 1.0));
//! let bank = Bank::new(48_000, ensemble.sounds())?;
//! let end = rig.clockwork(tempo).instant(rig.end);
//! let program = Program::new(&bank, sheet.finish(), LEAD_IN, end)?;
//! // A file, or memory: the same bytes on any number of threads and any machine.
//! let file = Memory::default();
//! let spec = Spec { format: Format::Pcm24, channels: Channels::Stereo, seed };
//! let written = program.write(&spec, Gain::Auto, &file, Watch::nobody())?;
//! assert!(written.frames >= 48_000 * 2 + 4_800, "a bar of 2 s after 100 ms");
//! assert_eq!(file.into_bytes().len() as u64, written.bytes);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod cli;
pub mod dsp;
pub mod ear;
pub mod export;
pub mod hits;
pub mod judge;
pub mod measure;
pub mod patch;
pub mod rig;
pub mod serve;
pub mod show;
pub mod sound;
pub mod source;
pub mod stats;
pub mod store;
pub mod text;
pub mod time;
pub mod voice;
