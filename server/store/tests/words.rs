//! From moments that are found to words that are found.

use sayback_core::quality::Verdict;

use super::story::{LEASE, NOW, claim, solved};
use super::*;

pub(super) fn hearing(recording: &RecordingId, start_ms: i64, end_ms: i64) -> NewHearing {
    NewHearing {
        recording: recording.clone(),
        start_ms,
        end_ms,
        heard: true,
        level_dbfs: -20.0,
        snr_db: 21.5,
        clipped: 0.0,
        reverb: 0.25,
        score: 20.0,
        why: vec!["21 dB above its noise".into()],
        verdict: Verdict::Clean,
    }
}

pub(super) fn moment(hearings: &[NewHearing]) -> NewMoment {
    NewMoment {
        kept: Vec::new(),
        island: 0,
        start_ms: hearings[0].start_ms,
        end_ms: hearings[0].end_ms,
        hearings: hearings.to_vec(),
    }
}

pub(super) fn kept(mut moment: NewMoment, ids: &[&MomentId]) -> NewMoment {
    moment.kept = ids.iter().map(|id| (*id).clone()).collect();
    moment
}

pub(super) fn words(texts: &[&str], start_ms: i64) -> Vec<NewWord> {
    (0..)
        .zip(texts)
        .map(|(n, text)| NewWord {
            text: (*text).into(),
            start_ms: start_ms + 300 * n,
            end_ms: start_ms + 300 * n + 200,
            confidence: 0.9,
            ..NewWord::default()
        })
        .collect()
}

fn unsure(words: Vec<NewWord>) -> Vec<NewWord> {
    let unsure = |word| NewWord {
        confidence: 0.4,
        ..word
    };
    words.into_iter().map(unsure).collect()
}

/// The first attempt's words; doubted while there is only one.
pub(super) fn first(_: &MomentId, attempts: &[AttemptRow]) -> MomentWords {
    let best = &attempts[0];
    MomentWords {
        words_from: best.recording_id.clone(),
        model: best.model.clone(),
        words: best.words.clone(),
        doubt: (attempts.len() < 2).then(|| "few are sure".into()),
        why: None,
    }
}

pub(super) fn grouped<'a>(event: &'a EventId, moments: &'a [NewMoment]) -> Grouped<'a> {
    Grouped {
        event,
        moments,
        fuse: &first,
        names: &[],
    }
}

pub(super) async fn commit(
    store: &Store,
    lease: &Lease,
    recording: &RecordingRow,
    tried: &[Tried],
) {
    let commit = WindowCommit {
        recording,
        model: "base",
        tried,
        fuse: &first,
    };
    store.commit_window(lease, &commit).await.unwrap();
}

