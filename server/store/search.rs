//! Which moments might hold these words?
//!
//! Three looks, each bounded: moments that have the words one after another, moments that
//! have all of them, and, where those are few, moments that have the rarest of the words
//! in any way they may have been written. How well a moment answers is not decided here.

use std::collections::{HashMap, HashSet};

use sayback_core::text::{Group, Query, Term, Wanted};
use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::moments::own;
use super::statement::statements;
use super::{EventId, MomentId, MomentRow, PersonId, SourceId, Store, StoreError, WordRow};

/// The most moments with the very words that are told apart; more are only said to be
/// more.
pub const MOST_EXACT: usize = 2_000;
/// The most moments that are paged through.
pub const MOST_PAGED: usize = 10_000;
/// The most moments with all words, and the most that have some.
const MOST_TOGETHER: i64 = 400;
const MOST_LOOSE: usize = 300;
/// With so many exact answers nobody looks for others.
const ENOUGH: usize = 50;
/// Of so many groups of words moments are looked up, of each so many,
const MOST_GROUPS: usize = 8;
const MOST_OF_GROUP: i64 = 3_000;
/// of words that stand in no more moments than these together.
const MOST_OF_ALL: u32 = 16_000;
/// The commonest pairs of common words are looked up in so many moments.
const MOST_OF_PAIR: i64 = 600;
/// A moment this long after another may go on with its line, ms.
const GOES_ON_MS: i64 = 8_000;

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
#[derive(Clone, Debug, FromRow)]
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
    /// What is known of it, see the view `moment_facts`.
    pub facts: String,
}

