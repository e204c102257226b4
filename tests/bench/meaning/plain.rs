//! The plain way beside it: SQLite's full-text search, any of the words, by bm25.

use sqlx::{Connection, SqliteConnection};
use tokio::runtime::Runtime;

use super::corpus::Event;

/// The words of an event.
pub struct Index {
    runtime: Runtime,
    connection: std::cell::RefCell<SqliteConnection>,
}

impl Index {
    /// With English endings taken off, which finds more.
    pub fn new(event: &Event) -> Self {
        let runtime = Runtime::new().expect("a runtime");
        let connection = runtime.block_on(async {
            let mut connection = SqliteConnection::connect("sqlite::memory:").await?;
            sqlx::query(
                "CREATE VIRTUAL TABLE line USING fts5 (text, tokenize = 'porter unicode61')",
            )
            .execute(&mut connection)
            .await?;
            for (n, said) in event.said().iter().enumerate() {
                sqlx::query("INSERT INTO line (rowid, text) VALUES (?1, ?2)")
                    .bind(n as i64)
                    .bind(said.text)
                    .execute(&mut connection)
                    .await?;
            }
            Ok::<_, sqlx::Error>(connection)
        });
        Self {
            runtime,
            connection: connection.expect("an index").into(),
        }
    }

    /// The moments that have any of the words, the best first.
    pub fn order(&self, question: &str) -> Vec<usize> {
        let words = question.split(|c: char| !c.is_alphanumeric());
        let words: Vec<String> = words
            .filter(|word| !word.is_empty())
            .map(|word| format!("\"{word}\""))
            .collect();
        let found: Result<Vec<i64>, _> = self.runtime.block_on(
            sqlx::query_scalar("SELECT rowid FROM line WHERE line MATCH ?1 ORDER BY rank, rowid")
                .bind(words.join(" OR "))
                .fetch_all(&mut *self.connection.borrow_mut()),
        );
        found
            .expect("an answer")
            .into_iter()
            .map(|n| n as usize)
            .collect()
    }
}
