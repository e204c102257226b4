//! Are these the words that were asked for?
//!
//! In: words as spoken or typed, and where they sit along a recording. Out:
//! their normal form, parsed queries, which words of a text match, and how well two
//! hearings agree.
//!
//! Word positions count from 0 and spans are half open. Scores and agreements
//! run from 0 to 1. A text is a few hundred words at most (one stretch of
//! speech), and everything here costs no more than the square of that, but for
//! [`Written`], which takes all words of an event and says what that costs.
//!
//! **Pure**: no I/O, no state, no SQL, no time of day. It returns no error but for
//! a list of names that is none: whatever is typed is a query, whatever is heard has
//! a normal form.
//!
//! - [`normal`], [`parts`], [`split_words`], [`tokens`]: what counts as the same word.
//! - [`Query`]: what was asked; [`Lexicon`]: every word there is; [`Wanted`]: all the ways
//!   in which what was asked may have been written down, and where a [`Line`] has them.
//! - [`same_line`], [`word_likeness`]: do two transcripts come from one line, is
//!   one word the other mis-heard?
//! - [`glossary`], [`Names`]: the names of an event, and which of them was said where
//!   something like it was heard.
//! - [`Written`]: a written text (letter, vows, reading), and every time it was read.

mod find;
mod forms;
mod glossary;
mod letters;
mod lexicon;
mod line;
mod names;
mod normal;
mod numbers;
mod ordinary;
mod query;
mod quick;
mod same;
mod script;
mod sounds;
mod ways;

pub use find::{Found, Listener, Span};
pub use glossary::{GlossaryError, MAX_NAME_CHARS, MAX_NAMES, glossary, shown_name};
pub use lexicon::{How, Lexicon};
pub use line::{Line, indexed, otherwise};
pub use names::{Asked, HeardText, NameSaid, Names, TimedText};
pub use normal::{MAX_WORD_CHARS, normal, parts, split_words, tokens};
pub use ordinary::is_ordinary;
pub use query::{MAX_QUERY_CHARS, MAX_QUERY_WORDS, Query, Term};
pub use same::{same_line, word_likeness};
pub use script::{
    Added, HeardIn, HeardWord, Pass, Passes, Said, Sentence, Step, StepKind, Take, Written,
    WrittenTime, sentences,
};
pub use ways::{Group, Wanted, WantedWord, Way};
