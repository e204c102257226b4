//! Words being written down are stopped in the middle of a window, with the
//! real model, and written down after all.

use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::app::TestApp;

/// Whoever stops something waits no longer than this.
const PROMPT: Duration = Duration::from_secs(1);
/// Into the first window; it takes the model longer to hear its 30 s.
const INTO: Duration = Duration::from_millis(300);

/// Waits until the model hears a recording; the job.
fn hearing(app: &TestApp) -> String {
    let until = Instant::now() + Duration::from_secs(120);
    loop {
        let status = app.get("/status").json();
        let running = status["running"].as_array().expect("a list");
        if let Some(job) = running.iter().find(|job| job["step"] == "transcribe") {
            return job["job"].as_str().expect("an id").to_owned();
        }
        assert!(Instant::now() < until, "nothing is heard: {status}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Each word with its time and how sure it is.
fn words(app: &TestApp, event: &str) -> String {
    let recording = app.only_recording(event);
    let id = recording["id"].as_str().expect("an id");
    let reply = app.get(&format!("/recordings/{id}/words?format=ctm"));
    assert_eq!(reply.status, 200);
    let text = String::from_utf8(reply.body).expect("text");
    // Remarks hold the recording's id.
    let words = text.lines().filter(|line| !line.starts_with(";;"));
    words.collect::<Vec<_>>().join("\n")
}

#[test]
fn stopped_in_the_middle_of_a_window_the_words_are_the_same_in_the_end() {
    let talk = xtask::oracle::data("pyannote.audio").join("src/pyannote/audio/sample/sample.wav");
    let app = TestApp::start();
    let stopped = app.event("Boathouse");
    app.add(&stopped, "Lectern", "stand", std::slice::from_ref(&talk));
    let job = hearing(&app);
    std::thread::sleep(INTO);
    let asked = Instant::now();
    let reply = app.post(&format!("/jobs/{job}/cancel"), &json!({}));
    assert_eq!(reply.status, 204);
    let running = |status: &Value| status["jobs"]["running"] != 0;
    let mut status = app.get("/status").json();
    while running(&status) {
        assert!(asked.elapsed() < PROMPT, "{status}");
        std::thread::sleep(Duration::from_millis(5));
        status = app.get("/status").json();
    }
    println!("stopped in {:?}", asked.elapsed());
    // The window was not finished.
    assert_eq!(app.only_recording(&stopped)["state"], "failed", "{status}");

    assert_eq!(
        app.post(&format!("/jobs/{job}/retry"), &json!({})).status,
        204
    );
    app.wait_idle();
    assert_eq!(app.only_recording(&stopped)["state"], "ready");
    let undisturbed = app.event("Landing");
    app.add(&undisturbed, "Lectern", "stand", &[talk]);
    app.wait_idle();
    let expected = words(&app, &undisturbed);
    assert!(expected.lines().count() > 40, "{expected}");
    assert_eq!(words(&app, &stopped), expected);
}
