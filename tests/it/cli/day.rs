//! A made-up day on cards, and what the program says of where it lies.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sayback::core::clock::{Piece, Placement};
use serde_json::Value;
use xtask::scene::day::spec::Take;
use xtask::scene::day::{Clock, Corpus, Day, Rendered, render, truth};

use super::Bench;

/// How far any instant may be off beside the sound's way: the goal of the clock
/// for 99 of 100 instants, ms.
pub(super) const CLOCK_MS: f64 = 10.0;

/// A day with its recordings: take `n` is the file `take-n.wav` of its recorder.
pub(super) struct Cards {
    pub(super) day: Day,
    corpus: Corpus,
    clocks: Vec<Clock>,
    /// The files, in the order of the takes.
    pub(super) files: Vec<PathBuf>,
}

impl Cards {
    /// Records `day` under `cards` in the folder of a bench, a folder a recorder.
    pub(super) fn of(day: Day, corpus: Corpus, bench: &Bench) -> Self {
        let folder = bench.path("cards");
        let sounds = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(&folder).expect("a folder");
        let rendered = render(&day, &corpus, sounds.path()).expect("the day is rendered");
        let file = |(n, (take, sound)): (usize, (&Take, &Rendered))| {
            let card = folder.join(format!("Recorder {}", take.source));
            std::fs::create_dir_all(&card).expect("a folder");
            let file = card.join(format!("take-{n}.wav"));
            let samples = sound.read(0, sound.samples()).expect("samples");
            write(&file, samples.into_iter());
            file
        };
        let files = day.takes.iter().zip(&rendered).enumerate().map(file);
        Self {
            files: files.collect(),
            clocks: day.takes.iter().map(Clock::of).collect(),
            day,
            corpus,
        }
    }

    /// The largest error of instants of one take that are looked up in another,
    /// beside the sound's way, ms; of those at which the other ran, and has run
    /// for, and will run for, some seconds.
    pub(super) fn worst_ms(&self, clock: &Value, a: usize, b: usize) -> f64 {
        /// Where exactly a recorder stopped only sound tells, and talk pauses, s.
        const BESIDE_A_STOP_S: f64 = 15.0;
        let (here, there) = (placement(clock, a), placement(clock, b));
        let shared = truth::shared(
            &self.day,
            &self.corpus,
            &self.day.takes[a],
            &self.day.takes[b],
        );
        let near_a_stop = |event_s: f64| {
            let stops = self.day.takes[b].stops.iter();
            stops.into_iter().any(|stop| {
                event_s > stop.at_s - BESIDE_A_STOP_S
                    && event_s < stop.at_s + stop.lost_s + BESIDE_A_STOP_S
            })
        };
        let mut worst: Option<f64> = None;
        let mut at_s = 0.05;
        while at_s < self.clocks[a].length_s() {
            let event_s = self.clocks[a].event_s(at_s);
            let mapped = there.file_at(here.event_at(at_s * 1000.0));
            if !near_a_stop(event_s)
                && let Some(error) = truth::error(&self.clocks[b], event_s, mapped, &shared)
            {
                worst = Some(worst.unwrap_or(0.0).max(error.beside_ms));
            }
            at_s += 0.1;
        }
        worst.unwrap_or_else(|| panic!("takes {a} and {b} never ran together"))
    }
}

/// Writes samples of full scale 1 as a mono WAV of 16 bits at 16 kHz.
pub(super) fn write(path: &Path, samples: impl Iterator<Item = f32>) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for sample in samples {
        let sample = (sample * 32_768.0).clamp(-32_768.0, 32_767.0) as i16;
        writer.write_sample(sample).expect("a sample");
    }
    writer.finalize().expect("a whole file");
}

/// What is told of a recording, by its file's name.
pub(super) fn told<'a>(clock: &'a Value, file: &str) -> &'a Value {
    let all = clock["recordings"].as_array().expect("recordings");
    let found = all.iter().find(|r| r["recording"]["file"] == file);
    found.unwrap_or_else(|| panic!("no {file} in {clock}"))
}

/// What is told of a take.
pub(super) fn take(clock: &Value, n: usize) -> &Value {
    told(clock, &format!("take-{n}.wav"))
}

/// Where a take lies, on the clock of its island.
pub(super) fn placement(clock: &Value, n: usize) -> Placement {
    let pieces = take(clock, n)["pieces"].as_array().expect("pieces");
    let piece = |piece: &Value| {
        let of = |name: &str| piece[name].as_f64().expect("a number");
        Piece {
            from_ms: of("from_ms"),
            event_ms: of("start_ms"),
            ppm: of("rate_ppm"),
        }
    };
    Placement::of_pieces(pieces.iter().map(piece).collect())
        .unwrap_or_else(|| panic!("take {n} is not placed: {clock}"))
}

/// Whether two takes lie on one clock, by their sound.
pub(super) fn together(clock: &Value, a: usize, b: usize) -> bool {
    let (a, b) = (take(clock, a), take(clock, b));
    a["how"] == "sound" && b["how"] == "sound" && a["island"] == b["island"]
}

/// The clock of an event once its `recordings` are placed by the server that runs
/// on the folder. Their words wait for a model, which the clock needs none of.
pub(super) fn solved(bench: &Bench, event: &str, recordings: usize) -> Value {
    let until = Instant::now() + Duration::from_secs(240);
    loop {
        let clock = bench.run(&["clock", event, "--json"]).json();
        let listed = clock["recordings"].as_array().expect("recordings");
        let known = listed.iter().filter(|one| !one["island"].is_null());
        if clock["state"] == "solved" && known.count() == recordings {
            return clock;
        }
        assert!(Instant::now() < until, "not solved: {clock}");
        std::thread::sleep(Duration::from_millis(250));
    }
}
