//! Which rows of the index have this?
//!
//! Words and filters in the language of FTS5, and the looks that are made with them.

use std::collections::{HashMap, HashSet};

use sayback_core::text::{Group, Query, Term, Wanted};
use serde::de::DeserializeOwned;
use serde_json::json;
use sqlx::{Sqlite, Transaction};

use super::search::{FactsRow, MOST_PAGED, Neighbourhood, SaidRow};
use super::statement::{Statement, statements};
use super::{Store, StoreError};

/// With so many answers nobody looks for others that are less good.
const ENOUGH: usize = 50;
/// The most moments with all words.
const MOST_TOGETHER: i64 = 120;
/// The longest page.
const MOST_OF_PAGE: usize = 200;
/// Of so many groups of words moments are looked up, of each so many,
const MOST_GROUPS: usize = 8;
const MOST_OF_GROUP: i64 = 3_000;
/// of words that stand in no more moments than these together.
const MOST_OF_ALL: u32 = 16_000;
/// The commonest pairs of common words are looked up in so many moments.
const MOST_OF_PAIR: i64 = 600;
/// Words of one line have no more than so many others between them, and two for each.
const WITHIN: usize = 6;
/// Words that begin with fewer letters are looked up by the commonest of them.
const SHORTEST_BEGUN: usize = 3;
/// A moment this long after another may go on with its line, ms.
const GOES_ON_MS: i64 = 8_000;
/// The most moments that have some of the words.
const MOST_LOOSE: usize = 160;

/// A moment, the one before it and the one after it.
type Around = (i64, Option<i64>, Option<i64>);

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
    /// In the order of the fields of [`FactsRow`] and [`SaidRow`].
    FACTS = "SELECT json_group_array(json_array(
            s.no, m.event_id, m.island, m.start_ms, m.end_ms, s.facts))
        FROM json_each(?1) i CROSS JOIN said s ON s.no = i.value JOIN moment m ON m.no = s.no";
    LINES = "SELECT json_group_array(json_array(
            s.no, m.id, m.event_id, m.island, m.start_ms, m.end_ms, s.words, s.other, s.sure)
            ORDER BY m.event_id, m.island, m.start_ms, m.no)
        FROM json_each(?1) i CROSS JOIN said s ON s.no = i.value JOIN moment m ON m.no = s.no";
    AROUND = "SELECT json_group_array(json_array(m.no,
            (SELECT b.no FROM moment b WHERE b.event_id = m.event_id AND b.island = m.island
                AND b.start_ms < m.start_ms AND b.start_ms > m.start_ms - 120000 AND b.word_count > 0
                ORDER BY b.start_ms DESC, b.no DESC LIMIT 1),
            (SELECT a.no FROM moment a WHERE a.event_id = m.event_id AND a.island = m.island
                AND a.start_ms > m.start_ms AND a.start_ms < m.end_ms + 30000 AND a.word_count > 0
                ORDER BY a.start_ms, a.no LIMIT 1)))
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
        let list: String = asked.fetch_one(&mut *self.transaction).await?;
        listed(&list)
    }

    /// Moments with the words in other places, or other words that may be these, the
    /// likeliest first; none where there are enough exact ones.
    pub async fn near(
        &mut self,
        query: &Query,
        wanted: &Wanted,
        exact: &[i64],
    ) -> Result<Vec<i64>, StoreError> {
        let mut near: Vec<i64> = Vec::new();
        let mut seen: HashSet<i64> = exact.iter().copied().collect();
        if query.terms.len() > 1 && exact.len() < ENOUGH {
            near = self.having(&together(query, wanted), MOST_TOGETHER).await?;
            let all = near.len() < MOST_TOGETHER as usize;
            near.retain(|no| seen.insert(*no));
            // Of common words the latest that have them are any: rather those of one line.
            if let (false, true, Some(words)) = (all, exact.is_empty(), close_by(query)) {
                let close = self.having(&words, MOST_TOGETHER).await?;
                near.extend(close.into_iter().filter(|no| seen.insert(*no)));
            }
        }
        if exact.len() + near.len() < ENOUGH && !wanted.literal {
            let loose = self.loosely(wanted).await?;
            near.extend(loose.into_iter().filter(|no| seen.insert(*no)));
        }
        Ok(near)
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

    /// What a statement that makes one list of it tells of these moments.
    async fn all_of<T: DeserializeOwned>(
        &mut self,
        statement: &'static Statement,
        nos: &[i64],
    ) -> Result<Vec<T>, StoreError> {
        let list: String = sqlx::query_scalar(self.store.sql(statement))
            .bind(json!(nos).to_string())
            .fetch_one(&mut *self.transaction)
            .await?;
        listed(&list)
    }

    pub async fn in_order(&mut self, nos: &[i64]) -> Result<Vec<i64>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        self.all_of(IN_ORDER, nos).await
    }

    /// Puts in the order of events and clocks, lot by lot, what a page shows that ends
    /// before the `until`th; all of it where that is as far as pages go.
    pub async fn in_lots(
        &mut self,
        mut nos: Vec<i64>,
        lot: usize,
        until: usize,
    ) -> Result<Vec<i64>, StoreError> {
        let shown = match until < MOST_PAGED {
            true => until.saturating_sub(MOST_OF_PAGE)..until.max(1),
            false => 0..usize::MAX,
        };
        for (n, some) in nos.chunks_mut(lot).enumerate() {
            if n * lot < shown.end && shown.start < (n + 1) * lot {
                let ordered = self.in_order(some).await?;
                for (no, ordered) in some.iter_mut().zip(ordered) {
                    *no = ordered;
                }
            }
        }
        Ok(nos)
    }

    pub async fn facts_of(&mut self, nos: &[i64]) -> Result<Vec<FactsRow>, StoreError> {
        self.all_of(FACTS, nos).await
    }

    pub async fn lines(&mut self, nos: &[i64]) -> Result<Vec<SaidRow>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        self.all_of(LINES, nos).await
    }

    pub async fn neighbourhoods(&mut self, nos: &[i64]) -> Result<Vec<Neighbourhood>, StoreError> {
        if nos.is_empty() {
            return Ok(Vec::new());
        }
        let around: Vec<Around> = self.all_of(AROUND, nos).await?;
        let mut all: Vec<i64> = around
            .iter()
            .flat_map(|(no, before, after)| [*before, Some(*no), *after])
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
            .filter_map(|(no, before, after)| {
                let own = line(Some(*no))?;
                let before = line(*before).filter(|before| goes_on(before, &own));
                let after = line(*after).filter(|after| goes_on(&own, after));
                Some(Neighbourhood { before, own, after })
            })
            .collect())
    }
}

