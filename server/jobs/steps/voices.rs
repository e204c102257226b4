//! voices: who speaks?

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sayback_core::clock::{Placement, Samples, Track};
use sayback_core::units::{EventMs, FileMs};
use sayback_core::voices::{
    Ear, Evidence, Found, Known, Listened, Speaker, Stretch, Told, Turn, Voice, VoiceParams, Worn,
    turns,
};

use super::sound::FileSound;
use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::store::{
    EventId, ListenedRow, PersonId, PersonRow, PlacementRow, RecordingId, RecordingRow, SourceId,
    SpeakerRef, Speaks, SpeechRow, Spoken,
};

/// Stretches listened to between two commits.
const BATCH: usize = 64;
/// Read at once, ms: a moment that people joined may be longer.
const READ_MS: i64 = 30_000;
/// Who speaks is not told below this certainty.
const LEAST_CERTAIN: f32 = 0.5;
/// Somebody else speaks too where they do for so long, ms, or for that share.
const ALSO_MS: i64 = 500;
const ALSO_SHARE: f64 = 0.25;

/// Where a stretch of a file lies: recording, start and end, ms.
type Span = (RecordingId, i64, i64);

impl Step<'_> {
    /// Finds who speaks in each moment of an event.
    pub(super) fn voices(&self) -> Result<(), StepError> {
        let event = EventId::from(self.claim.subject.as_str());
        self.write(|| self.store().name_wearers(&event))?;
        let seen = self.read(self.store().speech_seen(&event))?;
        let cast = self.cast(&event)?;
        let rows = self.read(self.store().speech_of_event(&event))?;
        let speech: Vec<&[SpeechRow]> = rows.chunk_by(|a, b| a.moment_id == b.moment_id).collect();
        let recordings = self.read(self.store().recordings(&event))?;
        let places: HashMap<&RecordingId, usize> =
            recordings.iter().map(|row| &row.id).zip(0..).collect();
        let placements = self.read(self.store().placements(&event))?;
        let listened = self.listen(&event, &speech, &recordings, &places)?;
        let tracks = self.worn_tracks(&recordings, &placements, &cast)?;
        let worn: Vec<Worn> = tracks
            .iter()
            .map(|mic| Worn {
                recording: mic.recording,
                placement: mic.placement,
                island: mic.island,
                track: &mic.track,
                gain: mic.gain,
                wearers: &mic.wearers,
            })
            .collect();
        let heard_by: Vec<Vec<usize>> = speech
            .iter()
            .map(|heard| {
                let all = heard.iter().map(|row| &row.recording_id);
                all.filter_map(|id| places.get(id).copied()).collect()
            })
            .collect();
        let stretches: Vec<Stretch> = speech
            .iter()
            .zip(&heard_by)
            .zip(&listened)
            .filter_map(|((heard, heard_by), listened)| {
                let moment = heard.first()?;
                Some(Stretch {
                    island: u32::try_from(moment.island).unwrap_or(u32::MAX),
                    start: EventMs(moment.start_ms),
                    end: EventMs(moment.end_ms),
                    heard_by,
                    listened,
                })
            })
            .collect();
        let mut known = self.known(&event, &cast)?;
        known.extend(cast.remembered(&known, &speech, &listened));
        let told = self.told(&event, &cast, &placements)?;
        let evidence = Evidence {
            stretches: &stretches,
            worn: &worn,
            known: &known,
            told: &told,
        };
        self.check()?;
        let found = turns(&evidence, &VoiceParams::default(), self.cancel);
        self.check()?;
        let spoken = cast.spoken(&speech, found, seen);
        let lease = self.claim.lease();
        self.write(|| {
            self.store()
                .finish_voices(&lease, &event, &spoken, now_ms())
        })
    }

    /// Who may speak, and who wears what.
    fn cast(&self, event: &EventId) -> Result<Cast, StepError> {
        let people = self.read(self.store().people(event))?;
        let mut wearers: BTreeMap<SourceId, Vec<(EventMs, usize)>> = BTreeMap::new();
        for row in self.read(self.store().wearers(event))? {
            let Some(person) = people.iter().position(|one| one.id == row.person_id) else {
                continue;
            };
            let from = EventMs(row.from_ms.unwrap_or(i64::MIN));
            wearers
                .entry(row.source_id)
                .or_default()
                .push((from, person));
        }
        Ok(Cast { people, wearers })
    }

    /// What the best hearing of each moment sounds like; the next where a file can't be
    /// read. What was listened to before is remembered.
    fn listen(
        &self,
        event: &EventId,
        speech: &[&[SpeechRow]],
        recordings: &[RecordingRow],
        places: &HashMap<&RecordingId, usize>,
    ) -> Result<Vec<Listened>, StepError> {
        let encoder = self.inner.config.model.encoder();
        let mut remembered: HashMap<Span, Listened> = HashMap::new();
        for row in self.read(self.store().listened(event))? {
            if let Ok(listened) = Listened::from_bytes(&row.body)
                && (encoder.is_none() || !listened.glances.is_empty())
            {
                remembered.insert((row.recording_id, row.start_ms, row.end_ms), listened);
            }
        }
        let mut all = vec![Listened::default(); speech.len()];
        // Files are read from their start to their end, one after the other.
        let mut open: Vec<(usize, &SpeechRow)> = Vec::new();
        for (n, heard) in speech.iter().enumerate() {
            let there = heard.iter().find_map(|row| remembered.remove(&span(row)));
            match (there, heard.first()) {
                (Some(listened), _) => all[n] = listened,
                (None, Some(best)) => open.push((n, best)),
                (None, None) => {}
            }
        }
        open.sort_by_key(|(_, row)| (places.get(&row.recording_id), row.file_start_ms));
        let mut sound = FileSound::new(recordings);
        let total = open.len().max(1);
        let mut done = 0;
        for batch in open.chunks(BATCH) {
            let mut ear = encoder.as_deref().map(Ear::new);
            // Without a voice model only levels are read.
            let mut plain = Vec::new();
            let mut spans: Vec<(usize, Span)> = Vec::new();
            for (n, _) in batch {
                self.check()?;
                let heard = speech.get(*n).copied().unwrap_or_default();
                let copy = heard.iter().find_map(|row| {
                    let samples = samples(&mut sound, *places.get(&row.recording_id)?, row);
                    (!samples.is_empty()).then(|| (span(row), samples))
                });
                if let Some((span, samples)) = copy {
                    spans.push((*n, span));
                    match &mut ear {
                        Some(ear) => ear.hear(&samples),
                        None => plain.push(Listened::without_voices(&samples)),
                    }
                }
                done += 1;
                self.progress(done as f32 / total as f32);
            }
            let heard = ear.map_or(plain, Ear::finish);
            let rows: Vec<ListenedRow> = spans
                .into_iter()
                .zip(heard)
                .map(|((n, (recording_id, start_ms, end_ms)), listened)| {
                    let body = listened.to_bytes();
                    all[n] = listened;
                    ListenedRow {
                        recording_id,
                        start_ms,
                        end_ms,
                        body,
                    }
                })
                .collect();
            self.write(|| self.store().keep_listened(&rows))?;
        }
        Ok(all)
    }

    /// The worn recordings that have a place and a wearer.
    fn worn_tracks<'a>(
        &self,
        recordings: &[RecordingRow],
        placements: &'a [PlacementRow],
        cast: &Cast,
    ) -> Result<Vec<WornTrack<'a>>, StepError> {
        let mut gains: BTreeMap<(&SourceId, &str), usize> = BTreeMap::new();
        let mut tracks = Vec::new();
        for (recording, row) in recordings.iter().enumerate() {
            let Some(wearers) = cast.wearers.get(&row.source_id) else {
                continue;
            };
            let place = placements.iter().find(|one| one.recording_id == row.id);
            let (Some(place), Some(body)) = (place, self.read(self.store().track(&row.id))?) else {
                continue;
            };
            let Ok(track) = Track::from_bytes(&body) else {
                continue;
            };
            let next = gains.len();
            tracks.push(WornTrack {
                recording,
                placement: &place.placement.0,
                island: u32::try_from(place.island).unwrap_or(u32::MAX),
                track,
                // A recorder keeps its gain; another channel has its own. Common
                // practice, no source.
                gain: *gains.entry((&row.source_id, &row.pick)).or_insert(next),
                wearers: wearers.clone(),
            });
        }
        Ok(tracks)
    }

    /// The voices that were learnt before.
    fn known(&self, event: &EventId, cast: &Cast) -> Result<Vec<Known>, StepError> {
        let rows = self.read(self.store().voices(event))?;
        let known = rows.iter().filter_map(|row| {
            Some(Known {
                speaker: cast.speaker(&row.person_id)?,
                voice: Voice::from_bytes(&row.voice).ok()?,
            })
        });
        Ok(known.collect())
    }

    /// What people said, on the clock.
    fn told(
        &self,
        event: &EventId,
        cast: &Cast,
        placements: &[PlacementRow],
    ) -> Result<Vec<Told>, StepError> {
        let rows = self.read(self.store().tellings(event))?;
        let told = rows.iter().filter_map(|row| {
            let place = placements
                .iter()
                .find(|one| one.recording_id == row.recording_id)?;
            Some(Told {
                island: u32::try_from(place.island).unwrap_or(u32::MAX),
                from: place.placement.0.to_event(FileMs(row.start_ms)),
                to: place.placement.0.to_event(FileMs(row.end_ms)),
                speaker: cast.speaker(&row.person_id)?,
            })
        });
        Ok(told.collect())
    }
}

