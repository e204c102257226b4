//! Where is an instant of one recording in another, and on the event clock?

use std::collections::{BTreeSet, HashMap};

use sayback_core::clock::How;

use crate::store::{EventId, HearingRow, PlacementRow, RecordingId, Store, StoreError};

/// Where the recordings of some events lie.
#[derive(Debug, Default)]
pub struct Places(HashMap<RecordingId, PlacementRow>);

/// A stretch of a file, ms with fractions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Where it starts.
    pub start_ms: f64,
    /// Where it ends.
    pub end_ms: f64,
}

impl Stretch {
    /// How much of it lies in a file of this length, ms.
    pub fn inside(&self, duration_ms: i64) -> f64 {
        self.end_ms.min(duration_ms as f64) - self.start_ms.max(0.0)
    }

    /// Whole milliseconds of a file of this length, at least one.
    pub fn in_file(&self, duration_ms: i64) -> (i64, i64) {
        let duration_ms = duration_ms.max(1);
        let start = (self.start_ms.round() as i64).clamp(0, duration_ms - 1);
        let end = (self.end_ms.round() as i64).clamp(start + 1, duration_ms);
        (start, end)
    }
}

impl Places {
    /// The places of all recordings of these events.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of<'a>(
        store: &Store,
        events: impl IntoIterator<Item = &'a EventId>,
    ) -> Result<Self, StoreError> {
        let mut places = Vec::new();
        for event in events.into_iter().collect::<BTreeSet<_>>() {
            places.extend(store.placements(event).await?);
        }
        Ok(Self::with(places))
    }

    /// These places.
    pub fn with(rows: Vec<PlacementRow>) -> Self {
        let by_id = rows.into_iter().map(|row| (row.recording_id.clone(), row));
        Self(by_id.collect())
    }

    /// Where a recording lies, if that is known.
    pub fn placed(&self, recording: &RecordingId) -> Option<&PlacementRow> {
        self.0.get(recording)
    }

    /// Where a stretch of the file of `from` lies on the event clock; `None` for
    /// what is not on it.
    pub fn on_event_clock(&self, from: &HearingRow, at: Stretch) -> Option<Stretch> {
        let placed = self.0.get(&from.recording_id)?;
        is_on_event_clock(placed).then(|| placed.on_island(at))
    }

    /// Where a stretch of a recording's file lies on the clock of its island; `None`
    /// for what has no place.
    pub fn on_own_clock(&self, recording: &RecordingId, at: Stretch) -> Option<Stretch> {
        Some(self.0.get(recording)?.on_island(at))
    }

    /// Where a stretch of the clock of an island lies in a recording's file; `None` for
    /// one that lies on another.
    pub fn in_file_of(&self, recording: &RecordingId, island: i64, at: Stretch) -> Option<Stretch> {
        let placed = self
            .0
            .get(recording)
            .filter(|placed| placed.island == island)?;
        Some(Stretch {
            start_ms: placed.placement.file_at(at.start_ms),
            end_ms: placed.placement.file_at(at.end_ms),
        })
    }

    /// Where a stretch of the file of `from` is in the file of `to`, both copies of
    /// one moment. Without a clock for both it is the whole copy.
    pub fn across(&self, from: &HearingRow, at: Stretch, to: &HearingRow) -> Stretch {
        if from.recording_id == to.recording_id {
            return at;
        }
        let both = (self.0.get(&from.recording_id)).zip(self.0.get(&to.recording_id));
        match both.filter(|(from, to)| from.island == to.island) {
            Some((placed, other)) => {
                let on_clock = placed.on_island(at);
                let there = |ms| other.placement.file_at(ms);
                Stretch {
                    start_ms: there(on_clock.start_ms),
                    end_ms: there(on_clock.end_ms),
                }
            }
            None => Stretch {
                start_ms: to.start_ms as f64,
                end_ms: to.end_ms as f64,
            },
        }
    }

    /// How far a time may be off that is taken from one recording to another, ms:
    /// 95 %, both placements being independent. `None` where it is not known.
    pub fn doubt_ms(&self, from: &RecordingId, to: &RecordingId) -> Option<f64> {
        if from == to {
            return Some(0.0);
        }
        let of = |id| self.0.get(id)?.uncertainty_ms;
        Some(f64::hypot(of(from)?, of(to)?))
    }
}

