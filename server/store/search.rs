//! Which moments might hold these words?
//!
//! Three looks, each bounded: moments that have the words one after another, moments that
//! have all of them, and, where those are few, moments that have the rarest of the words
//! in any way they may have been written. How well a moment answers is not decided here.

use sayback_core::text::{Query, Wanted};
use serde::Deserialize;
use serde_json::json;
use sqlx::FromRow;

use super::looking::{Look, any_of, in_a_row};
use super::moments::own;
use super::statement::statements;
use super::{EventId, MomentId, MomentRow, PersonId, SourceId, Store, StoreError, WordRow};

/// The most moments with the very words that are told apart; more are only said to be
/// more.
const MOST_EXACT: usize = 2_000;
/// The same for words that are still being typed: nobody pages through these.
const MOST_TYPED: usize = 250;
/// So many answers that are as good as each other are put in order at once, more of one
/// event: to order thousands of many costs more than to find them. Both numbers above are
/// whole lots.
const LOT: usize = 250;
/// The most moments that are paged through.
pub const MOST_PAGED: usize = 10_000;
/// So many moments are listened to, an event of some ten hours of speech.
const MOST_AUDIBLE: i64 = 8_000;
/// What moments must be like beside their words. Of several of a kind one will do.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// In one of these events.
    pub events: Option<Vec<EventId>>,
    /// One of them speaks.
    pub people: Option<Vec<PersonId>>,
    /// One of these heard it; the best of all if `best`.
    pub sources: Option<Vec<SourceId>>,
    /// A source so placed heard it; the best of all if `best`.
    pub placements: Option<Vec<String>>,
    /// Only the best hearing counts for sources and placements.
    pub best: bool,
    /// Mostly in one of these languages, ISO 639-1.
    pub languages: Option<Vec<String>>,
    /// Whether two sources have it well enough.
    pub backup: Option<bool>,
    /// In the part of this name, whichever event it is of.
    pub part: Option<String>,
}

/// A moment as it is searched.
#[derive(Clone, Debug, Deserialize)]
pub struct SaidRow {
    /// Its number in the index.
    pub no: i64,
    /// The moment.
    pub id: MomentId,
    /// Its event.
    pub event_id: EventId,
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on that clock, ms.
    pub start_ms: i64,
    /// End on that clock, ms, exclusive.
    pub end_ms: i64,
    /// Its words, as `text::indexed` writes them.
    pub words: String,
    /// What else was heard, as `text::otherwise` writes it.
    pub other: String,
    /// How sure each word is, a sign from '0' to ':'.
    pub sure: String,
}

/// What is known of a moment in the index.
#[derive(Clone, Debug, Deserialize)]
pub struct FactsRow {
    /// Its number in the index.
    pub no: i64,
    /// Its event.
    pub event_id: EventId,
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on that clock, ms.
    pub start_ms: i64,
    /// End on that clock, ms, exclusive.
    pub end_ms: i64,
    /// See the view `moment_facts`.
    pub facts: String,
}

/// What may answer a query.
#[derive(Clone, Debug, Default)]
pub struct Matching {
    /// Moments with the words one after another, by their numbers in the index: the latest
    /// lot of them first. Those of a page are in the order of events and their clocks
    /// among the others of their lot. Who asks for more is told the same first.
    pub exact: Vec<i64>,
    /// Others that may answer, the likeliest first.
    pub near: Vec<i64>,
    /// All that a filter leaves, where that is few enough to be listened to for words that
    /// were never written.
    pub audible: Vec<i64>,
    /// Whether there are more than are told.
    pub more: bool,
}

/// A moment and what was said just before and after it.
#[derive(Clone, Debug)]
pub struct Neighbourhood {
    /// What went before, if it may be of the same line.
    pub before: Option<SaidRow>,
    /// The moment.
    pub own: SaidRow,
    /// What came after, if it may be of the same line.
    pub after: Option<SaidRow>,
}

/// What hits tell of their event.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct EventTitle {
    /// Its id.
    pub id: EventId,
    /// What people call it.
    pub title: String,
    /// The day, as `2026-06-20`.
    pub date: Option<String>,
    /// Frames a second, as `25` or `30000/1001`.
    pub frame_rate: Option<String>,
}

/// A moment that is told of, whole.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The moment.
    pub moment: MomentRow,
    /// Its words in order.
    pub words: Vec<WordRow>,
}

statements! {
    TITLES = "SELECT e.id, e.title, e.date, e.frame_rate || iif(e.drop_frame, 'df', '') AS frame_rate
        FROM json_each(?1) i
        JOIN event e ON e.id = i.value";
    EVENTS_BETWEEN = "SELECT id FROM event WHERE date >= ?1 AND date <= ?2";
    EVENTS_WITH_PART = "SELECT event_id FROM part WHERE name = ?1";
    PEOPLE_CALLED = "SELECT id FROM person WHERE id = ?1
        UNION SELECT id FROM person WHERE name = ?1 COLLATE NOCASE";
    SOURCES_CALLED = "SELECT id FROM source WHERE id = ?1
        UNION SELECT id FROM source WHERE label = ?1 COLLATE NOCASE";
}

impl Filter {
    /// Whether it leaves anything to be found at all.
    fn is_possible(&self) -> bool {
        let empty = [
            self.events.as_ref().is_some_and(Vec::is_empty),
            self.people.as_ref().is_some_and(Vec::is_empty),
            self.sources.as_ref().is_some_and(Vec::is_empty),
            self.placements.as_ref().is_some_and(Vec::is_empty),
            self.languages.as_ref().is_some_and(Vec::is_empty),
        ];
        !empty.contains(&true)
    }

