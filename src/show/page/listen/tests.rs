use super::*;
use crate::show::report::plain;
use crate::sound::render::Master;

fn hit(at: Instant, bar: u32) -> LoopHit {
    LoopHit { at, voice: 0, gain: 1.0, bar, player: 0, due: Instant(0), first: false }
}

/// One tempo, two versions, a hit each.
pub(super) fn page(title: &str, note: Option<&str>) -> ListeningPage {
    let cell = Cell {
        hits: vec![hit(Instant(0), 0), LoopHit { gain: 0.5, ..hit(Instant(500_000_000_001), 0) }],
        gain: 1.0,
        passes: true,
        state: State::Together,
        lines: vec!["24 ms".to_owned()],
        misses: "nobody".to_owned(),
        gap: "wren 24 ms after ox".to_owned(),
        worst: Some(Span::from_ms(24)),
        band: Some(("flam".to_owned(), "two strokes".to_owned())),
        timing: None,
    };
    let variant = |name: &str| PageVariant {
        name: name.to_owned(),
        about: note.map(str::to_owned),
        players: vec![PagePlayer { name: title.to_owned(), pattern: "x.".to_owned() }],
    };
    ListeningPage {
        lead: title.to_owned(),
        title: title.to_owned(),
        note: note.map(str::to_owned),
        source: title.to_owned(),
        max_gap: Span::from_ms(2),
        care: "Start low.".to_owned(),
        voices: vec![PageVoice::new(Master { samples: vec![0.0, 1.0, -0.5, 0.25], pre: 1 })],
        variants: vec![variant("original"), variant("phase")],
        tempos: vec![PageTempo {
            tempo: Tempo::whole(120),
            bar: Span::from_ms(2000),
            beats: vec![(Instant(0), true)],
            available: 8,
            bars: 3,
            cells: vec![Some(cell.clone()), Some(cell)],
            note: None,
        }],
        pictures: vec![],
        extra: None,
    }
}

fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    text.split_once(before).and_then(|(_, rest)| rest.split_once(after)).expect("both marks").0
}

#[test]
fn no_text_gets_out_of_its_place() {
    for hostile in ["</script><script>x</script>", "<!--", "{{script}} {{data}}", "\" onload=\"x", "'&amp;", "\u{2028}"]
    {
        let text = listening_page(&page(hostile, Some(hostile)));
        assert_eq!(text.matches("<script").count(), 2, "{hostile}");
        assert_eq!(text.matches("</script").count(), 2, "{hostile}");
        assert_eq!(text.matches("<!--").count(), 0, "{hostile}");
        assert_eq!(between(&text, "<h1 dir=\"auto\">", "</h1>"), escape(hostile));
        // Serde reads back what was put in, controls marked.
        let data = between(&text, "id=\"data\">", "</script>");
        let data: serde_json::Value = serde_json::from_str(data).expect("JSON");
        assert_eq!(data["title"], plain(hostile));
    }
}

#[test]
fn picoseconds_get_to_the_page() {
    let text = listening_page(&page("a", None));
    let data: serde_json::Value = serde_json::from_str(between(&text, "id=\"data\">", "</script>")).expect("JSON");
    assert_eq!(data["tempos"][0]["cells"][0]["hits"][1][0], 500.000_000_001);
    assert_eq!(data["tempos"][0]["barMs"], 2000.0);
}

#[test]
fn loops_are_powers_of_two_and_what_it_takes() {
    let text = bars(&page("a", None));
    let values: Vec<&str> = text.split("value=\"").skip(1).map(|v| v.split('"').next().expect("a value")).collect();
    assert_eq!(values, ["1", "2", "3", "4", "8"]);
}

/// Loops of at most 64 bars: what is due in them is on the page, whenever it sounds; verdicts are of the whole.
#[test]
fn what_no_loop_reaches_is_left_out() {
    let mut long = page("a", None);
    long.tempos[0].available = 1000;
    let cell = long.tempos[0].cells[1].as_mut().expect("a cell");
    let line = Instant(Span::from_ms(128_000).0);
    cell.hits = vec![hit(Instant(-1), 0), hit(Instant(line.0 + 1), 63), hit(Instant(line.0 - 1), 64)];
    let figures = serde_json::to_value(data(&long)).expect("JSON");
    let cell = &figures["tempos"][0]["cells"][1];
    assert_eq!(
        cell["hits"],
        serde_json::json!([[-1e-9, 0, 1.0, 0, 0, 0.0, 0], [128_000.000_000_001, 0, 1.0, 63, 0, 0.0, 0]])
    );
    assert_eq!((&cell["gap"], &cell["gapMs"]), (&"wren 24 ms after ox".into(), &24.0.into()));
    // A piece that takes longer until it repeats has a loop as long.
    long.tempos[0].bars = 65;
    let figures = serde_json::to_value(data(&long)).expect("JSON");
    assert_eq!(figures["tempos"][0]["cells"][1]["hits"].as_array().map(Vec::len), Some(3));
}

#[test]
fn blank_lines_part_a_note() {
    assert_eq!(
        note("\n a\nb\n\n\n<c> \n"),
        "<p class=\"note\" dir=\"auto\">a b</p><p class=\"note\" dir=\"auto\">&lt;c&gt;</p>"
    );
}

#[test]
fn past_the_budget_it_says_so() {
    assert_eq!(over_budget(BUDGET, "all"), None);
    let said = over_budget(9_260_000, "tempos with `--tempo`").expect("a word");
    assert!(said.starts_with("the page has 9.3 MB, and 8 MB is"), "{said}");
    assert!(said.contains("help: leave out") && said.ends_with(": tempos with `--tempo`"), "{said}");
}
