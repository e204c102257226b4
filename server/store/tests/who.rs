//! Who speaks: found, told, merged, forgotten.

use super::story::{LEASE, NOW, claim, file, found as found_speech, solved};
use super::words::{commit, grouped, hearing, moment, words};
use super::*;

fn speaks(from_ms: i64, speaker: &SpeakerRef, certainty: f32) -> Speaks {
    Speaks {
        from_ms,
        speaker: Some(speaker.clone()),
        also: None,
        certainty,
        why: "by voice".into(),
    }
}

/// Every moment of an event.
async fn moments(store: &Store, event: &EventId) -> Vec<MomentRow> {
    store.moments(event, None, None, 100, 0).await.unwrap()
}

/// What a step finds, given who speaks in the first moment.
async fn found(store: &Store, event: &EventId, turns: Vec<Speaks>, voice: &SpeakerRef) -> Spoken {
    let first = store.speech_of_event(event).await.unwrap()[0]
        .moment_id
        .clone();
    Spoken {
        moments: vec![(first, turns)],
        voices: vec![(voice.clone(), vec![1, 2])],
        seen: store.speech_seen(event).await.unwrap(),
    }
}

async fn voices(store: &Store) -> Lease {
    let claim = claim(store, Lane::Light, "v").await;
    assert_eq!(claim.kind, JobKind::Voices);
    claim.lease()
}

async fn name_of(store: &Store, event: &EventId) -> Option<String> {
    moments(store, event).await[0].person_name.clone()
}

/// An event of one recorder with one moment, 'The kettle, kept'.
async fn one_moment(store: &Store) -> (EventId, SourceId) {
    let new = NewEvent {
        title: "The other landing".into(),
        ..NewEvent::default()
    };
    let event = store.create_event(new, NOW).await.unwrap().id;
    let source = store.ensure_source(&event, "lav", Some(Placement::Worn), None);
    let source = source.await.unwrap().id;
    let path = Path::new("/cards/w.wav");
    let intake = NewIntake {
        source: source.clone(),
        path: path.to_owned(),
        size: 100,
        mtime_ns: 5,
        choice: "auto".into(),
    };
    let queued = store.add_intakes(&event, &[intake], NOW).await.unwrap();
    let [Queued::Waiting(intake)] = queued.as_slice() else {
        panic!("{queued:?}")
    };
    let opened = Opened {
        intake: intake.clone(),
        event: event.clone(),
        file: file(path, 'c'),
        recordings: vec![OpenedRecording {
            pick: "mix".into(),
            channels_why: "one pair".into(),
        }],
        note: None,
    };
    let lease = claim(store, Lane::Light, "w1").await.lease();
    let ids = store.finish_probe(&lease, &opened, NOW).await.unwrap();
    let takes = [vec![ids[0].clone()]];
    store.set_takes(&source, &takes).await.unwrap();
    let recording = store.recording(&ids[0]).await.unwrap();
    let detected = Detected {
        recording: &recording,
        segments: &[found_speech(1_000, 3_000)],
        track: &[7],
        quality: &[],
        peaks: &Peaks::default(),
        warnings: &[],
    };
    let lease = claim(store, Lane::Light, "w2").await.lease();
    store.finish_detect(&lease, &detected, NOW).await.unwrap();
    let lease = claim(store, Lane::Light, "w3").await.lease();
    let placed = solved(&event, &recording.id, false);
    store.finish_align(&lease, &placed, NOW).await.unwrap();
    let lease = claim(store, Lane::Light, "w4").await.lease();
    let found = [moment(&[hearing(&recording.id, 1_000, 3_000)])];
    let found = grouped(&event, &found);
    store.finish_group(&lease, &found, NOW).await.unwrap();
    // Who speaks is looked for behind the words.
    let nothing = store.claim(Lane::Light, "w5", NOW, LEASE).await.unwrap();
    assert!(nothing.is_none());
    let lease = claim(store, Lane::Model, "w6").await.lease();
    let wanted = store.begin_listening(&lease, &recording.id, "base").await;
    let tried = Tried {
        moment: wanted.unwrap()[0].moment_id.clone(),
        words: words(&["The", "kettle,", "kept"], 1_000),
    };
    store.plan_windows(&lease, 1, 0, 2_000).await.unwrap();
    commit(store, &lease, &recording, &[tried]).await;
    store
        .finish_listening(&lease, &recording, NOW)
        .await
        .unwrap();
    (event, source)
}

