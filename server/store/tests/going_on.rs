//! What is called off, lost or moved, and how its event goes on.

use std::sync::atomic::{AtomicBool, Ordering};

use super::story::{LEASE, NOW, claim, file, found, solved};
use super::words::{commit, first, grouped, hearing, kept, moment, words};
use super::*;

/// An event with recordings that are looked through.
pub(super) struct Desk {
    _folder: tempfile::TempDir,
    pub store: Store,
    pub event: EventId,
    pub recordings: Vec<RecordingRow>,
}

impl Desk {
    pub async fn of(count: usize) -> Self {
        let (folder, store) = store().await;
        let new = NewEvent {
            title: "The landing".into(),
            ..NewEvent::default()
        };
        let event = store.create_event(new, NOW).await.unwrap().id;
        let mut recordings = Vec::new();
        for letter in ('a'..).take(count) {
            recordings.push(look_through(&store, &event, letter).await);
        }
        Self {
            _folder: folder,
            store,
            event,
            recordings,
        }
    }

    pub fn id(&self, n: usize) -> &RecordingId {
        &self.recordings[n].id
    }

    pub async fn claim(&self, kind: JobKind) -> Claim {
        let lane = match kind {
            JobKind::Transcribe => Lane::Model,
            _ => Lane::Light,
        };
        let owner = format!("w{}", MomentId::fresh());
        let claim = claim(&self.store, lane, &owner).await;
        assert_eq!(claim.kind, kind);
        claim
    }

    pub async fn align(&self) {
        self.align_at(&[(0.0, 0.0)], false).await;
    }

    /// Start on the clock, ms, and rate, ppm, of each recording in turn.
    pub async fn align_at(&self, places: &[(f64, f64)], anew: bool) {
        let align = self.claim(JobKind::Align).await;
        let mut all = solved(&self.event, self.id(0), anew);
        let place = all.placements[0].clone();
        all.placements = self
            .recordings
            .iter()
            .zip(places.iter().cycle())
            .map(|(row, (start_ms, ppm))| NewPlacement {
                recording: row.id.clone(),
                pieces: serde_json::json!(sayback_core::clock::Placement::even(*start_ms, *ppm)),
                ..place.clone()
            })
            .collect();
        self.store
            .finish_align(&align.lease(), &all, NOW)
            .await
            .unwrap();
    }

    /// The ids of the moments, in order of time.
    pub async fn group(&self, moments: &[NewMoment]) -> Vec<MomentId> {
        let group = self.claim(JobKind::Group).await;
        self.store
            .finish_group(&group.lease(), &grouped(&self.event, moments), NOW)
            .await
            .unwrap();
        let rows = self.store.moments(&self.event, None, None, 100, 0).await;
        rows.unwrap().into_iter().map(|row| row.id).collect()
    }

    pub async fn group_again(&self, moments: &[NewMoment]) -> Vec<MomentId> {
        self.store.ask_solve(&self.event, false).await.unwrap();
        self.align().await;
        self.group(moments).await
    }

    /// Listens to the next recording: which, and to what of it. Every hearing says
    /// one word.
    pub async fn listen(&self) -> (usize, Vec<i64>) {
        let claim = self.claim(JobKind::Transcribe).await;
        let lease = claim.lease();
        let n = self
            .recordings
            .iter()
            .position(|row| row.id.as_str() == claim.subject)
            .unwrap();
        let recording = &self.recordings[n];
        let begun = self
            .store
            .begin_listening(&lease, &recording.id, "base")
            .await;
        let wanted = begun.unwrap();
        let tried: Vec<Tried> = wanted
            .iter()
            .map(|wanted| Tried {
                moment: wanted.moment_id.clone(),
                words: words(&[&format!("Said{n}")], wanted.start_ms),
            })
            .collect();
        self.store.plan_windows(&lease, 1, 0, 1_000).await.unwrap();
        commit(&self.store, &lease, recording, &tried).await;
        self.store
            .finish_listening(&lease, recording, NOW)
            .await
            .unwrap();
        (n, wanted.iter().map(|wanted| wanted.start_ms).collect())
    }

    async fn fail(&self, kind: JobKind) {
        let claim = self.claim(kind).await;
        let failure = Failure {
            error: "gone".into(),
            retry_at_ms: None,
            max_attempts: 1,
        };
        let failed = self.store.fail(&claim.lease(), &failure, NOW).await;
        assert_eq!(failed.unwrap(), JobState::Failed);
    }

