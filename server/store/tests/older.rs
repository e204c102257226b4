//! A data folder of the first version, with everything in it, brought to this one.

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteJournalMode};
use sqlx::{ConnectOptions, Connection};

use super::*;

/// One event with two recordings, one of them through to the index, the other
/// being written down when the program was stopped; a file that was never opened,
/// and one whose words a person stopped.
const CONTENT: &str = "
    INSERT INTO event VALUES ('e', 'The landing', NULL, '25', 1);
    INSERT INTO person VALUES ('p', 'e', 'Maro');
    INSERT INTO source VALUES ('s', 'e', 'lav', 'worn', 'p', 0);
    INSERT INTO file VALUES (hex(zeroblob(32)), CAST('/cards/a.wav' AS BLOB), 'a.wav', 100, 5, 'wav',
        'pcm_s16le', 'audio/wav', 48000, 2, 16, 480000, 10000, '[]');
    INSERT INTO intake VALUES ('i', 'e', 's', CAST('/cards/a.wav' AS BLOB), 'a.wav', 'split', 100, 5,
        hex(zeroblob(32)), NULL, 1);
    INSERT INTO intake VALUES ('j', 'e', 's', CAST('/cards/b.wav' AS BLOB), 'b.wav', 'auto', 100, 5, NULL,
        NULL, 2);
    INSERT INTO recording VALUES
        ('r1', 'e', 's', hex(zeroblob(32)), '1', 'asked', 'r1', 1, 1, 2, 3000, 2, 'tiny.en'),
        ('r2', 'e', 's', hex(zeroblob(32)), '2', 'asked', 'r2', 1, 1, 1, 1000, 0, 'tiny.en'),
        ('r3', 'e', 's', hex(zeroblob(32)), 'mix', 'asked', 'r3', 1, 1, 1, 1000, 0, NULL);
    INSERT INTO segment VALUES (1, 'r1', 1000, 3000, -20.0, 21.0, 'The kettle'),
        (2, 'r1', 5000, 6000, -20.0, 21.0, ''), (3, 'r2', 1000, 2000, -30.0, 9.0, NULL),
        (4, 'r3', 1000, 2000, -30.0, 9.0, NULL);
    INSERT INTO word VALUES (1, 0, 'The', 1000, 1200, 0.9), (1, 1, 'kettle', 1300, 1600, 0.8);
    INSERT INTO segment_fts (rowid, normal) VALUES (1, 'the kettle');
    INSERT INTO job (id, kind, subject, event_id, state, audio_ms, progress) VALUES
        (1, 'probe', 'i', 'e', 'done', 10000, 1), (2, 'detect', 'r1', 'e', 'done', 10000, 1),
        (3, 'detect', 'r2', 'e', 'done', 10000, 1), (4, 'transcribe', 'r1', 'e', 'done', 3000, 1),
        (5, 'index', 'r1', 'e', 'done', 3000, 1), (7, 'probe', 'j', 'e', 'ready', NULL, 0),
        (8, 'detect', 'r3', 'e', 'done', 10000, 1),
        (9, 'transcribe', 'r3', 'e', 'cancelled', 1000, 0);
    INSERT INTO job (id, kind, subject, event_id, state, audio_ms, lease_owner, lease_until_ms)
        VALUES (6, 'transcribe', 'r2', 'e', 'running', 1000, 'w', 99);
    INSERT INTO setting VALUES ('paused', '1');
";

