use super::Advised;
use super::advise_aside::needs_first;
use super::advise_figures::ends_in_ms;
use crate::judge::advise::{Fit, Window};
use crate::time::Span;

/// The answer of an advice in a sentence or two: which delays will do at every tempo, that none does, or who stands in
/// the way.
#[must_use]
pub fn advise_sentence(advised: &Advised<'_>) -> String {
    if let Some((aside, advice)) = advised.aside {
        return needs_first(advised, aside, advice);
    }
    let advice = advised.advice;
    let on = advice.target.name(advised.rig);
    let all = |windows: &[Window]| {
        let one = |w: &Window| {
            let [least, most] = ends_in_ms(*w);
            format!("{least} to {most} ms")
        };
        windows.iter().map(one).collect::<Vec<_>>().join(", or ")
    };
    let every = match advice.tempos[..] {
        [ref only] => format!("at {}", only.tempo),
        _ => "at every tempo".to_owned(),
    };
    if advice.sure.first().is_some_and(|window| window.least == Span::ZERO) {
        return format!("Nothing is needed: everybody is on the one {every} without more delay on {on}.");
    }
    if !advice.sure.is_empty() {
        return format!("{} more delay on {on} puts everybody on the one {every}.", all(&advice.sure));
    }
    if !advice.passes.is_empty() {
        return format!(
            "{} more delay on {on} passes {every}, but is at risk: a little drift changes it.",
            all(&advice.passes)
        );
    }
    let none: Vec<String> =
        advice.tempos.iter().filter(|at| at.passes.is_empty()).map(|at| at.tempo.to_string()).collect();
    match none[..] {
        [] => format!("Each tempo has its own delay on {on}; no single one serves them all."),
        _ if none.len() == advice.tempos.len() => format!("No delay on {on} puts everybody on the one {every}."),
        _ => format!("No delay on {on} will do at {}.", none.join(", ")),
    }
}

/// How a component does, in a few words.
#[must_use]
pub fn fit_phrase(fit: Fit) -> &'static str {
    match fit {
        Fit::Always => "fits at every tempo",
        Fit::Sometimes => "fits at some tempos",
        Fit::AtRisk => "at risk",
        Fit::Never => "does not fit",
    }
}
