//! What people put right, and what they are told where they can't.

use super::going_on::Desk;
use super::story::NOW;
use super::words::{first, hearing, moment, words};
use super::*;

pub(super) async fn row(store: &Store, id: &MomentId) -> MomentRow {
    let ids = std::slice::from_ref(id);
    store.moments_by_ids(ids).await.unwrap().pop().unwrap()
}

pub(super) async fn fix(
    store: &Store,
    moment: &MomentId,
    fix: Fix,
) -> Result<Vec<MomentId>, StoreError> {
    let fixing = Fixing {
        moment,
        version: row(store, moment).await.version,
        by: "Maro",
        fix: &fix,
    };
    store.fix(&fixing, NOW).await
}

pub(super) fn written(text: &str) -> Fix {
    Fix::Words { text: text.into() }
}

pub(super) async fn text(store: &Store, id: &MomentId) -> String {
    row(store, id).await.text.unwrap()
}

pub(super) async fn finds(store: &Store, query: &str) -> usize {
    holding(store, query, None).await.len()
}

/// Everything about an event's moments but their versions.
pub(super) async fn all(
    store: &Store,
    event: &EventId,
) -> Vec<(MomentRow, Vec<WordRow>, Vec<HearingRow>)> {
    let mut all = Vec::new();
    for row in store.moments(event, None, None, 100, 0).await.unwrap() {
        let ids = std::slice::from_ref(&row.id);
        let words = store.words_of(ids).await.unwrap();
        let hearings = store.hearings_of(ids).await.unwrap();
        all.push((MomentRow { version: 0, ..row }, words, hearings));
    }
    all
}

/// Part of the story: moments are as before when it is over.
pub(super) async fn put_right_and_taken_back(store: &Store, event: &EventRow, ids: &[MomentId]) {
    let [one, two] = ids else { panic!("{ids:?}") };
    let before = all(store, &event.id).await;
    let seen = row(store, one).await.version;
    let now = fix(store, one, written("The kettle kept boiling")).await;
    assert_eq!(now.unwrap(), std::slice::from_ref(one));
    assert_eq!(text(store, one).await, "The kettle kept boiling");
    assert_eq!(
        (
            finds(store, "boiling").await,
            finds(store, "\"kettle kept\"").await
        ),
        (1, 1)
    );
    let rows = store.words_of(std::slice::from_ref(one)).await.unwrap();
    let told: Vec<(i64, i64, bool)> = rows
        .iter()
        .map(|word| (word.start_ms, word.end_ms, word.by_hand))
        .collect();
    let kettle = [
        (1_000, 1_200, false),
        (1_300, 1_500, true),
        (1_600, 1_800, false),
        (1_800, 3_000, true),
    ];
    assert_eq!(told, kettle);
    // The same once more is no change.
    fix(store, one, written("The kettle kept boiling"))
        .await
        .unwrap();
    assert_eq!(row(store, one).await.version, seen + 1);

    // Somebody who has seen the line before is told both.
    let fixing = Fixing {
        moment: one,
        version: seen,
        by: "Ottilie",
        fix: &written("The cattle kept"),
    };
    let Err(StoreError::Stale(stale)) = store.fix(&fixing, NOW).await else {
        panic!("it was taken")
    };
    assert_eq!(stale.version, Some(seen + 1));
    assert_eq!(stale.text.as_deref(), Some("The kettle kept boiling"));
    assert_eq!(
        stale.last.map(|last| (last.by, last.at_ms)),
        Some(("Maro".into(), NOW))
    );

    let halves = fix(store, one, Fix::Split(Cut::Word(2))).await.unwrap();
    assert_eq!(text(store, &halves[1]).await, "kept boiling");
    assert_eq!(
        (
            finds(store, "\"the kettle\"").await,
            finds(store, "\"kettle kept\"").await
        ),
        (1, 0)
    );
    let end = row(store, &halves[1]).await.end_ms;
    let times = Fix::Times {
        start_ms: None,
        end_ms: Some(end - 500),
        words: Vec::new(),
    };
    fix(store, &halves[1], times).await.unwrap();
    let joined = |with: &MomentId, version| Fix::Join {
        with: with.clone(),
        version,
    };
    let version = row(store, &halves[1]).await.version;
    fix(store, one, joined(&halves[1], version)).await.unwrap();
    assert_eq!(text(store, one).await, "The kettle kept boiling");
    let version = row(store, two).await.version;
    fix(store, one, joined(two, version)).await.unwrap();
    assert_eq!(text(store, one).await, "The kettle kept boiling AND");
    assert_eq!(store.moment_count(&event.id, None, None).await.unwrap(), 1);
    let models = store.heard_of(one).await.unwrap();
    assert_eq!(
        models
            .iter()
            .map(|heard| heard.text.as_str())
            .collect::<Vec<_>>(),
        ["The kettle, kept AND"]
    );
    // Who has seen a moment that is part of another now is told which.
    for (gone, version) in [(two, version), (&halves[1], 1)] {
        let fixing = Fixing {
            moment: gone,
            version,
            by: "Ottilie",
            fix: &written("and"),
        };
        let Err(StoreError::Stale(stale)) = store.fix(&fixing, NOW).await else {
            panic!("it was taken")
        };
        assert_eq!((stale.version, stale.now_in), (None, vec![one.clone()]));
    }
    let kinds: Vec<ChangeKind> = store
        .changes(one, 100, 0)
        .await
        .unwrap()
        .iter()
        .map(|change| change.kind)
        .collect();
    let newest = [
        ChangeKind::Join,
        ChangeKind::Join,
        ChangeKind::Split,
        ChangeKind::Words,
    ];
    assert_eq!(kinds, newest);
    assert_eq!(store.change_count(&halves[1]).await.unwrap(), 3);
    let told = store.changes(&halves[1], 2, 1).await.unwrap();
    let told: Vec<ChangeKind> = told.iter().map(|change| change.kind).collect();
    assert_eq!(told, [ChangeKind::Times, ChangeKind::Split]);
    assert!(store.was_changed(&halves[1]).await.unwrap());
    assert!(!store.was_changed(&MomentId::fresh()).await.unwrap());

    fix(store, one, Fix::Undo { to: seen }).await.unwrap();
    assert_eq!(all(store, &event.id).await, before);
    assert_eq!(row(store, one).await.version, seen + 5);
    assert_eq!(
        (finds(store, "boiling").await, finds(store, "kettle").await),
        (0, 1)
    );
    let elsewhere = EventId::fresh();
    for (event, anew) in [(&event.id, false), (&elsewhere, true)] {
        let again = store.listen_again(event, "base", anew).await;
        assert_eq!(again.unwrap(), 0);
    }
}

