//! Sound files of drums.

use super::{cases, is_plain};
use hitgap::voice::Drum;
use hitgap::voice::NoiseKey;
use hitgap::voice::recorded::{Cut, Stroke};
use proptest::prelude::*;

/// Reads bytes as a drum.
pub(crate) fn read(bytes: &[u8]) {
    match Stroke::new(bytes, "0a".to_owned(), Cut::default()) {
        Ok(stroke) => {
            let master = Drum::recorded(&stroke).master(&NoiseKey::new(0, ""));
            assert!(master.samples.iter().all(|x| x.abs() <= 1.0) && master.seconds() < 3.1);
            stroke.flaws.iter().for_each(|flaw| is_plain(&flaw.to_string()));
        }
        Err(error) => {
            assert!(!error.help().is_empty());
            is_plain(&error.to_string());
        }
    }
}

/// Files of each format, short enough that most bytes are of their heads.
fn seeds() -> Vec<Vec<u8>> {
    let form = [&[1, 0, 1, 0][..], &8_000_u32.to_le_bytes(), &16_000_u32.to_le_bytes(), &[2, 0, 16, 0]].concat();
    let data: Vec<u8> = (0..60_i16).flat_map(|n| (n * 400 % 9_000).to_le_bytes()).collect();
    let chunk = |id: &[u8; 4], body: &[u8]| [&id[..], &(body.len() as u32).to_le_bytes(), body].concat();
    let wav = chunk(b"RIFF", &[&b"WAVE"[..], &chunk(b"fmt ", &form), &chunk(b"data", &data)].concat());
    let big = |id: &[u8; 4], body: &[u8]| [&id[..], &(body.len() as u32).to_be_bytes(), body].concat();
    // 8000 Hz as 80 bits: 8000 is 2^12 times 1.953125.
    let common = [&[0, 1, 0, 0, 0, 60, 0, 16, 0x40, 0x0b, 0xfa][..], &[0; 7]].concat();
    let aiff =
        big(b"FORM", &[&b"AIFF"[..], &big(b"COMM", &common), &big(b"SSND", &[&[0; 8][..], &data].concat())].concat());
    let mut flac = b"fLaC\x80\0\0\x22\0\x3c\0\x3c\0\0\0\0\0\0".to_vec();
    flac.extend((8_000_u64 << 44 | 15 << 36 | 60).to_be_bytes());
    flac.extend([0; 16]);
    flac.extend([0xff, 0xf8, 0x70, 0x08, 0, 0, 59, 0xbb, 0x02]);
    flac.extend(&data);
    flac.extend([0, 0]);
    vec![wav, aiff, flac]
}

proptest! {
    #![proptest_config(cases(120))]
    #[test]
    fn any_bytes_are_answered(
        seed in 0_usize..3,
        changes in prop::collection::vec((0_usize..200, any::<u8>()), 0..8),
        cut in prop::option::of(0_usize..200),
        noise in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let mut bytes = seeds().swap_remove(seed);
        for (at, byte) in changes {
            let at = at % bytes.len();
            bytes[at] = byte;
        }
        bytes.truncate(cut.unwrap_or(bytes.len()));
        bytes.extend(noise);
        read(&bytes);
    }
}

#[test]
fn the_seeds_are_files() {
    for bytes in &seeds()[..2] {
        let stroke = Stroke::new(bytes, String::new(), Cut::default()).expect("a drum");
        assert_eq!((stroke.file.rate, stroke.file.channels), (8_000, 1));
    }
    // Its sums are not right, which its reader passes over or not.
    read(&seeds()[2]);
}
