//! A data folder in which nothing could be searched as it is now, with an event in it,
//! brought to this version.

use sayback_core::text::Query;

use super::older::{earlier, is_whole};
use super::*;

/// The last migration before the index.
const BEFORE: i64 = 8;

/// A toast that two sources heard, a line that only the camera heard, one not listened to
/// yet and one in which nothing was heard; an event of which nothing is written down yet.
const CONTENT: &str = r#"
    INSERT INTO event (id, title, date, frame_rate, created_at_ms, glossary, languages) VALUES
        ('e-1', 'The landing', '2026-06-20', '25', 1, '["Ottilie"]', '["en"]'),
        ('e-2', 'The boathouse', NULL, NULL, 2, '[]', '[]');
    INSERT INTO person (id, event_id, name, role) VALUES
        ('p-1', 'e-1', 'Maro', 'bride'), ('p-2', 'e-1', 'Ines', NULL);
    INSERT INTO source VALUES ('s-1', 'e-1', 'lav', 'worn', 'p-1', 0),
        ('s-2', 'e-1', 'camera', 'camera', NULL, 0);
    INSERT INTO file VALUES
        (hex(zeroblob(32)), CAST('/cards/a.wav' AS BLOB), 'a.wav', 100, 5, 'wav', 'pcm_s16le',
            'audio/wav', 48000, 1, 16, 480000, 10000, '[]'),
        (hex(randomblob(32)), CAST('/cards/b.wav' AS BLOB), 'b.wav', 100, 5, 'wav', 'pcm_s16le',
            'audio/wav', 48000, 1, 16, 480000, 10000, '[]');
    INSERT INTO recording (id, event_id, source_id, file_hash, pick, channels_why, segment_count,
            speech_ms, word_count, model, grouped)
        SELECT 'r' || n, 'e-1', 's-' || n, hash, '1', 'asked', 2, 3000, 5, 'tiny.en', 1
        FROM (SELECT hash, row_number() OVER (ORDER BY path) AS n FROM file);
    INSERT INTO moment (no, id, event_id, island, start_ms, end_ms, words_from, model, text,
            word_count, version, person_id, also_id, certainty, person_why) VALUES
        (3, 'm-1', 'e-1', 0, 1000, 3000, 'r1', 'tiny.en', 'The kettle — half-remembered Ottilie', 5,
            4, 'p-1', 'p-2', 0.9, 'worn'),
        (5, 'm-2', 'e-1', 0, 4000, 6000, 'r2', 'tiny.en', 'put the kettle on', 4, 2, 'p-2', NULL,
            0.8, 'voice'),
        (6, 'm-3', 'e-1', 0, 7000, 8000, NULL, NULL, NULL, 0, 1, NULL, NULL, NULL, NULL),
        (7, 'm-4', 'e-1', 0, 9000, 9500, 'r2', 'tiny.en', '', 0, 1, NULL, NULL, NULL, NULL);
    INSERT INTO hearing (moment_id, recording_id, n, start_ms, end_ms, heard, level_dbfs, snr_db,
            clipped, reverb, score, verdict) VALUES
        ('m-1', 'r1', 1, 1000, 3000, 1, -20, 25, 0, 0, 0.9, 'clean'),
        ('m-1', 'r2', 2, 1000, 3000, 1, -30, 12, 0, 0, 0.5, 'usable'),
        ('m-2', 'r2', 1, 4000, 6000, 1, -30, 12, 0, 0, 0.5, 'usable'),
        ('m-2', 'r1', 2, 4000, 6000, 0, -60, 0, 0, 0, 0.1, 'lost'),
        ('m-3', 'r1', 1, 7000, 8000, 1, -20, 25, 0, 0, 0.9, 'clean'),
        ('m-4', 'r2', 1, 9000, 9500, 1, -40, 8, 0, 0, 0.2, 'poor');
    INSERT INTO attempt VALUES
        ('m-1', 'r1', 'tiny.en', '[["The",1000,1100,0.9],["kettle",1200,1500,0.8],["—",1500,1500,0.5],
            ["half-remembered",1600,2400,0.75],["otterly",2500,2900,0.4]]'),
        ('m-1', 'r2', 'tiny.en', '[["The",1000,1100,0.9],["cattle",1200,1500,0.6],["—",1500,1500,0.5],
            ["half-remembered",1600,2400,0.7],["Ottilie",2500,2900,0.4]]');
    INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence, by_hand, heard, language)
        VALUES ('m-1', 0, 'The', 1000, 1100, 1.0, 0, NULL, 'en'),
        ('m-1', 1, 'kettle', 1200, 1500, 0.75, 0, NULL, 'en'),
        ('m-1', 2, '—', 1500, 1500, 0.5, 0, NULL, 'en'),
        ('m-1', 3, 'half-remembered', 1600, 2400, 0.75, 0, NULL, 'en'),
        ('m-1', 4, 'Ottilie', 2500, 2900, 0.25, 0, 'otterly', 'en'),
        ('m-2', 0, 'put', 4000, 4200, 0.5, 0, NULL, NULL),
        ('m-2', 1, 'the', 4300, 4400, 0.5, 0, NULL, NULL),
        ('m-2', 2, 'kettle', 4500, 4900, 1.0, 1, NULL, NULL),
        ('m-2', 3, 'on', 5000, 5200, 0.5, 0, NULL, NULL);
    INSERT INTO moment_fts (rowid, normal) VALUES (3, 'the kettle half remembered ottilie'),
        (5, 'put the kettle on');
    INSERT INTO part VALUES ('e-1', 0, 'toasts', 0, 3500, 1);
    INSERT INTO change (id, event_id, kind, by, at_ms, before, after)
        VALUES (1, 'e-1', 'words', 'Maro', 9, '[]', '[]');
    INSERT INTO changed VALUES ('m-2', 2, 1);
    INSERT INTO job (id, kind, subject, event_id, state, audio_ms, progress) VALUES
        (1, 'group', 'e-1', 'e-1', 'done', NULL, 1), (2, 'voices', 'e-1', 'e-1', 'done', NULL, 1),
        (3, 'transcribe', 'r1', 'e-1', 'ready', 1000, 0.5);
    INSERT INTO job (id, kind, subject, event_id, state, lease_owner, lease_until_ms, again)
        VALUES (4, 'align', 'e-2', 'e-2', 'running', 'w', 99, 1);
    INSERT INTO setting VALUES ('paused', '1');