/// Two recorders that heard two lines each, the second 500 ms later and 100 ppm fast.
pub(super) async fn heard(text: &[&str; 2]) -> (Desk, Vec<MomentId>) {
    let desk = Desk::of(2).await;
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], false).await;
    let ids = desk.group(&found(&desk)).await;
    listen(&desk, "base", text).await;
    (desk, ids)
}

pub(super) fn found(desk: &Desk) -> Vec<NewMoment> {
    let late = |ms: i64| ((ms + 500) as f64 * 1.000_1).round() as i64;
    let line = |start_ms, end_ms| {
        moment(&[
            hearing(desk.id(0), start_ms, end_ms),
            NewHearing {
                score: 5.0,
                ..hearing(desk.id(1), late(start_ms), late(end_ms))
            },
        ])
    };
    vec![line(1_000, 4_000), line(5_000, 8_000)]
}

/// Listens to what is wanted of the first recording; each hearing says its text.
pub(super) async fn listen(desk: &Desk, model: &str, text: &[&str]) {
    let claim = desk.claim(JobKind::Transcribe).await;
    let lease = claim.lease();
    let recording = &desk.recordings[0];
    assert_eq!(claim.subject, recording.id.as_str());
    let begun = desk
        .store
        .begin_listening(&lease, &recording.id, model)
        .await;
    let tried: Vec<Tried> = begun
        .unwrap()
        .iter()
        .zip(text)
        .map(|(wanted, text)| Tried {
            moment: wanted.moment_id.clone(),
            words: words(&text.split(' ').collect::<Vec<_>>(), wanted.start_ms),
        })
        .collect();
    desk.store.plan_windows(&lease, 1, 0, 1_000).await.unwrap();
    let commit = WindowCommit {
        recording,
        model,
        tried: &tried,
        fuse: &sure,
    };
    desk.store.commit_window(&lease, &commit).await.unwrap();
    desk.store
        .finish_listening(&lease, recording, NOW)
        .await
        .unwrap();
}

/// As [`first`], and nothing is doubted.
fn sure(id: &MomentId, attempts: &[AttemptRow]) -> MomentWords {
    MomentWords {
        doubt: None,
        ..first(id, attempts)
    }
}

#[tokio::test]
async fn of_eight_at_once_one_wins_each_version_and_nothing_is_lost() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let first = row(store, &ids[0]).await.version;
    let editors = (0..8).map(|n| {
        let (store, id) = (store.clone(), ids[0].clone());
        tokio::spawn(async move {
            let (by, mut refused) = (format!("Editor {n}"), 0);
            let mut version = first;
            loop {
                let fix = written(&format!("version {version} by {n}"));
                let fixing = Fixing {
                    moment: &id,
                    version,
                    by: &by,
                    fix: &fix,
                };
                match store.fix(&fixing, NOW).await {
                    Ok(_) => return refused,
                    Err(StoreError::Stale(stale)) => {
                        // What stands is whole, and newer than what was seen.
                        let stands = stale.version.unwrap();
                        assert!(stands > version);
                        let begun = format!("version {} by ", stands - 1);
                        assert!(stale.text.unwrap().starts_with(&begun));
                        version = stands;
                        refused += 1;
                    }
                    Err(error) => panic!("{error}"),
                }
            }
        })
    });
    let mut refused = 0;
    for editor in editors.collect::<Vec<_>>() {
        refused += editor.await.unwrap();
    }
    let changes = store.changes(&ids[0], 100, 0).await.unwrap();
    let versions: Vec<i64> = changes.iter().map(|change| change.version).collect();
    assert_eq!(versions, (first + 1..=first + 8).rev().collect::<Vec<_>>());
    let mut by: Vec<&str> = changes.iter().map(|change| change.by.as_str()).collect();
    by.sort_unstable();
    by.dedup();
    assert_eq!(by.len(), 8);
    for change in &changes {
        let text = change.after.0[0].text().unwrap();
        let own = change.by.trim_start_matches("Editor ");
        assert_eq!(text, format!("version {} by {own}", change.version - 1));
    }
    assert!(refused >= 7, "{refused}");
}

