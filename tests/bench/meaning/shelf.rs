//! What a passage, a question and a shelf of so many moments cost.

use std::time::{Duration, Instant};

use sayback::core::Cancel;
use sayback::core::meaning::SentenceEncoder;
use sayback::store::{EventId, NewEvent, Store};
use sqlx::{Connection, SqliteConnection};
use tokio::runtime::Runtime;

use super::corpus::Event;

/// Rows with random directions, all of one event.
const FILL: &str = "WITH RECURSIVE n (x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < ?1)
    INSERT INTO moment (id, event_id, island, start_ms, end_ms, text)
    SELECT hex(randomblob(16)), ?2, 0, 3000 * x, 3000 * x + 2000, 'words' FROM n";
/// A scale of 1/300, so that they are about as long as real ones.
const POINT: &str = "INSERT INTO meaning SELECT no, event_id, randomblob(16),
    unhex('740E5A3B' || hex(randomblob(384))) FROM moment";

/// Prints it.
pub fn cost(model: &SentenceEncoder, sizes: &str) {
    let event = Event::new(1, 0);
    let said = event.said();
    let texts: Vec<&str> = said.iter().map(|one| one.text).collect();
    let begun = Instant::now();
    let found = model.embed(&texts, &Cancel::new());
    let took = begun.elapsed().as_secs_f64() * 1_000.0 / found.len() as f64;
    println!("\na moment's own words: {took:.1} ms");
    let question = "the bit where she thanks her mother and father";
    let mut times: Vec<Duration> = (0..20)
        .map(|_| {
            let begun = Instant::now();
            let _ = model.embed(&[question], &Cancel::new());
            begun.elapsed()
        })
        .collect();
    times.sort();
    println!(
        "a question: median {:.1} ms",
        times[10].as_secs_f64() * 1_000.0
    );
    let question = model.embed(&[question], &Cancel::new())[0].to_question();
    let runtime = Runtime::new().expect("a runtime");
    for size in sizes.split(',') {
        let count: i64 = size.parse().expect("a number");
        let folder = tempfile::tempdir().expect("a folder");
        runtime.block_on(async {
            let store = Store::open(folder.path()).await.expect("a store");
            let new = NewEvent {
                title: "The shelf".into(),
                ..NewEvent::default()
            };
            let event = store.create_event(new, 0).await.expect("an event").id;
            fill(&folder.path().join("sayback.db"), count, &event).await;
            for of in [Some(&event), None] {
                let mut times = Vec::new();
                for _ in 0..5 {
                    let begun = Instant::now();
                    let near = store.nearest(&question, of, 20).await.expect("an answer");
                    times.push(begun.elapsed());
                    assert_eq!(near.len(), 20);
                }
                times.sort();
                let which = if of.is_some() { "one event" } else { "all" };
                println!(
                    "{count} moments, {which}: median {:.1} ms",
                    times[2].as_secs_f64() * 1_000.0
                );
            }
        });
    }
}

async fn fill(file: &std::path::Path, count: i64, event: &EventId) {
    let url = format!("sqlite:{}", file.display());
    let mut connection = SqliteConnection::connect(&url).await.expect("the store");
    sqlx::query(FILL)
        .bind(count)
        .bind(event.as_str())
        .execute(&mut connection)
        .await
        .expect("moments");
    sqlx::query(POINT)
        .execute(&mut connection)
        .await
        .expect("directions");
    connection.close().await.expect("closed");
}
