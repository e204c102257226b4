//! Which rows of the index have this?
//!
//! Words and filters in the language of FTS5, and the looks that are made with them.

use std::collections::HashMap;

use sayback_core::text::{Group, Query, Term, Wanted};
use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::search::{FactsRow, Neighbourhood, SaidRow};
use super::statement::statements;
use super::{Store, StoreError};

/// Of so many groups of words moments are looked up, of each so many,
const MOST_GROUPS: usize = 8;
const MOST_OF_GROUP: i64 = 3_000;
/// of words that stand in no more moments than these together.
const MOST_OF_ALL: u32 = 16_000;
/// The commonest pairs of common words are looked up in so many moments.
const MOST_OF_PAIR: i64 = 600;
/// A moment this long after another may go on with its line, ms.
const GOES_ON_MS: i64 = 8_000;
/// The most moments that have some of the words.
const MOST_LOOSE: usize = 300;

#[derive(FromRow)]
struct Around {
    no: i64,
    before: Option<i64>,
    after: Option<i64>,
}

statements! {
    /// The latest first: rows come in the order of the index, so that the first are told
    /// without a look at the others.
    MATCHING = "SELECT json_group_array(no) FROM (SELECT rowid AS no FROM said_fts
        WHERE said_fts MATCH ?1 ORDER BY rowid DESC LIMIT ?2)";
    /// The part of a moment is the shortest that its middle lies in.
    MATCHING_IN_PART = "SELECT json_group_array(no) FROM (SELECT m.no
        FROM said_fts f CROSS JOIN moment m ON m.no = f.rowid
        WHERE f.said_fts MATCH ?1 AND m.island = 0 AND ?3 = (SELECT p.name FROM part p
            WHERE p.event_id = m.event_id AND p.start_ms <= (m.start_ms + m.end_ms) / 2
                AND (m.start_ms + m.end_ms) / 2 < p.end_ms
            ORDER BY p.end_ms - p.start_ms, p.n LIMIT 1)
        ORDER BY f.rowid DESC LIMIT ?2)";
    IN_ORDER = "SELECT json_group_array(m.no ORDER BY m.event_id, m.island, m.start_ms, m.no)
        FROM json_each(?1) i CROSS JOIN moment m ON m.no = i.value";
    FACTS = "SELECT s.no, m.event_id, m.island, m.start_ms, m.end_ms, s.facts
        FROM json_each(?1) i CROSS JOIN said s ON s.no = i.value JOIN moment m ON m.no = s.no";
    LINES = "SELECT s.no, m.id, m.event_id, m.island, m.start_ms, m.end_ms, s.words, s.other, s.sure
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
}

/// `facts : ("e1" OR "e2")`.
pub(super) fn any_of<'a>(kind: &str, ids: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let tokens: Vec<String> = ids
        .into_iter()
        .filter_map(|id| quoted([&format!("{kind}{}", id.replace('-', ""))]))
        .collect();
    (!tokens.is_empty()).then(|| format!("facts : ({})", tokens.join(" OR ")))
}

/// One look at the index through a filter.
pub(super) struct Look<'a> {
    pub store: &'a Store,
    pub transaction: Transaction<'static, Sqlite>,
    /// What moments must be like, in the language of FTS5.
    pub facts: Vec<String>,
    /// The part they must be in.
    pub part: Option<&'a str>,
}

impl Look<'_> {
    /// The moments that have this, the latest in the index first.
    pub async fn having(&mut self, words: &str, limit: i64) -> Result<Vec<i64>, StoreError> {
        let mut all = self.facts.clone();
        if !words.is_empty() {
            all.push(words.to_owned());
        }
        if all.is_empty() {
            if self.part.is_none() {
                return Ok(Vec::new());
            }
            // Every moment has one of them.
            all.extend(any_of("r", ["0", "1"]));
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
        numbers(asked.fetch_one(&mut *self.transaction).await?)
    }

    /// The moments that have most of what the rarest words say, in any way these may have
    /// been written.
    pub async fn loosely(&mut self, wanted: &Wanted) -> Result<Vec<i64>, StoreError> {
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

    pub async fn in_order(&mut self, nos: &[i64]) -> Result<Vec<i64>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        let ordered = sqlx::query_scalar(self.store.sql(IN_ORDER))
            .bind(json!(nos).to_string())
            .fetch_one(&mut *self.transaction)
            .await?;
        numbers(ordered)
    }

    pub async fn facts_of(&mut self, nos: &[i64]) -> Result<Vec<FactsRow>, StoreError> {
        Ok(sqlx::query_as(self.store.sql(FACTS))
            .bind(json!(nos).to_string())
            .fetch_all(&mut *self.transaction)
            .await?)
    }

    pub async fn lines(&mut self, nos: &[i64]) -> Result<Vec<SaidRow>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        Ok(sqlx::query_as(self.store.sql(LINES))
            .bind(json!(nos).to_string())
            .fetch_all(&mut *self.transaction)
            .await?)
    }

    pub async fn neighbourhoods(&mut self, nos: &[i64]) -> Result<Vec<Neighbourhood>, StoreError> {
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

/// Numbers that came as one value: thousands of rows cost more to hand over than to find.
fn numbers(json: String) -> Result<Vec<i64>, StoreError> {
    serde_json::from_str(&json)
        .map_err(|error| StoreError::Database(sqlx::Error::Decode(error.into())))
}

/// The words one after another, in the language of FTS5: every word a quoted string, so
/// that nothing in it is taken for an operator. A last word that is only begun is one of
/// those that begin so.
pub(super) fn in_a_row(query: &Query, wanted: &Wanted) -> String {
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
pub(super) fn all_of(query: &Query) -> String {
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
    use super::super::Filter;
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
