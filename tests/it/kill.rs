//! Killed at any instant, nothing is lost and nothing is there twice.
//!
//! A process of its own takes in real speech with the real model. It is killed
//! (SIGKILL, so nothing in it can tidy up) at 50 or more random instants, each
//! time started again, and in the end its data folder must hold what a folder
//! holds that was never disturbed.

mod content;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use sayback::jobs::{Engine, EngineConfig, Idle};
use sayback::store::{Store, StoreError};

use super::queue::desk::{add, titled};

/// Tells a process started by this test where to work.
const DATA: &str = "SAYBACK_TEST_DATA";
/// Tells it what to take in.
const CARDS: &str = "SAYBACK_TEST_CARDS";
/// Kills in all.
const KILLS: usize = 50;

/// The process that is killed; run by itself, it takes in one line.
#[tokio::test]
async fn a_process_that_takes_in_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let given = |name, otherwise: PathBuf| std::env::var_os(name).map_or(otherwise, PathBuf::from);
    let data = given(DATA, folder.path().join("data"));
    let cards = given(CARDS, super::queue::desk::line("letter-corin-1"));
    let store = Store::open(&data).await.unwrap();
    let event = match store.find_event("The landing").await {
        Err(StoreError::Unknown { .. }) => store.create_event(titled("The landing"), 1).await,
        found => found,
    };
    let models = xtask::oracle::model("tiny.en").parent().unwrap().to_owned();
    let config = EngineConfig::new(models, "tiny.en".into());
    let engine = Engine::start(store, config).await.unwrap();
    // Added anew each time: what is there already stays as it is.
    engine
        .add(add(&event.unwrap().id, &[&cards]))
        .await
        .unwrap();
    assert_eq!(engine.run_until_idle().await.unwrap(), Idle::Done);
    engine.shutdown().await;
    engine.store().close().await;
}

#[tokio::test]
async fn killed_at_any_instant_the_end_is_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let cards = folder.path().join("cards");
    content::make_cards(&cards);

    let calm = folder.path().join("calm");
    let start = Instant::now();
    assert!(start_on(&calm, &cards).wait().unwrap().success());
    let calm_time = start.elapsed();
    let expected = content::of(&calm).await;
    assert!(
        expected.recordings.len() == 5 && expected.words() > 100,
        "{expected:#?}"
    );

    let mut random = Random(0x5eed);
    let mut kills = 0;
    let mut hit = BTreeMap::new();
    let mut finished = 0;
    while kills < KILLS {
        let data = folder.path().join(format!("killed-{finished}"));
        loop {
            let mut child = start_on(&data, &cards);
            // Every instant of a quarter of the work, and often the first ones.
            let longest = if random.below(4) == 0 {
                calm_time / 20
            } else {
                calm_time / 3
            };
            let ended = wait_at_most(&mut child, longest.mul_f64(random.share()));
            if ended || kills == KILLS {
                assert!(child.wait().unwrap().success());
                break;
            }
            child.kill().unwrap();
            child.wait().unwrap();
            kills += 1;
            *hit.entry(content::running(&data).await).or_insert(0) += 1;
        }
        assert_eq!(content::of(&data).await, expected, "after kill {kills}");
        finished += 1;
    }
    println!("{kills} kills, {finished} folders finished; jobs running when killed: {hit:?}");
    assert!(
        hit.keys().any(|kinds| kinds.contains("transcribe")),
        "{hit:?}"
    );
}

fn start_on(data: &Path, cards: &Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["kill::a_process_that_takes_in_a_folder", "--exact"])
        .env(DATA, data)
        .env(CARDS, cards)
        .stdout(Stdio::null())
        .spawn()
        .unwrap()
}

/// Whether a process ended by itself within some time.
fn wait_at_most(child: &mut Child, time: Duration) -> bool {
    let end = Instant::now() + time;
    while Instant::now() < end {
        if child.try_wait().unwrap().is_some() {
            return true;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    child.try_wait().unwrap().is_some()
}

/// Instants, the same in every run: xorshift64 (Marsaglia 2003).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}
