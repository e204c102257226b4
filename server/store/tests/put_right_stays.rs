//! What people put right stays: whatever model listens, however moments are found,
//! whichever recording goes.

use super::going_on::Desk;
use super::put_right::{all, finds, fix, found, heard, listen, row, text, written};
use super::story::NOW;
use super::words::{first, hearing, kept, moment, words};
use super::*;

#[tokio::test]
async fn another_model_writes_beside_what_a_person_wrote() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    fix(store, &ids[0], written("He rang the ferry bell"))
        .await
        .unwrap();
    let version = row(store, &ids[0]).await.version;
    assert_eq!(
        store
            .listen_again(&desk.event, "large", false)
            .await
            .unwrap(),
        1
    );
    listen(&desk, "large", &["he sang the well", "the tide is in"]).await;
    assert_eq!(text(store, &ids[0]).await, "He rang the ferry bell");
    assert_eq!(row(store, &ids[0]).await.version, version);
    assert_eq!(text(store, &ids[1]).await, "the tide is in");
    let heard = store.heard_of(&ids[0]).await.unwrap();
    let told: Vec<(&str, &str)> = heard
        .iter()
        .map(|heard| (heard.model.as_str(), heard.text.as_str()))
        .collect();
    assert_eq!(told, [("large", "he sang the well")]);
    assert_eq!(
        (finds(store, "ferry").await, finds(store, "sang").await),
        (1, 0)
    );
    let again = |anew| store.listen_again(&desk.event, "large", anew);
    assert_eq!(again(false).await.unwrap(), 0);
    // Who has seen the model's words has not seen those of the other model.
    let fixing = Fixing {
        moment: &ids[1],
        version: 2,
        by: "Maro",
        fix: &written("the tide is out!"),
    };
    let Err(StoreError::Stale(stale)) = store.fix(&fixing, NOW).await else {
        panic!("it was taken")
    };
    assert_eq!(
        (stale.text.as_deref(), stale.last),
        (Some("the tide is in"), None)
    );
    // The same model once more, which was told other names.
    assert_eq!(again(true).await.unwrap(), 1);
    assert_eq!(text(store, &ids[1]).await, "the tide is in");
    listen(&desk, "large", &["he rang twice", "the tide is up"]).await;
    assert_eq!(text(store, &ids[0]).await, "He rang the ferry bell");
    assert_eq!(text(store, &ids[1]).await, "the tide is up");
    assert_eq!(again(false).await.unwrap(), 0);
}

#[tokio::test]
async fn finding_moments_anew_leaves_what_a_person_made() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let halves = fix(store, &ids[0], Fix::Split(Cut::Word(2))).await.unwrap();
    let before = all(store, &desk.event).await;
    // As the group step finds them, with one more that nobody made.
    let same = |n: usize| {
        let (row, _, hearings) = &before[n];
        let copies = hearings
            .iter()
            .map(|h| hearing(&h.recording_id, h.start_ms, h.end_ms));
        NewMoment {
            start_ms: row.start_ms,
            end_ms: row.end_ms,
            ..kept(moment(&copies.collect::<Vec<_>>()), &[&row.id])
        }
    };
    let mut again = vec![same(0), same(1), same(2)];
    again.push(moment(&[hearing(desk.id(0), 9_000, 9_900)]));
    desk.group_again(&again).await;
    let now = all(store, &desk.event).await;
    let told = |all: &[(MomentRow, Vec<WordRow>, Vec<HearingRow>)]| -> Vec<_> {
        all.iter()
            .map(|(row, words, _)| (row.clone(), words.clone()))
            .collect()
    };
    assert_eq!(told(&now)[..3], told(&before));

    // From scratch, what nobody put right goes.
    store.ask_solve(&desk.event, true).await.unwrap();
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], true).await;
    let left: Vec<MomentId> = all(store, &desk.event)
        .await
        .into_iter()
        .map(|(row, ..)| row.id)
        .collect();
    assert_eq!(left, halves);
    assert_eq!(
        (finds(store, "rang").await, finds(store, "tide").await),
        (1, 0)
    );
}

