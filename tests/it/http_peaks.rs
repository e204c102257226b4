//! What recordings look like, held against what other programs say of the same sound:
//! `sox stats` (14.4.2) and ffmpeg's `astats` (5.1).

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use axum::http::Method;
use sayback::core::signal::peaks::{bin_ms, bins_at, from_byte, to_byte};
use sayback::jobs::EngineConfig;
use sayback::speech::ModelShelf;
use serde_json::Value;
use xtask::scene::lines;

use crate::app::{MODEL, Reply, TestApp};
use crate::media::ffmpeg;

/// A server that listens through recordings and writes no words.
fn app() -> TestApp {
    let shelf = ModelShelf::default_dir().expect("a home");
    let mut config = EngineConfig::new(shelf, MODEL.into());
    config.recognisers = 0;
    TestApp::working(config)
}

/// The ids of an event's recordings, once all are listened through.
fn recordings(app: &TestApp, event: &str, files: &[PathBuf]) -> Vec<String> {
    app.add(event, "Lectern", "stand", files);
    let begun = Instant::now();
    loop {
        assert!(begun.elapsed() < Duration::from_secs(120));
        std::thread::sleep(Duration::from_millis(20));
        let detail = app.get(&format!("/events/{event}")).json();
        let rows = detail["recordings"].as_array().expect("a list").clone();
        let ids: Vec<String> = rows
            .iter()
            .map(|row| row["id"].as_str().expect("an id").to_owned())
            .collect();
        let drawn = |id: &String| {
            let reply = app.get(&format!("/recordings/{id}/peaks"));
            if reply.status != 200 {
                let problem = reply.problem(409);
                assert_eq!(problem["type"], "urn:sayback:problem:not-measured");
                return false;
            }
            true
        };
        if ids.len() == files.len() && ids.iter().all(drawn) {
            return ids;
        }
    }
}

/// A level of a recording, tile by tile: lowest, highest, speech.
fn level(app: &TestApp, id: &str, level: u8) -> Vec<(i8, i8, u8)> {
    let told = app.get(&format!("/recordings/{id}/peaks")).json();
    let bins = told["bins"][usize::from(level)].as_u64().expect("a number") as usize;
    let mut all = Vec::new();
    for tile in 0..bins.div_ceil(4096) {
        let reply = app.get(&format!("/recordings/{id}/peaks/{level}/{tile}"));
        assert_eq!(reply.status, 200);
        assert_eq!(reply.header("content-type"), "application/octet-stream");
        let bin = |b: &[u8]| (b[0] as i8, b[1] as i8, b[2]);
        all.extend(reply.body.chunks(3).map(bin));
    }
    assert_eq!(all.len(), bins);
    all
}

/// What a bin keeps of a sample is the byte itself or, where another program told the
/// sample by a few digits, its neighbour.
fn is_near(byte: i8, sample: f32, exact: f32) -> bool {
    (to_byte(sample - exact)..=to_byte(sample + exact)).contains(&byte)
}

/// Lowest and highest sample of a stretch, of all channels, by sox.
fn by_sox(file: &Path, start_ms: i64, length_ms: i64) -> (f32, f32) {
    let seconds = |ms: i64| format!("{}.{:03}", ms / 1000, ms % 1000);
    let output = Command::new(xtask::oracle::sox())
        .args([file.to_str().expect("a plain name"), "-n", "trim"])
        .args([seconds(start_ms), seconds(length_ms), "stats".into()])
        .output()
        .expect("sox starts");
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    let value = |name: &str| -> f32 {
        let line = text.lines().find(|line| line.starts_with(name));
        let line = line.unwrap_or_else(|| panic!("{name}: {text}"));
        let first = line[name.len()..].split_whitespace().next();
        first.and_then(|n| n.parse().ok()).expect("a number")
    };
    (value("Min level"), value("Max level"))
}

/// The same by ffmpeg, as a share of full scale.
fn by_ffmpeg(file: &Path, start_ms: i64, length_ms: i64) -> (f32, f32) {
    let end_ms = start_ms + length_ms;
    let filter = format!(
        "atrim=start={}ms:end={}ms,aformat=dblp,astats=measure_perchannel=none",
        start_ms, end_ms
    );
    let output = Command::new(xtask::oracle::ffmpeg())
        .args(["-hide_banner", "-nostats", "-i"])
        .arg(file)
        .args(["-af", &filter, "-f", "null", "-"])
        .output()
        .expect("ffmpeg starts");
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    let value = |name: &str| -> f32 {
        let rest = text.rsplit_once(name).unwrap_or_else(|| panic!("{text}")).1;
        let first = rest.split_whitespace().next();
        first.and_then(|n| n.parse().ok()).expect("a number")
    };
    (value("Min level: "), value("Max level: "))
}

