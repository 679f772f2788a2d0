use super::cues::Window;
use super::encode::Encoder;
use super::error::RenderError;
use super::mix::Mixer;
use super::notes::{self, Info};
use super::peak::Levels;
use super::program::{Program, Watch};
use super::sink::{Memory, Sink};
use super::wav::{self, Format, Spec};
use rayon::prelude::*;

/// Frames that are mixed, encoded and written at a time.
const BLOCK: u64 = 4096;
/// Blocks whose cues are held at a time.
const WAVE: u64 = 256;
/// The longest file that is put together in memory, in frames: 22 s at 48 kHz.
const SHORT: u64 = BLOCK * WAVE;

/// The factor on a whole file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gain {
    /// 1, or as much less as keeps the file under −1 dBTP.
    Auto,
    /// A given one: for stems, which have the factor of the whole mix, and for files that are matched in loudness.
    Fixed(f64),
}

/// What was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Written {
    /// Frames in the file.
    pub frames: u64,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// How many places are marked in it.
    pub marks: usize,
    /// The factor on the whole file.
    pub gain: f64,
    /// The levels before that factor.
    pub levels: Levels,
}

impl Program<'_> {
    /// Measures the render and writes it as a WAV file.
    ///
    /// The bytes depend on the program, the bank, `spec` and `gain`, and on nothing else. Progress counts the frames of
    /// both passes: it ends at twice [`Program::frames`].
    ///
    /// # Errors
    /// If the file would be too large (before a byte is written), cannot be written, or is stopped.
    pub fn write(&self, spec: &Spec, gain: Gain, sink: &dyn Sink, watch: Watch) -> Result<Written, RenderError> {
        self.write_with(&Info::default(), (spec, gain), sink, watch)
    }

    /// As [`Program::write`], a file that says what it is.
    ///
    /// # Errors
    /// As [`Program::write`].
    pub fn write_with(
        &self,
        info: &Info,
        (spec, gain): (&Spec, Gain),
        sink: &dyn Sink,
        watch: Watch,
    ) -> Result<Written, RenderError> {
        let notes = notes::chunks(&self.marks, info);
        let bytes = wav::size_with(self.frames(), spec, notes.len() as u64)?;
        let levels = self.measure(watch)?;
        let gain = match gain {
            Gain::Auto => levels.safe_gain(),
            Gain::Fixed(gain) => gain,
        };
        // What `hound` cannot do: the plain header that every reader knows for 24 bits and floats, and blocks put in their places
        // by all cores as they are done, which is what long files wait for.
        if spec.format == Format::Pcm16 && self.frames() <= SHORT {
            self.write_short((spec, gain as f32), &notes, sink, watch)?;
        } else {
            self.write_blocks((spec, gain as f32), &notes, (sink, watch), BLOCK)?;
        }
        Ok(Written { frames: self.frames(), bytes, marks: self.marks.len(), gain, levels })
    }

    fn write_blocks(
        &self,
        (spec, gain): (&Spec, f32),
        notes: &[u8],
        (sink, watch): (&dyn Sink, Watch),
        block: u64,
    ) -> Result<(), RenderError> {
        let header = wav::header(self.frames(), self.sample_rate(), spec, notes.len() as u64)?;
        sink.write_at(&header, 0).map_err(RenderError::Sink)?;
        self.write_samples((spec, gain), (sink, spec.header_bytes()), watch, block)?;
        // Frames are even in number, so that the samples end on an even byte.
        let end = spec.header_bytes() + self.frames() * spec.frame_bytes();
        sink.write_at(notes, end).map_err(RenderError::Sink)?;
        sink.reached(end + notes.len() as u64);
        Ok(())
    }

    /// A file that is put together in memory, by `hound`.
    fn write_short(
        &self,
        (spec, gain): (&Spec, f32),
        notes: &[u8],
        sink: &dyn Sink,
        watch: Watch,
    ) -> Result<(), RenderError> {
        let samples = Memory::default();
        self.write_samples((spec, gain), (&samples, 0), watch, BLOCK)?;
        let file = wav::whole16(self.sample_rate(), spec, &samples.into_bytes(), notes).map_err(RenderError::Sink)?;
        sink.write_at(&file, 0).map_err(RenderError::Sink)?;
        sink.reached(file.len() as u64);
        Ok(())
    }

    /// Writes the samples alone, the first at a position.
    fn write_samples(
        &self,
        (spec, gain): (&Spec, f32),
        (sink, position): (&dyn Sink, u64),
        watch: Watch,
        block: u64,
    ) -> Result<(), RenderError> {
        let blocks = self.frames().div_ceil(block);
        let (mut window, mut first) = (Window::new(self), 0);
        while first < blocks {
            let until = (first + WAVE).min(blocks);
            let cues = window.over(&((first * block) as i64..(until * block) as i64));
            (first..until).into_par_iter().try_for_each_init(
                || (Mixer::new(self), Encoder::new(*spec, gain)),
                |(mixer, encoder), n| {
                    watch.go_on()?;
                    let from = n * block;
                    let to = (from + block).min(self.frames());
                    mixer.mix(cues, from as i64..to as i64);
                    encoder.encode(from, &mixer.left, &mixer.right);
                    let at = position + from * spec.frame_bytes();
                    sink.write_at(&encoder.bytes, at).map_err(RenderError::Sink)?;
                    watch.done(to - from);
                    Ok(())
                },
            )?;
            first = until;
            sink.reached(position + (until * block).min(self.frames()) * spec.frame_bytes());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::bank::Bank;
    use super::super::cue::Cue;
    use super::super::notes::Mark;
    use super::super::sink::Memory;
    use super::super::wav::{Channels, Format};
    use crate::dsp::Master;
    use crate::time::{Instant, Span};

    use super::*;

    #[test]
    fn blocks_of_any_size_make_the_same_bytes() {
        let master = |hz: f32| {
            let samples = (0..2_000).map(|n| (n as f32 * hz).sin() * (-(n as f32) / 300.0).exp());
            Master { samples: samples.collect(), pre: 20 }
        };
        let bank = Bank::new(44_100, vec![master(0.1), master(0.37)]).expect("a usual rate");
        let cues = (0..30_i64).map(|n| Cue {
            at: Instant(n * n * 98_765_431),
            voice: (n % 2) as u32,
            left: 0.2,
            right: 0.01 * n as f32,
        });
        let program = Program::new(&bank, cues.collect(), Span::from_ms(5), Instant(0)).expect("sound");
        for format in [Format::Pcm16, Format::Pcm24, Format::Float32] {
            let spec = Spec { format, channels: Channels::Stereo, seed: 3 };
            let bytes = |block| {
                let memory = Memory::default();
                program.write_blocks((&spec, 0.7), b"even", (&memory, Watch::nobody()), block).expect("room");
                memory.into_bytes()
            };
            // One frame at a time is the plain way: no stretch, no neighbours.
            let one = bytes(1);
            for block in [7, 64, 1_000, 4_096, 1 << 20] {
                assert!(one == bytes(block), "{format:?} in blocks of {block}");
            }
        }
    }

    /// A short file of 16 bits, which `hound` writes, has the bytes of one written block by block with a header of our own.
    #[test]
    fn a_short_file_has_the_bytes_of_a_long_one() {
        let samples = (0..2_000).map(|n| (n as f32 * 0.2).sin()).collect();
        let bank = Bank::new(44_100, vec![Master { samples, pre: 20 }]).expect("a usual rate");
        let cues = (0..9_i64).map(|n| Cue { right: 0.3, ..Cue::centred(Instant(n * n * 98_765_431_000), 0, 0.1) });
        let program = Program::new(&bank, cues.collect(), Span::from_ms(5), Instant(0)).expect("sound");
        let program = program.marked(vec![Mark { frame: 7, label: "odd".to_owned() }]);
        assert!(program.frames() > 2 * BLOCK && program.frames() < SHORT);
        for channels in [Channels::Mono, Channels::Stereo] {
            let spec = Spec { format: Format::Pcm16, channels, seed: 3 };
            let (short, blocks) = (Memory::default(), Memory::default());
            let notes = notes::chunks(&program.marks, &Info { title: "A".to_owned(), comment: "b".to_owned() });
            program.write_short((&spec, 0.7), &notes, &short, Watch::nobody()).expect("room");
            program.write_blocks((&spec, 0.7), &notes, (&blocks, Watch::nobody()), BLOCK).expect("room");
            let (short, blocks) = (short.into_bytes(), blocks.into_bytes());
            assert!(short == blocks, "{channels:?}");
            let size = wav::size_with(program.frames(), &spec, notes.len() as u64).expect("short");
            assert_eq!(short.len() as u64, size);
        }
    }

    /// What is asked for as samples is what a file of floats holds, to the bit, from whichever frame on; outside is silence.
    #[test]
    fn samples_are_those_of_a_file() {
        let samples = (0..2_000).map(|n| (n as f32 * 0.2).sin() * (-(n as f32) / 300.0).exp());
        let bank = Bank::new(44_100, vec![Master { samples: samples.collect(), pre: 20 }]).expect("a usual rate");
        let cues = (0..20_i64).map(|n| Cue::centred(Instant(n * n * 98_765_431_000), 0, 0.1)).collect();
        let program = Program::new(&bank, cues, Span::from_ms(5), Instant(0)).expect("sound");
        let memory = Memory::default();
        let spec = Spec { format: Format::Float32, channels: Channels::Mono, seed: 1 };
        program.write(&spec, Gain::Fixed(1.0), &memory, Watch::nobody()).expect("room");
        // Another library reads the file.
        let reader = hound::WavReader::new(std::io::Cursor::new(memory.into_bytes())).expect("a WAV file");
        let file: Vec<f32> = reader.into_samples().map(|s| s.expect("a sample")).collect();
        let frames = file.len() as i64;
        assert_eq!(program.samples(0..frames), file);
        assert_eq!(program.samples(1_234..9_876), file[1_234..9_876]);
        let beyond = program.samples(-3..frames + 2);
        assert_eq!(beyond[3..beyond.len() - 2], file[..]);
        assert!(beyond[..3].iter().chain(&beyond[beyond.len() - 2..]).all(|s| *s == 0.0));
    }
}