/// A list that came as one value: rows cost more to hand over than to find.
pub(super) fn listed<T: DeserializeOwned>(json: &str) -> Result<Vec<T>, StoreError> {
    serde_json::from_str(json)
        .map_err(|error| StoreError::Database(sqlx::Error::Decode(error.into())))
}

/// The words one after another, in the language of FTS5: every word a quoted string, so
/// that nothing in it is taken for an operator. A last word that is only begun is one of
/// those that begin so.
pub(super) fn in_a_row(query: &Query, wanted: &Wanted) -> String {
    let words: Vec<&String> = wanted.words.iter().map(|word| &word.text).collect();
    let begun = |term: &Term| matches!(term, Term::Prefix(_));
    if query.terms.iter().rev().skip(1).any(begun) {
        return together(query, wanted);
    }
    let phrase = match query.terms.last() {
        Some(Term::Prefix(_)) => {
            let rest = words.split_last().map_or(&[][..], |(_, rest)| rest);
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
fn together(query: &Query, wanted: &Wanted) -> String {
    let mut terms = Vec::new();
    let mut word = 0;
    for term in &query.terms {
        let own = wanted.groups.iter();
        let mut own = own.filter(|group| (group.from, group.to) == (word, word + 1));
        terms.extend(match (term, own.next()) {
            // Half of all words begin with two letters or the other.
            (Term::Prefix(begun), Some(group)) if begun.len() < SHORTEST_BEGUN => either(group),
            _ => fts_term(term),
        });
        word += term.word_count();
    }
    match terms.is_empty() {
        true => String::new(),
        false => format!("words : ({})", terms.join(" AND ")),
    }
}

/// All of it within a few words of each other; `None` where FTS5 can't ask for that.
fn close_by(query: &Query) -> Option<String> {
    let terms: Option<Vec<String>> = query
        .terms
        .iter()
        .map(|term| match term {
            Term::Word(word) => quoted([word]),
            Term::Phrase(words) => quoted(words),
            Term::Prefix(_) => None,
        })
        .collect();
    let terms = terms.filter(|terms| terms.len() > 1)?;
    let within = WITHIN + 2 * terms.len();
    Some(format!("words : NEAR({}, {within})", terms.join(" ")))
}

/// Any of the ways of a group, also where it was only heard so.
fn any_way(group: &Group) -> Option<String> {
    either(group).map(|ways| format!("{{words other}} : {ways}"))
}

fn either(group: &Group) -> Option<String> {
    let ways = group.ways.iter().filter_map(|way| quoted(&way.words));
    let ways: Vec<String> = ways.collect();
    (!ways.is_empty()).then(|| format!("({})", ways.join(" OR ")))
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
            together(&query, &Wanted::default()),
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
