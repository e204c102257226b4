//! How long does an answer take while so many people ask?
//!
//! A closed loop: each client asks again as soon as it has an answer, over a
//! connection of its own that stays open.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Deserialize;

use super::queries::{Ask, Asked};
use super::server::Server;

/// Answers that one client gets at least, in at most so many times the time.
const LEAST: usize = 100;
const LONGER: u32 = 10;

/// What is read of an answer.
#[derive(Deserialize)]
pub struct Answer {
    /// Hits in all.
    pub total: usize,
    /// Those of the page.
    pub hits: Vec<Hit>,
}

/// What is read of a hit.
#[derive(Deserialize)]
pub struct Hit {
    /// What was said.
    pub text: String,
}

/// What a kind of query came to with so many clients.
pub struct Measured {
    /// Every answer's time, the shortest first.
    times: Vec<Duration>,
    /// From the first question to the last answer.
    took: Duration,
    /// The server's processor time meanwhile, and what it waited for a core.
    processor: Duration,
    waited: Duration,
    /// The server's processor time for each answer, the least first; of one client only,
    /// for several share it.
    each: Vec<Duration>,
    /// Requests that were refused: the server was too busy.
    refused: usize,
    /// Answers with a hit on their page.
    found: usize,
    /// Hits in all of each answer, the fewest first.
    totals: Vec<usize>,
}

impl Measured {
    /// The time that this share of the answers took at most, ms.
    pub fn ms(&self, share: f64) -> f64 {
        at_most(&self.times, share)
    }

    /// The processor time that this share of the answers took at most, ms; `None` with
    /// several clients.
    pub fn processor_at_most_ms(&self, share: f64) -> Option<f64> {
        (!self.each.is_empty()).then(|| at_most(&self.each, share))
    }

    /// Answers a second.
    pub fn rate(&self) -> f64 {
        self.times.len() as f64 / self.took.as_secs_f64()
    }

    /// Answers.
    pub fn answers(&self) -> usize {
        self.times.len()
    }

    /// The server's processor time for an answer, ms.
    pub fn processor_ms(&self) -> f64 {
        self.processor.as_secs_f64() * 1e3 / self.times.len() as f64
    }

    /// How long the server waited for a core for an answer, over its threads, ms: much
    /// of it with one client says that other work kept the machine busy.
    pub fn waited_ms(&self) -> f64 {
        self.waited.as_secs_f64() * 1e3 / self.times.len() as f64
    }

    /// Requests that were refused.
    pub fn refused(&self) -> usize {
        self.refused
    }

    /// Whether every answer had a hit.
    pub fn all_found(&self) -> bool {
        self.found + self.refused == self.times.len()
    }

    /// Answers of a hundred with a hit.
    pub fn found(&self) -> f64 {
        100.0 * self.found as f64 / self.times.len() as f64
    }

    /// Half of the answers have no more hits than this.
    pub fn total(&self) -> usize {
        self.totals.get(self.totals.len() / 2).copied().unwrap_or(0)
    }
}

/// What this share of sorted times lies within, ms.
fn at_most(times: &[Duration], share: f64) -> f64 {
    let at = (share * times.len() as f64).ceil() as usize;
    times[at.clamp(1, times.len()) - 1].as_secs_f64() * 1e3
}

/// Somebody who asks.
pub struct Client {
    agent: ureq::Agent,
    url: String,
}

impl Client {
    /// Of a server, with a connection of its own.
    pub fn of(server: &Server) -> Self {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            // The server is on this machine, whatever the environment says.
            .proxy(None)
            .timeout_global(Some(Duration::from_secs(120)))
            .build()
            .new_agent();
        Self {
            agent,
            url: server.url.clone(),
        }
    }

    /// `GET` of a path under the API; what was answered.
    pub fn get(&self, path: &str) -> Vec<u8> {
        let (status, body) = self.try_get(path);
        let text = String::from_utf8_lossy(&body);
        assert!(status.is_success(), "{path}: {text}");
        body
    }

