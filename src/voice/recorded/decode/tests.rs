//! Files by hand, byte by byte, from memory where no page is named; `libsndfile` reads those of AIFF and FLAC to the same samples.

use super::*;

/// A chunk of a WAV file.
fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    [&id[..], &(body.len() as u32).to_le_bytes(), body].concat()
}

/// A WAV file: `tag` 1 is whole numbers, 3 floating point; `promised` bytes of sound.
fn wav_of((tag, channels, rate, bits): (u16, u16, u32, u16), data: &[u8], promised: u32) -> Vec<u8> {
    let frame = channels * bits.div_ceil(8);
    let mut form = [tag.to_le_bytes(), channels.to_le_bytes()].concat();
    form.extend(rate.to_le_bytes());
    form.extend((rate * u32::from(frame)).to_le_bytes());
    form.extend([frame.to_le_bytes(), bits.to_le_bytes()].concat());
    let sound = [&b"data"[..], &promised.to_le_bytes(), data].concat();
    let body = [&b"WAVE"[..], &chunk(b"fmt ", &form), &sound].concat();
    chunk(b"RIFF", &body)
}

fn plain_wav(form: (u16, u16, u32, u16), data: &[u8]) -> Vec<u8> {
    wav_of(form, data, data.len() as u32)
}

/// An AIFF file of whole numbers; the rate is a power of two times a number below 65536.
fn aiff(channels: u16, rate: u32, bits: u16, data: &[u8], frames: u32) -> Vec<u8> {
    let big = |id: &[u8; 4], body: &[u8]| [&id[..], &(body.len() as u32).to_be_bytes(), body].concat();
    // 80 bits: sign and exponent, then a mantissa whose first bit is 1.
    let zeros = rate.leading_zeros();
    let mut extended = (16_383_u16 + 31 - zeros as u16).to_be_bytes().to_vec();
    extended.extend((u64::from(rate) << (32 + zeros)).to_be_bytes());
    let common = [&channels.to_be_bytes()[..], &frames.to_be_bytes(), &bits.to_be_bytes(), &extended].concat();
    let sound = [&[0; 8][..], data].concat();
    let body = [&b"AIFF"[..], &big(b"COMM", &common), &big(b"SSND", &sound)].concat();
    big(b"FORM", &body)
}

/// The check of a FLAC header or frame: a polynomial division, most significant bit first.
fn crc(bytes: &[u8], width: u32, polynomial: u32) -> u32 {
    let top = 1 << (width - 1);
    bytes.iter().fold(0, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte) << (width - 8), |crc, _| {
            if crc & top == 0 { crc << 1 } else { crc << 1 ^ polynomial }
        }) & (top | (top - 1))
    })
}

/// A FLAC file of one frame of plain samples of 16 bits (RFC 9639: sections 8.2, 9.1, 9.2.5).
fn flac(rate: u32, channels: &[Vec<i16>], promised: u64, md5: [u8; 16]) -> Vec<u8> {
    let count = channels[0].len() as u16;
    let mut info = [count.to_be_bytes(), count.to_be_bytes()].concat();
    info.extend([0; 6]);
    let packed = u64::from(rate) << 44 | (channels.len() as u64 - 1) << 41 | 15 << 36 | promised;
    info.extend(packed.to_be_bytes());
    info.extend(md5);
    let mut file = [&b"fLaC"[..], &[0x80, 0, 0, 34], &info].concat();
    // Block size in 16 bits, rate as above, channels, 16 bits a sample, frame 0.
    let mut frame = vec![0xff, 0xf8, 0x70, (channels.len() as u8 - 1) << 4 | 0x08, 0];
    frame.extend((count - 1).to_be_bytes());
    frame.push(crc(&frame, 8, 0x07) as u8);
    for channel in channels {
        frame.push(0x02);
        frame.extend(channel.iter().flat_map(|x| x.to_be_bytes()));
    }
    frame.extend((crc(&frame, 16, 0x8005) as u16).to_be_bytes());
    file.extend(frame);
    file
}

