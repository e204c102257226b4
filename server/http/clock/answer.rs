//! What the store knows of a clock, as the answer and as the picture.

use std::collections::HashMap;

use sayback_core::clock::{Finding, How, Pair, Placement, Warning};

use super::super::shapes::{reference, rfc3339, source_of};
use super::super::wire::{
    Clock, ClockFix, ClockPair, ClockPiece, ClockRecording, EventRef, SameInstant,
};
use super::picture::{Bar, Picture};
use super::told::{self, Named};
use crate::store::{
    self, ClockRow, EventRow, FixRow, PairRow, PlacementRow, RecordingId, RecordingRow, SegmentRow,
    Store, StoreError,
};

/// Everything about one clock but its pairs.
pub struct Gathered {
    /// The event.
    pub event: EventRow,
    clock: ClockRow,
    recordings: Vec<RecordingRow>,
    placements: HashMap<RecordingId, PlacementRow>,
    fixes: HashMap<RecordingId, FixRow>,
}

impl Gathered {
    /// Reads it.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn of(store: &Store, event: EventRow) -> Result<Self, StoreError> {
        let clock = store.clock(&event.id).await?;
        let placements = store.placements(&event.id).await?;
        let placements: HashMap<RecordingId, PlacementRow> = placements
            .into_iter()
            .map(|row| (row.recording_id.clone(), row))
            .collect();
        let fixes = store.fixes(&event.id).await?;
        let mut recordings = store.recordings(&event.id).await?;
        let start = |row: &RecordingRow| {
            let placed = placements.get(&row.id);
            placed.map_or(f64::INFINITY, |placed| placed.placement.start_ms())
        };
        recordings.sort_by(|a, b| {
            (a.source_label.cmp(&b.source_label))
                .then_with(|| start(a).total_cmp(&start(b)))
                .then_with(|| a.name.cmp(&b.name))
                .then_with(|| a.id.cmp(&b.id))
        });
        Ok(Self {
            event,
            clock,
            recordings,
            placements,
            fixes: fixes
                .into_iter()
                .map(|row| (row.recording_id.clone(), row))
                .collect(),
        })
    }

    /// As the answer.
    pub fn clock(&self, pairs: Vec<PairRow>) -> Clock {
        let members = self.members();
        let on_clock = self.recordings.iter().filter_map(|row| self.extent(row));
        let span = on_clock.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
        Clock {
            event: EventRef {
                id: self.event.id.0.clone(),
                title: self.event.title.clone(),
            },
            state: self.clock.state.to_string(),
            job: self.clock.job.map(|job| job.to_string()),
            error: self.clock.error.clone(),
            solved_at: self.clock.solved_at_ms.map(rfc3339),
            length_ms: span.map_or(0, |(first, last)| whole(last - first)),
            recordings: self
                .recordings
                .iter()
                .map(|row| self.recording(row, &members))
                .collect(),
            pairs: pairs.into_iter().filter_map(|row| self.pair(row)).collect(),
            warnings: told::sentences(&warnings(&self.clock.warnings), &members),
        }
    }

    /// As a picture, with the speech of the whole event.
    pub fn picture(&self, segments: &[SegmentRow]) -> Picture {
        let mut speech: HashMap<&RecordingId, Vec<&SegmentRow>> = HashMap::new();
        for segment in segments {
            speech
                .entry(&segment.recording_id)
                .or_default()
                .push(segment);
        }
        let bars = self.recordings.iter().map(|row| {
            let placed = self.placements.get(&row.id);
            let own = Placement::even(0.0, 0.0);
            let placement = placed.map_or(&own, |placed| &placed.placement);
            let end = row.duration_ms as f64;
            let at = |ms: i64| placement.event_at((ms as f64).min(end));
            let spoken = speech.get(&row.id).map_or(&[][..], Vec::as_slice);
            Bar {
                file: self.name_in_picture(row),
                source: row.source_label.clone(),
                placed: row.source_placement.to_string(),
                how: placed.map_or(How::Unplaced, |placed| *placed.how),
                island: placed.map(|placed| placed.island),
                runs: runs(placement, end),
                speech: spoken
                    .iter()
                    .map(|segment| (at(segment.start_ms), at(segment.end_ms)))
                    .collect(),
                uncertainty_ms: placed.and_then(|placed| placed.uncertainty_ms),
            }
        });
        Picture {
            title: self.event.title.clone(),
            bars: bars.collect(),
        }
    }

    fn name_in_picture(&self, row: &RecordingRow) -> String {
        let same_file = |other: &&RecordingRow| other.file_hash == row.file_hash;
        match self.recordings.iter().filter(same_file).count() {
            1 => row.name.clone(),
            _ => format!("{}, channel {}", row.name, row.pick),
        }
    }

    /// The recordings that warnings name by number.
    fn members(&self) -> Vec<Option<Named>> {
        let named = |id: &RecordingId| {
            let row = self.recordings.iter().find(|row| row.id == *id)?;
            Some(Named {
                name: format!("'{}' ({})", row.name, row.source_label),
                rate_hz: row.rate_hz,
            })
        };
        self.clock.members.iter().map(named).collect()
    }

    fn recording(&self, row: &RecordingRow, members: &[Option<Named>]) -> ClockRecording {
        let placed = self.placements.get(&row.id);
        let of =
            |measure: fn(&PlacementRow) -> Option<f64>| placed.and_then(measure).map(thousandths);
        let extent = self.extent(row);
        let somewhere = placed.filter(|placed| *placed.how != How::Unplaced);
        ClockRecording {
            recording: reference(row),
            source: source_of(row),
            start_ms: extent.map(|(start, _)| whole(start)),
            end_ms: extent.map(|(_, end)| whole(end)),
            start_exact_ms: extent.map(|(start, _)| thousandths(start)),
            rate_ppm: somewhere.map(|placed| thousandths(placed.placement.ppm())),
            how: how(placed.map_or(How::Unplaced, |placed| *placed.how)).into(),
            uncertainty_ms: of(|placed| placed.uncertainty_ms),
            agreement: of(|placed| placed.agreement),
            residual_ms: of(|placed| placed.residual_ms),
            points: placed.map_or(0, |placed| placed.points),
            island: placed.map(|placed| placed.island),
            pieces: somewhere.map_or_else(Vec::new, |placed| {
                placed.placement.pieces().iter().map(piece).collect()
            }),
            fix: self.fixes.get(&row.id).map(|fix| said(&fix.fix)),
            warnings: placed.map_or_else(Vec::new, |placed| {
                told::sentences(&warnings(&placed.warnings), members)
            }),
        }
    }

    /// Where a recording starts and ends on the event clock, ms.
    fn extent(&self, row: &RecordingRow) -> Option<(f64, f64)> {
        let placed = self.placements.get(&row.id)?;
        let on_clock = placed.island == 0 && *placed.how != How::Unplaced;
        let placement = &placed.placement;
        on_clock.then(|| {
            (
                placement.start_ms(),
                placement.event_at(row.duration_ms as f64),
            )
        })
    }

    fn pair(&self, row: PairRow) -> Option<ClockPair> {
        let of = |id: &RecordingId| {
            let found = self.recordings.iter().find(|row| row.id == *id);
            found.map(reference)
        };
        // What another version measured is measured again.
        let pair: Pair = serde_json::from_value(row.body.0).ok()?;
        let main = pair.main().filter(|_| pair.finding == Finding::Shared);
        let fine = main.and_then(|main| main.fine);
        Some(ClockPair {
            a: of(&row.a_id)?,
            b: of(&row.b_id)?,
            finding: match pair.finding {
                Finding::Nothing => "nothing",
                Finding::Shared => "shared",
                Finding::Tie => "tie",
            }
            .into(),
            offset_ms: main.map(|main| thousandths(main.line.map_back(0.0))),
            rate_ppm: main.map(|main| thousandths(main.line.ppm)),
            residual_ms: fine.map(|fine| thousandths(fine.residual_ms)),
            uncertainty_ms: fine.map(|fine| thousandths(fine.uncertainty_ms)),
            agreement: fine.map(|fine| thousandths(fine.agreement)),
            points: fine.map_or(0, |fine| fine.points),
            overlap_ms: whole(pair.overlap_ms()),
            used: pair.used,
        })
    }
}

