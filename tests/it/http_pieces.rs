//! Files that are sent in pieces, by the protocol tus 1.0.0.

use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant, SystemTime};

use axum::http::Method;
use sayback::http::UploadLimits;
use sayback::jobs::KEPT_FOR;
use serde_json::{Value, json};
use xtask::oracle;

use crate::app::{MODEL, Reply, TestApp, write_tone};

const PIECE: (&str, &str) = ("content-type", "application/offset+octet-stream");
const TUS: (&str, &str) = ("tus-resumable", "1.0.0");

/// 'a.wav', 'Lectern' and 'stand' in base64.
const ABOUT: &str = "filename YS53YXY=,source TGVjdGVybg==,placement c3RhbmQ=";

fn tone(seconds: f64) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, seconds, 300.0);
    std::fs::read(path).expect("the file")
}

fn begin_as(app: &TestApp, event: &str, length: &str, about: &str) -> Reply {
    let headers = [TUS, ("upload-length", length), ("upload-metadata", about)];
    let path = format!("/events/{event}/uploads");
    app.send(Method::POST, &path, &headers, vec![])
}

/// Begins an upload; its path under the API.
fn begin(app: &TestApp, event: &str, length: usize) -> String {
    let reply = begin_as(app, event, &length.to_string(), ABOUT);
    assert_eq!(reply.status, 201, "{reply:?}");
    assert!(
        reply.header("upload-expires").ends_with(" GMT"),
        "{reply:?}"
    );
    let at = reply.header("location");
    at.strip_prefix("/api/v1").expect("an address").to_owned()
}

fn patch(app: &TestApp, at: &str, offset: usize, checksum: Option<&str>, bytes: &[u8]) -> Reply {
    let offset = offset.to_string();
    let mut headers = vec![TUS, PIECE, ("upload-offset", offset.as_str())];
    headers.extend(checksum.map(|sum| ("upload-checksum", sum)));
    app.send(Method::PATCH, at, &headers, bytes.to_vec())
}

fn look(app: &TestApp, at: &str) -> Reply {
    let reply = app.send(Method::HEAD, at, &[TUS], vec![]);
    assert_eq!(reply.header("tus-resumable"), "1.0.0");
    reply
}

fn offset(app: &TestApp, at: &str) -> String {
    look(app, at).header("upload-offset").to_owned()
}

fn part(app: &TestApp, at: &str) -> std::path::PathBuf {
    let id = at.strip_prefix("/uploads/").expect("an upload");
    app.data.path().join("sending").join(format!("{id}.part"))
}

/// The one recording of an event, and that it is what was sent.
fn is_taken_in(app: &TestApp, event: &str, sent: &[u8]) {
    app.wait_idle();
    let recording = app.only_recording(event);
    assert_eq!(
        (
            &recording["file"],
            &recording["source"]["label"],
            &recording["source"]["placement"]
        ),
        (&json!("a.wav"), &json!("Lectern"), &json!("stand"))
    );
    let id = recording["id"].as_str().expect("an id");
    assert_eq!(app.get(&format!("/recordings/{id}/audio")).body, sent);
}

#[test]
fn pieces_become_a_recording() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let able = app.send(
        Method::OPTIONS,
        &format!("/events/{event}/uploads"),
        &[],
        vec![],
    );
    assert_eq!(able.status, 204);
    assert_eq!(able.header("tus-version"), "1.0.0");
    assert_eq!(
        able.header("tus-extension"),
        "creation,checksum,expiration,termination"
    );
    assert_eq!(able.header("tus-max-size"), (64_u64 << 30).to_string());
    assert_eq!(able.header("tus-checksum-algorithm"), "sha1,sha256");
    let sent = tone(0.5);
    let at = begin(&app, &event, sent.len());
    let there = look(&app, &at);
    assert_eq!((there.status, there.header("upload-offset")), (200, "0"));
    assert_eq!(there.header("upload-length"), sent.len().to_string());
    assert_eq!(there.header("upload-metadata"), ABOUT);
    assert_eq!(there.header("cache-control"), "no-store");
    let reply = patch(&app, &at, 0, None, &sent[..5000]);
    assert_eq!((reply.status, reply.header("upload-offset")), (204, "5000"));
    assert!(!reply.header("upload-expires").is_empty());
    // Half of it is nobody's business.
    let detail = app.get(&format!("/events/{event}")).json();
    assert_eq!(
        (&detail["intakes"], &detail["sources"]),
        (&json!([]), &json!([]))
    );
    let reply = patch(&app, &at, 5000, None, &sent[5000..]);
    assert_eq!(reply.header("upload-offset"), sent.len().to_string());
    is_taken_in(&app, &event, &sent);
    // Whoever missed the answer learns that it is over.
    assert_eq!(offset(&app, &at), sent.len().to_string());
    assert!(!part(&app, &at).exists());
    let over = app.send(Method::DELETE, &at, &[TUS], vec![]);
    assert_eq!(over.status, 204);
    assert_eq!(look(&app, &at).status, 404);
    is_taken_in(&app, &event, &sent);
}

