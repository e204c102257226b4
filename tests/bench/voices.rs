//! `cargo bench --bench voices`: is the person named who spoke?
//!
//! Made-up events with exact truth, of which two people wear a microphone and two do
//! not, and the demo; then labelled meetings, where nobody wears one and nobody is
//! named, scored by NIST's md-eval. `SEEDS=51,52` takes other events, `ONLY=events`
//! or `ONLY=meetings` does one half, `SHOW=1` prints what was said by whom.

#[path = "voices/event.rs"]
mod event;
#[path = "voices/meetings.rs"]
mod meetings;
#[path = "sources/recordings.rs"]
mod recordings;
#[path = "voices/scene.rs"]
mod scene;
#[path = "voices/score.rs"]
mod score;
#[path = "voices/table.rs"]
mod table;

use meetings::Speech;
use sayback::core::Cancel;
use sayback::core::voices::{Encoder, Found, VoiceParams};
use sayback::speech::ModelShelf;
use scene::Kind;
use score::{Named, Score};
use xtask::oracle;

/// Events that are taken if nobody says which.
const SEEDS: &str = "61,62,63,64";

/// How many of them are made again with something special, each in four ways.
const FEWER: usize = 2;

fn main() {
    let shelf = ModelShelf::new(ModelShelf::default_dir().expect("a home"));
    let fetched = shelf.get("voices", &Cancel::new(), &mut |_| {});
    fetched.expect("the model of voices");
    let encoder = shelf.encoder().expect("the model of voices");
    let only = std::env::var("ONLY").ok();
    let wanted = |name: &str| only.as_deref().is_none_or(|only| only == name);
    if wanted("events") {
        events(&encoder);
    }
    if wanted("meetings") {
        meetings(&encoder);
    }
}

fn events(encoder: &Encoder) {
    let seeds = std::env::var("SEEDS").unwrap_or_else(|_| SEEDS.to_owned());
    let seeds: Vec<u64> = seeds
        .split(',')
        .map(|seed| seed.parse().expect("a seed"))
        .collect();
    let params = VoiceParams::default();
    let mut rows: Vec<(String, Score, Score)> = Vec::new();
    for kind in Kind::ALL {
        let mut all = (Score::default(), Score::default());
        let count = if kind == Kind::Plain {
            seeds.len()
        } else {
            FEWER
        };
        for seed in seeds.iter().take(count) {
            let event = scene::made(kind, *seed, encoder);
            let (unnamed, named) = judged(&event, &params);
            if seeds.len() > 1 {
                rows.push((
                    format!("{}, {seed}", kind.name()),
                    unnamed.clone(),
                    named.clone(),
                ));
            }
            all.0.add(&unnamed);
            all.1.add(&named);
        }
        rows.push((format!("{}, all", kind.name()), all.0, all.1));
    }
    let (unnamed, named) = judged(&scene::demo(encoder), &params);
    rows.push(("the demo".to_owned(), unnamed, named));
    table::print(&rows);
}

/// With the unnamed as they are found, and after each of them was named once.
fn judged(event: &event::Event, params: &VoiceParams) -> (Score, Score) {
    let found = event.found(&[], params);
    let unnamed = Score::of(event, &found, &Named::by_overlap(event, &found));
    let told = event.told();
    let again = event.found(&told, params);
    let named = Score::of(event, &again, &Named::default());
    if std::env::var_os("SHOW").is_some() {
        table::show(event, &again);
    }
    (unnamed, named)
}

fn meetings(encoder: &Encoder) {
    let meetings = meetings::all(&oracle::data("pyannote.audio"));
    println!(
        "{} meetings, pooled, % of the labelled time",
        meetings.len()
    );
    println!("speech    speakers     collar, s  missed  false  speaker  all");
    for (name, speech) in [
        ("detected", Speech::Detected),
        ("labelled", Speech::Labelled),
    ] {
        let heard = meetings.iter().map(|one| one.event(speech, encoder));
        let events: Vec<event::Event> = heard.collect();
        let params = VoiceParams::default();
        let found: Vec<Found> = events.iter().map(|one| one.found(&[], &params)).collect();
        let one = found.iter().map(meetings::one_for_all).collect();
        for (who, found) in [("found", &found), ("one for all", &one)] {
            for collar_s in [0.25, 0.0] {
                let errors = meetings::errors(&meetings, found, collar_s);
                table::errors(name, who, collar_s, errors);
            }
        }
        let mut all = Score::default();
        for (event, found) in events.iter().zip(&found) {
            all.add(&Score::of(event, found, &Named::by_overlap(event, found)));
        }
        table::certainty(name, &all);
        let counts = meetings.iter().zip(&found).map(table::counted);
        println!(
            "speakers found of those labelled: {}",
            counts.collect::<Vec<_>>().join(", ")
        );
    }
}
