//! `cargo bench --bench search`: how long does an answer take on a shelf of many
//! events, while several people ask?
//!
//! A made-up shelf with the word statistics of English (`WORDS=25000000` for 500 events of
//! 50,000 words; kept in `target/search` and used again as long as seed, size and the
//! shape of the database are the same),
//! the product as a process of its own, and clients on this machine that each ask again
//! as soon as they have an answer. Prints latencies by kind of query and number of
//! clients, hits, processor time, memory, what tables and indexes take, how long the
//! index takes to make, and ends with an error where a statement walks a whole table or
//! a phrase that was said is not found.
//!
//! `KINDS='exact, rare;nowhere'` takes some kinds, `CLIENTS=1,8` some numbers of clients,
//! `SECONDS=10` a longer time for each, `SEED=7` another shelf, `ONLY=plan`, `ONLY=sizes`
//! or `ONLY=times` a part, `SHOW=1` the plans. `LEAN=1` makes a shelf without attempts at
//! words, which takes 230 bytes a word in place of 380.

#[path = "search/changes.rs"]
mod changes;
#[path = "search/event.rs"]
mod event;
#[path = "search/kinds.rs"]
mod kinds;
#[path = "search/language.rs"]
mod language;
#[path = "search/load.rs"]
mod load;
#[path = "search/maker.rs"]
mod maker;
#[path = "search/plan.rs"]
mod plan;
#[path = "words/processor.rs"]
mod processor;
#[path = "search/queries.rs"]
mod queries;
#[path = "search/server.rs"]
mod server;
#[path = "search/shelf.rs"]
mod shelf;
#[path = "search/sizes.rs"]
mod sizes;
#[path = "search/table.rs"]
mod table;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use kinds::KINDS;
use language::Language;
use load::Client;
use queries::{Ask, Asked, Expect, Kind, Material};
use server::Server;
use shelf::Shelf;

/// Words of the shelf when nobody says how many: made in a minute or two.
const WORDS: &str = "1000000";
/// Clients, when nobody says how many.
const CLIENTS: &str = "1,2,4,8,16,32";
/// How long each kind is asked by each number of clients, s.
const SECONDS: &str = "4";
/// Different requests of a kind.
const REQUESTS: usize = 400;
/// No more clients ask once half of the answers take longer, ms.
const PATIENCE_MS: f64 = 5_000.0;
/// Of these, how many are asked and read before times count.
const FIRST: usize = 40;

/// What is measured.
pub struct Options {
    /// Words of the shelf.
    pub words: usize,
    /// What its texts come from.
    pub seed: u64,
    /// Where shelves are kept.
    pub folder: PathBuf,
    kinds: Option<Vec<String>>,
    clients: Vec<usize>,
    length: Duration,
    /// Whether what the model heard is forgotten once words are made of it: no search
    /// reads it, and it takes two fifths of the room.
    pub lean: bool,
    only: Option<String>,
    show: bool,
}

impl Options {
    fn read() -> Self {
        let said = |name: &str| std::env::var(name).ok().filter(|text| !text.is_empty());
        let number = |name: &str, otherwise: &str| {
            let text = said(name).unwrap_or_else(|| otherwise.to_owned());
            text.parse::<f64>()
                .unwrap_or_else(|_| panic!("{name}={text} is no number"))
        };
        let clients = said("CLIENTS").unwrap_or_else(|| CLIENTS.to_owned());
        let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
        Self {
            words: number("WORDS", WORDS) as usize,
            seed: number("SEED", "1") as u64,
            folder: said("SHELVES").map_or(root.join("target/search"), PathBuf::from),
            kinds: said("KINDS")
                .map(|kinds| kinds.split(';').map(|k| k.trim().to_owned()).collect()),
            clients: clients
                .split(',')
                .map(|n| n.trim().parse().expect("clients"))
                .collect(),
            length: Duration::from_secs_f64(number("SECONDS", SECONDS)),
            lean: said("LEAN").is_some(),
            only: said("ONLY"),
            show: said("SHOW").is_some(),
        }
    }

    fn wants(&self, part: &str) -> bool {
        self.only.as_deref().is_none_or(|only| only == part)
    }

    fn wants_kind(&self, kind: &Kind) -> bool {
        let kinds = self.kinds.as_ref();
        kinds.is_none_or(|kinds| kinds.iter().any(|name| name == kind.name))
    }
}