/// Lines of the demo with pauses, through an ffmpeg filter.
fn talk(folder: &Path, name: &str, filter: &str) -> PathBuf {
    let out = folder.join(name);
    let line = |id: &str| lines::folder().join(id).with_extension("flac");
    let (one, two) = (line("letter-corin-1"), line("letter-ottilie-1"));
    let graph = format!(
        "[0:a]apad=pad_dur=3[a];[1:a]apad=pad_dur=31[b];[a][b]concat=n=2:v=0:a=1,{filter}[out]"
    );
    ffmpeg(&[
        "-i",
        one.to_str().expect("a plain name"),
        "-i",
        two.to_str().expect("a plain name"),
        "-filter_complex",
        &graph,
        "-map",
        "[out]",
        out.to_str().expect("a plain name"),
    ]);
    out
}

#[test]
fn bins_are_what_sox_and_ffmpeg_find_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let files: Vec<PathBuf> = [
        ("plain.wav", "aformat=s16:r=44100"),
        (
            "pair.wav",
            "aresample=22050,pan=stereo|c0=0.2*c0|c1=-0.9*c0,aformat=s16",
        ),
        ("slow.flac", "aresample=11025,volume=-30dB,aformat=s16"),
        ("loud.wav", "aresample=48000,volume=30dB,aformat=s16"),
    ]
    .iter()
    .map(|(name, filter)| talk(folder.path(), name, filter))
    .collect();
    let app = app();
    for file in &files {
        let event = app.event(&file.to_string_lossy());
        let id = &recordings(&app, &event, std::slice::from_ref(file))[0];
        let mut looked_at = 0;
        for (n, bin) in [
            (5, 0),
            (5, 1),
            (4, 1),
            (3, 3),
            (2, 14),
            (1, 61),
            (0, 98),
            (0, 431),
        ] {
            let (low, high, _) = level(&app, id, n)[bin];
            let start_ms = bin as i64 * bin_ms(n);
            let sox = by_sox(file, start_ms, bin_ms(n));
            let ours = (from_byte(low), from_byte(high));
            let told = format!("{}: {n}/{bin}: {ours:?}, sox {sox:?}", file.display());
            // sox tells six digits; and where a bin begins between two samples, it may
            // take the one before: only whole samples are compared.
            let rate = app.get(&format!("/recordings/{id}")).json()["rate_hz"]
                .as_i64()
                .expect("a rate");
            if start_ms * rate % 1000 != 0 || bin_ms(n) * rate % 1000 != 0 {
                continue;
            }
            assert!(
                is_near(low, sox.0, 2e-6) && is_near(high, sox.1, 2e-6),
                "{told}"
            );
            let other = by_ffmpeg(file, start_ms, bin_ms(n));
            assert!(
                is_near(low, other.0, 2e-6) && is_near(high, other.1, 2e-6),
                "{told}, ffmpeg {other:?}"
            );
            looked_at += 1;
        }
        assert!(looked_at > 2, "{}: {looked_at}", file.display());
        if file.ends_with("loud.wav") {
            let bins = level(&app, id, 5);
            assert_eq!((bins[0].0, bins[0].1), (-127, 127));
        }
    }
}

