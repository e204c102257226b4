//! align: where does each recording lie on the clock of its event?

use std::collections::{BTreeMap, HashMap};

use sayback_core::clock::{
    Before, ClockParams, Finding, Fix, Member, PAIR_VERSION, Solution, Track, align,
};
use sayback_core::units::FileMs;
use serde_json::json;

use super::earlier::{self, Pairs};
use super::sound::FileSound;
use super::stamp_times::stamp_times;
use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::media::ShownPath;
use crate::store::{ClockFix, EventId, NewPair, NewPlacement, RecordingId, RecordingRow, Solved};

impl Step<'_> {
    /// Places the recordings of an event.
    pub(super) fn align(&self) -> Result<(), StepError> {
        self.read(self.inner.refresh_takes())?;
        let event = EventId::from(self.claim.subject.as_str());
        let gathered = self.gather(&event)?;
        let lease = self.claim.lease();
        if !gathered.stale.is_empty() {
            return self.write(|| {
                self.store()
                    .detect_again(&lease, &event, &gathered.stale, now_ms())
            });
        }
        let mut sound = FileSound::new(&gathered.recordings);
        let solution = align(
            &gathered.members(),
            &gathered.known,
            &mut sound,
            &ClockParams::default(),
            self.cancel,
            &mut |done| self.progress(done),
        )
        .ok_or(StepError::Cancelled)?;
        for (n, error) in &sound.unreadable {
            let shown = ShownPath::new(&gathered.recordings[*n].path);
            tracing::warn!(file = %shown, %error, "could not be listened to for the clock");
        }
        let solved = gathered.solved(event, solution, &sound.unreadable);
        self.check()?;
        self.write(|| self.store().finish_align(&lease, &solved, now_ms()))
    }

    /// The recordings that can be placed, and what is known of each. One that could
    /// not be looked through has no band levels and is left out.
    fn gather(&self, event: &EventId) -> Result<Gathered, StepError> {
        let mut gathered = Gathered {
            anew: self.read(self.store().is_anew(event))?,
            ..Gathered::default()
        };
        for recording in self.read(self.store().recordings(event))? {
            self.check()?;
            let Some(body) = self.read(self.store().track(&recording.id))? else {
                continue;
            };
            match Track::from_bytes(&body) {
                Ok(track) => {
                    gathered.tracks.push(track);
                    gathered.recordings.push(recording);
                }
                Err(_) => gathered.stale.push(recording.id),
            }
        }
        let places = gathered.places();
        gathered.speech = vec![Vec::new(); places.len()];
        for row in self.read(self.store().segments_of_event(event))? {
            if let Some(n) = places.get(&row.recording_id) {
                gathered.speech[*n].push((FileMs(row.start_ms), FileMs(row.end_ms)));
            }
        }
        for row in self.read(self.store().fixes(event))? {
            let fix = match &row.fix {
                ClockFix::Start { event_ms } => Some(Fix::Start {
                    event_ms: *event_ms,
                }),
                ClockFix::Same {
                    file_ms,
                    other,
                    other_ms,
                } => places.get(other).map(|other| Fix::Same {
                    file_ms: *file_ms,
                    other: *other,
                    other_file_ms: *other_ms,
                }),
            };
            if let (Some(n), Some(fix)) = (places.get(&row.recording_id), fix) {
                gathered.fixes.insert(*n, fix);
            }
        }
        if !gathered.anew {
            let pairs = self.read(self.store().pairs(event))?;
            let lay = self.read(self.store().placements(event))?;
            let files = gathered.recordings.iter();
            let files = files.map(|r| (&r.id, r.file_hash.as_str())).collect();
            let before = earlier::places(&lay, &pairs, &files).into_iter();
            gathered.before = before
                .filter_map(|(id, before)| Some((*places.get(&id)?, before)))
                .collect();
            gathered.known = earlier::pairs(&pairs, &places);
        }
        Ok(gathered)
    }
}

/// What is known of the recordings of an event; lists are by place.
#[derive(Default)]
struct Gathered {
    recordings: Vec<RecordingRow>,
    tracks: Vec<Track>,
    speech: Vec<Vec<(FileMs, FileMs)>>,
    fixes: BTreeMap<usize, Fix>,
    before: BTreeMap<usize, Before>,
    /// Pairs that were measured before.
    known: Pairs,
    anew: bool,
    /// Whose band levels another version of the program made.
    stale: Vec<RecordingId>,
}

impl Gathered {
    fn places(&self) -> HashMap<RecordingId, usize> {
        let ids = self.recordings.iter().map(|r| r.id.clone());
        ids.zip(0..).collect()
    }

    fn members(&self) -> Vec<Member<'_>> {
        let (mut sources, mut files, mut takes) = (HashMap::new(), HashMap::new(), HashMap::new());
        let all = self.recordings.iter().zip(&self.tracks).enumerate();
        all.map(|(n, (row, track))| {
            let take = row.take_id.as_ref().zip(row.take_order);
            Member {
                track,
                duration_ms: row.frames as f64 * 1000.0 / f64::from(row.rate_hz.max(1)),
                source: number(&mut sources, &row.source_id),
                file: number(&mut files, &row.file_hash),
                take: take.map(|(take, order)| {
                    let order = u32::try_from(order).unwrap_or(0);
                    (number(&mut takes, take), order)
                }),
                stamps: stamp_times(row),
                fix: self.fixes.get(&n).copied(),
                before: self.before.get(&n).cloned(),
                speech: &self.speech[n],
            }
        })
        .collect()
    }

    /// The solution as it is stored. What could not be listened to is not known to
    /// share nothing.
    fn solved(
        &self,
        event: EventId,
        solution: Solution,
        unreadable: &BTreeMap<usize, String>,
    ) -> Solved {
        let deaf = |n: &usize| unreadable.contains_key(n);
        let pairs = solution
            .pairs
            .iter()
            .filter(|((a, b), pair)| pair.finding == Finding::Nothing || !deaf(a) && !deaf(b))
            .map(|((a, b), pair)| NewPair {
                a: self.recordings[*a].id.clone(),
                b: self.recordings[*b].id.clone(),
                version: i64::from(PAIR_VERSION),
                body: json!(pair),
            });
        let placed = solution.placed.iter().zip(&self.recordings);
        Solved {
            anew: self.anew,
            members: self.recordings.iter().map(|r| r.id.clone()).collect(),
            placements: placed
                .map(|(placed, row)| NewPlacement {
                    recording: row.id.clone(),
                    island: i64::from(placed.island),
                    pieces: json!(placed.placement),
                    how: json!(placed.how).as_str().unwrap_or("unplaced").to_owned(),
                    uncertainty_ms: placed.uncertainty_ms.filter(|ms| ms.is_finite()),
                    agreement: placed.agreement,
                    residual_ms: placed.residual_ms,
                    points: i64::from(placed.points),
                    warnings: json!(placed.warnings),
                })
                .collect(),
            pairs: pairs.collect(),
            warnings: json!(solution.warnings),
            event,
        }
    }
}

/// The number of a key: the next one for a key that was not seen.
fn number<K: Clone + Eq + std::hash::Hash>(seen: &mut HashMap<K, usize>, key: &K) -> usize {
    let next = seen.len();
    *seen.entry(key.clone()).or_insert(next)
}
