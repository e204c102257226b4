//! The sound as a browser fetches it.

use std::path::PathBuf;

use axum::http::Method;

use crate::app::{Reply, TestApp, write_tone};

/// A server with one recording of 2 s.
struct Heard {
    app: TestApp,
    folder: tempfile::TempDir,
    bytes: Vec<u8>,
    audio: String,
    slice: String,
}

impl Heard {
    fn new() -> Self {
        let app = TestApp::start();
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("tone.wav");
        write_tone(&path, 2.0, 440.0);
        let event = app.event("Boathouse");
        app.add(&event, "Lectern", "stand", std::slice::from_ref(&path));
        app.wait_idle();
        let recording = app.only_recording(&event);
        let id = recording["id"].as_str().expect("an id");
        Self {
            audio: format!("/recordings/{id}/audio"),
            slice: format!("/recordings/{id}/slice"),
            bytes: std::fs::read(path).expect("the file"),
            app,
            folder,
        }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("tone.wav")
    }

    fn ask(&self, headers: &[(&str, &str)]) -> Reply {
        self.app.send(Method::GET, &self.audio, headers, vec![])
    }

    fn slice(&self, start_ms: i64, end_ms: i64) -> Reply {
        self.app.get(&format!(
            "{}?start_ms={start_ms}&end_ms={end_ms}",
            self.slice
        ))
    }
}

#[test]
fn the_whole_file_comes_byte_for_byte() {
    let heard = Heard::new();
    let reply = heard.ask(&[]);
    assert_eq!(reply.status, 200);
    assert_eq!(reply.body, heard.bytes);
    assert_eq!(reply.header("accept-ranges"), "bytes");
    assert_eq!(
        reply.header("content-length"),
        heard.bytes.len().to_string()
    );
    assert!(
        reply.header("content-type").starts_with("audio/"),
        "{:?}",
        reply.headers
    );
    let hash = blake3::hash(&heard.bytes).to_hex();
    assert_eq!(reply.header("etag"), format!("\"{hash}\""));
    let head = heard.app.send(
        Method::HEAD,
        &heard.audio,
        &[("range", "bytes=0-9")],
        vec![],
    );
    assert_eq!((head.status, head.body.len()), (200, 0));
    assert_eq!(head.header("content-length"), heard.bytes.len().to_string());
}

#[test]
fn ranges_are_answered_as_the_standard_says() {
    let heard = Heard::new();
    let all = heard.bytes.as_slice();
    let n = all.len();
    let whole = n.to_string();
    for (range, from, to) in [
        ("bytes=0-499", 0, 500),
        ("bytes=500-999", 500, 1000),
        ("bytes=-500", n - 500, n),
        ("bytes=500-", 500, n),
        ("bytes=0-0", 0, 1),
        ("bytes=60000-99999999", 60_000, n),
        ("bytes=-99999999", 0, n),
    ] {
        let reply = heard.ask(&[("range", range)]);
        assert_eq!(reply.status, 206, "{range}");
        assert_eq!(reply.body, &all[from..to], "{range}");
        let told = format!("bytes {from}-{}/{whole}", to - 1);
        assert_eq!(reply.header("content-range"), told, "{range}");
        assert_eq!(
            reply.header("content-length"),
            (to - from).to_string(),
            "{range}"
        );
    }
    for ignored in ["bytes=0-0,-1", "bytes=9-5", "items=0-5", "bytes=x"] {
        let reply = heard.ask(&[("range", ignored)]);
        assert_eq!((reply.status, reply.body.len()), (200, n), "{ignored}");
    }
    let reply = heard.ask(&[("range", "bytes=99999999-")]);
    reply.problem(416);
    let ranges: Vec<_> = reply.headers.get_all("content-range").iter().collect();
    assert_eq!(ranges, [&format!("bytes */{whole}")]);
}

