//! How does an event come onto the shelf? By the store's own steps, in the order of the
//! queue, with what media, signal, clock and speech would have found of its files.

use std::collections::HashMap;
use std::time::{Duration, Instant};

use sayback::core::clock::Placement as Line;
use sayback::core::quality::Verdict;
use sayback::store::{
    AttemptRow, Claim, Detected, EventId, Grouped, IntakeId, JobKind, Lane, Lease, MomentId,
    MomentWords, NewEvent, NewFile, NewHearing, NewIntake, NewMoment, NewPlacement, NewWord,
    Opened, OpenedRecording, PartRow, PersonId, Placement, Queued, RecordingId, Solved, SourceId,
    SpeakerRef, Speaks, Spoken, Store, Tried, WindowCommit,
};
use serde_json::json;

use super::event::{Event, Moment, PARTS, SOURCES};

/// The model whose words they are said to be.
const MODEL: &str = "made up";
/// The time at which all is said to have happened, ms since 1970.
const NOW_MS: i64 = 1_700_000_000_000;
const LEASE_MS: i64 = 3_600_000;
/// How much later each recorder was started than the one before, ms.
const LATER_MS: i64 = 3_000;

/// Takes one event along the queue.
pub struct Maker<'a> {
    store: &'a Store,
    event: &'a Event,
    id: EventId,
    people: Vec<PersonId>,
    sources: Vec<SourceId>,
    intakes: HashMap<IntakeId, usize>,
    /// Which recorder a recording is of.
    recordings: HashMap<RecordingId, usize>,
    /// Which moment it is, by a recording and where it starts there.
    moments: HashMap<(RecordingId, i64), usize>,
    claims: usize,
    words_took: Duration,
}

impl<'a> Maker<'a> {
    /// Writes an event; how long its words took.
    pub async fn write(store: &'a Store, event: &'a Event) -> Duration {
        let new = NewEvent {
            title: event.title.clone(),
            date: Some(event.date.clone()),
            frame_rate: "25".parse().ok(),
        };
        let row = store.create_event(new, NOW_MS).await.expect("an event");
        let mut maker = Self {
            store,
            event,
            id: row.id,
            people: Vec::new(),
            sources: Vec::new(),
            intakes: HashMap::new(),
            recordings: HashMap::new(),
            moments: HashMap::new(),
            claims: 0,
            words_took: Duration::ZERO,
        };
        maker.begin().await;
        while let Some(claim) = maker.claim().await {
            maker.step(&claim).await;
        }
        maker.words_took
    }

    /// People, recorders, their files, parts.
    async fn begin(&mut self) {
        for name in &self.event.people {
            let added = self.store.add_person(&self.id, name, None).await;
            self.people.push(added.expect("a person").id);
        }
        let mut files = Vec::new();
        for (label, placement, wearer) in SOURCES {
            let placement: Placement = placement.parse().expect("a placement");
            let wearer = wearer.map(|n| self.event.people[n].as_str());
            let source = self
                .store
                .ensure_source(&self.id, label, Some(placement), wearer);
            let source = source.await.expect("a source").id;
            files.push(NewIntake {
                source: source.clone(),
                path: format!("/cards/{}/{label}.wav", self.event.number).into(),
                size: 1_000_000,
                mtime_ns: 1,
                choice: "auto".into(),
            });
            self.sources.push(source);
        }
        let queued = self.store.add_intakes(&self.id, &files, NOW_MS).await;
        for (source, queued) in queued.expect("intakes").into_iter().enumerate() {
            let Queued::Waiting(intake) = queued else {
                panic!("a file that is new: {queued:?}")
            };
            self.intakes.insert(intake, source);
        }
        let length = self.event.end_ms / PARTS.len() as i64;
        let part = |(n, name): (i64, &&str)| PartRow {
            name: (*name).into(),
            start_ms: n * length,
            end_ms: (n + 1) * length,
            required: *name == "letters",
        };
        let parts: Vec<PartRow> = (0..).zip(&PARTS).map(part).collect();
        self.store.set_parts(&self.id, &parts).await.expect("parts");
    }

