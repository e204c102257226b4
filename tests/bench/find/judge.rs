//! Asks the real search, and tells whether what it answers is where it was said.
//!
//! Right is a hit of the asked event whose span overlaps the truth within half a second:
//! the tolerance of NIST's Spoken Term Detection plan of 2006 (which asks it of the
//! middle; `term_value` does so), for spans of whole lines.

use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use serde_json::Value;

use crate::decoys;
use crate::folder::{Asked, Event, Sound};
use crate::plain::Plain;
use crate::queries::{Kind, Query};
use crate::sound::Said;
use crate::term_value::GRACE_MS;

/// A hit, as far as it is judged.
#[derive(Clone, Debug)]
pub struct Hit {
    /// On the event clock, ms.
    pub span: Option<(i64, i64)>,
    /// How it matches, as the search calls it.
    pub kind: String,
    pub score: f64,
    /// Below what the search stands for.
    pub guess: bool,
    pub text: String,
}

/// What came of a query: its place among the answers, from 0.
pub struct Outcome {
    pub query: Query,
    pub sound: Sound,
    pub place: Option<usize>,
    pub plain: Option<usize>,
    /// The right hit's kind of match, and whether it was called a guess.
    pub found_as: Option<(String, bool)>,
    /// Whether the words of the query are written where they were said.
    pub written: bool,
    /// ms from the truth's start to the hit's.
    pub off_ms: Option<i64>,
    /// What came first.
    pub first: Option<Hit>,
    /// What the model wrote where it was said.
    pub heard: String,
}

/// What came of a decoy.
pub struct DecoyOutcome {
    pub kind: decoys::Kind,
    pub query: String,
    pub sound: Sound,
    /// The first hit the search stands for, or else the first.
    pub hit: Option<Hit>,
}

/// The hits of an event, best first.
pub fn ask(asked: &Asked, event: &Event, query: &str, limit: usize) -> Vec<Hit> {
    let q = utf8_percent_encode(query, NON_ALPHANUMERIC);
    let path = format!("/search?q={q}&event={}&limit={limit}", event.id);
    let reply = asked.app.get(&path);
    let answer = reply.json();
    assert_eq!(reply.status, 200, "{query}: {answer}");
    let hits = answer["hits"].as_array().expect("hits");
    hits.iter().map(|hit| read(hit, event)).collect()
}

fn read(hit: &Value, event: &Event) -> Hit {
    assert_eq!(hit["event"]["id"], event.id, "of another event: {hit}");
    let ms = |name: &str| hit[name].as_i64();
    Hit {
        span: ms("start_ms").zip(ms("end_ms")),
        kind: hit["match"].as_str().expect("a kind").to_owned(),
        score: hit["score"].as_f64().expect("a score"),
        guess: hit["guess"] == true,
        text: hit["text"].as_str().expect("a text").to_owned(),
    }
}

fn overlaps(hit: &Hit, spans: &[(i64, i64)]) -> bool {
    let Some((start, end)) = hit.span else {
        return false;
    };
    let meets = |span: &(i64, i64)| start <= span.1 + GRACE_MS && end >= span.0 - GRACE_MS;
    spans.iter().any(meets)
}

/// Asks every query of an event of its sound.
pub fn queries(asked: &Asked, event: &Event, queries: &[Query]) -> Vec<Outcome> {
    let mut plain = Plain::new(event);
    let outcome = |query: &Query| {
        let hits = ask(asked, event, &query.text, 20);
        let place = hits.iter().position(|hit| overlaps(hit, &query.spans));
        let by_plain = plain.find(&query.text);
        let right = place.map(|n| &hits[n]);
        let off = |hit: &Hit| {
            let starts = query.spans.iter().map(|span| span.0);
            let offs = starts.filter_map(|start| Some(hit.span?.0 - start));
            offs.min_by_key(|off| off.abs())
        };
        Outcome {
            place,
            plain: by_plain.iter().position(|hit| overlaps(hit, &query.spans)),
            found_as: right.map(|hit| (hit.kind.clone(), hit.guess)),
            written: written(event, query),
            off_ms: right.and_then(off),
            heard: heard(event, &query.spans),
            first: hits.into_iter().next(),
            query: query.clone(),
            sound: event.sound,
        }
    };
    queries.iter().map(outcome).collect()
}

/// The words of the event near the first places, as the model wrote them.
fn heard(event: &Event, spans: &[(i64, i64)]) -> String {
    let near = |span: &(i64, i64)| {
        let words = event
            .heard
            .iter()
            .filter(|word| word.start_ms <= span.1 + GRACE_MS && word.end_ms >= span.0 - GRACE_MS);
        let words: Vec<&str> = words.map(|word| word.text.as_str()).collect();
        words.join(" ")
    };
    let heard: Vec<String> = spans.iter().take(3).map(near).collect();
    heard.join(" / ")
}

/// Whether one of the places holds the words of the query one after another.
fn written(event: &Event, query: &Query) -> bool {
    let asked = sayback::core::text::tokens(query.text.split(' '));
    query.spans.iter().any(|span| {
        let there = heard(event, &[*span]);
        let there = format!(" {} ", sayback::core::text::tokens(there.split(' ')));
        let genitive = query.kind == Kind::Name && there.contains(&format!(" {asked}s "));
        genitive || there.contains(&format!(" {asked} "))
    })
}

/// Asks every decoy.
pub fn decoys(
    asked: &Asked,
    event: &Event,
    decoys: &[(decoys::Kind, String)],
) -> Vec<DecoyOutcome> {
    let outcome = |(kind, query): &(decoys::Kind, String)| {
        let mut hits = ask(asked, event, query, 20);
        let sure = hits.iter().position(|hit| !hit.guess);
        let hit = (!hits.is_empty()).then(|| hits.swap_remove(sure.unwrap_or(0)));
        DecoyOutcome {
            kind: *kind,
            query: query.clone(),
            sound: event.sound,
            hit,
        }
    };
    decoys.iter().map(outcome).collect()
}

/// Share of words wrong by counts of words alone, for orientation: the truth's words
/// that are not written within the grace of where they were said.
pub fn unwritten(event: &Event, said: &Said) -> f64 {
    let words: Vec<_> = said.lines.iter().flat_map(|line| &line.words).collect();
    let missing = words.iter().filter(|word| {
        let there = heard(event, &[(word.start_ms, word.end_ms)]);
        let there = sayback::core::text::tokens(there.split(' '));
        !there.split(' ').any(|other| other == word.normal)
    });
    missing.count() as f64 / words.len().max(1) as f64
}
