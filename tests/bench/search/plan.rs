//! Does any statement of a search walk a whole table?
//!
//! The statements are those that the product sends while it answers: its router is
//! asked in this process, and what the database library notes of each statement is
//! kept. So no list of statements can be out of date.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::body::Body;
use axum::http::Request;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use sayback::http::{AppState, Settings, UploadLimits, new_token, router};
use sayback::jobs::{Engine, EngineConfig};
use sayback::speech::ModelShelf;
use sayback::store::Store;
use sqlx::sqlite::SqlitePool;
use tower::ServiceExt;
use tracing::field::{Field, Visit};
use tracing_subscriber::layer::{Context, SubscriberExt};
use tracing_subscriber::{Layer, Registry};

use super::queries::Ask;

/// Tables of a row for each event, which may be walked: 500 rows, found by title.
const SMALL: [&str; 1] = ["event"];

/// A statement and how the database carries it out.
pub struct Plan {
    /// The statement, white space made single.
    pub sql: String,
    /// Its steps.
    pub steps: Vec<String>,
}

impl Plan {
    /// Steps that walk a whole table or a whole index.
    pub fn walks(&self) -> Vec<&str> {
        let steps = self.steps.iter().map(String::as_str);
        steps.filter(|step| is_walk(step, &self.sql)).collect()
    }
}

/// Whether a step looks at every row of what grows with the shelf.
fn is_walk(step: &str, sql: &str) -> bool {
    let Some(of) = step.strip_prefix("SCAN ") else {
        return false;
    };
    let (name, how) = of.split_once(' ').unwrap_or((of, ""));
    if let Some((_, index)) = how.split_once("VIRTUAL TABLE INDEX ") {
        // A list that the statement is given has number 1; a full-text index that is
        // asked for words says so by an M or by columns of words, and by nothing when
        // it is walked.
        let (number, asked) = index.split_once(':').unwrap_or((index, ""));
        let given = sql.contains("json_each(") && number == "1" && asked.is_empty();
        return !given && asked.is_empty();
    }
    // Rows of an inner statement that is carried out once.
    let inner = name == "CONSTANT" || how.contains("MATERIALIZ") || name.starts_with('(');
    !inner && !SMALL.iter().any(|small| table(name, sql) == *small)
}

/// The table that a statement calls so.
fn table<'a>(name: &'a str, sql: &'a str) -> &'a str {
    let words: Vec<&str> = sql.split([' ', '(', ')', ',']).collect();
    let named = words.windows(3).find_map(|words| match words {
        ["FROM" | "JOIN", table, alias] if *alias == name => Some(*table),
        _ => None,
    });
    named.unwrap_or(name)
}

/// Keeps the text of every statement.
#[derive(Clone, Default)]
struct Statements(Arc<Mutex<BTreeSet<String>>>);

impl Visit for Statements {
    fn record_str(&mut self, field: &Field, value: &str) {
        // The whole of it where it is long, else its first words, which are all.
        let whole = field.name() == "db.statement" && !value.trim().is_empty();
        let short = field.name() == "summary" && !value.ends_with('…');
        if whole || short {
            let words: Vec<&str> = value.split_whitespace().collect();
            self.0.lock().expect("no panic").insert(words.join(" "));
        }
    }

    fn record_debug(&mut self, _: &Field, _: &dyn std::fmt::Debug) {}
}

impl<S: tracing::Subscriber> Layer<S> for Statements {
    fn on_event(&self, event: &tracing::Event<'_>, _: Context<'_, S>) {
        if event.metadata().target() == "sqlx::query" {
            event.record(&mut self.clone());
        }
    }
}

