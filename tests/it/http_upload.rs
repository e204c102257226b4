//! Files that are sent, and what stops them.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use axum::http::Method;
use sayback::http::UploadLimits;

use crate::app::{TestApp, write_tone};

fn tone(pitch_hz: f64) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, 0.5, pitch_hz);
    std::fs::read(path).expect("the file")
}

fn put(app: &TestApp, event: &str, name: &str, body: Vec<u8>) -> crate::app::Reply {
    let path = format!("/events/{event}/uploads/{name}?source=Lectern&placement=stand");
    app.send(Method::PUT, &path, &[], body)
}

#[test]
fn an_upload_becomes_a_recording() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let sent = tone(300.0);
    let reply = put(&app, &event, "Mum%27s%20%22best%22.wav", sent.clone());
    assert_eq!(reply.status, 201, "{}", reply.json());
    assert!(reply.json()["intake"].is_string());
    app.wait_idle();
    let recording = app.only_recording(&event);
    assert_eq!(recording["file"], "Mum's \"best\".wav");
    assert_eq!(recording["source"]["placement"], "stand");
    assert_eq!(recording["duration_ms"], 500);
    let id = recording["id"].as_str().expect("an id");
    assert_eq!(app.get(&format!("/recordings/{id}/audio")).body, sent);
}

#[test]
fn an_upload_that_stops_half_way_leaves_nothing() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let address = app.url.strip_prefix("http://").expect("an address");
    let mut stream = TcpStream::connect(address).expect("the server listens");
    let head = format!(
        "PUT /api/v1/events/{event}/uploads/a.wav?source=Lectern HTTP/1.1\r\n\
         Host: {address}\r\nContent-Length: 1000000\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).expect("it is sent");
    stream.write_all(&vec![7; 400_000]).expect("it is sent");
    let until = Instant::now() + Duration::from_secs(10);
    while app.files_sent() == 0 {
        assert!(Instant::now() < until, "the upload never began");
        std::thread::sleep(Duration::from_millis(10));
    }
    stream
        .shutdown(std::net::Shutdown::Write)
        .expect("the sender stops");
    let mut answer = String::new();
    // The server may answer or just hang up.
    let _ = stream.read_to_string(&mut answer);
    drop(stream);
    while app.files_sent() > 0 {
        assert!(
            Instant::now() < until,
            "a half-way upload is still there: {answer}"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(detail["intakes"], serde_json::json!([]), "{detail}");
}

#[test]
fn an_upload_over_the_limit_is_refused_and_leaves_nothing() {
    let app = TestApp::with(|settings| {
        settings.limits = UploadLimits {
            max_bytes: 1000,
            keep_free_bytes: 0,
        };
    });
    let event = app.event("Boathouse");
    let problem = put(&app, &event, "a.wav", tone(300.0)).problem(413);
    assert_eq!(problem["max_bytes"], 1000);
    // Without a length in advance it is found out on the way.
    let path = format!("/events/{event}/uploads/a.wav?source=Lectern");
    let chunked = [("transfer-encoding", "chunked")];
    app.send(Method::PUT, &path, &chunked, tone(300.0))
        .problem(413);
    assert_eq!(app.files_sent(), 0);
}

#[test]
fn an_upload_that_would_fill_the_disk_is_refused() {
    let app = TestApp::with(|settings| settings.limits.keep_free_bytes = u64::MAX);
    let event = app.event("Boathouse");
    let problem = put(&app, &event, "a.wav", tone(300.0)).problem(507);
    assert!(problem["free_bytes"].is_u64(), "{problem}");
    assert_eq!(app.files_sent(), 0);
}

#[test]
fn a_name_that_leads_elsewhere_is_refused() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    for name in [
        "..%2Fa.wav",
        "%2Fetc%2Fpasswd",
        "..",
        "a%00b.wav",
        "a%5Cb.wav",
    ] {
        let problem = put(&app, &event, name, tone(300.0));
        assert!(
            matches!(problem.status, 404 | 422),
            "{name}: {}",
            problem.status
        );
        problem.problem(problem.status);
    }
    put(&app, &event, "%FF.wav", tone(300.0)).problem(400);
    put(&app, &event, &"x".repeat(256), tone(300.0)).problem(422);
    put(&app, &event, "a.wav", Vec::new()).problem(422);
    put(&app, "none", "a.wav", tone(300.0)).problem(404);
    assert_eq!(app.files_sent(), 0);
}

/// A day's recording takes hours to send: what is wrong with the rest of the
/// request is told before.
#[test]
fn a_blank_source_or_person_is_refused_before_the_body_is_taken() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let address = app.url.strip_prefix("http://").expect("an address");
    for query in ["source=%20", "source=Lectern&person=%20"] {
        let mut stream = TcpStream::connect(address).expect("the server listens");
        stream
            .set_read_timeout(Some(Duration::from_secs(20)))
            .expect("a timeout");
        let head = format!(
            "PUT /api/v1/events/{event}/uploads/a.wav?{query} HTTP/1.1\r\n\
             Host: {address}\r\nContent-Length: 1000000\r\nConnection: close\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).expect("it is sent");
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).expect("an answer");
        assert_eq!(&answer, b"HTTP/1.1 422", "{query}");
    }
}

#[test]
fn two_recorders_may_use_the_same_file_name() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    for (source, pitch) in [("Lectern", 300.0), ("Feed", 400.0)] {
        let path = format!("/events/{event}/uploads/REC0001.WAV?source={source}");
        assert_eq!(app.send(Method::PUT, &path, &[], tone(pitch)).status, 201);
    }
    app.wait_idle();
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(
        detail["recordings"].as_array().expect("recordings").len(),
        2,
        "{detail}"
    );
}
