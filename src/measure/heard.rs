/// What a channel has on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The pulses of a clock.
    Pulses,
    /// The hits of a box.
    Hits,
    /// Nothing that is asked for.
    Unused,
}

/// One hit or pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Which recording, from 0.
    pub file: usize,
    /// Which of the channel's classes, from 0; pulses have one.
    pub class: usize,
    /// Seconds from the recording's start, by the recorder's own clock.
    pub seconds: f64,
    /// Its standard error within its class, in seconds.
    pub error: f64,
    /// Its size against others of its class.
    pub amplitude: f64,
}

/// Hits that sound alike.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Class {
    /// How many hits it has.
    pub hits: usize,
    /// How far other rules for where a hit begins would move all of it together, in seconds.
    pub uncertainty: f64,
    /// Whether its hits have only their envelope in common.
    pub loose: bool,
    /// The mean of its hits as they were recorded; of pulses nothing.
    pub wave: Vec<f64>,
    /// Where a hit begins in that wave, in samples from its start.
    pub begins: f64,
}

/// What stands in the way of a good measurement, or what was done about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Note {
    /// What leaked in from another channel was taken out.
    BleedTaken {
        /// The other channel.
        from: usize,
    },
    /// Nobody can tell what leaks in from another channel: it is never loud alone.
    BleedUnknown {
        /// The other channel.
        from: usize,
    },
    /// Hits of a class were left out, since they are those of another channel, leaked.
    ClassLeaked {
        /// The other channel.
        from: usize,
        /// How many.
        hits: usize,
    },
    /// The top of the wave is cut off.
    Clipped {
        /// Samples at the ends of the range.
        samples: usize,
    },
    /// Beginnings of sound that are like no others.
    Unlike {
        /// How many.
        hits: usize,
    },
    /// Hits are each unlike the other and were compared by their envelopes.
    Loose,
}

/// All that was heard on one channel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// In order of time, recording by recording.
    pub hits: Vec<Hit>,
    /// In the order that hits name them.
    pub classes: Vec<Class>,
    /// What else there is to say.
    pub notes: Vec<Note>,
}
