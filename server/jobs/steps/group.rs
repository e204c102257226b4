//! group: who heard the same speech?

use std::collections::HashMap;

use sayback_core::clock::{Placement, Track};
use sayback_core::moments::{
    Hearer, Kept, Measured, Moment, MomentParams, PlacedAs, Tracks, group,
};
use sayback_core::quality::{self, Heard};
use sayback_core::signal::SpeechSegment;
use sayback_core::units::FileMs;

use super::words::Fuser;
use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::store::{
    EventId, Grouped, MomentId, MomentRow, NewHearing, NewMoment, RecordingId, RecordingRow,
};

impl Step<'_> {
    /// Finds each stretch of speech once, with everybody who heard it.
    pub(super) fn group(&self) -> Result<(), StepError> {
        let event = EventId::from(self.claim.subject.as_str());
        let listeners = self.listeners(&event)?;
        let tracks: Vec<&Track> = listeners.iter().map(|one| &one.track).collect();
        let hearers: Vec<Hearer> = listeners.iter().map(Listener::hearer).collect();
        let (ids, kept) = self.kept(&event, &listeners)?;
        self.check()?;
        let heard: Vec<Option<Heard>> = listeners.iter().map(Listener::heard).collect();
        self.check()?;
        let sound = Measured {
            tracks: Tracks(&tracks),
            heard: &heard,
        };
        let found = group(&hearers, &kept, &MomentParams::default(), &sound);
        let moments: Vec<NewMoment> = found
            .into_iter()
            .map(|moment| new_moment(moment, &ids, &kept, &listeners))
            .collect();
        self.check()?;
        let placements = self.read(self.store().placements(&event))?;
        let names = self.read(self.store().glossary(&event))?;
        let fuser = Fuser::new(&placements, names.clone());
        let lease = self.claim.lease();
        let grouped = Grouped {
            event: &event,
            moments: &moments,
            fuse: &|_, attempts| fuser.words(attempts),
            names: &names,
        };
        self.write(|| self.store().finish_group(&lease, &grouped, now_ms()))
    }

    /// The recordings that lie on a clock, with their speech.
    fn listeners(&self, event: &EventId) -> Result<Vec<Listener>, StepError> {
        let mut placements: HashMap<_, _> = self
            .read(self.store().placements(event))?
            .into_iter()
            .map(|row| (row.recording_id.clone(), row))
            .collect();
        let mut speech: HashMap<RecordingId, Vec<SpeechSegment>> = HashMap::new();
        for row in self.read(self.store().segments_of_event(event))? {
            speech
                .entry(row.recording_id)
                .or_default()
                .push(SpeechSegment {
                    start: FileMs(row.start_ms),
                    end: FileMs(row.end_ms),
                    level_dbfs: row.level_dbfs,
                    snr_db: row.snr_db,
                    clipped: row.clipped,
                    reverb: row.reverb,
                });
        }
        let mut sources = HashMap::new();
        let mut listeners = Vec::new();
        for row in self.read(self.store().recordings(event))? {
            let Some(placed) = placements.remove(&row.id) else {
                continue;
            };
            let Some(body) = self.read(self.store().track(&row.id))? else {
                continue;
            };
            let Ok(track) = Track::from_bytes(&body) else {
                continue;
            };
            let next = sources.len();
            let source = *sources.entry(row.source_id.clone()).or_insert(next);
            let quality = self.read(self.store().quality(&row.id))?;
            listeners.push(Listener {
                quality: quality.as_deref().and_then(quality::Track::from_bytes),
                segments: speech.remove(&row.id).unwrap_or_default(),
                placement: placed.placement.0.clone(),
                island: u32::try_from(placed.island).unwrap_or(u32::MAX),
                track,
                source,
                row,
            });
        }
        Ok(listeners)
    }

    /// The moments that have words, and where the sound of those words is.
    fn kept(
        &self,
        event: &EventId,
        listeners: &[Listener],
    ) -> Result<(Vec<MomentId>, Vec<Kept>), StepError> {
        let places: HashMap<&RecordingId, usize> =
            listeners.iter().map(|one| &one.row.id).zip(0..).collect();
        let hearings = self.read(self.store().hearings_of_event(event))?;
        let mut ids: Vec<MomentId> = hearings.iter().map(|h| h.moment_id.clone()).collect();
        ids.dedup();
        let rows: HashMap<MomentId, MomentRow> = self
            .read(self.store().moments_by_ids(&ids))?
            .into_iter()
            .map(|row| (row.id.clone(), row))
            .collect();
        let mut named = Vec::new();
        let mut kept = Vec::new();
        for hearing in &hearings {
            let Some(row) = rows
                .get(&hearing.moment_id)
                .filter(|row| row.words_from.as_ref() == Some(&hearing.recording_id))
            else {
                continue;
            };
            let Some(from) = places.get(&hearing.recording_id) else {
                continue;
            };
            kept.push(Kept {
                key: named.len(),
                from: *from,
                from_start: FileMs(hearing.start_ms),
                from_end: FileMs(hearing.end_ms),
                covers: (
                    FileMs(row.covers_from_ms.unwrap_or(hearing.start_ms)),
                    FileMs(row.covers_to_ms.unwrap_or(hearing.end_ms)),
                ),
                by_hand: row.by_hand,
            });
            named.push(hearing.moment_id.clone());
        }
        Ok((named, kept))
    }
}

/// A recording with what grouping asks of it.
struct Listener {
    row: RecordingRow,
    placement: Placement,
    island: u32,
    source: usize,
    track: Track,
    /// What was measured at its own rate; `None` where an earlier version listened
    /// through it.
    quality: Option<quality::Track>,
    segments: Vec<SpeechSegment>,
}

impl Listener {
    fn heard(&self) -> Option<Heard<'_>> {
        let speech: Vec<_> = self.segments.iter().map(|s| (s.start, s.end)).collect();
        self.quality
            .as_ref()
            .map(|track| Heard::new(track, &speech))
    }

    fn hearer(&self) -> Hearer<'_> {
        Hearer {
            placement: &self.placement,
            island: self.island,
            source: self.source,
            // The words are the same; an unknown one would be a camera's.
            placed_as: self
                .row
                .source_placement
                .as_str()
                .parse()
                .unwrap_or(PlacedAs::Camera),
            duration_ms: self.row.duration_ms,
            segments: &self.segments,
        }
    }
}

fn new_moment(
    moment: Moment,
    ids: &[MomentId],
    kept: &[Kept],
    listeners: &[Listener],
) -> NewMoment {
    // Whole milliseconds of two clocks are not the same: what words are timed in stays
    // exactly where it was.
    let own = moment.kept.first().map(|key| kept[*key]);
    let hearings = moment.hearings.into_iter().map(|mut hearing| {
        if let Some(own) = own.filter(|own| own.from == hearing.hearer) {
            (hearing.start, hearing.end) = (own.from_start, own.from_end);
        }
        hearing
    });
    NewMoment {
        kept: moment.kept.iter().map(|key| ids[*key].clone()).collect(),
        island: i64::from(moment.island),
        start_ms: moment.start.0,
        end_ms: moment.end.0,
        hearings: hearings
            .map(|hearing| NewHearing {
                recording: listeners[hearing.hearer].row.id.clone(),
                start_ms: hearing.start.0,
                end_ms: hearing.end.0,
                heard: hearing.heard,
                level_dbfs: hearing.level_dbfs,
                snr_db: hearing.snr_db,
                clipped: hearing.clipped,
                reverb: hearing.reverb,
                score: hearing.score,
                verdict: hearing.verdict,
                why: hearing.why,
            })
            .collect(),
    }
}
