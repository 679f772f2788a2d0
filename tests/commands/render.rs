use super::place::Place;
use super::wav::Wav;

#[test]
fn a_render_names_its_files() {
    let place = Place::new();
    place.shows(
        "render",
        &[
            "hitgap render patches/late-bell.toml --bars 1",
            "hitgap render patches/moth-wakes-on-seven.toml --bars 1 --tempo 97.5 --fix run-wire --fix original --stems --out there",
        ],
    );
    assert_eq!(place.sounds("out").len(), 4);
    assert_eq!(place.sounds("there").len(), 8);
}

#[test]
fn sound_options_reach_the_file() {
    let place = Place::new();
    let render = "hitgap render patches/late-bell.toml --bars 1 --tempo 160";
    for (more, rate, bits) in [
        ("", 48_000, 24),
        (" --bits 16 --sample-rate 44100", 44_100, 16),
        (" --bits 32 --sample-rate 96000", 96_000, 32),
    ] {
        place.run(&format!("{render}{more}")).exits(0);
        let bytes = place.read("out/late-bell.original.160bpm.wav");
        let spec = hound::WavReader::new(bytes.as_slice()).expect("a WAV file").spec();
        assert_eq!((spec.sample_rate, spec.bits_per_sample, spec.channels), (rate, bits, 2));
    }
    // The lead-in moves all by as many samples.
    let early = Wav::read(&place.read("out/late-bell.original.160bpm.wav"));
    place.run(&format!("{render} --bits 32 --sample-rate 96000 --lead-in 350ms")).exits(0);
    let late = Wav::read(&place.read("out/late-bell.original.160bpm.wav"));
    let moved = early.frame(0.25);
    assert!(late.left()[..moved].iter().all(|s| *s == 0.0));
    let until = early.frame(1.5);
    assert_eq!(early.left()[..until], late.left()[moved..until + moved]);
}

/// Mix and stems are rounded to 24 bits each, from sums in 32-bit floats.
#[test]
fn stems_add_up_to_the_mix() {
    let place = Place::new();
    place.run("hitgap render patches/moth-wakes-on-seven.toml --bars 2 --tempo 140 --stems").exits(0);
    let read = |stem: &str| Wav::read(&place.read(&format!("out/moth-wakes-on-seven.original.140bpm{stem}.wav")));
    let mix = read("");
    let stems = [".ox", ".wren", ".moth"].map(read);
    for (channel, mixed) in mix.channels.iter().enumerate() {
        assert!(mixed.iter().any(|s| s.abs() > 0.3), "there is sound");
        let sum = |i: usize| stems.iter().map(|s| s.channels[channel].get(i).unwrap_or(&0.0)).sum::<f64>();
        let off = mixed.iter().enumerate().map(|(i, s)| (s - sum(i)).abs()).fold(0.0, f64::max);
        // Half a step for each of four files, and one for the floats.
        assert!(off <= 3.0 / 8_388_608.0, "{off:e}");
    }
    // Moth stands 20 % to the left, Ox in the middle: constant power puts the sides at tan of (1 ± 0.2)·45°.
    let [ox, _, moth] = &stems;
    assert_eq!(ox.channels[0], ox.channels[1]);
    let energy = |samples: &[f64]| samples.iter().map(|s| s * s).sum::<f64>();
    let sides = (energy(&moth.channels[1]) / energy(&moth.channels[0])).sqrt();
    assert!((sides - (0.8 * std::f64::consts::FRAC_PI_4).tan()).abs() < 1e-4, "{sides}");
}
