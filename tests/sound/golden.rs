//! The same bytes everywhere: checksums of what every example renders to, on one thread and on two.
//!
//! What is summed is a file's header and its samples, as if nothing stood after them: so the sums speak of sound alone, and hold
//! whatever is marked or said in a file. The whole files are the same on one thread and on two.
//!
//! They are kept in `tests/golden.txt`, a line an example, and written anew with `HITGAP_BLESS=1 cargo test --test golden`: a
//! change there is a change of sound, and belongs into the changelog. Set `HITGAP_BINARY` to the path of another build of the
//! program, such as one of the release profile, to hold that against them.

use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const HOME: &str = env!("CARGO_MANIFEST_DIR");

fn program() -> PathBuf {
    std::env::var_os("HITGAP_BINARY").map_or_else(|| env!("CARGO_BIN_EXE_hitgap").into(), |p| Path::new(HOME).join(p))
}

fn run(threads: &str, out: &Path, arguments: &[&str]) {
    let done = Command::new(program())
        .args(arguments)
        .arg("--out")
        .arg(out)
        .current_dir(HOME)
        .env("RAYON_NUM_THREADS", threads)
        .output()
        .expect("the program starts");
    assert!(done.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&done.stderr));
}

/// An example that draws its noise anew at every strike, in this folder: no example of its own does.
fn with_fresh_noise(example: &str, folder: &Path) -> String {
    let text = std::fs::read_to_string(Path::new(HOME).join(format!("patches/{example}.toml"))).expect("an example");
    assert!(!text.contains("noise"), "{example} says itself how its noise is drawn");
    let path = folder.join(format!("{example}-in-fresh-noise.toml"));
    std::fs::write(&path, format!("noise = \"fresh\"\n{text}")).expect("written");
    path.to_str().expect("a plain path").to_owned()
}

/// A file without what stands after its samples: RIFF chunks are a name, a size and so many bytes, padded to even.
fn sound_alone(file: &[u8]) -> Vec<u8> {
    let size = |at: usize| u32::from_le_bytes(file[at + 4..at + 8].try_into().expect("four bytes")) as usize;
    let mut at = 12;
    while &file[at..at + 4] != b"data" {
        at += 8 + size(at).next_multiple_of(2);
    }
    let mut alone = file[..at + 8 + size(at)].to_vec();
    let riff = u32::try_from(alone.len() - 8).expect("a short file");
    alone[4..8].copy_from_slice(&riff.to_le_bytes());
    alone
}

/// Checksums of all sounds that a few commands make, on so many threads: of each the sound alone and the whole file.
fn sums(threads: &str) -> BTreeMap<String, [String; 2]> {
    let dir = tempfile::TempDir::new().expect("a temporary folder");
    let mut patches: Vec<PathBuf> = std::fs::read_dir(Path::new(HOME).join("patches"))
        .expect("the examples")
        .map(|e| e.expect("an entry").path())
        .collect();
    patches.sort();
    for path in &patches {
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        // Lists of components and lessons play nothing themselves.
        if !name.ends_with(".toml") || name == "components.toml" || name.ends_with(".lesson.toml") {
            continue;
        }
        let patch = format!("patches/{name}");
        run(threads, dir.path(), &["render", &patch, "--bars", "2", "--tempo", "127.3", "--sample-rate", "44100"]);
    }
    run(threads, dir.path(), &["render", "patches/loose-hands.toml", "--bars", "2", "--tempo", "90", "--run", "7"]);
    let fresh = with_fresh_noise("hand-in-hand", dir.path());
    run(threads, dir.path(), &["render", &fresh, "--bars", "4", "--tempo", "127.3"]);
    run(threads, dir.path(), &["render", &fresh, "--bars", "2", "--tempo", "90", "--seed", "7"]);
    run(threads, dir.path(), &["compare", "patches/thin-ice.toml", "--bars", "4", "--tempo", "60", "--no-page"]);
    run(threads, dir.path(), &["flam", "--delay", "3ms", "--voices", "snare,hat", "--bits", "16"]);
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(dir.path()).expect("the folder") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|e| e == "wav") {
            let file = std::fs::read(&path).expect("a file");
            let sum = |bytes: &[u8]| Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect();
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            let alone = sound_alone(&file);
            assert!(alone.len() < file.len(), "{name} says nothing of itself");
            all.insert(name, [sum(&alone), sum(&file)]);
        }
    }
    all
}

#[test]
fn every_example_sounds_the_same_everywhere() {
    let kept = Path::new(HOME).join("tests/golden.txt");
    let (one, two) = (sums("1"), sums("2"));
    assert_eq!(one, two, "one thread and two");
    let text: String = one.iter().map(|(name, [sum, _])| format!("{sum}  {name}\n")).collect();
    if std::env::var_os("HITGAP_BLESS").is_some() {
        std::fs::write(&kept, &text).expect("written");
    }
    let known = std::fs::read_to_string(&kept).expect("tests/golden.txt").replace("\r\n", "\n");
    assert!(one.len() > 20, "{}", one.len());
    assert_eq!(text, known, "the sound has changed: read the head of tests/golden.rs");
}
