//! The engine against a disk that is full.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sayback_core::Cancel;

use super::*;
use crate::media::ChannelChoice;
use crate::speech::{Ask, HeardWord, Recogniser, SpeechError};
use crate::store::{NewEvent, RecordingState, Store};

/// Hears one word a second, and fills the disk before it answers.
#[derive(Clone)]
struct Filling {
    store: Store,
    filled: Arc<AtomicBool>,
}

impl Model for Filling {
    fn name(&self) -> String {
        "filling".into()
    }

    fn present(&self) -> Result<(), SpeechError> {
        Ok(())
    }

    fn load(&self) -> Result<Box<dyn Recogniser>, SpeechError> {
        Ok(Box::new(self.clone()))
    }
}

impl Recogniser for Filling {
    fn recognise(
        &mut self,
        samples: &[f32],
        _ask: &Ask,
        _cancel: &Cancel,
        _progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError> {
        if !self.filled.swap(true, Ordering::SeqCst) {
            let runtime = tokio::runtime::Runtime::new().unwrap();
            runtime.block_on(async { self.store.limit_pages(self.store.pages().await).await });
        }
        // Far more than fits in what is left of the last page.
        let word = |n: i64| HeardWord {
            text: "landing".repeat(100),
            start_ms: n,
            end_ms: n + 1,
            confidence: 1.0,
            ..HeardWord::default()
        };
        Ok((0..samples.len() as i64 / 160).map(word).collect())
    }
}

#[tokio::test]
async fn a_full_disk_stops_the_work_and_room_lets_it_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    let event = store
        .create_event(
            NewEvent {
                title: "x".into(),
                ..NewEvent::default()
            },
            1,
        )
        .await
        .unwrap();
    let model = Filling {
        store: store.clone(),
        filled: Arc::default(),
    };
    let mut config = EngineConfig::with_model(Arc::new(model));
    config.poll = Duration::from_millis(20);
    // Two that have nothing to do must not hide what troubles the third.
    config.recognisers = 3;
    let engine = Engine::start(store.clone(), config).await.unwrap();
    let line = xtask::scene::lines::folder().join("letter-corin-1.flac");
    let add = Add {
        event: event.id.clone(),
        source: Some("lav".into()),
        placement: None,
        person: None,
        channels: ChannelChoice::Auto,
        paths: vec![line],
        roots: Roots::Anywhere,
    };
    engine.add(add).await.unwrap();
    let troubled = async {
        while engine.status(None).await.unwrap().troubles.is_empty() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(60), troubled)
        .await
        .unwrap();
    for _ in 0..20 {
        tokio::time::sleep(Duration::from_millis(10)).await;
        let status = engine.status(None).await.unwrap();
        assert!(!status.troubles.is_empty());
    }
    let status = engine.status(None).await.unwrap();
    assert!(status.troubles[0].contains("disk"), "{:?}", status.troubles);
    assert_eq!((status.row.jobs.running, status.row.jobs.failed), (1, 0));
    assert_eq!(
        store.events().await.unwrap()[0].words,
        0,
        "nothing half-written"
    );

    store.limit_pages(0).await;
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    let recording = &store.recordings(&event.id).await.unwrap()[0];
    assert_eq!(recording.state, RecordingState::Ready);
    assert!(recording.word_count > 100);
    assert!(engine.status(None).await.unwrap().troubles.is_empty());
    engine.shutdown().await;
}
