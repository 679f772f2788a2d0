//! What stages make of what comes in.

use super::signal::{Change, EVER, NEVER, Pulse, changes, high_at, kept, later, on_one_wire, pulses};
use hitgap::patch::{Delay, Divide, Does, FiresOn, Logic, Multiply, Poll, Reads, WhileBusy};

/// "`delay`, or `rise` and `fall` apart; `swallows` (inertial: shorter pulses vanish); as a one-shot: `width` with
/// `while-busy`"
pub(crate) fn delay(it: &Delay, wire: &[Pulse]) -> Vec<Pulse> {
    let wire = kept(wire, it.swallows.0, it.swallows.0);
    let Some(shot) = &it.one_shot else {
        return on_one_wire(
            wire.iter()
                .map(|p| Pulse { rise: later(p.rise, it.rise.typ.0), fall: later(p.fall, it.fall.typ.0), ..*p })
                .collect(),
        );
    };
    let mut out: Vec<Pulse> = Vec::new();
    // "(a `not` starts high, which is no rise)"
    for pulse in wire.iter().filter(|p| p.rise != EVER) {
        let rise = pulse.rise + it.rise.typ.0;
        let busy = out.last().is_some_and(|last| rise < last.fall);
        if shot.while_busy == WhileBusy::Ignores && busy {
            continue;
        }
        // "restarts" lengthens the pulse under way, and "passes" starts one that overlaps it: one pulse on a wire.
        out.push(Pulse { k: pulse.k, rise, fall: rise + shot.width.typ.0, k_fall: pulse.k });
    }
    on_one_wire(out)
}

/// "glitches as they come out; the number of a pulse is the causing edge's, on a tie the first path's"
pub(crate) fn logic(it: &Logic, first: &[Pulse], second: &[Pulse]) -> Vec<Pulse> {
    let value = |at: i64| {
        let (a, b) = (high_at(first, at).is_some(), high_at(second, at).is_some());
        match it.does {
            Does::Or => a || b,
            Does::And => a && b,
            Does::Xor => a != b,
            Does::Not => !a,
        }
    };
    let (in_first, in_second) = (changes(first), changes(second));
    let mut instants: Vec<i64> = in_first.iter().chain(&in_second).map(|c| c.at).collect();
    instants.push(EVER);
    instants.retain(|at| *at != NEVER);
    instants.sort_unstable();
    instants.dedup();
    let mut out = Vec::new();
    for at in instants {
        let cause = in_first.iter().chain(&in_second).find(|c| c.at == at);
        out.push(Change { at, rise: value(at), k: cause.map_or(0, |c| c.k) });
    }
    // "`swallows` (default: the delay)": what would come out and is shorter does not.
    kept(&pulses(&out), it.swallows.0, it.swallows.0)
        .iter()
        .map(|p| Pulse { rise: later(p.rise, it.delay.typ.0), fall: later(p.fall, it.delay.typ.0), ..*p })
        .collect()
}

/// "`by`; `fires-on = "first" | "last"`, a `reset` path, `power-up`"
pub(crate) fn divide(it: &Divide, wire: &[Pulse], reset: &[Pulse]) -> Vec<Pulse> {
    let mut out = Vec::new();
    let mut past = it.power_up;
    let mut seen_until = EVER;
    for pulse in wire.iter().filter(|p| p.rise != EVER) {
        // A reset at the same instant comes before the clock.
        if reset.iter().any(|r| r.rise > seen_until && r.rise <= pulse.rise) {
            past = 0;
        }
        seen_until = pulse.rise;
        past += 1;
        let fires = match it.fires_on {
            FiresOn::First => past == 1,
            FiresOn::Last => past == it.by,
        };
        if fires {
            out.push(*pulse);
        }
        if past == it.by {
            past = 0;
        }
    }
    out
}

