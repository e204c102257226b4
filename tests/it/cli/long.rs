//! A solve that takes a while is stopped, over HTTP and by Ctrl-C, and done after
//! all.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

use serde_json::Value;
use xtask::scene::day::{Corpus, cases, render};

use super::Bench;
use super::day::{solved, write};
use super::run::signal;

/// Whoever stops something waits no longer than this.
const PROMPT: Duration = Duration::from_secs(2);

/// Recorders, and how long each ran, minutes.
const RECORDERS: usize = 3;
const MINUTES: usize = 20;

/// Five minutes of talk, again and again, from another minute on each recorder:
/// much to compare.
fn long_files(bench: &Bench) {
    let corpus = Corpus::load(64).expect("talk");
    let day = cases::plain(63, 300.0, &corpus);
    let folder = tempfile::tempdir().expect("a folder");
    let sounds = render(&day, &corpus, folder.path()).expect("the day is rendered");
    let talk = sounds[0].read(0, sounds[0].samples()).expect("samples");
    for n in 0..RECORDERS {
        let card = bench.path("cards").join(format!("Recorder {n}"));
        std::fs::create_dir_all(&card).expect("a folder");
        let file = card.join(format!("take-{n}.wav"));
        let on_and_on = talk.iter().cycle().skip(n * 60 * 16_000);
        write(&file, on_and_on.take(MINUTES * 60 * 16_000).copied());
    }
}

/// Seconds of processor time a process has used.
fn processor_s(pid: u32) -> f64 {
    let stat = std::fs::read_to_string(Path::new("/proc").join(pid.to_string()).join("stat"));
    let stat = stat.expect("a process");
    // proc(5): behind the name, which may hold anything, the 12th and 13th are
    // ticks of a hundredth of a second.
    let (_, rest) = stat.rsplit_once(") ").expect("a name");
    let fields: Vec<f64> = rest.split(' ').map(|f| f.parse().unwrap_or(0.0)).collect();
    (fields[11] + fields[12]) / 100.0
}

fn clock_of(bench: &Bench, event: &str) -> Value {
    bench.run(&["clock", event, "--json"]).json()
}

#[test]
fn a_long_solve_is_stopped_at_once_and_done_after_all() {
    let bench = Bench::without_model();
    long_files(&bench);
    let event = bench.event("Ferry wedding");
    let mut server = bench.serve();
    bench
        .run(&["add", &event, "cards", "--no-wait"])
        .says(0, &["3 files taken in"]);
    let until = Instant::now() + Duration::from_secs(120);
    loop {
        let clock = clock_of(&bench, &event);
        if clock["state"] == "working" {
            break;
        }
        assert!(Instant::now() < until, "it never began: {clock}");
        std::thread::sleep(Duration::from_millis(50));
    }
    let cancelled = bench.run(&["clock", "cancel", &event]);
    cancelled.says(0, &["was cancelled", "sayback clock solve"]);
    std::thread::sleep(PROMPT);
    let used = processor_s(server.pid());
    std::thread::sleep(Duration::from_secs(1));
    let used = processor_s(server.pid()) - used;
    assert!(
        used < 0.3,
        "{used} s of work in a second, after it was stopped"
    );
    let clock = clock_of(&bench, &event);
    assert_eq!(clock["state"], "cancelled", "{clock}");
    bench
        .run(&["clock", "cancel", &event])
        .says(3, &["cancelled"]);
    assert_eq!(server.stop(), 0);

    by_ctrl_c(&bench, &event);
    let status = bench.json(&["status", "--json"]);
    assert_eq!(status["jobs"]["running"], 0, "{status}");
    assert_eq!(status["jobs"]["failed"], 0, "{status}");
    assert_eq!(clock_of(&bench, &event)["state"], "waiting");

    let mut server = bench.serve();
    let clock = solved(&bench, &event, RECORDERS);
    assert_eq!(clock["error"], Value::Null);
    assert_eq!(server.stop(), 0);
}

fn by_ctrl_c(bench: &Bench, event: &str) {
    let mut child = bench
        .command(&["clock", "solve", event])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut err = BufReader::new(child.stderr.take().expect("standard error is a pipe"));
    let mut said = String::new();
    while !said.contains('%') {
        let more = err.read_line(&mut said).expect("it speaks");
        assert!(more > 0, "it ended early: {said}");
    }
    // The first line of progress comes as the work begins.
    std::thread::sleep(Duration::from_millis(500));
    signal(child.id(), "INT");
    let asked = Instant::now();
    err.read_to_string(&mut said).expect("it speaks");
    assert_eq!(child.wait().expect("it ends").code(), Some(130), "{said}");
    assert!(asked.elapsed() < PROMPT, "{:?}", asked.elapsed());
    assert!(said.contains("stay in the queue"), "{said}");
}