/// Everything that may happen to people. `open`: an event whose speakers wait to be
/// found.
pub(super) async fn spoken(store: &Store, open: &EventId) {
    let lease = voices(store).await;
    let nothing = Spoken {
        seen: store.speech_seen(open).await.unwrap(),
        ..Spoken::default()
    };
    store
        .finish_voices(&lease, open, &nothing, NOW)
        .await
        .unwrap();
    let (event, source) = &one_moment(store).await;
    let before = moments(store, event).await;
    store.set_wearers(source, None, &[]).await.unwrap();
    store.change_source(source, None, None).await.unwrap();
    store.name_wearers(event).await.unwrap();
    let wearer = &store.wearers(event).await.unwrap()[0];
    let wearer = store.person(&wearer.person_id).await.unwrap();
    assert_eq!(
        (wearer.name.as_str(), wearer.unnamed),
        ("wearer of lav", true)
    );

    // Two speak in turn: two moments, cut between words, and nobody's change.
    let lease = voices(store).await;
    let new = SpeakerRef::Unnamed(1);
    let turns = vec![
        speaks(1_000, &SpeakerRef::Person(wearer.id.clone()), 0.75),
        speaks(1_400, &new, 0.5),
    ];
    let spoken = found(store, event, turns, &new).await;
    store
        .finish_voices(&lease, event, &spoken, NOW)
        .await
        .unwrap();
    let now = moments(store, event).await;
    assert_eq!(now.len(), before.len() + 1);
    let told: Vec<_> = now[..2]
        .iter()
        .map(|m| (m.text.as_deref(), m.person_name.as_deref(), m.certainty))
        .collect();
    assert_eq!(
        told,
        [
            (Some("The"), Some("wearer of lav"), Some(0.75)),
            (Some("kettle, kept"), Some("speaker 1"), Some(0.5))
        ]
    );
    assert!(
        now[..2]
            .iter()
            .all(|m| !m.by_hand && m.model == before[0].model)
    );
    assert_eq!(
        (now[0].id.clone(), now[0].version),
        (before[0].id.clone(), before[0].version + 1)
    );
    assert_eq!(store.change_count(&now[0].id).await.unwrap(), 0);
    assert_eq!(store.voices(event).await.unwrap()[0].voice, [1, 2]);

    // Who wears it can be said late.
    let source = store
        .ensure_source(event, "lav", None, Some("Ottilie"))
        .await
        .unwrap();
    let lease = voices(store).await;
    let spoken = found(store, event, Vec::new(), &new).await;
    let nothing = Spoken {
        moments: Vec::new(),
        ..spoken
    };
    store
        .finish_voices(&lease, event, &nothing, NOW)
        .await
        .unwrap();
    let source = &source.id;

    // Whoever is named is no unnamed speaker any more; the old name is free.
    let speaker = now[1].person_id.clone().unwrap();
    let jory = store
        .change_person(&speaker, Some(" Jory "), Some("reader"))
        .await
        .unwrap();
    assert_eq!(
        (
            jory.name.as_str(),
            jory.role.as_deref(),
            jory.unnamed,
            jory.moments
        ),
        ("Jory", Some("reader"), false, 1)
    );
    assert!(matches!(
        store.change_person(&wearer.id, Some("Jory"), None).await,
        Err(StoreError::Exists { .. })
    ));

    // Told: certain at once, and looked for again. What was found without it counts
    // for nothing.
    store.find_speakers(event).await.unwrap();
    let lease = voices(store).await;
    let outdated = found(store, event, vec![speaks(1_000, &new, 0.9)], &new).await;
    store
        .tell_speaker(&now[0].id, Some(&speaker), "Ada", NOW)
        .await
        .unwrap();
    store
        .finish_voices(&lease, event, &outdated, NOW)
        .await
        .unwrap();
    let row = &moments(store, event).await[0];
    assert_eq!(
        (
            row.person_name.as_deref(),
            row.certainty,
            row.person_why.as_deref()
        ),
        (Some("Jory"), Some(1.0), Some("said by Ada"))
    );
    assert_eq!(store.tellings(event).await.unwrap()[0].person_id, speaker);
    let lease = voices(store).await;

    // Heard once, remembered until the moments are others.
    let hearing = &store.speech_of_event(event).await.unwrap()[0];
    let kept = ListenedRow {
        recording_id: hearing.recording_id.clone(),
        start_ms: hearing.file_start_ms,
        end_ms: hearing.file_end_ms,
        body: vec![9],
    };
    let stale = ListenedRow {
        end_ms: kept.end_ms + 1,
        ..kept.clone()
    };
    store.keep_listened(&[kept.clone(), stale]).await.unwrap();
    let person = SpeakerRef::Person(speaker.clone());
    let spoken = found(store, event, vec![speaks(1_000, &person, 1.0)], &person).await;
    store
        .finish_voices(&lease, event, &spoken, NOW)
        .await
        .unwrap();
    assert_eq!(store.listened(event).await.unwrap(), [kept]);
    assert_eq!(
        store
            .people(event)
            .await
            .unwrap()
            .iter()
            .filter(|p| p.unnamed)
            .count(),
        0,
        "whoever was taken for the wearer is gone"
    );

    // Taken back; made one with another; gone.
    store
        .tell_speaker(&now[0].id, None, "Ada", NOW)
        .await
        .unwrap();
    assert_eq!(
        (
            name_of(store, event).await,
            store.tellings(event).await.unwrap()
        ),
        (None, vec![])
    );
    let corin = store.add_person(event, "Corin", None).await.unwrap();
    store
        .set_wearers(source, Some(&speaker), &[(500, corin.id.clone())])
        .await
        .unwrap();
    assert_eq!(store.wearers(event).await.unwrap().len(), 2);
    store
        .merge_people(&speaker, &corin.id, "Ada", NOW)
        .await
        .unwrap();
    let people = store.people(event).await.unwrap();
    assert!(people.iter().all(|one| one.name != "Jory"));
    assert!(
        store
            .wearers(event)
            .await
            .unwrap()
            .iter()
            .all(|one| one.person_id == corin.id)
    );
    assert_eq!(
        store.tellings(event).await.unwrap().len(),
        1,
        "the part they spoke in"
    );
    assert!(matches!(
        store.merge_people(&corin.id, &corin.id, "Ada", NOW).await,
        Err(StoreError::Unfit { .. })
    ));
    store.delete_person(&corin.id).await.unwrap();
    assert!(matches!(
        store.person(&corin.id).await,
        Err(StoreError::Unknown { .. })
    ));
    assert_eq!(store.tellings(event).await.unwrap(), []);

    // Nothing crosses events unless asked, and what is forgotten is gone.
    assert!(!store.voices_across_events().await.unwrap());
    store.set_voices_across_events(true).await.unwrap();
    assert!(store.voices_across_events().await.unwrap());
    assert_eq!(store.voices_elsewhere(event).await.unwrap(), []);
    store.forget_voices(event).await.unwrap();
    assert_eq!(
        (
            store.voices(event).await.unwrap(),
            store.listened(event).await.unwrap()
        ),
        (vec![], vec![])
    );
    let lease = voices(store).await;
    let spoken = found(store, event, Vec::new(), &new).await;
    store
        .finish_voices(
            &lease,
            event,
            &Spoken {
                voices: Vec::new(),
                ..spoken
            },
            NOW,
        )
        .await
        .unwrap();
    super::meant::kept_found_and_gone(store, event).await;
}