pub(super) async fn listen_and_find(store: &Store, event: &EventRow, recording: &RecordingRow) {
    let id = &recording.id;
    let group = claim(store, Lane::Light, "g1").await;
    assert_eq!(group.kind, JobKind::Group);
    let found = [
        moment(&[hearing(id, 1_000, 3_000)]),
        moment(&[hearing(id, 5_000, 6_000)]),
    ];
    store
        .finish_group(&group.lease(), &grouped(&event.id, &found), NOW)
        .await
        .unwrap();
    let ids: Vec<MomentId> = store
        .moments(&event.id, None, None, 10, 0)
        .await
        .unwrap()
        .into_iter()
        .map(|moment| moment.id)
        .collect();
    assert_eq!(
        store
            .moment_count(&event.id, Some(0), Some(4_000))
            .await
            .unwrap(),
        1
    );
    assert_eq!(store.jobs_of(id.as_str()).await.unwrap().len(), 2);

    // A person looked at the recording before its words could be asked for.
    let job = claim(store, Lane::Model, "m1").await;
    assert!(store.job(job.id).await.unwrap().priority > 0);
    let lease = job.lease();
    let wanted = store.begin_listening(&lease, id, "tiny.en").await.unwrap();
    assert_eq!(wanted.len(), 2);
    store.plan_windows(&lease, 2, 0, 3_000).await.unwrap();
    let tried = |n: usize, words| Tried {
        moment: ids[n].clone(),
        words,
    };
    let kettle = words(&["The", "kettle,", "kept"], 1_000);
    let other_model = WindowCommit {
        recording,
        model: "tiny.en",
        tried: &[tried(0, kettle.clone())],
        fuse: &first,
    };
    store.commit_window(&lease, &other_model).await.unwrap();
    let row = store.recording(id).await.unwrap();
    assert_eq!((row.word_count, row.model.as_deref()), (3, Some("tiny.en")));
    super::glossary::given(store, &event.id, &ids[..1]).await;
    // The next run goes on behind it; another model starts over.
    let wanted = store.begin_listening(&lease, id, "tiny.en").await.unwrap();
    assert_eq!(
        wanted.iter().map(|w| w.tried).collect::<Vec<_>>(),
        [true, false]
    );
    let wanted = store.begin_listening(&lease, id, "base").await.unwrap();
    assert_eq!(
        wanted.iter().map(|w| w.tried).collect::<Vec<_>>(),
        [false, false]
    );
    assert_eq!(store.recording(id).await.unwrap().word_count, 0);
    assert_eq!(store.words_of(&ids).await.unwrap(), []);
    commit(store, &lease, recording, &[tried(0, kettle.clone())]).await;
    // The same window again changes nothing.
    commit(store, &lease, recording, &[tried(0, words(&["No"], 1_000))]).await;
    assert_eq!(store.words_of(&ids).await.unwrap().len(), 3);

    // Put back in the middle of the second window, only the first counts; and
    // the next claim's rate is not that of the one before.
    store.plan_windows(&lease, 2, 1, 3_000).await.unwrap();
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
    let status = store.status(None, NOW).await.unwrap();
    assert_eq!((status.audio_ms_done, status.distinct_ms), (5_000, 3_000));
    commit(
        store,
        &lease,
        recording,
        &[tried(1, unsure(words(&["AND"], 5_000)))],
    )
    .await;
    store
        .finish_listening(&lease, recording, NOW)
        .await
        .unwrap();
    let row = &store.recordings(&event.id).await.unwrap()[0];
    assert_eq!(
        (row.state, row.word_count, row.segment_count),
        (RecordingState::Ready, 4, Some(2))
    );
    let heard = store.moments_of(id).await.unwrap();
    let all = store.hearings_of_event(&event.id).await.unwrap();
    assert_eq!(
        all,
        heard.iter().map(|h| h.hearing.clone()).collect::<Vec<_>>()
    );
    assert_eq!(heard[0].moment.text.as_deref(), Some("The kettle, kept"));
    assert_eq!(
        heard[0].words.iter().map(|w| w.n).collect::<Vec<_>>(),
        [0, 1, 2]
    );
    assert_eq!(
        store.hearings_of(&ids).await.unwrap()[1].why.0,
        ["21 dB above its noise"]
    );
    search(store, event).await;
    super::put_right::put_right_and_taken_back(store, event, &ids).await;
    super::searching::indexed(store, &event.id).await;
    second_tries(store, event, recording, &ids).await;
}

async fn search(store: &Store, event: &EventRow) {
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
        let found = holding(store, query, Some(&event.id)).await;
        assert_eq!(found.len(), hits, "{query}");
    }
    let found = holding(store, "kettle", None).await;
    let whole = store.whole_moments(&found).await.unwrap();
    assert_eq!(whole[0].words.len(), 3);
    let other = EventId::fresh();
    assert!(holding(store, "kettle", Some(&other)).await.is_empty());
}