    async fn nothing_to_listen_to(&self) {
        let next = self.store.claim(Lane::Model, "nobody", NOW, LEASE).await;
        assert_eq!(next.unwrap().map(|claim| claim.subject), None);
    }

    pub async fn job(&self, kind: JobKind, subject: &str) -> JobRow {
        let jobs = self.store.jobs_of(subject).await.unwrap();
        jobs.into_iter().find(|job| job.kind == kind).unwrap()
    }

    /// Moment by moment: its text, whether it is doubted, and which recordings have
    /// an attempt at it.
    async fn told(&self) -> Vec<(String, bool, Vec<usize>)> {
        let rows = self.store.moments(&self.event, None, None, 100, 0).await;
        let mut told = Vec::new();
        for row in rows.unwrap() {
            let hearings = self.store.hearings_of(std::slice::from_ref(&row.id)).await;
            let mut tried: Vec<usize> = hearings
                .unwrap()
                .iter()
                .filter(|hearing| hearing.tried)
                .map(|hearing| {
                    let ids = self.recordings.iter().map(|row| &row.id);
                    ids.zip(0..)
                        .find_map(|(id, n)| (*id == hearing.recording_id).then_some(n))
                        .unwrap()
                })
                .collect();
            tried.sort_unstable();
            told.push((row.text.unwrap_or_default(), row.doubt.is_some(), tried));
        }
        told
    }
}

async fn look_through(store: &Store, event: &EventId, letter: char) -> RecordingRow {
    let source = store
        .ensure_source(event, &letter.to_string(), None, None)
        .await
        .unwrap();
    let path = PathBuf::from(format!("/cards/{letter}.wav"));
    let intake = NewIntake {
        source: source.id,
        path: path.clone(),
        size: 100,
        mtime_ns: 5,
        choice: "auto".into(),
    };
    let queued = store.add_intakes(event, &[intake], NOW).await.unwrap();
    let [Queued::Waiting(intake)] = queued.as_slice() else {
        panic!("{queued:?}")
    };
    let opened = Opened {
        intake: intake.clone(),
        event: event.clone(),
        file: file(&path, letter),
        recordings: vec![OpenedRecording {
            pick: "mix".into(),
            channels_why: "one pair".into(),
        }],
        note: None,
    };
    let lease = claim(store, Lane::Light, &format!("p{letter}"))
        .await
        .lease();
    let ids = store.finish_probe(&lease, &opened, NOW).await.unwrap();
    let recording = store.recording(&ids[0]).await.unwrap();
    let segments = [found(0, 9_000)];
    let detected = Detected {
        recording: &recording,
        segments: &segments,
        track: &[7],
        quality: &[],
        peaks: &Peaks::default(),
        warnings: &[],
    };
    let lease = claim(store, Lane::Light, &format!("d{letter}"))
        .await
        .lease();
    store.finish_detect(&lease, &detected, NOW).await.unwrap();
    recording
}

#[tokio::test]
async fn doubted_words_get_their_second_try_when_the_last_recording_is_called_off() {
    let desk = Desk::of(3).await;
    let [a, b, c] = [0, 1, 2].map(|n| desk.id(n).clone());
    let mut found = vec![
        moment(&[hearing(&a, 0, 1_000), hearing(&b, 0, 1_000)]),
        moment(&[hearing(&c, 2_000, 9_000)]),
    ];
    desk.align().await;
    let ids = desk.group(&found).await;
    desk.store.put_first(&a).await.unwrap();
    assert_eq!(desk.listen().await, (0, vec![0]));
    // The other recording was still to be listened to.
    assert_eq!(desk.told().await[0], ("Said0".into(), true, vec![0]));
    let last = desk.job(JobKind::Transcribe, c.as_str()).await;
    desk.store.cancel_job(last.id, NOW).await.unwrap();
    found[0] = kept(found[0].clone(), &[&ids[0]]);
    desk.group(&found).await;
    assert_eq!(desk.listen().await, (1, vec![0]));
    assert_eq!(desk.told().await[0], ("Said0".into(), false, vec![0, 1]));
    desk.nothing_to_listen_to().await;
}

