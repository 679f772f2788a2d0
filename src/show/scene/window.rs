use crate::judge::advise::{Advice, AtTempo, Part};
use crate::patch::Rig;
use crate::show::picture::{Component, WindowPicture};

/// An advice as a picture's figures: the delays that are sure at each tempo, and the components that let pulses through.
#[must_use]
pub fn window_picture((name, title): (&str, &str), rig: &Rig, advice: &Advice) -> WindowPicture {
    let mut tempos: Vec<&AtTempo> = advice.tempos.iter().collect();
    tempos.sort_by_key(|at| at.tempo);
    let windows = |at: &AtTempo| at.sure.iter().map(|w| (w.least.ms(), w.most.ms())).collect();
    let component = |part: &Part| {
        let (delay, usual) = (part.delay?, part.usual?);
        let (min_ms, typ_ms, max_ms) = (delay.least.ms(), usual.ms(), delay.most.ms());
        Some(Component { name: part.name.clone(), min_ms, typ_ms, max_ms })
    };
    WindowPicture {
        name: name.to_owned(),
        title: title.to_owned(),
        about: format!("more delay on {}", advice.target.name(rig)),
        tempos: tempos.iter().map(|at| at.tempo.bpm()).collect(),
        windows: tempos.iter().map(|at| (at.tempo.bpm(), windows(at))).collect(),
        components: advice.parts.iter().filter_map(component).collect(),
    }
}