/// The words of `How` on the wire.
fn how(how: How) -> &'static str {
    match how {
        How::Sound => "sound",
        How::Joined => "joined",
        How::Stamp => "stamp",
        How::ByHand => "by hand",
        How::Unplaced => "unplaced",
    }
}

fn piece(piece: &sayback_core::clock::Piece) -> ClockPiece {
    ClockPiece {
        from_ms: thousandths(piece.from_ms),
        start_ms: thousandths(piece.event_ms),
        rate_ppm: thousandths(piece.ppm),
    }
}

fn said(fix: &store::ClockFix) -> ClockFix {
    match fix {
        store::ClockFix::Start { event_ms } => ClockFix {
            start_ms: Some(*event_ms),
            file_ms: None,
            same_as: None,
        },
        store::ClockFix::Same {
            file_ms,
            other,
            other_ms,
        } => ClockFix {
            start_ms: None,
            file_ms: Some(*file_ms),
            same_as: Some(SameInstant {
                recording: other.0.clone(),
                file_ms: *other_ms,
            }),
        },
    }
}

/// The stretches of its clock in which a recording ran, ms.
fn runs(placement: &Placement, end_ms: f64) -> Vec<(f64, f64)> {
    let pieces = placement.pieces();
    let mut runs = Vec::with_capacity(pieces.len());
    for (n, piece) in pieces.iter().enumerate() {
        let stops = pieces.get(n + 1).map_or(end_ms, |next| next.from_ms);
        let from = if n == 0 { 0.0 } else { piece.from_ms };
        // The end by this piece's own rate: the next begins after a gap.
        let first = placement.event_at(from);
        runs.push((first, first + (stops - from) / (1.0 + piece.ppm / 1e6)));
    }
    runs
}

/// Warnings of this version; what another has written is passed over.
fn warnings(kept: &serde_json::Value) -> Vec<Warning> {
    let each = kept.as_array().map_or(&[][..], Vec::as_slice);
    each.iter()
        .filter_map(|warning| serde_json::from_value(warning.clone()).ok())
        .collect()
}

fn whole(ms: f64) -> i64 {
    ms.round() as i64
}

/// A value with three decimals; never -0.
fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use sayback_core::clock::Piece;

    #[test]
    fn a_recording_runs_in_as_many_stretches_as_its_clock_has() {
        let piece = |from_ms, event_ms, ppm| Piece {
            from_ms,
            event_ms,
            ppm,
        };
        let even = Placement::even(500.0, 0.0);
        assert_eq!(runs(&even, 2_000.0), [(500.0, 2_500.0)]);
        let stopped =
            Placement::of_pieces(vec![piece(0.0, 0.0, 0.0), piece(1_000.0, 5_000.0, 0.0)]);
        let stopped = stopped.expect("in order");
        assert_eq!(
            runs(&stopped, 3_000.0),
            [(0.0, 1_000.0), (5_000.0, 7_000.0)]
        );
        // A clock 10 % fast counts 1.1 s a second.
        let fast = runs(&Placement::even(0.0, 100_000.0), 1_100.0);
        assert!((fast[0].1 - 1_000.0).abs() < 1e-9, "{fast:?}");
    }
}