    /// What of it the index knows, in the language of FTS5; empty for no filter.
    pub(super) fn expression(&self) -> Vec<String> {
        let (source, placement) = if self.best { ("b", "j") } else { ("s", "k") };
        let facts = [
            any_of("e", self.events.iter().flatten().map(EventId::as_str)),
            any_of("p", self.people.iter().flatten().map(PersonId::as_str)),
            any_of(source, self.sources.iter().flatten().map(SourceId::as_str)),
            any_of(
                placement,
                self.placements.iter().flatten().map(String::as_str),
            ),
            any_of("l", self.languages.iter().flatten().map(String::as_str)),
            any_of(
                "r",
                self.backup.map(|backup| if backup { "1" } else { "0" }),
            ),
        ];
        facts.into_iter().flatten().collect()
    }
}

impl Store {
    /// What a query asks for, among the words there are now.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn wanted(&self, query: &Query) -> Result<Wanted, StoreError> {
        self.refresh_lexicon().await?;
        let lexicon = self.lexicon.read().unwrap_or_else(|gone| gone.into_inner());
        Ok(Wanted::of(query, &lexicon.words))
    }

    /// The moments that may answer a query, of those a filter leaves; all of these for a
    /// query without words. Exact ones are told at least `until` that many, those of a page
    /// that ends there in order.
    ///
    /// # Errors
    /// When the database can't be read; never because of what the query says.
    pub async fn matching(
        &self,
        query: &Query,
        wanted: &Wanted,
        filter: &Filter,
        until: usize,
    ) -> Result<Matching, StoreError> {
        let facts = filter.expression();
        if !filter.is_possible() || query.is_empty() && facts.is_empty() && filter.part.is_none() {
            return Ok(Matching::default());
        }
        // One look at the database, over before anything else is asked of the readers.
        let mut look = Look {
            facts,
            part: filter.part.as_deref(),
            ..self.look().await?
        };
        let least = if wanted.begun { MOST_TYPED } else { MOST_EXACT };
        let most = until.clamp(1, MOST_PAGED).next_multiple_of(least);
        let limit = i64::try_from(most).unwrap_or(i64::MAX);
        let mut exact = look.having(&in_a_row(query, wanted), limit + 1).await?;
        let more = exact.len() > most;
        exact.truncate(most);
        let of_one = filter.events.as_ref().is_some_and(|ids| ids.len() == 1);
        let lot = if of_one { MOST_EXACT } else { LOT };
        let exact = look.in_lots(exact, lot, until).await?;
        let near = look.near(query, wanted, &exact).await?;
        let mut audible = Vec::new();
        if exact.is_empty() && wanted.is_audible() {
            audible = look.having("", MOST_AUDIBLE + 1).await?;
            if audible.len() > MOST_AUDIBLE as usize {
                audible.clear();
            }
        }
        Ok(Matching {
            exact,
            near,
            audible,
            more,
        })
    }

    /// Moments, by their numbers in the index, in the order of events and their clocks;
    /// those that are gone are left out.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn in_order(&self, nos: &[i64]) -> Result<Vec<i64>, StoreError> {
        self.look().await?.in_order(nos).await
    }

    /// Moments as they are searched, in the order of events and their clocks.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn said(&self, nos: &[i64]) -> Result<Vec<SaidRow>, StoreError> {
        self.look().await?.lines(nos).await
    }

    /// Moments with what was said just before and after each.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn said_around(&self, nos: &[i64]) -> Result<Vec<Neighbourhood>, StoreError> {
        self.look().await?.neighbourhoods(nos).await
    }

    /// What is known of moments.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn facts_of(&self, nos: &[i64]) -> Result<Vec<FactsRow>, StoreError> {
        self.look().await?.facts_of(nos).await
    }

    async fn look(&self) -> Result<Look<'_>, StoreError> {
        Ok(Look {
            store: self,
            transaction: self.read.begin().await?,
            facts: Vec::new(),
            part: None,
        })
    }

    /// Moments, whole, in the order given; those that are gone are left out.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn whole_moments(&self, ids: &[MomentId]) -> Result<Vec<Candidate>, StoreError> {
        let mut look = self.read.begin().await?;
        let moments = self.moments_at(&mut *look, ids).await?;
        let words = self.words_at(&mut *look, ids).await?;
        drop(look);
        let mut words = words.into_iter().peekable();
        let whole = moments.into_iter().map(|moment| Candidate {
            words: own(&mut words, &moment.id),
            moment,
        });
        Ok(whole.collect())
    }

    /// What hits tell of these events.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn event_titles<'a>(
        &self,
        events: impl IntoIterator<Item = &'a EventId>,
    ) -> Result<Vec<EventTitle>, StoreError> {
        let events: Vec<&EventId> = events.into_iter().collect();
        Ok(sqlx::query_as(self.sql(TITLES))
            .bind(json!(events).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// The events of these days, each as `2026-06-20`, both included.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn events_between(&self, from: &str, to: &str) -> Result<Vec<EventId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(EVENTS_BETWEEN))
            .bind(from)
            .bind(to)
            .fetch_all(&self.read)
            .await?)
    }

    /// The events that have a part of this name.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn events_with_part(&self, name: &str) -> Result<Vec<EventId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(EVENTS_WITH_PART))
            .bind(name)
            .fetch_all(&self.read)
            .await?)
    }

    /// The people with this id or name, in whichever event they speak.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn people_called(&self, name: &str) -> Result<Vec<PersonId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(PEOPLE_CALLED))
            .bind(name.trim())
            .fetch_all(&self.read)
            .await?)
    }

    /// The sources with this id or label, of whichever event.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn sources_called(&self, label: &str) -> Result<Vec<SourceId>, StoreError> {
        Ok(sqlx::query_scalar(self.sql(SOURCES_CALLED))
            .bind(label.trim())
            .fetch_all(&self.read)
            .await?)
    }
}
