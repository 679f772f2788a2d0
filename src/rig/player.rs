use super::book::Book;
use super::margin::{Ear, Heard};
use super::stage::{Out, Stage, poll::Looks};
use super::{Counting, Edge, Machine, Play, Pulse, Timeline, Track};
use crate::patch::{EdgeKind, Rig, Sequencer, Tap};
use crate::time::{Instant, PS_PER_MS, Span};

/// The input ports of a sequencer.
pub(super) const CLOCK: usize = 0;
/// See [`CLOCK`].
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
/// Between the wires and the [`Machine`] stand, in this order: the edge it counts (a falling edge turns the signal
/// over), the shortest pulse it sees, the loop that looks at its inputs, and the time for which it gathers edges.
#[derive(Debug)]
pub(super) struct Player<'a> {
    sequencer: &'a Sequencer,
    machine: Machine<'a>,
    book: Book<'a>,
    clock: &'a Timeline,
    counting: &'a Counting,
    /// The outputs from which resets stem, and how its pulses are numbered.
    reset: Option<(&'a Timeline, Counting)>,
    looks: Option<Looks>,
    inputs: [Input; 2],
    /// Edges that are to be handled together, and when.
    gathered: Vec<(usize, Edge)>,
    due: Option<Instant>,
    /// When taps fall that no clock pulse will end.
    release: Option<Instant>,
    /// What comes to its pins, where somebody wants to know.
    ear: Option<Ear>,
    /// Pulses that its inputs did not see.
    unseen: u64,
}

/// One input pin.
#[derive(Clone, Copy, Debug, Default)]
struct Input {
    /// The level on the wire, turned over for a falling edge.
    level: bool,
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
        looks: Option<Looks>,
    ) -> Self {
        let reset = sequencer.reset.as_ref().map(|r| (&timelines[rig.origin(&r.path)], Counting::of(rig, &r.path)));
        Self {
            sequencer,
            machine: Machine::new(sequencer),
            book: Book::new(rig, sequencer, timelines, counting),
            clock: &timelines[rig.origin(&sequencer.clock)],
            counting,
            reset,
            looks,
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
        self.ear = Some(Ear::default());
    }

    /// What came to its pins since it listens.
    pub(super) fn heard(&mut self) -> Heard {
        self.ear.take().map(Ear::close).unwrap_or_default()
    }

    pub(super) fn close(self) -> Track {
        Track { unseen: self.unseen, ..self.book.close() }
    }

    /// How old a change of level must be to be seen.
    fn age(&self, rise: bool) -> Span {
        if rise { self.sequencer.min_high } else { self.sequencer.min_low }
    }

    /// A change that is old enough: the loop sees it at its next look, and then it is gathered.
    fn see(&mut self, port: usize, edge: Edge, now: Instant, out: &mut Out) {
        self.inputs[port].seen = edge.rise;
        let at = self.looks.as_ref().map_or(now, |l| l.at_or_after(now));
        self.gathered.push((port, Edge { at, ..edge }));
        let due = self.due.unwrap_or(at + self.sequencer.gathers);
        self.due = Some(due);
        out.wake(due);
    }

    /// Hands what was gathered to the machine: falls, then rises in the order in which it reads them.
    fn handle(&mut self, now: Instant, out: &mut Out) {
        let mut edges = std::mem::take(&mut self.gathered);
        let waits = self.sequencer.gathers > Span::ZERO;
        let reset_first = waits || self.machine.reset_first();
        let turn = |(port, edge): &(usize, Edge)| match (*port, edge.rise) {
            (_, false) => 0,
            (RESET, true) => {
                if reset_first {
                    1
                } else {
                    3
                }
            }
            _ => 2,
        };
        // Edges of one look, or of one window, are simultaneous.
        edges.sort_by_key(|e| (if waits { now } else { e.1.at }, turn(e)));
        for &(port, edge) in edges.iter().filter(|e| waits || e.1.at <= now) {
            self.hand((port, edge), now, out);
        }
        edges.retain(|e| !waits && e.1.at > now);
        self.due = edges.iter().map(|e| e.1.at).min();
        if let Some(due) = self.due {
            out.wake(due);
        }
        self.gathered = edges;
    }

    fn hand(&mut self, (port, edge): (usize, Edge), now: Instant, out: &mut Out) {
        match (port, edge.rise) {
            (CLOCK, false) => {
                self.machine.clock_falls(now);
                self.taps_fall(Edge { at: now, ..edge }, out);
                out.send(channel(Tap::Thru), Edge { at: now, ..edge });
            }
            (CLOCK, true) => {
                out.send(channel(Tap::Thru), Edge { at: now, ..edge });
                self.book.rise(edge.number);
                let pulse = Pulse { rise: now, fall: Instant(i64::MAX), number: edge.number };
                let play = self.machine.clock(pulse);
                self.played(play, false, out);
            }
            (_, false) => self.machine.reset_falls(),
            (_, true) => {
                self.book.reset(now);
                let (clock, counting, reset) = (self.clock, self.counting, &self.reset);
                let first = || {
                    let Some((from, numbers)) = reset else { return 0 };
                    let beat = numbers.meant(from, edge.number);
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
            self.release = Some(end);
            out.wake(end);
        }
        self.book.note(play);
    }

    fn taps_fall(&mut self, edge: Edge, out: &mut Out) {
        for tap in [Tap::Step1, Tap::End, Tap::Hits] {
            out.send(channel(tap), edge);
        }
    }
}

impl Stage for Player<'_> {
    fn edge(&mut self, port: usize, mut edge: Edge, out: &mut Out) {
        let kind = if port == CLOCK { self.sequencer.clock_edge } else { self.sequencer.reset_edge };
        edge.rise ^= kind == EdgeKind::Fall;
        self.inputs[port].level = edge.rise;
        if let Some(ear) = &mut self.ear {
            ear.hear(port, edge);
        }
        if self.inputs[port].young.take().is_some() {
            // The last change was undone before it was seen.
            self.unseen += 1;
            return;
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

    fn wake(&mut self, at: Instant, out: &mut Out) {
        for port in [CLOCK, RESET] {
            let old = self.inputs[port].young.filter(|e| e.at + self.age(e.rise) <= at);
            if let Some(edge) = old {
                self.inputs[port].young = None;
                self.see(port, edge, at, out);
            }
        }
        if self.due.is_some_and(|due| due <= at) {
            self.due = None;
            self.handle(at, out);
        }
        if self.release.is_some_and(|end| end <= at) {
            self.release = None;
            if !self.inputs[CLOCK].seen {
                self.taps_fall(Edge { at, rise: false, number: 0 }, out);
            }
        }
    }

    fn settled(&mut self, inputs: &[bool]) -> Vec<bool> {
        for (port, kind) in [(CLOCK, self.sequencer.clock_edge), (RESET, self.sequencer.reset_edge)] {
            let level = inputs.get(port).copied().unwrap_or(false) ^ (kind == EdgeKind::Fall);
            self.inputs[port] = Input { level, seen: level, young: None };
        }
        vec![false, false, false, self.inputs[CLOCK].level]
    }
}
