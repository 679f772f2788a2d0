//! What the program costs as a whole: its start, and a grid of 300 cells of 8 bars on one core and on all, in turn; nothing
//! here passes or fails.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant as Clock;

/// `one_core`: bound to one, where there is `taskset`; elsewhere with one thread for the work, beside which files are still sent
/// to the disk and long ones read back.
fn timed(dir: &Path, one_core: bool, line: &[&str]) -> f64 {
    let program = env!("CARGO_BIN_EXE_hitgap");
    let bound = one_core && Command::new("taskset").arg("--version").stdout(Stdio::null()).status().is_ok();
    let mut command = Command::new(if bound { "taskset" } else { program });
    if bound {
        command.args(["-c", "0", program]);
    }
    command.args(line).current_dir(env!("CARGO_MANIFEST_DIR")).stdout(Stdio::null()).stderr(Stdio::null());
    if line.contains(&"sweep") {
        command.args(["--out"]).arg(dir);
    }
    if one_core {
        command.env("RAYON_NUM_THREADS", "1");
    }
    let start = Clock::now();
    // 1 is a verdict too.
    let status = command.status().expect("it starts").code();
    assert!(matches!(status, Some(0 | 1)), "{status:?}");
    start.elapsed().as_secs_f64()
}

fn least(runs: usize, mut work: impl FnMut() -> f64) -> f64 {
    (0..runs).map(|_| work()).fold(f64::INFINITY, f64::min)
}

fn main() {
    let start = least(50, || timed(Path::new("."), false, &["--version"]));
    let check =
        least(50, || timed(Path::new("."), false, &["check", "patches/moth-wakes-on-seven.toml", "--tempo", "120"]));
    println!("start: {:.1} ms; a check of an example at one tempo: {:.1} ms", start * 1e3, check * 1e3);
    let grid = [
        "sweep",
        "patches/late-bell.toml",
        "--on",
        "sequencer.wren.clock",
        "--delay",
        "0ms..29.9ms:0.1ms",
        "--tempo",
        "120",
        "--bars",
        "8",
    ];
    // On the disk of temporary files, and where there is one in memory alone, so that the disk's share is seen.
    let places = [std::env::temp_dir(), Path::new("/dev/shm").to_path_buf()];
    for place in places.iter().filter(|place| place.is_dir()) {
        let mut fastest = [f64::INFINITY; 2];
        for _ in 0..4 {
            for (fastest, one_core) in fastest.iter_mut().zip([true, false]) {
                let dir = tempfile::tempdir_in(place).expect("a folder");
                *fastest = fastest.min(timed(dir.path(), one_core, &grid));
            }
        }
        let [one, all] = fastest;
        println!(
            "300 cells into {}: {one:.2} s on one core, {all:.2} s on all, {:.2} times",
            place.display(),
            one / all
        );
    }
}
