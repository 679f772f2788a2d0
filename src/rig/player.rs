use super::inputs::{InputPulses, InputRecorder};
use super::recorder::Recorder;
use super::stage::{Out, Stage, poll::Poll};
use super::{Counting, Edge, Later, Machine, Play, Pulse, Resets, Timeline, Track};
use crate::patch::{EdgeKind, Rig, Sequencer, StageKind, Tap};
use crate::time::{Instant, PS_PER_MS, Span};

/// The port of the clock input.
pub(super) const CLOCK: usize = 0;
/// The port of the reset input.
pub(super) const RESET: usize = 1;

/// How long a tap stays high after a step that no clock pulse caused.
const TAP: Span = Span(PS_PER_MS);

/// The output channel of a tap.
pub(super) const fn channel(tap: Tap) -> usize {
    match tap {
        Tap::Step1 => 0,
        Tap::End => 1,
        Tap::Hits => 2,
        Tap::Thru => 3,
    }
}

/// A sequencer with its inputs and its outputs, as one node of a circuit.
///
/// Between the wires and the [`Machine`] stand, in this order: the shortest pulse it sees, the loop that looks at its
/// inputs, the edge it counts (a falling edge turns the signal over), and the time for which it gathers edges.
#[derive(Debug)]
pub(super) struct Player<'a> {
    sequencer: &'a Sequencer,
    machine: Machine<'a>,
    book: Recorder<'a>,
    clock: &'a Timeline,
    counting: &'a Counting,
    resets: Resets<'a>,
    /// The loop that looks at its inputs: one for each, with the same looks.
    polls: Option<[(Poll, Out); 2]>,
    /// What that loop is set to.
    polled: Option<&'a StageKind>,
    inputs: [Input; 2],
    /// The levels that the box knows of, whichever edges it reads.
    known: [bool; 2],
    /// Edges that are to be handled together, and when.
    gathered: Vec<(usize, Edge)>,
    due: Option<Instant>,
    /// The level that the machine knows of.
    clock_is_high: bool,
    /// When taps fall that no clock pulse will end.
    release: Option<Edge>,
    /// What comes to its pins, where somebody wants to know.
    ear: Option<InputRecorder>,
    /// Pulses that its inputs did not see.
    unseen: u64,
}

/// What the box knows of one of its input pins.
#[derive(Clone, Copy, Debug, Default)]
struct Input {
    /// The level that the box has seen.
    seen: bool,
    /// The last change that is not old enough yet to be seen.
    young: Option<Edge>,
}

impl<'a> Player<'a> {
    pub(super) fn new(
        rig: &'a Rig,
        sequencer: &'a Sequencer,
        timelines: &'a [Timeline],
        counting: &'a Counting,
        poll: Option<Poll>,
    ) -> Self {
        let mut resets = Resets::default();
        resets.plug(rig, sequencer, timelines);
        Self {
            resets,
            sequencer,
            machine: Machine::new(sequencer),
            book: Recorder::new(rig, sequencer, timelines, counting),
            clock: &timelines[rig.origin(&sequencer.clock)],
            counting,
            polls: poll.map(|poll| [(poll.clone(), Out::new(&[false])), (poll, Out::new(&[false]))]),
            polled: sequencer.poll.map(|poll| &rig.stages[poll].kind),
            known: [false; 2],
            clock_is_high: false,
            inputs: [Input::default(); 2],
            gathered: Vec::new(),
            due: None,
            release: None,
            ear: None,
            unseen: 0,
        }
    }

    /// Lets it keep what comes to its pins.
    pub(super) fn listen(&mut self) {
        self.ear = Some(InputRecorder::default());
    }

    /// What came to its pins since it listens.
    pub(super) fn heard(&mut self) -> InputPulses {
        self.ear.take().map(InputRecorder::close).unwrap_or_default()
    }

    pub(super) fn close(self) -> Track {
        let missed = self.polls.iter().flatten().map(|(_, looks)| looks.tally.lost + looks.tally.merged);
        Track { unseen: self.unseen + missed.sum::<u64>(), ..self.book.close() }
    }