fn main() {
    let options = Options::read();
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let language = Language::load();
    let shelf = runtime.block_on(Shelf::of(&options, &language));
    table::shelf(&options, &shelf);
    let server = Server::start(&shelf.folder);
    let client = Client::of(&server);
    let material = Material::new(&options, &language, event_ids(&client));
    let known = parameters(&client);
    let lacking = |kind: &Kind| {
        kind.needs
            .iter()
            .find(|need| !known.iter().any(|k| k == *need))
    };
    let mut kinds: Vec<(&Kind, Vec<Asked>)> = Vec::new();
    for kind in KINDS.iter().filter(|kind| options.wants_kind(kind)) {
        match lacking(kind) {
            Some(parameter) => println!("'{}' is left out: there is no `{parameter}`", kind.name),
            None => kinds.push((kind, kind.requests(&material, options.seed, REQUESTS))),
        }
    }
    if options.wants("times") {
        times(&options, &server, &client, &kinds);
        let (now, most) = server.memory_mb();
        println!("\nServer: {now:.0} MB resident afterwards, {most:.0} MB at most.");
    }
    drop((client, server));
    if options.wants("sizes") {
        table::sizes(&options, &runtime.block_on(sizes::sizes(&shelf.folder)));
        table::rebuilt(&options, &runtime.block_on(sizes::rebuilt(&shelf.folder)));
    }
    if options.wants("plan") {
        // Four of each kind: which statements are sent depends on what is found.
        let asks: Vec<Ask> = kinds
            .iter()
            .flat_map(|(_, asked)| asked.iter().take(4))
            .map(|asked| asked.ask.clone())
            .collect();
        let plans = runtime.block_on(plan::plans(&shelf.folder, &asks));
        table::plans(&plans, options.show);
    }
}

fn times(options: &Options, server: &Server, client: &Client, kinds: &[(&Kind, Vec<Asked>)]) {
    table::head();
    for (kind, asked) in kinds {
        if asked.is_empty() {
            println!(
                "| {} | the shelf is too small for it | | | | | | | | |",
                kind.name
            );
            continue;
        }
        let begun = Instant::now();
        for asked in asked.iter().take(FIRST) {
            held(kind, asked, client);
            if begun.elapsed() > 4 * options.length {
                break;
            }
        }
        for clients in &options.clients {
            let measured = load::run(server, asked, *clients, options.length);
            table::row(kind, *clients, &measured);
            assert!(
                kind.expect == Expect::Whatever || measured.all_found(),
                "{}: an answer without what was said",
                kind.name
            );
            if measured.ms(0.5) > PATIENCE_MS {
                println!(
                    "| {} | no more clients: one answer in two takes too long |",
                    kind.name
                );
                break;
            }
        }
    }
}

/// Ends the program where an answer lacks what was said.
fn held(kind: &Kind, asked: &Asked, client: &Client) {
    let answer = client.ask(&asked.ask);
    if kind.expect == Expect::Whatever {
        return;
    }
    assert!(
        answer.total > 0 && !answer.hits.is_empty(),
        "{}: nothing found for {:?}",
        kind.name,
        asked.ask
    );
    if kind.expect == Expect::Phrase {
        let asked_for = format!(" {} ", asked.phrase);
        for hit in answer.hits {
            let text = sayback::core::text::tokens(hit.text.split(' '));
            assert!(
                format!(" {text} ").contains(&asked_for),
                "{}: '{}' is not in '{text}'",
                kind.name,
                asked.phrase
            );
        }
    }
}

/// The ids of the events, in the order in which they were made.
fn event_ids(client: &Client) -> Vec<String> {
    let events: serde_json::Value = serde_json::from_slice(&client.get("/events")).expect("JSON");
    let list = events.as_array().or_else(|| events["events"].as_array());
    let mut named: Vec<(&str, &str)> = list
        .expect("a list of events")
        .iter()
        .map(|event| {
            (
                event["title"].as_str().expect("a title"),
                event["id"].as_str().expect("an id"),
            )
        })
        .collect();
    named.sort_unstable();
    named.into_iter().map(|(_, id)| id.to_owned()).collect()
}

/// The parameters of search, by the description that the server gives of itself.
fn parameters(client: &Client) -> Vec<String> {
    let api: serde_json::Value =
        serde_json::from_slice(&client.get("/openapi.json")).expect("JSON");
    let parameters = &api["paths"]["/api/v1/search"]["get"]["parameters"];
    let names = parameters
        .as_array()
        .expect("a description of search")
        .iter();
    names
        .filter_map(|one| one["name"].as_str().map(str::to_owned))
        .collect()
}