/// "a multiplier is silent before its second pulse and spaces by the last period (so it lags in tempo changes)"
pub(crate) fn multiply(it: &Multiply, wire: &[Pulse]) -> Vec<Pulse> {
    let by = i128::from(it.by);
    let wire: Vec<&Pulse> = wire.iter().filter(|p| p.rise != EVER).collect();
    let mut out = Vec::new();
    for (j, pulse) in wire.iter().enumerate().skip(1) {
        let period = i128::from(pulse.rise - wire[j - 1].rise);
        let whole = i128::from(wire[j - 1].fall - wire[j - 1].rise);
        for i in 0..by {
            // Rounded once: floor(x + 1/2) of i·P/by.
            let rise = pulse.rise + ((2 * i * period + by) / (2 * by)) as i64;
            // The next real pulse puts an end to what is still to come.
            if wire.get(j + 1).is_some_and(|next| rise >= next.rise) {
                continue;
            }
            let width = whole.min(period / (2 * by)) as i64;
            let k = pulse.k * by + i;
            out.push(Pulse { k, rise, fall: rise + width, k_fall: k });
        }
    }
    on_one_wire(out)
}

/// "edges are seen at the next poll, shorter pulses can be missed"
pub(crate) fn poll(it: &Poll, wire: &[Pulse]) -> Vec<Pulse> {
    looked_at(it, &changes(wire))
}

/// The same of an input at which a gap may begin and end at one instant: that is when it is old enough to be seen.
pub(crate) fn looked_at(it: &Poll, all: &[Change]) -> Vec<Pulse> {
    assert!(it.drift == 0.0, "the naive rules know no other");
    let phase = it.phase.expect("given").0;
    if it.reads == Reads::Latched {
        return latched(it.period.0, phase, all);
    }
    let last = all.iter().map(|c| c.at).filter(|at| *at != NEVER && *at != EVER).max().unwrap_or(0);
    let mut seen = Vec::new();
    if let Some(before) = all.iter().find(|c| c.at == EVER) {
        seen.push(Change { at: EVER, rise: true, k: before.k });
    }
    // What the last looks saw, the newest last.
    let mut looks: Vec<Option<i128>> = Vec::new();
    let mut at = phase;
    let mut after = 0;
    while after <= it.samples {
        looks.push(all.iter().rfind(|c| c.at <= at).filter(|c| c.rise).map(|c| c.k));
        // "`samples` (debounce)": so many looks in a row that see the same.
        let in_a_row = &looks[looks.len().saturating_sub(it.samples as usize)..];
        let same = in_a_row.len() == it.samples as usize
            && in_a_row.iter().all(|look| look.is_some() == in_a_row[0].is_some());
        if same {
            // Where a gap fell between two looks, the pulse is one with the one before: the first number.
            seen.push(Change { at, rise: in_a_row[0].is_some(), k: in_a_row[0].unwrap_or(0) });
        }
        if at > last {
            after += 1;
        }
        at += it.period.0;
    }
    // One pulse has one number, that of its rise.
    pulses(&seen).into_iter().map(|p| Pulse { k_fall: p.k, ..p }).collect()
}

/// "a look passes on that there was a rise since the look before, however short the pulse; the fall is seen by a look
/// after that one at the earliest, and goes out a picosecond before the look that sees it, unless it falls at the look itself"
fn latched(period: i64, phase: i64, all: &[Change]) -> Vec<Pulse> {
    let since_start: Vec<&Change> = all.iter().filter(|c| c.at != EVER && c.at != NEVER).collect();
    let last = since_start.iter().map(|c| c.at).max().unwrap_or(0);
    let mut seen: Vec<Change> = all.iter().filter(|c| c.at == EVER).copied().collect();
    let mut high = !seen.is_empty();
    let mut falls_at_next = false;
    let (mut before, mut look) = (EVER, phase);
    while before <= last + period {
        let new: Vec<&&Change> = since_start.iter().filter(|c| before < c.at && c.at <= look).collect();
        let rise = new.iter().find(|c| c.rise);
        let fall = new.iter().find(|c| !c.rise);
        if high && (falls_at_next || fall.is_some()) {
            let at = if !falls_at_next && fall.is_some_and(|f| f.at == look) { look } else { look - 1 };
            seen.push(Change { at, rise: false, k: 0 });
            (high, falls_at_next) = (false, false);
        }
        if let Some(rise) = rise {
            seen.push(Change { at: look, rise: true, k: rise.k });
            high = true;
            falls_at_next = new.last().is_some_and(|last| !last.rise);
        }
        (before, look) = (look, look + period);
    }
    // One pulse has one number, that of its rise.
    pulses(&seen).into_iter().map(|p| Pulse { k_fall: p.k, ..p }).collect()
}
