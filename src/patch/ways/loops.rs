//! Loops: those that the clock has no part in, and those in which an edge would come back at once.

use super::Ways;
use crate::patch::check::fault::{Fault, Faults};
use crate::patch::check::show::listed;
use crate::patch::check::view::Kind;

/// How many loops are told: each is drawn, and they may be as many as there are ways.
const MOST_LOOPS: usize = 8;

impl Ways<'_> {
    /// Tells the loops that the clock has no part in.
    pub(super) fn check_starts(&self, active: &[bool], faults: &mut Faults) {
        let mut seen_by: Vec<Option<usize>> = vec![None; self.points()];
        let mut told = 0;
        for (n, line) in self.lines.iter().enumerate().filter(|(_, line)| !active[line.end()]) {
            let (mut trail, mut point) = (Vec::new(), line.end());
            while seen_by[point].is_none() {
                seen_by[point] = Some(n);
                trail.push(point);
                let [Some(cause), _] = self.causes(point) else { break };
                point = cause.point;
            }
            let Some(start) = trail.iter().position(|p| *p == point).filter(|_| told < MOST_LOOPS) else { continue };
            told += 1;
            let (drawn, at) = self.drawn(&trail[start..]);
            let fault = Fault::new(at, format!("nothing ever starts the loop `{drawn}`"))
                .label("expected a way that begins at an output of the clock in the end")
                .help(match listed(self.view.names(Kind::Output)).as_str() {
                    "none" => {
                        "define an output, such as [clock.sixteenths], and begin one of these paths there".to_owned()
                    }
                    outputs => format!("begin one of these paths at an output; there is {outputs}"),
                });
            faults.push(fault);
        }
    }

    /// Tells the loops in which an edge would come back at the instant at which it went.
    pub(super) fn check_loops(&self, active: &[bool], faults: &mut Faults) {
        #[derive(Clone, Copy, PartialEq)]
        enum State {
            New,
            Open,
            Done,
        }
        let mut states = vec![State::New; self.points()];
        let mut told = 0;
        for start in 0..self.points() {
            if states[start] != State::New || !active[start] {
                continue;
            }
            let mut stack = vec![(start, 0)];
            states[start] = State::Open;
            while let Some((point, next)) = stack.last_mut() {
                let Some(cause) = self.causes(*point).get(*next).copied() else {
                    states[*point] = State::Done;
                    stack.pop();
                    continue;
                };
                *next += 1;
                let Some(cause) = cause.filter(|cause| !cause.late && active[cause.point]) else { continue };
                match states[cause.point] {
                    State::New => {
                        states[cause.point] = State::Open;
                        stack.push((cause.point, 0));
                    }
                    State::Open => {
                        let begin = stack.iter().position(|(p, _)| *p == cause.point).unwrap_or(0);
                        let trail: Vec<usize> = stack[begin..].iter().map(|(p, _)| *p).collect();
                        let (drawn, at) = self.drawn(&trail);
                        let fault = Fault::new(at, format!("a loop without delay: `{drawn}`"))
                            .label("expected some time between an edge and its own effect")
                            .help(
                                "put a stage with a delay into the loop: kind = \"delay\", delay = \"10 us\"; \
                                 `logic` with a `delay`, `midi-cable` and `audio-buffer` will do too, and \
                                 `rc` and `envelope` with two thresholds",
                            );
                        faults.push(fault);
                        told += 1;
                        if told == MOST_LOOPS {
                            return;
                        }
                    }
                    State::Done => {}
                }
            }
        }
    }
}
