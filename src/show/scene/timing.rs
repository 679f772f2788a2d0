use super::moment::Moment;
use crate::hits::{Hit, list};
use crate::patch::{Path, Rig, Source};
use crate::rig::{Edge, InputPulses, Performance, Point, Probed, Pulse, listen, probe};
use crate::show::picture::{Distance, Lane, TimingPicture, Trace, Wire};
use crate::show::report::{gap_ms, ms};
use crate::text::nine_places;
use crate::time::{Beat, Clockwork, Instant, PS_PER_MS, Span};

/// A distance of a reset from the next decision is worth an arrow up to this.
const NEAR: Span = Span(20 * PS_PER_MS);
/// With more lanes than this, an input that hangs on an output without anything between is left out.
const MANY: usize = 22;
/// The most arrows.
const MOST_DISTANCES: usize = 8;

/// What happens on every wire around a moment of a performance of a rig that is judged by a max gap, zoomed to where the action is: the reset's edges, the
/// clock's that are next to them, and the hits that are due there.
#[must_use]
pub fn timing_picture(
    about: (&str, &str, &str),
    (rig, max_gap): (&Rig, Span),
    performance: &Performance,
    moment: &Moment,
) -> TimingPicture {
    let zero = moment.at;
    let heard = listen(rig, performance);
    let hits = list(rig, performance);
    let due = due_there(rig, &hits, moment);
    let (from, to) = stretch(&heard, &due, moment);
    let at = |instant: Instant| (instant - zero).ms();
    let mut lanes: Vec<Lane> = Vec::new();
    let trace = |kind: Wire, edges: &[Edge]| level(kind, edges, zero, (from, to));
    let probed = probe(rig, performance);
    let of_kind = |p: &Probed| match p.point {
        Point::Output(n) => Some((0, n, rig.outputs[n].name.clone())),
        Point::Wire(n) => Some((1, n, rig.wires[n].name.clone())),
        Point::Stage(n) => Some((2, n, rig.stages[n].label().to_owned())),
        Point::Sequencer(_) => None,
    };
    let mut points: Vec<((usize, usize, String), &Probed)> =
        probed.iter().filter_map(|p| Some((of_kind(p)?, p))).collect();
    points.sort_by_key(|((kind, n, _), _)| (*kind, *n));
    for same in points.chunk_by(|a, b| a.0 == b.0) {
        for (channel, ((kind, _, name), probed)) in same.iter().enumerate() {
            let wire = if *kind == 0 { Wire::Clock } else { Wire::Stage };
            let name = if same.len() > 1 { format!("{name} {}", channel + 1) } else { name.clone() };
            lanes.push(Lane { name, group: usize::from(*kind > 0), trace: trace(wire, &probed.edges) });
        }
    }
    let crowded = lanes.len() + 3 * rig.sequencers.len() > MANY;
    let bare = |path: &Path| path.stages.is_empty() && matches!(path.source, Source::Output(_));
    // Where each sequencer's lanes are, for arrows.
    let mut places: Vec<[usize; 3]> = Vec::new();
    for (n, sequencer) in rig.sequencers.iter().enumerate() {
        let mut place = [0; 3];
        let inputs = [("clock", Some(&sequencer.clock), Wire::Clock, &heard[n].clock)];
        let reset = sequencer.reset.as_ref().map(|r| &r.path);
        let inputs = inputs.into_iter().chain([("reset", reset, Wire::Reset, &heard[n].reset)]);
        for (port, (what, path, kind, pulses)) in inputs.enumerate() {
            let Some(path) = path else { continue };
            place[port] = match path.source {
                Source::Output(o) if crowded && bare(path) => {
                    lanes.iter().position(|l| l.group == 0 && l.name == rig.outputs[o].name).unwrap_or(0)
                }
                _ => {
                    lanes.push(Lane {
                        name: format!("{} {what}", sequencer.name),
                        group: n + 2,
                        trace: trace(kind, &edges(pulses)),
                    });
                    lanes.len() - 1
                }
            };
        }
        place[2] = lanes.len();
        lanes.push(sounding(rig, &hits, n, n + 2, zero, (from, to)));
        places.push(place);
    }
    for take in 0..rig.takes.len() {
        let player = rig.sequencers.len() + take;
        places.push([0, 0, lanes.len()]);
        lanes.push(sounding(rig, &hits, player, player + 2, zero, (from, to)));
    }
    let clockwork = rig.clockwork(performance.tempo);
    let mut distances = gaps((rig, max_gap), &due, (zero, &clockwork), &places);
    distances.truncate(MOST_DISTANCES);
    for (n, reset, margin) in &moment.margins {
        // The edge of the clock that stands this far from an edge of the reset decides.
        let Some(pulse) = heard[*n].reset.iter().find(|p| p.rise == *reset) else { continue };
        let mine = [pulse.rise, pulse.fall];
        let theirs = heard[*n].clock.iter().flat_map(|p| [p.rise, p.fall]);
        let pair = theirs.flat_map(|t| mine.map(|m| (m, t))).find(|(m, t)| (*t - *m).abs() == *margin);
        let shown = |i: &Instant| (from..=to).contains(i);
        if let Some((m, t)) = pair.filter(|(m, t)| m != t && *margin <= NEAR && shown(m) && shown(t)) {
            let name = &rig.sequencers[*n].name;
            distances.push(Distance {
                from: (at(m), places[*n][1]),
                to: (at(t), places[*n][0]),
                label: format!("{name} decides by {} ms", ms(*margin)),
            });
        }
    }
    distances.truncate(MOST_DISTANCES);
    TimingPicture {
        name: about.0.to_owned(),
        title: about.1.to_owned(),
        about: about.2.to_owned(),
        zero: format!("beat {}", nine_places(moment.beat)),
        from_ms: at(from),
        to_ms: at(to),
        lanes,
        distances,
    }
}