#[tokio::test]
async fn moments_that_were_split_while_they_were_found_are_found_once_more() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    fix(store, &ids[1], written("The tide is out."))
        .await
        .unwrap();
    store.ask_solve(&desk.event, false).await.unwrap();
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], false).await;
    let [one, two] = <[NewMoment; 2]>::try_from(found(&desk)).unwrap();
    let old = [kept(one, &[&ids[0]]), kept(two, &[&ids[1]])];
    let halves = fix(store, &ids[1], Fix::Split(Cut::Word(2))).await.unwrap();
    let before = all(store, &desk.event).await;
    desk.group(&old).await;
    assert_eq!(all(store, &desk.event).await, before);
    let version = row(store, &halves[1]).await.version;
    let with = halves[1].clone();
    fix(store, &ids[1], Fix::Join { with, version })
        .await
        .unwrap();
    // One that is no more is not found again as a new one.
    let lost = kept(moment(&[hearing(desk.id(0), 6_000, 8_000)]), &[&halves[1]]);
    let before = all(store, &desk.event).await;
    desk.group(&[lost]).await;
    assert_eq!(all(store, &desk.event).await, before);
    // What fits is taken.
    desk.group(&old).await;
    let job = desk.job(JobKind::Group, desk.event.as_str()).await;
    assert_eq!(job.state, JobState::Done);
}

/// As a group step that began before the person did something has found them.
async fn group_late(desk: &Desk, moments: &[NewMoment]) {
    desk.store.ask_solve(&desk.event, false).await.unwrap();
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], false).await;
    let before = all(&desk.store, &desk.event).await;
    desk.group(moments).await;
    assert_eq!(all(&desk.store, &desk.event).await, before);
    let job = desk.job(JobKind::Group, desk.event.as_str()).await;
    assert_eq!(job.state, JobState::Ready, "they are found once more");
}

#[tokio::test]
async fn what_was_written_while_its_moment_was_taken_for_another_is_not_lost() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let [one, two] = <[NewMoment; 2]>::try_from(found(&desk)).unwrap();
    fix(&desk.store, &ids[1], written("the tide is in"))
        .await
        .unwrap();
    group_late(&desk, &[kept(one.clone(), &[&ids[0], &ids[1]])]).await;
    assert_eq!(text(&desk.store, &ids[1]).await, "the tide is in");
    desk.group(&[kept(one, &[&ids[0]]), kept(two, &[&ids[1]])])
        .await;
    let job = desk.job(JobKind::Group, desk.event.as_str()).await;
    assert_eq!(job.state, JobState::Done);
}

#[tokio::test]
async fn who_has_seen_a_moment_that_was_found_to_be_another_is_told_which() {
    let desk = Desk::of(2).await;
    let [one, other] = [
        hearing(desk.id(0), 0, 1_000),
        hearing(desk.id(1), 3_000, 4_000),
    ];
    desk.align().await;
    let ids = desk
        .group(&[
            moment(std::slice::from_ref(&one)),
            moment(std::slice::from_ref(&other)),
        ])
        .await;
    desk.listen().await;
    desk.listen().await;
    let store = &desk.store;
    let to = row(store, &ids[0]).await.version;
    fix(store, &ids[0], written("he rang it")).await.unwrap();
    fix(store, &ids[0], Fix::Undo { to }).await.unwrap();
    let version = row(store, &ids[0]).await.version;
    let both = kept(moment(&[other, one]), &[&ids[1], &ids[0]]);
    assert_eq!(desk.group_again(&[both]).await, ids[1..]);
    let fixing = Fixing {
        moment: &ids[0],
        version,
        by: "Ottilie",
        fix: &written("he rang the bells"),
    };
    let Err(StoreError::Stale(stale)) = store.fix(&fixing, NOW).await else {
        panic!("it was taken")
    };
    assert_eq!((stale.version, stale.last), (None, None));
    assert_eq!(stale.now_in, std::slice::from_ref(&ids[1]));
}