/// A worn recording with what is held of it.
struct WornTrack<'a> {
    recording: usize,
    placement: &'a Placement,
    island: u32,
    track: Track,
    gain: usize,
    wearers: Vec<(EventMs, usize)>,
}

/// Who may speak in an event.
struct Cast {
    people: Vec<PersonRow>,
    wearers: BTreeMap<SourceId, Vec<(EventMs, usize)>>,
}

impl Cast {
    fn speaker(&self, person: &PersonId) -> Option<Speaker> {
        let place = self.people.iter().position(|one| one.id == *person)?;
        Some(match self.people.get(place)?.number {
            Some(number) => Speaker::Unnamed(number),
            None => Speaker::Person(place),
        })
    }

    /// The voices of those who are known no other way, by the moments they were last
    /// found in: voices that were forgotten take nobody's name away.
    fn remembered(
        &self,
        known: &[Known],
        speech: &[&[SpeechRow]],
        listened: &[Listened],
    ) -> Vec<Known> {
        let of = |person: &PersonRow| {
            let speaker = self.speaker(&person.id)?;
            if known.iter().any(|one| one.speaker == speaker) {
                return None;
            }
            let said = speech.iter().zip(listened).filter(|(heard, _)| {
                let moment = heard.first();
                moment.is_some_and(|row| row.person_id.as_ref() == Some(&person.id))
            });
            let glances = said.flat_map(|(_, listened)| &listened.glances);
            let parts = glances.map(|glance| {
                let ms = glance.to_ms.saturating_sub(glance.from_ms) as f32 * glance.voiced;
                (&glance.voice[..], ms)
            });
            let voice = Voice::of(parts)?;
            Some(Known { speaker, voice })
        };
        self.people.iter().filter_map(of).collect()
    }