"#;

/// What must be the same before and after.
const KEPT: [&str; 14] = [
    "event",
    "person",
    "source",
    "file",
    "recording",
    "moment",
    "hearing",
    "attempt",
    "word",
    "part",
    "change",
    "changed",
    "setting",
    "job",
];

/// Every row of the tables that were there, as text.
async fn kept(database: &mut sqlx::SqliteConnection) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    for table in KEPT {
        let columns: String = sqlx::query_scalar(
            "SELECT group_concat('quote(' || name || ')', '||'',''||') FROM pragma_table_info(?1)
            WHERE name <> 'drop_frame'",
        )
        .bind(table)
        .fetch_one(&mut *database)
        .await
        .unwrap();
        let sql = format!(
            "SELECT group_concat(row, char(10)) FROM (SELECT {columns} AS row FROM {table} ORDER BY 1)"
        );
        let rows: String = sqlx::query_scalar(sqlx::AssertSqlSafe(sql))
            .fetch_one(&mut *database)
            .await
            .unwrap();
        assert!(!rows.is_empty(), "{table}");
        all.push((table, rows));
    }
    all
}

async fn found(store: &Store, query: &str, filter: &Filter) -> Vec<MomentId> {
    let query = Query::parse(query);
    let wanted = store.wanted(&query).await.unwrap();
    let found = store.matching(&query, &wanted, filter, 0).await.unwrap();
    let nos: Vec<i64> = found.exact.into_iter().chain(found.near).collect();
    let said = store.said(&nos).await.unwrap();
    said.into_iter().map(|row| row.id).collect()
}

