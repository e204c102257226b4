//! A page on which sound is played and recorded, and what to do with the samples.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sayback::jobs::EngineConfig;
use sayback::speech::ModelShelf;
use serde_json::{Value, json};

use crate::app::{MODEL, TestApp};
use crate::browser::Browser;
use crate::media::ffmpeg;

/// Samples a second of what is recorded.
pub const RATE: f64 = 48_000.0;

/// The page of a server, with the rig.
pub struct Stage {
    pub browser: Browser,
}

/// What was recorded.
pub struct Taken {
    /// The first frame on the clock of the context.
    pub frame: f64,
    pub samples: Vec<f32>,
}

impl Stage {
    /// Opens the page of a server whose only event is to be heard.
    pub async fn open(browser: Browser, app: &TestApp) -> Self {
        // For the recorder alone, which runs in a worklet of a blob.
        browser.without_policy().await;
        browser.open(&app.url).await;
        let rig = include_str!("rig.js");
        browser
            .run(&format!(
                "window.failed = null; (async () => {{ {rig} }})().catch(e => window.failed = String(e.stack)); return 1"
            ))
            .await;
        let ready = browser
            .wait(
                "the rig",
                "return window.failed ?? (window.rig ? 'ready' : null)",
            )
            .await;
        assert_eq!(ready, "ready");
        Self { browser }
    }

    /// Runs a script in which `rig` is there, begun by a click; what it returns.
    pub async fn flow(&self, script: &str) -> Value {
        self.browser
            .run(&format!(
                "window.outcome = null; window.flow = async () => {{ const rig = window.rig; {script} }}; return 1"
            ))
            .await;
        self.browser.click("#go").await;
        let outcome = self
            .browser
            .wait("the flow's end", "return window.outcome")
            .await;
        assert!(outcome["error"].is_null(), "{}", outcome["error"]);
        outcome["value"].clone()
    }

    /// The same of a script that returns `rig.taken()` as `taken`.
    pub async fn recorded(&self, script: &str) -> (Taken, Value) {
        let told = self.flow(script).await;
        let hex = told["taken"]["hex"].as_str().expect("samples").as_bytes();
        let byte = |at: usize| {
            let text = std::str::from_utf8(&hex[at..at + 2]).expect("hex");
            u8::from_str_radix(text, 16).expect("hex")
        };
        let samples = (0..hex.len() / 8).map(|n| {
            let at = n * 8;
            f32::from_le_bytes([byte(at), byte(at + 2), byte(at + 4), byte(at + 6)])
        });
        let taken = Taken {
            frame: told["taken"]["frame"].as_f64().expect("a frame"),
            samples: samples.collect(),
        };
        (taken, told)
    }

    /// Ends the browser: of what it complains about, no more than was expected.
    pub async fn end(self, expected: &str) {
        let complaints = self.browser.end().await;
        let odd: Vec<&String> = complaints
            .iter()
            // Each player first asks for a recording that isn't there.
            .filter(|told| !told.contains("/recordings/nothing/"))
            .filter(|told| expected.is_empty() || !told.contains(expected))
            .collect();
        assert_eq!(odd, [""; 0], "the browser complained");
    }
}

/// An event of such files, by the label of their sources, listened through; no words
/// are written down.
pub fn heard(files: &[(&str, &Path)]) -> TestApp {
    let shelf = ModelShelf::default_dir().expect("a home");
    let mut config = EngineConfig::new(shelf, MODEL.into());
    config.recognisers = 0;
    let app = TestApp::working(config);
    let event = app.event("Boathouse");
    for (label, file) in files {
        app.add(&event, label, "stand", &[PathBuf::from(file)]);
    }
    let begun = Instant::now();
    loop {
        let clock = app.get(&format!("/events/{event}/clock")).json();
        let recordings = clock["recordings"].as_array().cloned().unwrap_or_default();
        let measured = recordings.iter().all(|recording| {
            let id = recording["recording"]["id"].as_str().expect("an id");
            app.get(&format!("/recordings/{id}/levels")).status == 200
        });
        if recordings.len() == files.len() && measured && clock["state"] == json!("solved") {
            return app;
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "{clock}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Writes WAV of samples by an expression of ffmpeg's `aevalsrc`.
pub fn made(path: &Path, expression: &str, rate: u32, seconds: f64) {
    let source = format!("aevalsrc='{expression}':s={rate}:d={seconds}");
    let out = path.to_str().expect("a plain name");
    ffmpeg(&["-f", "lavfi", "-i", &source, "-c:a", "pcm_s16le", out]);
}

/// Lines of the demo, one after the other, through a filter of ffmpeg.
pub fn talk(path: &Path, filter: &str) {
    let ids = ["letter-corin-1", "letter-ottilie-1", "letter-corin-2"];
    let files: Vec<PathBuf> = ids
        .iter()
        .map(|id| {
            xtask::scene::lines::folder()
                .join(id)
                .with_extension("flac")
        })
        .collect();
    let mut arguments: Vec<&str> = Vec::new();
    for file in &files {
        arguments.extend(["-i", file.to_str().expect("a plain name")]);
    }
    let graph = format!("concat=n=3:v=0:a=1,aresample=48000,{filter}[out]");
    arguments.extend([
        "-filter_complex",
        &graph,
        "-map",
        "[out]",
        "-c:a",
        "pcm_s16le",
    ]);
    arguments.push(path.to_str().expect("a plain name"));
    ffmpeg(&arguments);
}

impl Taken {
    /// Where the sound `wanted` begins in what was recorded, and how alike it is there (1:
    /// the same but for loudness). It is looked for from `from` to `to`.
    pub fn find(&self, wanted: &[f32], from: usize, to: usize) -> (usize, f64) {
        let all = 0..self.samples.len().saturating_sub(wanted.len());
        (from..to)
            .filter(|at| all.contains(at))
            .map(|at| (at, alike(&self.samples[at..at + wanted.len()], wanted)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .expect("something was recorded")
    }

    /// The first and the last sample that is not silence.
    pub fn sound(&self) -> (usize, usize) {
        let first = self.samples.iter().position(|s| *s != 0.0);
        let last = self.samples.iter().rposition(|s| *s != 0.0);
        (first.expect("sound"), last.expect("sound"))
    }

    /// The longest run of zeros of a stretch, ms.
    pub fn longest_silence_ms(&self, from: usize, to: usize) -> f64 {
        let runs = self.samples[from..to].split(|s| *s != 0.0);
        runs.map(<[f32]>::len).max().unwrap_or(0) as f64 / RATE * 1000.0
    }
}

/// Correlation of two stretches, −1 to 1.
pub fn alike(a: &[f32], b: &[f32]) -> f64 {
    let sum = |x: &[f32], y: &[f32]| -> f64 {
        x.iter()
            .zip(y)
            .map(|(x, y)| f64::from(*x) * f64::from(*y))
            .sum()
    };
    sum(a, b) / (sum(a, a) * sum(b, b)).sqrt().max(1e-12)
}

/// Root mean square.
pub fn rms(samples: &[f32]) -> f64 {
    let power: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
    (power / samples.len().max(1) as f64).sqrt()
}
