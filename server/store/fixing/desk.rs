//! Where is a moment that a person changes, in everybody's file and on the clock?

use std::collections::{BTreeMap, HashMap};

use sayback_core::clock::Placement;
use sqlx::{FromRow, Sqlite, Transaction};

use super::super::statement::statements;
use super::super::{EventId, HearingRow, MomentId, RecordingId, Store, StoreError};
use super::{Found, State, unfit};

#[derive(FromRow)]
struct Length {
    id: RecordingId,
    duration_ms: i64,
}

/// What changes of one event are worked out with.
pub(super) struct Desk {
    pub event: EventId,
    placements: HashMap<RecordingId, (i64, Placement)>,
    durations: HashMap<RecordingId, i64>,
    /// Who has heard the moments that are changed, each recording once.
    pub hearings: BTreeMap<RecordingId, HearingRow>,
    /// Where a moment lay before, for recordings without a place: island, start on it,
    /// and start in the file of the recording.
    lay: HashMap<RecordingId, (i64, i64, i64)>,
    /// The moments as they were found.
    found: HashMap<MomentId, AsFound>,
}

/// Where a moment was found: a new text moves nothing, so that a line that goes on in
/// the next file of a take keeps its other half.
struct AsFound {
    /// Its recording, start and end as a [`State`] has them.
    place: (RecordingId, i64, i64),
    on_clock: (i64, i64, i64),
    hearings: Vec<HearingRow>,
}

statements! {
    DURATIONS = "SELECT r.id, f.duration_ms FROM recording r JOIN file f ON f.hash = r.file_hash
        WHERE r.event_id = ?1";
}

