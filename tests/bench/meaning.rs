//! `cargo xtask bench meaning`: how many lines of made-up weddings are found by a
//! question that shares no word with them, by meaning, by words, and by both; how often
//! a question that nothing answers is answered; and what it costs.
//!
//! `SEEDS=11,12` are the events, `VECTORS=3000,300000` the sizes of the shelf that is
//! searched, `SHOW=1` prints what was not found.

#[path = "meaning/border.rs"]
mod border;
#[path = "meaning/corpus.rs"]
mod corpus;
#[path = "meaning/plain.rs"]
mod plain;
#[path = "meaning/shelf.rs"]
mod shelf;

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};
use std::time::Instant;

use corpus::{Event, Question};
use sayback::core::Cancel;
use sayback::core::meaning::{Meaning, Passage, SentenceEncoder, passages, reaching};
use xtask::oracle;

/// Events that nothing was chosen by but the questions, which are the same in all.
const SEEDS: &str = "11,12,13";
/// Words put wrong, %.
const SPOILT: [u32; 3] = [0, 10, 30];

/// Ways to choose the text a moment is known by: its own words, and those beside it until
/// there are so many.
const WAYS: [usize; 6] = [0, 5, 8, 12, 20, 40];

fn main() {
    let kept = std::fs::read(oracle::model("meaning")).expect("a model");
    let loading = Instant::now();
    let model = SentenceEncoder::from_bytes(&kept).expect("the model of meaning");
    println!("loaded in {} ms", loading.elapsed().as_millis());
    drop(kept);
    let model = Asked {
        model,
        before: RefCell::default(),
    };
    let seeds: Vec<u64> = told("SEEDS", SEEDS)
        .split(',')
        .map(|seed| seed.parse().expect("a number"))
        .collect();
    for percent in SPOILT {
        level(&model, &seeds, percent);
    }
    shelf::cost(&model.model, &told("VECTORS", "3000,300000"));
}

fn told(name: &str, or: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| or.to_owned())
}

/// With so many of a hundred words wrong.
fn level(model: &Asked, seeds: &[u64], percent: u32) {
    let questions = corpus::questions();
    let asked = model.embed(questions.iter().map(|one| one.text.as_str()));
    let nothing = corpus::nothing();
    let nothing = model.embed(nothing.iter().map(String::as_str));
    let new = |seed: &u64| Event::new(*seed, percent);
    let events: Vec<Event> = seeds.iter().map(new).collect();
    println!(
        "\n{percent} % of words wrong, events {seeds:?}, {} questions, {} that nothing answers: \
         found first, among 5, among 10",
        asked.len(),
        nothing.len()
    );
    let mut rows = ["words alone", "meaning", "both"].map(|name| (name, Vec::new()));
    let mut tops = border::Tops::default();
    for event in &events {
        event.check(&questions);
        let known_by = directions(model, &passages(&event.said()));
        let words = plain::Index::new(event);
        for (n, (question, meaning)) in questions.iter().zip(&asked).enumerate() {
            let by_meaning = order(meaning, &known_by);
            let by_words = words.order(&question.text);
            let both = corpus::both(&by_words, &by_meaning);
            for (row, order) in rows.iter_mut().zip([&by_words, &by_meaning, &both]) {
                row.1.push(event.rank(question, order));
            }
            tops.asked(n, best(meaning, &known_by), event, question);
        }
        for (n, meaning) in nothing.iter().enumerate() {
            tops.nothing(n, best(meaning, &known_by).1);
        }
    }
    for (name, ranks) in &rows {
        println!("{}", recall(name, ranks));
    }
    if told("SHOW", "") == "1" {
        show(&questions, &rows[1].1);
    }
    for enough in WAYS.iter().filter(|_| percent == 0) {
        let of_event = |event| ranks(model, event, *enough, &questions, &asked);
        let all: Vec<Option<usize>> = events.iter().flat_map(of_event).collect();
        let name = format!("  with its neighbours up to {enough} words");
        println!("{}", recall(&name, &all));
    }
    println!("{}", tops.report());
}

/// The model, and what it was asked before: much is said in every event.
struct Asked {
    model: SentenceEncoder,
    before: RefCell<HashMap<String, Meaning>>,
}

impl Asked {
    fn embed<'a>(&self, texts: impl Iterator<Item = &'a str>) -> Vec<Meaning> {
        let texts: Vec<&str> = texts.collect();
        let mut before = self.before.borrow_mut();
        let new: BTreeSet<&str> = texts
            .iter()
            .copied()
            .filter(|text| !before.contains_key(*text))
            .collect();
        let new: Vec<&str> = new.into_iter().collect();
        let found = self.model.embed(&new, &Cancel::new());
        before.extend(new.iter().map(|text| (*text).to_owned()).zip(found));
        texts.iter().map(|text| before[*text].clone()).collect()
    }
}

/// Where every moment of an event points.
fn directions(model: &Asked, known_by: &[Option<Passage>]) -> Vec<Meaning> {
    let text =
        |one: &'_ Option<Passage>| one.as_ref().map_or(String::new(), |one| one.text.clone());
    let texts: Vec<String> = known_by.iter().map(text).collect();
    model.embed(texts.iter().map(String::as_str))
}

/// Moments, the likest first.
fn order(question: &Meaning, passages: &[Meaning]) -> Vec<usize> {
    let mut all: Vec<(f32, usize)> = passages
        .iter()
        .map(|passage| question.likeness(passage))
        .zip(0..)
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    all.into_iter().map(|(_, n)| n).collect()
}

/// The likest, and how like.
fn best(question: &Meaning, passages: &[Meaning]) -> (usize, f32) {
    let first = order(question, passages)[0];
    (first, question.likeness(&passages[first]))
}

fn ranks(
    model: &Asked,
    event: &Event,
    enough: usize,
    questions: &[Question],
    asked: &[Meaning],
) -> Vec<Option<usize>> {
    let known_by = directions(model, &reaching(&event.said(), enough));
    let of = |(question, meaning)| event.rank(question, &order(meaning, &known_by));
    questions.iter().zip(asked).map(of).collect()
}

fn recall(name: &str, ranks: &[Option<usize>]) -> String {
    let among = |most: usize| {
        let found = ranks.iter().flatten().filter(|rank| **rank < most).count();
        found as f64 / ranks.len() as f64
    };
    format!(
        "{name:<40} {:.3} {:.3} {:.3}",
        among(1),
        among(5),
        among(10)
    )
}

fn show(questions: &[Question], ranks: &[Option<usize>]) {
    for (n, rank) in ranks.iter().enumerate() {
        let question = &questions[n % questions.len()];
        if rank.is_none_or(|rank| rank >= 5) {
            println!("  {rank:?} {}: {}", question.key, question.text);
        }
    }
}
