//! Which moments might hold these words?

use std::collections::HashMap;
use std::sync::Arc;

use sayback_core::text::{Query, Term};
use sqlx::FromRow;

use super::moments::own;
use super::statement::statements;
use super::{
    EventId, EventRow, MomentId, MomentRow, RecordingId, RecordingRow, SegmentId, SourceRow, Store,
    StoreError, Transcript, WordRow,
};

/// A segment that holds every term of a query, with all that an answer needs.
#[derive(Clone, Debug)]
pub struct SegmentCandidate {
    /// BM25 of SQLite FTS5: the smaller, the better; comparable within one query.
    pub bm25: f64,
    /// The segment and its words.
    pub transcript: Transcript,
    /// The recording it is in, with file and stamps.
    pub recording: Arc<RecordingRow>,
    /// The source of that recording, with its wearer.
    pub source: Arc<SourceRow>,
    /// The event of that recording.
    pub event: Arc<EventRow>,
}

/// A moment that holds every term of a query.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// BM25 of SQLite FTS5: the smaller, the better; comparable within one query.
    pub bm25: f64,
    /// The moment.
    pub moment: MomentRow,
    /// Its words in order.
    pub words: Vec<WordRow>,
    /// Its event.
    pub event: Arc<EventRow>,
}

#[derive(FromRow)]
struct FoundMoment {
    id: MomentId,
    bm25: f64,
}

#[derive(FromRow)]
struct Match {
    id: SegmentId,
    recording_id: RecordingId,
    bm25: f64,
}

statements! {
    FIND = "SELECT m.id, bm25(moment_fts) AS bm25
        FROM moment_fts JOIN moment m ON m.no = moment_fts.rowid
        WHERE moment_fts MATCH ?1 AND (?2 IS NULL OR m.event_id = ?2)
        ORDER BY bm25(moment_fts), m.no LIMIT ?3";
    MATCH = "SELECT s.id, s.recording_id, bm25(segment_fts) AS bm25
        FROM segment_fts JOIN segment s ON s.id = segment_fts.rowid
            JOIN recording r ON r.id = s.recording_id
        WHERE segment_fts MATCH ?1 AND (?2 IS NULL OR r.event_id = ?2)
        ORDER BY bm25(segment_fts), s.id LIMIT ?3";
}

impl Store {
    /// The moments that hold every term of `query`, best first, at most `limit`,
    /// of one event or of all. A query without terms finds nothing.
    ///
    /// # Errors
    /// When the database can't be read; never because of what the query says.
    pub async fn search(
        &self,
        query: &Query,
        event: Option<&EventId>,
        limit: u32,
    ) -> Result<Vec<Candidate>, StoreError> {
        let expression = fts_expression(query);
        if expression.is_empty() {
            return Ok(Vec::new());
        }
        let found: Vec<FoundMoment> = sqlx::query_as(self.sql(FIND))
            .bind(expression)
            .bind(event)
            .bind(limit)
            .fetch_all(&self.read)
            .await?;
        let ids: Vec<MomentId> = found.iter().map(|found| found.id.clone()).collect();
        let ranks: HashMap<&MomentId, f64> =
            found.iter().map(|found| (&found.id, found.bm25)).collect();
        let moments = self.moments_by_ids(&ids).await?;
        let mut words = self.words_of(&ids).await?.into_iter().peekable();
        let mut events: HashMap<EventId, Arc<EventRow>> = HashMap::new();
        let mut candidates = Vec::with_capacity(moments.len());
        for moment in moments {
            let event = match events.get(&moment.event_id) {
                Some(event) => event.clone(),
                None => {
                    let event = Arc::new(self.event(&moment.event_id).await?);
                    events.insert(moment.event_id.clone(), event.clone());
                    event
                }
            };
            candidates.push(Candidate {
                bm25: ranks.get(&moment.id).copied().unwrap_or_default(),
                words: own(&mut words, &moment.id),
                moment,
                event,
            });
        }
        Ok(candidates)
    }

    /// The segments that hold every term of `query`, best first, at most `limit`,
    /// of one event or of all. A query without terms finds nothing.
    ///
    /// # Errors
    /// When the database can't be read; never because of what the query says.
    pub async fn search_segments(
        &self,
        query: &Query,
        event: Option<&EventId>,
        limit: u32,
    ) -> Result<Vec<SegmentCandidate>, StoreError> {
        self.matching(&fts_expression(query), event, limit).await
    }

    /// The segments of an event that share words with a line, those with the
    /// most and rarest first, at most `limit`. `words` are normal forms; those
    /// that are none are passed over.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn lines_like(
        &self,
        words: &[String],
        event: &EventId,
        limit: u32,
    ) -> Result<Vec<SegmentCandidate>, StoreError> {
        let terms: Vec<String> = words.iter().filter_map(|word| quoted([word])).collect();
        self.matching(&terms.join(" OR "), Some(event), limit).await
    }

    async fn matching(
        &self,
        expression: &str,
        event: Option<&EventId>,
        limit: u32,
    ) -> Result<Vec<SegmentCandidate>, StoreError> {
        if expression.is_empty() {
            return Ok(Vec::new());
        }
        let matches: Vec<Match> = sqlx::query_as(self.sql(MATCH))
            .bind(expression)
            .bind(event)
            .bind(limit)
            .fetch_all(&self.read)
            .await?;
        self.complete_matches(&matches).await
    }

    async fn complete_matches(
        &self,
        matches: &[Match],
    ) -> Result<Vec<SegmentCandidate>, StoreError> {
        let ids: Vec<SegmentId> = matches.iter().map(|found| found.id).collect();
        let transcripts = self.transcripts_by_ids(&ids).await?;
        let mut recording_ids: Vec<RecordingId> = matches
            .iter()
            .map(|found| found.recording_id.clone())
            .collect();
        recording_ids.sort();
        recording_ids.dedup();
        let mut recordings = HashMap::new();
        let mut sources = HashMap::new();
        let mut events = HashMap::new();
        for recording in self.recordings_by_ids(&recording_ids).await? {
            if !events.contains_key(&recording.event_id) {
                let event = self.event(&recording.event_id).await?;
                for source in self.sources(&event.id).await? {
                    sources.insert(source.id.clone(), Arc::new(source));
                }
                events.insert(event.id.clone(), Arc::new(event));
            }
            recordings.insert(recording.id.clone(), Arc::new(recording));
        }
        let mut ranks: HashMap<SegmentId, f64> =
            matches.iter().map(|found| (found.id, found.bm25)).collect();
        Ok(transcripts
            .into_iter()
            .filter_map(|transcript| {
                let recording = recordings.get(&transcript.segment.recording_id)?.clone();
                Some(SegmentCandidate {
                    bm25: ranks.remove(&transcript.segment.id)?,
                    source: sources.get(&recording.source_id)?.clone(),
                    event: events.get(&recording.event_id)?.clone(),
                    recording,
                    transcript,
                })
            })
            .collect())
    }
}

/// The query in the language of FTS5: every term a quoted string, so that
/// nothing in it is taken for an operator.
fn fts_expression(query: &Query) -> String {
    let terms: Vec<String> = query.terms.iter().filter_map(fts_term).collect();
    terms.join(" AND ")
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
        };
        assert_eq!(
            fts_expression(&query),
            "\"and\" AND \"ket\"\"tle\" * AND \"near (x\""
        );
    }
}