#[tokio::test]
async fn a_source_put_right_has_its_event_grouped_again_only_if_it_is_placed_otherwise() {
    let (desk, _) = super::put_right::heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let source = store.sources(&desk.event).await.unwrap().remove(0);
    let job = async || desk.job(JobKind::Group, desk.event.as_str()).await.state;
    assert_eq!(job().await, JobState::Done);
    let renamed = store
        .change_source(&source.id, Some(" Lectern "), Some(source.placement))
        .await
        .unwrap();
    assert_eq!(
        (renamed.label.as_str(), renamed.placement),
        ("Lectern", source.placement)
    );
    assert_eq!(job().await, JobState::Done);
    let other = match source.placement {
        Placement::Feed => Placement::Stand,
        _ => Placement::Feed,
    };
    let moved = store
        .change_source(&source.id, None, Some(other))
        .await
        .unwrap();
    assert_eq!((moved.label.as_str(), moved.placement), ("Lectern", other));
    assert_eq!(job().await, JobState::Ready);
    let taken = store
        .ensure_source(&desk.event, "Zoom", None, None)
        .await
        .unwrap();
    let refused = store.change_source(&taken.id, Some("Lectern"), None).await;
    assert!(matches!(refused, Err(StoreError::Exists { .. })));
    let blank = store.change_source(&taken.id, Some(" "), None).await;
    assert!(matches!(blank, Err(StoreError::Invalid { .. })));
    let none = SourceId::fresh();
    let unknown = store.change_source(&none, Some("a"), None).await;
    assert!(matches!(unknown, Err(StoreError::Unknown { .. })));
}
