//! What the server says of the small event, as the page is to show it.

use std::collections::HashMap;

use axum::http::Method;
use serde_json::{Value, json};

use crate::landing::Landing;

/// All that was said.
pub struct Said {
    /// In the order of the clock.
    pub moments: Vec<Value>,
    /// Of each moment, when its words are said on the event clock, ms.
    times: HashMap<String, Vec<(f64, f64)>>,
}

impl Said {
    /// Of an event whose words are there.
    pub fn of(landing: &Landing) -> Self {
        let path = format!("/events/{}", landing.event);
        let listed = landing.app.get(&format!("{path}/moments")).json();
        let moments = listed["moments"].as_array().expect("moments").clone();
        assert!(moments.len() >= 3, "{listed}");
        let clock = landing.app.get(&format!("{path}/clock")).json();
        let times = moments.iter().map(|moment| {
            let id = moment["id"].as_str().expect("an id");
            let detail = landing.app.get(&format!("/moments/{id}")).json();
            let from = &detail["words_from"]["id"];
            let placed = clock["recordings"].as_array().expect("recordings").iter();
            let mut placed = placed.filter(|one| one["recording"]["id"] == *from);
            let piece = placed.next().expect("it is placed")["pieces"][0].clone();
            let words = detail["words"].as_array().expect("words").iter();
            let words = words.map(|word| {
                (
                    on_clock(&piece, &word["start_ms"]),
                    on_clock(&piece, &word["end_ms"]),
                )
            });
            (id.to_owned(), words.collect())
        });
        Self {
            times: times.collect(),
            moments,
        }
    }

    /// Where it is read.
    pub fn page(&self, landing: &Landing) -> String {
        format!("{}/?event={}&view=read", landing.app.url, landing.event)
    }

    /// The last moment but the first two of the most words.
    pub fn longest(&self) -> &Value {
        let words = |moment: &&Value| moment["text"].as_str().map_or(0, |t| t.split(' ').count());
        self.moments[2..].iter().max_by_key(words).expect("one")
    }

    /// The text of a moment.
    pub fn text(&self, id: &str) -> &str {
        let mut found = self.moments.iter().filter(|moment| moment["id"] == id);
        found.next().expect("a moment")["text"]
            .as_str()
            .expect("a text")
    }

    /// When a word is said on the event clock, ms.
    pub fn word_ms(&self, id: &str, n: usize) -> (f64, f64) {
        self.times[id][n]
    }

    /// Somebody else puts a moment right.
    pub fn writes(&self, landing: &Landing, id: &str, by: &str, text: &str) {
        let version = &landing.app.get(&format!("/moments/{id}")).json()["version"];
        let change = json!({"version": version, "by": by, "text": text});
        let kind = [("content-type", "application/json")];
        let path = format!("/moments/{id}/words");
        let reply = landing
            .app
            .send(Method::PUT, &path, &kind, change.to_string().into_bytes());
        assert_eq!(reply.status, 200, "{}", reply.json());
    }
}

/// The instant of a file on the event clock, as `Placement` has it.
fn on_clock(piece: &Value, file_ms: &Value) -> f64 {
    let of = |name: &str| piece[name].as_f64().expect("a number");
    let file_ms = file_ms.as_f64().expect("ms");
    of("start_ms") + (file_ms - of("from_ms")) / (1.0 + of("rate_ppm") / 1e6)
}

/// What the deck's clock says, ms: `1:02.34`, under an hour.
pub fn deck_ms(told: &str) -> i32 {
    let (minutes, seconds) = told.split_once(':').expect("a time");
    let seconds: f64 = seconds.parse().expect("seconds");
    minutes.parse::<i32>().expect("minutes") * 60_000 + (seconds * 1000.0).round() as i32
}
