//! Jobs at work: order, failures, pausing, cancelling, two at once, stopping.

use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Duration;

use sayback::jobs::{Engine, Idle, What};
use sayback::store::{JobKind, JobRow, JobState, Lane, RecordingId, RecordingState, Store};

use super::desk::{Desk, Ears, add, line, quick, titled};

/// Waits until something holds, at most half a minute.
pub async fn until<F: Future<Output = bool>>(what: &str, holds: impl Fn() -> F) {
    for _ in 0..1500 {
        if holds().await {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("{what} did not happen");
}

async fn first_recording(desk: &Desk) -> RecordingId {
    let store = desk.store();
    until("opening", || async {
        !store.recordings(&desk.event.id).await.unwrap().is_empty()
    })
    .await;
    store.recordings(&desk.event.id).await.unwrap()[0]
        .id
        .clone()
}

async fn job(store: &Store, recording: &RecordingId, kind: JobKind) -> JobRow {
    until("queueing", || async {
        store
            .jobs_of(recording.as_str())
            .await
            .unwrap()
            .iter()
            .any(|job| job.kind == kind)
    })
    .await;
    let jobs = store.jobs_of(recording.as_str()).await.unwrap();
    jobs.into_iter().find(|job| job.kind == kind).unwrap()
}

#[tokio::test]
async fn a_failure_that_passes_is_tried_again() {
    let ears = Ears::default();
    ears.failing.store(2, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    desk.add_and_wait(&[&line("letter-corin-1")]).await;
    let recording = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(recording.state, RecordingState::Ready);
    assert_eq!(
        desk.ears.loaded.load(Ordering::SeqCst),
        1,
        "the model is kept"
    );
}

#[tokio::test]
async fn a_failure_that_stays_is_given_up_with_its_text_and_can_be_retried() {
    let ears = Ears::default();
    ears.failing.store(4, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    desk.add_and_wait(&[&line("letter-corin-1")]).await;
    let recording = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(recording.state, RecordingState::Failed);
    assert!(
        recording
            .error
            .as_deref()
            .unwrap()
            .contains("out of memory")
    );
    let status = desk.engine.status(None).await.unwrap();
    assert_eq!(status.row.problems.len(), 1);
    let failed = job(desk.store(), &recording.id, JobKind::Transcribe).await;
    assert_eq!((failed.state, failed.attempts), (JobState::Failed, 4));
    desk.engine.retry(failed.id).await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let recording = desk.store().recording(&recording.id).await.unwrap();
    assert_eq!(
        (recording.state, recording.error),
        (RecordingState::Ready, None)
    );
}

#[tokio::test]
async fn a_panic_ends_one_file_only() {
    let ears = Ears::default();
    ears.panicking.store(1, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    desk.add_and_wait(&[&line("letter-corin-1"), &line("letter-corin-2")])
        .await;
    let mut states: Vec<_> = desk
        .store()
        .recordings(&desk.event.id)
        .await
        .unwrap()
        .into_iter()
        .map(|r| {
            (
                r.state,
                r.error.unwrap_or_default().contains("no ears today"),
            )
        })
        .collect();
    states.sort();
    assert_eq!(
        states,
        [
            (RecordingState::Ready, false),
            (RecordingState::Failed, true)
        ]
    );
}

#[tokio::test]
async fn without_a_model_speech_waits_and_goes_on_when_it_comes() {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    desk.add(&[&line("letter-corin-1")]).await;
    let Idle::NoModel(text) = desk.engine.run_until_idle().await.unwrap() else {
        panic!()
    };
    assert!(text.contains("sayback model get"), "{text}");
    assert_eq!(desk.engine.status(None).await.unwrap().troubles, [text]);
    // The words, and who speaks behind them.
    let counts = desk.store().queue_counts(None).await.unwrap();
    assert_eq!((counts.waiting, counts.failed), (2, 0));

    desk.ears.missing.store(false, Ordering::SeqCst);
    until("going on", || async {
        desk.store().queue_counts(None).await.unwrap().waiting == 0
    })
    .await;
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let recording = &desk.store().recordings(&desk.event.id).await.unwrap()[0];
    assert_eq!(recording.state, RecordingState::Ready);
    assert!(desk.engine.status(None).await.unwrap().troubles.is_empty());
}

#[tokio::test]
async fn a_missing_model_troubles_nobody_when_nothing_waits_for_it() {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears).await;
    desk.add(&[&line("letter-corin-1")]).await;
    let idle = desk.engine.run_until_idle().await.unwrap();
    assert!(matches!(idle, Idle::NoModel(_)));
    let recording = first_recording(&desk).await;
    let waiting = job(desk.store(), &recording, JobKind::Transcribe).await;
    desk.engine.cancel(waiting.id).await.unwrap();
    until("forgetting", || async {
        desk.engine.status(None).await.unwrap().troubles.is_empty()
    })
    .await;
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
}

#[tokio::test]
async fn pausing_is_remembered() {
    let desk = Desk::new(Ears::default()).await;
    desk.engine.pause().await.unwrap();
    desk.add(&[&line("letter-corin-1")]).await;
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Paused);
    desk.engine.shutdown().await;
    let store = Store::open(desk.data.path()).await.unwrap();
    let engine = Engine::start(store, quick(&desk.ears)).await.unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Paused);
    assert_eq!(engine.store().queue_counts(None).await.unwrap().waiting, 1);
    engine.resume().await.unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    engine.shutdown().await;
}

#[tokio::test]
async fn a_running_job_can_be_cancelled() {
    let ears = Ears {
        slow: Duration::from_secs(60),
        ..Ears::default()
    };
    let desk = Desk::new(ears).await;
    desk.add(&[&line("letter-corin-1")]).await;
    let recording = first_recording(&desk).await;
    let store = desk.store();
    let running = job(store, &recording, JobKind::Transcribe).await;
    until("claiming", || async {
        store.job(running.id).await.unwrap().state == JobState::Running
    })
    .await;
    // It says how far it is while it works.
    until("progress", || async {
        store.job(running.id).await.unwrap().progress > 0.0
    })
    .await;
    desk.engine.cancel(running.id).await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    assert_eq!(
        store.job(running.id).await.unwrap().state,
        JobState::Cancelled
    );
    let row = store.recording(&recording).await.unwrap();
    assert_eq!((row.state, row.word_count), (RecordingState::Failed, 0));
    assert!(desk.engine.cancel(running.id).await.is_err());
    assert_eq!(desk.ears.heard.load(Ordering::SeqCst), 0);
}

#[tokio::test]
async fn shutdown_puts_back_what_was_held() {
    let ears = Ears {
        slow: Duration::from_secs(60),
        ..Ears::default()
    };
    let desk = Desk::new(ears).await;
    desk.add(&[&line("letter-corin-1")]).await;
    let recording = first_recording(&desk).await;
    let running = job(desk.store(), &recording, JobKind::Transcribe).await;
    let store = desk.store();
    until("claiming", || async {
        store.job(running.id).await.unwrap().state == JobState::Running
    })
    .await;
    desk.engine.shutdown().await;
    let row = store.job(running.id).await.unwrap();
    assert_eq!(
        (row.state, row.attempts, row.interruptions),
        (JobState::Ready, 0, 0)
    );
}

#[tokio::test]
async fn events_take_turns_and_what_is_looked_at_goes_first() {
    let desk = Desk::idle().await;
    let other = desk
        .store()
        .create_event(titled("The other"), 2)
        .await
        .unwrap();
    let names = ["letter-corin-1", "letter-corin-2", "letter-corin-3"].map(line);
    let paths = names.each_ref().map(|path| path.as_path());
    desk.add(&paths).await;
    desk.engine.add(add(&other.id, &paths)).await.unwrap();
    let mut served = Vec::new();
    for now in 0..6 {
        let claim = desk
            .store()
            .claim(Lane::Light, &format!("w{now}"), 10 + now, 1_000_000)
            .await;
        served.push(claim.unwrap().unwrap().event_id);
    }
    let (one, two) = (desk.event.id.clone(), other.id);
    assert_eq!(
        served,
        [&one, &two, &one, &two, &one, &two].map(Clone::clone)
    );
}

#[tokio::test]
async fn what_is_looked_at_goes_first() {
    let ears = Ears::default();
    ears.missing.store(true, Ordering::SeqCst);
    let desk = Desk::new(ears.clone()).await;
    let names: Vec<_> = (1..=4)
        .map(|n| line(&format!("letter-corin-{n}")))
        .collect();
    let paths: Vec<&Path> = names.iter().map(|path| path.as_path()).collect();
    desk.add(&paths).await;
    assert!(matches!(
        desk.engine.run_until_idle().await.unwrap(),
        Idle::NoModel(_)
    ));
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    let last = &recordings[3].id;
    desk.engine.look_at(&recordings[2].id).await.unwrap();
    desk.engine.look_at(last).await.unwrap();
    desk.engine.shutdown().await;
    let mut order = Vec::new();
    for n in 0..4 {
        let claim = desk
            .store()
            .claim(Lane::Model, &format!("m{n}"), 1, 1)
            .await
            .unwrap();
        order.push(claim.unwrap().subject);
    }
    assert_eq!(order[0], last.as_str());
    assert_eq!(order[1], recordings[2].id.as_str());
    ears.missing.store(false, Ordering::SeqCst);
    // And the rest of its way keeps the priority.
    let engine = Engine::start(desk.store().clone(), quick(&ears))
        .await
        .unwrap();
    let mut changes = engine.subscribe();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    assert!(job(desk.store(), last, JobKind::Transcribe).await.priority > 0);
    let mut seen = Vec::new();
    while let Ok(change) = changes.try_recv() {
        seen.push(change.what);
    }
    assert!(seen.contains(&What::Content) && seen.contains(&What::Queue));
    engine.shutdown().await;
}

#[tokio::test]
async fn two_engines_on_one_folder_do_everything_once() {
    let ears = Ears {
        slow: Duration::from_millis(100),
        ..Ears::default()
    };
    let desk = Desk::new(ears.clone()).await;
    let other = Store::open(desk.data.path()).await.unwrap();
    let second = Engine::start(other, quick(&ears)).await.unwrap();
    let names: Vec<_> = (1..=8)
        .map(|n| line(&format!("letter-corin-{n}")))
        .collect();
    let paths: Vec<&Path> = names.iter().map(|path| path.as_path()).collect();
    desk.add_and_wait(&paths).await;
    assert_eq!(second.run_until_idle().await.unwrap(), Idle::Done);
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    assert_eq!(recordings.len(), 8);
    assert!(recordings.iter().all(|r| r.state == RecordingState::Ready));
    assert_eq!(ears.heard.load(Ordering::SeqCst), 8);
    assert_eq!(ears.loaded.load(Ordering::SeqCst), 2, "both worked");
    second.shutdown().await;
}

#[tokio::test]
async fn several_recognisers_listen_at_once_and_write_what_one_does() {
    let paths: Vec<_> = (1..=8)
        .map(|n| line(&format!("letter-corin-{n}")))
        .collect();
    let paths: Vec<&Path> = paths.iter().map(|path| path.as_path()).collect();
    let mut wrote = Vec::new();
    for recognisers in [1, 3] {
        let ears = Ears {
            together: recognisers,
            ..Ears::default()
        };
        let mut config = quick(&ears);
        config.recognisers = recognisers;
        let desk = Desk::with(ears.clone(), config).await;
        desk.add_and_wait(&paths).await;
        assert_eq!(ears.most.load(Ordering::SeqCst), recognisers);
        assert_eq!(ears.heard.load(Ordering::SeqCst), 8, "each window once");
        let moments = desk.store().moments(&desk.event.id, None, None, 100, 0);
        let texts = moments.await.unwrap().into_iter().map(|row| row.text);
        let mut texts: Vec<String> = texts.map(Option::unwrap).collect();
        texts.sort();
        wrote.push(texts);
    }
    assert!(wrote[0].len() >= 8 && wrote[0].iter().all(|text| !text.is_empty()));
    assert_eq!(wrote[0], wrote[1]);
}

#[tokio::test]
async fn a_lease_that_ran_out_is_freed_and_its_late_result_is_refused() {
    let desk = Desk::new(Ears::default()).await;
    desk.engine.shutdown().await;
    desk.add(&[&line("letter-corin-1")]).await;
    // An owner of whom nobody can tell whether it lives.
    let claim = desk
        .store()
        .claim(Lane::Light, "elsewhere", 1_000, 50)
        .await
        .unwrap()
        .unwrap();
    let engine = Engine::start(desk.store().clone(), quick(&desk.ears))
        .await
        .unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    assert_eq!(desk.store().job(claim.id).await.unwrap().interruptions, 1);
    let late = desk.store().give_back(&claim.lease()).await;
    assert!(late.is_ok());
    assert_eq!(
        desk.store().job(claim.id).await.unwrap().state,
        JobState::Done
    );
    engine.shutdown().await;
}