#[test]
fn every_depth_is_read_to_full_scale() {
    // By hand: half of full scale up, all of it down.
    let cases: [(u16, u16, Vec<u8>); 5] = [
        // Eight bits count from the middle.
        (1, 8, vec![0xc0, 0x00]),
        (1, 16, [16_384_i16, -32_768].iter().flat_map(|x| x.to_le_bytes()).collect()),
        (1, 24, vec![0, 0, 0x40, 0, 0, 0x80]),
        (1, 32, [1_i32 << 30, i32::MIN].iter().flat_map(|x| x.to_le_bytes()).collect()),
        (3, 32, [0.5_f32, -1.0].iter().flat_map(|x| x.to_le_bytes()).collect()),
    ];
    for (tag, bits, data) in cases {
        let read = decode(&plain_wav((tag, 1, 44_100, bits), &data)).expect("a WAV file");
        assert_eq!((read.format, read.rate, read.channels), ("WAV", 44_100, 1));
        assert_eq!(read.samples, [0.5, -1.0], "{bits}");
    }
    for (bits, data) in [(8, vec![0x40, 0x80]), (16, vec![0x40, 0, 0x80, 0]), (24, vec![0x40, 0, 0, 0x80, 0, 0])] {
        let read = decode(&aiff(1, 44_100, bits, &data, 2)).expect("an AIFF file");
        assert_eq!((read.format, read.rate, read.channels), ("AIFF", 44_100, 1));
        assert_eq!(read.samples, [0.5, -1.0], "{bits}");
    }
    // The shortest block that the format has.
    let channel = |begin: [i16; 3]| [&begin[..], &[0; 13]].concat();
    let channels = [channel([16_384, -32_768, 0]), channel([1, 2, 3])];
    let read = decode(&flac(48_000, &channels, 16, [0; 16])).expect("a FLAC file");
    assert_eq!((read.format, read.rate, read.channels), ("FLAC", 48_000, 2));
    let step = 1.0 / 32_768.0;
    assert_eq!(read.samples[..7], [0.5, step, -1.0, 2.0 * step, 0.0, 3.0 * step, 0.0]);
    assert_eq!(read.mixed()[..2], [(0.5 + step) / 2.0, (2.0 * step - 1.0) / 2.0]);
}

#[test]
fn what_is_cut_short_or_lies_is_told_with_both_figures() {
    let data: Vec<u8> = (0..2_000_i16).flat_map(i16::to_le_bytes).collect();
    let short = |promised, found| RecordingError::Short { promised, found };
    for channels in [1, 2] {
        let form = (1, channels, 48_000, 16);
        let frames = 2_000 / u64::from(channels);
        let whole = wav_of(form, &data, 4_000);
        assert_eq!(decode(&whole[..whole.len() - 1_000]).expect_err("cut"), short(frames, frames * 3 / 4));
        // A header that promises four gigabytes, and one that promises nothing.
        let lying = 0xffff_fff0 / (2 * u32::from(channels));
        assert_eq!(decode(&wav_of(form, &data, 0xffff_fff0)).expect_err("a lie"), short(u64::from(lying), frames));
        assert!(matches!(decode(&wav_of(form, &data, 0)).expect_err("a lie"), RecordingError::Silent(_)));
    }
    let big: Vec<u8> = (0..2_000_i16).flat_map(i16::to_be_bytes).collect();
    assert!(decode(&aiff(1, 48_000, 16, &big, 2_000)).is_ok());
    let cut = aiff(1, 48_000, 16, &big, 2_000);
    assert_eq!(decode(&cut[..cut.len() - 1_000]).expect_err("cut"), short(2_000, 1_500));
    assert_eq!(decode(&aiff(1, 48_000, 16, &big, 2_000_000_000)).expect_err("a lie"), short(2_000_000_000, 2_000));
    let samples = vec![(0..2_000).collect::<Vec<i16>>()];
    let whole = flac(48_000, &samples, 2_000, [0; 16]);
    assert!(decode(&whole).is_ok());
    assert_eq!(decode(&whole[..whole.len() - 1_000]).expect_err("cut"), short(2_000, 0));
    assert_eq!(decode(&flac(48_000, &samples, 2_500, [0; 16])).expect_err("a lie"), short(2_500, 2_000));
    assert_eq!(decode(&flac(48_000, &samples, 2_000, [7; 16])).expect_err("a wrong sum"), RecordingError::Damaged);
}

#[test]
fn what_is_no_drum_is_told_as_what_it_is() {
    let told = |bytes: &[u8]| decode(bytes).expect_err("no drum");
    let wave = |channels, rate, seconds: u32| {
        plain_wav((1, channels, rate, 8), &vec![0x90; (rate * seconds * u32::from(channels)) as usize])
    };
    assert_eq!(told(&wave(8, 48_000, 1)), RecordingError::Channels(8));
    assert_eq!(told(&wave(1, 7_999, 1)), RecordingError::Rate(7_999));
    assert_eq!(told(&wave(1, 400_000, 1)), RecordingError::Rate(400_000));
    assert_eq!(told(&wave(1, 8_000, 61)), RecordingError::TooLong(61.0));
    assert!(decode(&wave(1, 8_000, 60)).is_ok());
    let lying = flac(48_000, &[vec![0; 100]], 1 << 35, [0; 16]);
    assert!(matches!(told(&lying), RecordingError::TooLong(_)), "{:?}", told(&lying));
    let infinite = [0.0_f32, f32::INFINITY].iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<_>>();
    assert_eq!(told(&plain_wav((3, 1, 48_000, 32), &infinite)), RecordingError::NoNumber(2));
    // A format with loss inside a WAV file, and others outside.
    assert!(matches!(told(&plain_wav((85, 1, 48_000, 16), &[0; 100])), RecordingError::Form { .. }));
    for bytes in [&b""[..], b"MThd\0\0", b"OggS\0\0", b"ID3\x04", &[0xff, 0xfb, 0x90], b"RF64\0\0\0\0WAVE", b"hello"] {
        assert!(matches!(told(bytes), RecordingError::Kind(_)), "{bytes:?}");
        assert!(!told(bytes).help().is_empty());
    }
}
