//! What becomes of a list outside: files of open formats, and a folder with its sound.

use std::collections::HashSet;
use std::fs;
use std::path::Path;

use axum::http::Method;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::{CAMERA, Desk, number, text};
use crate::app::Reply;
use crate::landing::Landing;

const FORMATS: [&str; 8] = [
    "otio", "edl", "vtt", "srt", "csv", "markers", "rttm", "page",
];

fn files(desk: &Desk<'_>, query: &str) -> Reply {
    desk.app.get(&desk.path(&format!("/files?{query}")))
}

fn folder(desk: &Desk<'_>, body: &Value, owner: bool) -> Reply {
    let token = format!("Bearer {}", desk.app.token);
    let mut headers = vec![("content-type", "application/json")];
    if owner {
        headers.push(("authorization", token.as_str()));
    }
    let body = body.to_string().into_bytes();
    desk.app
        .send(Method::POST, &desk.path("/folder"), &headers, body)
}

pub(super) fn a_list_is_written_in_every_format(desk: &Desk<'_>) {
    let quotes = desk.show()["quotes"].as_array().expect("quotes").clone();
    for format in FORMATS {
        let reply = files(desk, &format!("format={format}"));
        assert_eq!(reply.status, 200, "{format}: {}", reply.json());
        let answer = reply.json();
        assert_eq!(answer["left_out"], json!([]), "{format}");
        let written = text(&answer["files"][0], "text").to_owned();
        if format != "rttm" && format != "edl" {
            for quote in &quotes {
                let first = text(quote, "text").split(' ').next().expect("a word");
                let first = first.trim_matches(|c: char| !c.is_alphanumeric());
                assert!(written.contains(first), "{format}: no {first} in {written}");
            }
        }
    }
    for (query, field) in [
        ("format=doc", "format"),
        ("format=edl&start=25:00:00:00", "start"),
        ("format=edl&frame_rate=nine", "frame_rate"),
    ] {
        let reply = files(desk, query);
        assert_eq!(reply.status, 422, "{query}");
        let told = reply.json().to_string();
        assert!(told.contains(field), "{query}: {told}");
    }
    // The same cut at another rate has other frames and begins where it was told to.
    let edl = |query: &str| {
        let answer = files(desk, &format!("format=edl&{query}")).json();
        text(&answer["files"][0], "text").to_owned()
    };
    assert!(edl("frame_rate=29.97df&start=10:00:00;00").contains("FCM: DROP FRAME"));
    assert!(edl("start=10:00:00:00").contains(" 10:00:00:00 "));
}