#[tokio::test]
async fn an_event_of_before_the_index_is_kept_and_can_be_searched() {
    use sqlx::{ConnectOptions, Connection};
    let folder = tempfile::tempdir().unwrap();
    earlier(folder.path(), BEFORE, CONTENT).await;
    let options =
        sqlx::sqlite::SqliteConnectOptions::new().filename(folder.path().join("sayback.db"));
    let mut database = options.connect().await.unwrap();
    let before = kept(&mut database).await;
    database.close().await.unwrap();

    let store = Store::open(folder.path()).await.unwrap();
    let mut database = store.write.acquire().await.unwrap();
    is_whole(&mut database).await;
    assert_eq!(kept(&mut database).await, before);
    drop(database);
    let rate = store.event(&"e-1".into()).await.unwrap().frame_rate;
    assert_eq!(rate.as_deref(), Some("25"), "counted as before");

    type Said = (i64, String, String, String, String);
    let said: Vec<Said> =
        sqlx::query_as("SELECT no, words, other, sure, facts FROM said ORDER BY no")
            .fetch_all(&store.write)
            .await
            .unwrap();
    let row = |no, words: &str, other: &str, sure: &str, facts: &str| -> Said {
        (no, words.into(), other.into(), sure.into(), facts.into())
    };
    assert_eq!(
        said,
        [
            row(
                3,
                "the kettle _ half-remembered ottilie",
                "_ cattle _ _ otterly",
                ":7572",
                "ee1 pp1 pp2 len ss1 kworn ss2 kcamera bs1 jworn r1"
            ),
            row(
                5,
                "put the kettle on",
                "_ _ _ _",
                "55:5",
                "ee1 pp2 ss2 kcamera bs2 jcamera r0"
            ),
        ]
    );
    let terms: Vec<(String, i64)> = sqlx::query_as("SELECT text, moments FROM term ORDER BY text")
        .fetch_all(&store.write)
        .await
        .unwrap();
    let terms: Vec<(&str, i64)> = terms.iter().map(|(text, n)| (text.as_str(), *n)).collect();
    let want = [
        ("cattle", 1),
        ("half", 1),
        ("kettle", 2),
        ("on", 1),
        ("otterly", 1),
        ("ottilie", 1),
        ("put", 1),
        ("remembered", 1),
        ("the", 2),
    ];
    assert_eq!(terms, want);
    assert_eq!(store.unindexed().await.unwrap(), []);
    let event = EventId::from("e-1");
    let check = store.check_index(&event).await.unwrap();
    assert_eq!((check.moments, check.wrong), (2, Vec::new()));

    can_be_searched(&store).await;
    // Nothing is queued for what no model is there for, and nothing is done again.
    assert!(store.paused().await.unwrap());
    assert_eq!(store.job(JobId(3)).await.unwrap().state, JobState::Ready);
    store.close().await;
    let store = Store::open(folder.path()).await.unwrap();
    assert_eq!(store.check_index(&event).await.unwrap().wrong, []);
    changes_are_followed(&store).await;
}

async fn can_be_searched(store: &Store) {
    let all = Filter::default();
    let both = ["m-1".into(), "m-2".into()];
    assert_eq!(found(store, "\"put the kettle\"", &all).await, both[1..]);
    assert_eq!(
        found(store, "\"half remembered ottilie\"", &all).await,
        both[..1]
    );
    assert_eq!(found(store, "kettle", &all).await, both);
    assert_eq!(
        found(store, "cattle", &all).await,
        both,
        "heard otherwise, and alike"
    );
    let of = |kind: &str, id: &str| Filter {
        people: (kind == "person").then(|| vec![id.into()]),
        sources: (kind == "source").then(|| vec![id.into()]),
        placements: (kind == "placement").then(|| vec![id.into()]),
        part: (kind == "part").then(|| id.into()),
        languages: (kind == "language").then(|| vec![id.into()]),
        ..Filter::default()
    };
    for (kind, id, want) in [
        ("person", "p-1", &both[..1]),
        ("person", "p-2", &both[..]),
        ("source", "s-1", &both[..1]),
        ("source", "s-2", &both[..]),
        ("placement", "worn", &both[..1]),
        ("part", "toasts", &both[..1]),
        ("language", "en", &both[..1]),
    ] {
        assert_eq!(
            found(store, "kettle", &of(kind, id)).await,
            want,
            "{kind} {id}"
        );
    }
}

/// The triggers that 0009 to 0011 make do their work on rows that were there before.
async fn changes_are_followed(store: &Store) {
    let run = async |sql: &'static str| {
        sqlx::raw_sql(sql).execute(&store.write).await.unwrap();
    };
    let event = EventId::from("e-1");
    run("UPDATE moment SET person_id = NULL WHERE id = 'm-2';
        UPDATE hearing SET heard = 1, verdict = 'usable' WHERE moment_id = 'm-2' AND recording_id = 'r1'")
    .await;
    assert_eq!(store.check_index(&event).await.unwrap().wrong, []);
    let backed_up = Filter {
        backup: Some(true),
        ..Filter::default()
    };
    assert_eq!(found(store, "kettle", &backed_up).await.len(), 2);
    run(
        "INSERT INTO meaning VALUES (5, 'e-1', zeroblob(16), zeroblob(388));
        INSERT INTO script VALUES ('t', 'e-1', 'Letter', 'Put the kettle on.', 'toasts', 1, 1);
        UPDATE moment SET text = 'put it on' WHERE id = 'm-2'",
    )
    .await;
    let event_meaning: i64 = sqlx::query_scalar("SELECT count(*) FROM meaning")
        .fetch_one(&store.write)
        .await
        .unwrap();
    assert_eq!(event_meaning, 0, "other words mean something else");
    store.remove_event(&event).await.unwrap();
    assert!(found(store, "kettle", &Filter::default()).await.is_empty());
    is_whole(&mut store.write.acquire().await.unwrap()).await;
    let left: i64 = sqlx::query_scalar(
        "SELECT (SELECT count(*) FROM term) + (SELECT count(*) FROM said) + (SELECT count(*) FROM script)",
    )
    .fetch_one(&store.write)
    .await
    .unwrap();
    assert_eq!(left, 0);
}
