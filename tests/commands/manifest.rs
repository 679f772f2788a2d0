use super::place::Place;
use super::wav::Wav;
use serde_json::Value;
use sha2::{Digest, Sha256};

/// Everything that a run of each command writes: listed, with the right size and checksum, and no louder than −1 dBTP by
/// a meter that is not ours.
#[test]
fn every_file_is_listed_as_it_is_and_none_is_too_loud() {
    // Twelve drums on one beat would clip.
    let crowd: String = (0..12)
        .map(|n| format!("[sequencer.s{n}]\nclock = \"sixteenths\"\nsteps = \"X..x\"\nvoice = \"snare\"\n"))
        .collect();
    let place = Place::new().with("crowd.toml", format!("tempos = [180]\nbars = 1\n[clock.sixteenths]\nrate = \"4 per beat\"\n{crowd}\n[fix.late]\nset.\"sequencer.s0.latency\" = \"5 ms\"\n"));
    for line in [
        "render crowd.toml --stems",
        "render crowd.toml --bits 32 --fix late --sample-rate 44100",
        "render patches/moth-wakes-on-seven.toml --bars 1 --stems --bits 16 --sample-rate 44100",
        "compare crowd.toml",
        "compare patches/late-bell.toml --bars 2 --tempo 50",
        "compare patches/thin-ice.toml --bars 1 --tempo 160",
        "compare patches/moth-wakes-on-seven.toml --bars 1 --tempo 140",
        "flam --delay 0ms,-1ms,5ms --voices snare,hat --bits 16",
        "flam --delay 2ms --voices kick,kick --sample-rate 96000",
        "voices --render",
    ] {
        place.run(&format!("hitgap {line}")).exits(0);
    }
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    assert_eq!(manifest["format"], 1);
    let entries = manifest["files"].as_array().expect("a list");
    let sounds = place.sounds("out");
    let listed: Vec<&str> = entries.iter().map(|e| e["file"].as_str().expect("a name")).collect();
    assert!(sounds.len() > 40, "{}", sounds.len());
    let pages: Vec<&str> = listed.iter().copied().filter(|name| name.ends_with(".html")).collect();
    assert_eq!(pages, ["crowd.html", "late-bell.html", "moth-wakes-on-seven.html", "thin-ice.html"]);
    let of_sounds = |e: &&Value| e["kind"] != "page";
    let listed: Vec<&str> = listed.into_iter().filter(|name| !pages.contains(name)).collect();
    assert_eq!(listed, sounds.keys().collect::<Vec<_>>());
    for (entry, (name, bytes)) in entries.iter().filter(of_sounds).zip(&sounds) {
        assert_eq!(entry["bytes"].as_u64(), Some(bytes.len() as u64), "{name}");
        let digest: String = Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(entry["sha256"].as_str(), Some(digest.as_str()), "{name}");
        let reader = hound::WavReader::new(bytes.as_slice()).expect("a WAV file");
        let (spec, frames) = (reader.spec(), reader.duration());
        assert_eq!(entry["frames"].as_u64(), Some(u64::from(frames)), "{name}");
        assert_eq!(entry["channels"].as_u64(), Some(u64::from(spec.channels)), "{name}");
        assert_eq!(entry["sample_rate"].as_u64(), Some(u64::from(spec.sample_rate)), "{name}");
        let format = match spec.bits_per_sample {
            16 => "int16",
            24 => "int24",
            _ => "float32",
        };
        assert_eq!(entry["sample_format"], format, "{name}");
        let peak = Wav::read(bytes).true_peak();
        assert!(peak <= -1.0, "{name}: {peak:.2} dBTP");
        let said = entry["true_peak_dbtp"].as_f64().expect("a level");
        // Two meters at ×4: each may miss 0.7 dB of a tone at 18 kHz, much less of a drum.
        assert!((peak - said).abs() < 0.5, "{name}: {peak:.2} against {said:.2} dBTP");
        let patch = name.split('.').next().expect("a stem");
        let file = if patch == "crowd" { "crowd.toml".to_owned() } else { format!("patches/{patch}.toml") };
        if place.path(&file).exists() {
            let digest: String = Sha256::digest(place.read(&file)).iter().map(|b| format!("{b:02x}")).collect();
            assert_eq!(
                (entry["patch"].as_str(), entry["patch_sha256"].as_str()),
                (Some(file.as_str()), Some(digest.as_str()))
            );
            let variant = name.split('.').nth(1).expect("a variant");
            assert_eq!(entry["variant"].as_str(), Some(variant), "{name}");
        } else {
            assert_eq!((&entry["patch"], &entry["variant"]), (&Value::Null, &Value::Null), "{name}");
        }
    }
    let kinds: std::collections::BTreeSet<&str> = entries.iter().filter_map(|e| e["kind"].as_str()).collect();
    assert_eq!(
        kinds.into_iter().collect::<Vec<_>>(),
        ["alternation", "flam", "matched", "mix", "page", "stem", "voice"]
    );
}

#[test]
fn the_crowd_is_turned_down_and_the_quiet_are_left_alone() {
    let place = Place::new();
    place.run("hitgap render patches/five-teachers.toml --bars 1 --tempo 120").exits(0);
    place.run("hitgap render patches/moth-wakes-on-seven.toml --bars 1 --tempo 140 --stems").exits(0);
    let manifest: Value = serde_json::from_slice(&place.read("out/manifest.json")).expect("JSON");
    let gain = |name: &str| {
        let entry = manifest["files"].as_array().expect("a list").iter().find(|e| e["file"] == name).expect("listed");
        (entry["gain_db"].as_f64().expect("a gain"), entry["true_peak_dbtp"].as_f64().expect("a peak"))
    };
    let (down, peak) = gain("five-teachers.original.120bpm.wav");
    assert!(down < -1.0 && (-1.8..-1.0).contains(&peak), "{down} {peak}");
    // A stem has the mix's gain.
    let mix = gain("moth-wakes-on-seven.original.140bpm.wav").0;
    assert_eq!(gain("moth-wakes-on-seven.original.140bpm.moth.wav").0, mix);
}
