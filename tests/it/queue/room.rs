//! A long recording makes room between its windows.

use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::time::Duration;

use sayback::jobs::{Idle, What};
use sayback::store::{JobKind, JobRow, JobState, RecordingRow, RecordingState};

use super::desk::{Desk, Ears, line};
use super::running::until;

/// A desk at work on the first of several windows of one recording.
async fn at_work() -> (Desk, RecordingRow) {
    let ears = Ears {
        slow: Duration::from_millis(400),
        ..Ears::default()
    };
    let desk = Desk::new(ears).await;
    let long = long_file(&desk);
    desk.add(&[&long]).await;
    until("beginning", || async {
        match desk
            .store()
            .recordings(&desk.event.id)
            .await
            .unwrap()
            .first()
        {
            Some(row) => transcribing(&desk, row)
                .await
                .is_some_and(|job| job.state == JobState::Running),
            None => false,
        }
    })
    .await;
    let row = desk
        .store()
        .recordings(&desk.event.id)
        .await
        .unwrap()
        .remove(0);
    (desk, row)
}

/// Many lines in one file, so that it fills several windows of half a minute.
fn long_file(desk: &Desk) -> PathBuf {
    let all = xtask::scene::lines::load().unwrap();
    let path = desk.cards.path().join("long.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    let pause = vec![0.0; 12_000];
    for line in all.iter().cycle().take(40) {
        for sample in line.samples.iter().chain(&pause) {
            wav.write_sample((sample * 32_000.0) as i16).unwrap();
        }
    }
    wav.finalize().unwrap();
    path
}

async fn transcribing(desk: &Desk, row: &RecordingRow) -> Option<JobRow> {
    let jobs = desk.store().jobs_of(row.id.as_str()).await.unwrap();
    jobs.into_iter().find(|job| job.kind == JobKind::Transcribe)
}

#[tokio::test]
async fn pausing_stops_after_a_window_and_nothing_is_done_twice() {
    let (desk, row) = at_work().await;
    desk.engine.pause().await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Paused);
    let heard = desk.ears.heard.load(Ordering::SeqCst);
    assert!(heard <= 2, "{heard} windows after the word to pause");
    let job = transcribing(&desk, &row).await.unwrap();
    assert_eq!(
        (job.state, job.attempts, job.interruptions, job.error),
        (JobState::Ready, 0, 0, None)
    );
    let windows = (heard as f64 / job.progress).round();
    assert!(windows >= 4.0, "{windows}");
    desk.engine.resume().await.unwrap();
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    assert_eq!(desk.ears.heard.load(Ordering::SeqCst) as f64, windows);
}

#[tokio::test]
async fn other_languages_count_from_the_next_window_on() {
    let (desk, row) = at_work().await;
    let mut changes = desk.engine.subscribe();
    let german = ["de".to_owned()];
    let told = desk.engine.set_languages(&desk.event.id, &german).await;
    told.unwrap();
    let change = loop {
        let change = changes.recv().await.unwrap();
        if change.what == What::Content {
            break change;
        }
    };
    assert_eq!(change.event.as_ref(), Some(&desk.event.id));
    assert!(desk.ears.heard.load(Ordering::SeqCst) <= 1);
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let store = desk.store();
    let moments = store.moments(&row.event_id, None, None, 1_000, 0).await;
    let languages: Vec<_> = moments.unwrap().into_iter().map(|m| m.language).collect();
    assert_eq!(languages.last(), Some(&Some("de".into())), "{languages:?}");
}

#[tokio::test]
async fn what_is_looked_at_need_not_wait_for_a_long_recording() {
    let (desk, long) = at_work().await;
    desk.add(&[&line("letter-corin-1")]).await;
    let store = desk.store();
    let short = || async {
        let rows = store.recordings(&desk.event.id).await.unwrap();
        rows.into_iter().find(|row| row.id != long.id)
    };
    until("opening", || async { short().await.is_some() }).await;
    let id = short().await.unwrap().id;
    desk.engine.look_at(&id).await.unwrap();
    until("being ready", || async {
        store.recording(&id).await.unwrap().state == RecordingState::Ready
    })
    .await;
    let waiting = transcribing(&desk, &long).await.unwrap();
    assert_ne!(waiting.state, JobState::Done);
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
    let long = store.recording(&long.id).await.unwrap();
    assert_eq!(long.state, RecordingState::Ready);
}
