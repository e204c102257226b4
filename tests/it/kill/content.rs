//! What a data folder holds, without what differs from run to run (ids, times of
//! day, attempts).

use std::path::Path;

use sayback::store::{JobKind, JobState, Store};
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{ConnectOptions, Connection};
use xtask::scene::lines;

/// Everything taken in.
#[derive(Debug, PartialEq)]
pub struct Content {
    /// By file name.
    pub recordings: Vec<Recording>,
    /// How many moments each word finds.
    found: Vec<(String, usize)>,
}

/// A recording with its segments, its moments and their words.
#[derive(Debug, PartialEq)]
pub struct Recording {
    name: String,
    about: String,
    segments: Vec<String>,
    /// Hearings with their moments.
    moments: Vec<String>,
    words: Vec<String>,
}

/// Lines of speech, and several lines in one file that fills several windows.
pub fn make_spoken_cards(folder: &Path) {
    let all = lines::load().unwrap();
    for line in &all[..3] {
        let name = format!("{}.flac", line.entry.id);
        std::fs::copy(lines::folder().join(&name), folder.join(&name)).unwrap();
    }
    let mut long = Vec::new();
    for line in &all[3..11] {
        long.extend(&line.samples);
        long.resize(long.len() + 12_000, 0.0);
    }
    write_wav(&folder.join("long.wav"), &long);
}

/// Many files of silence, which go through the light steps only.
pub fn make_silent_cards(folder: &Path) {
    for n in 0..100 {
        // Of different lengths, so that no two hold the same sound.
        let samples = vec![0.0; 480_000 + 160 * n];
        write_wav(&folder.join(format!("silent-{n}.wav")), &samples);
    }
}

fn write_wav(path: &Path, samples: &[f32]) {
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

/// Reads a data folder whose work is finished, and sees that it is whole.
pub async fn of(data: &Path) -> Content {
    is_whole(data).await;
    let store = Store::open(data).await.unwrap();
    let events = store.events().await.unwrap();
    assert_eq!(events.len(), 1);
    assert_eq!(store.intakes(&events[0].id).await.unwrap(), []);
    let mut recordings = Vec::new();
    let mut all_words = Vec::new();
    for row in store.recordings(&events[0].id).await.unwrap() {
        let jobs = store.jobs_of(row.id.as_str()).await.unwrap();
        let kinds: Vec<JobKind> = jobs.iter().map(|job| job.kind).collect();
        let expected: &[JobKind] = if row.name.starts_with("silent") {
            &[JobKind::Detect]
        } else {
            &[JobKind::Detect, JobKind::Transcribe]
        };
        assert_eq!(kinds, expected);
        assert!(
            jobs.iter().all(|job| job.state == JobState::Done),
            "{jobs:?}"
        );
        let heard = store.moments_of(&row.id).await.unwrap();
        let mut recording = Recording {
            about: format!(
                "{} {} {} {:?} {:?} {} {:?} {:?} {:?} {}",
                row.pick,
                row.state,
                row.duration_ms,
                row.segment_count,
                row.speech_ms,
                row.word_count,
                row.model,
                row.take_order,
                row.take_of,
                row.file_hash
            ),
            name: row.name,
            segments: Vec::new(),
            moments: Vec::new(),
            words: Vec::new(),
        };
        for s in store.segments(&row.id).await.unwrap() {
            recording.segments.push(format!(
                "{}-{} {} {} {} {}",
                s.start_ms, s.end_ms, s.level_dbfs, s.snr_db, s.clipped, s.reverb
            ));
        }
        for heard in heard {
            let (h, m) = (&heard.hearing, &heard.moment);
            recording.moments.push(format!(
                "{} {}-{} of {} {}-{}: {} {} {:?} {:?} {:?}",
                h.rank,
                h.start_ms,
                h.end_ms,
                m.island,
                m.start_ms,
                m.end_ms,
                h.wanted,
                h.tried,
                m.words_from.as_ref() == Some(&row.id),
                m.doubt,
                m.text
            ));
            for w in heard.words {
                recording.words.push(format!(
                    "{} {} {}-{} {}",
                    w.n, w.text, w.start_ms, w.end_ms, w.confidence
                ));
                all_words.push(w.text);
            }
        }
        recordings.push(recording);
    }
    all_words.sort();
    all_words.dedup();
    let mut found = Vec::new();
    for word in all_words {
        let hits = crate::app::saying(&store, &word, None).await.len();
        found.push((word, hits));
    }
    store.close().await;
    Content { recordings, found }
}

/// The steps that were being worked on, as the database says.
pub async fn running(data: &Path) -> String {
    let Ok(mut database) = open(data).await else {
        return "no database".into();
    };
    let kinds: Result<Vec<String>, _> =
        sqlx::query_scalar("SELECT kind FROM job WHERE state = 'running' ORDER BY kind")
            .fetch_all(&mut database)
            .await;
    kinds.map_or("no tables".into(), |kinds| kinds.join("+"))
}

async fn is_whole(data: &Path) {
    let mut database = open(data).await.unwrap();
    let whole: String = sqlx::query_scalar("PRAGMA integrity_check")
        .fetch_one(&mut database)
        .await
        .unwrap();
    assert_eq!(whole, "ok");
    let dangling = sqlx::query("PRAGMA foreign_key_check")
        .fetch_all(&mut database)
        .await
        .unwrap();
    assert!(dangling.is_empty());
    database.close().await.unwrap();
}

async fn open(data: &Path) -> sqlx::Result<SqliteConnection> {
    SqliteConnectOptions::new()
        .filename(data.join("sayback.db"))
        .connect()
        .await
}
