//! A server that is killed while a file comes in pieces.

use std::path::Path;
use std::process::Child;
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::Value;
use sha2::Digest as _;

use super::{Random, new_folder, sayback};
use crate::app::{agent, write_tone};

/// Files that are sent, one after the other, each to its end.
const FILES: u64 = 6;

#[test]
fn killed_while_files_come_in_pieces_no_promised_byte_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    new_folder(&data);
    let mut random = Random(0x7005);
    let (mut kills, mut beyond, mut unasked) = (0, 0, 0);
    for n in 0..FILES {
        let path = folder.path().join(format!("{n}.wav"));
        write_tone(&path, 120.0, 200.0 + n as f64);
        let file = std::fs::read(&path).unwrap();
        let mut server = Server::start(&data);
        let at = server.begin(&format!("{n}.wav"), file.len());
        // What the server has said is there.
        let mut promised = 0;
        loop {
            let offset = server.offset(&at);
            assert!(
                offset >= promised,
                "{promised} bytes were promised, {offset} are left"
            );
            beyond += usize::from(offset > promised);
            if offset == file.len() {
                break;
            }
            promised = offset;
            let size = (file.len() / 3).min(file.len() - offset);
            let piece = file[offset..offset + size].to_vec();
            let is_checked = random.share() < 0.5;
            let (url, to) = (server.url.clone(), at.clone());
            let sent = std::thread::spawn(move || patch(&url, &to, offset, piece, is_checked));
            std::thread::sleep(Duration::from_millis(80).mul_f64(random.share()));
            server.kill();
            kills += 1;
            match sent.join().unwrap() {
                Some(now) => promised = now,
                None => unasked += 1,
            }
            server = Server::start(&data);
        }
        let id = server.recording(&format!("{n}.wav"));
        let kept = server.get(&format!("/recordings/{id}/audio"));
        assert_eq!(kept, file, "{n}.wav");
        let again = server.offset(&at);
        assert_eq!(again, file.len(), "it is still known to be over");
        server.kill();
    }
    println!(
        "{kills} kills over {FILES} files, {unasked} without an answer, {beyond} times more was kept than had been promised"
    );
    assert!(
        kills >= 18 && unasked > 3,
        "{kills} kills, {unasked} in a piece"
    );
    let uploads = std::fs::read_dir(data.join("uploads")).unwrap().count();
    assert_eq!(uploads, FILES as usize, "each is there once");
}

/// How far the upload is, if an answer came.
fn patch(url: &str, at: &str, offset: usize, piece: Vec<u8>, is_checked: bool) -> Option<usize> {
    let mut request = agent()
        .patch(format!("{url}{at}"))
        .header("tus-resumable", "1.0.0")
        .header("content-type", "application/offset+octet-stream")
        .header("upload-offset", offset.to_string());
    if is_checked {
        let sum = STANDARD.encode(sha2::Sha256::digest(&piece));
        request = request.header("upload-checksum", format!("sha256 {sum}"));
    }
    let answer = request.send(&piece[..]).ok()?;
    assert_eq!(answer.status(), 204);
    answer.headers()["upload-offset"]
        .to_str()
        .ok()?
        .parse()
        .ok()
}

/// The program as a server.
struct Server {
    process: Child,
    url: String,
}

impl Server {
    fn start(data: &Path) -> Self {
        let process = sayback(data)
            .args(["serve", "--listen", "127.0.0.1:0"])
            .spawn()
            .unwrap();
        let mut server = Self {
            process,
            url: String::new(),
        };
        let until = Instant::now() + Duration::from_secs(60);
        loop {
            // What a killed one left is not believed: its port is another's by now.
            let told = std::fs::read(data.join("server.json")).unwrap_or_default();
            let told: Value = serde_json::from_slice(&told).unwrap_or_default();
            if told["pid"] == server.process.id() {
                server.url = told["url"].as_str().unwrap().to_owned();
                return server;
            }
            assert!(Instant::now() < until, "the server does not start");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    fn get(&self, path: &str) -> Vec<u8> {
        let asked = agent().get(format!("{}/api/v1{path}", self.url)).call();
        let mut body = asked.unwrap().into_body();
        body.with_config().limit(1 << 30).read_to_vec().unwrap()
    }

    fn json(&self, path: &str) -> Value {
        serde_json::from_slice(&self.get(path)).unwrap()
    }

    /// The address of a new upload.
    fn begin(&self, name: &str, length: usize) -> String {
        let about = format!("filename {},source TGVjdGVybg==", STANDARD.encode(name));
        let answer = agent()
            .post(format!("{}/api/v1/events/The%20landing/uploads", self.url))
            .header("tus-resumable", "1.0.0")
            .header("upload-length", length.to_string())
            .header("upload-metadata", about)
            .send_empty()
            .unwrap();
        assert_eq!(answer.status(), 201);
        answer.headers()["location"].to_str().unwrap().to_owned()
    }

    fn offset(&self, at: &str) -> usize {
        let asked = agent()
            .head(format!("{}{at}", self.url))
            .header("tus-resumable", "1.0.0")
            .call()
            .unwrap();
        assert_eq!(asked.status(), 200);
        asked.headers()["upload-offset"]
            .to_str()
            .unwrap()
            .parse()
            .unwrap()
    }

    /// The id of the recording of a file, once it is one.
    fn recording(&self, file: &str) -> String {
        let until = Instant::now() + Duration::from_secs(60);
        loop {
            let detail = self.json("/events/The%20landing");
            let recordings = detail["recordings"].as_array().unwrap();
            let found: Vec<&Value> = recordings
                .iter()
                .filter(|one| one["file"] == file)
                .collect();
            if let [one] = found[..] {
                return one["id"].as_str().unwrap().to_owned();
            }
            assert!(found.is_empty() && Instant::now() < until, "{detail}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}
