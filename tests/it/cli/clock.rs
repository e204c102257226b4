//! The clock of an event on a terminal.

use serde_json::Value;

use super::Bench;

/// The lectern started 1.5 s sooner.
pub(super) fn on_one_clock(clock: &Value) {
    assert_eq!(clock["state"], "solved", "{clock}");
    assert_eq!(start(clock, "Lectern"), 0.0, "{clock}");
    // One file is the other, later and softer: the goal for any instant is 10 ms.
    let apart = start(clock, "Ottilie's lav") - 1500.0;
    assert!(apart.abs() <= 10.0, "{apart} ms off: {clock}");
}

fn start(clock: &Value, label: &str) -> f64 {
    let all = clock["recordings"].as_array().expect("recordings");
    let found = all.iter().find(|r| r["source"]["label"] == label);
    found
        .and_then(|r| r["start_exact_ms"].as_f64())
        .expect("a start")
}

/// By a picture, a fix and its release; the words stay findable.
pub(super) fn a_person_knows_better(bench: &Bench, event: &str) {
    let shown = bench.run(&["clock", event, "--picture", "clock.svg"]);
    shown.says(0, &["wrote clock.svg"]);
    for part in ["2 of 2 recordings", "Lectern", "00:00:01.", " ms", "sound"] {
        assert!(shown.out.contains(part), "no {part:?} in {}", shown.out);
    }
    let svg = std::fs::read_to_string(bench.path("clock.svg")).expect("a picture");
    assert!(
        svg.starts_with("<svg ") && svg.contains("REC01.flac"),
        "{svg}"
    );
    let fix = ["clock", "fix", event, "REC01.flac"];
    // Two seconds later than the sound says.
    let fixed = bench.run(&[&fix[..], &["--at", "1.0", "--same-as", "0001.wav@4.5"]].concat());
    fixed.says(0, &[]);
    assert!(fixed.out.contains("by hand"), "{}", fixed.out);
    let clock = bench.json(&["clock", event, "--json"]);
    let apart = start(&clock, "Ottilie's lav") - start(&clock, "Lectern");
    assert!((apart - 3500.0).abs() <= 1.0, "{apart} ms: {clock}");
    let released = bench.run(&[&fix[..], &["--release"]].concat());
    released.says(0, &[]);
    assert!(!released.out.contains("by hand"), "{}", released.out);
    on_one_clock(&bench.json(&["clock", event, "--json"]));
    bench
        .run(&[&fix[..], &["--release"]].concat())
        .says(3, &["nothing to release"]);
    let waits = bench.run(&["clock", "solve", event, "--no-wait"]);
    waits.says(0, &["sayback serve"]);
    assert_eq!(bench.json(&["status", "--json"])["jobs"]["waiting"], 1);
    bench.run(&["clock", "solve", event]).says(0, &[]);
    bench
        .run(&["find", "kettle", "singing"])
        .says(0, &["1 line in"]);
}