/// Whether a recording lies on the event clock.
pub fn is_on_event_clock(placed: &PlacementRow) -> bool {
    placed.island == 0 && *placed.how != How::Unplaced
}

impl PlacementRow {
    /// A stretch of this recording on the clock of its island.
    fn on_island(&self, at: Stretch) -> Stretch {
        Stretch {
            start_ms: self.placement.event_at(at.start_ms),
            end_ms: self.placement.event_at(at.end_ms),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::made;
    use super::*;
    use crate::store::{Json, Word};
    use sayback_core::clock::Placement;

    fn hearing(recording: &str) -> HearingRow {
        made::hearing(recording, 1)
    }

    fn placed(recording: &str, island: i64, start_ms: f64, ppm: f64) -> PlacementRow {
        PlacementRow {
            recording_id: recording.into(),
            island,
            placement: Json(Placement::even(start_ms, ppm)),
            how: Word(How::Sound),
            uncertainty_ms: Some(3.0),
            agreement: None,
            residual_ms: None,
            points: 0,
            warnings: Json(serde_json::Value::Null),
        }
    }

    const AT: Stretch = Stretch {
        start_ms: 3_600_000.0,
        end_ms: 3_601_000.0,
    };

    #[test]
    fn a_time_goes_over_the_event_clock_to_the_other_file() {
        // b starts 500 ms after a and runs 100 ppm fast: 360 ms in an hour.
        let places = Places::with(vec![placed("a", 0, 0.0, 0.0), placed("b", 0, 500.0, 100.0)]);
        let there = places.across(&hearing("a"), AT, &hearing("b"));
        let expected = (3_600_000.0 - 500.0) * 1.0001;
        assert!((there.start_ms - expected).abs() < 1e-6, "{there:?}");
        assert!(
            (there.end_ms - expected - 1_000.1).abs() < 1e-6,
            "{there:?}"
        );
        // And back again.
        let back = places.across(&hearing("b"), there, &hearing("a"));
        assert!((back.start_ms - AT.start_ms).abs() < 1e-6, "{back:?}");
        let clock = places.on_event_clock(&hearing("b"), there);
        let clock = clock.expect("it is on the event clock");
        assert!((clock.start_ms - AT.start_ms).abs() < 1e-6, "{clock:?}");
        // 3 and 3 ms, independent.
        let doubt = places.doubt_ms(&"a".into(), &"b".into()).expect("known");
        assert!((doubt - 18.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn without_a_common_clock_it_is_the_whole_copy() {
        let places = Places::with(vec![placed("a", 0, 0.0, 0.0), placed("b", 1, 0.0, 0.0)]);
        let whole = Stretch {
            start_ms: 100.0,
            end_ms: 900.0,
        };
        for other in ["b", "gone"] {
            assert_eq!(places.across(&hearing("a"), AT, &hearing(other)), whole);
        }
        // In its own file nothing has to be known.
        let own = places.across(&hearing("gone"), AT, &hearing("gone"));
        assert_eq!(own, AT);
        assert_eq!(places.on_event_clock(&hearing("b"), AT), None);
        assert_eq!(places.doubt_ms(&"a".into(), &"gone".into()), None);
    }

    #[test]
    fn what_lies_outside_of_a_file_is_cut_to_it() {
        let cut = |start_ms, end_ms| Stretch { start_ms, end_ms }.in_file(1_000);
        assert_eq!(cut(10.4, 20.6), (10, 21));
        assert_eq!(cut(-50.0, 20.0), (0, 20));
        assert_eq!(cut(990.0, 2_000.0), (990, 1_000));
        assert_eq!(cut(5_000.0, 6_000.0), (999, 1_000));
        assert_eq!(cut(5.0, 5.0), (5, 6));
    }
}