#[test]
fn what_does_not_fit_the_protocol_is_refused() {
    let app = TestApp::with(|settings| {
        settings.limits = UploadLimits {
            max_bytes: 1000,
            keep_free_bytes: 0,
        };
    });
    let event = app.event("Boathouse");
    let at = begin(&app, &event, 10);
    let version = app.send(Method::HEAD, &at, &[], vec![]);
    assert_eq!(
        (version.status, version.header("tus-version")),
        (412, "1.0.0")
    );
    let other = [("tus-resumable", "0.2.2"), PIECE, ("upload-offset", "0")];
    app.send(Method::PATCH, &at, &other, vec![1]).problem(412);
    let kind = [TUS, ("content-type", "audio/wav"), ("upload-offset", "0")];
    app.send(Method::PATCH, &at, &kind, vec![1]).problem(415);
    app.send(Method::PATCH, &at, &[TUS, PIECE], vec![1])
        .problem(400);
    let elsewhere = patch(&app, &at, 3, None, b"1");
    assert_eq!(
        (
            elsewhere.problem(409)["offset"].as_u64(),
            elsewhere.header("upload-offset")
        ),
        (Some(0), "0")
    );
    patch(&app, &at, 0, None, b"more than ten").problem(413);
    patch(&app, &at, 0, Some("md5 AAAA"), b"1").problem(400);
    assert_eq!(offset(&app, &at), "0");
    begin_as(&app, &event, "1001", ABOUT).problem(413);
    begin_as(&app, &event, "0", ABOUT).problem(422);
    begin_as(&app, &event, "-1", ABOUT).problem(400);
    begin_as(&app, "none", "10", ABOUT).problem(404);
    for about in [
        "",
        "filename YS53YXY=",
        "source TGVjdGVybg==",
        // '../a.wav'
        "filename Li4vYS53YXY=,source TGVjdGVybg==",
        "filename YS53YXY=,source TGVjdGVybg==,placement YXR0aWM=",
        "filename *,source *",
    ] {
        begin_as(&app, &event, "10", about).problem(422);
    }
    for none in ["/uploads/none", "/uploads/..%2F..%2Fserver", "/uploads/a.b"] {
        assert_eq!(look(&app, none).status, 404, "{none}");
        patch(&app, none, 0, None, b"1").problem(404);
        app.send(Method::DELETE, none, &[TUS], vec![]).problem(404);
    }
}

#[test]
fn a_piece_that_is_not_what_its_checksum_says_is_not_kept() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let at = begin(&app, &event, 6);
    // Of 'abc': the example of FIPS 180-4.
    let sums = [
        "sha1 qZk+NkcGgWq6PiVxeFDCbJzQ2J0=",
        "sha256 ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=",
    ];
    for sum in sums {
        patch(&app, &at, 0, Some(sum), b"abd").problem(460);
        assert_eq!(offset(&app, &at), "0");
    }
    for (n, sum) in sums.into_iter().enumerate() {
        assert_eq!(patch(&app, &at, 3 * n, Some(sum), b"abc").status, 204);
    }
    assert_eq!(offset(&app, &at), "6");
}

#[test]
fn what_can_send_nothing_but_post_says_what_it_means() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let at = begin(&app, &event, 6);
    let meaning = |method, more: &[_]| {
        let mut headers = vec![TUS, ("x-http-method-override", method)];
        headers.extend_from_slice(more);
        app.send(Method::POST, &at, &headers, b"abc".to_vec())
    };
    let reply = meaning("PATCH", &[PIECE, ("upload-offset", "0")]);
    assert_eq!((reply.status, reply.header("upload-offset")), (204, "3"));
    meaning("PUT", &[]).problem(400);
    assert_eq!(meaning("DELETE", &[]).status, 204);
    assert_eq!(look(&app, &at).status, 404);
    assert!(!part(&app, &at).exists());
}