/// Another recorder joins: moments stay, it gets the doubted one to try, and what
/// fails goes back.
async fn second_tries(store: &Store, event: &EventRow, first: &RecordingRow, ids: &[MomentId]) {
    let other = super::story::open_another(store, event, first).await;
    let align = claim(store, Lane::Light, "s1").await;
    let mut placed = solved(&event.id, &first.id, false);
    placed.placements[0].recording = other.id.clone();
    store
        .finish_align(&align.lease(), &placed, NOW)
        .await
        .unwrap();
    let group = claim(store, Lane::Light, "s2").await;
    let both = |start_ms, end_ms| {
        [
            hearing(&first.id, start_ms, end_ms),
            hearing(&other.id, start_ms + 10, end_ms + 10),
        ]
    };
    let mut found = vec![
        moment(&both(1_000, 3_000)),
        moment(&both(5_000, 6_000)),
        moment(&[hearing(&other.id, 8_000, 10_000)]),
    ];
    found[0].kept = vec![ids[0].clone()];
    found[1].kept = vec![ids[1].clone()];
    found[0].hearings[1].end_ms = 1_910;
    store
        .finish_group(&group.lease(), &grouped(&event.id, &found), NOW)
        .await
        .unwrap();
    let now = store.moments(&event.id, None, None, 10, 0).await.unwrap();
    assert_eq!(now.len(), 3);
    assert_eq!((&now[0].id, &now[1].id), (&ids[0], &ids[1]));
    let before = store.recording(&other.id).await.unwrap();
    assert_eq!(
        (before.word_count, before.state),
        (4, RecordingState::Working)
    );

    // The new moment is listened to; then of the doubted ones the less sure, for both
    // are more than a fifth of 5 s.
    let job = claim(store, Lane::Model, "s3").await;
    assert_eq!(job.subject, other.id.as_str());
    let lease = job.lease();
    let wanted = store
        .begin_listening(&lease, &other.id, "base")
        .await
        .unwrap();
    assert_eq!(wanted.len(), 1);
    let tried = [Tried {
        moment: now[2].id.clone(),
        words: words(&["Gulls"], 8_100),
    }];
    store.plan_windows(&lease, 1, 0, 2_000).await.unwrap();
    commit(store, &lease, &other, &tried).await;
    store.finish_listening(&lease, &other, NOW).await.unwrap();
    assert_eq!(store.job(job.id).await.unwrap().state, JobState::Ready);
    let lease = claim(store, Lane::Model, "s4").await.lease();
    let wanted = store
        .begin_listening(&lease, &other.id, "base")
        .await
        .unwrap();
    let second: Vec<_> = wanted.iter().map(|w| (&w.moment_id, w.tried)).collect();
    assert_eq!(second, [(&ids[1], false)]);
    store.plan_windows(&lease, 1, 0, 1_000).await.unwrap();
    let tried = [Tried {
        moment: ids[1].clone(),
        words: words(&["And", "so"], 5_010),
    }];
    commit(store, &lease, &other, &tried).await;
    store.finish_listening(&lease, &other, NOW).await.unwrap();
    let moment = &store.moments_by_ids(&ids[1..]).await.unwrap()[0];
    assert_eq!(
        (moment.doubt.as_deref(), moment.text.as_deref()),
        (None, Some("AND"))
    );
    let all = store.hearings_of_event(&event.id).await.unwrap();
    let tried = all.iter().filter(|hearing| hearing.tried);
    let listened: i64 = tried.map(|h| h.end_ms - h.start_ms).sum();
    assert_eq!(listened, 6_000);

    // Two moments turn out to be one; its first words stay, and one nobody hears
    // any more is none.
    store.ask_solve(&event.id, false).await.unwrap();
    let align = claim(store, Lane::Light, "s5").await;
    store
        .finish_align(&align.lease(), &placed, NOW)
        .await
        .unwrap();
    let group = claim(store, Lane::Light, "s6").await;
    found.truncate(1);
    found[0].kept = vec![ids[0].clone(), ids[1].clone(), now[2].id.clone()];
    store
        .finish_group(&group.lease(), &grouped(&event.id, &found), NOW)
        .await
        .unwrap();
    let one = store.moments(&event.id, None, None, 10, 0).await.unwrap();
    assert_eq!(one.len(), 1);
    assert_eq!(one[0].text.as_deref(), Some("The kettle, kept"));
    assert!(holding(store, "and", None).await.is_empty());
    passed_on(store, event, first, &other).await;
}

