//! Written texts and what was made of them.

mod spoil;

use std::fmt::Write as _;

use proptest::prelude::*;

use super::*;
use spoil::{Chance, spoiled, talk};

const LETTER: &str = include_str!("../../../../../tests/lines/texts/letter-corin.txt");
const OTHER: &str = include_str!("../../../../../tests/lines/texts/letter-ottilie.txt");

/// Words 300 ms apart, one moment for every twelve.
fn heard(words: &[String]) -> (Vec<HeardWord<'_>>, Vec<HeardIn>) {
    let mut heard = Vec::with_capacity(words.len());
    for (n, text) in words.iter().enumerate() {
        heard.push(HeardWord {
            text,
            confidence: 0.8,
            moment: n / 12,
            start_ms: 300 * n as i64,
            end_ms: 300 * n as i64 + 250,
        });
    }
    (heard, vec![HeardIn::default(); words.len() / 12 + 1])
}

fn found(text: &str, words: &[String]) -> Passes {
    let (heard, moments) = heard(words);
    Written::new(text).passes(&heard, &moments)
}

/// `0-4 6`: the sentences of a pass, those said again in brackets.
fn told(pass: &Pass) -> String {
    let mut out = String::new();
    for (n, said) in pass.sentences.iter().enumerate() {
        if let Some(said) = said {
            let again = if said.again.is_empty() { "" } else { "*" };
            let _ = write!(out, "{n}{again} ");
        }
    }
    out.trim_end().to_owned()
}

fn all(passes: &Passes) -> Vec<String> {
    passes.passes.iter().map(told).collect()
}

/// The sentences `from..to` of a text, as words.
fn part(text: &str, sentences: &[usize]) -> Vec<String> {
    let written = Written::new(text);
    let each = sentences
        .iter()
        .map(|&n| written.sentences[n].words.clone());
    each.collect::<Vec<_>>().concat()
}

fn day(parts: &[Vec<String>], between: usize, chance: &mut Chance) -> Vec<String> {
    let mut words = talk(between, chance);
    for part in parts {
        words.extend(part.iter().cloned());
        words.extend(talk(between, chance));
    }
    words
}

#[test]
fn a_letter_has_the_sentences_one_would_say() {
    let texts: Vec<String> = sentences(LETTER);
    assert_eq!(texts.len(), 10, "{texts:#?}");
    assert_eq!(
        (texts[0].as_str(), texts[9].as_str()),
        ("My dear Ottilie,", "Corin")
    );
}

#[test]
fn two_passes_are_found_and_what_is_skipped_is_named() {
    let mut chance = Chance::new(1);
    let whole = part(LETTER, &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
    let second = part(LETTER, &[0, 1, 2, 3, 4, 6, 7, 8, 9]);
    let words = day(&[whole, second], 2_000, &mut chance);
    let passes = found(LETTER, &words);
    assert_eq!(all(&passes), ["0 1 2 3 4 5 6 7 8 9", "0 1 2 3 4 6 7 8 9"]);
    assert_eq!(passes.most_complete, Some(0));
    assert_eq!(passes.passes[0].heard.from, 2_000);
    assert!(passes.passes[0].completeness > 0.99 && passes.passes[0].agreement > 0.99);
}

#[test]
fn figures() {
    for errors in [0.0, 0.1, 0.2, 0.3, 0.4, 0.5] {
        for seed in 1..4 {
            let mut chance = Chance::new(seed);
            let whole = part(LETTER, &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
            let second = part(LETTER, &[0, 1, 2, 3, 4, 6, 7, 8, 9]);
            let half = part(LETTER, &[5, 6, 7, 8, 9]);
            let each = [whole, second, half].map(|part| spoiled(&part, errors, &mut chance));
            let words = day(&each, 11_000, &mut chance);
            let begun = std::time::Instant::now();
            let passes = found(LETTER, &words);
            println!("{errors} {seed} {:?} {:?}", begun.elapsed(), all(&passes));
            for pass in &passes.passes {
                println!(
                    "    {:?} {:.2} {:.2}",
                    pass.heard, pass.completeness, pass.agreement
                );
            }
            let passes = found(OTHER, &words);
            println!("    other {:?}", all(&passes));
        }
    }
}
