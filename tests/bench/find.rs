//! `cargo bench --bench find`: is what was said found by what an editor asks, and is
//! what nobody said not? A labelled set of queries and decoys over made-up events and
//! real readings, asked of the product's own search over what the model wrote.
//!
//! `MODELS=tiny.en,base` hear it [tiny.en]; `TUNED=1` and `SEEDS=11,12` are made-up
//! events to tune by and not to; `ONLY=tuning` or `ONLY=held` does one half,
//! `ONLY=readings` or another name one text. `CACHED` is the folder where events that
//! were heard are kept [target/find]: a second run, of another search, needs no model.
//! `SHOW=1` lists what was not found first.

#[allow(dead_code, reason = "the server of the tests")]
#[path = "../it/app.rs"]
mod app;
#[path = "find/decoys.rs"]
mod decoys;
#[path = "find/folder.rs"]
mod folder;
#[path = "find/held.rs"]
mod held;
#[path = "find/judge.rs"]
mod judge;
#[path = "find/plain.rs"]
mod plain;
#[path = "find/pools.rs"]
mod pools;
#[path = "find/queries.rs"]
mod queries;
#[allow(dead_code, reason = "samples of other benches")]
#[path = "../it/speech/sets.rs"]
mod sets;
#[path = "find/sound.rs"]
mod sound;
#[path = "find/table.rs"]
mod table;
#[allow(dead_code, reason = "its tests run elsewhere")]
#[path = "../it/term_value.rs"]
mod term_value;
#[path = "find/terms.rs"]
mod terms;
#[path = "find/text.rs"]
mod text;
#[path = "find/tuning.rs"]
mod tuning;

use std::time::Instant;

use folder::{Asked, Sound};
use judge::{DecoyOutcome, Outcome};
use terms::Both;
use text::{Group, Text};
use xtask::oracle;

fn main() {
    let of = |name: &str, or: &str| std::env::var(name).unwrap_or_else(|_| or.to_owned());
    let seeds = |name: &str, or: &str| -> Vec<u64> {
        let list = of(name, or);
        let seeds = list.split(',').filter(|seed| !seed.is_empty());
        seeds.map(|seed| seed.parse().expect("a seed")).collect()
    };
    let texts = text::all(&seeds("TUNED", "1"), &seeds("SEEDS", "11,12"));
    let only = of("ONLY", "");
    for model in of("MODELS", "tiny.en").split(',') {
        oracle::model(model);
        for group in Group::ALL {
            one(model, group, &only, &texts);
        }
    }
}

/// The tables of one model and one half of the set, or of one text of it.
fn one(model: &str, group: Group, only: &str, texts: &[Text]) {
    let wanted = |text: &&Text| group.name().starts_with(only) || text.name == only;
    let own = texts.iter().filter(|text| text.group == group);
    let own: Vec<&Text> = own.filter(wanted).collect();
    if own.is_empty() {
        return;
    }
    let asked: Vec<Asked> = own.iter().map(|text| folder::open(model, text)).collect();
    let started = Instant::now();
    let (mut outcomes, mut decoy_outcomes) = (Vec::<Outcome>::new(), Vec::<DecoyOutcome>::new());
    println!("\n## {model}, {}", group.name());
    for (text, asked) in own.iter().zip(&asked) {
        let queries = queries::of(&asked.said, text.seed);
        let decoys = decoys::of(text, &asked.said, texts);
        for event in &asked.events {
            println!(
                "{}, {}: {} s of speech, {:.0} % of its words not written there; {} queries, {} decoys",
                text.name,
                event.sound.title(),
                asked.said.speech_ms / 1000,
                100.0 * judge::unwritten(event, &asked.said),
                queries.len(),
                decoys.len()
            );
            outcomes.extend(judge::queries(asked, event, &queries));
            decoy_outcomes.extend(judge::decoys(asked, event, &decoys));
        }
    }
    table::found(&outcomes);
    table::called(&outcomes);
    table::decoys(&decoy_outcomes);
    table::terms(&by_sound(&asked));
    println!("asked in {:.1} s", started.elapsed().as_secs_f64());
    if std::env::var_os("SHOW").is_some() {
        table::failures(&outcomes, &decoy_outcomes);
    }
}

fn by_sound(asked: &[Asked]) -> Vec<(Sound, Both)> {
    let said: Vec<&sound::Said> = asked.iter().map(|asked| &asked.said).collect();
    let terms = terms::choose(&said);
    let of = |sound: Sound| {
        let mut both = Both::default();
        for (number, asked) in asked.iter().enumerate() {
            for event in asked.events.iter().filter(|event| event.sound == sound) {
                terms::add(&mut both, &terms, number, asked, event);
            }
        }
        (sound, both)
    };
    Sound::ALL.map(of).into()
}
