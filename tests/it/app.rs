//! A real server on a port of its own, over a data folder that goes away.

use std::path::{Path, PathBuf};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use axum::http::{HeaderMap, Method, Request};
use sayback::core::text::Query;
use sayback::http::{AppState, Bound, Settings, UploadLimits};
use sayback::jobs::{Engine, EngineConfig};
use sayback::speech::ModelShelf;
use sayback::store::{EventId, Filter, MomentId, Store};
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::sync::oneshot;

/// The model of the tests.
pub const MODEL: &str = "tiny.en";

/// The moments that hold every word and phrase of a query, of one event or of all.
pub async fn saying(store: &Store, query: &str, event: Option<&EventId>) -> Vec<MomentId> {
    let mut query = Query::parse(query);
    query.literal = true;
    let wanted = store.wanted(&query).await.expect("words are read");
    let filter = Filter {
        events: event.map(|event| vec![event.clone()]),
        ..Filter::default()
    };
    let found = store.matching(&query, &wanted, &filter, 0).await;
    let found = found.expect("the index is read");
    let nos: Vec<i64> = found.exact.into_iter().chain(found.near).collect();
    let said = store.said(&nos).await.expect("the index is read");
    said.into_iter().map(|row| row.id).collect()
}

/// A running server.
pub struct TestApp {
    /// Its address, without a slash at the end.
    pub url: String,
    /// The owner's token.
    pub token: String,
    /// Its data folder.
    pub data: TempDir,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
    agent: ureq::Agent,
}

/// What a server answered.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Reply {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("{e} in: {}", String::from_utf8_lossy(&self.body)))
    }

    pub fn header(&self, name: &str) -> &str {
        let value = self.headers.get(name);
        value.map_or("", |v| v.to_str().expect("a header that is text"))
    }

    /// The problem's JSON, after checking that it is one.
    #[track_caller]
    pub fn problem(&self, status: u16) -> Value {
        let text = String::from_utf8_lossy(&self.body);
        assert_eq!(self.status, status, "{text}");
        assert_eq!(
            self.header("content-type"),
            "application/problem+json",
            "{text}"
        );
        let problem = self.json();
        assert_eq!(problem["status"], status, "{problem}");
        for member in ["type", "title", "detail", "instance"] {
            assert!(
                problem[member].as_str().is_some_and(|t| !t.is_empty()),
                "{member}: {problem}"
            );
        }
        problem
    }
}

impl TestApp {
    /// A server with the limits users get.
    pub fn start() -> Self {
        Self::with(|_| {})
    }

    /// A server with other settings.
    pub fn with(change: impl FnOnce(&mut Settings)) -> Self {
        let data = tempfile::tempdir().expect("a folder");
        let mut settings = settings(data.path());
        change(&mut settings);
        let shelf = ModelShelf::default_dir().expect("a home");
        let config = EngineConfig::new(shelf, settings.model.clone());
        Self::on(data, settings, config)
    }

    /// A server whose engine works otherwise, such as with another recogniser.
    pub fn working(config: EngineConfig) -> Self {
        let data = tempfile::tempdir().expect("a folder");
        let settings = settings(data.path());
        Self::on(data, settings, config)
    }

    /// A server with a model of the shelf over a data folder that was there.
    #[allow(dead_code, reason = "a bench asks so")]
    pub fn over(data: TempDir, model: &str) -> Self {
        let mut settings = settings(data.path());
        settings.model = model.into();
        let shelf = ModelShelf::default_dir().expect("a home");
        let config = EngineConfig::new(shelf, settings.model.clone());
        Self::on(data, settings, config)
    }

    /// A server over a data folder that was there, whose engine works otherwise.
    #[allow(dead_code, reason = "a bench asks nothing of it")]
    pub fn over_with(data: TempDir, config: EngineConfig) -> Self {
        let settings = settings(data.path());
        Self::on(data, settings, config)
    }

    /// Ends the server; its data folder.
    #[allow(dead_code, reason = "a bench asks so")]
    pub fn stop(mut self) -> TempDir {
        let other = tempfile::tempdir().expect("a folder");
        std::mem::replace(&mut self.data, other)
    }

    fn on(data: TempDir, settings: Settings, config: EngineConfig) -> Self {
        let token = settings.token.clone();
        let (stop, stopped) = oneshot::channel();
        let (ready, started) = std::sync::mpsc::channel();
        let thread = std::thread::spawn(move || {
            tokio::runtime::Runtime::new()
                .expect("a runtime")
                .block_on(serve(settings, config, ready, stopped));
        });
        Self {
            url: started.recv().expect("the server starts"),
            token,
            data,
            stop: Some(stop),
            thread: Some(thread),
            agent: agent(),
        }
    }

    /// `GET` of a path under the API.
    pub fn get(&self, path: &str) -> Reply {
        self.send(Method::GET, path, &[], Vec::new())
    }

    /// `POST` of JSON to a path under the API.
    pub fn post(&self, path: &str, body: &Value) -> Reply {
        let kind = [("content-type", "application/json")];
        self.send(Method::POST, path, &kind, body.to_string().into_bytes())
    }

    /// Any request to a path under the API.
    pub fn send(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: Vec<u8>,
    ) -> Reply {
        self.send_to(method, &format!("/api/v1{path}"), headers, body)
    }