    /// Sets the box anew, before edges of this instant. A change of level that is still too young to be seen is judged by the
    /// new limits, and what is gathered is handled when it was to be.
    pub(super) fn refit(&mut self, later: &'a Later, index: usize, timelines: &'a [Timeline], out: &mut Out) {
        let (rig, now) = (&later.rig, later.at);
        let sequencer = &rig.sequencers[index];
        let before = std::mem::replace(&mut self.sequencer, sequencer);
        self.counting = &later.countings[index];
        self.book.refit(rig, sequencer, timelines, self.counting);
        // An input that reads another edge reads the other level, and nothing has risen or fallen.
        let seen = self.known;
        let kinds = [(before.clock_edge, sequencer.clock_edge), (before.reset_edge, sequencer.reset_edge)];
        let levels = [CLOCK, RESET].map(|port| {
            let (was, is) = kinds[port];
            (was != is).then_some(seen[port] ^ (is == EdgeKind::Fall))
        });
        self.machine.refit(sequencer, now, levels);
        if let Some(high) = levels[CLOCK] {
            self.clock_is_high = high;
            if !high {
                self.taps_fall(Edge { at: now, rise: false, number: 0 }, out);
            }
        }
        if let Some(ear) = &mut self.ear {
            for port in [CLOCK, RESET].into_iter().filter(|&port| levels[port] == Some(false)) {
                ear.hear(port, Edge { at: now, rise: false, number: 0 });
            }
        }
        for port in [CLOCK, RESET] {
            if let Some(young) = self.inputs[port].young {
                out.wake(now.max(young.at + self.age(young.rise)));
            }
        }
        self.resets.plug(rig, sequencer, timelines);
        if let (Some(polls), Some(poll)) = (&mut self.polls, sequencer.poll) {
            let kind = &rig.stages[poll].kind;
            if self.polled != Some(kind) {
                for (poll, looks) in polls {
                    poll.turn(kind, now, looks);
                    looks.take_wakes().for_each(|at| out.wake(at));
                    looks.next().into_iter().for_each(|at| out.wake(at));
                }
                self.polled = Some(kind);
            }
        }
    }

    /// How old a change of level must be to be seen.
    fn age(&self, rise: bool) -> Span {
        if rise { self.sequencer.min_high } else { self.sequencer.min_low }
    }

    fn edge_of(&self, port: usize) -> EdgeKind {
        if port == CLOCK { self.sequencer.clock_edge } else { self.sequencer.reset_edge }
    }

    /// A change that is old enough: the loop sees it at its next look, if it lasts until then.
    fn see(&mut self, port: usize, edge: Edge, now: Instant, out: &mut Out) {
        self.inputs[port].seen = edge.rise;
        let edge = Edge { at: now, ..edge };
        if let Some(polls) = &mut self.polls {
            let (poll, looks) = &mut polls[port];
            poll.edge(0, edge, looks);
            looks.take_wakes().for_each(|at| out.wake(at));
            // A flag lets a fall go before the look at which it is seen.
            looks.next().into_iter().for_each(|at| out.wake(at));
        } else {
            self.gather(port, edge, out);
        }
    }

    /// What the loop has seen by now.
    fn look(&mut self, now: Instant, out: &mut Out) {
        for port in [CLOCK, RESET] {
            let Some(polls) = &mut self.polls else { return };
            let (poll, looks) = &mut polls[port];
            poll.wake(now, looks);
            looks.take_wakes().for_each(|at| out.wake(at));
            looks.next().into_iter().for_each(|at| out.wake(at));
            while let Some(edge) = self.polls.as_mut().and_then(|polls| polls[port].1.leave(0, now)) {
                self.gather(port, edge, out);
            }
        }
    }

    /// Edges of one instant, or of one window, are handled together.
    fn gather(&mut self, port: usize, edge: Edge, out: &mut Out) {
        self.known[port] = edge.rise;
        let rise = edge.rise ^ (self.edge_of(port) == EdgeKind::Fall);
        self.gathered.push((port, Edge { rise, ..edge }));
        let due = *self.due.get_or_insert(edge.at + self.sequencer.gathers);
        out.wake(due);
    }

    /// Hands what was gathered to the machine: falls, then rises in the order in which it reads them. What has risen
    /// and fallen since it last looked does so in this order.
    fn handle(&mut self, now: Instant, out: &mut Out) {
        let mut edges = std::mem::take(&mut self.gathered);
        let reset_first = self.sequencer.gathers > Span::ZERO || self.machine.reset_first();
        let begin = [CLOCK, RESET].map(|port| edges.iter().find(|e| e.0 == port).is_some_and(|e| !e.1.rise));
        for port in [CLOCK, RESET].into_iter().filter(|&port| begin[port]) {
            if let Some(first) = edges.iter().position(|e| e.0 == port) {
                let fall = edges.remove(first);
                self.hand(fall, now, out);
            }
        }
        for port in if reset_first { [RESET, CLOCK] } else { [CLOCK, RESET] } {
            for &edge in edges.iter().filter(|e| e.0 == port) {
                self.hand(edge, now, out);
            }
        }
        edges.clear();
        self.gathered = edges;
    }

