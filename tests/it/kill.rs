//! Killed at any instant, nothing is lost and nothing is there twice.
//!
//! The program itself takes in real speech with the real model. It is killed
//! (SIGKILL, so nothing in it can tidy up) at 50 or more random instants, each
//! time started again, and in the end its data folder must hold what a folder
//! holds that was never disturbed.

mod content;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Kills in all.
const KILLS: usize = 50;

#[tokio::test]
async fn killed_at_any_instant_the_end_is_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let cards = folder.path().join("cards");
    content::make_cards(&cards);

    let calm = folder.path().join("calm");
    new_folder(&calm);
    let start = Instant::now();
    assert!(start_on(&calm, &cards).wait().unwrap().success());
    let calm_time = start.elapsed();
    let expected = content::of(&calm).await;
    assert!(
        expected.recordings.len() == content::FILES && expected.words() > 50,
        "{expected:#?}"
    );

    let mut random = Random(0x5eed);
    let mut kills = 0;
    let mut hit = BTreeMap::new();
    let mut finished = 0;
    while kills < KILLS {
        let data = folder.path().join(format!("killed-{finished}"));
        new_folder(&data);
        loop {
            let mut child = start_on(&data, &cards);
            // Half of the kills come early, where steps are short and many.
            let longest = if random.below(2) == 0 {
                calm_time / 8
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
    for kind in ["detect", "transcribe"] {
        assert!(hit.keys().any(|kinds| kinds.contains(kind)), "{hit:?}");
    }
}

/// A program at work on a data folder; what is there already stays as it is, so
/// the same line is given each time.
fn start_on(data: &Path, cards: &Path) -> Child {
    sayback(data)
        .args(["add", "The landing", "--source", "lav"])
        .arg(cards)
        .spawn()
        .unwrap()
}

fn sayback(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    let models = xtask::oracle::model("tiny.en");
    command
        .args(["--model", "tiny.en", "--models"])
        .arg(models.parent().unwrap());
    command
        .arg("--data")
        .arg(data)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

/// A data folder with one event.
fn new_folder(data: &Path) {
    assert!(
        sayback(data)
            .args(["event", "new", "The landing"])
            .status()
            .unwrap()
            .success()
    );
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
