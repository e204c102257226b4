//! A recording that can't be listened to: its words come from another that heard
//! them.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::Ordering;

use sayback::jobs::Idle;
use sayback::store::{JobKind, JobState, MomentRow, RecordingRow, RecordingState};

use super::desk::{Desk, Ears, add, line};
use super::running::until;

/// Four lines heard by two recorders, the second softer and in noise; both looked
/// through and on one clock, and nothing listened to yet.
async fn heard_twice() -> (Desk, PathBuf, PathBuf) {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    let (near, far) = (
        desk.cards.path().join("near.wav"),
        desk.cards.path().join("far.wav"),
    );
    let joined = "[0]apad=pad_dur=2[a];[1]apad=pad_dur=2[b];[2]apad=pad_dur=2[c];\
                  [a][b][c][3]concat=n=4:v=0:a=1,aresample=16000";
    let inputs = [1, 2, 3, 4].map(|n| line(&format!("letter-ottilie-{n}")));
    make(&inputs, joined, &near);
    let softer = "[0]volume=0.3,adelay=900[said];anoisesrc=r=16000:a=0.003:seed=5:d=60[noise];\
                  [said][noise]amix=inputs=2:duration=first:normalize=0";
    make(std::slice::from_ref(&near), softer, &far);
    for (source, path) in [("near", &near), ("far", &far)] {
        let mut add = add(&desk.event.id, &[path]);
        add.source = Some(source.into());
        desk.engine.add(add).await.unwrap();
    }
    let idle = desk.engine.run_until_idle().await.unwrap();
    assert!(matches!(idle, Idle::NoModel(_)), "{idle:?}");
    (desk, near, far)
}

fn make(inputs: &[PathBuf], filter: &str, to: &Path) {
    let mut command = Command::new(xtask::oracle::ffmpeg());
    command.args(["-v", "error"]);
    for input in inputs {
        command.arg("-i").arg(input);
    }
    let made = command.args(["-filter_complex", filter]).arg(to).status();
    assert!(made.unwrap().success());
}

async fn moments(desk: &Desk) -> Vec<MomentRow> {
    let store = desk.store();
    let hearings = store.hearings_of_event(&desk.event.id).await.unwrap();
    let mut ids: Vec<_> = hearings.into_iter().map(|h| h.moment_id).collect();
    ids.dedup();
    store.moments_by_ids(&ids).await.unwrap()
}

async fn recording(desk: &Desk, name: &str) -> RecordingRow {
    let rows = desk.store().recordings(&desk.event.id).await.unwrap();
    rows.into_iter().find(|row| row.name == name).unwrap()
}

/// A model comes, and all that can be done is.
async fn come_ears(desk: &Desk) {
    desk.ears.missing.store(false, Ordering::SeqCst);
    until("listening", || async {
        desk.engine.status(None).await.unwrap().troubles.is_empty()
            && desk.store().queue_counts(None).await.unwrap().waiting == 0
    })
    .await;
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
}

#[tokio::test]
async fn words_of_a_file_that_is_gone_come_from_who_else_heard_them() {
    let (desk, near, _) = heard_twice().await;
    let before = moments(&desk).await;
    assert!(before.len() > 1, "{before:?}");
    assert!(before.iter().all(|m| m.text.is_none()), "{before:?}");
    let near_id = recording(&desk, "near.wav").await.id;
    std::fs::remove_file(&near).unwrap();
    come_ears(&desk).await;

    let far = recording(&desk, "far.wav").await;
    for moment in moments(&desk).await {
        assert_eq!(moment.words_from.as_ref(), Some(&far.id), "{moment:?}");
        assert!(moment.text.is_some_and(|text| !text.is_empty()));
    }
    assert_eq!(far.state, RecordingState::Ready);
    // And why is told.
    let gone = recording(&desk, "near.wav").await;
    assert_eq!(gone.state, RecordingState::Failed);
    let status = desk.engine.status(None).await.unwrap();
    let [problem] = status.row.problems.as_slice() else {
        panic!("{:?}", status.row.problems)
    };
    assert_eq!(
        (problem.kind, problem.name.as_str()),
        (JobKind::Transcribe, "near.wav")
    );
    assert!(
        problem.reason.contains("is not there any more"),
        "{}",
        problem.reason
    );
    let jobs = desk.store().jobs_of(near_id.as_str()).await.unwrap();
    assert!(jobs.iter().any(|job| job.state == JobState::Failed));
}

#[tokio::test]
async fn words_nobody_else_heard_wait_for_their_file_to_come_back() {
    let (desk, near, far) = heard_twice().await;
    let kept: Vec<(&PathBuf, Vec<u8>)> = [&near, &far]
        .map(|path| (path, std::fs::read(path).unwrap()))
        .into();
    std::fs::remove_file(&near).unwrap();
    std::fs::write(&far, "somebody's shopping list").unwrap();
    come_ears(&desk).await;
    assert!(moments(&desk).await.iter().all(|m| m.text.is_none()));
    let status = desk.engine.status(None).await.unwrap();
    let mut reasons: Vec<&str> = status
        .row
        .problems
        .iter()
        .map(|p| p.reason.as_str())
        .collect();
    reasons.sort_unstable();
    assert_eq!(reasons.len(), 2, "{reasons:?}");
    let told = |name: &str, what: &str| {
        let has = |r: &&str| r.contains(name) && r.contains(what);
        assert!(reasons.iter().any(has), "{name} {what}: {reasons:?}");
    };
    told("near.wav", "is not there any more");
    told("far.wav", "was changed");

    // One of them is found again: that is enough.
    let (path, bytes) = &kept[0];
    std::fs::write(path, bytes).unwrap();
    let mut again = add(&desk.event.id, &[path]);
    again.source = Some("near".into());
    desk.engine.add(again).await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let near_id = recording(&desk, "near.wav").await.id;
    for moment in moments(&desk).await {
        assert_eq!(moment.words_from.as_ref(), Some(&near_id), "{moment:?}");
    }
}
