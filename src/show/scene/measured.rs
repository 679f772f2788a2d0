use crate::measure::{Finding, Kind, Shot};
use crate::show::picture::{LatePicture, LatePoint, SpreadPicture, WavePanel, WavePicture};
use crate::show::report::Measured;
use crate::text::rounded;

/// Places of the line over tempo.
const PLACES: u32 = 64;
/// What is drawn around where a hit begins, in milliseconds.
const AROUND_MS: [f64; 2] = [-3.0, 8.0];
/// Gaps that mark where shares of all lie, in hundredths.
const SHARES: [u32; 3] = [5, 50, 95];

/// How late a box was measured to be at each tempo, and what explains it.
#[must_use]
pub fn late_picture(measured: &Measured<'_>, finding: &Finding, name: &str) -> LatePicture {
    let (who, against) = (measured.name(finding), measured.against(finding));
    let ms = |seconds: f64| seconds * 1e3;
    let points: Vec<LatePoint> = finding
        .sessions
        .iter()
        .filter_map(|session| {
            let of = session.summary()?;
            let range_ms = [ms(of.range.0), ms(of.range.1)];
            Some(LatePoint { tempo: session.tempo, ms: ms(of.mean), range_ms })
        })
        .collect();
    let ends = points.iter().fold((f64::MAX, f64::MIN), |e, p| (e.0.min(p.tempo), e.1.max(p.tempo)));
    let place = |n: u32| {
        let tempo = ends.0 + (ends.1 - ends.0) * f64::from(n) / f64::from(PLACES);
        let (at, error) = explained(measured, finding, tempo);
        (tempo, ms(at), [ms(at - 1.96 * error), ms(at + 1.96 * error)])
    };
    // A wait has no line, nor has one tempo, nor what lies on none.
    let lined = !matches!(finding.verdict.kind, Kind::Lattice(_) | Kind::NoLine) && !finding.verdict.unwrapped;
    LatePicture {
        name: name.to_owned(),
        title: format!("How late {who} is over tempo"),
        about: String::new(),
        line: if lined && ends.0 < ends.1 { (0..=PLACES).map(place).collect() } else { Vec::new() },
        points,
        later: format!("{who} after {against}"),
    }
}

/// What the verdict says of a tempo, and its standard error without that of the onset, which moves all of it alike.
fn explained(measured: &Measured<'_>, finding: &Finding, tempo: f64) -> (f64, f64) {
    let verdict = &finding.verdict;
    let period = 60.0 / tempo / measured.request.places;
    let own = |error: f64| (error * error - finding.onset * finding.onset).max(0.0).sqrt();
    match verdict.kind {
        Kind::Together | Kind::Fixed => (verdict.constant.value, own(verdict.constant.error)),
        // The line runs through the middle of the periods, about which its two errors are each other's strangers.
        _ => {
            let periods: Vec<f64> = finding.sessions.iter().map(|session| session.period).collect();
            let middle = periods.iter().sum::<f64>() / periods.len().max(1) as f64;
            let level = own(verdict.constant.error);
            let at = verdict.fixed.value + verdict.share.value * period;
            (at, level.hypot(verdict.share.error * (period - middle)))
        }
    }
}

/// How the gaps are spread at the tempo at which they are spread most; nothing where it does not waver.
#[must_use]
pub fn measured_spread(measured: &Measured<'_>, finding: &Finding, name: &str) -> Option<SpreadPicture> {
    let (who, against) = (measured.name(finding), measured.against(finding));
    let wide = |session: &crate::measure::Session| session.summary().map_or(0.0, |of| of.range.1 - of.range.0);
    // What does not waver has nothing to be spread: its errors are in the table.
    if !finding.sessions.iter().filter_map(crate::measure::Session::summary).any(|of| of.wavers) {
        return None;
    }
    let session = finding.sessions.iter().max_by(|a, b| wide(a).total_cmp(&wide(b)))?;
    let mut gaps: Vec<f64> = session.gaps.iter().map(|gap| gap.gap * 1e3).collect();
    gaps.sort_by(f64::total_cmp);
    if gaps.len() < 3 {
        return None;
    }
    let mark = |share: u32| {
        let gap = crate::stats::quantile(&gaps, f64::from(share) / 100.0);
        (format!("{share} %: {} ms", rounded(gap, 3)), gap)
    };
    Some(SpreadPicture {
        name: name.to_owned(),
        title: format!("How the gap of {who} is spread"),
        about: format!("at {}, where it is spread most; {} hits", session.tempo, gaps.len()),
        marks: SHARES.map(mark).to_vec(),
        gaps: gaps.iter().map(|gap| (*gap, 1)).collect(),
        max_gap_ms: f64::INFINITY,
        later: format!("{who} after {against}"),
        earlier: "before it".to_owned(),
    })
}

/// How hits of a box begin: the mean of those that sound alike.
#[must_use]
pub fn beginning_picture(measured: &Measured<'_>, finding: &Finding, name: &str) -> Option<WavePicture> {
    let (wave, begins) = &finding.wave;
    let a_ms = measured.findings.rate / 1e3;
    let first = (begins + AROUND_MS[0] * a_ms).floor().max(0.0) as usize;
    let last = ((begins + AROUND_MS[1] * a_ms).ceil().max(0.0) as usize).min(wave.len());
    let samples: Vec<f32> = wave.get(first..last)?.iter().map(|sample| *sample as f32).collect();
    let sure = finding.onset * 1.96e3;
    let from_ms = (first as f64 - begins) / a_ms;
    Some(WavePicture {
        name: name.to_owned(),
        title: format!("How {} begins", measured.name(finding)),
        about: "The mean of its hits; it begins at a tenth of its peak.".to_owned(),
        zero: "where it begins".to_owned(),
        from_ms,
        to_ms: AROUND_MS[1],
        panels: vec![WavePanel {
            name: measured.name(finding),
            rate: measured.findings.rate as u32,
            samples,
            onsets: vec![(0.0, "onset".to_owned())],
            gap: Some((-sure, sure, format!("± {} ms", rounded(sure, 3)))),
            note: String::new(),
        }],
    })
}

/// A typical hit beside what it is held against.
#[must_use]
pub fn shot_picture(measured: &Measured<'_>, finding: &Finding, shot: &Shot, name: &str) -> WavePicture {
    let (who, against) = (measured.name(finding), measured.against(finding));
    let rate = measured.findings.rate;
    let gap = shot.gap * 1e3;
    // Each to its own largest: a channel's level says nothing of the other's.
    let whole = |samples: &[f32]| {
        let peak = samples.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
        samples.iter().map(|sample| if peak > 0.0 { sample / peak } else { 0.0 }).collect::<Vec<f32>>()
    };
    let [first, second] = &shot.channels;
    let panel = |name: &str, samples: &[f32], at: f64| WavePanel {
        name: name.to_owned(),
        rate: rate as u32,
        samples: whole(samples),
        onsets: vec![(at, name.to_owned())],
        gap: None,
        note: String::new(),
    };
    let mut panels = vec![panel(&against, first, 0.0), panel(&who, second, gap)];
    panels[1].gap = Some((gap.min(0.0), gap.max(0.0), format!("{} ms", rounded(gap.abs(), 3))));
    WavePicture {
        name: name.to_owned(),
        title: format!("{who} and {against} at {}", shot.tempo),
        about: "A typical hit, as recorded; each channel is drawn to its own size.".to_owned(),
        zero: format!("{against}'s pulse or hit"),
        from_ms: shot.from * 1e3,
        to_ms: (shot.from + first.len() as f64 / rate) * 1e3,
        panels,
    }
}
