//! A day on which everything goes wrong that may: each recorder is placed rightly
//! or not at all, each fault is told, and none costs another its place.

use std::path::Path;

use serde_json::{Value, json};
use xtask::scene::day::Corpus;
use xtask::scene::day::cases::bad_day::{self, *};

use super::Bench;
use super::day::{CLOCK_MS, Cards, placement, solved, take, together, told, write};

/// Files in which there is nothing, and one that is there twice.
fn odd_files(bench: &Bench, cards: &Cards) {
    let folder = bench.path("cards/Z odd");
    std::fs::create_dir(&folder).expect("a folder");
    std::fs::copy(&cards.files[GOOD], folder.join("twice.wav")).expect("a copy");
    silence(&folder.join("empty.wav"), 0);
    silence(&folder.join("one-frame.wav"), 1);
    silence(&folder.join("zeros.wav"), 16_000 * 600);
    std::fs::write(folder.join("nothing.wav"), "").expect("a file");
}

fn silence(path: &Path, frames: usize) {
    write(path, std::iter::repeat_n(0.0, frames));
}

fn warned(recording: &Value, words: &[&str]) {
    let all = recording["warnings"].as_array().expect("warnings");
    let says = |warning: &&Value| {
        let text = warning.as_str().expect("a sentence");
        words.iter().all(|word| text.contains(word))
    };
    assert!(all.iter().any(|w| says(&w)), "{words:?}: {recording}");
}

#[test]
fn what_is_wrong_with_one_recorder_costs_no_other_its_place() {
    let bench = Bench::without_model();
    let corpus = Corpus::load(240).expect("talk");
    let cards = Cards::of(bad_day::day(61, &corpus), corpus, &bench);
    odd_files(&bench, &cards);
    let event = bench.event("Ferry wedding");
    let mut server = bench.serve();
    bench
        .run(&["add", &event, "cards", "--no-wait"])
        .says(0, &["17 files taken in"]);
    let clock = solved(&bench, &event, TAKES + 2);

    for n in [1, STOPS, WRONG_RATE, EARLY, LATE, SOFTER] {
        assert!(together(&clock, GOOD, n), "take {n}: {clock}");
        let worst = cards.worst_ms(&clock, GOOD, n);
        assert!(worst <= CLOCK_MS, "take {n} is {worst} ms off: {clock}");
        assert_eq!(take(&clock, n)["island"], 0, "{clock}");
    }
    stopped_and_went_on(&clock);
    warned(take(&clock, WRONG_RATE), &["2.00 % fast"]);
    warned(take(&clock, SOFTER), &["same sound", "12.0 dB"]);
    for n in [ELSEWHERE, CELLAR, APPLAUSE, SECOND_BEFORE] {
        lies_nowhere_wrong(&cards, &clock, n);
    }
    if take(&clock, SECOND_IN_TALK)["how"] == "sound" {
        lies_nowhere_wrong(&cards, &clock, SECOND_IN_TALK);
    }
    for name in ["zeros.wav", "one-frame.wav"] {
        assert_eq!(told(&clock, name)["how"], "unplaced", "{clock}");
    }
    for n in [GOOD, 1] {
        assert_eq!(take(&clock, n)["pieces"].as_array().map(Vec::len), Some(1));
    }
    each_file_is_accounted_for(&bench, &event);
    let shown = bench.run(&["clock", &event]);
    shown.says(0, &[]);
    assert!(shown.out.contains("take-3.wav"), "{}", shown.out);
    assert_eq!(server.stop(), 0);
}

fn stopped_and_went_on(clock: &Value) {
    let pieces = placement(clock, STOPS);
    let pieces = pieces.pieces();
    assert_eq!(pieces.len(), 2, "{clock}");
    let ran_on = pieces[0].event_ms + (pieces[1].from_ms - pieces[0].from_ms);
    let lost = pieces[1].event_ms - ran_on;
    assert!((lost - 1000.0 * STOP.lost_s).abs() < 40.0, "{lost} ms lost");
    warned(take(clock, STOPS), &["stopped at 0:0", "7.2", "later"]);
}

/// Not placed, or right.
fn lies_nowhere_wrong(cards: &Cards, clock: &Value, n: usize) {
    if together(clock, GOOD, n) {
        let off = cards.worst_ms(clock, GOOD, n);
        assert!(off < 40.0, "take {n} is {off} ms off: {clock}");
    } else {
        let of = take(clock, n);
        assert!(of["how"] != "sound" || of["island"] != 0, "{of}");
    }
}

fn each_file_is_accounted_for(bench: &Bench, event: &str) {
    let shown = bench.json(&["event", "show", event, "--json"]);
    let refused: Vec<&Value> = shown["intakes"]
        .as_array()
        .expect("intakes")
        .iter()
        .map(|intake| &intake["file"])
        .collect();
    assert_eq!(
        refused,
        [&json!("empty.wav"), &json!("nothing.wav")],
        "{shown}"
    );
    let status = bench.json(&["status", "--event", event, "--json"]);
    let failed = status["jobs"]["failed"].as_i64();
    assert_eq!(failed, Some(2), "only what can't be opened: {status}");
}
