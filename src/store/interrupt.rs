//! Ends that come from outside: Ctrl-C, a request to end, a limit on the size of files.
//!
//! A thread of its own hears them, so that nothing that the program does or waits for can keep it from ending. Where a
//! folder of renders is open, the run gets a moment to end by itself, which it does between two blocks of sound; else, and
//! after that moment, what is unfinished is cleared away from outside.

use super::Leftovers;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, Ordering};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};
use std::thread::{Builder, park, sleep};
use std::time::{Duration, Instant};

/// Set when the program is asked to end; asked before every block.
static ASKED: LazyLock<Arc<AtomicBool>> = LazyLock::new(Arc::default);
/// Whether nothing is open that would be left half done.
static IDLE: LazyLock<Arc<AtomicBool>> = LazyLock::new(|| Arc::new(AtomicBool::new(true)));
/// What is open; a program has one folder open at a time, or few.
static OPEN: Mutex<Vec<Work>> = Mutex::new(Vec::new());
/// What is said at the end.
type Words = Arc<dyn Fn() + Send + Sync>;

/// What is said instead of the usual last words.
static PARTING: Mutex<Option<Words>> = Mutex::new(None);
/// Who ends the program: what it has to say, it says once.
static ENDS: AtomicU8 = AtomicU8::new(NOBODY);
const NOBODY: u8 = 0;
const RUN: u8 = 1;
const OUTSIDE: u8 = 2;

/// How long the run has to end by itself: longer than a block of sound takes, short for who waits.
const PATIENCE: Duration = Duration::from_millis(500);
const PAUSE: Duration = Duration::from_millis(5);

/// What `hitgap` ends with when it was asked to.
const STATUS: i32 = 130;

/// A piece of work that leaves something where it is broken off.
#[derive(Debug)]
struct Work {
    number: u64,
    leftovers: Option<Leftovers>,
}

/// Keeps a piece of work listed until it is dropped.
#[derive(Debug)]
pub struct AtWork(u64);

/// The program was asked to end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("interrupted; no half-written file is left under a final name")]
pub struct Interrupted;

/// Begins to listen. The first thing that the program does. `last_words` are said where it is ended from outside.
pub fn listen(last_words: fn()) {
    #[cfg(unix)]
    unix::listen(last_words);
    #[cfg(not(unix))]
    {
        let _ = last_words;
        listen_without_thread(&[SIGINT, SIGTERM]);
    }
}

/// For where there is no thread to be had: with nothing open the program ends at once and without a word, else the run ends
/// between two blocks; who asks again has it end at once.
fn listen_without_thread(signals: &[i32]) {
    for &signal in signals {
        // Where it cannot be listened to, the system ends the program: folders cope with that too.
        let _ = flag::register_conditional_shutdown(signal, STATUS, Arc::clone(&IDLE));
        let _ = flag::register_conditional_shutdown(signal, STATUS, Arc::clone(&ASKED));
        let _ = flag::register(signal, Arc::clone(&ASKED));
    }
}

#[cfg(unix)]
mod unix {
    use super::{Builder, SIGINT, SIGTERM, flag, hear, listen_without_thread};
    use signal_hook::consts::{SIGHUP, SIGXFSZ};
    use signal_hook::iterator::Signals;

    pub(super) fn listen(last_words: fn()) {
        // The system then refuses to let the file grow, as it does on a full disk, instead of ending the program.
        let _ = flag::register(SIGXFSZ, std::sync::Arc::default());
        let ignored = ignored();
        // Who started the program may have said that it is to outlive its terminal: `nohup`. An order to end is none of that.
        let goes_on = ignored >> (SIGHUP - 1) & 1 == 1;
        let heard: Vec<i32> = [SIGINT, SIGTERM, SIGHUP].into_iter().filter(|&s| s != SIGHUP || !goes_on).collect();
        let Ok(mut signals) = Signals::new(&heard) else { return };
        let hear = move || {
            if signals.forever().next().is_some() {
                hear(last_words, &mut || signals.pending().next().is_some());
            }
        };
        if Builder::new().name("listener".into()).spawn(hear).is_err() {
            listen_without_thread(&heard);
        }
    }

