//! What do people ask of a shelf?
//!
//! Phrases are taken from places of the shelf: from events made again, so that no
//! look at the database, and no index, chooses them.

use xtask::scene::random::Random;

use super::Options;
use super::event::{Event, Said};
use super::language::{Language, Rank};
use super::shelf;

/// How the parameters of `GET /search` are called.
pub mod parameter {
    pub const QUERY: &str = "q";
    pub const EVENT: &str = "event";
    pub const PERSON: &str = "person";
    pub const SOURCE: &str = "source";
    pub const PLACEMENT: &str = "placement";
    pub const PART: &str = "part";
    pub const LANGUAGE: &str = "language";
    pub const FROM: &str = "from";
    pub const TO: &str = "to";
    pub const CONFIDENCE: &str = "confidence";
    pub const BACKUP: &str = "backup";
    pub const BEST: &str = "best";
    pub const SORT: &str = "sort";
    pub const FACETS: &str = "facets";
    pub const LIMIT: &str = "limit";
    pub const OFFSET: &str = "offset";
}
/// One request, as the parameters of its address.
pub type Ask = Vec<(&'static str, String)>;

/// What an answer must have.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Expect {
    /// A hit, each holding the phrase, word for word: it was said.
    Phrase,
    /// A hit.
    Hits,
    /// Nothing in particular; what was found is told.
    Whatever,
}

/// A kind of query.
pub struct Kind {
    /// As it is told and as `KINDS` names it.
    pub name: &'static str,
    /// Parameters without which it means something else.
    pub needs: &'static [&'static str],
    /// What it must find.
    pub expect: Expect,
    /// Makes requests; `None` where the shelf holds no place for one.
    pub ask: fn(&Material, &mut Random) -> Option<Vec<Asked>>,
}

/// A request, and the phrase it is about, in normal form.
#[derive(Clone)]
pub struct Asked {
    /// Its parameters.
    pub ask: Ask,
    /// The words that were said.
    pub phrase: String,
}

/// Ranks of the rarest word of a phrase.
const COMMON: std::ops::Range<Rank> = 0..100;
pub const MIDDLING: std::ops::Range<Rank> = 500..5_000;
pub const RARE: Rank = 20_000;
/// How many events are made again for what is asked.
const EVENTS: usize = 24;
/// Tries at a phrase of the wanted kind.
pub const TRIES: usize = 20_000;

/// What queries are made of.
pub struct Material<'a> {
    /// The language of the shelf.
    pub language: &'a Language,
    events: Vec<Event>,
    /// By the number of the event.
    ids: Vec<String>,
}

/// Words that were said next to each other.
pub struct Place<'a> {
    /// Where.
    pub event: &'a Event,
    /// In which of its moments.
    pub moment: usize,
    /// The words.
    pub words: &'a [Said],
}

impl Place<'_> {
    /// As it is typed.
    pub fn phrase(&self) -> String {
        normal(self.words.iter().map(|word| word.text.as_str()))
    }
}

impl Kind {
    /// So many requests of this kind, always the same for a seed; fewer where the
    /// shelf has no more to ask for.
    pub fn requests(&self, material: &Material<'_>, seed: u64, count: usize) -> Vec<Asked> {
        let mut random = Random::new(seed, self.name);
        let mut requests = Vec::new();
        while requests.len() < 2 * count {
            match (self.ask)(material, &mut random) {
                Some(more) => requests.extend(more),
                None => break,
            }
        }
        // Else the first letters of what is typed would all come first.
        random.shuffle(&mut requests);
        requests.truncate(count);
        requests
    }
}

/// How frequent the rarest word of a phrase is.
#[derive(Clone, Copy)]
pub enum Class {
    Rare,
    Middling,
    Common,
}

impl Class {
    fn holds(self, words: &[Said]) -> bool {
        let rarest = words
            .iter()
            .map(|word| word.rank.unwrap_or(Rank::MAX))
            .max();
        let rarest = rarest.unwrap_or(0);
        match self {
            Self::Rare => rarest >= RARE,
            Self::Middling => MIDDLING.contains(&rarest),
            Self::Common => COMMON.contains(&rarest),
        }
    }
}

impl<'a> Material<'a> {
    /// From events all over the shelf; `ids` are those of its events in order.
    pub fn new(options: &Options, language: &'a Language, ids: Vec<String>) -> Self {
        let count = shelf::events(options.words);
        let words = options.words / count;
        let every = count.div_ceil(EVENTS);
        let numbers = (0..count).step_by(every);
        Self {
            language,
            events: numbers
                .map(|n| Event::new(language, options.seed, n, words))
                .collect(),
            ids,
        }
    }

    /// 2 to 6 words in a row.
    pub fn place(&self, random: &mut Random, class: Class, shortest: usize) -> Option<Place<'_>> {
        for _ in 0..TRIES {
            let event = &self.events[random.below(self.events.len())];
            let moment = random.below(event.moments.len());
            let words = &event.moments[moment].words;
            let length = shortest + random.below(7 - shortest);
            if words.len() < length {
                continue;
            }
            let from = random.below(words.len() - length + 1);
            let words = &words[from..from + length];
            if class.holds(words) {
                return Some(Place {
                    event,
                    moment,
                    words,
                });
            }
        }
        None
    }

    /// The id of an event.
    pub fn id(&self, event: &Event) -> String {
        self.ids[event.number].clone()
    }
}

/// Words as they are typed.
pub fn normal<'a>(words: impl Iterator<Item = &'a str>) -> String {
    sayback::core::text::tokens(words)
}
