//! Thousands of answers: page by page nothing comes twice and nothing is missed.

use sayback_core::text::Query;

use super::*;

/// Two events of 1,500 moments that say the same, told by time in turn; every second
/// moment came into the database when the last of them was there.
const CONTENT: &str = "
    INSERT INTO event (id, title, date, frame_rate, created_at_ms)
        VALUES ('e-1', 'The landing', '2026-06-20', NULL, 1), ('e-2', 'The boathouse', '2026-07-04', NULL, 2);
    INSERT INTO source VALUES ('s-1', 'e-1', 'lav', 'worn', NULL, 0),
        ('s-2', 'e-2', 'lav', 'worn', NULL, 0);
    INSERT INTO file VALUES (hex(zeroblob(32)), CAST('/a' AS BLOB), 'a', 1, 5, 'wav', 'pcm', 'audio/wav',
        48000, 2, 16, 480000, 10000, '[]');
    INSERT INTO recording (id, event_id, source_id, file_hash, pick, channels_why) VALUES
        ('r-1', 'e-1', 's-1', hex(zeroblob(32)), '1', ''),
        ('r-2', 'e-2', 's-2', hex(zeroblob(32)), '1', '');
    INSERT INTO moment (no, id, event_id, island, start_ms, end_ms, words_from, text, word_count)
        WITH RECURSIVE n(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < 1500)
        SELECT CASE WHEN n % 2 THEN e * 1500 + n ELSE 9000 - e * 1500 - n END, 'm-' || e || '-' || n,
            'e-' || e, 0, n * 1000, n * 1000 + 900, 'r-' || e, 'the kettle', 2
        FROM n JOIN (SELECT 1 AS e UNION SELECT 2);
    INSERT INTO hearing (moment_id, recording_id, n, start_ms, end_ms, heard, level_dbfs, snr_db,
            clipped, reverb, score)
        SELECT id, words_from, 1, start_ms, end_ms, 1, 0, 0, 0, 0, 0 FROM moment;
    INSERT INTO word (moment_id, n, text, start_ms, end_ms, confidence)
        SELECT m.id, t.key, t.value, m.start_ms, m.end_ms, 0.5
        FROM moment m JOIN json_each('[\"the\", \"kettle\"]') t;
    INSERT INTO part VALUES ('e-1', 0, 'toasts', 0, 10000, 0), ('e-2', 0, 'toasts', 20000, 40000, 0);";

async fn shelf() -> (tempfile::TempDir, Store) {
    let (folder, store) = store().await;
    sqlx::raw_sql(CONTENT).execute(&store.write).await.unwrap();
    for event in ["e-1", "e-2"] {
        store.rebuild_index(&event.into()).await.unwrap();
    }
    (folder, store)
}

async fn exact(store: &Store, query: &str, filter: &Filter, most: usize) -> Matching {
    let query = Query::parse(query);
    let wanted = store.wanted(&query).await.unwrap();
    store.matching(&query, &wanted, filter, most).await.unwrap()
}

#[tokio::test]
async fn who_asks_for_more_is_told_the_same_first() {
    let (_folder, store) = shelf().await;
    let all = Filter::default();
    let whole = exact(&store, "kettle", &all, MOST_PAGED).await;
    assert_eq!((whole.exact.len(), whole.more), (3_000, false));
    let mut once = whole.exact.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), 3_000);
    for (until, told) in [(20, 2_000), (2_000, 2_000), (2_100, 3_000), (2_999, 3_000)] {
        let found = exact(&store, "kettle", &all, until).await;
        assert_eq!(
            (found.exact.len(), found.more),
            (told, told < 3_000),
            "{until}"
        );
    }
    // Page by page each comes once, and in the order that all of them have.
    let of_one = Filter {
        events: Some(vec!["e-2".into()]),
        ..Filter::default()
    };
    for filter in [&all, &of_one] {
        let whole = exact(&store, "kettle", filter, MOST_PAGED).await.exact;
        let mut paged: Vec<i64> = Vec::new();
        for until in (100..=whole.len()).step_by(100) {
            let found = exact(&store, "kettle", filter, until).await;
            paged.extend(&found.exact[until - 100..until]);
        }
        assert!(paged == whole);
        let first = store.said(&paged[..100]).await.unwrap();
        assert!(
            first
                .iter()
                .map(|row| row.no)
                .eq(paged[..100].iter().copied())
        );
    }
    // By the clock as a whole.
    let by_clock = store.in_order(&whole.exact).await.unwrap();
    let rows = store.said(&by_clock).await.unwrap();
    assert_eq!(by_clock, rows.iter().map(|row| row.no).collect::<Vec<_>>());
    assert!(rows.is_sorted_by_key(|row| (row.event_id.clone(), row.start_ms)));
}

#[tokio::test]
async fn a_part_may_be_asked_for_alone() {
    let (_folder, store) = shelf().await;
    let toasts = Filter {
        part: Some("toasts".into()),
        ..Filter::default()
    };
    // 1 to 9 s of one event and 20 to 39 s of the other.
    let found = exact(&store, "", &toasts, 20).await;
    assert_eq!(found.exact.len(), 9 + 20);
    assert_eq!(
        exact(&store, "kettle", &toasts, 20).await.exact,
        found.exact
    );
    let of_one = Filter {
        events: Some(vec!["e-1".into()]),
        ..toasts.clone()
    };
    assert_eq!(exact(&store, "", &of_one, 20).await.exact, found.exact[..9]);
    let no_part = Filter {
        part: Some("letters".into()),
        ..Filter::default()
    };
    assert!(exact(&store, "", &no_part, 20).await.exact.is_empty());
}

#[tokio::test]
async fn where_a_source_stood_may_be_put_right() {
    let (_folder, store) = shelf().await;
    let placed = |placement: &str| Filter {
        placements: Some(vec![placement.into()]),
        best: true,
        ..Filter::default()
    };
    let event = EventId::from("e-1");
    store
        .ensure_source(&event, "lav", Some(Placement::Camera), None)
        .await
        .unwrap();
    assert_eq!(store.check_index(&event).await.unwrap().wrong, []);
    let camera = exact(&store, "kettle", &placed("camera"), 20).await;
    let worn = exact(&store, "kettle", &placed("worn"), 20).await;
    assert_eq!((camera.exact.len(), worn.exact.len()), (1_500, 1_500));
    assert!(camera.exact.iter().all(|no| !worn.exact.contains(no)));
}

/// A filter may name very many events.
#[tokio::test]
async fn a_day_may_have_thousands_of_events() {
    let (_folder, store) = shelf().await;
    sqlx::raw_sql(
        "INSERT INTO event (id, title, date, frame_rate, created_at_ms)
        WITH RECURSIVE n(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < 5000)
        SELECT 'x-' || n, 'Day', '2026-06-20', NULL, 1 FROM n",
    )
    .execute(&store.write)
    .await
    .unwrap();
    let events = store
        .events_between("2026-06-20", "2026-06-20")
        .await
        .unwrap();
    assert_eq!(events.len(), 5_001);
    let filter = Filter {
        events: Some(events),
        ..Filter::default()
    };
    assert_eq!(
        exact(&store, "kettle", &filter, 20).await.exact.len(),
        1_500
    );
}
