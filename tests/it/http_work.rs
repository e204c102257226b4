//! The queue as a person steers it.

use sayback::store::Store;
use serde_json::{Value, json};

use crate::app::{TestApp, write_tone};

/// A server with one file added that is no recording.
fn with_broken_file() -> (TestApp, String) {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("notes.wav");
    std::fs::write(&path, "kettle, lamp, two oars").expect("a file");
    app.add(&event, "Lectern", "stand", &[path]);
    app.wait_idle();
    (app, event)
}

fn post(app: &TestApp, path: &str) -> u16 {
    app.post(path, &json!({})).status
}

#[test]
fn a_file_that_cannot_be_opened_is_named_and_can_be_tried_again() {
    let (app, event) = with_broken_file();
    let status = app.get(&format!("/status?event={event}")).json();
    let problem = &status["problems"][0];
    assert_eq!(
        (&problem["file"], &problem["step"]),
        (&json!("notes.wav"), &json!("probe"))
    );
    let reason = problem["reason"].as_str().expect("a reason");
    assert!(reason.contains("notes.wav"), "{reason}");
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(detail["intakes"][0]["state"], "refused", "{detail}");
    let job = problem["job"].as_str().expect("a job to retry");
    assert_eq!(post(&app, &format!("/jobs/{job}/retry")), 204);
    let again = app.wait_idle();
    assert_eq!(again["problems"][0]["job"], problem["job"], "{again}");
    let over = app
        .post(&format!("/jobs/{job}/cancel"), &json!({}))
        .problem(409);
    assert!(
        over["detail"]
            .as_str()
            .is_some_and(|d| d.contains("failed")),
        "{over}"
    );
}

#[test]
fn what_waits_can_be_cancelled() {
    let app = TestApp::start();
    assert_eq!(post(&app, "/queue/pause"), 204);
    let event = app.event("Boathouse");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, 0.5, 300.0);
    app.add(&event, "Lectern", "stand", &[path]);
    // The first job of a data folder.
    assert_eq!(post(&app, "/jobs/1/cancel"), 204);
    assert_eq!(post(&app, "/queue/resume"), 204);
    app.wait_idle();
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(detail["recordings"], json!([]), "{detail}");
    let intake = &detail["intakes"][0];
    assert_eq!(intake["state"], "refused", "{intake}");
    assert!(
        intake["reason"]
            .as_str()
            .is_some_and(|r| r.contains("cancelled")),
        "{intake}"
    );
    assert_eq!(post(&app, "/jobs/1/retry"), 204);
    app.wait_idle();
    assert_eq!(app.only_recording(&event)["state"], "ready");
}

#[test]
fn a_recording_can_go_first() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, 0.5, 300.0);
    app.add(&event, "Lectern", "stand", &[path]);
    app.wait_idle();
    let recording = app.only_recording(&event);
    let id = recording["id"].as_str().expect("an id");
    let priorities = || {
        let runtime = tokio::runtime::Runtime::new().expect("a runtime");
        runtime.block_on(async {
            let store = Store::open(app.data.path()).await.expect("the same store");
            let jobs = store.jobs_of(id).await.expect("its jobs");
            let all: Vec<i64> = jobs.iter().map(|job| job.priority).collect();
            all
        })
    };
    assert_eq!(priorities(), [0]);
    assert_eq!(post(&app, &format!("/recordings/{id}/first")), 204);
    // What is done remembers it for the words that come later.
    assert_eq!(priorities(), [2]);
    let shown = app.get(&format!("/recordings/{id}")).json();
    assert_eq!(shown, recording);
    let none: &Value = &app.get(&format!("/recordings/{id}/words")).json()["hearings"];
    assert_eq!(none, &json!([]), "nobody speaks in a tone");
}
