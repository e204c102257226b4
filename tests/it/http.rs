//! The API as a program meets it.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use axum::http::Method;
use sayback::http::{Bound, ServeError};
use serde_json::{Value, json};

use crate::app::{TestApp, opened, settings, write_tone};

/// Sends raw bytes, for what a proper client would not send.
fn raw(app: &TestApp, request: &str) -> String {
    let address = app.url.strip_prefix("http://").expect("an address");
    let mut stream = TcpStream::connect(address).expect("the server listens");
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .expect("a timeout");
    stream.write_all(request.as_bytes()).expect("it is sent");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("an answer");
    answer
}

#[test]
fn health_says_what_there_is_to_do() {
    let app = TestApp::start();
    let reply = app.get("/health");
    assert_eq!(reply.status, 200);
    let health = reply.json();
    assert_eq!(health["status"], "ok");
    assert_eq!(health["version"], env!("CARGO_PKG_VERSION"));
    let empty = json!({"waiting": 0, "running": 0, "failed": 0, "paused": false});
    assert_eq!(health["queue"], empty);
    assert_eq!(health["model"]["name"], "tiny.en");
}

#[test]
fn events_are_made_listed_and_found_by_title() {
    let app = TestApp::start();
    let body = json!({"title": "Ferry landing", "date": "2026-06-20", "frame_rate": "30000/1001"});
    let reply = app.post("/events", &body);
    assert_eq!(reply.status, 201);
    let event = reply.json();
    for (name, value) in body.as_object().expect("an object") {
        assert_eq!(&event[name], value);
    }
    let none = json!({"sources": 0, "recordings": 0, "segments": 0, "words": 0});
    assert_eq!(event["counts"], none);
    assert_eq!(app.get("/events").json(), json!({"events": [event]}));
    let found = app.get("/events/Ferry%20landing").json();
    assert_eq!(found["id"], event["id"]);
    assert_eq!(found["recordings"], json!([]));
}

#[test]
fn an_event_gets_another_title_day_or_rate() {
    let app = TestApp::start();
    let event = app.event("Ferry landing");
    let path = format!("/events/{event}");
    let change = |body: Value| {
        let kind = [("content-type", "application/json")];
        app.send(Method::PATCH, &path, &kind, body.to_string().into_bytes())
    };
    for (typed, kept) in [
        ("29.97df", "30000/1001df"),
        ("59.94", "60000/1001"),
        ("24", "24"),
    ] {
        let reply = change(json!({ "frame_rate": typed }));
        assert_eq!(reply.status, 200, "{}", reply.json());
        assert_eq!(
            (&reply.json()["frame_rate"], &reply.json()["title"]),
            (&json!(kept), &json!("Ferry landing"))
        );
    }
    let named = change(json!({"title": "The landing", "date": "2026-06-20"})).json();
    assert_eq!(
        (&named["title"], &named["date"], &named["frame_rate"]),
        (&json!("The landing"), &json!("2026-06-20"), &json!("24"))
    );
    for (body, field) in [
        (json!({"frame_rate": "25df"}), "frame_rate"),
        (json!({"frame_rate": "121"}), "frame_rate"),
        (json!({"title": " "}), "title"),
        (json!({"date": "tomorrow"}), "date"),
        (json!({"colour": "red"}), "colour"),
        (json!({}), "what changes"),
    ] {
        let refused = change(body).problem(422);
        assert!(refused["detail"].to_string().contains(field), "{refused}");
    }
    assert_eq!(app.get(&path).json()["title"], "The landing");
}

#[test]
fn a_title_two_events_share_is_refused_with_their_ids() {
    let app = TestApp::start();
    let ids = [app.event("Wedding"), app.event("Wedding")];
    let problem = app.get("/events/Wedding").problem(409);
    assert_eq!(problem["ids"], json!(ids));
    assert_eq!(app.get(&format!("/events/{}", ids[1])).json()["id"], ids[1]);
}