pub(super) fn a_folder_has_the_sound_bit_by_bit(landing: &Landing, desk: &Desk<'_>) {
    let place = tempfile::tempdir().expect("a folder");
    let target = place.path().join("handed over");
    let body = json!({"folder": target, "formats": ["otio", "edl", "srt"], "handles_ms": 250,
        "backups": true});
    assert_eq!(folder(desk, &body, false).status, 403);
    let relative = json!({"folder": "somewhere"});
    assert_eq!(folder(desk, &relative, true).status, 422);
    let reply = folder(desk, &body, true);
    assert_eq!(reply.status, 201, "{}", reply.json());
    assert_eq!(reply.json()["left_out"], json!([]));
    let manifest: Value = read(&target.join("manifest.json"));
    let pulls = manifest["pulls"].as_array().expect("pulls");
    let originals: Vec<_> = landing
        .truth
        .recorders
        .iter()
        .flat_map(|r| landing.files(r))
        .collect();
    let mut compared = 0;
    for pull in pulls {
        let bytes = fs::read(target.join(text(pull, "path"))).expect("a file");
        let hash: String = Sha256::digest(&bytes)
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect();
        assert_eq!(text(pull, "sha256"), hash);
        let name = text(pull, "original");
        let original = originals
            .iter()
            .find(|path| path.ends_with(name))
            .expect("it is there");
        let original = fs::read(original).expect("the original");
        if !original.starts_with(b"RIFF") {
            assert_ne!(pull["made"], "copied bit by bit", "{name}");
            continue;
        }
        let frame = number(pull, "channels") * number(pull, "bits") / 8;
        let whole = data(&original);
        let channels = i64::try_from(whole.len()).expect("small") / frame;
        assert!(
            number(pull, "first") + number(pull, "frames") <= channels,
            "{name}"
        );
        let from = usize::try_from(number(pull, "first") * frame).expect("small");
        let length = usize::try_from(number(pull, "frames") * frame).expect("small");
        assert!(data(&bytes) == whole[from..from + length], "{name}");
        compared += 1;
    }
    assert!(compared > 0);
    let quotes = desk.show()["quotes"].as_array().expect("quotes").len();
    assert!(pulls.len() > quotes, "{manifest:#}");
    // Lists name the sound by paths inside the folder.
    let lists: Vec<&str> = manifest["texts"]
        .as_array()
        .expect("lists")
        .iter()
        .map(|one| text(one, "path"))
        .collect();
    assert_eq!(lists, ["film.otio", "film.edl", "film.srt"]);
    let mut urls = HashSet::new();
    targets(&read(&target.join("film.otio")), &mut urls);
    assert_eq!(urls.len(), pulls.len());
    for url in urls {
        let path = percent_encoding::percent_decode_str(&url)
            .decode_utf8()
            .expect("UTF-8");
        assert!(target.join(&*path).is_file(), "{url}");
    }
    // What is there is never written over.
    let again = folder(desk, &body, true);
    assert_eq!(again.status, 422, "{}", again.json());
}

/// A list whose recordings are partly away: the rest is written, and what is not is told.
pub(super) fn what_is_offline_is_told_and_the_rest_is_written(landing: &Landing, desk: &Desk<'_>) {
    let recorders = landing.truth.recorders.iter();
    let camera = recorders
        .filter(|r| r.label != CAMERA)
        .flat_map(|r| landing.files(r));
    let away: Vec<_> = camera
        .map(|path| (path.clone(), path.with_extension("away")))
        .collect();
    for (path, away) in &away {
        fs::rename(path, away).expect("moved");
    }
    let place = tempfile::tempdir().expect("a folder");
    let target = place.path().join("partly");
    let reply = folder(desk, &json!({"folder": target, "formats": ["csv"]}), true);
    for (path, away) in &away {
        fs::rename(away, path).expect("moved back");
    }
    assert_eq!(reply.status, 201, "{}", reply.json());
    let made = reply.json();
    let left = made["left_out"].as_array().expect("what is left out");
    assert!(!left.is_empty(), "{made:#}");
    let manifest: Value = read(&target.join("manifest.json"));
    assert_eq!(
        manifest["missing"].as_array().map(Vec::len),
        Some(left.len())
    );
    assert!(target.join("film.csv").is_file());
}

fn read(path: &Path) -> Value {
    let bytes = fs::read(path).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
    serde_json::from_slice(&bytes).expect("JSON")
}

/// The samples of a plain WAV file.
fn data(wav: &[u8]) -> Vec<u8> {
    let mut at = 12;
    loop {
        let size: [u8; 4] = wav[at + 4..at + 8].try_into().expect("a size");
        let size = u32::from_le_bytes(size) as usize;
        if &wav[at..at + 4] == b"data" {
            return wav[at + 8..(at + 8 + size).min(wav.len())].to_vec();
        }
        at += 8 + size + size % 2;
    }
}

fn targets(value: &Value, urls: &mut HashSet<String>) {
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                match member.as_str() {
                    Some(url) if name == "target_url" => _ = urls.insert(url.to_owned()),
                    _ => targets(member, urls),
                }
            }
        }
        Value::Array(all) => all.iter().for_each(|one| targets(one, urls)),
        _ => {}
    }
}