/// A data folder as it was after the migration `last`, with this content.
pub(super) async fn earlier(folder: &Path, last: i64, content: &'static str) {
    let options = SqliteConnectOptions::new()
        .filename(folder.join("sayback.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .foreign_keys(true);
    let mut database = options.connect().await.unwrap();
    let mut then = sqlx::migrate!("./migrations");
    then.migrations.to_mut().retain(|one| one.version <= last);
    then.run(&mut database).await.unwrap();
    sqlx::raw_sql(content).execute(&mut database).await.unwrap();
    database.close().await.unwrap();
}

pub(super) async fn is_whole(database: &mut SqliteConnection) {
    let whole: String = sqlx::query_scalar("PRAGMA integrity_check")
        .fetch_one(&mut *database)
        .await
        .unwrap();
    assert_eq!(whole, "ok");
    let dangling = sqlx::query("PRAGMA foreign_key_check")
        .fetch_all(&mut *database)
        .await
        .unwrap();
    assert!(dangling.is_empty());
}

#[tokio::test]
async fn a_folder_of_the_first_version_keeps_its_recordings_and_is_heard_again() {
    let folder = tempfile::tempdir().unwrap();
    earlier(folder.path(), 1, CONTENT).await;
    let store = Store::open(folder.path()).await.unwrap();
    is_whole(&mut store.write.acquire().await.unwrap()).await;

    let event = store.find_event("The landing").await.unwrap();
    assert_eq!((event.recordings, event.segments, event.words), (3, 0, 0));
    let rows = store.recordings(&event.id).await.unwrap();
    let about: Vec<_> = rows
        .iter()
        .map(|r| (r.id.as_str(), r.segment_count, r.word_count, r.state))
        .collect();
    let waiting = RecordingState::Waiting;
    assert_eq!(
        about,
        [
            ("r1", None, 0, waiting),
            ("r2", None, 0, waiting),
            ("r3", None, 0, RecordingState::Failed)
        ],
        "what a person stopped stays so"
    );
    assert!(store.paused().await.unwrap());
    store.set_paused(false).await.unwrap();

    // What waited still waits, and every recording is looked through again.
    let mut kinds = Vec::new();
    for n in 0..5 {
        let owner = format!("w{n}");
        let claim = store.claim(Lane::Light, &owner, 100, 1_000).await.unwrap();
        kinds.extend(claim.map(|claim| (claim.kind, claim.subject)));
    }
    kinds.sort();
    let detect = |id: &str| (JobKind::Detect, id.to_owned());
    assert_eq!(
        kinds,
        [
            (JobKind::Probe, "j".into()),
            detect("r1"),
            detect("r2"),
            detect("r3")
        ]
    );
    assert!(
        store
            .claim(Lane::Model, "m", 100, 1_000)
            .await
            .unwrap()
            .is_none()
    );
    let done = store.job(JobId(1)).await.unwrap();
    assert_eq!((done.state, done.subject.as_str()), (JobState::Done, "i"));
    // A second opening changes nothing.
    store.close().await;
    let store = Store::open(folder.path()).await.unwrap();
    assert_eq!(store.recordings(&event.id).await.unwrap().len(), 3);
}

#[tokio::test]
async fn what_an_event_or_a_recording_leaves_behind_is_nothing() {
    let (_folder, store) = store().await;
    let fill = "
        INSERT INTO event (id, title, date, frame_rate, created_at_ms)
            VALUES ('e', 'The landing', NULL, '25', 1);
        INSERT INTO source VALUES ('s', 'e', 'lav', 'worn', NULL, 0);
        INSERT INTO file VALUES (hex(zeroblob(32)), CAST('/a' AS BLOB), 'a', 1, 5, 'wav', 'pcm', 'audio/wav',
            48000, 2, 16, 480000, 10000, '[]');
        INSERT INTO recording (id, event_id, source_id, file_hash, pick, channels_why) VALUES
            ('r1', 'e', 's', hex(zeroblob(32)), '1', ''), ('r2', 'e', 's', hex(zeroblob(32)), '2', '');
        INSERT INTO track (recording_id, body) VALUES ('r1', x'00');
        INSERT INTO placement (recording_id, island, pieces, how) VALUES ('r1', 0, '[]', 'sound');
        INSERT INTO pair VALUES ('r2', 'r1', 1, '{}');
        INSERT INTO clock_fix VALUES ('r2', NULL, 1, 'r1', 1);
        INSERT INTO moment (no, id, event_id, island, start_ms, end_ms, words_from, text) VALUES
            (1, 'm1', 'e', 0, 0, 9, 'r1', 'kettle'), (2, 'm2', 'e', 0, 10, 19, 'r1', 'rope');
        INSERT INTO hearing (moment_id, recording_id, n, start_ms, end_ms, heard, level_dbfs,
            snr_db, clipped, reverb, score) VALUES ('m1', 'r1', 1, 0, 9, 1, 0, 0, 0, 0, 0),
            ('m1', 'r2', 2, 0, 9, 1, 0, 0, 0, 0, 0), ('m2', 'r1', 1, 10, 19, 1, 0, 0, 0, 0, 0);
        INSERT INTO attempt VALUES ('m1', 'r1', 'base', '[]');
        INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence)
            VALUES ('m1', 0, 'kettle', 0, 9, 0.5);
        INSERT INTO said (no, words, other, sure, facts) VALUES (1, 'kettle', '_', '5', 'ee'),
            (2, 'rope', '_', '5', 'ee');";
    let run = async |sql: &'static str| {
        sqlx::raw_sql(sql).execute(&store.write).await.unwrap();
    };
    let count = async |sql: &'static str| -> i64 {
        sqlx::query_scalar(sql)
            .fetch_one(&store.write)
            .await
            .unwrap()
    };
    run(fill).await;
    // The recording whose words they were: one moment is left, without words.
    run("DELETE FROM recording WHERE id = 'r1'").await;
    assert_eq!(
        count("SELECT count(*) FROM moment WHERE text IS NULL").await,
        1
    );
    assert_eq!(count("SELECT count(*) FROM moment").await, 1);
    assert_eq!(
        count(
            "SELECT (SELECT count(*) FROM word) + (SELECT count(*) FROM attempt)
            + (SELECT count(*) FROM pair) + (SELECT count(*) FROM clock_fix)
            + (SELECT count(*) FROM track) + (SELECT count(*) FROM placement)"
        )
        .await,
        0
    );
    let found = "SELECT (SELECT count(*) FROM said_fts WHERE said_fts MATCH 'kettle OR rope')
            + (SELECT count(*) FROM term)";
    assert_eq!(count(found).await, 0);
    run("DELETE FROM event").await;
    assert_eq!(
        count("SELECT (SELECT count(*) FROM moment) + (SELECT count(*) FROM hearing)").await,
        0
    );
    is_whole(&mut store.write.acquire().await.unwrap()).await;
}