    /// Any request to any path.
    pub fn send_to(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: Vec<u8>,
    ) -> Reply {
        let mut request = Request::builder()
            .method(method)
            .uri(format!("{}{path}", self.url));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let request = request.body(body).expect("a request");
        let response = self.agent.run(request).expect("an answer");
        let (parts, mut body) = response.into_parts();
        Reply {
            status: parts.status.as_u16(),
            headers: parts.headers,
            body: body
                .with_config()
                .limit(1 << 30)
                .read_to_vec()
                .expect("a body"),
        }
    }

    /// Makes an event; its id.
    pub fn event(&self, title: &str) -> String {
        let reply = self.post("/events", &json!({"title": title, "frame_rate": "25"}));
        assert_eq!(reply.status, 201, "{}", reply.json());
        reply.json()["id"].as_str().expect("an id").to_owned()
    }

    /// Adds files as the owner of the data folder.
    pub fn add(&self, event: &str, source: &str, placement: &str, paths: &[PathBuf]) -> Value {
        let body = json!({"source": source, "placement": placement, "paths": paths});
        let token = format!("Bearer {}", self.token);
        let headers = [
            ("content-type", "application/json"),
            ("authorization", token.as_str()),
        ];
        let path = format!("/events/{event}/add");
        let reply = self.send(Method::POST, &path, &headers, body.to_string().into_bytes());
        assert_eq!(reply.status, 202, "{}", reply.json());
        reply.json()
    }

    /// Waits until nothing is left to do; the last status.
    pub fn wait_idle(&self) -> Value {
        self.wait_idle_for(Duration::from_secs(300))
    }

    /// The same for work that takes longer.
    pub fn wait_idle_for(&self, longest: Duration) -> Value {
        let until = Instant::now() + longest;
        loop {
            let status = self.get("/status").json();
            let jobs = &status["jobs"];
            if jobs["waiting"] == 0 && jobs["running"] == 0 {
                return status;
            }
            assert!(Instant::now() < until, "still at work: {status}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// The only recording of an event.
    pub fn only_recording(&self, event: &str) -> Value {
        let detail = self.get(&format!("/events/{event}")).json();
        let recordings = detail["recordings"].as_array().expect("recordings");
        assert_eq!(recordings.len(), 1, "{detail}");
        recordings[0].clone()
    }

    /// How many sent files lie in the data folder, whole or half.
    pub fn files_sent(&self) -> usize {
        let count = |folder| count_files(&self.data.path().join(folder));
        count("incoming") + count("uploads")
    }
}

impl Drop for TestApp {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            // The server may have ended by itself.
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
            && !std::thread::panicking()
        {
            panic!("the server panicked");
        }
    }
}

/// The settings users get, on a data folder.
pub fn settings(data_dir: &Path) -> Settings {
    Settings {
        data_dir: data_dir.to_path_buf(),
        model: MODEL.into(),
        roots: Vec::new(),
        token: sayback::http::new_token().expect("a token"),
        limits: UploadLimits::default(),
    }
}

/// What a server answers from, and the engine to be shut down after it.
pub async fn opened(settings: Settings) -> (AppState, Engine) {
    let shelf = ModelShelf::default_dir().expect("a home");
    let config = EngineConfig::new(shelf, settings.model.clone());
    opened_with(settings, config).await
}

async fn opened_with(settings: Settings, config: EngineConfig) -> (AppState, Engine) {
    let models = ModelShelf::new(ModelShelf::default_dir().expect("a home"));
    let store = Store::open(&settings.data_dir).await.expect("a store");
    let engine = Engine::start(store.clone(), config)
        .await
        .expect("an engine");
    let state = AppState::new(store, engine.clone(), models, settings);
    (state, engine)
}

async fn serve(
    settings: Settings,
    config: EngineConfig,
    ready: std::sync::mpsc::Sender<String>,
    stopped: oneshot::Receiver<()>,
) {
    let (state, engine) = opened_with(settings, config).await;
    let local = "127.0.0.1:0".parse().expect("an address");
    let bound = Bound::bind(state, local).await.expect("a port");
    ready.send(bound.url()).expect("the test waits");
    let stopped = async { drop(stopped.await) };
    bound.run(stopped).await.expect("it serves");
    engine.shutdown().await;
}

/// Asks without a proxy, and takes every answer.
pub fn agent() -> ureq::Agent {
    ureq::Agent::config_builder()
        .http_status_as_error(false)
        // The server is on this machine, whatever the environment says.
        .proxy(None)
        .timeout_global(Some(Duration::from_secs(60)))
        .build()
        .new_agent()
}

fn count_files(folder: &Path) -> usize {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return 0;
    };
    entries
        .map(|entry| entry.expect("an entry").path())
        .map(|path| if path.is_dir() { count_files(&path) } else { 1 })
        .sum()
}

/// Writes a mono WAV of 16 bits at 16 kHz: `seconds` of a quiet tone, in which
/// nobody speaks. `pitch_hz` makes files differ.
pub fn write_tone(path: &Path, seconds: f64, pitch_hz: f64) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for n in 0..(seconds * 16_000.0) as u32 {
        let phase = f64::from(n) * pitch_hz / 16_000.0 * std::f64::consts::TAU;
        writer
            .write_sample((phase.sin() * 1000.0) as i16)
            .expect("a sample");
    }
    writer.finalize().expect("a whole file");
}