/// What is due at the moment; where nothing is, what is due next. Who is off and has nothing due there, since its pattern
/// rests, is off all the same: of it the next hit counts too, and whatever was due together with that.
fn due_there<'h>(rig: &Rig, hits: &'h [Hit], moment: &Moment) -> Vec<&'h Hit> {
    let later = || hits.iter().filter(|h| h.due >= moment.beat);
    let mut beats: Vec<Beat> = later().map(|h| h.due).min().into_iter().collect();
    for player in 0..rig.sequencers.len() {
        let next = later().filter(|h| h.sequencer == player).min_by_key(|h| (h.due, h.at));
        beats.extend(next.filter(|h| h.beat != h.due).map(|h| h.due));
    }
    let first = beats.first().copied();
    // Who is right and only plays along where another is late is not what the picture is about.
    let late = |h: &Hit| beats.contains(&h.due) && hits.iter().any(|o| o.due == h.due && o.beat != o.due);
    hits.iter().filter(|h| Some(h.due) == first || late(h)).collect()
}

/// From the first to the last of what matters, and some room on both sides.
fn stretch(heard: &[InputPulses], due: &[&Hit], moment: &Moment) -> (Instant, Instant) {
    let mut all: Vec<Instant> = due.iter().map(|h| h.at).chain([moment.at]).collect();
    let nearest = |pulses: &[Pulse], to: Instant| pulses.iter().map(|p| p.rise).min_by_key(|r| (*r - to).abs());
    let mut width: Option<Span> = None;
    for heard in heard {
        let reset = nearest(&heard.reset, moment.at).filter(|r| (*r - moment.at).abs() <= NEAR);
        all.extend(reset);
        let around = reset.unwrap_or(moment.at);
        all.extend(nearest(&heard.clock, around).filter(|r| (*r - around).abs() <= NEAR));
        let here = heard.clock.iter().chain(&heard.reset).filter(|p| (p.rise - moment.at).abs() <= NEAR);
        let narrow = here.map(|p| p.fall - p.rise).filter(|w| *w > Span::ZERO && *w < Span(NEAR.0 * 10)).min();
        width = width.into_iter().chain(narrow).min();
    }
    let (first, last) = (all.iter().min().copied(), all.iter().max().copied());
    let (first, last) = (first.unwrap_or(moment.at), last.unwrap_or(moment.at));
    let long = match last - first {
        // All at one instant: as much as a pulse is long.
        Span(0) => width.unwrap_or(Span(5 * PS_PER_MS)),
        long => long,
    };
    (first + Span(-(long.0 / 4).max(1)), last + Span((long.0 / 2).max(1)))
}