#[tokio::test]
async fn doubted_words_get_their_second_try_from_a_recorder_that_heard_nothing_else() {
    let desk = Desk::of(2).await;
    let [a, b] = [0, 1].map(|n| desk.id(n).clone());
    let mut found = vec![
        moment(&[hearing(&a, 0, 1_000)]),
        moment(&[hearing(&a, 2_000, 9_000)]),
    ];
    desk.align().await;
    let ids = desk.group(&found).await;
    desk.listen().await;
    desk.nothing_to_listen_to().await;
    found[0] = kept(
        moment(&[hearing(&a, 0, 1_000), hearing(&b, 40, 1_040)]),
        &[&ids[0]],
    );
    found[1] = kept(found[1].clone(), &[&ids[1]]);
    desk.group_again(&found).await;
    assert_eq!(desk.listen().await, (1, vec![40]));
    assert_eq!(desk.told().await[0], ("Said0".into(), false, vec![0, 1]));
}

#[tokio::test]
async fn a_second_try_that_fails_is_made_elsewhere() {
    let desk = Desk::of(3).await;
    let [a, b, c] = [0, 1, 2].map(|n| desk.id(n).clone());
    let mut found = vec![
        moment(&[&a, &b, &c].map(|id| hearing(id, 0, 1_000))),
        moment(&[hearing(&a, 2_000, 9_000)]),
    ];
    desk.align().await;
    let ids = desk.group(&found).await;
    desk.listen().await;
    desk.fail(JobKind::Transcribe).await;
    let b = desk.job(JobKind::Transcribe, b.as_str()).await;
    assert_eq!(b.state, JobState::Failed);
    found[0] = kept(found[0].clone(), &[&ids[0]]);
    found[1] = kept(found[1].clone(), &[&ids[1]]);
    desk.group(&found).await;
    assert_eq!(desk.listen().await, (2, vec![0]));
    assert_eq!(desk.told().await[0], ("Said0".into(), false, vec![0, 2]));
}

#[tokio::test]
async fn what_was_heard_of_other_sound_is_forgotten_when_a_recording_moves() {
    let desk = Desk::of(2).await;
    let [a, b] = [0, 1].map(|n| desk.id(n).clone());
    let at = |start: i64| {
        let both = [hearing(&a, 0, 1_000), hearing(&b, start, start + 1_000)];
        [moment(&both), moment(&[hearing(&a, 2_000, 9_000)])]
    };
    desk.align().await;
    let ids = desk.group(&at(0)).await;
    desk.listen().await;
    assert_eq!(desk.listen().await, (1, vec![0]));
    let again = |start: i64| {
        let [one, other] = at(start);
        [kept(one, &[&ids[0]]), kept(other, &[&ids[1]])]
    };
    // A little earlier or later it is the same sound.
    desk.group_again(&again(120)).await;
    assert_eq!(desk.told().await[0], ("Said0".into(), false, vec![0, 1]));
    desk.nothing_to_listen_to().await;
    // Elsewhere it is not: the words stand alone again, and the right place is tried.
    desk.group_again(&again(5_000)).await;
    assert_eq!(desk.told().await[0], ("Said0".into(), true, vec![0]));
    assert_eq!(desk.listen().await, (1, vec![5_000]));
    assert_eq!(desk.told().await[0], ("Said0".into(), false, vec![0, 1]));
}

#[tokio::test]
async fn two_moments_that_are_one_bring_what_was_heard_of_the_same_sound() {
    let desk = Desk::of(2).await;
    let [a, b] = [0, 1].map(|n| desk.id(n).clone());
    let apart = [
        moment(&[hearing(&a, 0, 1_000)]),
        moment(&[hearing(&b, 3_000, 4_000)]),
        moment(&[hearing(&a, 5_000, 6_000)]),
        moment(&[hearing(&b, 8_000, 9_900)]),
    ];
    desk.align().await;
    let ids = desk.group(&apart).await;
    desk.listen().await;
    desk.listen().await;
    assert!(desk.told().await.iter().all(|(_, doubted, _)| *doubted));
    let both = |a_ms, b_ms| {
        moment(&[
            hearing(&a, a_ms, a_ms + 1_000),
            hearing(&b, b_ms, b_ms + 1_000),
        ])
    };
    let found = [
        kept(both(0, 3_000), &[&ids[0], &ids[1]]),
        kept(both(5_000, 8_000), &[&ids[2], &ids[3]]),
    ];
    desk.group_again(&found).await;
    // What was heard of a longer stretch is not heard of it.
    let told = [(false, vec![0, 1]), (true, vec![0])];
    assert_eq!(
        desk.told().await,
        told.map(|(doubted, tried)| ("Said0".to_owned(), doubted, tried))
    );
    desk.nothing_to_listen_to().await;
}

