//! `cargo bench --bench hand_over`: how long do long cut lists and whole events take over
//! HTTP, and how large are the answers?
//!
//! A made-up day, each line heard by all of eight recorders; a cut list of 2,000 quotes of
//! twenty words of it; the product's router, asked in this process. Prints for each request the
//! time on the wall, that of the processor, bytes, and the most memory so far
//! (`LINES=8000`, `WORDS=20`, `QUOTES=2000`).

#[path = "hand_over/event.rs"]
mod event;
#[path = "search/maker.rs"]
mod maker;
#[path = "words/processor.rs"]
mod processor;

use std::time::Instant;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::Request;
use sayback::http::{AppState, Settings, UploadLimits, new_token, router};
use sayback::jobs::{Engine, EngineConfig};
use sayback::speech::ModelShelf;
use sayback::store::Store;
use serde_json::{Value, json};
use tower::ServiceExt;

const FORMATS: [&str; 8] = [
    "otio", "edl", "vtt", "srt", "csv", "markers", "rttm", "page",
];

fn main() {
    let number = |name: &str, otherwise: usize| {
        let said = std::env::var(name).ok();
        said.map_or(otherwise, |text| text.parse().expect("a number"))
    };
    let (lines, words) = (number("LINES", 8_000), number("WORDS", 20));
    let quotes = number("QUOTES", 2_000);
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(measured(lines, words, quotes));
}

async fn measured(lines: usize, words: usize, quotes: usize) {
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(folder.path()).await.expect("a store");
    let day = event::Event::new(lines, words);
    maker::Maker::write(&store, &day).await;
    let (router, engine) = served(&store, folder.path()).await;
    println!(
        "{lines} lines of {words} words, {quotes} quotes; the database alone: {} MB",
        peak_mb()
    );
    println!(
        "{:44} {:>8} {:>10} {:>10} {:>8}",
        "", "wall ms", "processor", "kB", "peak MB"
    );
    let made = ask(
        &router,
        "POST",
        "/events/Ferry%20landing/cuts",
        Some(json!({"name": "film"})),
    );
    let mut version = read(&made.await)["version"].clone();
    let moments = moments(&router, quotes).await;
    for some in moments.chunks(500) {
        let picked: Vec<Value> = some.iter().map(|id| json!({ "moment": id })).collect();
        let body = json!({"version": version, "quotes": picked});
        let added = ask(&router, "POST", "/cuts/film/quotes", Some(body)).await;
        version = read(&added)["cut"]["version"].clone();
    }
    for query in [
        "",
        "?words=false",
        "?words=false&backups=false",
        "?words=false&backups=false&from=501&limit=100",
    ] {
        ask(&router, "GET", &format!("/cuts/film{query}"), None).await;
    }
    for path in ["/cuts/film", "/events/Ferry%20landing"] {
        for format in FORMATS {
            ask(
                &router,
                "GET",
                &format!("{path}/files?format={format}"),
                None,
            )
            .await;
        }
        for format in ["otio", "markers"] {
            let marked = format!("{path}/files?format={format}&word_markers=true");
            ask(&router, "GET", &marked, None).await;
        }
    }
    engine.shutdown().await;
    store.close().await;
}

async fn served(store: &Store, folder: &std::path::Path) -> (Router, Engine) {
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
    let engine = Engine::start(store.clone(), config).await;
    let engine = engine.expect("an engine");
    let shelf = ModelShelf::new(models);
    let state = AppState::new(store.clone(), engine.clone(), shelf, settings);
    (router(state), engine)
}

/// The ids of the first moments.
async fn moments(router: &Router, count: usize) -> Vec<Value> {
    let mut ids = Vec::new();
    while ids.len() < count {
        let limit = (count - ids.len()).min(1_000);
        let path = format!(
            "/events/Ferry%20landing/moments?limit={limit}&offset={}",
            ids.len()
        );
        let page = read(&ask(router, "GET", &path, None).await);
        let page = page["moments"].as_array().expect("moments").clone();
        assert!(!page.is_empty(), "fewer moments than {count}");
        ids.extend(page.iter().map(|moment| moment["id"].clone()));
    }
    ids
}

fn read(body: &[u8]) -> Value {
    serde_json::from_slice(body).expect("JSON")
}

async fn ask(router: &Router, method: &str, path: &str, body: Option<Value>) -> Vec<u8> {
    let request = Request::builder()
        .method(method)
        .uri(format!("/api/v1{path}"))
        .header("host", "localhost")
        .header("content-type", "application/json")
        .body(body.map_or_else(Body::empty, |body| Body::from(body.to_string())))
        .expect("a request");
    let (begun, processor) = (Instant::now(), processor::processor_time());
    let response = router.clone().oneshot(request).await.expect("an answer");
    let status = response.status();
    let body = to_bytes(response.into_body(), 1 << 30)
        .await
        .expect("a body");
    println!(
        "{:44} {:8.0} {:10.0} {:10.0} {:8}",
        format!("{method} {path}")
            .chars()
            .take(44)
            .collect::<String>(),
        begun.elapsed().as_secs_f64() * 1_000.0,
        (processor::processor_time() - processor).as_secs_f64() * 1_000.0,
        body.len() as f64 / 1_000.0,
        peak_mb()
    );
    assert!(
        status.is_success(),
        "{path}: {status}: {}",
        String::from_utf8_lossy(&body)
    );
    body.to_vec()
}

/// The most memory that this process has had, MB (proc(5), `VmHWM`).
fn peak_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kb = line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok());
    kb.unwrap_or(0_u64) / 1_000
}
