//! A day on which everything goes wrong that may: each recorder is placed rightly
//! or not at all, each fault is told, and none costs another its place.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::{Value, json};
use xtask::scene::day::corpus::VOICES;
use xtask::scene::day::spec::{Said, Stop};
use xtask::scene::day::{Corpus, Day, cases};
use xtask::scene::spec::Place;

use super::Bench;
use super::day::{CLOCK_MS, Cards, placement, solved, take, together, told, write};

// The takes.
const GOOD: usize = 0;
const ELSEWHERE: usize = 2;
const STOPS: usize = 3;
const WRONG_RATE: usize = 4;
const CELLAR: usize = 5;
const EARLY: usize = 6;
const LATE: usize = 7;
const SECOND_IN_TALK: usize = 8;
const SECOND_BEFORE: usize = 9;
const SOFTER: usize = 10;

/// The third recorder loses so much at so many seconds.
const STOP: Stop = Stop {
    at_s: 190.0,
    lost_s: 7.25,
};

/// Five minutes of talk.
fn day(corpus: &Corpus) -> Day {
    let mut day = cases::another_event(61, corpus);
    // They say other things there: the same synthetic sentence would be the same
    // sound, as when a recording is played back.
    let here: BTreeSet<usize> = said_in_room(&day).map(|said| said.utterance).collect();
    day.said
        .retain(|said| said.speaker < VOICES || !here.contains(&said.utterance));
    let in_room = |x, y| Place::new("room", x, y);
    let add = |day: &mut Day, source, place, start_s, end_s| {
        day.takes.push(cases::take(source, place, start_s, end_s));
    };
    add(&mut day, 3, in_room(2.0, 1.0), 0.0, 300.0);
    day.takes[STOPS].stops = vec![STOP];
    // It runs 2 % fast, and its header says what it should be.
    add(&mut day, 4, in_room(1.0, -2.0), 0.0, 300.0);
    day.takes[WRONG_RATE].pace *= 48_960.0 / 48_000.0;
    add(&mut day, 5, Place::new("cellar", 0.0, 0.0), 0.0, 300.0);
    // The second begins a minute after the first has ended.
    add(&mut day, 6, in_room(-2.0, 1.0), 0.0, 120.0);
    add(&mut day, 7, in_room(-1.0, 2.0), 180.0, 300.0);
    add(&mut day, 8, in_room(1.0, 1.0), 100.0, 101.0);
    add(&mut day, 8, in_room(1.0, 1.0), 0.0, 1.0);
    let mut softer = day.takes[GOOD].clone();
    softer.copy_of = Some((GOOD, -12.0));
    day.takes.push(softer);
    day
}

fn said_in_room(day: &Day) -> impl Iterator<Item = &Said> {
    day.said.iter().filter(|said| said.speaker < VOICES)
}

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

/// Hands over the cards of some recorders, and says where they lie.
fn clock_of(bench: &Bench, title: &str, cards: &[&str], recordings: usize) -> (String, Value) {
    let event = bench.event(title);
    let cards = cards.iter().map(|card| format!("cards/{card}"));
    let mut add = vec!["add".to_owned(), event.clone(), "--no-wait".to_owned()];
    add.extend(cards);
    bench.run(&add).says(0, &["taken in"]);
    let clock = solved(bench, &event, recordings);
    (event, clock)
}

#[test]
fn what_is_wrong_with_one_recorder_costs_no_other_its_place() {
    let bench = Bench::without_model();
    let corpus = Corpus::load(240).expect("talk");
    let cards = Cards::of(day(&corpus), corpus, &bench);
    odd_files(&bench, &cards);
    let mut server = bench.serve();
    a_wrong_rate_is_told(&bench, &cards);
    let recorders = [0, 1, 2, 3, 5, 6, 7, 8].map(|n| format!("Recorder {n}"));
    let mut given: Vec<&str> = recorders.iter().map(String::as_str).collect();
    given.push("Z odd");
    // All takes but one, and the two odd files that hold something.
    let (event, clock) = clock_of(&bench, "Ferry wedding", &given, 12);

    for n in [1, STOPS, EARLY, LATE, SOFTER] {
        assert!(together(&clock, GOOD, n), "take {n}: {clock}");
        let worst = cards.worst_ms(&clock, GOOD, n);
        assert!(worst <= CLOCK_MS, "take {n} is {worst} ms off: {clock}");
        assert_eq!(take(&clock, n)["island"], 0, "{clock}");
    }
    stopped_and_went_on(&clock);
    warned(take(&clock, SOFTER), &["same sound", "12.0 dB"]);
    for n in [ELSEWHERE, CELLAR, SECOND_BEFORE] {
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

fn a_wrong_rate_is_told(bench: &Bench, cards: &Cards) {
    let given = ["Recorder 0", "Recorder 1", "Recorder 4"];
    let (_, clock) = clock_of(bench, "Rehearsal", &given, 4);
    assert!(together(&clock, GOOD, WRONG_RATE), "{clock}");
    let worst = cards.worst_ms(&clock, GOOD, WRONG_RATE);
    assert!(worst <= CLOCK_MS, "{worst} ms off: {clock}");
    warned(take(&clock, WRONG_RATE), &["2.00 % fast"]);
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