    /// The signals that are ignored from the start, a bit each from the first; none where the system does not tell.
    fn ignored() -> u64 {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
        mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
    }
}

/// The program is asked to end. `again` says whether it was asked once more.
#[cfg(unix)]
fn hear(last_words: fn(), again: &mut dyn FnMut() -> bool) {
    ASKED.store(true, Ordering::Relaxed);
    let since = Instant::now();
    // A terminal and whoever started the program may both ask, at one time.
    while since.elapsed() < PATIENCE && !IDLE.load(Ordering::Relaxed) {
        sleep(PAUSE);
        if again() && since.elapsed() > PATIENCE / 2 {
            break;
        }
    }
    // Held until the program has ended: whoever would begin or finish something in a folder now, waits.
    let open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
    if ENDS.compare_exchange(NOBODY, OUTSIDE, Ordering::SeqCst, Ordering::SeqCst).is_err() {
        drop(open);
        // It is about to end, unless even its last words are held up.
        sleep(PATIENCE);
        std::process::exit(STATUS);
    }
    open.iter().filter_map(|work| work.leftovers.as_ref()).for_each(Leftovers::remove);
    let parting = PARTING.lock().unwrap_or_else(PoisonError::into_inner).take();
    speak(&parting.unwrap_or_else(|| Arc::new(last_words)));
    std::process::exit(STATUS);
}

/// Says the last words, if whoever reads takes them: the run may be waiting for the same reader.
#[cfg(unix)]
fn speak(last_words: &Words) {
    let (said, over) = std::sync::mpsc::channel();
    let own = Arc::clone(last_words);
    let say = move || {
        own();
        let _ = said.send(());
    };
    if Builder::new().spawn(say).is_ok() {
        let _ = over.recv_timeout(PATIENCE);
    } else {
        last_words();
    }
}

/// Has something else said where the program is ended from outside.
pub fn parting(words: impl Fn() + Send + Sync + 'static) {
    *PARTING.lock().unwrap_or_else(PoisonError::into_inner) = Some(Arc::new(words));
}

/// The flag that what is long asks before every block.
#[must_use]
pub fn flag() -> &'static AtomicBool {
    &ASKED
}

/// Goes on unless the program was asked to end.
///
/// # Errors
/// [`Interrupted`], if it was.
pub fn go_on() -> Result<(), Interrupted> {
    if ASKED.load(Ordering::Relaxed) { Err(Interrupted) } else { Ok(()) }
}

/// Begins a piece of work that should come to its end, if that is a matter of moments.
#[must_use]
pub fn at_work() -> AtWork {
    static NUMBER: AtomicU64 = AtomicU64::new(0);
    let number = NUMBER.fetch_add(1, Ordering::Relaxed);
    let mut open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
    open.push(Work { number, leftovers: None });
    IDLE.store(false, Ordering::Relaxed);
    AtWork(number)
}

/// The run is over: from here on it alone has the word. Where the program is being ended from outside, this does not come back.
pub fn end() {
    if ENDS.compare_exchange(NOBODY, RUN, Ordering::SeqCst, Ordering::SeqCst) == Err(OUTSIDE) {
        loop {
            park();
        }
    }
}

impl AtWork {
    /// What is cleared away from outside, where this work does not come to its end by itself.
    pub fn leaves(&self, leftovers: &Leftovers) {
        let mut open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
        open.iter_mut().filter(|work| work.number == self.0).for_each(|work| work.leftovers = Some(leftovers.clone()));
    }
}

impl Drop for AtWork {
    fn drop(&mut self) {
        let mut open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
        open.retain(|work| work.number != self.0);
        IDLE.store(open.is_empty(), Ordering::Relaxed);
    }
}
