//! A search that was stopped goes on where it was, and ends as if nobody had stopped it.

use super::random::{Dice, rig};
use hitgap::judge::advise::Aim;
use hitgap::judge::mend::{Catalogue, Extent, Mended, Question, Stopped, Watch, Wishes, mend};
use hitgap::patch::{Asked, Patch};
use std::sync::Mutex;

/// The answer, and what was judged anew: how many sets, and their verdicts.
fn search(question: &Question<'_>, known: &[u8], limit: Option<u64>) -> (Mended, usize, Vec<u8>) {
    let anew: Mutex<(usize, Vec<u8>)> = Mutex::default();
    let judged = |count: usize, bytes: &[u8]| {
        let mut anew = anew.lock().expect("nobody panicked");
        anew.0 += count;
        anew.1.extend_from_slice(bytes);
    };
    let mended = mend(question, &Watch { judged: &judged, known, limit, ..Watch::nobody() });
    let (count, bytes) = anew.into_inner().expect("nobody panicked");
    (mended, count, bytes)
}

/// Stopped after one set, after a few, at the edges of levels and of what is judged at once, and twice on the way.
#[test]
fn a_search_that_was_stopped_ends_as_one_that_was_not() {
    let (mut stops, mut found) = (0, 0);
    for seed in 1..=6 {
        let text = rig(&mut Dice::new(seed));
        let patch = Patch::parse(&text, &Asked::default()).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let catalogue = Catalogue::new(&patch, &patch.components, &Wishes::default()).expect("changes");
        let aim = Aim { max_gap: patch.max_gap, skew: patch.skew };
        let extent = Extent { budget: 2, beyond: true };
        let question = Question { patch: &patch, catalogue: &catalogue, aim, tempos: &patch.tempos, extent };
        let (whole, all, verdicts) = search(&question, &[], None);
        found += whole.proposals.len();
        let level = whole.levels.first().map_or(0, |level| level.judged);
        let places =
            [1, 2, level.saturating_sub(1), level, level + 1, 4095, 4096, 4097, all as u64 - all.min(1) as u64];
        for stop in places.into_iter().filter(|stop| *stop > 0 && *stop < all as u64) {
            let (stopped, count, mut known) = search(&question, &[], Some(stop));
            assert_eq!((stopped.stopped, count as u64), (Some(Stopped::Limit), stop), "seed {seed}");
            assert!(!stopped.is_complete());
            // Once more stopped, and then to the end.
            let (_, more, bytes) = search(&question, &known, Some(3));
            known.extend(bytes);
            let (ended, rest, bytes) = search(&question, &known, None);
            known.extend(bytes);
            assert_eq!(count + more + rest, all, "seed {seed}, stopped after {stop}");
            assert_eq!(known, verdicts, "seed {seed}, stopped after {stop}");
            assert_eq!(format!("{ended:?}"), format!("{whole:?}"), "seed {seed}, stopped after {stop}");
            stops += 1;
        }
        // What is known to its end is judged by nobody.
        let (again, none, _) = search(&question, &verdicts, None);
        assert_eq!((none, format!("{again:?}")), (0, format!("{whole:?}")), "seed {seed}");
    }
    assert!(stops > 12 && found > 3, "{stops} stops, {found} found");
}

/// What is asked, and all that the answer hangs on, tells searches apart.
#[test]
fn the_print_of_a_search_is_that_of_what_is_asked() {
    let text = rig(&mut Dice::new(3));
    let read = |text: &str| Patch::parse(text, &Asked::default()).unwrap_or_else(|e| panic!("{e}"));
    let print = |text: &str, wishes: &Wishes, budget: usize, max_gap: i64| {
        let patch = read(text);
        let catalogue = Catalogue::new(&patch, &patch.components, wishes).expect("changes");
        let aim = Aim { max_gap: hitgap::time::Span(max_gap), skew: patch.skew };
        let extent = Extent { budget, beyond: false };
        Question { patch: &patch, catalogue: &catalogue, aim, tempos: &patch.tempos, extent }.print(text)
    };
    let usual = || print(&text, &Wishes::default(), 2, 2_000_000_000);
    assert_eq!(usual(), usual());
    let kept = Wishes { keep: vec!["dial".to_owned(), "cable".to_owned()], ..Wishes::default() };
    let priced = Wishes { prices: vec![("cable".to_owned(), 7)], ..Wishes::default() };
    let others = [
        print(&text, &kept, 2, 2_000_000_000),
        print(&text, &priced, 2, 2_000_000_000),
        print(&text, &Wishes::default(), 3, 2_000_000_000),
        print(&text, &Wishes::default(), 2, 2_000_000_001),
        print(&text.replacen("bars = 4", "bars = 5", 1), &Wishes::default(), 2, 2_000_000_000),
    ];
    others.iter().for_each(|other| assert_ne!(*other, usual()));
}