fn edges(pulses: &[Pulse]) -> Vec<Edge> {
    let both = |p: &Pulse| {
        let edge = |at, rise| Edge { at, rise, number: p.number };
        [edge(p.rise, true), edge(p.fall, false)]
    };
    pulses.iter().flat_map(both).collect()
}

/// The level of a wire within a stretch.
fn level(kind: Wire, edges: &[Edge], zero: Instant, (from, to): (Instant, Instant)) -> Trace {
    let before = edges.iter().rev().find(|e| e.at <= from).map(|e| e.rise);
    // Before its first change a wire stood the other way.
    let high = before.or(edges.first().map(|e| !e.rise)).unwrap_or(false);
    let within = edges.iter().filter(|e| from < e.at && e.at <= to);
    Trace::Level { kind, high, edges: within.map(|e| ((e.at - zero).ms(), e.rise)).collect() }
}

fn sounding(
    rig: &Rig,
    hits: &[Hit],
    player: usize,
    group: usize,
    zero: Instant,
    (from, to): (Instant, Instant),
) -> Lane {
    let here = hits.iter().filter(|h| h.sequencer == player && (from..=to).contains(&h.at));
    let word = |h: &Hit| if player < rig.sequencers.len() { format!("step {}", h.step) } else { String::new() };
    Lane {
        name: format!("{} hits", rig.player_name(player)),
        group,
        trace: Trace::Hits(here.map(|h| ((h.at - zero).ms(), word(h))).collect()),
    }
}

/// To each hit that is due from the first one before it that somebody else plays, the widest first; where nobody else has
/// anything due there, to one that is off from where it was due.
fn gaps(
    (rig, max_gap): (&Rig, Span),
    due: &[&Hit],
    (zero, clockwork): (Instant, &Clockwork),
    places: &[[usize; 3]],
) -> Vec<Distance> {
    let lane = |h: &Hit| places[h.sequencer][2];
    let name = |h: &Hit| rig.player_name(h.sequencer);
    let mut found: Vec<(Span, usize, Distance)> = Vec::new();
    for h in due {
        let others = || due.iter().filter(|o| o.sequencer != h.sequencer && o.due == h.due);
        let alone = others().next().is_none() && h.beat != h.due;
        let before = others().filter(|o| o.at < h.at).min_by_key(|o| (o.at, o.sequencer));
        let ideal = clockwork.instant(h.due);
        let (from, wide, label) = match before {
            Some(o) => ((o.at, lane(o)), h.at - o.at, format!("after {}", name(o))),
            None if alone && h.at >= ideal => ((ideal, lane(h)), h.at - ideal, "after its beat".to_owned()),
            None if alone => ((ideal, lane(h)), ideal - h.at, "before its beat".to_owned()),
            None => continue,
        };
        let at = |(instant, lane): (Instant, usize)| ((instant - zero).ms(), lane);
        let mut ends = [at(from), at((h.at, lane(h)))];
        ends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let label = format!("{} {} ms {label}", name(h), gap_ms(wide, max_gap));
        found.push((wide, h.sequencer, Distance { from: ends[0], to: ends[1], label }));
    }
    found.sort_by_key(|(wide, sequencer, _)| (std::cmp::Reverse(*wide), *sequencer));
    found.into_iter().map(|(.., distance)| distance).collect()
}
