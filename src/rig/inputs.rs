//! What comes to the inputs of a sequencer, kept for whoever looks at it afterwards.

use super::{Edge, Pulse};
use crate::time::Instant;

/// The pulses that came to the two inputs of a sequencer, each in order of time.
#[derive(Clone, Debug, Default)]
pub struct InputPulses {
    /// What came to its clock input.
    pub clock: Vec<Pulse>,
    /// What came to its reset input.
    pub reset: Vec<Pulse>,
}

/// Keeps what comes to a sequencer's inputs.
#[derive(Debug, Default)]
pub(super) struct InputRecorder {
    edges: [Vec<Edge>; 2],
}

impl InputRecorder {
    pub(super) fn hear(&mut self, port: usize, edge: Edge) {
        self.edges[port].push(edge);
    }

    pub(super) fn close(self) -> InputPulses {
        let [clock, reset] = self.edges.map(|edges| pulses(&edges));
        InputPulses { clock, reset }
    }
}

/// Edges of one wire as pulses; one that never falls stays high.
fn pulses(edges: &[Edge]) -> Vec<Pulse> {
    let mut all: Vec<Pulse> = Vec::new();
    for edge in edges {
        if edge.rise {
            all.push(Pulse { rise: edge.at, fall: Instant(i64::MAX / 2), number: edge.number });
        } else if let Some(last) = all.last_mut() {
            last.fall = last.fall.min(edge.at);
        }
    }
    all
}