impl Desk {
    /// Of this event, with nothing gathered yet.
    pub async fn of(
        store: &Store,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<Self, StoreError> {
        // Nobody else can write meanwhile, so readers see what this transaction does.
        let placements = store.placements(event).await?.into_iter();
        let lengths: Vec<Length> = sqlx::query_as(store.sql(DURATIONS))
            .bind(event)
            .fetch_all(&mut **transaction)
            .await?;
        Ok(Self {
            event: event.clone(),
            placements: placements
                .map(|row| (row.recording_id, (row.island, row.placement.0)))
                .collect(),
            durations: lengths
                .into_iter()
                .map(|length| (length.id, length.duration_ms))
                .collect(),
            hearings: BTreeMap::new(),
            lay: HashMap::new(),
            found: HashMap::new(),
        })
    }

    /// Forgets the moments that were gathered.
    pub fn clear(&mut self) {
        self.hearings.clear();
        self.lay.clear();
        self.found.clear();
    }

    /// An instant of the clock that a recording lies on, in its file, ms; `None` where
    /// it has no place.
    pub fn in_file(&self, recording: &RecordingId, at_ms: i64) -> Option<i64> {
        let (_, placement) = self.placements.get(recording)?;
        Some(placement.file_at(at_ms as f64).round() as i64)
    }

    /// Takes in who has heard a moment: of two hearings of a recording, the better.
    pub fn gather(&mut self, found: &Found) {
        let (row, state) = (&found.row, &found.state);
        self.found.insert(
            row.id.clone(),
            AsFound {
                place: (state.timed_in.clone(), state.start_ms, state.end_ms),
                on_clock: (row.island, row.start_ms, row.end_ms),
                hearings: found.hearings.clone(),
            },
        );
        for hearing in &found.hearings {
            let id = &hearing.recording_id;
            let place = (found.row.island, found.row.start_ms, hearing.start_ms);
            self.lay.entry(id.clone()).or_insert(place);
            let there = self.hearings.entry(id.clone()).or_insert(hearing.clone());
            let wanted = there.wanted.max(hearing.wanted);
            if (hearing.heard, hearing.score) > (there.heard, there.score) {
                *there = hearing.clone();
            }
            there.wanted = wanted;
        }
    }

    /// Length of a recording's file, ms; 0 of one that is gone.
    pub fn duration_ms(&self, recording: &RecordingId) -> i64 {
        self.durations.get(recording).copied().unwrap_or(0)
    }

    /// A state in the time of another recording; `None` where the two share no clock.
    pub fn moved(&self, state: &State, timed_in: &RecordingId) -> Option<State> {
        if state.timed_in == *timed_in {
            return Some(state.clone());
        }
        let (from, to) = self.both(&state.timed_in, timed_in)?;
        Some(state.moved(from, to, timed_in))
    }

    fn both(&self, from: &RecordingId, to: &RecordingId) -> Option<(&Placement, &Placement)> {
        let (from, to) = self.placements.get(from).zip(self.placements.get(to))?;
        (from.0 == to.0).then_some((&from.1, &to.1))
    }

    /// The moment as it was found, if a state leaves it there.
    fn unmoved(&self, state: &State) -> Option<&AsFound> {
        let found = self.found.get(&state.moment)?;
        let (timed_in, start_ms, end_ms) = &found.place;
        let place = (&state.timed_in, &state.start_ms, &state.end_ms);
        (place == (timed_in, start_ms, end_ms)).then_some(found)
    }

    /// Whose clock a state lies on, and where.
    pub fn on_clock(&self, state: &State) -> (i64, i64, i64) {
        if let Some(found) = self.unmoved(state) {
            return found.on_clock;
        }
        if let Some((island, placement)) = self.placements.get(&state.timed_in) {
            let at = |ms: i64| placement.event_at(ms as f64).round() as i64;
            let start_ms = at(state.start_ms);
            return (*island, start_ms, at(state.end_ms).max(start_ms + 1));
        }
        let lay = self.lay.get(&state.timed_in).copied().unwrap_or_default();
        let later = lay.1 - lay.2;
        (lay.0, state.start_ms + later, state.end_ms + later)
    }

    /// Where a recording has the stretch of a state, if it has any of it.
    fn stretch(&self, state: &State, recording: &RecordingId) -> Option<(i64, i64)> {
        if *recording == state.timed_in {
            return Some((state.start_ms, state.end_ms));
        }
        let (start_ms, end_ms) = match self.both(&state.timed_in, recording) {
            Some((from, to)) => {
                let there = |ms: i64| to.file_at(from.event_at(ms as f64)).round() as i64;
                (there(state.start_ms), there(state.end_ms))
            }
            None => {
                let (from, to) = (self.lay.get(&state.timed_in)?, self.lay.get(recording)?);
                let later = to.2 - to.1 + from.1 - from.2;
                (state.start_ms + later, state.end_ms + later)
            }
        };
        let most = self.duration_ms(recording);
        let (start_ms, end_ms) = (start_ms.clamp(0, most), end_ms.clamp(0, most));
        (start_ms < end_ms).then_some((start_ms, end_ms))
    }

    /// The hearings of a state in rank order, with where each is. What is measured of
    /// them stays until the moments of the event are found again.
    pub fn heard(&self, state: &State) -> Result<Vec<(&HearingRow, i64, i64)>, StoreError> {
        if !self.hearings.contains_key(&state.timed_in) {
            return Err(unfit(
                "to",
                "its words are timed in a recording that does not have the moment any more; its \
                 text is in the history",
            ));
        }
        if let Some(found) = self.unmoved(state) {
            let hearings = found.hearings.iter();
            return Ok(hearings.map(|h| (h, h.start_ms, h.end_ms)).collect());
        }
        let mut heard: Vec<(&HearingRow, i64, i64)> = self
            .hearings
            .iter()
            .filter_map(|(recording, hearing)| {
                let (start_ms, end_ms) = self.stretch(state, recording)?;
                Some((hearing, start_ms, end_ms))
            })
            .collect();
        heard.sort_by(|(a, ..), (b, ..)| {
            (b.heard.cmp(&a.heard))
                .then(a.rank.cmp(&b.rank))
                .then(b.score.total_cmp(&a.score))
        });
        Ok(heard)
    }
}
