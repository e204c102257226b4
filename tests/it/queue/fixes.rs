//! What a person put right stays: beside another model, and among recordings that come
//! later.

use std::path::{Path, PathBuf};

use sayback::jobs::{Engine, Idle};
use sayback::store::{
    Cut, EventId, Fix, Fixing, HearingRow, MomentId, MomentRow, RecordingId, Store, WordRow,
};

use super::desk::{Desk, Ears, add, quick};

async fn moments(store: &Store, event: &EventId) -> Vec<MomentRow> {
    store.moments(event, None, None, 100, 0).await.unwrap()
}

async fn fix(engine: &Engine, moment: &MomentId, fix: Fix) -> Vec<MomentId> {
    let rows = engine
        .store()
        .moments_by_ids(std::slice::from_ref(moment))
        .await;
    let fixing = Fixing {
        moment,
        version: rows.unwrap()[0].version,
        by: "Maro",
        fix: &fix,
    };
    engine.fix(&fixing).await.unwrap()
}

/// What a moment is, but for who heard it.
async fn whole(store: &Store, moment: &MomentId) -> (MomentRow, Vec<WordRow>) {
    let id = std::slice::from_ref(moment);
    let row = store.moments_by_ids(id).await.unwrap().remove(0);
    (row, store.words_of(id).await.unwrap())
}

async fn hearing_in(store: &Store, moment: &MomentId, recording: &RecordingId) -> HearingRow {
    let hearings = store.hearings_of(std::slice::from_ref(moment)).await;
    let mut hearings = hearings.unwrap().into_iter();
    let found = hearings.find(|hearing| hearing.recording_id == *recording);
    found.unwrap_or_else(|| panic!("{recording} has nothing of {moment}"))
}

/// The lines of a letter with pauses, and the same as a second recorder has it: softer,
/// 900 ms later.
fn recordings(desk: &Desk) -> [PathBuf; 2] {
    let all = xtask::scene::lines::load().unwrap();
    let letter = all
        .iter()
        .filter(|line| line.entry.id.starts_with("letter-ottilie"));
    let mut near: Vec<f32> = vec![0.0; 8_000];
    for line in letter.take(4) {
        near.extend(&line.samples);
        near.extend(vec![0.0; 32_000]);
    }
    let far: Vec<f32> = vec![0.0; 14_400]
        .into_iter()
        .chain(near.iter().map(|sample| 0.3 * sample))
        .collect();
    [("near.wav", near), ("far.wav", far)].map(|(name, samples)| {
        let path = desk.cards.path().join(name);
        write(&path, &samples);
        path
    })
}

fn write(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        wav.write_sample((sample * 32_000.0) as i16).unwrap();
    }
    wav.finalize().unwrap();
}

async fn add_from(desk: &Desk, engine: &Engine, source: &str, path: &Path) {
    let mut add = add(&desk.event.id, &[path]);
    add.source = Some(source.into());
    engine.add(add).await.unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
}

#[tokio::test]
async fn what_a_person_put_right_stays() {
    let desk = Desk::new(Ears::default()).await;
    let [near, far] = recordings(&desk);
    add_from(&desk, &desk.engine, "near", &near).await;
    let store = desk.store();
    let event = &desk.event.id;
    let heard = moments(store, event).await;
    assert!(heard.len() >= 3, "{heard:?}");
    let near_id = store.recordings(event).await.unwrap()[0].id.clone();

    // One is written anew, one split, one made shorter by 600 ms of speech.
    let text = "Dearest Corin, come home.";
    fix(&desk.engine, &heard[0].id, Fix::Words { text: text.into() }).await;
    let halves = fix(&desk.engine, &heard[1].id, Fix::Split(Cut::Word(2))).await;
    let own = hearing_in(store, &heard[2].id, &near_id).await;
    let shorter = Fix::Words {
        text: "I waited".into(),
    };
    fix(&desk.engine, &heard[2].id, shorter).await;
    let word = |n, start_ms, end_ms| sayback::store::WordTimes {
        n,
        start_ms,
        end_ms,
    };
    let times = Fix::Times {
        start_ms: None,
        end_ms: Some(own.end_ms - 600),
        words: vec![
            word(0, own.start_ms, own.start_ms + 100),
            word(1, own.start_ms + 100, own.start_ms + 300),
        ],
    };
    fix(&desk.engine, &heard[2].id, times).await;
    let mine: Vec<MomentId> = [&heard[0].id, &halves[0], &halves[1], &heard[2].id]
        .map(Clone::clone)
        .into();
    let mut before = Vec::new();
    for id in &mine {
        before.push(whole(store, id).await);
    }
    let count = moments(store, event).await.len();
    assert_eq!(count, heard.len() + 1);

    // Another recorder comes: its copies are there, and all is as it was.
    add_from(&desk, &desk.engine, "far", &far).await;
    let all = store.recordings(event).await.unwrap();
    let far_id = all.iter().find(|row| row.id != near_id).unwrap().id.clone();
    for (id, (row, words)) in mine.iter().zip(&before) {
        let now = whole(store, id).await;
        // The clock may begin elsewhere now, and who speaks was looked for again.
        let later = now.0.start_ms - row.start_ms;
        let same = MomentRow {
            start_ms: row.start_ms + later,
            end_ms: row.end_ms + later,
            certainty: now.0.certainty,
            ..row.clone()
        };
        assert_eq!(now, (same, words.clone()));
        let (own, copy) = (
            hearing_in(store, id, &near_id).await,
            hearing_in(store, id, &far_id).await,
        );
        let late = copy.start_ms - own.start_ms - 900;
        assert!(
            late.abs() <= 10 && copy.heard,
            "{late} ms: {own:?} {copy:?}"
        );
    }
    let now = moments(store, event).await;
    assert_eq!(now.len(), count, "what was cut off is no moment: {now:?}");

    // Another model writes its own words beside, and over those that nobody touched.
    desk.engine.shutdown().await;
    let ears = Ears {
        loud: true,
        ..Ears::default()
    };
    let loud = Engine::start(store.clone(), quick(&ears)).await.unwrap();
    assert_eq!(loud.listen_again(event, false).await.unwrap(), 1);
    assert_eq!(loud.run_until_idle().await.unwrap(), Idle::Done);
    for row in moments(store, event).await {
        let models = store.heard_of(&row.id).await.unwrap();
        assert!(
            models.iter().all(|heard| heard.model == "loud ears"),
            "{models:?}"
        );
        let text = row.text.unwrap();
        match before.iter().find(|(was, _)| was.id == row.id) {
            Some((was, _)) => {
                assert_eq!(Some(&text), was.text.as_ref());
                assert_eq!(row.version, was.version);
                assert_ne!(models[0].text, text);
            }
            None => assert_eq!(text, text.to_uppercase()),
        }
    }
    // From scratch too.
    store.ask_solve(event, true).await.unwrap();
    loud.changed(None, sayback::jobs::What::Queue);
    assert_eq!(loud.run_until_idle().await.unwrap(), Idle::Done);
    for (id, (row, words)) in mine.iter().zip(&before) {
        let now = whole(store, id).await;
        assert_eq!(
            (&now.0.text, now.0.version, &now.1),
            (&row.text, row.version, words)
        );
    }
    assert_eq!(moments(store, event).await.len(), count);
    loud.shutdown().await;
}
