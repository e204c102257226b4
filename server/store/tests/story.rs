//! One file's way through the store, from adding to being found; together with
//! everything that may happen to it, it executes every statement.

use sayback_core::clock::How;

use super::*;

pub(super) const NOW: i64 = 1_000_000;
pub(super) const LEASE: i64 = 10_000;

pub(super) fn file(path: &Path, hash: char) -> NewFile {
    NewFile {
        hash: hash.to_string().repeat(64),
        path: path.to_owned(),
        size: 100,
        mtime_ns: 5,
        container: "wav".into(),
        codec: "pcm_s16le".into(),
        media_type: "audio/wav".into(),
        rate_hz: 48_000,
        channels: 2,
        bits: Some(16),
        frames: 480_000,
        duration_ms: 10_000,
        warnings: vec!["the header said 0 bytes".into()],
        stamps: vec![NewStamp {
            kind: "bext",
            at: "2026-06-20T14:00:00".into(),
            samples: Some(2_419_200_000),
            rate_hz: Some(48_000),
            frame_rate: None,
        }],
    }
}

pub(super) async fn claim(store: &Store, lane: Lane, owner: &str) -> Claim {
    store.claim(lane, owner, NOW, LEASE).await.unwrap().unwrap()
}

#[tokio::test]
async fn the_story_uses_every_statement() {
    let (_folder, store) = store().await;
    let new = NewEvent {
        title: "The landing".into(),
        date: None,
        frame_rate: "25".parse().ok(),
    };
    let event = store.create_event(new, NOW).await.unwrap();
    assert_eq!(store.find_event("The landing").await.unwrap().id, event.id);
    an_event_changes(&store, &event).await;
    let source = store
        .ensure_source(&event.id, "lav", None, Some("Maro"))
        .await
        .unwrap();
    assert_eq!(
        (source.placement, source.wearer_name.as_deref()),
        (Placement::Worn, Some("Maro"))
    );

    // Added twice, queued once.
    let path = Path::new("/cards/a.wav");
    let intake = NewIntake {
        source: source.id.clone(),
        path: path.to_owned(),
        size: 100,
        mtime_ns: 5,
        choice: "auto".into(),
    };
    let queued = store
        .add_intakes(&event.id, std::slice::from_ref(&intake), NOW)
        .await
        .unwrap();
    let again = store
        .add_intakes(&event.id, std::slice::from_ref(&intake), NOW)
        .await
        .unwrap();
    assert_eq!(queued, again);
    let [Queued::Waiting(intake_id)] = queued.as_slice() else {
        panic!("{queued:?}")
    };
    assert_eq!(
        store.intakes(&event.id).await.unwrap()[0].state,
        IntakeState::Waiting
    );

    // Pausing, failing, retrying, cancelling, dying, giving back.
    store.set_paused(true).await.unwrap();
    assert!(
        store
            .claim(Lane::Light, "w0", NOW, LEASE)
            .await
            .unwrap()
            .is_none()
    );
    assert_eq!(store.next_at_ms(Lane::Light, NOW).await.unwrap(), None);
    store.set_paused(false).await.unwrap();
    let probe = claim(&store, Lane::Light, "w1").await;
    let failure = Failure {
        error: "a.wav: gone".into(),
        retry_at_ms: Some(NOW),
        max_attempts: 2,
    };
    assert_eq!(
        store.fail(&probe.lease(), &failure, NOW).await.unwrap(),
        JobState::Ready
    );
    let probe = claim(&store, Lane::Light, "w2").await;
    assert_eq!(probe.attempts, 1);
    assert_eq!(
        store.fail(&probe.lease(), &failure, NOW).await.unwrap(),
        JobState::Failed
    );
    let refused = store.intake(intake_id).await.unwrap();
    assert_eq!(
        (refused.state, refused.reason.as_deref()),
        (IntakeState::Refused, Some("a.wav: gone"))
    );
    assert_eq!(
        store
            .status(Some(&event.id), NOW)
            .await
            .unwrap()
            .problems
            .len(),
        1
    );
    store.retry_job(probe.id).await.unwrap();
    assert!(matches!(
        store.retry_job(probe.id).await,
        Err(StoreError::JobState { .. })
    ));
    store.cancel_job(probe.id, NOW).await.unwrap();
    // Added again, the same intake waits again.
    let again = store
        .add_intakes(&event.id, std::slice::from_ref(&intake), NOW)
        .await
        .unwrap();
    assert_eq!(queued, again);
    let revived = store.job(probe.id).await.unwrap();
    assert_eq!((revived.state, revived.error), (JobState::Ready, None));
    let lost = claim(&store, Lane::Light, "w3").await;
    assert_eq!(
        store.lease_owners().await.unwrap(),
        [("w3".to_owned(), NOW + LEASE)]
    );
    assert_eq!(
        store.free(&["w3".into()], NOW, 9).await.unwrap(),
        [probe.id]
    );
    let beat = Beat {
        lease: lost.lease(),
        progress: 0.5,
    };
    assert_eq!(store.beat(&[beat], NOW + LEASE).await.unwrap(), [probe.id]);
    let given = claim(&store, Lane::Light, "w4").await;
    assert!(!store.should_yield(given.id, NOW, 0).await.unwrap());
    store.give_back(&given.lease()).await.unwrap();

    // Opened.
    let probe = claim(&store, Lane::Light, "w5").await;
    let beat = Beat {
        lease: probe.lease(),
        progress: 0.5,
    };
    assert_eq!(store.beat(&[beat], NOW + LEASE).await.unwrap(), []);
    assert_eq!(
        store.status(None, NOW).await.unwrap().running[0].progress,
        0.5
    );
    let opened = Opened {
        intake: intake_id.clone(),
        event: event.id.clone(),
        file: file(path, 'a'),
        recordings: vec![OpenedRecording {
            pick: "mix".into(),
            channels_why: "one pair".into(),
        }],
        note: None,
    };
    assert!(matches!(
        store.finish_probe(&lost.lease(), &opened, NOW).await,
        Err(StoreError::LeaseLost(_))
    ));
    let ids = store
        .finish_probe(&probe.lease(), &opened, NOW + 10)
        .await
        .unwrap();
    let [id] = ids.as_slice() else {
        panic!("{ids:?}")
    };
    assert_eq!(store.intakes(&event.id).await.unwrap(), []);
    assert_eq!(store.paths_in_use().await.unwrap(), [path]);
    assert_eq!(
        store.file(&"a".repeat(64)).await.unwrap().unwrap().path.0,
        path
    );
    assert_eq!(
        store
            .recordings_of_file(&event.id, &"a".repeat(64))
            .await
            .unwrap()
            .len(),
        1
    );
    assert_eq!(
        store.add_intakes(&event.id, &[intake], NOW).await.unwrap(),
        [Queued::Already(id.clone())]
    );

    // Takes.
    assert_eq!(
        store.sources_with_stale_takes().await.unwrap(),
        std::slice::from_ref(&source.id)
    );
    let pieces = store.pieces(&source.id).await.unwrap();
    assert_eq!(pieces[0].stamps[0].samples, Some(2_419_200_000));
    store
        .set_takes(&source.id, &[vec![id.clone()]])
        .await
        .unwrap();
    assert_eq!(store.sources_with_stale_takes().await.unwrap(), []);

    // Detected, with the priority of what a person looks at.
    store.put_first(id).await.unwrap();
    let detect = claim(&store, Lane::Light, "w6").await;
    assert_eq!(detect.kind, JobKind::Detect);
    let recording = store.recording(id).await.unwrap();
    assert_eq!(recording.state, RecordingState::Working);
    // Half of its 10 s in a second: what is at work counts for the rate.
    let beat = Beat {
        lease: detect.lease(),
        progress: 0.5,
    };
    store.beat(&[beat], NOW + LEASE).await.unwrap();
    let steps = store.status(None, NOW + 1_000).await.unwrap().steps;
    let rate = StepRate {
        kind: JobKind::Detect,
        left_ms: 5_000.0,
        recent_audio_ms: 5_000.0,
        recent_wall_ms: 1_000.0,
    };
    assert_eq!(steps[0], rate);
    let detected = Detected {
        recording: &recording,
        segments: &[found(1_000, 3_000), found(5_000, 6_000)],
        track: &[1, 2, 3],
        quality: &[4, 5],
        peaks: &Peaks::default(),
        warnings: &["3 places".into(), "the header said 0 bytes".into()],
    };
    store
        .finish_detect(&detect.lease(), &detected, NOW)
        .await
        .unwrap();
    let rows = store.segments(id).await.unwrap();
    let starts: Vec<i64> = rows.iter().map(|s| s.start_ms).collect();
    assert_eq!((starts, rows[0].reverb), (vec![1_000, 5_000], 0.25));
    assert_eq!(store.segments_of_event(&event.id).await.unwrap(), rows);
    assert_eq!(store.track(id).await.unwrap().unwrap(), [1, 2, 3]);
    assert_eq!(store.quality(id).await.unwrap().unwrap(), [4, 5]);
    super::parts::given(&store, &event.id).await;
    super::cuts::kept(&store, &event.id).await;
    store
        .measure_again(&store.unmeasured().await.unwrap())
        .await
        .unwrap();
    let warnings = store.recording(id).await.unwrap().warnings.0;
    assert_eq!(warnings, ["the header said 0 bytes", "3 places"]);
    clock(&store, &event.id, id).await;
    super::words::listen_and_find(&store, &event, &recording).await;
    super::who::spoken(&store, &event.id).await;
    let left = store.to_do().await.unwrap();
    assert!(!left.running && !left.light && !left.model && !left.takes && !left.paused);
    super::searching::searched_and_gone(&store, &event.id).await;

    let used = store.used.lock().unwrap().clone();
    let names = all_statements().into_iter().map(|s| s.name);
    let unused: Vec<_> = names.filter(|name| !used.contains(name)).collect();
    assert_eq!(
        unused,
        Vec::<&str>::new(),
        "statements no test has executed"
    );
}

