//! What is asked of a moment, and what is said when somebody was quicker?

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use super::super::MomentId;
use super::super::rows::word_enum;

word_enum!(
    /// What a person did to a moment.
    ChangeKind {
        /// Wrote its words.
        Words = "words",
        /// Made it and another one.
        Join = "join",
        /// Made it two.
        Split = "split",
        /// Gave it or its words other times.
        Times = "times",
        /// Went back to an earlier version.
        Undo = "undo",
    }
);

/// What a person does to a moment. Times are in the file that its words are timed in.
#[derive(Clone, Debug, PartialEq)]
pub enum Fix {
    /// Writes its words anew.
    Words {
        /// All of them, parted by white space; empty when nothing was said.
        text: String,
    },
    /// Makes it and another one.
    Join {
        /// The other, which is no more afterwards.
        with: MomentId,
        /// The version of it that the person has seen.
        version: i64,
    },
    /// Makes it two.
    Split(Cut),
    /// Gives it or its words other times.
    Times {
        /// Its start, ms.
        start_ms: Option<i64>,
        /// Its end, ms, exclusive.
        end_ms: Option<i64>,
        /// Words with their times.
        words: Vec<WordTimes>,
    },
    /// Goes back.
    Undo {
        /// To this version.
        to: i64,
    },
}

/// Where a moment is split.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Before this word, counted from 0.
    Word(usize),
    /// At this instant, ms.
    At(i64),
}

/// When a word is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WordTimes {
    /// Which, counted from 0.
    pub n: usize,
    /// Start, ms.
    pub start_ms: i64,
    /// End, ms, exclusive.
    pub end_ms: i64,
}

/// Who changes what.
#[derive(Clone, Copy, Debug)]
pub struct Fixing<'a> {
    /// The moment.
    pub moment: &'a MomentId,
    /// The version of it that the person has seen.
    pub version: i64,
    /// Who, as they call themselves.
    pub by: &'a str,
    /// What.
    pub fix: &'a Fix,
}

/// Somebody was quicker: what stands instead of what the person has seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Stale {
    /// The moment.
    pub moment: MomentId,
    /// Its version now; `None` when it is part of another.
    pub version: Option<i64>,
    /// Its text now.
    pub text: Option<String>,
    /// The moments that it is part of now.
    pub now_in: Vec<MomentId>,
    /// The person's change that led to it; `None` when it is the model's, or moments
    /// were found anew.
    pub last: Option<LastChange>,
}

/// When a moment was changed last.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct LastChange {
    /// How.
    pub kind: ChangeKind,
    /// By whom.
    pub by: String,
    /// When, ms since 1970.
    pub at_ms: i64,
}
