//! Cards come in one after another: that ends where handing all over at once does,
//! and nothing moves on the way.

use std::collections::BTreeMap;

use serde_json::Value;
use xtask::scene::day::{Corpus, Day, cases};
use xtask::scene::spec::Place;

use super::Bench;
use super::day::{CLOCK_MS, Cards, placement, solved, take};

/// Three recorders of one room, one of them late, and one of another event.
fn day(corpus: &Corpus) -> Day {
    let mut day = cases::another_event(62, corpus);
    let place = Place::new("room", 2.0, 1.0);
    day.takes.push(cases::take(3, place, 90.0, 300.0));
    day
}

/// Another order than that of the names.
const ORDER: [usize; 4] = [2, 1, 3, 0];

#[test]
fn one_by_one_is_all_at_once_and_nothing_moves_on_the_way() {
    let bench = Bench::without_model();
    let corpus = Corpus::load(64).expect("talk");
    let cards = Cards::of(day(&corpus), corpus, &bench);
    let mut server = bench.serve();

    let at_once = bench.event("At once");
    bench
        .run(&["add", &at_once, "cards", "--no-wait"])
        .says(0, &["4 files taken in"]);
    let at_once = solved(&bench, &at_once, 4);

    let event = bench.event("One by one");
    let mut before: Option<Value> = None;
    for (count, n) in (1..).zip(ORDER) {
        let file = cards.files[n].to_str().expect("UTF-8");
        let source = format!("Recorder {}", cards.day.takes[n].source);
        let add = ["add", &event, "--source", &source, "--no-wait", file];
        bench.run(&add).says(0, &["1 file taken in"]);
        let now = solved(&bench, &event, count);
        if let Some(before) = before {
            for m in ORDER.into_iter().take(count - 1) {
                stays(&before, &now, m);
            }
        }
        before = Some(now);
    }
    let one_by_one = before.expect("four were added");

    assert_eq!(islands(&at_once), islands(&one_by_one), "{one_by_one}");
    assert_eq!(islands(&at_once), [vec![0, 1, 3], vec![2]], "{at_once}");
    for clock in [&at_once, &one_by_one] {
        for n in [1, 3] {
            assert_eq!(take(clock, n)["island"], 0, "{clock}");
            let worst = cards.worst_ms(clock, 0, n);
            assert!(worst <= CLOCK_MS, "take {n} is {worst} ms off: {clock}");
        }
    }
    for n in [1, 3] {
        let apart = |clock| placement(clock, n).start_ms() - placement(clock, 0).start_ms();
        let (all, each) = (apart(&at_once), apart(&one_by_one));
        assert!((all - each).abs() <= 1.0, "take {n}: {all} and {each}");
    }
    assert_eq!(server.stop(), 0);
}

/// A recording is who it was, and where it was if sound put it there: one that came
/// first, alone, was the event clock only for want of another.
fn stays(before: &Value, now: &Value, n: usize) {
    let (was, is) = (take(before, n), take(now, n));
    assert_eq!(was["recording"]["id"], is["recording"]["id"]);
    if was["how"] != "sound" || was["start_exact_ms"].is_null() {
        return;
    }
    let start = |of: &Value| of["start_exact_ms"].as_f64();
    let moved = start(is).expect("it stays on the clock") - start(was).expect("a start");
    assert!(moved.abs() <= 0.001, "take {n} moved by {moved} ms: {now}");
}

/// Who lies with whom.
fn islands(clock: &Value) -> Vec<Vec<usize>> {
    let mut islands: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for n in 0..ORDER.len() {
        let island = take(clock, n)["island"].to_string();
        islands.entry(island).or_default().push(n);
    }
    let mut islands: Vec<Vec<usize>> = islands.into_values().collect();
    islands.sort();
    islands
}
