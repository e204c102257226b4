//! A model larger than memory, through the real program.

use std::process::Command;
use std::time::{Duration, Instant};

use xtask::scene::lines;

use super::Bench;
use super::run::Served;
use crate::models::holes;

/// What the process may take in all, kB: less than the model needs, and much
/// more than the program without one.
const LIMIT_KB: u64 = 2_500_000;

#[test]
fn a_model_larger_than_memory_is_told_and_the_work_waits() {
    let bench = Bench::without_model();
    let event = bench.event("Landing");
    let model = bench.path("ggml-large-v3.bin");
    holes::large(&model);
    let model = model.to_str().expect("UTF-8");
    let serve = bench.command(&["--model", model, "serve", "--listen", "127.0.0.1:0"]);
    // The shell puts the limit on itself, then becomes the program.
    let mut limited = Command::new("sh");
    limited
        .args(["-c", &format!("ulimit -v {LIMIT_KB}; exec \"$0\" \"$@\"")])
        .arg(serve.get_program())
        .args(serve.get_args())
        .current_dir(bench.root.path());
    for (removed, _) in serve.get_envs() {
        limited.env_remove(removed);
    }
    let mut server = Served::of(&mut limited);
    let speech = lines::folder().join("letter-corin-1.flac");
    let speech = speech.to_str().expect("UTF-8");
    bench
        .run(&["add", &event, "--source", "Feed", "--no-wait", speech])
        .says(0, &["1 file taken in"]);

    let until = Instant::now() + Duration::from_secs(60);
    let told = loop {
        let status = bench.run(&["status"]);
        let told = status.out + &status.err;
        if told.contains("memory") {
            break told;
        }
        assert!(Instant::now() < until, "{told}");
        std::thread::sleep(Duration::from_millis(100));
    };
    for part in [
        "ggml-large-v3.bin needs some 33",
        " MB are free",
        "smaller model",
    ] {
        assert!(told.contains(part), "no {part:?} in {told}");
    }
    // Nothing is given up: with a smaller model, or more memory, it goes on.
    let status = bench.json(&["status", "--json"]);
    assert_eq!(status["jobs"]["failed"], 0, "{status}");
    // The words, and who speaks behind them.
    assert_eq!(status["jobs"]["waiting"], 2, "{status}");
    assert_eq!(server.stop(), 0);
}
