//! The sounds of voices that are played from files, read beside the patch.

use super::SourceError;
use super::beside::{is_inside, unreadable};
use crate::patch::{Voice, shown};
use crate::store::{Contents, contents, sha256_hex};
use crate::voice::Sound;
use crate::voice::recorded::{Cut, MOST_BYTES, RecordingError, Stroke};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Sounds that were read before, for who reads one patch again and again: what a file still holds is not worked out anew.
#[derive(Debug, Default)]
pub struct Shelf(Mutex<Vec<Arc<Stroke>>>);

impl Shelf {
    /// So many are kept, the last that were read.
    const MOST: usize = 64;

    fn find(&self, checksum: &str, cut: Cut) -> Option<Arc<Stroke>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.iter().find(|stroke| stroke.checksum == checksum && stroke.cut == cut).cloned()
    }

    fn keep(&self, stroke: &Arc<Stroke>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= Self::MOST {
            all.remove(0);
        }
        all.push(Arc::clone(stroke));
    }
}

/// Reads what the voices of some variants ask for.
#[derive(Clone, Debug)]
pub(super) struct Sounds {
    /// Where the patch lies: files are named from there.
    folder: PathBuf,
    /// By the file's name as it is written and its cut; what two ask for alike is read once.
    known: Vec<(String, Cut, Arc<Stroke>)>,
    /// Every file that was asked for, whether it could be read or not.
    tried: Vec<PathBuf>,
    /// Whether files outside of the folder are read.
    anywhere: bool,
    /// What there is to be told of the files, a sentence each.
    notes: Vec<String>,
}

impl Sounds {
    /// For the voices of a patch file.
    #[must_use]
    pub(super) fn new(patch: &Path, anywhere: bool) -> Self {
        let folder = patch.parent().map(Path::to_owned).unwrap_or_default();
        Self { folder, known: Vec::new(), tried: Vec::new(), anywhere, notes: Vec::new() }
    }

    /// Every file that was asked for, whether it could be read or not.
    pub(super) fn tried(&self) -> &[PathBuf] {
        &self.tried
    }

    /// What there is to be told of the files, a sentence each.
    pub(super) fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The checksums of all that was read, each once and in order.
    pub(super) fn checksums(&self) -> String {
        let mut all: Vec<&str> = self.known.iter().map(|(.., stroke)| stroke.checksum.as_str()).collect();
        all.sort_unstable();
        all.dedup();
        all.concat()
    }

    /// Hands voices what their files hold.
    ///
    /// # Errors
    /// If a file cannot be read, or is no drum.
    pub(super) fn fill(&mut self, voices: &mut [Voice], shelf: Option<&Shelf>) -> Result<(), SourceError> {
        for voice in voices {
            let Sound::Recorded(recorded) = &mut voice.sound else { continue };
            let mut strokes = Vec::new();
            for stroke in &recorded.files {
                strokes.push(self.stroke(&voice.name, &stroke.file, recorded.cut, shelf)?);
            }
            recorded.strokes = strokes.into();
        }
        Ok(())
    }

    fn stroke(&mut self, voice: &str, file: &str, cut: Cut, shelf: Option<&Shelf>) -> Result<Arc<Stroke>, SourceError> {
        if let Some((.., known)) = self.known.iter().find(|(name, own, _)| name == file && *own == cut) {
            return Ok(Arc::clone(known));
        }
        let path = self.folder.join(file);
        self.tried.push(path.clone());
        let what = format!("the file of the voice `{voice}` (`{}`)", shown(&path.display().to_string()));
        if !self.anywhere && !is_inside(&self.folder, file) {
            let help = "put it below the folder of the patch, or write --allow-files if you trust the patch";
            return Err(SourceError::refused(format!("{what} lies outside of the patch's folder"), help));
        }
        let most = MOST_BYTES as u64;
        let bytes = match contents(&path, most).map_err(|e| unreadable(&what, &e, "a sound"))? {
            Contents::Bytes(bytes) => bytes,
            Contents::TooLarge(length) => {
                let found = length.map_or_else(|| format!("more than {most}"), |length| length.to_string());
                let found = format!("{what} has {found} bytes, expected at most {most} (64 MiB)");
                return Err(SourceError::refused(found, "is this the right file? cut one hit out of it"));
            }
        };
        let checksum = sha256_hex(&bytes);
        let stroke = match shelf.and_then(|shelf| shelf.find(&checksum, cut)) {
            Some(known) => known,
            None => {
                let bad = |e: RecordingError| SourceError::refused(format!("{what}: {e}"), e.help());
                let stroke = Arc::new(Stroke::new(&bytes, checksum, cut).map_err(bad)?);
                shelf.iter().for_each(|shelf| shelf.keep(&stroke));
                stroke
            }
        };
        self.notes.extend(stroke.flaws.iter().map(|flaw| format!("{what}: {flaw}")));
        self.known.push((file.to_owned(), cut, Arc::clone(&stroke)));
        Ok(stroke)
    }
}

#[cfg(test)]
mod tests {
    use crate::source::{Shelf, Talk, Wanted, load_noting};
    use crate::voice::Sound;
    use std::sync::Arc;

    /// A click in a WAV file of 16 bits.
    fn click(size: i16) -> Vec<u8> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 48_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a file in memory");
        (0..480).for_each(|n| writer.write_sample(if n == 100 { size } else { n % 2 }).expect("a sample"));
        writer.finalize().expect("a file in memory");
        bytes.into_inner()
    }

    /// Who watches a patch watches its sounds, those that are not there yet too; and what a file still holds is not worked out
    /// anew.
    #[test]
    fn sounds_are_followed_and_kept() {
        let dir = tempfile::tempdir().expect("a folder");
        let (patch, sound) = (dir.path().join("p.toml"), dir.path().join("drum.wav"));
        let text = "[clock.c]\nrate = \"1 per beat\"\n[sequencer.s]\nclock = \"c\"\nsteps = \"x\"\nvoice = \"v\"\n\
                    [voice.v]\nfile = \"drum.wav\"\n[fix.cut]\nset.\"voice.v.trim\" = \"5 ms\"\n";
        std::fs::write(&patch, text).expect("a file");
        let shelf = Shelf::default();
        let load = || {
            let wanted = Wanted { shelf: Some(&shelf), ..Wanted::default() };
            let mut read = Vec::new();
            let loaded = load_noting(&patch, None, (wanted, Talk { color: false, say: |_| {} }), &mut read);
            assert!(read.contains(&sound), "{read:?}");
            loaded
        };
        assert!(load().expect_err("it is not there").to_string().contains("look at the spelling"));
        std::fs::write(&sound, click(20_000)).expect("a file");
        let strokes = || {
            let loaded = load().expect("a patch");
            let rigs = [&loaded.patch.original.rig, &loaded.patch.fixes[0].rig];
            rigs.map(|rig| match &rig.voices[0].sound {
                Sound::Recorded(recorded) => Arc::clone(&recorded.strokes[0]),
                other => panic!("{other:?}"),
            })
        };
        let [own, cut] = strokes();
        let [again, cut_again] = strokes();
        assert!(Arc::ptr_eq(&own, &again) && Arc::ptr_eq(&cut, &cut_again) && own != cut);
        std::fs::write(&sound, click(10_000)).expect("a file");
        assert!(strokes()[0] != own);
    }
}
