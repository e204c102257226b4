//! What the service answers to searches.

use serde::Deserialize;

use super::super::answers::{EventName, Hearing, Matched, Named, NotHeard};

/// `GET /search`
#[derive(Debug, Deserialize)]
pub struct Search {
    /// How long it took, ms.
    pub took_ms: u64,
    /// How many moments there are in all.
    pub total: u64,
    /// Whether there are more than were counted.
    pub more: bool,
    /// What means the like, if that was asked for.
    pub by_meaning: Option<ByMeaning>,
    /// All of them counted, if that was asked for.
    pub facets: Option<Facets>,
    /// This page of them, the best first.
    pub hits: Vec<Hit>,
}

/// What was found by meaning.
#[derive(Debug, Deserialize)]
pub struct ByMeaning {
    /// Whether there is a model for it.
    pub model: bool,
    /// The likest first.
    pub hits: Vec<Hit>,
}

/// What was found, counted.
#[derive(Debug, Deserialize)]
pub struct Facets {
    /// By event.
    pub events: Vec<Count>,
    /// By part.
    pub parts: Vec<Count>,
    /// By who speaks.
    pub people: Vec<Count>,
    /// By recorder.
    pub sources: Vec<Count>,
    /// By how it is placed.
    pub placements: Vec<Count>,
    /// By language.
    pub languages: Vec<Count>,
    /// By how they match.
    pub matches: Vec<Count>,
    /// Those that two recorders have.
    pub backed_up: u64,
    /// Those that no two have.
    pub not_backed_up: u64,
}

/// So many of them.
#[derive(Debug, Deserialize)]
pub struct Count {
    /// Of what.
    pub name: String,
    /// How many.
    pub hits: u64,
}

/// Searches under a name.
#[derive(Debug, Deserialize)]
pub struct Searches {
    /// By name.
    pub searches: Vec<SavedSearch>,
}

/// A search under a name.
#[derive(Debug, Deserialize)]
pub struct SavedSearch {
    /// The name.
    pub name: String,
    /// What is asked.
    pub asked: String,
}

/// A moment that was found.
#[derive(Debug, Deserialize)]
pub struct Hit {
    /// The event.
    pub event: EventName,
    /// The words.
    pub text: String,
    /// Which of them match.
    pub matched: Vec<Matched>,
    /// How.
    #[serde(rename = "match")]
    pub kind: String,
    /// Whether that is too little to be told as found.
    pub guess: bool,
    /// Who spoke.
    pub person: Option<Named>,
    /// Who spoke at the same time.
    pub also: Option<Named>,
    /// Where the words are on the event clock, ms.
    pub start_ms: Option<i64>,
    /// Why the words should not be trusted as they are.
    pub doubt: Option<String>,
    /// Who heard it, the best first.
    pub heard_on: Vec<Hearing>,
    /// Who ran but did not hear it.
    pub not_heard_on: Vec<NotHeard>,
}