#[test]
fn a_range_of_another_version_gets_the_whole() {
    let heard = Heard::new();
    let etag = heard.ask(&[]).header("etag").to_owned();
    let range = ("range", "bytes=0-9");
    assert_eq!(heard.ask(&[range, ("if-range", &etag)]).status, 206);
    assert_eq!(heard.ask(&[range, ("if-range", "\"other\"")]).status, 200);
    let reply = heard.ask(&[("if-none-match", &etag)]);
    assert_eq!((reply.status, reply.body.len()), (304, 0));
    assert_eq!(reply.header("etag"), etag);
    heard.ask(&[("if-match", "\"other\"")]).problem(412);
}

#[test]
fn a_file_that_changed_or_went_is_named() {
    let heard = Heard::new();
    let strong = heard.ask(&[]).header("etag").to_owned();
    let file = std::fs::File::options()
        .append(true)
        .open(heard.path())
        .expect("the file");
    file.set_modified(std::time::SystemTime::UNIX_EPOCH)
        .expect("a date");
    let weak = heard.ask(&[]).header("etag").to_owned();
    assert!(weak.starts_with("W/") && weak != strong, "{weak}");
    file.set_len(heard.bytes.len() as u64 + 2)
        .expect("a longer file");
    let problem = heard.ask(&[]).problem(409);
    assert!(
        problem["detail"]
            .as_str()
            .is_some_and(|d| d.contains("tone.wav")),
        "{problem}"
    );
    assert_eq!(heard.slice(0, 100).status, 409);
    std::fs::remove_file(heard.path()).expect("it goes");
    let problem = heard.ask(&[]).problem(404);
    assert!(
        problem["detail"]
            .as_str()
            .is_some_and(|d| d.contains("tone.wav")),
        "{problem}"
    );
    heard.slice(0, 100).problem(404);
}

#[test]
fn a_slice_is_exactly_that_part() {
    let heard = Heard::new();
    let reply = heard.slice(250, 750);
    assert_eq!(reply.status, 200);
    assert_eq!(reply.header("content-type"), "audio/wav");
    assert_eq!(reply.header("content-length"), reply.body.len().to_string());
    let mut wav = hound::WavReader::new(reply.body.as_slice()).expect("a WAV");
    let spec = wav.spec();
    assert_eq!(
        (spec.sample_rate, spec.channels, spec.bits_per_sample),
        (16_000, 1, 16)
    );
    let samples: Vec<i16> = wav.samples().map(|s| s.expect("a sample")).collect();
    let mut original = hound::WavReader::open(heard.path()).expect("the file");
    let all: Vec<i16> = original.samples().map(|s| s.expect("a sample")).collect();
    assert_eq!(samples, &all[4_000..12_000]);

    let path = format!("{}?start_ms=250&end_ms=750", heard.slice);
    let part = heard
        .app
        .send(Method::GET, &path, &[("range", "bytes=100-199")], vec![]);
    assert_eq!(part.status, 206);
    assert_eq!(part.body, &reply.body[100..200]);
}

#[test]
fn a_slice_outside_the_recording_is_refused() {
    let heard = Heard::new();
    let wav = heard.slice(1_500, 9_000);
    assert_eq!(wav.body.len(), 44 + 2 * 8_000, "cut at the end of the file");
    for (start, end, field) in [
        (2_000, 2_100, "start_ms"),
        (-1, 100, "start_ms"),
        (100, 100, "end_ms"),
        (100, 50, "end_ms"),
        (0, 600_001, "end_ms"),
        (i64::MAX, i64::MAX, "start_ms"),
        (0, i64::MAX, "end_ms"),
    ] {
        assert_eq!(
            heard.slice(start, end).problem(422)["field"],
            field,
            "{start} to {end}"
        );
    }
    heard.app.get(&heard.slice).problem(400);
    heard
        .app
        .get(&format!("{}?start_ms=a&end_ms=b", heard.slice))
        .problem(400);
}
