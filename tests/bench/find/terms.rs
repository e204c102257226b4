//! Terms as a list of keywords has them: rare and middling words and short phrases that
//! are said, and how the search does by them.

use std::collections::BTreeMap;

use xtask::scene::random::Random;

use crate::folder::{Asked, Event};
use crate::judge::{Hit, ask};
use crate::plain::Plain;
use crate::pools::common;
use crate::queries::places;
use crate::sound::{Said, Word};
use crate::term_value::{Detection, Place, Term};

/// The most of each kind: rare words, middling words, two words, three.
const MOST: [usize; 4] = [80, 60, 60, 40];

/// The terms of some events together.
pub fn choose(said: &[&Said]) -> Vec<Vec<String>> {
    let mut counts: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    for line in said.iter().flat_map(|said| &said.lines) {
        for count in 1..=3 {
            for words in line.words.windows(count).filter(|words| fit(words)) {
                let words = words.iter().map(|word| word.normal.clone()).collect();
                *counts.entry(words).or_default() += 1;
            }
        }
    }
    let random = &mut Random::new(1, "find/terms");
    let mut terms = Vec::new();
    for (kind, most) in MOST.into_iter().enumerate() {
        let of_kind = |(words, count): &(&Vec<String>, &usize)| match (words.len(), **count) {
            (1, 1) => kind == 0,
            (1, 2..=12) => kind == 1,
            (2, _) => kind == 2,
            (3, _) => kind == 3,
            _ => false,
        };
        let mut own: Vec<Vec<String>> = counts
            .iter()
            .filter(of_kind)
            .map(|(words, _)| words.clone())
            .collect();
        random.shuffle(&mut own);
        own.truncate(most);
        terms.extend(own);
    }
    terms
}

/// A word of four letters or more that carries something; phrases begin and end with
/// such.
fn fit(words: &[Word]) -> bool {
    let carries = |word: &Word| word.normal.len() >= 4 && !common(&word.normal);
    let apart = words
        .windows(2)
        .any(|pair| pair[1].start_ms < pair[0].end_ms - 50);
    words.first().is_some_and(carries) && words.last().is_some_and(carries) && !apart
}

/// What was found of each term by the search, and by plain phrase search.
#[derive(Clone, Default)]
pub struct Both {
    pub ours: Vec<Term>,
    pub plain: Vec<Term>,
    pub speech_s: f64,
}

/// Asks an event for every term and adds what comes.
pub fn add(both: &mut Both, terms: &[Vec<String>], number: usize, asked: &Asked, event: &Event) {
    let mut plain = Plain::new(event);
    let shown = std::env::var_os("SHOW").is_some();
    both.ours.resize(terms.len(), Term::default());
    both.plain.resize(terms.len(), Term::default());
    both.speech_s += asked.said.speech_ms as f64 / 1000.0;
    for (n, words) in terms.iter().enumerate() {
        let place = |(start_ms, end_ms): (i64, i64)| Place {
            event: number,
            start_ms,
            end_ms,
        };
        let said: Vec<Place> = places(&asked.said, words).into_iter().map(place).collect();
        let query = words.join(" ");
        let detected = |hit: Hit| {
            Some(Detection {
                at: place(hit.span?),
                score: hit.score,
                sure: !hit.guess,
            })
        };
        let hits = ask(asked, event, &query, 200);
        for hit in hits.iter().filter(|_| shown) {
            tell(&query, hit, &said);
        }
        both.ours[n].said.extend(&said);
        both.ours[n]
            .found
            .extend(hits.into_iter().filter_map(detected));
        both.plain[n].said.extend(&said);
        let hits = plain.find(&query);
        both.plain[n]
            .found
            .extend(hits.into_iter().filter_map(detected));
    }
}

/// What came of a term that is not written as it was asked for: right or wrong.
fn tell(query: &str, hit: &Hit, said: &[Place]) {
    let Some((start_ms, end_ms)) = hit.span.filter(|_| hit.kind != "exact") else {
        return;
    };
    let near = |place: &Place| place.start_ms - 500 < end_ms && start_ms < place.end_ms + 500;
    let right = if said.iter().any(near) {
        "right"
    } else {
        "wrong"
    };
    let guess = if hit.guess { " (guess)" } else { "" };
    println!(
        "term {right}: {query} / {} {:.3}{guess} in: {}",
        hit.kind, hit.score, hit.text
    );
}