#[test]
fn speech_is_where_it_is_and_tiles_are_kept_by_their_tags() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = talk(folder.path(), "plain.wav", "aformat=s16");
    let app = app();
    let event = app.event("Boathouse");
    let id = &recordings(&app, &event, &[file])[0];
    let told = app.get(&format!("/recordings/{id}/peaks")).json();
    let duration = told["duration_ms"].as_i64().expect("a length");
    let recording = app.get(&format!("/recordings/{id}")).json();
    assert_eq!(told["duration_ms"], recording["duration_ms"]);
    assert_eq!(told["recording"]["id"], id.as_str());
    assert_eq!(told["tile_bins"], 4096);
    assert!(
        told["scale"]
            .as_str()
            .is_some_and(|s| s.contains("three bytes"))
    );
    let fine = told["bins"][0].as_u64().expect("a number");
    assert!(
        (0..=10).contains(&(fine as i64 * 10 - duration)),
        "{fine} of {duration} ms"
    );
    let speech_ms = recording["speech_ms"].as_f64().expect("a length");
    for n in 0..6_u8 {
        assert_eq!(told["bin_ms"][usize::from(n)], bin_ms(n));
        assert_eq!(told["bins"][usize::from(n)], bins_at(n, fine));
        let bins = level(&app, id, n);
        let all: f64 = bins
            .iter()
            .enumerate()
            .map(|(k, bin)| {
                let from = k as i64 * bin_ms(n);
                let to = (from + bin_ms(n)).min(fine as i64 * 10);
                f64::from(bin.2) / 255.0 * (to - from) as f64
            })
            .sum();
        // Half a step of 1/255 for each bin.
        let off = bins.len() as f64 * bin_ms(n) as f64 / 510.0;
        assert!(
            (all - speech_ms).abs() <= off,
            "level {n}: {all} of {speech_ms} ms"
        );
    }
    assert!(speech_ms > 2_000.0 && speech_ms < duration as f64 - 30_000.0);

    let path = format!("/recordings/{id}/peaks/0/0");
    let with = |name, value: &str| app.send(Method::GET, &path, &[(name, value)], Vec::new());
    let tile: Reply = app.get(&path);
    assert_eq!(tile.body.len(), 3 * 4096);
    assert_eq!(tile.header("cache-control"), "private, no-cache");
    let tag = tile.header("etag").to_owned();
    let again = with("if-none-match", &tag);
    assert_eq!((again.status, again.body.len()), (304, 0));
    let other = with("if-none-match", "\"x\"");
    assert_eq!((other.status, &other.body), (200, &tile.body));
    assert_ne!(
        app.get(&format!("/recordings/{id}/peaks/0/1"))
            .header("etag"),
        tag
    );
    let part = with("range", "bytes=3-5");
    assert_eq!((part.status, part.body.as_slice()), (206, &tile.body[3..6]));

    for outside in ["0/99", "6/0", "5/1"] {
        let problem = app
            .get(&format!("/recordings/{id}/peaks/{outside}"))
            .problem(404);
        assert_eq!(
            problem["type"], "urn:sayback:problem:no-such-tile",
            "{outside}"
        );
    }
    app.get("/recordings/nobody/peaks").problem(404);
    let nobody = app.get("/recordings/nobody/peaks/0/0").problem(404);
    assert_eq!(nobody["type"], "urn:sayback:problem:no-such-recording");
    app.get(&format!("/recordings/{id}/peaks/a/0")).problem(400);
}

#[test]
fn an_event_is_drawn_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let files = [
        talk(folder.path(), "a.wav", "aformat=s16"),
        talk(folder.path(), "b.wav", "volume=-20dB,aformat=s16"),
    ];
    let app = app();
    let event = app.event("Boathouse");
    let empty = app.get(&format!("/events/{event}/peaks")).json();
    assert_eq!(empty["recordings"].as_array().map(Vec::len), Some(0));
    let ids = recordings(&app, &event, &files);
    for (query, n) in [("", 1), ("?bins_max=16384", 0), ("?bins_max=1", 5)] {
        let answer = app.get(&format!("/events/{event}/peaks{query}"));
        assert_eq!(answer.status, 200);
        let answer: Value = answer.json();
        assert_eq!(answer["event"]["id"], event.as_str());
        let rows = answer["recordings"].as_array().expect("a list");
        let mut told: Vec<&str> = rows
            .iter()
            .filter_map(|row| row["recording"].as_str())
            .collect();
        assert!(told.is_sorted());
        told.sort_unstable();
        let mut known: Vec<&str> = ids.iter().map(String::as_str).collect();
        known.sort_unstable();
        assert_eq!(told, known);
        for row in rows {
            let id = row["recording"].as_str().expect("an id");
            assert_eq!(
                (&row["level"], &row["bin_ms"]),
                (&n.into(), &bin_ms(n).into())
            );
            let bytes: Vec<u8> = level(&app, id, n)
                .into_iter()
                .flat_map(|(low, high, speech)| [low as u8, high as u8, speech])
                .collect();
            assert_eq!(row["body"], base64(&bytes), "{id}");
        }
    }
    for wrong in ["0", "16385"] {
        let refused = app.get(&format!("/events/{event}/peaks?bins_max={wrong}"));
        assert_eq!(refused.problem(422)["field"], "bins_max");
    }
    app.get("/events/nothing/peaks").problem(404);
}

/// Base64 by Python's own.
fn base64(bytes: &[u8]) -> String {
    use std::io::Write;
    let mut child = Command::new(xtask::oracle::python())
        .args([
            "-c",
            "import base64,sys; sys.stdout.buffer.write(base64.b64encode(sys.stdin.buffer.read()))",
        ])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("Python starts");
    child
        .stdin
        .take()
        .expect("a pipe")
        .write_all(bytes)
        .expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    String::from_utf8(output.stdout).expect("letters")
}
