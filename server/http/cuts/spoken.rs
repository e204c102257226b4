//! What was said where quotes lie, and who heard it?

use std::collections::{HashMap, HashSet};

use super::super::places::{Stretch, is_on_event_clock};
use super::resolve::{Base, Desk};
use crate::store::{
    self, HearingRow, Lie, MomentId, MomentRow, RecordingId, Store, StoreError, WordRow,
};

/// What was said where some quotes lie.
#[derive(Default)]
pub struct Spoken {
    moments: HashMap<MomentId, MomentRow>,
    words: HashMap<MomentId, Vec<WordRow>>,
    hearings: HashMap<MomentId, Vec<HearingRow>>,
    /// The moments of each, in order of time.
    of: HashMap<usize, Vec<MomentId>>,
}

impl Spoken {
    /// Where quotes lie, each with its number.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of(
        store: &Store,
        desk: &Desk,
        bases: &[(usize, &Base)],
    ) -> Result<Self, StoreError> {
        let mut numbers = Vec::new();
        let mut stretches = Vec::new();
        for (n, base) in bases {
            let Some(lie) = &base.anchor else { continue };
            let Some(at) = desk.in_file(base, &lie.recording, base.at) else {
                continue;
            };
            let (from, to) = (lie.start_ms.min(at.start_ms), lie.end_ms.max(at.end_ms));
            numbers.push(*n);
            stretches.push((lie.recording.clone(), from, to));
        }
        let mut spoken = Self::default();
        let mut all = HashSet::new();
        for row in store.touched(&stretches).await? {
            let n = usize::try_from(row.n).ok().and_then(|n| numbers.get(n));
            let Some(n) = n else { continue };
            all.insert(row.moment_id.clone());
            spoken.of.entry(*n).or_default().push(row.moment_id);
        }
        let all: Vec<MomentId> = all.into_iter().collect();
        for row in store.moments_by_ids(&all).await? {
            spoken.moments.insert(row.id.clone(), row);
        }
        for row in store.words_of(&all).await? {
            let own = spoken.words.entry(row.moment_id.clone()).or_default();
            own.push(row);
        }
        for row in store.hearings_of(&all).await? {
            let own = spoken.hearings.entry(row.moment_id.clone()).or_default();
            own.push(row);
        }
        Ok(spoken)
    }

    /// Of these moments, each with its number.
    pub async fn each(store: &Store, moments: &[MomentRow]) -> Result<Self, StoreError> {
        let mut spoken = Self::default();
        let ids: Vec<MomentId> = moments.iter().map(|row| row.id.clone()).collect();
        for row in store.words_of(&ids).await? {
            let own = spoken.words.entry(row.moment_id.clone()).or_default();
            own.push(row);
        }
        for row in store.hearings_of(&ids).await? {
            let own = spoken.hearings.entry(row.moment_id.clone()).or_default();
            own.push(row);
        }
        let rows = moments.iter().map(|row| (row.id.clone(), row.clone()));
        spoken.moments = rows.collect();
        spoken.of = ids.into_iter().map(|id| vec![id]).enumerate().collect();
        Ok(spoken)
    }

    /// The moments of a quote.
    pub fn moments(&self, n: usize) -> impl Iterator<Item = &MomentRow> {
        let ids = self.of.get(&n).into_iter().flatten();
        ids.filter_map(|id| self.moments.get(id))
    }

    /// All of a moment as a quote, in the file its words are timed in.
    pub fn whole(&self, desk: &Desk, row: &MomentRow) -> Option<store::Quote> {
        let on_clock = |id: &&RecordingId| {
            desk.recordings.contains_key(*id)
                && desk.places.placed(id).is_some_and(is_on_event_clock)
        };
        let hearings = self.hearings.get(&row.id).into_iter().flatten();
        let of_it = hearings.map(|hearing| &hearing.recording_id);
        let anchor = row.words_from.iter().chain(of_it).find(on_clock)?;
        let mut at = Stretch {
            start_ms: row.start_ms as f64,
            end_ms: row.end_ms as f64,
        };
        // What is said may reach out of what was taken for speech.
        let from = row.words_from.as_ref().filter(on_clock);
        for word in self.words.get(&row.id).into_iter().flatten() {
            let own = Stretch {
                start_ms: word.start_ms as f64,
                end_ms: word.end_ms as f64,
            };
            let there = from.and_then(|from| desk.places.on_own_clock(from, own));
            if let Some(there) = there {
                at.start_ms = at.start_ms.min(there.start_ms);
                at.end_ms = at.end_ms.max(there.end_ms);
            }
        }
        let there = desk.places.in_file_of(anchor, 0, at)?;
        let lie = Lie {
            recording: anchor.clone(),
            start_ms: there.start_ms,
            end_ms: there.end_ms,
        };
        Some(store::Quote {
            text: row.text.clone().unwrap_or_default(),
            person: row.person_name.clone(),
            ..store::Quote::fresh(Some(row.id.clone()), vec![lie])
        })
    }

    /// What a recording has of the moments of a quote.
    pub fn hearings(&self, n: usize, recording: &RecordingId) -> Vec<&HearingRow> {
        let ids = self.of.get(&n).into_iter().flatten();
        let rows = ids.filter_map(|id| self.hearings.get(id)).flatten();
        rows.filter(|row| row.recording_id == *recording).collect()
    }

    /// The words with most of them in a stretch of a quote's clock, at their times there,
    /// with whom they are by.
    pub fn words<'a>(
        &'a self,
        desk: &Desk,
        n: usize,
        base: &Base,
        within: Stretch,
    ) -> Vec<(Stretch, &'a WordRow, &'a MomentRow)> {
        let mut found = Vec::new();
        for moment in self.moments(n) {
            let Some(from) = &moment.words_from else {
                continue;
            };
            for word in self.words.get(&moment.id).into_iter().flatten() {
                let own = Stretch {
                    start_ms: word.start_ms as f64,
                    end_ms: word.end_ms as f64,
                };
                let Some(at) = desk.on_clock(base, from, own) else {
                    break;
                };
                let middle = f64::midpoint(at.start_ms, at.end_ms);
                if middle >= within.start_ms && middle < within.end_ms {
                    found.push((at, word, moment));
                }
            }
        }
        found.sort_by(|(a, ..), (b, ..)| a.start_ms.total_cmp(&b.start_ms));
        found
    }
}

/// Words joined by spaces.
pub fn joined(words: &[(Stretch, &WordRow, &MomentRow)]) -> String {
    let words: Vec<&str> = words
        .iter()
        .map(|(_, word, _)| word.text.as_str())
        .collect();
    words.join(" ")
}