    fn try_get(&self, path: &str) -> (StatusCode, Vec<u8>) {
        let answer = self.agent.get(format!("{}/api/v1{path}", self.url)).call();
        let mut answer = answer.expect("an answer");
        let body = answer.body_mut().with_config().limit(1 << 30).read_to_vec();
        (answer.status(), body.expect("a whole answer"))
    }

    /// Asks, and reads the answer.
    pub fn ask(&self, ask: &Ask) -> Answer {
        read(&self.get(&path(ask)))
    }
}

fn read(body: &[u8]) -> Answer {
    serde_json::from_slice(body)
        .unwrap_or_else(|e| panic!("{e} in: {}", String::from_utf8_lossy(body)))
}

fn path(ask: &Ask) -> String {
    let parameters: Vec<String> = ask
        .iter()
        .map(|(name, value)| format!("{name}={}", utf8_percent_encode(value, NON_ALPHANUMERIC)))
        .collect();
    format!("/search?{}", parameters.join("&"))
}

/// Has `clients` ask for at least `length`, each going on where the last one took a
/// question.
pub fn run(server: &Server, asked: &[Asked], clients: usize, length: Duration) -> Measured {
    let paths: Vec<String> = asked.iter().map(|asked| path(&asked.ask)).collect();
    let next = AtomicUsize::new(0);
    let before = server.run();
    let begun = Instant::now();
    let answered: Vec<Answered> = std::thread::scope(|scope| {
        let client = || {
            let client = Client::of(server);
            let mut answered = Vec::new();
            while begun.elapsed() < length || too_few(answered.len(), clients, begun, length) {
                let path = &paths[next.fetch_add(1, Ordering::Relaxed) % paths.len()];
                let alone = (clients == 1).then(|| server.run());
                let asked = Instant::now();
                let (status, body) = client.try_get(path);
                let took = asked.elapsed();
                let answer = match status {
                    StatusCode::SERVICE_UNAVAILABLE => None,
                    status if status.is_success() => Some(read(&body)),
                    status => panic!("{path}: {status}: {}", String::from_utf8_lossy(&body)),
                };
                answered.push(Answered {
                    took,
                    processor: alone.map(|before| server.run().ran.saturating_sub(before.ran)),
                    hits: answer.map(|answer| (answer.total, !answer.hits.is_empty())),
                });
            }
            answered
        };
        let threads: Vec<_> = (0..clients).map(|_| scope.spawn(client)).collect();
        let joined = threads
            .into_iter()
            .map(|thread| thread.join().expect("no panic"));
        joined.flatten().collect()
    });
    let took = begun.elapsed();
    let after = server.run();
    let mut times: Vec<Duration> = answered.iter().map(|one| one.took).collect();
    times.sort();
    let mut each: Vec<Duration> = answered.iter().filter_map(|one| one.processor).collect();
    each.sort();
    let mut totals: Vec<usize> = answered
        .iter()
        .filter_map(|one| Some(one.hits?.0))
        .collect();
    totals.sort_unstable();
    Measured {
        times,
        took,
        processor: after.ran.saturating_sub(before.ran),
        waited: after.waited.saturating_sub(before.waited),
        each,
        refused: answered.iter().filter(|one| one.hits.is_none()).count(),
        found: answered
            .iter()
            .filter(|one| one.hits.is_some_and(|hits| hits.1))
            .count(),
        totals,
    }
}

/// Whether one client goes on for the sake of its percentiles, though not for ever.
fn too_few(answers: usize, clients: usize, begun: Instant, length: Duration) -> bool {
    clients == 1 && answers < LEAST && begun.elapsed() < LONGER * length
}

struct Answered {
    took: Duration,
    processor: Option<Duration>,
    /// In all, and whether there are some on the page; `None` where it was refused.
    hits: Option<(usize, bool)>,
}
