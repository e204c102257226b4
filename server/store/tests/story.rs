//! One file's way through the store, from adding to being found; together with
//! everything that may happen to it, it executes every statement.

use sayback_core::text::Query;

use super::*;

const NOW: i64 = 1_000_000;
const LEASE: i64 = 10_000;

fn file(path: &Path, hash: char) -> NewFile {
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

async fn claim(store: &Store, lane: Lane, owner: &str) -> Claim {
    store.claim(lane, owner, NOW, LEASE).await.unwrap().unwrap()
}

#[tokio::test]
async fn the_story_uses_every_statement() {
    let (_folder, store) = store().await;
    let new = NewEvent {
        title: "The landing".into(),
        date: None,
        frame_rate: Some("25".into()),
    };
    let event = store.create_event(new, NOW).await.unwrap();
    assert_eq!(store.find_event("The landing").await.unwrap().id, event.id);
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
    assert_eq!(store.take_count(&event.id).await.unwrap(), 1);

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
    let found = |start_ms, end_ms| NewSegment {
        start_ms,
        end_ms,
        level_dbfs: -20.0,
        snr_db: 21.5,
    };
    store
        .finish_detect(
            &detect.lease(),
            &recording,
            &[found(1000, 3000), found(5000, 6000)],
            &["3 places".into(), "the header said 0 bytes".into()],
            NOW,
        )
        .await
        .unwrap();
    let segments = store.segments(id).await.unwrap();
    assert_eq!(
        segments.iter().map(|s| s.start_ms).collect::<Vec<_>>(),
        [1000, 5000]
    );

    transcribe_and_find(&store, &event, &recording, &segments).await;
    let left = store.to_do().await.unwrap();
    assert!(!left.running && !left.light && !left.model && !left.takes && !left.paused);

    clock_and_moments(&store, &event.id, id).await;

    let used = store.used.lock().unwrap().clone();
    let unused: Vec<_> = all_statements()
        .iter()
        .map(|s| s.name)
        .filter(|name| !used.contains(name))
        .collect();
    assert_eq!(
        unused,
        Vec::<&str>::new(),
        "statements no test has executed"
    );
}

async fn transcribe_and_find(
    store: &Store,
    event: &EventRow,
    recording: &RecordingRow,
    segments: &[SegmentRow],
) {
    let ids: Vec<SegmentId> = segments.iter().map(|s| s.id).collect();
    let word = |at: usize, text: &str, start_ms| NewWord {
        segment: ids[at],
        text: text.into(),
        start_ms,
        end_ms: start_ms + 200,
        confidence: 0.9,
    };
    let job = claim(store, Lane::Model, "m1").await;
    assert_eq!(store.jobs_of(recording.id.as_str()).await.unwrap().len(), 2);
    assert_eq!(store.job(job.id).await.unwrap().priority, 1);
    let lease = job.lease();
    assert_eq!(
        store
            .begin_transcript(&lease, recording, "tiny.en", 2)
            .await
            .unwrap(),
        0
    );
    let first = [word(0, "The", 1000), word(0, "kettle,", 1300)];
    let commit = |window, words, segments| WindowCommit {
        recording,
        window,
        segments,
        words,
    };
    store
        .commit_window(&lease, &commit(0, &first, &ids[..1]))
        .await
        .unwrap();
    // The same window can't be written twice.
    assert!(matches!(
        store
            .commit_window(&lease, &commit(0, &first, &ids[..1]))
            .await,
        Err(StoreError::LeaseLost(_))
    ));
    // The next run goes on behind it; another model starts over.
    assert_eq!(
        store
            .begin_transcript(&lease, recording, "tiny.en", 2)
            .await
            .unwrap(),
        1
    );
    assert_eq!(
        store
            .begin_transcript(&lease, recording, "base", 2)
            .await
            .unwrap(),
        0
    );
    assert_eq!(store.recording(&recording.id).await.unwrap().word_count, 0);
    store
        .commit_window(&lease, &commit(0, &first, &ids[..1]))
        .await
        .unwrap();
    // Put back in the middle of the second window, only the first counts; and
    // the next claim's rate is not that of the one before.
    let beat = Beat {
        lease,
        progress: 0.9,
    };
    store.beat(&[beat], NOW + LEASE).await.unwrap();
    store.give_back(&job.lease()).await.unwrap();
    assert_eq!(store.job(job.id).await.unwrap().progress, 0.5);
    let lease = claim(store, Lane::Model, "m2").await.lease();
    let steps = store.status(None, NOW + 1_000).await.unwrap().steps;
    assert_eq!((steps[1].left_ms, steps[1].recent_audio_ms), (1_500.0, 0.0));
    let second = [word(0, "kept", 1600), word(1, "AND", 5000)];
    store
        .commit_window(&lease, &commit(1, &second, &ids))
        .await
        .unwrap();
    store
        .finish_transcript(&lease, recording, NOW)
        .await
        .unwrap();

    let transcript = store.transcript(&recording.id).await.unwrap();
    assert_eq!(
        transcript[0].segment.text.as_deref(),
        Some("The kettle, kept")
    );
    assert_eq!(
        transcript[0].words.iter().map(|w| w.n).collect::<Vec<_>>(),
        [0, 1, 2]
    );
    assert_eq!(transcript[1].segment.text.as_deref(), Some("AND"));

    let index = claim(store, Lane::Light, "w7").await;
    let normals = [
        (ids[0], "the kettle kept".to_owned()),
        (ids[1], "and _".to_owned()),
    ];
    store
        .finish_index(&index.lease(), recording, &normals, NOW)
        .await
        .unwrap();
    let row = &store.recordings(&event.id).await.unwrap()[0];
    assert_eq!(
        (row.state, row.word_count, row.segment_count),
        (RecordingState::Ready, 4, Some(2))
    );
    assert_eq!(row.warnings.0, ["the header said 0 bytes", "3 places"]);

    for (query, hits) in [
        ("kettle", 1),
        ("\"kettle kept\"", 1),
        ("\"the kept\"", 0),
        ("ket*", 1),
        ("and", 1),
        ("AND OR NOT", 0),
        ("\"", 0),
        ("*", 0),
        ("(((", 0),
        ("kettle and", 0),
        ("the kept", 1),
        ("normal:kettle", 0),
        ("^kettle", 1),
        ("", 0),
    ] {
        let found = store
            .search_segments(&Query::parse(query), Some(&event.id), 10)
            .await
            .unwrap();
        assert_eq!(found.len(), hits, "{query}");
    }
    let found = &store
        .search_segments(&Query::parse("kettle"), None, 10)
        .await
        .unwrap()[0];
    assert_eq!(found.recording.stamps.len(), 1);
    assert_eq!(found.source.wearer_name.as_deref(), Some("Maro"));
    assert_eq!(found.event.words, 4);
    let other = EventId::fresh();
    assert!(
        store
            .search_segments(&Query::parse("kettle"), Some(&other), 10)
            .await
            .unwrap()
            .is_empty()
    );
}

async fn clock_and_moments(store: &Store, event: &EventId, recording: &RecordingId) {
    assert_eq!(store.segments_of_event(event).await.unwrap().len(), 2);
    assert_eq!(store.clock(event).await.unwrap().state, ClockState::None);
    let fix = ClockFix::Start { event_ms: -2.5 };
    store.set_fix(recording, &fix).await.unwrap();
    assert_eq!(store.clock(event).await.unwrap().state, ClockState::Waiting);
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
    store.ask_solve(event, true).await.unwrap();
    assert_eq!(store.placements(event).await.unwrap(), []);
    assert_eq!(store.pairs(event).await.unwrap(), []);
    assert_eq!(store.moments_of(recording).await.unwrap(), []);
    assert_eq!(store.moments(event, None, None, 10, 0).await.unwrap(), []);
    assert_eq!(store.moment_count(event, None, None).await.unwrap(), 0);
    assert_eq!(store.hearings_of(&[]).await.unwrap(), []);
    assert_eq!(store.listened(event).await.unwrap().model_ms, 0);
    let query = Query::parse("kettle");
    assert!(
        store
            .search(&query, Some(event), 10)
            .await
            .unwrap()
            .is_empty()
    );
}