#[tokio::test]
async fn words_come_without_a_clock_that_was_called_off() {
    let desk = Desk::of(2).await;
    let align = desk.job(JobKind::Align, desk.event.as_str()).await;
    desk.store.cancel_job(align.id, NOW).await.unwrap();
    let clock = desk.store.clock(&desk.event).await.unwrap();
    assert_eq!(clock.state, ClockState::Cancelled);
    let placements = desk.store.placements(&desk.event).await.unwrap();
    let mut islands: Vec<i64> = placements.iter().map(|row| row.island).collect();
    islands.sort_unstable();
    assert_eq!(islands, [1, 2]);
    desk.group(&[moment(&[hearing(desk.id(1), 0, 1_000)])])
        .await;
    assert_eq!(desk.listen().await, (1, vec![0]));
}

#[tokio::test]
async fn a_clock_that_takes_the_program_down_says_how_to_have_it_tried() {
    let desk = Desk::of(1).await;
    let align = desk.claim(JobKind::Align).await;
    let freed = desk.store.free(&[align.lease_owner], NOW, 1).await.unwrap();
    assert_eq!(freed, [align.id]);
    let problems = desk.store.status(None, NOW).await.unwrap().problems;
    let reason = &problems[0].reason;
    assert!(
        reason.ends_with("have the clock of the event solved again to have it tried"),
        "{reason}"
    );
    // Words come all the same.
    desk.group(&[moment(&[hearing(desk.id(0), 0, 1_000)])])
        .await;
    assert_eq!(desk.listen().await, (0, vec![0]));
}

#[tokio::test]
async fn a_recording_that_goes_first_takes_along_those_its_words_come_from() {
    let desk = Desk::of(3).await;
    let [a, b, c] = [0, 1, 2].map(|n| desk.id(n).clone());
    let deaf = NewHearing {
        heard: false,
        ..hearing(&c, 5_000, 6_000)
    };
    desk.align().await;
    desk.group(&[
        moment(&[hearing(&a, 0, 1_000)]),
        moment(&[hearing(&b, 2_000, 3_000), hearing(&c, 2_000, 3_000)]),
        moment(&[hearing(&a, 5_000, 6_000), deaf]),
    ])
    .await;
    desk.store.put_first(&c).await.unwrap();
    let priority = async |id: &RecordingId| {
        let job = desk.job(JobKind::Transcribe, id.as_str()).await;
        job.priority
    };
    assert_eq!((priority(&a).await, priority(&b).await > 0), (0, true));
    assert_eq!(desk.listen().await, (1, vec![2_000]));
}

#[tokio::test]
async fn a_search_never_shows_words_of_another_text() {
    let desk = Desk::of(1).await;
    let id = desk.id(0).clone();
    desk.align().await;
    let ids = desk.group(&[moment(&[hearing(&id, 0, 1_000)])]).await;
    let lease = desk.claim(JobKind::Transcribe).await.lease();
    let over = AtomicBool::new(false);
    let write = async {
        for n in 0..150 {
            // Another model's words replace those of the one before.
            let model = ["tiny.en", "base"][n % 2];
            let begun = desk.store.begin_listening(&lease, &id, model).await;
            assert!(!begun.unwrap()[0].tried);
            desk.store.plan_windows(&lease, 1, 0, 1_000).await.unwrap();
            let said = [&["kettle", "one"][..], &["kettle", "two", "three"]][n % 2];
            let tried = [Tried {
                moment: ids[0].clone(),
                words: words(said, 0),
            }];
            let commit = WindowCommit {
                recording: &desk.recordings[0],
                model,
                tried: &tried,
                fuse: &first,
            };
            desk.store.commit_window(&lease, &commit).await.unwrap();
        }
        over.store(true, Ordering::Relaxed);
    };
    let read = async {
        let mut hits = 0;
        while !over.load(Ordering::Relaxed) {
            let ids = holding(&desk.store, "kettle", None).await;
            for found in desk.store.whole_moments(&ids).await.unwrap() {
                let words: Vec<&str> = found.words.iter().map(|w| w.text.as_str()).collect();
                assert_eq!(found.moment.text.unwrap_or_default(), words.join(" "));
                hits += 1;
            }
        }
        assert!(hits > 0);
    };
    tokio::join!(write, read);
}
