//! Whatever bytes come in: a value, or a fault that says where and what. Never a panic, never unbounded work.
//!
//! A short run goes with all other tests; `PROPTEST_CASES=100000 cargo test --release --test fuzz` is a soak. What it finds
//! becomes a file in `tests/finds`, named after what was wrong, with the ending of what it was read as.

mod ears;
pub(crate) mod edits;
mod finds;
mod lessons;
mod patches;
mod sounds;
mod takes;
mod words;

use proptest::test_runner::Config;

/// So many cases, unless the environment asks for others.
pub(crate) fn cases(usual: u32) -> Config {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok());
    Config { cases: asked.unwrap_or(usual), max_shrink_iters: 20_000, failure_persistence: None, ..Config::default() }
}

/// Nothing that a terminal would obey.
#[track_caller]
pub(crate) fn is_plain(text: &str) {
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
}