    fn named(&self, speaker: Speaker) -> Option<SpeakerRef> {
        match speaker {
            Speaker::Unnamed(number) => Some(SpeakerRef::Unnamed(number)),
            Speaker::Person(place) => {
                let id = self.people.get(place)?.id.clone();
                Some(SpeakerRef::Person(id))
            }
        }
    }

    fn spoken(&self, speech: &[&[SpeechRow]], found: Found, seen: String) -> Spoken {
        let mut spoken = Spoken {
            seen,
            ..Spoken::default()
        };
        for turns in found.turns.chunk_by(|a, b| a.stretch == b.stretch) {
            let moment = turns
                .first()
                .and_then(|turn| speech.get(turn.stretch)?.first());
            if let Some(moment) = moment {
                spoken
                    .moments
                    .push((moment.moment_id.clone(), self.speaks(turns)));
            }
        }
        // Only of those who speak: nobody else's voice is kept.
        let speak: BTreeSet<SpeakerRef> = spoken
            .moments
            .iter()
            .flat_map(|(_, turns)| turns)
            .flat_map(|turn| [turn.speaker.clone(), turn.also.clone()])
            .flatten()
            .collect();
        for known in found.voices {
            if let Some(speaker) = self.named(known.speaker)
                && (speak.contains(&speaker) || matches!(speaker, SpeakerRef::Person(_)))
            {
                spoken.voices.push((speaker, known.voice.to_bytes()));
            }
        }
        spoken
    }

    /// The turns of one moment, those of one speaker as one.
    fn speaks(&self, turns: &[Turn]) -> Vec<Speaks> {
        let speaker = |turn: &Turn| turn.speaker.filter(|_| turn.certainty >= LEAST_CERTAIN);
        let runs = turns.chunk_by(|a, b| speaker(a) == speaker(b));
        let length = |turn: &Turn| turn.end.0.saturating_sub(turn.start.0).max(0);
        runs.filter_map(|run| {
            let longest = run.iter().max_by_key(|turn| length(turn))?;
            let whole: i64 = run.iter().map(length).sum();
            let both: i64 = run.iter().filter(|t| t.also.is_some()).map(length).sum();
            let overlaps = both >= ALSO_MS || both as f64 >= ALSO_SHARE * whole as f64;
            let also = run
                .iter()
                .filter(|turn| turn.also.is_some())
                .max_by_key(|turn| length(turn))
                .and_then(|turn| turn.also)
                .filter(|_| overlaps);
            let sure: f64 = run
                .iter()
                .map(|turn| f64::from(turn.certainty) * length(turn) as f64)
                .sum();
            Some(Speaks {
                from_ms: run.first()?.start.0,
                speaker: speaker(longest).and_then(|speaker| self.named(speaker)),
                also: also.and_then(|speaker| self.named(speaker)),
                certainty: (sure / whole.max(1) as f64) as f32,
                why: longest.why.clone(),
            })
        })
        .collect()
    }
}

fn span(row: &SpeechRow) -> Span {
    (row.recording_id.clone(), row.file_start_ms, row.file_end_ms)
}

fn samples(sound: &mut FileSound, member: usize, row: &SpeechRow) -> Vec<f32> {
    let mut samples = Vec::new();
    let mut from = row.file_start_ms;
    while from < row.file_end_ms {
        let to = (from + READ_MS).min(row.file_end_ms);
        let read = sound.read(member, FileMs(from), FileMs(to));
        if read.is_empty() {
            break;
        }
        samples.extend(read);
        from = to;
    }
    samples
}