#[test]
fn every_refusal_is_a_problem() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let form = [("content-type", "text/plain")];
    let post = |path: &str, headers: &[(&str, &str)], body: &str| {
        app.send(Method::POST, path, headers, body.as_bytes().to_vec())
    };
    let as_json = [("content-type", "application/json")];

    app.get("/nowhere").problem(404);
    app.send_to(Method::GET, "/nowhere", &[], vec![])
        .problem(404);
    app.get("/events/none").problem(404);
    app.get("/recordings/r0000000000000000").problem(404);
    app.get("/recordings/r0000000000000000/words").problem(404);
    post("/jobs/x/cancel", &[], "").problem(404);
    post("/jobs/99/retry", &[], "").problem(404);
    let reply = app.send(Method::DELETE, "/events", &[], vec![]);
    reply.problem(405);
    assert!(
        reply.header("allow").contains("POST"),
        "{:?}",
        reply.headers
    );
    app.send_to(Method::POST, "/", &[], vec![]).problem(405);
    post("/events", &form, "{}").problem(415);
    post("/events", &as_json, "{").problem(400);
    post("/events", &as_json, "{}").problem(422);
    post("/events", &as_json, r#"{"title": 7}"#).problem(422);
    post("/events", &as_json, r#"{"title": "  "}"#).problem(422);
    post("/events", &as_json, r#"{"title": "x", "date": "tomorrow"}"#).problem(422);
    post(
        "/events",
        &as_json,
        r#"{"title": "x", "frame_rate": "fast"}"#,
    )
    .problem(422);
    post("/events", &as_json, r#"{"title": "x", "colour": "red"}"#).problem(422);
    let large = format!("{{\"title\": \"{}\"}}", "x".repeat(33 << 20));
    post("/events", &as_json, &large).problem(413);
    for (wrong, field) in [
        ("confidence=2", "confidence"),
        ("placement=hat", "placement"),
        ("from=june", "from"),
        ("meaning=true", "meaning"),
    ] {
        let path = format!("/search?q=x&{wrong}");
        assert_eq!(app.get(&path).problem(422)["field"], field);
    }
    // No query is an error, not even none.
    assert_eq!(app.get("/search").json()["total"], 0);
    assert_eq!(
        app.get("/search?q=x&limit=0").problem(422)["field"],
        "limit"
    );
    app.get("/search?q=x&limit=many").problem(400);
    app.get("/search?q=x&event=none").problem(404);
    app.get("/status?event=none").problem(404);
    let add = format!("/events/{event}/add");
    let body = json!({"source": "Lectern", "placement": "ceiling", "paths": ["/a"]});
    assert_eq!(app.post(&add, &body).problem(422)["field"], "placement");
    let body = json!({"source": "Lectern", "channels": "9", "paths": ["/a"]});
    assert_eq!(app.post(&add, &body).problem(422)["field"], "channels");
    let body = json!({"source": " ", "paths": ["/a"]});
    assert_eq!(app.post(&add, &body).problem(422)["field"], "source");
    let body = json!({"source": "Lectern", "paths": ["a.wav"]});
    let reply = app.post(&add, &body);
    assert_eq!(
        (reply.status, &reply.json()["refused"][0]["file"]),
        (202, &json!("a.wav"))
    );
}

/// RFC 9112, 9.6: closing while the sender still sends can cost it the answer.
#[test]
fn who_is_refused_half_way_may_finish_and_ask_again() {
    let app = TestApp::start();
    let address = app.url.strip_prefix("http://").expect("an address");
    let mut stream = TcpStream::connect(address).expect("the server listens");
    let limit = Some(Duration::from_secs(20));
    stream.set_read_timeout(limit).expect("a timeout");
    let mut send = |text: &str, until: &str| {
        stream.write_all(text.as_bytes()).expect("it is sent");
        let mut heard = String::new();
        while !heard.contains(until) {
            let mut some = [0; 1024];
            let count = stream.read(&mut some).expect("an answer");
            assert!(count > 0, "the server closed after: {heard}");
            heard.push_str(&String::from_utf8_lossy(&some[..count]));
        }
        heard
    };
    let head = "POST /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\
                Content-Type: text/plain\r\nContent-Length: 100000\r\n\r\n";
    let refused = send(head, "\"instance\"");
    assert!(refused.starts_with("HTTP/1.1 415 "), "{refused}");
    let mut rest = "x".repeat(100_000);
    rest.push_str("GET /api/v1/health HTTP/1.1\r\nHost: localhost\r\n\r\n");
    let answer = send(&rest, "\"model\"");
    assert!(answer.contains("HTTP/1.1 200 "), "{answer}");
}

#[test]
fn a_refusal_carries_the_id_of_its_request() {
    let app = TestApp::start();
    let reply = app.get("/nowhere");
    let problem = reply.problem(404);
    let id = reply.header("x-request-id");
    assert_eq!(problem["instance"], format!("urn:uuid:{id}"));
    assert_ne!(app.get("/nowhere").header("x-request-id"), id);
}

#[test]
fn a_head_is_a_get_without_body() {
    let app = TestApp::start();
    let reply = app.send(Method::HEAD, "/health", &[], vec![]);
    assert_eq!((reply.status, reply.body.len()), (200, 0));
    let reply = app.send(Method::HEAD, "/events/none", &[], vec![]);
    assert_eq!((reply.status, reply.body.len()), (404, 0));
}

#[test]
fn a_foreign_name_for_this_machine_is_not_answered() {
    let app = TestApp::start();
    let ask = |host: &str| {
        raw(
            &app,
            &format!("GET /api/v1/health HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"),
        )
    };
    assert!(ask("localhost:9").starts_with("HTTP/1.1 200 "));
    let refused = ask("rebound.example");
    assert!(refused.starts_with("HTTP/1.1 421 "), "{refused}");
    assert!(refused.contains("application/problem+json"), "{refused}");
    let bare = "GET /api/v1/health HTTP/1.0\r\n\r\n";
    assert!(
        raw(&app, bare).starts_with("HTTP/1.0 400 "),
        "{}",
        raw(&app, bare)
    );
}

#[test]
fn a_foreign_page_changes_nothing() {
    let app = TestApp::start();
    let create = |origin: &str| {
        let headers = [("content-type", "application/json"), ("origin", origin)];
        app.send(
            Method::POST,
            "/events",
            &headers,
            br#"{"title": "Theirs"}"#.to_vec(),
        )
    };
    create("http://shop.example").problem(403);
    create("null").problem(403);
    assert_eq!(app.get("/events").json(), json!({"events": []}));
    assert_eq!(create(&app.url).status, 201);
    let reply = app.send(
        Method::GET,
        "/events",
        &[("origin", "http://shop.example")],
        vec![],
    );
    assert_eq!(reply.header("access-control-allow-origin"), "");
    let preflight = [
        ("origin", "http://shop.example"),
        ("access-control-request-method", "PUT"),
    ];
    let reply = app.send(Method::OPTIONS, "/events", &preflight, vec![]);
    assert_eq!(
        (reply.status, reply.header("access-control-allow-origin")),
        (405, "")
    );
}

#[test]
fn every_answer_is_hardened() {
    let app = TestApp::start();
    for path in ["/", "/page/main.js", "/api/v1/health", "/nowhere"] {
        let reply = app.send_to(Method::GET, path, &[], vec![]);
        assert_eq!(reply.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(
            reply.header("cross-origin-resource-policy"),
            "same-origin",
            "{path}"
        );
        let policy = reply.header("content-security-policy");
        assert!(
            policy.starts_with("default-src 'none';"),
            "{path}: {policy}"
        );
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
    }
}

#[test]
fn the_owner_may_add_from_anywhere_others_only_under_the_roots() {
    let folders = tempfile::tempdir().expect("a folder");
    let folders_path = folders.path().canonicalize().expect("the folder");
    let root = folders_path.join("cards");
    let elsewhere = folders_path.join("private");
    for folder in [&root, &elsewhere] {
        std::fs::create_dir(folder).expect("a folder");
    }
    write_tone(&root.join("a.wav"), 0.5, 300.0);
    write_tone(&elsewhere.join("b.wav"), 0.5, 400.0);
    std::os::unix::fs::symlink(elsewhere.join("b.wav"), root.join("link.wav")).expect("a link");
    let app = TestApp::with(|settings| settings.roots = vec![root.clone()]);
    let event = app.event("Boathouse");
    let add = |path: &str| {
        let body = json!({"source": "Lectern", "placement": "stand", "paths": [path]});
        let reply = app.post(&format!("/events/{event}/add"), &body);
        assert_eq!(reply.status, 202, "{}", reply.json());
        reply.json()
    };
    let root = root.to_str().expect("a path that is text");
    let inside = format!("{root}/a.wav");
    assert_eq!(add(&inside)["accepted"][0]["file"], inside);
    for outside in [
        format!("{root}/link.wav"),
        format!("{root}/../private/b.wav"),
        format!("{root}/../private"),
        "/etc/passwd".to_owned(),
    ] {
        let report = add(&outside);
        assert_eq!(report["accepted"], json!([]), "{outside}: {report}");
        assert!(
            report["refused"][0]["reason"].is_string(),
            "{outside}: {report}"
        );
    }
    let report = app.add(&event, "Lectern", "stand", &[elsewhere.join("b.wav")]);
    assert!(report["accepted"][0]["intake"].is_string(), "{report}");
    let wrong = [
        ("content-type", "application/json"),
        ("authorization", "Bearer guess"),
    ];
    let body = json!({"source": "x", "paths": ["/etc/passwd"]}).to_string();
    let path = format!("/events/{event}/add");
    app.send(Method::POST, &path, &wrong, body.into_bytes())
        .problem(401);
}

#[test]
fn the_queue_pauses_and_goes_on() {
    let app = TestApp::start();
    let folder = tempfile::tempdir().expect("a folder");
    write_tone(&folder.path().join("a.wav"), 0.5, 300.0);
    assert_eq!(app.post("/queue/pause", &json!({})).status, 204);
    let event = app.event("Boathouse");
    app.add(&event, "Lectern", "stand", &[folder.path().join("a.wav")]);
    assert_eq!(app.get("/health").json()["queue"]["paused"], true);
    std::thread::sleep(Duration::from_millis(400));
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(detail["intakes"][0]["state"], "waiting", "{detail}");
    assert_eq!(app.post("/queue/resume", &json!({})).status, 204);
    app.wait_idle();
    assert_eq!(app.only_recording(&event)["state"], "ready");
}

#[test]
fn progress_is_told_as_it_happens_and_ends_with_the_server() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let address = app
        .url
        .strip_prefix("http://")
        .expect("an address")
        .to_owned();
    let mut stream = TcpStream::connect(&address).expect("the server listens");
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .expect("a timeout");
    let ask = format!("GET /api/v1/progress?event={event} HTTP/1.1\r\nHost: {address}\r\n\r\n");
    stream.write_all(ask.as_bytes()).expect("it is sent");
    let folder = tempfile::tempdir().expect("a folder");
    write_tone(&folder.path().join("a.wav"), 0.5, 300.0);
    app.add(&event, "Lectern", "stand", &[folder.path().join("a.wav")]);
    app.wait_idle();
    std::thread::sleep(Duration::from_secs(3));
    drop(app);
    let mut told = String::new();
    stream.read_to_string(&mut told).expect("the stream ends");
    assert!(told.contains("content-type: text/event-stream"), "{told}");
    assert!(told.contains("event: progress\ndata: {"), "{told}");
    assert!(told.contains("event: change\n"), "{told}");
    let last = told
        .lines()
        .rfind(|line| line.starts_with("data: {\"paused\""))
        .expect("progress");
    let status: serde_json::Value = serde_json::from_str(&last[6..]).expect("JSON");
    assert_eq!(status["jobs"]["waiting"], 0, "{status}");
    assert!(
        status["jobs"]["done"].as_i64().is_some_and(|n| n >= 2),
        "{status}"
    );
}

#[test]
fn one_server_works_on_a_data_folder() {
    let app = TestApp::start();
    let running = sayback::http::running_server(app.data.path()).expect("it says where it is");
    assert_eq!(
        (running.url.as_str(), running.token.as_str()),
        (app.url.as_str(), app.token.as_str())
    );
    let file = app.data.path().join("server.json");
    let mode = std::os::unix::fs::PermissionsExt::mode(
        &std::fs::metadata(&file).expect("the file").permissions(),
    );
    assert_eq!(mode & 0o777, 0o600);
    let second = tokio::runtime::Runtime::new()
        .expect("a runtime")
        .block_on(async {
            let (state, engine) = opened(settings(app.data.path())).await;
            let local = "127.0.0.1:0".parse().expect("an address");
            let bound = Bound::bind(state, local).await;
            engine.shutdown().await;
            bound.err()
        });
    assert!(
        matches!(&second, Some(ServeError::AlreadyServed(folder)) if folder == app.data.path()),
        "{second:?}"
    );
    assert!(sayback::http::running_server(app.data.path()).is_some());
}

#[test]
fn a_stopped_server_is_not_found() {
    let app = TestApp::start();
    let data = tempfile::tempdir().expect("a folder");
    for file in ["server.json", "server.lock"] {
        std::fs::copy(app.data.path().join(file), data.path().join(file)).expect("a copy");
    }
    // What a killed server leaves: its file, but nobody holds the lock.
    assert_eq!(sayback::http::running_server(data.path()), None);
}
