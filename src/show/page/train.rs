use super::frame::{Asks, escape, fill, json, policy};
use super::listen::CHECK;
use super::modules::{Module, joined, modules};
use super::sounds::{PageVoice, RATE};
use crate::ear::{Rule, Settings, Task};
use crate::sound::class_audio::HEADROOM_DB;
use crate::text::plain;
use crate::time::{Beat, Tempo};
use crate::voice::KFilter;
use std::sync::LazyLock;

/// All that a training page says and plays.
#[derive(Clone, Debug)]
pub struct TrainingPage {
    /// The names of the first and the second voice.
    pub names: [String; 2],
    /// What each of them is played from: the checksum of its files; `None` where a model draws it.
    pub sounds: [Option<String>; 2],
    /// The masters.
    pub voices: Vec<PageVoice>,
    /// For each of the two, which master it has and the factor on it.
    pub places: [(usize, f64); 2],
    /// Quarter notes a minute.
    pub tempo: Tempo,
    /// The bar of `tight or loose`; without one, both voices play on each of four beats.
    pub bar: Option<TrainingBar>,
    /// The caution about listening.
    pub care: String,
}

/// A patch's own bar.
#[derive(Clone, Debug)]
pub struct TrainingBar {
    /// What the patch is called.
    pub name: String,
    /// How long it is.
    pub length: Beat,
    /// What the two voices play in it.
    pub hits: Vec<TrainingHit>,
}

/// A hit of a patch's own bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrainingHit {
    /// From the bar's beginning.
    pub beat: Beat,
    /// 0 or 1: which of the two voices.
    pub player: usize,
    /// The factor of its accent.
    pub accent: f64,
}

impl TrainingBar {
    fn json(&self) -> serde_json::Value {
        let beats = |b: Beat| *b.numer() as f64 / *b.denom() as f64;
        let hit = |hit: &TrainingHit| serde_json::json!([beats(hit.beat), hit.player, hit.accent]);
        let hits: Vec<_> = self.hits.iter().map(hit).collect();
        serde_json::json!({ "name": plain(&self.name), "beats": beats(self.length), "hits": hits })
    }
}

const TEMPLATE: &str = concat!(include_str!("parts/head.html"), include_str!("parts/train.html"));
const STYLE: &str = concat!(include_str!("parts/page.css"), include_str!("parts/train.css"));
/// In this order: each uses those before it.
pub(super) const MODULES: &[Module] = modules![
    "engine",
    "chance",
    "loudness",
    "level",
    "master",
    "check",
    "staircase",
    "curve",
    "trace",
    "trial",
    "train-kept",
    "train-output",
    "train-words",
    "train",
];
static SCRIPT: LazyLock<String> = LazyLock::new(|| joined(MODULES));

/// The page, whole.
#[must_use]
pub fn training_page(page: &TrainingPage) -> String {
    let title = format!("Train your ear: {} and {} at {}", page.names[0], page.names[1], page.tempo);
    let about = |task: Task| match (task, &page.bar) {
        (Task::TwoOrOne, _) => "Which of three hits was two?".to_owned(),
        (Task::WhichFirst, _) => format!("Which came first, {} or {}?", page.names[0], page.names[1]),
        (Task::TightOrLoose, None) => "Which of two bars was loose?".to_owned(),
        (Task::TightOrLoose, Some(bar)) => format!("Which of two bars of {} was loose?", bar.name),
    };
    // Of one voice alone nobody can say which came first.
    let asked = |task: &&Task| **task != Task::WhichFirst || page.names[0] != page.names[1];
    let tasks: String = Task::ALL
        .iter()
        .filter(asked)
        .map(|task| {
            let checked = if *task == Task::TwoOrOne { " checked" } else { "" };
            format!(
                "<label><input type=\"radio\" name=\"task\" value=\"{}\"{checked}><span><strong>{}</strong> <span class=\"about\">{}</span></span></label>",
                task.name(),
                task.title(),
                escape(&about(*task))
            )
        })
        .collect();
    fill(
        TEMPLATE,
        &[
            ("csp", &escape(&policy(&SCRIPT, &[STYLE], Asks::Nobody))),
            ("title", &escape(&title)),
            ("style", STYLE),
            ("check", CHECK),
            ("care", &escape(&page.care)),
            ("tasks", &tasks),
            ("footer", "Made by hitgap. Nothing here is sent anywhere."),
            ("data", &json(&data(page))),
            ("script", SCRIPT.as_str()),
        ],
    )
}

fn data(page: &TrainingPage) -> serde_json::Value {
    let s = Rule::published(2).map(Settings::usual).ok();
    let staircase = s.map(|s| {
        serde_json::json!({
            "start": s.start, "floor": s.floor, "ceiling": s.ceiling, "large_step": s.large_step,
            "small_step": s.small_step, "large_turns": s.large_reversals, "turns": s.reversals, "most_trials": s.most_trials,
        })
    });
    let voice = |(name, sound): (&String, &Option<String>)| match sound {
        Some(sound) => serde_json::json!({ "name": plain(name), "sound": sound }),
        None => serde_json::json!({ "name": plain(name) }),
    };
    serde_json::json!({
        "format": 1,
        "rate": RATE,
        "headroom_db": HEADROOM_DB,
        "k": KFilter::new(f64::from(RATE)).coefficients(),
        "tempo_bpm": page.tempo.bpm(),
        "voices": page.names.iter().zip(&page.sounds).map(voice).collect::<Vec<_>>(),
        "masters": page.voices.iter().map(PageVoice::sent).collect::<Vec<_>>(),
        "places": page.places,
        "bar": page.bar.as_ref().map(TrainingBar::json),
        "ratios": Rule::RATIOS,
        "staircase": staircase,
    })
}
