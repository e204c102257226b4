//! `cargo bench --bench page`: how long does the page take on a long day?
//!
//! A made-up event of ten hours, eight recorders and ten thousand moments (kept in
//! `target/page` and used again as long as the shape of the database is the same), the
//! product as a process of its own, and a headless browser on this machine that opens
//! views and does what a person does: the wheel, drags, presses, keys, typing. Prints when
//! something was painted first, when all waves in sight were drawn, the longest time from
//! an input to the picture after it, the longest task, pictures that came late, and memory.
//!
//! `SEED=2` makes another day, `VIEWS=day,find` takes some views, `SIZE=3840x2160` another
//! window, `ROUNDS=5` opens each view so often.

#[path = "../it/browser.rs"]
#[allow(dead_code)]
mod browser;
#[path = "page/event.rs"]
mod event;
#[path = "page/hand.rs"]
mod hand;
#[path = "search/maker.rs"]
mod maker;
#[path = "search/server.rs"]
#[allow(dead_code)]
mod server;

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use browser::Browser;
use event::Event;
use maker::Maker;
use sayback::store::Store;
use serde_json::Value;
use server::Server;

/// Written last, so that half a shelf is never taken for a whole one.
const READY: &str = ".ready";
/// What a person waits for in each view; `null` until it is there.
const SEEN: [(&str, &str); 3] = [
    (
        "find",
        "return document.querySelector('#query') ? performance.now() : null",
    ),
    (
        "day",
        "return performance.getEntriesByName('day drawn')[0]?.startTime ?? null",
    ),
    (
        "read",
        "const view = document.getElementById('view-read');
         return view && view.childElementCount > 0 ? performance.now() : null",
    ),
];

/// What one opening of a view took, ms and MB.
#[derive(Clone, Copy, Default)]
struct Taken {
    painted_ms: f64,
    seen_ms: f64,
    input_ms: f64,
    task_ms: f64,
    late: f64,
    frames: f64,
    heap_mb: f64,
}

fn main() {
    let said = |name: &str| std::env::var(name).ok().filter(|text| !text.is_empty());
    let seed = said("SEED").map_or(1, |seed| seed.parse().expect("a number"));
    let rounds = said("ROUNDS").map_or(3, |rounds| rounds.parse::<usize>().expect("a number"));
    let views = said("VIEWS").unwrap_or_else(|| "find,day,read".into());
    let size = said("SIZE").unwrap_or_else(|| "1920x1080".into());
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let folder = runtime.block_on(shelf(seed));
    let server = Server::start(&folder);
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!(
        "Ten hours, {} recorders, seed {seed}; window {size}; load of the machine {}\n",
        event::SOURCES.len(),
        load.split(' ').next().unwrap_or("unknown")
    );
    println!(
        "| view | round | first paint, ms | all in sight drawn, ms | longest from input to picture, ms | longest task, ms | frames over 100 ms | of frames | page's memory, MB |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    for (view, seen) in SEEN {
        if !views.split(',').any(|one| one == view) {
            continue;
        }
        for round in 1..=rounds {
            let t = runtime.block_on(opened(&server, view, seen, &size));
            println!(
                "| {view} | {round} | {:.0} | {:.0} | {:.0} | {:.0} | {:.0} | {:.0} | {:.0} |",
                t.painted_ms, t.seen_ms, t.input_ms, t.task_ms, t.late, t.frames, t.heap_mb
            );
        }
    }
    let (now, most) = server.memory_mb();
    println!("\nServer: {now:.0} MB resident afterwards, {most:.0} MB at most.");
}

/// Opens a view in a browser of its own, with nothing kept, and works in it.
async fn opened(server: &Server, view: &str, seen: &str, size: &str) -> Taken {
    let browser = Browser::start().await;
    let (width, height) = size.split_once('x').expect("WIDTHxHEIGHT");
    let number = |text: &str| text.parse::<u32>().expect("a number");
    browser.resize(number(width), number(height)).await;
    let event = event_id(server);
    let address = format!("{}/?event={event}&view={view}", server.url);
    browser.open(&address).await;
    let seen = browser.wait("the view", seen).await;
    browser.run(hand::WATCH).await;
    match view {
        "day" => hand::works_in_the_day(&browser).await,
        "find" => hand::finds(&browser).await,
        _ => hand::scrolls(&browser).await,
    }
    let told = browser.run(hand::TOLD).await;
    let complaints = browser.end().await;
    assert_eq!(complaints, [""; 0], "the browser complained");
    let number = |name: &str| told[name].as_f64().unwrap_or(0.0);
    Taken {
        painted_ms: number("painted"),
        seen_ms: seen.as_f64().unwrap_or(0.0),
        input_ms: number("input"),
        task_ms: number("task"),
        late: number("late"),
        frames: number("frames"),
        heap_mb: number("heap"),
    }
}

fn event_id(server: &Server) -> String {
    let agent = ureq::Agent::config_builder()
        .proxy(None)
        .build()
        .new_agent();
    let url = format!("{}/api/v1/events", server.url);
    let mut answer = agent.get(&url).call().expect("an answer");
    let text = answer.body_mut().read_to_string().expect("a text");
    let events: Value = serde_json::from_str(&text).expect("JSON");
    let id = events["events"][0]["id"].as_str();
    id.expect("an event").to_owned()
}

/// The data folder with the day of a seed, made where it is not there.
async fn shelf(seed: u64) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = root.join(format!("target/page/day-{seed}-{}", shape(root)));
    if folder.join(READY).is_file() {
        return folder;
    }
    if folder.exists() {
        fs::remove_dir_all(&folder).expect("a half-made shelf goes");
    }
    let begun = Instant::now();
    let store = Store::open(&folder).await.expect("a store");
    Maker::write(&store, &Event::new(seed)).await;
    store.close().await;
    fs::write(folder.join(READY), "").expect("room on the disk");
    println!("Made the day in {:.0} s.", begun.elapsed().as_secs_f64());
    folder
}

/// What the shape of the database and of the day is known by.
fn shape(root: &Path) -> String {
    let mut files: Vec<PathBuf> = fs::read_dir(root.join("migrations"))
        .expect("migrations")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.push(root.join("tests/bench/page/event.rs"));
    files.sort();
    let mut hasher = blake3::Hasher::new();
    for file in files {
        hasher.update(&fs::read(file).expect("a file"));
    }
    hasher.finalize().to_hex()[..8].to_owned()
}
