//! What becomes of a list outside: files of open formats, and a folder with its sound.

use std::collections::{BTreeMap, HashSet};
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use axum::http::Method;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use xtask::oracle;

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

fn as_owner(desk: &Desk<'_>, method: Method, path: &str) -> Reply {
    let token = format!("Bearer {}", desk.app.token);
    let headers = [("authorization", token.as_str())];
    desk.app.send(method, path, &headers, Vec::new())
}

/// Has a folder made and waits until it is, or is not.
fn ended(desk: &Desk<'_>, body: &Value) -> Value {
    let begun = folder(desk, body, true);
    assert_eq!(begun.status, 202, "{}", begun.json());
    let id = text(&begun.json(), "id").to_owned();
    let place = begun.header("location").to_owned();
    assert_eq!(place, format!("/api/v1/hand-overs/{id}"));
    until_ended(desk, &id)
}

fn until_ended(desk: &Desk<'_>, id: &str) -> Value {
    let path = format!("/hand-overs/{id}");
    let until = Instant::now() + Duration::from_secs(60);
    loop {
        let now = as_owner(desk, Method::GET, &path).json();
        if !["waiting", "running"].contains(&text(&now, "state")) {
            return now;
        }
        assert!(Instant::now() < until, "{now:#}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// What lies beside a folder.
fn beside(target: &Path) -> Vec<String> {
    let entries = fs::read_dir(target.parent().expect("a folder")).expect("it is there");
    let names = entries.map(|entry| entry.expect("an entry").file_name());
    let mut names: Vec<String> = names.map(|name| name.to_string_lossy().into()).collect();
    names.sort();
    names
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
    // What an attempt left that was stopped by force is told, and nothing else.
    let dead = place.path().join("handed over.unfinished-0192");
    fs::create_dir(&dead).expect("a folder");
    fs::create_dir(place.path().join("another.unfinished-0192")).expect("a folder");
    let made = ended(desk, &body);
    assert_eq!(made["state"], "done", "{made:#}");
    assert_eq!(made["left_over"], json!([dead]));
    assert_eq!(made["made"]["left_out"], json!([]));
    assert_eq!(
        (&made["files"], &made["files"]),
        (&made["looked_at"], &made["made"]["sound"])
    );
    let listed = as_owner(desk, Method::GET, "/hand-overs").json();
    assert_eq!(listed["hand_overs"][0], made);
    assert_eq!(desk.app.get("/hand-overs").status, 403);
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
    assert_eq!(again.problem(422)["field"], "folder");
    an_archive_is_the_same_folder(desk, &target);
}

/// Python's `zipfile` finds the same files, to the byte, with no fault.
fn an_archive_is_the_same_folder(desk: &Desk<'_>, target: &Path) {
    let query = "formats=otio,edl,srt&handles_ms=250&backups=true";
    let reply = desk.app.get(&desk.path(&format!("/archive?{query}")));
    assert_eq!(reply.status, 200);
    assert_eq!(reply.header("content-type"), "application/zip");
    assert_eq!(
        reply.header("content-disposition"),
        "attachment; filename=\"film.zip\""
    );
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("film.zip");
    fs::write(&file, &reply.body).expect("a file");
    let script = "import hashlib, json, sys, zipfile\n\
        z = zipfile.ZipFile(sys.argv[1])\n\
        assert z.testzip() is None\n\
        assert all(i.compress_type == zipfile.ZIP_STORED for i in z.infolist())\n\
        print(json.dumps({n: hashlib.sha256(z.read(n)).hexdigest() for n in z.namelist()}))";
    let python = Command::new(oracle::python())
        .args(["-c", script])
        .arg(&file)
        .output();
    let python = python.expect("Python starts");
    assert!(python.status.success(), "{python:?}");
    let found: BTreeMap<String, String> =
        serde_json::from_slice(&python.stdout).expect("what it found");
    let mut there = BTreeMap::new();
    for folder in ["", "audio/"] {
        for entry in fs::read_dir(target.join(folder)).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_file() {
                let name = path.file_name().expect("a name").to_string_lossy();
                let hash = Sha256::digest(fs::read(&path).expect("a file"));
                let hash: String = hash.iter().map(|b| format!("{b:02x}")).collect();
                there.insert(format!("film/{folder}{name}"), hash);
            }
        }
    }
    assert!(there.len() > 5, "{there:#?}");
    assert_eq!(found, there);
    desk.app
        .get(&desk.path("/archive?formats=doc"))
        .problem(422);
    desk.app
        .get(&desk.path("/archive?handles_ms=60001"))
        .problem(422);
}

/// One quote alone: its files, its sound, and none of the others.
pub(super) fn a_single_quote_is_handed_over(desk: &Desk<'_>) {
    let list = desk.show();
    let quotes = list["quotes"].as_array().expect("quotes");
    let (last, id) = (quotes.len(), text(&quotes[quotes.len() - 1], "id"));
    let answer = files(desk, &format!("format=csv&quotes={id}")).json();
    let csv = &answer["files"][0];
    assert_eq!(text(csv, "name"), format!("film_quote_{last}.csv"));
    assert_eq!(text(csv, "text").lines().count(), 2, "{csv}");
    let twice = files(desk, &format!("format=csv&quotes={id},{id}")).json();
    assert_eq!(twice, answer);
    files(desk, "format=csv&quotes=nobody").problem(404);
    let place = tempfile::tempdir().expect("a folder");
    let target = place.path().join("one");
    let made = ended(desk, &json!({"folder": target, "quotes": [id]}));
    assert_eq!(
        (&made["state"], &made["made"]["sound"]),
        (&json!("done"), &json!(1))
    );
    let manifest: Value = read(&target.join("manifest.json"));
    let name = text(&manifest["pulls"][0], "name");
    assert!(name.starts_with(&format!("{last:03} ")), "{name}");
}

/// Of many folders at once the last waits; told to stop it leaves nothing.
pub(super) fn a_folder_can_be_stopped(desk: &Desk<'_>) {
    let place = tempfile::tempdir().expect("a folder");
    let begun: Vec<Value> = (0..6)
        .map(|n| {
            let target = place.path().join(format!("{n}"));
            folder(desk, &json!({"folder": target, "backups": true}), true).json()
        })
        .collect();
    let last = format!("/hand-overs/{}", text(&begun[5], "id"));
    let stopped = as_owner(desk, Method::DELETE, &last);
    assert_eq!(stopped.status, 202, "{}", stopped.json());
    let ends: Vec<Value> = begun
        .iter()
        .map(|one| until_ended(desk, text(one, "id")))
        .collect();
    let done = ends.iter().filter(|end| end["state"] == "done");
    let done: Vec<&str> = done.map(|end| text(end, "folder")).collect();
    assert!(done.len() >= 5, "{ends:#?}");
    // What is not done is stopped, and of that nothing is there.
    assert!(
        ends.iter()
            .all(|end| ["done", "cancelled"].contains(&text(end, "state")))
    );
    until_still(|| beside(&place.path().join("x")).len() == done.len());
    as_owner(desk, Method::GET, "/hand-overs/nobody").problem(404);
    as_owner(desk, Method::DELETE, "/hand-overs/nobody").problem(404);
}

fn until_still(is: impl Fn() -> bool) {
    let until = Instant::now() + Duration::from_secs(20);
    while !is() {
        assert!(Instant::now() < until, "it does not become so");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// All that was said, on the event clock: each moment once, at its time, by its words.
pub(super) fn a_whole_event_is_handed_over(landing: &Landing, desk: &Desk<'_>) {
    let event = format!("/events/{}", landing.event);
    let ask = |query: &str| desk.app.get(&format!("{event}/files?{query}"));
    let moments = desk.app.get(&format!("{event}/moments?limit=500")).json();
    let moments = moments["moments"].as_array().expect("moments").clone();
    let said: Vec<&Value> = moments.iter().filter(|one| one["text"] != "").collect();
    for format in FORMATS {
        let answer = ask(&format!("format={format}")).json();
        assert_eq!(answer["left_out"], json!([]), "{format}");
        assert_eq!(
            (&answer["not_on_clock"], &answer["from_ms"]),
            (&json!(0), &json!(0))
        );
        assert!(
            answer["moments"].as_u64() >= Some(said.len() as u64),
            "{answer}"
        );
        assert!(!text(&answer["files"][0], "text").is_empty(), "{format}");
    }
    let csv = ask("format=csv").json();
    let csv = text(&csv["files"][0], "text").to_owned();
    let mut table = csv::Reader::from_reader(csv.as_bytes());
    let rows: Vec<csv::StringRecord> = table.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), said.len());
    for (row, moment) in rows.iter().zip(&said) {
        let at_s: f64 = row[3].parse().expect("a number");
        // Words may begin a little before what was taken for speech.
        let off_ms = at_s * 1_000.0 - number(moment, "start_ms") as f64;
        assert!((-300.0..=25.0).contains(&off_ms), "{off_ms}: {row:?}");
        let heard = &row[6];
        assert_eq!(heard, text(moment, "text"), "{row:?}");
        // Labels tell the event clock: 25 frames a second.
        let frames: i64 = row[1]
            .rsplit(':')
            .next()
            .expect("frames")
            .parse()
            .expect("a number");
        assert!(
            (frames - (at_s.fract() * 25.0).round() as i64).abs() % 25 <= 1,
            "{row:?}"
        );
        assert!(
            row[21].contains("samples"),
            "the other recorder has it too: {row:?}"
        );
    }
    let part = json!({"parts": [{"name": "vows", "start_ms": number(said[1], "start_ms") - 500,
        "end_ms": number(said[1], "end_ms") + 500, "required": true}]});
    let kind = [("content-type", "application/json")];
    let body = part.to_string().into_bytes();
    let set = desk
        .app
        .send(Method::PUT, &format!("{event}/parts"), &kind, body);
    assert_eq!(set.status, 200, "{}", set.json());
    let one = ask("format=srt&part=vows").json();
    assert_eq!(
        (&one["moments"], text(&one["files"][0], "name")),
        (&json!(1), "Tarrow_Landing_vows.srt")
    );
    ask("format=srt&part=toasts").problem(404);
    ask("format=srt&person=nobody").problem(404);
    ask("format=doc").problem(422);
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
    let made = ended(desk, &json!({"folder": target, "formats": ["csv"]}));
    for (path, away) in &away {
        fs::rename(away, path).expect("moved back");
    }
    assert_eq!(made["state"], "done", "{made:#}");
    let made = &made["made"];
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
