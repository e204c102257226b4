//! All words of an event in order on their clocks, and where a written text is in them.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Instant;

use sayback_core::text::{HeardIn, HeardWord, Passes, Span, Written};

use super::super::places::{Places, Stretch};
use super::super::problem::{Answer, Problem};
use crate::store::{
    Candidate, EventRow, MomentId, MomentRow, PersonId, ScriptRow, Store, StoreError, WordRow,
};

/// A moment and its words.
pub struct Moment {
    /// The moment.
    pub row: MomentRow,
    /// Its words in order, at the times of their file.
    pub words: Vec<WordRow>,
}

/// Where a word is.
#[derive(Clone, Copy, Debug)]
pub struct At {
    /// Its moment, by its place in [`Spoken::moments`].
    pub moment: usize,
    /// Its place among the moment's words.
    pub word: usize,
    /// Where it starts on the clock of the moment's island, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
}

/// All that was said in an event.
pub struct Spoken {
    /// The event.
    pub event: Arc<EventRow>,
    /// Moments in order: by island and time.
    pub moments: Vec<Moment>,
    /// Every word, in the same order.
    pub words: Vec<At>,
    /// Moments that nobody has listened to yet.
    pub unwritten: usize,
    /// Where its recordings lie.
    pub places: Places,
}

/// A text, and every time it was read.
pub struct Located {
    /// The text as it is kept.
    pub script: ScriptRow,
    /// Its sentences.
    pub written: Written,
    /// What was said.
    pub spoken: Spoken,
    /// What was found.
    pub passes: Passes,
    /// How long that took, ms.
    pub took_ms: u64,
}

impl Spoken {
    /// What was said in an event, as it is now.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of(store: &Store, event: EventRow) -> Result<Self, StoreError> {
        let rows = store.moments(&event.id, None, None, u32::MAX, 0).await?;
        let ids: Vec<MomentId> = rows.iter().map(|row| row.id.clone()).collect();
        let mut own: HashMap<MomentId, Vec<WordRow>> = HashMap::new();
        for word in store.words_of(&ids).await? {
            own.entry(word.moment_id.clone()).or_default().push(word);
        }
        let places = Places::of(store, [&event.id]).await?;
        let unwritten = rows.iter().filter(|row| row.text.is_none()).count();
        let moments = rows.into_iter().map(|row| Moment {
            words: own.remove(&row.id).unwrap_or_default(),
            row,
        });
        let mut spoken = Self {
            event: Arc::new(event),
            moments: moments.collect(),
            words: Vec::new(),
            unwritten,
            places,
        };
        spoken.words = spoken.in_order();
        Ok(spoken)
    }

    fn in_order(&self) -> Vec<At> {
        let mut words = Vec::new();
        for (moment, one) in self.moments.iter().enumerate() {
            let first = one.words.first().map_or(0, |word| word.start_ms);
            for (word, row) in one.words.iter().enumerate() {
                let in_file = Stretch {
                    start_ms: row.start_ms as f64,
                    end_ms: row.end_ms as f64,
                };
                let from = one.row.words_from.as_ref();
                let on_clock = from.and_then(|from| self.places.on_own_clock(from, in_file));
                // Without a place its moment is all there is to go by.
                let moved = one.row.start_ms - first;
                let (start_ms, end_ms) = on_clock
                    .map_or((row.start_ms + moved, row.end_ms + moved), |at| {
                        (at.start_ms.round() as i64, at.end_ms.round() as i64)
                    });
                words.push(At {
                    moment,
                    word,
                    start_ms,
                    end_ms,
                });
            }
        }
        words
    }

    /// The words as the room of texts takes them.
    pub fn heard(&self) -> Vec<HeardWord<'_>> {
        let words = self.words.iter().filter_map(|at| {
            let row = self.row(at)?;
            Some(HeardWord {
                text: &row.text,
                confidence: row.confidence,
                moment: at.moment,
                start_ms: at.start_ms,
                end_ms: at.end_ms,
            })
        });
        words.collect()
    }

    fn known(&self) -> Vec<HeardIn> {
        let mut people: HashMap<&PersonId, usize> = HashMap::new();
        let moments = self.moments.iter().map(|moment| {
            let next = people.len();
            let person = moment.row.person_id.as_ref();
            HeardIn {
                island: moment.row.island,
                person: person.map(|person| *people.entry(person).or_insert(next)),
            }
        });
        moments.collect()
    }

    fn row(&self, at: &At) -> Option<&WordRow> {
        self.moments.get(at.moment)?.words.get(at.word)
    }

    /// Words as they were heard, with spaces between.
    pub fn text(&self, span: Span) -> String {
        let words = self.words.get(span.from..span.to).unwrap_or_default();
        let words: Vec<&str> = words
            .iter()
            .filter_map(|at| self.row(at))
            .map(|row| row.text.as_str())
            .collect();
        words.join(" ")
    }

    /// The island of a word; `None` where there is no such word.
    pub fn island(&self, word: usize) -> Option<i64> {
        let moment = self.words.get(word)?.moment;
        self.moments.get(moment).map(|moment| moment.row.island)
    }

    /// A stretch of words on the event clock, whole ms; nothing for what is not on it.
    pub fn on_event_clock(&self, span: Span, times: (i64, i64)) -> (Option<i64>, Option<i64>) {
        let on_clock = self.island(span.from) == Some(0);
        (on_clock.then_some(times.0), on_clock.then_some(times.1))
    }

    /// The stretch of words moment by moment, as the search answers it.
    pub fn pieces(&self, span: Span) -> Vec<(Candidate, Span)> {
        let mut pieces: Vec<(usize, Span)> = Vec::new();
        for at in self.words.get(span.from..span.to).unwrap_or_default() {
            match pieces.last_mut() {
                Some((moment, words)) if *moment == at.moment => words.to = at.word + 1,
                _ => pieces.push((
                    at.moment,
                    Span {
                        from: at.word,
                        to: at.word + 1,
                    },
                )),
            }
        }
        let piece = |(moment, span): (usize, Span)| {
            let moment = self.moments.get(moment)?;
            let candidate = Candidate {
                moment: moment.row.clone(),
                words: moment.words.clone(),
            };
            Some((candidate, span))
        };
        pieces.into_iter().filter_map(piece).collect()
    }
}

/// Every time a text was read, from the words as they are now.
///
/// # Errors
/// When the database can't be read.
pub async fn located(store: &Store, script: ScriptRow) -> Answer<Located> {
    let event = store.event(&script.event_id).await?;
    let spoken = Spoken::of(store, event).await?;
    // Five hours of speech take a tenth of a second.
    let found = tokio::task::spawn_blocking(move || {
        let begun = Instant::now();
        let written = Written::new(&script.text);
        let passes = written.passes(&spoken.heard(), &spoken.known());
        Located {
            took_ms: u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX),
            passes,
            written,
            spoken,
            script,
        }
    });
    found.await.map_err(Problem::internal)
}