#[tokio::test]
async fn who_went_back_to_what_a_model_wrote_is_told() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let to = row(store, &ids[0]).await.version;
    fix(store, &ids[0], written("he rang it")).await.unwrap();
    fix(store, &ids[0], Fix::Undo { to }).await.unwrap();
    let fixing = Fixing {
        moment: &ids[0],
        version: to + 1,
        by: "Ottilie",
        fix: &written("he rang the bells"),
    };
    let Err(StoreError::Stale(stale)) = store.fix(&fixing, NOW).await else {
        panic!("it was taken")
    };
    let last = stale.last.map(|last| (last.kind, last.by));
    assert_eq!(last, Some((ChangeKind::Undo, "Maro".into())));
}

#[tokio::test]
async fn what_makes_no_sense_is_refused_and_changes_nothing() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let before = all(store, &desk.event).await;
    let version = row(store, &ids[1]).await.version;
    let times = |start_ms, end_ms, words: &[(usize, i64, i64)]| Fix::Times {
        start_ms,
        end_ms,
        words: words
            .iter()
            .map(|&(n, start_ms, end_ms)| WordTimes {
                n,
                start_ms,
                end_ms,
            })
            .collect(),
    };
    let many = "ho ".repeat(301);
    let tiny = [0, 1, 2, 3].map(|n| (n, 1_000 + 4 * n as i64, 1_004 + 4 * n as i64));
    for (fixed, field) in [
        (written(&many), "text"),
        (Fix::Split(Cut::Word(0)), "at_word"),
        (Fix::Split(Cut::Word(4)), "at_word"),
        (Fix::Split(Cut::At(1_000)), "at_ms"),
        (Fix::Split(Cut::At(4_000)), "at_ms"),
        (Fix::Split(Cut::At(1_019)), "at_ms"),
        (times(Some(-1), None, &[]), "start_ms"),
        (times(None, Some(10_001), &[]), "end_ms"),
        (times(Some(4_000), None, &[]), "start_ms"),
        (times(None, Some(6_000), &[]), "end_ms"),
        (times(None, Some(1_500), &[]), "end_ms"),
        (times(None, Some(1_019), &tiny), "end_ms"),
        (times(None, None, &[(4, 3_000, 3_100)]), "words"),
        (times(None, None, &[(usize::MAX, 3_000, 3_100)]), "words"),
        (times(None, None, &[(1, 1_100, 1_400)]), "words"),
        (times(None, None, &[(1, 1_400, 1_400)]), "words"),
        (times(None, None, &[(3, 3_900, i64::MAX)]), "words"),
        (Fix::Undo { to: 0 }, "to"),
        (Fix::Undo { to: 2 }, "to"),
        (Fix::Undo { to: 1 }, "to"),
        (
            Fix::Join {
                with: ids[0].clone(),
                version: 2,
            },
            "with",
        ),
    ] {
        let refused = fix(store, &ids[0], fixed.clone()).await;
        let Err(StoreError::Unfit {
            field: told,
            reason,
        }) = refused
        else {
            panic!("{fixed:?}: {refused:?}")
        };
        assert_eq!(told, field, "{fixed:?}: {reason}");
        assert!(!reason.contains(&usize::MAX.to_string()), "{reason}");
    }
    let nowhere = Fix::Join {
        with: MomentId::fresh(),
        version: 1,
    };
    let refused = fix(store, &ids[0], nowhere).await;
    assert!(
        matches!(refused, Err(StoreError::Unknown { .. })),
        "{refused:?}"
    );
    let unseen = Fix::Join {
        with: ids[1].clone(),
        version: version - 1,
    };
    let refused = fix(store, &ids[0], unseen).await;
    assert!(matches!(refused, Err(StoreError::Stale(_))), "{refused:?}");
    assert_eq!(all(store, &desk.event).await, before);
    // Nothing was said: that can be told.
    fix(store, &ids[0], written(" \n")).await.unwrap();
    assert_eq!(text(store, &ids[0]).await, "");
    assert_eq!(finds(store, "bell").await, 0);
}