/// The statements that answering `asks` takes, each with its plan.
pub async fn plans(folder: &Path, asks: &[Ask]) -> Vec<Plan> {
    let kept = Statements::default();
    let store = Store::open(folder).await.expect("a store");
    let settings = Settings {
        data_dir: folder.to_path_buf(),
        model: "tiny.en".into(),
        roots: Vec::new(),
        token: new_token().expect("a token"),
        limits: UploadLimits::default(),
    };
    let models = ModelShelf::default_dir().expect("a home");
    let mut config = EngineConfig::new(models.clone(), settings.model.clone());
    (config.light_workers, config.recognisers) = (0, 0);
    let engine = Engine::start(store.clone(), config)
        .await
        .expect("an engine");
    let state = AppState::new(
        store.clone(),
        engine.clone(),
        ModelShelf::new(models),
        settings,
    );
    let router = router(state);
    // The threads of the database are there already, so it must count for all.
    let subscriber = Registry::default().with(kept.clone());
    tracing::subscriber::set_global_default(subscriber).expect("nobody else listens");
    for ask in asks {
        answered(&router, ask).await;
    }
    let statements = std::mem::take(&mut *kept.0.lock().expect("no panic"));
    engine.shutdown().await;
    store.close().await;
    let database = super::sizes::open(folder).await;
    let mut plans = Vec::new();
    for sql in statements {
        if let Some(plan) = explain(&database, sql).await {
            plans.push(plan);
        }
    }
    assert!(plans.len() > 3, "only {} statements were seen", plans.len());
    tries_itself(&database).await;
    database.close().await;
    plans
}

async fn answered(router: &Router, ask: &Ask) {
    let parameters: Vec<String> = ask
        .iter()
        .map(|(name, value)| format!("{name}={}", utf8_percent_encode(value, NON_ALPHANUMERIC)))
        .collect();
    let request = Request::get(format!("/api/v1/search?{}", parameters.join("&")))
        .header("host", "localhost")
        .body(Body::empty())
        .expect("a request");
    let response = router.clone().oneshot(request).await.expect("an answer");
    assert!(
        response.status().is_success(),
        "{ask:?}: {}",
        response.status()
    );
}

/// `None` for what is no question, such as the beginning of a transaction.
async fn explain(database: &SqlitePool, sql: String) -> Option<Plan> {
    if !["SELECT", "WITH"].iter().any(|word| sql.starts_with(word)) {
        return None;
    }
    let rows: Vec<(i64, i64, i64, String)> =
        sqlx::query_as(sqlx::AssertSqlSafe(format!("EXPLAIN QUERY PLAN {sql}")))
            .fetch_all(database)
            .await
            .unwrap_or_else(|e| panic!("{sql}: {e}"));
    let steps = rows.into_iter().map(|row| row.3).collect();
    Some(Plan { sql, steps })
}

/// A check that never fails holds nothing: these walk, and those do not.
async fn tries_itself(database: &SqlitePool) {
    let indexes: Vec<String> = sqlx::query_scalar(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND sql LIKE '%USING fts5%'",
    )
    .fetch_all(database)
    .await
    .expect("a schema");
    let mut tried = vec![
        (
            "SELECT m.id FROM moment m WHERE m.text = ?1".to_owned(),
            true,
        ),
        ("SELECT count(*) FROM word".to_owned(), true),
        (
            "SELECT m.id FROM moment m WHERE m.id = ?1".to_owned(),
            false,
        ),
        (
            "SELECT m.id FROM json_each(?1) i JOIN moment m ON m.id = i.value".to_owned(),
            false,
        ),
        (
            "SELECT e.id FROM event e WHERE e.title = ?1".to_owned(),
            false,
        ),
    ];
    for index in indexes {
        tried.push((format!("SELECT rowid FROM {index}"), true));
        tried.push((
            format!("SELECT rowid FROM {index} WHERE {index} MATCH ?1"),
            false,
        ));
    }
    for (sql, walks) in tried {
        let plan = explain(database, sql).await.expect("a plan");
        assert_eq!(
            !plan.walks().is_empty(),
            walks,
            "{}: {:?}",
            plan.sql,
            plan.steps
        );
    }
}
