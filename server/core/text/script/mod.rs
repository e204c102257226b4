//! Where was this written text said, in which passes, and what was changed?
//!
//! In: a text as it was written ([`Written`]) and the words of an event in order
//! ([`HeardWord`], times in ms of the clock of their moment's island). Out: the
//! [`Passes`]: people read a letter twice, stop and start again, read only its second
//! half. For each pass, sentence by sentence, where it was said and what became of each
//! written word; what was said in between; which pass has most of the text.
//!
//! How: words that both have, and that are rare enough to mean something, are seeds;
//! around seeds that support each other one path of least surprise is laid through all
//! that was heard ([`align`]); what it says of each sentence must reach a certainty, or
//! the sentence is not said ([`passes`]). All scores are natural logarithms of how much
//! likelier a thing is when the text is being read than when it is not.
//!
//! Cost: it grows as what is heard does, plus 60 columns of 30 words for each seed: 5
//! hours of speech and a letter take some 50 ms. Neither a text of 200,000 characters nor
//! one word said over and over makes it slow: seeds are limited in number.
//!
//! It does not look into who speaks but to tell an interruption from what the reader
//! adds, never calls a sentence said on the strength of one common phrase, and never
//! decides whether a word was said otherwise or written down wrongly: it tells how
//! alike they are.

mod align;
mod passes;
mod seeds;
mod sentences;
#[cfg(test)]
mod tests;
mod timed;
mod told;
mod types;

use super::find::Span;
use super::normal::split_words;

pub use sentences::sentences;
pub use timed::WrittenTime;

/// A text as it was written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// Its sentences in order.
    pub sentences: Vec<Sentence>,
}

/// A sentence of it, as [`sentences`] cuts it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sentence {
    /// As it is shown: one line.
    pub text: String,
    /// Its words as they are shown; positions in the answers count these.
    pub words: Vec<String>,
}

/// A word of an event as it was heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardWord<'a> {
    /// As it is shown.
    pub text: &'a str,
    /// How sure the recogniser is of it, 0 to 1.
    pub confidence: f32,
    /// Its moment, by its place in the list of moments.
    pub moment: usize,
    /// Where it starts on the clock of its island, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
}

/// What must be known of a moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HeardIn {
    /// Whose clock its times are on; no pass goes over two.
    pub island: i64,
    /// Who speaks, by any number; `None` where that is not known.
    pub person: Option<usize>,
}

/// Every time a text was read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Passes {
    /// In the order of what was heard.
    pub passes: Vec<Pass>,
    /// The one that has most of the text.
    pub most_complete: Option<usize>,
}

/// One time a text was read, in part or as a whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// From its first word to its last, among the words heard.
    pub heard: Span,
    /// Where it starts, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
    /// The moments it lies in, in order.
    pub moments: Vec<usize>,
    /// Whoever speaks most of it.
    pub reader: Option<usize>,
    /// For each sentence of the text what became of it; `None` was not said.
    pub sentences: Vec<Option<Said>>,
    /// What was said between sentences and is not of the text, in order.
    pub added: Vec<Added>,
    /// Share of the written words that were said as written or nearly so, 0 to 1.
    pub completeness: f32,
    /// How well what was said agrees with what is written, over the sentences that were
    /// said, 0 to 1.
    pub agreement: f32,
}

/// A sentence where it was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The best time it was said in this pass.
    pub take: Take,
    /// Other times it was said or begun in the same pass, in order.
    pub again: Vec<Take>,
}

/// One time a sentence was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// Its words among the words heard.
    pub heard: Span,
    /// Where it starts, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
    /// The moments it lies in, in order.
    pub moments: Vec<usize>,
    /// How well it agrees with what is written, 0 to 1: words said as written count
    /// whole, those alike by how alike they are.
    pub agreement: f32,
    /// Word by word, in order.
    pub steps: Vec<Step>,
}

/// What became of words of a sentence; `written` counts the words of the sentence,
/// `heard` those heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What happened.
    pub kind: StepKind,
    /// Words of the sentence; empty for what was added.
    pub written: Span,
    /// Words heard; empty for what was left out.
    pub heard: Span,
    /// How alike the two are, 0 to 1.
    pub likeness: f32,
}

/// What became of words of a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepKind {
    /// Said as written.
    Kept,
    /// Something like it was heard: the same word written down otherwise, as far as
    /// sound and spelling tell.
    Alike,
    /// Something else was heard.
    Changed,
    /// Nothing was heard for it.
    LeftOut,
    /// Heard, and not written.
    Added,
}

/// What was said between sentences and is not of the text.
#[derive(Clone, Debug, PartialEq)]
pub struct Added {
    /// Behind which sentence.
    pub after: usize,
    /// The words, all of one moment.
    pub heard: Span,
    /// Whether somebody else than the reader is known to say it.
    pub by_another: bool,
}

impl Written {
    /// A text, cut into sentences.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let sentence = |text: String| Sentence {
            words: split_words(&text).into_iter().map(str::to_owned).collect(),
            text,
        };
        Self {
            sentences: sentences(text).into_iter().map(sentence).collect(),
        }
    }

    /// How many words it has.
    #[must_use]
    pub fn word_count(&self) -> usize {
        let words = self.sentences.iter().map(|sentence| sentence.words.len());
        words.sum()
    }

    /// Every time it was read. `moments` are those the words lie in, and words come in
    /// the order in which they are to be read: moment by moment, in the order of time.
    ///
    /// ```
    /// use sayback_core::text::{HeardIn, HeardWord, StepKind, Written};
    /// let text = Written::new("He rang the ferry bell every evening. Nobody else was there.");
    /// let said = "well he rang the fairy bell every evening thank you";
    /// let heard: Vec<HeardWord> = said.split(' ').enumerate().map(|(n, word)| HeardWord {
    ///     text: word, confidence: 0.9, moment: 0,
    ///     start_ms: 300 * n as i64, end_ms: 300 * n as i64 + 250,
    /// }).collect();
    /// let found = text.passes(&heard, &[HeardIn::default()]);
    /// let [pass] = found.passes.as_slice() else { panic!("{found:?}") };
    /// let first = pass.sentences[0].as_ref().unwrap();
    /// let alike = first.take.steps.iter().filter(|step| step.kind == StepKind::Alike);
    /// assert_eq!((first.take.start_ms, alike.count()), (300, 1));
    /// assert!(pass.sentences[1].is_none(), "left out");
    /// ```
    #[must_use]
    pub fn passes(&self, heard: &[HeardWord<'_>], moments: &[HeardIn]) -> Passes {
        let read = types::Read::of(self, heard, moments);
        let band = seeds::band(&read);
        let path = align::path(&read, &band);
        passes::of(self, heard, moments, &read, &path)
    }
}
