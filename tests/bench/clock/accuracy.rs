//! The accuracy table: many days, each drawn anew.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

use xtask::scene::day::{Chances, Corpus, render, truth, yardstick};

use super::judge::{FRAME_25_MS, Judged, TRULY_S, judge, quantile};
use super::solving::{listen, members, solve};

/// What the plainest method found: pairs that truly overlap, and how many it put
/// within 100 ms.
#[derive(Clone, Copy, Default)]
struct Plain {
    pairs: usize,
    right: usize,
}

/// Measures `seeds` days from `from` on and prints the table; answers the goals that
/// were missed.
pub fn run(from: u64, seeds: usize) -> Vec<String> {
    let corpus = Corpus::load(xtask::scene::day::corpus::WHOLE).expect("talk");
    let next = AtomicUsize::new(0);
    let all = Mutex::new((Judged::default(), Plain::default(), 0.0));
    let begun = Instant::now();
    let work = || {
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            if n >= seeds {
                return;
            }
            let (judged, plain, hours) = one(from + n as u64, &corpus);
            let mut all = all.lock().unwrap_or_else(PoisonError::into_inner);
            all.0.add(judged);
            all.1.pairs += plain.pairs;
            all.1.right += plain.right;
            all.2 += hours;
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
    let (judged, plain, hours) = all.into_inner().unwrap_or_else(PoisonError::into_inner);
    print(&judged, plain, seeds, hours);
    println!(
        "\nmade and solved in {:.0} s by the clock",
        begun.elapsed().as_secs_f64()
    );
    missed(&judged)
}

/// Median and 99th percentile beside the acoustic delay, ms; share of overlapping
/// recordings that are placed.
const MEDIAN_MS: f64 = 2.0;
const P99_MS: f64 = 10.0;
const PLACED: f64 = 0.99;

fn missed(judged: &Judged) -> Vec<String> {
    let at = |part: f64| quantile(&judged.beside_ms, part);
    let placed = judged.placed as f64 / judged.overlapping.max(1) as f64;
    // A figure that is no number misses.
    [
        (at(0.5) <= MEDIAN_MS, format!("median {:.2} ms", at(0.5))),
        (at(0.99) <= P99_MS, format!("p99 {:.2} ms", at(0.99))),
        (placed >= PLACED, format!("placed {placed:.3}")),
        (
            judged.wrong == 0,
            format!("{} wrong while certain", judged.wrong),
        ),
    ]
    .into_iter()
    .filter(|(kept, _)| !kept)
    .map(|(_, what)| what)
    .collect()
}

fn one(seed: u64, corpus: &Corpus) -> (Judged, Plain, f64) {
    let day = Chances::of_seed(seed).day(corpus);
    let folder = tempfile::tempdir().expect("a folder");
    let sounds = render(&day, corpus, folder.path()).expect("the day is rendered");
    let heard: Vec<_> = sounds.iter().map(listen).collect();
    let members = members(&day, &sounds, &heard);
    let begun = Instant::now();
    let solution = solve(&members, &sounds);
    let took = begun.elapsed();
    let judged = judge(&day, corpus, &solution);
    let levels: Vec<_> = sounds
        .iter()
        .map(|sound| yardstick::levels(sound).expect("levels"))
        .collect();
    let mut plain = Plain::default();
    for a in 0..day.takes.len() {
        for b in a + 1..day.takes.len() {
            let (here, there) = (&day.takes[a], &day.takes[b]);
            if truth::shared(&day, corpus, here, there).talk_s < TRULY_S {
                continue;
            }
            let offset_s = yardstick::offset_s(&levels[a], &levels[b]).expect("an offset");
            plain.pairs += 1;
            plain.right += usize::from((offset_s - (here.start_s - there.start_s)).abs() < 0.1);
        }
    }
    let hours = sounds.iter().map(|sound| sound.length_ms() / 3.6e6).sum();
    eprintln!(
        "seed {seed}: {:.0} min, {} recorders, solved in {:.1} s; beside the delay {:.2} ms median, \
         {:.2} ms most; {} of {} placed",
        day.length_s / 60.0,
        day.takes.len(),
        took.as_secs_f64(),
        quantile(&judged.beside_ms, 0.5),
        quantile(&judged.beside_ms, 1.0),
        judged.placed,
        judged.overlapping,
    );
    for note in &judged.notes {
        eprintln!("  seed {seed}: {note}");
    }
    (judged, plain, hours)
}

fn print(judged: &Judged, plain: Plain, seeds: usize, hours: f64) {
    let share = |part: usize, of: usize| 100.0 * part as f64 / of.max(1) as f64;
    println!("| {seeds} days, {hours:.0} hours of recordings | median | p95 | p99 | most |");
    println!("| --- | --- | --- | --- | --- |");
    let line = |name: &str, values: &[f64], decimals: usize| {
        let [p50, p95, p99, most] = [0.5, 0.95, 0.99, 1.0].map(|part| quantile(values, part));
        println!(
            "| {name} | {p50:.decimals$} | {p95:.decimals$} | {p99:.decimals$} | {most:.decimals$} |"
        );
    };
    line("error beside the acoustic delay, ms", &judged.beside_ms, 2);
    line(
        "error beside the nearest voice's delay, ms",
        &judged.nearest_ms,
        2,
    );
    line(
        "error for the voice that speaks there, its way included, ms",
        &judged.voice_ms,
        2,
    );
    line("plain error, ms", &judged.plain_ms, 2);
    line(
        "range of acoustic delay of a pair, ms",
        &judged.delays_ms,
        1,
    );
    line("error of the rate between two, ppm", &judged.ppm, 2);
    println!();
    println!("| | |\n| --- | --- |");
    println!(
        "| truly overlapping recordings placed | {} of {} ({:.1} %) |",
        judged.placed,
        judged.overlapping,
        share(judged.placed, judged.overlapping)
    );
    println!(
        "| placed wrongly (over {FRAME_25_MS} ms) while certain | {} of {} |",
        judged.wrong, judged.certain
    );
    println!(
        "| mapped instants within the claimed 95 % | {:.1} % of {} |",
        share(judged.covered, judged.beside_ms.len()),
        judged.beside_ms.len()
    );
    println!("| pairs called a tie | {} |", judged.ties);
    println!(
        "| yardstick: overlapping pairs within 100 ms by one plain correlation of levels | {} of {} ({:.1} %) |",
        plain.right,
        plain.pairs,
        share(plain.right, plain.pairs)
    );
}