    fn hand(&mut self, (port, edge): (usize, Edge), now: Instant, out: &mut Out) {
        match (port, edge.rise) {
            (CLOCK, false) => {
                self.clock_is_high = false;
                self.machine.clock_falls(now);
                self.taps_fall(Edge { at: now, ..edge }, out);
            }
            (CLOCK, true) => {
                self.clock_is_high = true;
                self.book.rise(edge.number);
                let pulse = Pulse { rise: now, fall: Instant(i64::MAX), number: edge.number };
                let play = self.machine.clock(pulse);
                self.played(play, false, out);
            }
            (_, false) => self.machine.reset_falls(),
            (_, true) => {
                self.book.reset(now);
                let (clock, counting, resets) = (self.clock, self.counting, &self.resets);
                let first = || {
                    let Some(beat) = resets.beat(edge.number, now) else { return 0 };
                    let number = clock.first_from(beat) * counting.scale();
                    if counting.is_plain() { number } else { counting.place(counting.first_from(number)) }
                };
                let play = self.machine.reset(now, first);
                self.played(play, true, out);
            }
        }
    }

    /// Writes a play down and raises the taps that it is on.
    fn played(&mut self, play: Option<Play>, by_reset: bool, out: &mut Out) {
        let Some(Play { at, pulse, step }) = play else { return };
        let steps = &self.sequencer.steps;
        let taps = [step == 0, step + 1 == steps.len(), steps[step].velocity().is_some()];
        for (channel, _) in taps.iter().enumerate().filter(|(_, on)| **on) {
            if out.level(channel) {
                // Still high from the step before: a new step is a new pulse, so the old one ends here and nothing is
                // seen of the end. The rise is what counts, and a wire cannot rise twice.
                continue;
            }
            out.send(channel, Edge { at, rise: true, number: pulse });
        }
        if by_reset {
            let end = at + TAP;
            self.release = Some(Edge { at: end, rise: false, number: pulse });
            out.wake(end);
        }
        if by_reset {
            self.book.note_of_reset(play);
        } else {
            self.book.note(play);
        }
    }

    fn taps_fall(&mut self, edge: Edge, out: &mut Out) {
        for tap in [Tap::Step1, Tap::End, Tap::Hits] {
            out.send(channel(tap), edge);
        }
    }
}

impl Stage for Player<'_> {
    fn edge(&mut self, port: usize, edge: Edge, out: &mut Out) {
        if port == CLOCK {
            // As it comes, whatever the box makes of it.
            out.send(channel(Tap::Thru), edge);
        }
        let rise = edge.rise ^ (self.edge_of(port) == EdgeKind::Fall);
        if let Some(ear) = &mut self.ear {
            ear.hear(port, Edge { rise, ..edge });
        }
        if let Some(young) = self.inputs[port].young.take() {
            if young.at + self.age(young.rise) > edge.at {
                // The last change was undone before it was seen.
                self.unseen += 1;
                return;
            }
            // It is just old enough.
            self.see(port, young, edge.at, out);
        }
        if edge.rise == self.inputs[port].seen {
            return;
        }
        let age = self.age(edge.rise);
        if age == Span::ZERO {
            self.see(port, edge, edge.at, out);
        } else {
            self.inputs[port].young = Some(edge);
            out.wake(edge.at + age);
        }
    }

    fn turn(&mut self, _kind: &StageKind, _at: Instant, _out: &mut Out) {}

    fn wake(&mut self, at: Instant, out: &mut Out) {
        for port in [CLOCK, RESET] {
            let old = self.inputs[port].young.filter(|e| e.at + self.age(e.rise) <= at);
            if let Some(edge) = old {
                self.inputs[port].young = None;
                self.see(port, edge, at, out);
            }
        }
        self.look(at, out);
        if self.due.is_some_and(|due| due <= at) {
            self.due = None;
            self.handle(at, out);
        }
        if let Some(end) = self.release.filter(|end| end.at <= at) {
            self.release = None;
            if !self.clock_is_high {
                self.taps_fall(Edge { at, ..end }, out);
            }
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        for port in [CLOCK, RESET] {
            let seen = inputs.get(port).copied().unwrap_or(false);
            (self.inputs[port], self.known[port]) = (Input { seen, young: None }, seen);
            if let Some(polls) = &mut self.polls {
                let (poll, looks) = &mut polls[port];
                *looks = Out::new(&poll.settled(&[seen]));
            }
        }
        let high = |port: usize| self.inputs[port].seen ^ (self.edge_of(port) == EdgeKind::Fall);
        let (clock, reset) = (high(CLOCK), high(RESET));
        self.clock_is_high = clock;
        self.machine.reset_was_high(reset && self.sequencer.reset.is_some());
        vec![false, false, false, self.inputs[CLOCK].seen]
    }
}
