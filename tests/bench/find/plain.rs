//! Beside it: phrase search by SQLite FTS5 with its default tokenizer (unicode61) over
//! the same moments' texts, the query in quotes, by BM25.

use sqlx::sqlite::SqliteConnection;
use sqlx::{Connection, Row};
use tokio::runtime::Runtime;

use crate::folder::{Event, Heard};
use crate::judge::Hit;

/// An index in memory.
pub struct Plain {
    runtime: Runtime,
    base: SqliteConnection,
    moments: Vec<Vec<Heard>>,
}

impl Plain {
    pub fn new(event: &Event) -> Self {
        let mut moments: Vec<Vec<Heard>> = Vec::new();
        for word in &event.heard {
            let own = |moment: &&mut Vec<Heard>| moment[0].moment == word.moment;
            match moments.iter_mut().find(own) {
                Some(moment) => moment.push(word.clone()),
                None => moments.push(vec![word.clone()]),
            }
        }
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        let base = runtime.block_on(async {
            let mut base = SqliteConnection::connect("sqlite::memory:")
                .await
                .expect("a database");
            sqlx::query("CREATE VIRTUAL TABLE said USING fts5(text)")
                .execute(&mut base)
                .await
                .expect("a table");
            for (n, moment) in moments.iter().enumerate() {
                sqlx::query("INSERT INTO said (rowid, text) VALUES (?1, ?2)")
                    .bind(n as i64 + 1)
                    .bind(text(moment))
                    .execute(&mut base)
                    .await
                    .expect("a row");
            }
            base
        });
        Self {
            runtime,
            base,
            moments,
        }
    }

    /// Every place of the phrase, the best moment first.
    pub fn find(&mut self, query: &str) -> Vec<Hit> {
        let phrase = format!("\"{}\"", query.replace('"', ""));
        let rows = sqlx::query(
            "SELECT rowid, highlight(said, 0, char(2), char(3)), bm25(said) FROM said
             WHERE said MATCH ?1 ORDER BY bm25(said), rowid",
        )
        .bind(phrase)
        .fetch_all(&mut self.base);
        let rows = self.runtime.block_on(rows).expect("an answer");
        let mut hits = Vec::new();
        for row in rows {
            let moment = &self.moments[row.get::<i64, _>(0) as usize - 1];
            let marked: String = row.get(1);
            let score = -row.get::<f64, _>(2);
            hits.extend(marks(&marked).into_iter().map(|(from, to)| Hit {
                span: Some((moment[from].start_ms, moment[to].end_ms)),
                kind: "exact".into(),
                score,
                guess: false,
                text: text(moment),
            }));
        }
        hits
    }
}

fn text(moment: &[Heard]) -> String {
    let words: Vec<&str> = moment.iter().map(|word| word.text.as_str()).collect();
    words.join(" ")
}

/// First and last word of everything that is marked.
fn marks(marked: &str) -> Vec<(usize, usize)> {
    let (mut word, mut from, mut found) = (0, 0, Vec::new());
    for c in marked.chars() {
        match c {
            ' ' => word += 1,
            '\u{2}' => from = word,
            '\u{3}' => found.push((from, word)),
            _ => {}
        }
    }
    found
}