#[tokio::test]
async fn what_was_written_while_it_was_found_as_new_is_not_there_twice() {
    let desk = Desk::of(2).await;
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], false).await;
    let ids = desk.group(&found(&desk)).await;
    fix(&desk.store, &ids[0], written("he rang")).await.unwrap();
    group_late(&desk, &found(&desk)).await;
    let [one, two] = <[NewMoment; 2]>::try_from(found(&desk)).unwrap();
    assert_eq!(desk.group(&[kept(one, &[&ids[0]]), two]).await, ids);
}

#[tokio::test]
async fn bounds_that_were_taken_back_while_moments_were_found_stay_so() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let times = Fix::Times {
        start_ms: None,
        end_ms: Some(3_000),
        words: Vec::new(),
    };
    let to = row(&desk.store, &ids[0]).await.version;
    fix(&desk.store, &ids[0], times).await.unwrap();
    let [mut one, two] = <[NewMoment; 2]>::try_from(found(&desk)).unwrap();
    one.hearings[0].end_ms = 3_000;
    fix(&desk.store, &ids[0], Fix::Undo { to }).await.unwrap();
    group_late(&desk, &[kept(one, &[&ids[0]]), kept(two, &[&ids[1]])]).await;
}

#[tokio::test]
async fn halves_of_what_is_listened_to_are_heard_by_themselves() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let again = store.listen_again(&desk.event, "large", false).await;
    assert_eq!(again.unwrap(), 1);
    fix(store, &ids[0], written("He rang the bell"))
        .await
        .unwrap();
    let lease = desk.claim(JobKind::Transcribe).await.lease();
    let begun = store.begin_listening(&lease, desk.id(0), "large").await;
    let tried = begun.unwrap().into_iter().map(|wanted| Tried {
        words: words(&["he", "rang", "the", "bell"], wanted.start_ms),
        moment: wanted.moment_id,
    });
    let tried: Vec<Tried> = tried.collect();
    assert_eq!(tried.len(), 2);
    let halves = fix(store, &ids[0], Fix::Split(Cut::Word(2))).await.unwrap();
    store.plan_windows(&lease, 1, 0, 1_000).await.unwrap();
    let commit = WindowCommit {
        recording: &desk.recordings[0],
        model: "large",
        tried: &tried,
        fuse: &first,
    };
    store.commit_window(&lease, &commit).await.unwrap();
    store
        .finish_listening(&lease, &desk.recordings[0], NOW)
        .await
        .unwrap();
    let told = async |id: &MomentId| {
        let heard = store.heard_of(id).await.unwrap();
        heard
            .into_iter()
            .map(|heard| (heard.model, heard.text))
            .collect::<Vec<_>>()
    };
    for half in &halves {
        assert_eq!(told(half).await, []);
    }
    assert_eq!(text(store, &ids[1]).await, "he rang the bell");
    listen(&desk, "large", &["he rang", "the bell"]).await;
    for (half, text) in halves.iter().zip(["he rang", "the bell"]) {
        assert_eq!(told(half).await, [("large".to_owned(), text.to_owned())]);
    }
}

#[tokio::test]
async fn a_line_over_two_files_of_a_take_stays_in_both() {
    let desk = Desk::of(2).await;
    desk.align_at(&[(0.0, 0.0), (10_000.0, 0.0)], false).await;
    let both = [(0, 8_000, 10_000), (1, 0, 2_000)]
        .map(|(n, start_ms, end_ms)| hearing(desk.id(n), start_ms, end_ms));
    let line = NewMoment {
        end_ms: 12_000,
        ..moment(&both)
    };
    let ids = desk.group(&[line]).await;
    // The first word lies at 8,000 ms, the last one from 10,100 to 10,300.
    listen(&desk, "base", &["he rang the bell and the tide turned"]).await;
    let store = &desk.store;
    let before = all(store, &desk.event).await;
    let right = written("he rang the ferry and the tide turned");
    fix(store, &ids[0], right).await.unwrap();
    let [(was, words, hearings)] = before.as_slice() else {
        panic!("{before:?}")
    };
    let now = all(store, &desk.event).await;
    let (row, new, there) = &now[0];
    assert_eq!((row.start_ms, row.end_ms), (was.start_ms, was.end_ms));
    assert_eq!(there, hearings);
    let times = |words: &[WordRow]| -> Vec<(i64, i64)> {
        words.iter().map(|w| (w.start_ms, w.end_ms)).collect()
    };
    assert_eq!(times(new), times(words));
    assert_eq!(times(new)[7], (10_100, 10_300));
}

