//! How fast is a long recording taken in, step by step, and how much memory
//! does it need? The recording is 24-bit stereo at 48 kHz, about a fifth of it
//! speech; the model is tiny.en.

use super::{clock, steps, watch};
use crate::check;
use crate::process::{self, cargo};
use crate::scene::spec::{NoiseKind, SampleFormat, SceneSpec};
use crate::scene::{self, Shuffled};
use anyhow::{Context, Result, bail};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const MODEL: &str = "tiny.en";
/// The promise: four hours stay under this, model included.
const MOST_BYTES: u64 = 300_000_000;
const EVENT: &str = "Bench";

pub(super) fn run(hours: f64) -> Result<()> {
    process::run(cargo().args(["build", "--release", "--locked", "--bin", "sayback"]))?;
    let program = check::built("release")?;
    process::run(Command::new(&program).args(["model", "get", MODEL]))?;
    let folder = program
        .ancestors()
        .nth(2)
        .unwrap_or(Path::new("."))
        .join("bench");
    let file = long_recording(&folder, hours)?;
    let data = folder.join("data");
    if data.exists() {
        std::fs::remove_dir_all(&data)?;
    }
    let sayback = || {
        let mut command = Command::new(&program);
        command.arg("--data").arg(&data).args(["--model", MODEL]);
        command.env("RUST_LOG", "sayback=info").env("NO_COLOR", "1");
        command
    };
    process::run(sayback().args(["event", "new", EVENT]))?;
    let log = folder.join("add.log");
    let mut add = sayback();
    add.args(["add", EVENT, "--source", "Long", "--channels", "mix"]);
    add.arg(&file);
    let used = watch::run(&mut add, &log)?;
    let said = std::fs::read_to_string(&log)?;
    report(hours, &used, &steps::read(&said))?;
    if used.peak_bytes >= MOST_BYTES {
        bail!(
            "more memory than promised: {} MB",
            used.peak_bytes / 1_000_000
        );
    }
    Ok(())
}

/// Makes the recording, or takes the one that an earlier run made.
fn long_recording(folder: &Path, hours: f64) -> Result<PathBuf> {
    let folder = folder.join(format!("{hours}-hours"));
    if !folder.join("truth.json").is_file() {
        println!(
            "making {hours} hours of 24-bit stereo at 48 kHz in {}",
            folder.display()
        );
        std::fs::create_dir_all(&folder)?;
        scene::build(&spec(hours)?, &folder)?;
    }
    let truth: scene::Truth =
        serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json"))?)?;
    let take = truth
        .recorders
        .first()
        .context("the scene has no recorder")?;
    let file = take.files.first().context("the recorder has no file")?;
    Ok(folder.join(&file.path))
}

fn spec(hours: f64) -> Result<SceneSpec> {
    let shuffled = Shuffled {
        recorders: (1, 1),
        drift_ppm: (0.0, 0.0),
        snr_db: (20.0, 20.0),
        noise: vec![NoiseKind::Pink],
        pause_s: (12.0, 28.0),
        rates_hz: vec![48_000],
        formats: vec![SampleFormat::Int24],
        ..Shuffled::new(1, hours * 3600.0)
    };
    let mut spec = shuffled.spec()?;
    for recorder in &mut spec.recorders {
        recorder.end_s = spec.length_s;
        recorder.split_at_s.clear();
        recorder.safety_files_db = None;
        // Two microphones at the same place: each with its own noise.
        if let [only] = recorder.channels.as_slice() {
            recorder.channels.push(only.clone());
        }
    }
    Ok(spec)
}

fn report(hours: f64, used: &watch::Used, steps: &BTreeMap<String, u64>) -> Result<()> {
    if steps.is_empty() {
        bail!("the log told of no step");
    }
    let audio_ms = hours * 3_600_000.0;
    println!("\n{hours} hours of sound   took  times real time");
    let line = |name: &str, took_ms: u64| {
        let rate = audio_ms / took_ms.max(1) as f64;
        println!("{name:<14} {:>8} {rate:>16.0}", clock(took_ms));
    };
    for (name, took_ms) in steps {
        line(name, *took_ms);
    }
    line("together", used.took.as_millis() as u64);
    println!(
        "user CPU {:.0} s, system {:.0} s; peak memory {:.0} MB (promised: under {} MB)",
        used.user_s,
        used.system_s,
        used.peak_bytes as f64 / 1e6,
        MOST_BYTES / 1_000_000
    );
    Ok(())
}