/// What is called off or fails goes to whoever else heard it, and holds up nothing.
async fn passed_on(store: &Store, event: &EventRow, first: &RecordingRow, other: &RecordingRow) {
    // A solve from scratch that was called off is not made up for later.
    store.ask_solve(&event.id, true).await.unwrap();
    let job = store.clock(&event.id).await.unwrap().job.unwrap();
    store.cancel_job(job, NOW).await.unwrap();
    assert!(!store.is_anew(&event.id).await.unwrap());

    // Two moments: one that both heard, one that only the first did.
    store.ask_solve(&event.id, true).await.unwrap();
    let align = claim(store, Lane::Light, "p1").await;
    let placed = solved(&event.id, &first.id, true);
    store
        .finish_align(&align.lease(), &placed, NOW)
        .await
        .unwrap();
    let deaf = NewHearing {
        heard: false,
        ..hearing(&other.id, 5_010, 6_010)
    };
    let found = [
        moment(&[
            hearing(&first.id, 1_000, 3_000),
            hearing(&other.id, 1_010, 3_010),
        ]),
        moment(&[hearing(&first.id, 5_000, 6_000), deaf]),
    ];
    let group = claim(store, Lane::Light, "p2").await;
    store
        .finish_group(&group.lease(), &grouped(&event.id, &found), NOW)
        .await
        .unwrap();
    let transcribe = claim(store, Lane::Model, "p3").await;
    assert_eq!(transcribe.subject, first.id.as_str());
    store.cancel_job(transcribe.id, NOW).await.unwrap();
    let group = claim(store, Lane::Light, "p4").await;
    assert_eq!(group.kind, JobKind::Group);
    store
        .finish_group(&group.lease(), &grouped(&event.id, &found), NOW)
        .await
        .unwrap();
    let transcribe = claim(store, Lane::Model, "p5").await;
    assert_eq!(transcribe.subject, other.id.as_str());
    let lease = transcribe.lease();
    let wanted = store
        .begin_listening(&lease, &other.id, "base")
        .await
        .unwrap();
    let spans: Vec<i64> = wanted.iter().map(|wanted| wanted.start_ms).collect();
    assert_eq!(spans, [1_010], "not what it did not hear");
    store.finish_listening(&lease, other, NOW).await.unwrap();

    // Without a clock each recording is on one of its own.
    store.ask_solve(&event.id, false).await.unwrap();
    let align = claim(store, Lane::Light, "p6").await;
    let failure = Failure {
        error: "the clock broke".into(),
        retry_at_ms: None,
        max_attempts: 1,
    };
    let state = store.fail(&align.lease(), &failure, NOW).await.unwrap();
    assert_eq!(state, JobState::Failed);
    let placements = store.placements(&event.id).await.unwrap();
    let mut islands: Vec<(bool, i64)> = placements
        .iter()
        .map(|row| (row.recording_id == other.id, row.island))
        .collect();
    islands.sort_unstable();
    assert_eq!(islands, [(false, 0), (true, 1)]);
    let group = claim(store, Lane::Light, "p7").await;
    assert_eq!(group.kind, JobKind::Group);
    store
        .finish_group(&group.lease(), &grouped(&event.id, &[]), NOW)
        .await
        .unwrap();
    let transcribe = claim(store, Lane::Model, "p8").await;
    store
        .finish_listening(&transcribe.lease(), other, NOW)
        .await
        .unwrap();
}
