//! A pure delay: one time for rises and falls. Equal delays in any order meet at equal instants, since all are whole
//! picoseconds.

use crate::rig::Pulse;
use crate::time::Span;

pub(super) fn pass(pulse: Pulse, delay: Span) -> Pulse {
    pulse.later(delay)
}