    async fn claim(&mut self) -> Option<Claim> {
        for lane in [Lane::Light, Lane::Model] {
            self.claims += 1;
            let owner = format!("{} {}", self.event.number, self.claims);
            let claim = self.store.claim(lane, &owner, NOW_MS, LEASE_MS).await;
            if let Some(claim) = claim.expect("a queue") {
                return Some(claim);
            }
        }
        None
    }

    async fn step(&mut self, claim: &Claim) {
        let lease = claim.lease();
        match claim.kind {
            JobKind::Probe => {
                self.probe(&lease, &IntakeId::from(claim.subject.as_str()))
                    .await
            }
            JobKind::Detect => self.detect(&lease, &claim.subject.as_str().into()).await,
            JobKind::Align => self.align(&lease).await,
            JobKind::Group => self.group(&lease).await,
            JobKind::Transcribe => {
                let begun = Instant::now();
                self.transcribe(&lease, &claim.subject.as_str().into())
                    .await;
                self.words_took += begun.elapsed();
            }
            JobKind::Voices => self.voices(&lease).await,
            JobKind::Meaning => unreachable!("queued only where a model of meaning is"),
        }
    }

    async fn probe(&mut self, lease: &Lease, intake: &IntakeId) {
        let source = self.intakes[intake];
        let duration_ms = self.event.end_ms + 60_000;
        let path = format!("/cards/{}/{}.wav", self.event.number, SOURCES[source].0);
        let opened = Opened {
            intake: intake.clone(),
            event: self.id.clone(),
            file: NewFile {
                hash: blake3::hash(path.as_bytes()).to_hex().to_string(),
                path: path.into(),
                size: 1_000_000,
                mtime_ns: 1,
                container: "wav".into(),
                codec: "pcm_s24le".into(),
                media_type: "audio/wav".into(),
                rate_hz: 48_000,
                channels: 1,
                bits: Some(24),
                frames: duration_ms * 48,
                duration_ms,
                warnings: Vec::new(),
                stamps: Vec::new(),
            },
            recordings: vec![OpenedRecording {
                pick: "mix".into(),
                channels_why: "one channel".into(),
            }],
            note: None,
        };
        let made = self.store.finish_probe(lease, &opened, NOW_MS).await;
        let made = made.expect("a recording");
        let takes: Vec<_> = made.iter().map(|id| vec![id.clone()]).collect();
        let set = self.store.set_takes(&self.sources[source], &takes).await;
        set.expect("takes");
        self.recordings
            .extend(made.into_iter().map(|id| (id, source)));
    }

    async fn detect(&self, lease: &Lease, id: &RecordingId) {
        let recording = self.store.recording(id).await.expect("a recording");
        let source = self.recordings[id];
        let begins_ms = source as i64 * LATER_MS;
        let peaks = self.event.peaks(source, begins_ms, recording.duration_ms);
        let detected = Detected {
            recording: &recording,
            segments: &[],
            track: &[],
            quality: &[],
            peaks: &peaks,
            warnings: &[],
        };
        let done = self.store.finish_detect(lease, &detected, NOW_MS).await;
        done.expect("it is detected");
    }

    async fn align(&self, lease: &Lease) {
        let placed = |(recording, source): (&RecordingId, &usize)| NewPlacement {
            recording: recording.clone(),
            island: 0,
            pieces: json!(Line::even((*source as i64 * LATER_MS) as f64, 0.0)),
            how: "sound".into(),
            uncertainty_ms: Some(1.0),
            agreement: Some(0.95),
            residual_ms: Some(0.5),
            points: 40,
            warnings: json!([]),
        };
        let solved = Solved {
            event: self.id.clone(),
            anew: false,
            members: self.recordings.keys().cloned().collect(),
            placements: self.recordings.iter().map(placed).collect(),
            pairs: Vec::new(),
            warnings: json!([]),
        };
        let done = self.store.finish_align(lease, &solved, NOW_MS).await;
        done.expect("it is aligned");
    }

    async fn group(&mut self, lease: &Lease) {
        let ids: HashMap<usize, RecordingId> = self
            .recordings
            .iter()
            .map(|(id, source)| (*source, id.clone()))
            .collect();
        for (n, moment) in self.event.moments.iter().enumerate() {
            for (source, _) in &moment.heard {
                let start_ms = in_file(moment.start_ms, *source);
                self.moments.insert((ids[source].clone(), start_ms), n);
            }
        }
        let moments: Vec<NewMoment> = self.event.moments.iter().map(|m| found(m, &ids)).collect();
        let grouped = Grouped {
            event: &self.id,
            moments: &moments,
            fuse: &words,
            names: &[],
        };
        let done = self.store.finish_group(lease, &grouped, NOW_MS).await;
        done.expect("it is grouped");
    }

