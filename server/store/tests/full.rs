//! A disk without room, and how fast the queue is.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Instant;

use sqlx::sqlite::{SqliteConnection, SqlitePoolOptions};

use super::*;

/// Applies the page limit of a test to each connection for writing.
pub(in crate::store) fn limited(
    options: SqlitePoolOptions,
    limit: &Arc<AtomicU32>,
) -> SqlitePoolOptions {
    let limit = Arc::clone(limit);
    options.after_connect(move |connection, _| {
        let pages = limit.load(Ordering::SeqCst);
        Box::pin(async move { set_limit(connection, pages).await })
    })
}

/// SQLite's own largest number of pages, <https://www.sqlite.org/limits.html>
const ALL_PAGES: u32 = 4_294_967_294;

async fn set_limit(connection: &mut SqliteConnection, pages: u32) -> sqlx::Result<()> {
    let pages = if pages == 0 { ALL_PAGES } else { pages };
    let limit = format!("PRAGMA max_page_count = {pages}");
    sqlx::raw_sql(sqlx::AssertSqlSafe(limit))
        .execute(connection)
        .await?;
    Ok(())
}

impl Store {
    /// Lets the database grow no further than `pages` pages, as a full disk
    /// would; 0 takes the limit away.
    pub(crate) async fn limit_pages(&self, pages: u32) {
        self.page_limit.store(pages, Ordering::SeqCst);
        let mut connection = self.write.acquire().await.unwrap();
        set_limit(&mut connection, pages).await.unwrap();
    }

    /// Pages the database has now.
    pub(crate) async fn pages(&self) -> u32 {
        sqlx::query_scalar("PRAGMA page_count")
            .fetch_one(&self.write)
            .await
            .unwrap()
    }
}

fn files(source: &SourceRow, count: usize) -> Vec<NewIntake> {
    let file = |n| NewIntake {
        source: source.id.clone(),
        path: format!("/cards/a long enough folder name to fill pages/{n}.wav").into(),
        size: 1,
        mtime_ns: 1,
        choice: "auto".into(),
    };
    (0..count).map(file).collect()
}

#[tokio::test]
async fn a_full_disk_is_said_and_nothing_is_half_written() {
    let (_folder, store) = store().await;
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
    let source = store
        .ensure_source(&event.id, "lav", None, None)
        .await
        .unwrap();
    store.limit_pages(store.pages().await + 5).await;
    let refused = store
        .add_intakes(&event.id, &files(&source, 2_000), 1)
        .await
        .unwrap_err();
    assert!(matches!(refused, StoreError::DiskFull), "{refused:?}");
    assert!(refused.may_pass());
    assert_eq!(store.queue_counts(None).await.unwrap().waiting, 0);
    store.limit_pages(0).await;
    store
        .add_intakes(&event.id, &files(&source, 2_000), 1)
        .await
        .unwrap();
    assert_eq!(store.queue_counts(None).await.unwrap().waiting, 2_000);
}

#[tokio::test]
async fn claims_stay_quick_with_ten_thousand_waiting() {
    let (_folder, store) = store().await;
    let mut per_event = Vec::new();
    for n in 0..20 {
        let new = NewEvent {
            title: format!("Event {n}"),
            ..NewEvent::default()
        };
        let event = store.create_event(new, 1).await.unwrap();
        let source = store
            .ensure_source(&event.id, "lav", None, None)
            .await
            .unwrap();
        store
            .add_intakes(&event.id, &files(&source, 500), 1)
            .await
            .unwrap();
        per_event.push(event.id);
    }
    let claims = 400_u32;
    let start = Instant::now();
    let mut served = std::collections::HashMap::new();
    for n in 0..claims {
        let now = i64::from(n) + 10;
        let claim = store
            .claim(Lane::Light, &format!("w{n}"), now, 1_000)
            .await
            .unwrap()
            .unwrap();
        *served.entry(claim.event_id.clone()).or_insert(0) += 1;
    }
    let each = start.elapsed() / claims;
    println!("a claim among 10,000 jobs of 20 events: {each:?}");
    assert!(
        per_event.iter().all(|event| served[event] == 20),
        "{served:?}"
    );
    // A commit with fsync takes 0.1 to 10 ms; the search for the job must not
    // add to that in an order of magnitude.
    assert!(each.as_millis() < 50, "{each:?}");
}
