//! How loud recordings are, beside what ffmpeg says of them (its `ebur128` filter, 5.1).

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

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

fn recording(app: &TestApp, file: &Path) -> String {
    let event = app.event("Boathouse");
    app.add(&event, "Lectern", "stand", &[file.to_owned()]);
    let begun = Instant::now();
    loop {
        let detail = app.get(&format!("/events/{event}")).json();
        if let Some(id) = detail["recordings"][0]["id"].as_str() {
            return id.to_owned();
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{detail}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The answer, once the recording was listened through.
fn levels(app: &TestApp, recording: &str, query: &str) -> Value {
    let begun = Instant::now();
    loop {
        let reply: Reply = app.get(&format!("/recordings/{recording}/levels{query}"));
        if reply.status == 200 {
            return reply.json();
        }
        assert_eq!(
            reply.problem(409)["type"],
            "urn:sayback:problem:not-measured"
        );
        assert!(begun.elapsed() < Duration::from_secs(60));
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Integrated loudness, loudness range, true peak, by ffmpeg.
fn by_ffmpeg(file: &Path) -> [f64; 3] {
    let path = file.to_str().expect("a plain name");
    let output = std::process::Command::new(xtask::oracle::ffmpeg())
        .args(["-hide_banner", "-nostats", "-i", path])
        .args(["-af", "ebur128=peak=true", "-f", "null", "-"])
        .output()
        .expect("ffmpeg starts");
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    let summary = text.rsplit_once("Summary:").expect("a summary").1;
    ["I:", "LRA:", "Peak:"].map(|name| {
        let rest = summary.split_once(name).expect(name).1;
        let value = rest.split_whitespace().next().expect("a number");
        value.parse().unwrap_or_else(|_| panic!("{name} {value}"))
    })
}

/// Lines of the demo, one after the other with pauses, through an ffmpeg filter.
fn talk(folder: &Path, name: &str, filter: &str) -> PathBuf {
    let out = folder.join(name);
    let mut arguments: Vec<String> = Vec::new();
    let ids = [
        "letter-corin-1",
        "letter-corin-2",
        "letter-ottilie-1",
        "welcome-1",
    ];
    for id in ids {
        let line = lines::folder().join(id).with_extension("flac");
        arguments.extend(["-i".into(), line.to_str().expect("a plain name").into()]);
    }
    let joined: String = (0..ids.len())
        .map(|n| format!("[{n}:a]apad=pad_dur=1[p{n}];"))
        .collect();
    let all: String = (0..ids.len()).map(|n| format!("[p{n}]")).collect();
    let graph = format!("{joined}{all}concat=n={}:v=0:a=1,{filter}[out]", ids.len());
    arguments.extend([
        "-filter_complex".into(),
        graph,
        "-map".into(),
        "[out]".into(),
    ]);
    arguments.push(out.to_str().expect("a plain name").into());
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    ffmpeg(&arguments);
    out
}

#[test]
fn levels_are_those_of_ffmpeg() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, filter) in [
        ("plain.wav", "anull"),
        ("quiet.flac", "volume=-24dB,aresample=48000"),
        ("telephone.wav", "aresample=8000"),
        ("driven.wav", "volume=30dB,aresample=44100,aformat=s16"),
        ("film.wav", "volume=-6dB,aresample=96000"),
    ] {
        let file = talk(folder.path(), name, filter);
        let app = app();
        let found = levels(&app, &recording(&app, &file), "");
        let [integrated, range, peak] = by_ffmpeg(&file);
        for (what, expected, tolerance) in [
            ("integrated_lufs", integrated, 0.1),
            ("range_lu", range, 0.2),
            ("true_peak_dbtp", peak, 0.2),
        ] {
            let value = found[what].as_f64().expect(what);
            // ffmpeg rounds to a tenth.
            assert!(
                (value - expected).abs() <= tolerance + 0.05,
                "{name}: {what} {value}, by ffmpeg {expected}"
            );
        }
        let clipped = found["clipped_samples"].as_u64().expect("a number");
        assert_eq!(clipped > 100, name == "driven.wav", "{name}: {clipped}");
    }
}

#[test]
fn a_stretch_is_measured_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    // Two seconds of tone, two of zeros, two of tone 20 dB below.
    let file = folder.path().join("steps.wav");
    let source = "sine=f=1000:r=48000:d=6,volume='if(lt(t,2),1,if(lt(t,4),0,0.1))':eval=frame";
    ffmpeg(&[
        "-f",
        "lavfi",
        "-i",
        source,
        "-c:a",
        "pcm_s16le",
        file.to_str().expect("a plain name"),
    ]);
    let app = app();
    let id = recording(&app, &file);
    let of = |start: u32, end: u32, what: &str| {
        levels(&app, &id, &format!("?start_ms={start}&end_ms={end}"))[what].clone()
    };
    let loud = of(0, 1_900, "integrated_lufs").as_f64().expect("a level");
    let quiet = of(4_100, 6_000, "integrated_lufs")
        .as_f64()
        .expect("a level");
    assert!((loud - quiet - 20.0).abs() < 0.1, "{loud} and {quiet}");
    assert!(of(2_100, 3_900, "integrated_lufs").is_null());
    assert_eq!(of(2_100, 3_900, "silent_ms"), 1_800);
    assert_eq!(of(0, 1_900, "silent_ms"), 0);

    let nothing = app.get(&format!("/recordings/{id}/levels?start_ms=7000"));
    assert!(
        nothing.problem(422)["detail"]
            .as_str()
            .expect("text")
            .contains("6000 ms")
    );
    app.get("/recordings/nobody/levels").problem(404);
}