/// What may answer a query.
#[derive(Clone, Debug, Default)]
pub struct Matching {
    /// Moments with the words one after another, in the order of events and their clocks.
    pub exact: Vec<SaidRow>,
    /// Others that may answer, each with the moments before and after that may go on with
    /// its line.
    pub near: Vec<Neighbourhood>,
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

#[derive(FromRow)]
struct Around {
    no: i64,
    before: Option<i64>,
    after: Option<i64>,
}

/// As [`Filter::expression`] names them.
const FACTS: &str = "facts";

statements! {
    /// The latest first: rows come in the order of the index, so that the first are told
    /// without a look at the others.
    MATCHING = "SELECT rowid FROM said_fts WHERE said_fts MATCH ?1 ORDER BY rowid DESC LIMIT ?2";
    /// The part of a moment is the shortest that its middle lies in.
    MATCHING_IN_PART = "SELECT f.rowid FROM said_fts f CROSS JOIN moment m ON m.no = f.rowid
        WHERE f.said_fts MATCH ?1 AND m.island = 0 AND ?3 = (SELECT p.name FROM part p
            WHERE p.event_id = m.event_id AND p.start_ms <= (m.start_ms + m.end_ms) / 2
                AND (m.start_ms + m.end_ms) / 2 < p.end_ms
            ORDER BY p.end_ms - p.start_ms, p.n LIMIT 1)
        ORDER BY f.rowid DESC LIMIT ?2";
    LINES = "SELECT s.no, m.id, m.event_id, m.island, m.start_ms, m.end_ms, s.words, s.other,
            s.sure, s.facts
        FROM json_each(?1) i CROSS JOIN said s ON s.no = i.value JOIN moment m ON m.no = s.no
        ORDER BY m.event_id, m.island, m.start_ms, m.no";
    AROUND = "SELECT m.no,
            (SELECT b.no FROM moment b WHERE b.event_id = m.event_id AND b.island = m.island
                AND b.start_ms < m.start_ms AND b.start_ms > m.start_ms - 120000 AND b.word_count > 0
                ORDER BY b.start_ms DESC, b.no DESC LIMIT 1) AS before,
            (SELECT a.no FROM moment a WHERE a.event_id = m.event_id AND a.island = m.island
                AND a.start_ms > m.start_ms AND a.start_ms < m.end_ms + 30000 AND a.word_count > 0
                ORDER BY a.start_ms, a.no LIMIT 1) AS after
        FROM json_each(?1) i CROSS JOIN moment m ON m.no = i.value";
    TITLES = "SELECT e.id, e.title, e.date, e.frame_rate FROM json_each(?1) i
        JOIN event e ON e.id = i.value";
    EVENTS_BETWEEN = "SELECT id FROM event WHERE date >= ?1 AND date <= ?2";
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
    fn expression(&self) -> Vec<String> {
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

/// `facts : ("e1" OR "e2")`.
fn any_of<'a>(kind: &str, ids: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let tokens: Vec<String> = ids
        .into_iter()
        .filter_map(|id| quoted([&format!("{kind}{}", id.replace('-', ""))]))
        .collect();
    (!tokens.is_empty()).then(|| format!("{FACTS} : ({})", tokens.join(" OR ")))
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
    /// query without words. At most `most` exact ones.
    ///
    /// # Errors
    /// When the database can't be read; never because of what the query says.
    pub async fn matching(
        &self,
        query: &Query,
        wanted: &Wanted,
        filter: &Filter,
        most: usize,
    ) -> Result<Matching, StoreError> {
        let facts = filter.expression();
        if !filter.is_possible() || query.is_empty() && facts.is_empty() && filter.part.is_none() {
            return Ok(Matching::default());
        }
        // One look at the database, over before anything else is asked of the readers.
        let mut look = Look {
            store: self,
            transaction: self.read.begin().await?,
            facts,
            part: filter.part.as_deref(),
        };
        let most = most.clamp(MOST_EXACT, MOST_PAGED);
        let limit = i64::try_from(most).unwrap_or(i64::MAX);
        let mut exact = look.having(&in_a_row(query, wanted), limit + 1).await?;
        let more = exact.len() > most;
        exact.truncate(most);
        let known: HashSet<i64> = exact.iter().copied().collect();
        let mut near: Vec<i64> = Vec::new();
        if query.terms.len() > 1 && !more {
            near = look.having(&all_of(query), MOST_TOGETHER).await?;
        }
        if exact.len() + near.len() < ENOUGH && !wanted.literal {
            let mut seen: HashSet<i64> = near.iter().copied().collect();
            let loose = look.loosely(wanted).await?;
            near.extend(loose.into_iter().filter(|no| seen.insert(*no)));
        }
        near.retain(|no| !known.contains(no));
        Ok(Matching {
            exact: look.lines(&exact).await?,
            near: look.neighbourhoods(&near).await?,
            more,
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

/// One look at the index through a filter.
struct Look<'a> {
    store: &'a Store,
    transaction: Transaction<'static, Sqlite>,
    facts: Vec<String>,
    part: Option<&'a str>,
}

impl Look<'_> {
    /// The moments that have this, the latest in the index first.
    async fn having(&mut self, words: &str, limit: i64) -> Result<Vec<i64>, StoreError> {
        let mut all = self.facts.clone();
        if !words.is_empty() {
            all.push(words.to_owned());
        }
        if all.is_empty() {
            return Ok(Vec::new());
        }
        let statement = match self.part {
            Some(_) => MATCHING_IN_PART,
            None => MATCHING,
        };
        let mut asked = sqlx::query_scalar(self.store.sql(statement))
            .bind(all.join(" AND "))
            .bind(limit);
        if let Some(part) = self.part {
            asked = asked.bind(part);
        }
        Ok(asked.fetch_all(&mut *self.transaction).await?)
    }

    /// The moments that have most of what the rarest words say, in any way these may have
    /// been written.
    async fn loosely(&mut self, wanted: &Wanted) -> Result<Vec<i64>, StoreError> {
        let mut groups: Vec<&Group> = wanted.groups.iter().collect();
        groups.sort_by_key(|group| (group.moments(), group.from, group.to));
        let mut left = if self.facts.is_empty() {
            MOST_OF_ALL
        } else {
            u32::MAX
        };
        let mut weights: HashMap<i64, f32> = HashMap::new();
        let mut looked = 0;
        for group in &groups {
            if looked == MOST_GROUPS || group.moments() > left {
                break;
            }
            left -= group.moments();
            let Some(words) = any_way(group) else {
                continue;
            };
            looked += 1;
            for no in self.having(&words, MOST_OF_GROUP).await? {
                *weights.entry(no).or_default() += group.weight(wanted);
            }
        }
        if looked == 0 {
            // Only common words: those that have two of the rarest.
            let ways = groups.iter().filter_map(|group| any_way(group)).take(3);
            let ways: Vec<String> = ways.collect();
            for (n, a) in ways.iter().enumerate() {
                let others = &ways[n + 1..];
                let both = others.iter().map(|b| format!("{a} AND {b}"));
                let alone = (ways.len() == 1).then(|| a.clone());
                for words in both.chain(alone) {
                    for no in self.having(&words, MOST_OF_PAIR).await? {
                        *weights.entry(no).or_default() += 1.0;
                    }
                }
            }
        }
        let mut found: Vec<(i64, f32)> = weights.into_iter().collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1).then(b.0.cmp(&a.0)));
        found.truncate(MOST_LOOSE);
        Ok(found.into_iter().map(|(no, _)| no).collect())
    }

    async fn lines(&mut self, nos: &[i64]) -> Result<Vec<SaidRow>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        Ok(sqlx::query_as(self.store.sql(LINES))
            .bind(json!(nos).to_string())
            .fetch_all(&mut *self.transaction)
            .await?)
    }

    async fn neighbourhoods(&mut self, nos: &[i64]) -> Result<Vec<Neighbourhood>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        let around: Vec<Around> = sqlx::query_as(self.store.sql(AROUND))
            .bind(json!(nos).to_string())
            .fetch_all(&mut *self.transaction)
            .await?;
        let mut all: Vec<i64> = around
            .iter()
            .flat_map(|one| [one.before, Some(one.no), one.after])
            .flatten()
            .collect();
        all.sort_unstable();
        all.dedup();
        let lines: HashMap<i64, SaidRow> = self
            .lines(&all)
            .await?
            .into_iter()
            .map(|line| (line.no, line))
            .collect();
        let line = |no: Option<i64>| no.and_then(|no| lines.get(&no)).cloned();
        let goes_on = |first: &SaidRow, then: &SaidRow| then.start_ms - first.end_ms < GOES_ON_MS;
        Ok(around
            .iter()
            .filter_map(|one| {
                let own = line(Some(one.no))?;
                let before = line(one.before).filter(|before| goes_on(before, &own));
                let after = line(one.after).filter(|after| goes_on(&own, after));
                Some(Neighbourhood { before, own, after })
            })
            .collect())
    }
}