pub(super) fn found(start_ms: i64, end_ms: i64) -> NewSegment {
    NewSegment {
        start_ms,
        end_ms,
        level_dbfs: -20.0,
        snr_db: 21.5,
        clipped: 0.0,
        reverb: 0.25,
    }
}

/// What an align step may find of one recording.
pub(super) fn solved(event: &EventId, recording: &RecordingId, anew: bool) -> Solved {
    let place = sayback_core::clock::Placement::even(0.0, 0.0);
    Solved {
        event: event.clone(),
        anew,
        members: vec![recording.clone()],
        placements: vec![NewPlacement {
            recording: recording.clone(),
            island: 0,
            pieces: serde_json::json!(place),
            how: "by_hand".into(),
            uncertainty_ms: Some(0.5),
            agreement: None,
            residual_ms: None,
            points: 0,
            warnings: serde_json::json!([]),
        }],
        pairs: Vec::new(),
        warnings: serde_json::json!([]),
    }
}

/// A second recorder of the event, looked through.
pub(super) async fn open_another(
    store: &Store,
    event: &EventRow,
    first: &RecordingRow,
) -> RecordingRow {
    let path = Path::new("/cards/b.wav");
    let intake = NewIntake {
        source: first.source_id.clone(),
        path: path.to_owned(),
        size: 100,
        mtime_ns: 5,
        choice: "auto".into(),
    };
    let queued = store.add_intakes(&event.id, &[intake], NOW).await.unwrap();
    let [Queued::Waiting(intake)] = queued.as_slice() else {
        panic!("{queued:?}")
    };
    let opened = Opened {
        intake: intake.clone(),
        event: event.id.clone(),
        file: file(path, 'b'),
        recordings: vec![OpenedRecording {
            pick: "mix".into(),
            channels_why: "one pair".into(),
        }],
        note: None,
    };
    let lease = claim(store, Lane::Light, "b1").await.lease();
    let ids = store.finish_probe(&lease, &opened, NOW).await.unwrap();
    let takes = vec![vec![first.id.clone()], vec![ids[0].clone()]];
    store.set_takes(&first.source_id, &takes).await.unwrap();
    let recording = store.recording(&ids[0]).await.unwrap();
    let detected = Detected {
        recording: &recording,
        segments: &[
            found(1_010, 3_010),
            found(5_010, 6_010),
            found(8_000, 10_000),
        ],
        track: &[7],
        quality: &[],
        peaks: &Peaks::default(),
        warnings: &[],
    };
    let lease = claim(store, Lane::Light, "b2").await.lease();
    store.finish_detect(&lease, &detected, NOW).await.unwrap();
    recording
}

