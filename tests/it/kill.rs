//! Killed at any instant, nothing is lost and nothing is there twice.
//!
//! The program itself takes in real speech with the real model. It is killed
//! (SIGKILL, so nothing in it can tidy up) at 55 random instants, each
//! time started again, and in the end its data folder must hold what a folder
//! holds that was never disturbed.

mod content;
mod pieces;

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

#[tokio::test]
async fn killed_while_opening_and_detecting_the_end_is_the_same() {
    let hit = kill_and_compare(&content::make_silent_cards, 30, 0x5eed).await;
    let in_a_step = hit.iter().filter(|(kinds, _)| !kinds.is_empty());
    assert!(
        in_a_step.map(|(_, kills)| kills).sum::<usize>() > 10,
        "{hit:?}"
    );
}

#[tokio::test]
async fn killed_while_transcribing_the_end_is_the_same() {
    let hit = kill_and_compare(&content::make_spoken_cards, 25, 0x1a4d).await;
    let in_transcribe = hit.iter().filter(|(kinds, _)| kinds.contains("transcribe"));
    assert!(
        in_transcribe.map(|(_, kills)| kills).sum::<usize>() > 10,
        "{hit:?}"
    );
}

#[tokio::test]
async fn of_two_at_once_one_is_killed_and_the_other_finishes_all() {
    let folder = tempfile::tempdir().unwrap();
    let cards = folder.path().join("cards");
    std::fs::create_dir(&cards).unwrap();
    content::make_silent_cards(&cards);
    let calm = folder.path().join("calm");
    new_folder(&calm);
    let start = Instant::now();
    assert!(start_on(&calm, &cards).wait().unwrap().success());
    let calm_time = start.elapsed();
    let expected = content::of(&calm).await;
    let mut random = Random(0x2a2a);
    for round in 0..4 {
        let data = folder.path().join(format!("two-{round}"));
        new_folder(&data);
        let mut two = [start_on(&data, &cards), start_on(&data, &cards)];
        std::thread::sleep((calm_time / 2).mul_f64(random.share()));
        two[round % 2].kill().unwrap();
        for (n, child) in two.iter_mut().enumerate() {
            let status = child.wait().unwrap();
            assert!(n == round % 2 || status.success(), "{status}");
        }
        assert_eq!(content::of(&data).await, expected, "round {round}");
    }
}

/// Takes in cards undisturbed, then again and again with `kills` kills in all,
/// and compares each end. Returns how often which steps were running when the
/// kill came.
async fn kill_and_compare(
    make_cards: &dyn Fn(&Path),
    kills: usize,
    seed: u64,
) -> BTreeMap<String, usize> {
    let folder = tempfile::tempdir().unwrap();
    let cards = folder.path().join("cards");
    std::fs::create_dir(&cards).unwrap();
    make_cards(&cards);
    let calm = folder.path().join("calm");
    new_folder(&calm);
    let start = Instant::now();
    assert!(start_on(&calm, &cards).wait().unwrap().success());
    let calm_time = start.elapsed();
    let expected = content::of(&calm).await;
    assert_eq!(
        expected.recordings.len(),
        std::fs::read_dir(&cards).unwrap().count()
    );

    let mut random = Random(seed);
    let mut left = kills;
    let mut hit = BTreeMap::new();
    let mut finished = 0;
    while left > 0 {
        let data = folder.path().join(format!("killed-{finished}"));
        new_folder(&data);
        loop {
            let mut child = start_on(&data, &cards);
            let instant = (calm_time / 3).mul_f64(random.share());
            if left == 0 || wait_at_most(&mut child, instant) {
                assert!(child.wait().unwrap().success());
                break;
            }
            child.kill().unwrap();
            child.wait().unwrap();
            left -= 1;
            *hit.entry(content::running(&data).await).or_insert(0) += 1;
        }
        assert_eq!(
            content::of(&data).await,
            expected,
            "with {left} kills to go"
        );
        finished += 1;
    }
    println!("{kills} kills, {finished} folders finished, {calm_time:?} undisturbed");
    println!("jobs running when killed: {hit:?}");
    hit
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

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}
