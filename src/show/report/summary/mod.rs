//! The main thing first: a sentence, then a grid of versions by tempos, then what stands against those that are not together.

mod against;
mod first;
mod grid;
mod headline;
mod legend;

pub(super) use against::against;
pub(super) use grid::grid;
pub use grid::{Layout, cell_lines, state_word};
pub(super) use headline::headline;
pub use headline::verdict_sentence;
pub(super) use legend::legend;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Judged, judge};
    use crate::patch::{Asked, Patch};
    use crate::rig::play;
    use crate::show::report::{Checked, words};
    use unicode_width::UnicodeWidthStr;

    fn patch(name: &str) -> Patch {
        let file = format!("{}/patches/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(file).expect("an example");
        Patch::parse(&text, &Asked::default()).expect("a patch")
    }

    fn checked(patch: &Patch) -> Checked<'_> {
        let variants = std::iter::once(&patch.original).chain(&patch.fixes);
        let cells = variants.flat_map(|variant| patch.tempos.iter().map(move |&tempo| (variant, tempo)));
        let results = cells.map(|(variant, tempo)| {
            let performance = play(&variant.rig, tempo).expect("played");
            let verdict = judge(&variant.rig, &performance, patch.max_gap).expect("judged");
            let (colours, sure, drawn, breakdown) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
            Judged { variant, tempo, verdict, colours, sure, drawn, breakdown, runs: None }
        });
        Checked { name: "x.toml".into(), patch, bars: None, max_gap_from: None, results: results.collect() }
    }

    #[test]
    fn the_sentence_begins_with_what_holds_and_ends_with_the_original() {
        let patch = patch("late-bell");
        assert_eq!(
            headline(&checked(&patch)),
            "The late bell: `or-gate` holds at every tempo; `phase` is on the one, but apart by 7.5 to 24 ms; the original is off the one: wren is 2 beats late."
        );
    }

    /// By hand: of sixteenths the next pulse is a quarter of a beat late, of one pulse in two beats two beats.
    #[test]
    fn who_is_furthest_off_is_named_first_wherever_not_all_are() {
        let clock = "tempos = [60, 120]\n[clock.sixteenths]\nrate = '4 per beat'\n[clock.slow]\nrate = '1 per 2 beats'\n\
                     [clock.home]\nrate = '1 per 16 beats'\n";
        let plays = |name: &str, clock: &str, mode: &str| {
            format!(
                "[sequencer.{name}]\nclock = '{clock}'\nreset = 'home'\nreset-mode = '{mode}'\nsteps = 'Xxxxxxxx'\nvoice = 'click'\n"
            )
        };
        let (ox, near) = (plays("ox", "sixteenths", "this-clock"), plays("near", "sixteenths", "next-clock"));
        let far = plays("far", "slow", "next-clock");
        for boxes in [[&ox, &near, &far], [&far, &near, &ox], [&near, &far, &ox]] {
            let text = format!("{clock}{}", boxes.map(String::as_str).concat());
            let patch = Patch::parse(&text, &Asked::default()).expect("a patch");
            let checked = checked(&patch);
            let said = headline(&checked);
            assert!(said.contains(": far is 2 beats late, and 1 more."), "{said}");
            for judged in &checked.results {
                let cell = cell_lines(judged, patch.max_gap);
                assert_eq!([&cell[0], &cell[2]], ["far 2 beats late", "and 1 more"]);
                let all = words::one_phrase_short(&judged.variant.rig, &judged.verdict.standings);
                assert_eq!(all, "far, 2 beats late; near, 1/4 beat late");
            }
        }
    }

    #[test]
    fn a_grid_is_as_wide_as_its_room_and_loses_no_cell() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        for width in [20, 40, 79, 80, 200] {
            let text = grid(&checked, Layout { width, colour: false });
            let widest = text.lines().map(UnicodeWidthStr::width).max().expect("lines");
            // One column stands however narrow the room is: a name of 8, two blanks, and 17 of "wren 2 beats late".
            assert!(widest <= width.max(27), "{width}: {widest}");
            assert_eq!(text.matches("! off the one").count(), 4);
            assert_eq!(text.matches("~ apart").count(), 4);
            assert_eq!(text.matches("= together").count(), 4);
        }
    }

    #[test]
    fn colours_are_never_the_only_sign() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        let coloured = grid(&checked, Layout { width: 200, colour: true });
        let mut bare = coloured.clone();
        for code in ["\u{1b}[1;31m", "\u{1b}[33m", "\u{1b}[32m", "\u{1b}[0m"] {
            assert!(coloured.contains(code), "{code:?}");
            bare = bare.replace(code, "");
        }
        assert_eq!(bare, grid(&checked, Layout { width: 200, colour: false }));
    }

    #[test]
    fn a_fault_is_said_once() {
        let patch = patch("late-bell");
        let checked = checked(&patch);
        let lines: Vec<Vec<String>> = checked
            .results
            .chunk_by(|a, b| a.variant.name == b.variant.name)
            .map(|same| against(&checked, same))
            .collect();
        assert_eq!(
            lines,
            [
                vec![
                    "at every tempo: wren is off the one, 2 beats late, 1 clock pulse: 2400, 1500, 1000, 750 ms"
                        .to_owned()
                ],
                vec!["at every tempo: wren after ox: 24, 15, 10, 7.5 ms (split, flam)".to_owned()],
                vec![],
            ]
        );
    }
}