    async fn transcribe(&self, lease: &Lease, id: &RecordingId) {
        let recording = self.store.recording(id).await.expect("a recording");
        let wanted = self.store.begin_listening(lease, id, MODEL).await;
        let wanted = wanted.expect("what to listen to");
        let source = self.recordings[id];
        let tried: Vec<Tried> = wanted
            .iter()
            .map(|wanted| {
                let n = self.moments[&(id.clone(), wanted.start_ms)];
                let said = &self.event.moments[n].words;
                Tried {
                    moment: wanted.moment_id.clone(),
                    words: said
                        .iter()
                        .map(|word| NewWord {
                            text: word.text.clone(),
                            start_ms: in_file(word.start_ms, source),
                            end_ms: in_file(word.end_ms, source),
                            confidence: word.confidence,
                            heard: None,
                            language: Some("en".into()),
                            ordinary: word.rank.is_some(),
                        })
                        .collect(),
                }
            })
            .collect();
        let planned = self.store.plan_windows(lease, 1, 0, 1).await;
        planned.expect("it is planned");
        let commit = WindowCommit {
            recording: &recording,
            model: MODEL,
            tried: &tried,
            fuse: &words,
        };
        let done = self.store.commit_window(lease, &commit).await;
        done.expect("words are written");
        let done = self.store.finish_listening(lease, &recording, NOW_MS).await;
        done.expect("it is listened to");
    }

    async fn voices(&self, lease: &Lease) {
        let seen = self.store.speech_seen(&self.id).await.expect("a text");
        let rows = self.store.speech_of_event(&self.id).await.expect("speech");
        let mut spoken = Spoken {
            seen,
            ..Spoken::default()
        };
        for of_one in rows.chunk_by(|a, b| a.moment_id == b.moment_id) {
            let row = &of_one[0];
            let n = self.moments[&(row.recording_id.clone(), row.file_start_ms)];
            let person = self.event.moments[n].person;
            let speaks = Speaks {
                from_ms: row.start_ms,
                speaker: person.map(|n| SpeakerRef::Person(self.people[n].clone())),
                also: None,
                certainty: if person.is_some() { 0.9 } else { 0.2 },
                why: "by voice".into(),
            };
            spoken.moments.push((row.moment_id.clone(), vec![speaks]));
        }
        let done = self
            .store
            .finish_voices(lease, &self.id, &spoken, NOW_MS)
            .await;
        done.expect("who speaks is written");
    }
}

/// Where an instant of the event clock is in a recorder's file, ms.
fn in_file(event_ms: i64, source: usize) -> i64 {
    event_ms - source as i64 * LATER_MS
}

fn found(moment: &Moment, ids: &HashMap<usize, RecordingId>) -> NewMoment {
    let hearing = |(source, snr_db): &(usize, f32)| NewHearing {
        recording: ids[source].clone(),
        start_ms: in_file(moment.start_ms, *source),
        end_ms: in_file(moment.end_ms, *source),
        heard: true,
        level_dbfs: *snr_db - 60.0,
        snr_db: *snr_db,
        clipped: 0.0,
        reverb: 0.2,
        score: *snr_db,
        why: vec![format!("{snr_db:.0} dB above its noise")],
        verdict: match snr_db {
            20.0.. => Verdict::Clean,
            10.0.. => Verdict::Usable,
            _ => Verdict::Poor,
        },
    };
    NewMoment {
        kept: Vec::new(),
        island: 0,
        start_ms: moment.start_ms,
        end_ms: moment.end_ms,
        hearings: moment.heard.iter().map(hearing).collect(),
    }
}

/// The words of the only attempt.
fn words(_: &MomentId, attempts: &[AttemptRow]) -> MomentWords {
    let attempt = &attempts[0];
    MomentWords {
        words_from: attempt.recording_id.clone(),
        model: attempt.model.clone(),
        words: attempt.words.clone(),
        doubt: None,
        why: None,
    }
}
