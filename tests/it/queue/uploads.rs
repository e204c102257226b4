//! Sent files: what is kept, and what is not.

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use sayback::jobs::{Engine, Idle, Upload};
use sayback::media::ChannelChoice;
use sayback::store::EventId;

use super::desk::{Desk, Ears, line, quick, titled};

async fn send(desk: &Desk, name: &str, bytes: &[u8]) {
    send_to(desk, &desk.event.id, name, bytes).await;
    assert_eq!(desk.engine.run_until_idle().await.unwrap(), Idle::Done);
}

async fn send_to(desk: &Desk, event: &EventId, name: &str, bytes: &[u8]) {
    let received = desk.engine.incoming().unwrap();
    std::fs::write(&received, bytes).unwrap();
    let upload = Upload {
        event: event.clone(),
        source: "lav".into(),
        placement: None,
        person: None,
        channels: ChannelChoice::Auto,
        file_name: name.into(),
        received,
    };
    desk.engine.add_upload(upload).await.unwrap();
}

/// Names of the uploads that are kept.
fn kept(data: &Path) -> Vec<String> {
    let folders = std::fs::read_dir(data.join("uploads")).unwrap();
    let mut names: Vec<String> = folders
        .flat_map(|folder| std::fs::read_dir(folder.unwrap().path()).unwrap())
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn abandon(data: &Path, name: &str, age: Duration) -> PathBuf {
    let folder = data.join("uploads").join(name);
    std::fs::create_dir(&folder).unwrap();
    let path = folder.join(name);
    let file = std::fs::File::create(&path).unwrap();
    file.set_modified(SystemTime::now() - age).unwrap();
    path
}

#[tokio::test]
async fn only_what_holds_a_recording_is_kept() {
    let desk = Desk::new(Ears::default()).await;
    let sound = std::fs::read(line("letter-corin-1")).unwrap();
    send(&desk, "sound.flac", &sound).await;
    send(&desk, "twice.flac", &sound).await;
    send(&desk, "letter.wav", b"Dear all, this is no sound.").await;
    assert_eq!(kept(desk.data.path()), ["sound.flac"]);
    assert_eq!(
        desk.store().intakes(&desk.event.id).await.unwrap().len(),
        1,
        "the refusal is still told"
    );
}

#[tokio::test]
async fn what_nothing_knows_is_removed_at_the_next_start() {
    let desk = Desk::new(Ears::default()).await;
    let sound = std::fs::read(line("letter-corin-1")).unwrap();
    send(&desk, "sound.flac", &sound).await;
    desk.engine.shutdown().await;
    let data = desk.data.path();
    let hours = |n: u64| Duration::from_secs(3600 * n);
    abandon(data, "old.wav", hours(2));
    abandon(data, "new.wav", hours(0));
    let recordings = desk.store().recordings(&desk.event.id).await.unwrap();
    let known = std::fs::File::options()
        .write(true)
        .open(&recordings[0].path.0)
        .unwrap();
    known.set_modified(SystemTime::now() - hours(9)).unwrap();

    let looking = quick(&desk.ears).without_workers();
    let only_looks = Engine::start(desk.store().clone(), looking).await.unwrap();
    only_looks.shutdown().await;
    assert_eq!(kept(data), ["new.wav", "old.wav", "sound.flac"]);
    let engine = Engine::start(desk.store().clone(), quick(&desk.ears))
        .await
        .unwrap();
    assert_eq!(kept(data), ["new.wav", "sound.flac"]);
    engine.shutdown().await;
}

#[tokio::test]
async fn an_event_takes_its_uploads_with_it_but_not_those_of_others() {
    let desk = Desk::new(Ears::default()).await;
    let data = desk.data.path();
    let (store, engine) = (desk.store(), &desk.engine);
    let other = store.create_event(titled("Other"), 1).await.unwrap().id;
    let sound = std::fs::read(line("letter-corin-1")).unwrap();
    let own = std::fs::read(line("letter-corin-2")).unwrap();
    let card = desk.line("letter-corin-3", "card.flac");
    desk.add_and_wait(&[&card]).await;
    send(&desk, "both.flac", &sound).await;
    send(&desk, "own.flac", &own).await;
    // The same bytes are kept once.
    send_to(&desk, &other, "the same.flac", &sound).await;
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    assert_eq!(kept(data), ["both.flac", "own.flac"]);
    engine.pause().await.unwrap();
    send_to(&desk, &desk.event.id, "waiting.flac", &own).await;
    assert_eq!(kept(data).len(), 3);

    engine.remove_event(&desk.event.id).await.unwrap();
    assert_eq!(kept(data), ["both.flac"]);
    assert!(card.exists(), "added where it lies");
    let left = store.recordings(&other).await.unwrap();
    assert!(left[0].path.0.exists());
    assert_eq!(
        store.paths_in_use().await.unwrap(),
        [left[0].path.0.clone()]
    );
    engine.remove_event(&other).await.unwrap();
    assert!(kept(data).is_empty());
    assert_eq!(store.paths_in_use().await.unwrap(), Vec::<PathBuf>::new());
    assert!(engine.remove_event(&other).await.is_err());
}