/// A sender that is cut off after some of a piece: what came is kept without a
/// checksum, and not with one. Meanwhile nobody else writes.
#[test]
fn a_lost_connection_costs_at_most_a_piece() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    for (more, kept) in [("", "3"), ("Upload-Checksum: sha1 AAAA\r\n", "0")] {
        let at = begin(&app, &event, 10);
        let address = app.url.strip_prefix("http://").expect("an address");
        let mut stream = TcpStream::connect(address).expect("the server listens");
        let head = format!(
            "PATCH /api/v1{at} HTTP/1.1\r\nHost: {address}\r\nTus-Resumable: 1.0.0\r\n\
             Content-Type: application/offset+octet-stream\r\nUpload-Offset: 0\r\n{more}\
             Content-Length: 10\r\n\r\nabc"
        );
        stream.write_all(head.as_bytes()).expect("it is sent");
        wait_for(|| {
            part(&app, &at)
                .metadata()
                .is_ok_and(|about| about.len() == 3)
        });
        patch(&app, &at, 3, None, b"x").problem(423);
        assert_eq!(offset(&app, &at), kept, "while it is written");
        drop(stream);
        wait_for(|| patch(&app, &at, 9, None, b"x").status == 409);
        assert_eq!(offset(&app, &at), kept);
    }
}

fn wait_for(mut what: impl FnMut() -> bool) {
    let until = Instant::now() + Duration::from_secs(20);
    while !what() {
        assert!(Instant::now() < until, "it never happened");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn what_nobody_goes_on_with_is_given_up() {
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let (at, other) = (begin(&app, &event, 10), begin(&app, &event, 10));
    assert_eq!(patch(&app, &at, 0, None, b"abc").status, 204);
    let file = std::fs::File::options().write(true).open(part(&app, &at));
    let long_ago = SystemTime::now() - KEPT_FOR - Duration::from_secs(1);
    file.expect("bytes")
        .set_modified(long_ago)
        .expect("it is older");
    assert_eq!(look(&app, &at).status, 410);
    patch(&app, &at, 3, None, b"d").problem(410);
    let data = app.stop();
    let app = TestApp::over(data, MODEL);
    assert_eq!(look(&app, &at).status, 404);
    assert_eq!(offset(&app, &other), "0");
    // With the event goes what was coming for it.
    let reply = app.send(Method::DELETE, &format!("/events/{event}"), &[], vec![]);
    assert_eq!(reply.status, 204);
    assert_eq!(look(&app, &other).status, 404);
    assert_eq!(left(&app), 0);
}

fn left(app: &TestApp) -> usize {
    let folder = std::fs::read_dir(app.data.path().join("sending"));
    folder.map_or(0, Iterator::count)
}

/// As after a kill between moving a whole file and queueing it, and before moving it.
#[test]
fn a_whole_file_that_a_kill_left_is_taken_in_at_the_next_start() {
    for is_moved in [false, true] {
        let app = TestApp::start();
        let event = app.event("Boathouse");
        let sent = tone(0.5);
        let at = begin(&app, &event, sent.len());
        let bytes = part(&app, &at);
        let id = at.strip_prefix("/uploads/").expect("an id").to_owned();
        let data = app.stop();
        let path = match is_moved {
            true => data.path().join("uploads").join(&id).join("a.wav"),
            false => data
                .path()
                .join("sending")
                .join(bytes.file_name().expect("a name")),
        };
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(&path, &sent).expect("bytes");
        if is_moved {
            std::fs::remove_file(data.path().join("sending").join(format!("{id}.part")))
                .expect("it goes");
        }
        let app = TestApp::over(data, MODEL);
        is_taken_in(&app, &event, &sent);
        assert_eq!(offset(&app, &at), sent.len().to_string());
    }
}

/// tuspy, cut off at random in pieces with and without a checksum.
#[test]
fn a_public_client_sends_and_goes_on_after_being_cut_off() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.wav");
    write_tone(&path, 300.0, 300.0);
    let sent = std::fs::read(&path).expect("the file");
    let app = TestApp::start();
    let event = app.event("Boathouse");
    let told = send_by_client(&app, &event, &path, 7);
    let offsets = told["offsets"].as_array().expect("offsets");
    assert!(offsets.len() > 5, "{told}");
    let numbers: Vec<u64> = offsets.iter().filter_map(Value::as_u64).collect();
    assert!(
        numbers.is_sorted(),
        "an offset that was told went back: {told}"
    );
    is_taken_in(&app, &event, &sent);
}

fn send_by_client(app: &TestApp, event: &str, path: &Path, seed: u32) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/resumable.py");
    let output = Command::new(oracle::python())
        .env("NO_PROXY", "127.0.0.1")
        .env("no_proxy", "127.0.0.1")
        .arg(script)
        .arg(format!("{}/api/v1/events/{event}/uploads", app.url))
        .arg(path)
        .arg(seed.to_string())
        .output()
        .expect("the client runs");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{told}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_str(&told).expect("JSON")
}