/// Asked for, looked through again, solved, fixed, solved from scratch.
async fn clock(store: &Store, event: &EventId, recording: &RecordingId) {
    let row = store.clock(event).await.unwrap();
    assert_eq!((row.state, row.solved_at_ms), (ClockState::Waiting, None));
    let align = claim(store, Lane::Light, "a1").await;
    assert_eq!(
        (align.kind, align.subject.as_str()),
        (JobKind::Align, event.as_str())
    );
    let row = store.clock(event).await.unwrap();
    assert_eq!((row.state, row.job), (ClockState::Working, Some(align.id)));
    // Its band levels are of another version.
    let again = std::slice::from_ref(recording);
    store
        .detect_again(&align.lease(), event, again, NOW)
        .await
        .unwrap();
    assert_eq!(store.track(recording).await.unwrap(), None);
    assert_eq!(store.quality(recording).await.unwrap(), None);
    let detect = claim(store, Lane::Light, "a2").await;
    assert_eq!(detect.kind, JobKind::Detect, "align waits for it");
    let row = store.recording(recording).await.unwrap();
    let detected = Detected {
        recording: &row,
        segments: &[found(1_000, 3_000), found(5_000, 6_000)],
        track: &[4],
        quality: &[],
        peaks: &Peaks::default(),
        warnings: &[],
    };
    store
        .finish_detect(&detect.lease(), &detected, NOW)
        .await
        .unwrap();
    assert_eq!(store.segments(recording).await.unwrap().len(), 2);

    let align = claim(store, Lane::Light, "a3").await;
    let fix = ClockFix::Start { event_ms: -2.5 };
    store.set_fix(recording, &fix).await.unwrap();
    let other = ClockFix::Same {
        file_ms: 0.0,
        other: RecordingId::from("elsewhere"),
        other_ms: 0.0,
    };
    assert!(matches!(
        store.set_fix(recording, &other).await,
        Err(StoreError::Unknown { .. })
    ));
    assert_eq!(store.fixes(event).await.unwrap()[0].fix, fix);
    assert!(store.clear_fix(recording).await.unwrap());
    assert!(!store.clear_fix(recording).await.unwrap());
    let mut first = solved(event, recording, false);
    first.pairs = vec![NewPair {
        a: recording.clone(),
        b: recording.clone(),
        version: 1,
        body: serde_json::json!({"x": 1}),
    }];
    store
        .finish_align(&align.lease(), &first, NOW)
        .await
        .unwrap();
    assert_eq!(store.pairs(event).await.unwrap().len(), 1);
    assert_eq!(store.placements(event).await.unwrap()[0].how.0, How::ByHand);
    // Asked for while it ran, so it runs once more, before moments are found.
    store.ask_solve(event, true).await.unwrap();
    assert!(store.is_anew(event).await.unwrap());
    let align = claim(store, Lane::Light, "a4").await;
    assert_eq!(align.kind, JobKind::Align);
    store
        .finish_align(&align.lease(), &solved(event, recording, true), NOW)
        .await
        .unwrap();
    assert!(!store.is_anew(event).await.unwrap());
    assert_eq!(store.pairs(event).await.unwrap(), []);
    let row = store.clock(event).await.unwrap();
    assert_eq!(
        (row.state, row.solved_at_ms, row.members.0),
        (ClockState::Solved, Some(NOW), vec![recording.clone()])
    );
}