#[tokio::test]
async fn words_without_what_they_were_made_of_stay_whole() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let to = row(store, &ids[0]).await.version;
    fix(store, &ids[0], written("he rang it")).await.unwrap();
    // Another model begins, and what the first one heard is forgotten.
    let again = store.listen_again(&desk.event, "large", false).await;
    assert_eq!(again.unwrap(), 1);
    let lease = desk.claim(JobKind::Transcribe).await.lease();
    let begun = store.begin_listening(&lease, desk.id(0), "large").await;
    assert_eq!(begun.unwrap().len(), 2);
    fix(store, &ids[0], Fix::Undo { to }).await.unwrap();
    let before = all(store, &desk.event).await;
    store.reword(&ids, &first).await.unwrap();
    assert_eq!(all(store, &desk.event).await, before);
    assert_eq!(finds(store, "bell").await, 1);
}

#[tokio::test]
async fn what_nobody_has_listened_to_can_only_be_written() {
    let desk = Desk::of(2).await;
    desk.align_at(&[(0.0, 0.0), (-500.0, 100.0)], false).await;
    let ids = desk.group(&found(&desk)).await;
    let store = &desk.store;
    let times = Fix::Times {
        start_ms: Some(1_100),
        end_ms: None,
        words: Vec::new(),
    };
    let join = Fix::Join {
        with: ids[1].clone(),
        version: 1,
    };
    for fixed in [
        times,
        join,
        Fix::Split(Cut::At(2_000)),
        Fix::Split(Cut::Word(1)),
    ] {
        let refused = fix(store, &ids[0], fixed).await;
        assert!(
            matches!(refused, Err(StoreError::Unfit { .. })),
            "{refused:?}"
        );
    }
    fix(store, &ids[0], written("he rang")).await.unwrap();
    listen(&desk, "base", &["he sang the well", "the tide is out"]).await;
    assert_eq!(text(store, &ids[0]).await, "he rang");
    assert_eq!(text(store, &ids[1]).await, "the tide is out");
    // Taken back, the model is asked.
    fix(store, &ids[0], Fix::Undo { to: 1 }).await.unwrap();
    assert_eq!(row(store, &ids[0]).await.text, None);
    listen(&desk, "base", &["he sang the well"]).await;
    assert_eq!(text(store, &ids[0]).await, "he sang the well");
}

#[tokio::test]
async fn words_outlive_the_recording_they_are_timed_in() {
    let (desk, ids) = heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    fix(store, &ids[0], written("he rang the ferry bell"))
        .await
        .unwrap();
    sqlx::query("DELETE FROM recording WHERE id = ?1")
        .bind(desk.id(0))
        .execute(&store.write)
        .await
        .unwrap();
    let now = row(store, &ids[0]).await;
    assert_eq!(now.words_from.as_ref(), Some(desk.id(1)));
    assert_eq!(now.text.as_deref(), Some("he rang the ferry bell"));
    let words = store.words_of(&ids[..1]).await.unwrap();
    assert_eq!((words[0].start_ms, words[0].end_ms), (1_500, 1_700));
    assert_eq!(finds(store, "ferry").await, 1);
    // The model's words are to be heard where there still is sound.
    assert_eq!(row(store, &ids[1]).await.text, None);
    // What was timed in the lost file can't come back, and is told.
    let back = fix(store, &ids[0], Fix::Undo { to: 2 }).await;
    let Err(StoreError::Unfit { field, .. }) = back else {
        panic!("{back:?}")
    };
    assert_eq!(field, "to");
    fix(store, &ids[0], written("He rang the ferry bell."))
        .await
        .unwrap();

    // With its event everything goes.
    sqlx::query("DELETE FROM event WHERE id = ?1")
        .bind(&desk.event)
        .execute(&store.write)
        .await
        .unwrap();
    assert_eq!(store.changes(&ids[0], 100, 0).await.unwrap(), []);
}
