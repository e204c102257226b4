//! How much room does the index take, and how long does it take to make?

use std::path::Path;
use std::time::Duration;

use sayback::core::text::tokens;
use sqlx::Connection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqlitePool, SqlitePoolOptions};

use super::processor::processor_time;

/// What an index that is made again is read from, so many moments at a time.
const AT_ONCE: i64 = 20_000;

/// Bytes of a table or an index, in the file.
pub struct Size {
    /// Its name.
    pub name: String,
    /// Of whole pages, with what is free in them.
    pub bytes: i64,
}

/// A full-text index of the shelf, made again.
pub struct Rebuilt {
    /// Its name.
    pub name: String,
    /// The processor time that it took.
    pub processor: Duration,
}

/// The database of a shelf, for looking.
pub async fn open(folder: &Path) -> SqlitePool {
    let options = SqliteConnectOptions::new().filename(folder.join("sayback.db"));
    SqlitePoolOptions::new()
        .max_connections(1)
        .connect_with(options)
        .await
        .expect("a database")
}

/// Makes room for the next event: no search reads what a model made of a hearing once
/// words are made of it.
pub async fn forget_attempts(folder: &Path) {
    let database = open(folder).await;
    let done = sqlx::query("DELETE FROM attempt").execute(&database).await;
    done.expect("they are forgotten");
    database.close().await;
}

/// What each table and index takes, the largest first.
pub async fn sizes(folder: &Path) -> Vec<Size> {
    let database = open(folder).await;
    let rows: Vec<(String, i64)> = sqlx::query_as(
        "SELECT name, pgsize FROM dbstat WHERE aggregate = TRUE ORDER BY pgsize DESC, name",
    )
    .fetch_all(&database)
    .await
    .expect("sizes");
    database.close().await;
    rows.into_iter()
        .map(|(name, bytes)| Size { name, bytes })
        .collect()
}

/// Makes every full-text index again and takes it back. One that keeps no text is
/// made aside, of the words of the moments.
pub async fn rebuilt(folder: &Path) -> Vec<Rebuilt> {
    let database = open(folder).await;
    let indexes: Vec<(String, String)> = sqlx::query_as(
        "SELECT name, sql FROM sqlite_schema WHERE type = 'table' AND sql LIKE '%USING fts5%'",
    )
    .fetch_all(&database)
    .await
    .expect("a schema");
    assert!(!indexes.is_empty(), "there is no full-text index");
    let mut rebuilt = Vec::new();
    for (name, sql) in indexes {
        let processor = if keeps_nothing(&sql) {
            aside(&database, &name, &sql).await
        } else {
            in_place(&database, &name).await
        };
        rebuilt.push(Rebuilt { name, processor });
    }
    database.close().await;
    rebuilt
}

fn keeps_nothing(sql: &str) -> bool {
    let bare: String = sql.split_whitespace().collect();
    bare.contains("content=''")
}

async fn in_place(database: &SqlitePool, name: &str) -> Duration {
    let mut transaction = database.begin().await.expect("a transaction");
    let begun = processor_time();
    let sql = format!("INSERT INTO {name} ({name}) VALUES ('rebuild')");
    let done = sqlx::query(sqlx::AssertSqlSafe(sql))
        .execute(&mut *transaction)
        .await;
    done.expect("it is made again");
    let took = processor_time() - begun;
    transaction.rollback().await.expect("it is taken back");
    took
}

/// Only the time in the new index counts, with the commit.
async fn aside(database: &SqlitePool, name: &str, sql: &str) -> Duration {
    let scratch = tempfile::tempdir().expect("a folder");
    let options = SqliteConnectOptions::new()
        .filename(scratch.path().join("index.db"))
        .create_if_missing(true);
    let mut index = SqliteConnection::connect_with(&options)
        .await
        .expect("a database");
    let made = sqlx::raw_sql(sqlx::AssertSqlSafe(sql.to_owned()))
        .execute(&mut index)
        .await;
    made.expect("an empty index");
    let insert = format!("INSERT INTO {name} (rowid, normal) VALUES (?1, ?2)");
    let (mut after, mut took) = (0_i64, Duration::ZERO);
    loop {
        let rows: Vec<(i64, Option<String>)> =
            sqlx::query_as("SELECT no, text FROM moment WHERE no > ?1 ORDER BY no LIMIT ?2")
                .bind(after)
                .bind(AT_ONCE)
                .fetch_all(database)
                .await
                .expect("moments");
        let Some(last) = rows.last() else { break };
        after = last.0;
        let begun = processor_time();
        let mut transaction = index.begin().await.expect("a transaction");
        for (no, text) in &rows {
            let words = text.as_deref().unwrap_or_default().split(' ');
            let done = sqlx::query(sqlx::AssertSqlSafe(insert.clone()))
                .bind(no)
                .bind(tokens(words))
                .execute(&mut *transaction)
                .await;
            done.expect("a row of the index");
        }
        transaction.commit().await.expect("room on the disk");
        took += processor_time() - begun;
    }
    index.close().await.expect("it closes");
    took
}