/// The words one after another, in the language of FTS5: every word a quoted string, so
/// that nothing in it is taken for an operator. A last word that is only begun is one of
/// those that begin so.
fn in_a_row(query: &Query, wanted: &Wanted) -> String {
    let words: Vec<&String> = wanted.words.iter().map(|word| &word.text).collect();
    let begun = |term: &Term| matches!(term, Term::Prefix(_));
    if query.terms.iter().rev().skip(1).any(begun) {
        return all_of(query);
    }
    let phrase = match query.terms.last() {
        Some(Term::Prefix(_)) => {
            let (_, rest) = words.split_last().unwrap_or((&words[0], &[]));
            let group = wanted.groups.iter().find(|group| group.to == words.len());
            let ways = group.iter().flat_map(|group| &group.ways);
            let ways: Vec<String> = ways
                .filter_map(|way| quoted(rest.iter().copied().chain(&way.words)))
                .collect();
            (!ways.is_empty()).then(|| format!("({})", ways.join(" OR ")))
        }
        _ => quoted(words),
    };
    phrase.map_or(String::new(), |phrase| format!("words : {phrase}"))
}

/// Every word and every phrase, wherever they stand.
fn all_of(query: &Query) -> String {
    let terms: Vec<String> = query.terms.iter().filter_map(fts_term).collect();
    match terms.is_empty() {
        true => String::new(),
        false => format!("words : ({})", terms.join(" AND ")),
    }
}

/// Any of the ways of a group.
fn any_way(group: &Group) -> Option<String> {
    let ways: Vec<String> = group
        .ways
        .iter()
        .filter_map(|way| quoted(&way.words))
        .collect();
    (!ways.is_empty()).then(|| format!("{{words other}} : ({})", ways.join(" OR ")))
}

fn fts_term(term: &Term) -> Option<String> {
    match term {
        Term::Word(word) => quoted([word]),
        Term::Prefix(start) => quoted([start]).map(|text| text + " *"),
        Term::Phrase(words) => quoted(words),
    }
}

/// `"one two"`, or `None` when nothing is left to look for.
fn quoted<'a>(words: impl IntoIterator<Item = &'a String>) -> Option<String> {
    let words: Vec<String> = words
        .into_iter()
        .map(|word| word.replace('\0', "").replace('"', "\"\""))
        .filter(|word| !word.trim().is_empty())
        .collect();
    if words.is_empty() {
        None
    } else {
        Some(format!("\"{}\"", words.join(" ")))
    }
}

#[cfg(test)]
mod unit {
    use super::*;

    #[test]
    fn operators_and_quotes_are_literal() {
        let query = Query {
            terms: vec![
                Term::Word("and".into()),
                Term::Prefix("ket\"tle".into()),
                Term::Phrase(vec!["near".into(), "(x".into()]),
                Term::Word(String::new()),
            ],
            literal: true,
        };
        assert_eq!(
            all_of(&query),
            "words : (\"and\" AND \"ket\"\"tle\" * AND \"near (x\")"
        );
        let filter = Filter {
            events: Some(vec!["a-b".into(), "c\" OR \"d".into()]),
            backup: Some(true),
            best: true,
            placements: Some(vec!["worn".into()]),
            ..Filter::default()
        };
        assert_eq!(
            filter.expression().join(" AND "),
            "facts : (\"eab\" OR \"ec\"\" OR \"\"d\") AND facts : (\"jworn\") AND facts : (\"r1\")"
        );
    }
}
