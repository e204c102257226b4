//! `cargo xtask bench script`: are the sentences of a letter found where they were read,
//! for word error rates from 0 to 50 %, in five hours of other talk?
//!
//! A made-up letter is read as a whole, with a sentence skipped, from the middle on, and
//! begun and broken off. Three designs: each sentence alone by local alignment over all
//! words (Smith and Waterman 1981), runs of three words that both have, and ours. Times
//! are of the processor, told as shares of the first and as they were. `SEEDS=20` events from `FROM=101` on (1
//! to 20 were looked at while the bounds were set), `WORDS=45000`, `ONLY=ours` and `HIT=0.4`,
//! the share of its best score from which the first design finds a sentence, are options.

#![allow(
    clippy::disallowed_macros,
    clippy::disallowed_methods,
    clippy::disallowed_types,
    missing_docs
)]

#[path = "script/designs.rs"]
mod designs;
#[path = "words/processor.rs"]
mod processor;
#[path = "../../server/core/text/script/tests/spoil.rs"]
mod spoil;

use processor::processor_time;
use sayback_core::text::Written;
use spoil::{Chance, spoiled, talk};

const LETTERS: [&str; 2] = [
    include_str!("../lines/texts/letter-corin.txt"),
    include_str!("../lines/texts/letter-ottilie.txt"),
];
const ERRORS: [f64; 6] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5];

/// Where a sentence was read or found: its number and its first word among all.
type At = (usize, usize);

/// Found where they were read, found elsewhere, not found; seconds.
#[derive(Default)]
struct Score {
    right: usize,
    wrong: usize,
    missed: usize,
    passes_right: usize,
    /// Sentences of four words and more, and how many of them were found.
    longer: (usize, usize),
    seconds: f64,
}

fn main() {
    let of = |name: &str, or: usize| {
        let told = std::env::var(name).ok();
        told.and_then(|told| told.parse().ok()).unwrap_or(or)
    };
    let (seeds, words, from) = (of("SEEDS", 20), of("WORDS", 45_000), of("FROM", 101));
    let only = std::env::var("ONLY").unwrap_or_default();
    println!(
        "{seeds} events of {words} words of other talk, two letters in turn, four readings each\n"
    );
    println!(
        "{:<30} {:>6} {:>7} {:>7} {:>7} {:>9} {:>8} {:>9} {:>15}",
        "", "errors", "right", "wrong", "missed", "readings", "time", "an event", "4 words or more"
    );
    for errors in ERRORS {
        let mut first = None;
        for (name, design) in designs::ALL {
            if !name.contains(&only) {
                continue;
            }
            let mut score = Score::default();
            for seed in from..from + seeds {
                one(seed, errors, words, design, &mut score);
            }
            let read = (score.right + score.missed).max(1) as f64;
            let base = *first.get_or_insert(score.seconds);
            println!(
                "{name:<30} {:>4.0} % {:>5.1} % {:>5.1} % {:>5.1} % {:>7.0} % {:>8.2} {:>6.0} ms {:>5} of {}",
                100.0 * errors,
                100.0 * score.right as f64 / read,
                100.0 * score.wrong as f64 / read,
                100.0 * score.missed as f64 / read,
                25.0 * score.passes_right as f64 / seeds as f64,
                score.seconds / base,
                1000.0 * score.seconds / seeds as f64,
                score.longer.1,
                score.longer.0,
            );
        }
    }
}

fn one(seed: usize, errors: f64, other: usize, design: designs::Design, score: &mut Score) {
    let mut chance = Chance::new(seed as u64);
    let written = Written::new(LETTERS[seed % LETTERS.len()]);
    let count = written.sentences.len();
    let skipped = 1 + chance.below(count - 2);
    let readings: [Vec<usize>; 4] = [
        (0..count).collect(),
        (0..count).filter(|n| *n != skipped).collect(),
        (count / 2..count).collect(),
        (0..count / 3).collect(),
    ];
    let mut words = talk(other / 5, &mut chance);
    let (mut truth, mut orders) = (Vec::new(), Vec::new());
    for order in readings {
        let from = truth.len();
        for n in order {
            truth.push((n, words.len()));
            words.extend(spoiled(&written.sentences[n].words, errors, &mut chance));
        }
        orders.push(from..truth.len());
        words.extend(talk(other / 5, &mut chance));
    }
    let begun = processor_time();
    let found = design(&written, &words);
    score.seconds += (processor_time() - begun).as_secs_f64();

    let is = |a: &At, b: &At| a.0 == b.0 && a.1.abs_diff(b.1) <= 6;
    let right: Vec<&At> = truth
        .iter()
        .filter(|at| found.iter().flatten().any(|one| is(one, at)))
        .collect();
    let long = |at: &&At| written.sentences[at.0].words.len() > 3;
    score.longer.0 += truth.iter().filter(long).count();
    score.longer.1 += right.iter().filter(|at| long(at)).count();
    let right = right.len();
    let wrong = found
        .iter()
        .flatten()
        .filter(|one| !truth.iter().any(|at| is(one, at)));
    score.right += right;
    score.missed += truth.len() - right;
    score.wrong += wrong.count();
    // A reading is right when one pass has its sentences and no other; those of one word
    // do not count.
    let long = |at: &&At| written.sentences[at.0].words.len() > 1;
    for order in orders {
        let own: Vec<&At> = truth[order].iter().filter(long).collect();
        let as_read = |pass: &&Vec<At>| {
            let pass: Vec<&At> = pass.iter().filter(long).collect();
            pass.len() == own.len() && pass.iter().zip(&own).all(|(a, b)| is(a, b))
        };
        score.passes_right += usize::from(found.iter().any(|pass| as_read(&pass)));
    }
}
