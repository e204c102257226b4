//! Which recordings does an event leave behind, and what is really in them?
//!
//! Builds the files of a made-up event and the exact truth about them, for
//! the demo and for every test that needs sound. In: a [`SceneSpec`], and the
//! dry lines of `tests/lines`. Out: the recorders' files and `truth.json` (see
//! [`Truth`]). Seconds and metres in specs, ms and frames in truths, dBFS, ppm.
//!
//! A scene is a function of its spec: the same spec gives the same bytes.
//! Memory does not grow with a scene's length. Never does it read a recording
//! from outside, ask another room of sayback, or round a position.
//!
//! - [`lines`]: the dry lines; [`spec`]: what is to be made; [`demo`] and
//!   [`shuffled`]: who writes specs; [`truth`]: what was made.
//! - sound: [`random`], [`noise`], [`room`], [`sinc`], [`mic`].
//! - files: [`record`], [`files`], [`hearings`], [`wav`], [`mov`].
//! - check: [`measure`].
//! - [`day`]: hours for many recorders, at the analysis rate alone.

pub mod command;
pub mod day;
pub mod demo;
pub mod files;
pub mod hearings;
pub mod lines;
pub mod measure;
pub mod mic;
pub mod mov;
pub mod noise;
pub mod random;
pub mod record;
pub mod room;
pub mod shuffled;
pub mod sinc;
pub mod spec;
mod spoken;
pub mod truth;
pub mod wav;

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use anyhow::{Context, Result, ensure};

pub use command::{Args, run};
pub use demo::{DemoSource, demo_sources};
pub use shuffled::Shuffled;
pub use spec::SceneSpec;
pub use truth::Truth;

use lines::DryLine;
use mic::Score;
use random::Random;
use spec::{BedKind, BedSpec, LineSpec};
use truth::{BedTruth, LineTruth, PartTruth, RecorderTruth};

/// Music is made in pieces of this many seconds, heard again and again.
const MUSIC_S: f64 = 64.0;

/// Builds `spec` under `folder` and writes `truth.json` there; one recorder a
/// processor at a time.
///
/// # Errors
/// When the dry lines are missing, the spec makes no sense or the disk fails.
pub fn build(spec: &SceneSpec, folder: &Path) -> Result<Truth> {
    build_of(spec, &lines::load()?, folder)
}

/// The same with other dry lines than those of `tests/lines`.
///
/// # Errors
/// When the spec makes no sense or the disk fails.
pub fn build_of(spec: &SceneSpec, dry: &[DryLine], folder: &Path) -> Result<Truth> {
    ensure!(
        spec.lines
            .iter()
            .all(|line| line.line < dry.len() && line.part < spec.parts.len()),
        "a line of the scene does not exist"
    );
    let score = Score {
        spec,
        dry,
        beds: spec
            .beds
            .iter()
            .enumerate()
            .map(|(n, bed)| pieces(spec, n, bed))
            .collect(),
    };
    let truth = Truth {
        seed: spec.seed,
        title: spec.title.clone(),
        date: spec.date.clone(),
        length_ms: spec.length_s * 1000.0,
        parts: parts(spec),
        lines: spec
            .lines
            .iter()
            .map(|line| line_truth(spec, dry, line))
            .collect(),
        beds: beds(spec),
        recorders: record_all(&score, folder)?,
    };
    let path = folder.join("truth.json");
    let text = serde_json::to_string_pretty(&truth)?;
    std::fs::write(&path, text).with_context(|| format!("cannot write {}", path.display()))?;
    Ok(truth)
}

fn record_all(score: &Score, folder: &Path) -> Result<Vec<RecorderTruth>> {
    let sinc = sinc::Sinc::new();
    let recorders = &score.spec.recorders;
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(recorders.len());
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(recorder) = recorders.get(index) else {
                return;
            };
            let name = format!("{}/{}", recorder.folder, recorder.stem);
            let truth = record::record(score, recorder, &name, folder, &sinc);
            done.lock()
                .unwrap_or_else(PoisonError::into_inner)
                .push((index, truth));
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(work);
        }
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, truth)| truth).collect()
}

/// The sound of a bed, as pieces with their start.
fn pieces(spec: &SceneSpec, number: usize, bed: &BedSpec) -> Vec<(f64, Arc<Vec<f32>>)> {
    let random = Random::new(spec.seed, &format!("bed/{number}"));
    let length_s = (bed.end_s - bed.start_s).max(0.0);
    if bed.kind == BedKind::Applause {
        return vec![(bed.start_s, Arc::new(noise::applause(length_s, random)))];
    }
    let piece_s = MUSIC_S.min(length_s);
    let whole = Arc::new(noise::music(piece_s, random));
    let mut pieces = Vec::new();
    let mut at_s = 0.0;
    while at_s < length_s {
        let left = ((length_s - at_s).min(piece_s) * noise::RATE) as usize;
        let sound = if left < whole.len() {
            Arc::new(whole[..left].to_vec())
        } else {
            Arc::clone(&whole)
        };
        pieces.push((bed.start_s + at_s, sound));
        at_s += MUSIC_S;
    }
    pieces
}

fn parts(spec: &SceneSpec) -> Vec<PartTruth> {
    spec.parts
        .iter()
        .map(|part| PartTruth {
            name: part.name.clone(),
            start_ms: part.start_s * 1000.0,
            end_ms: part.end_s * 1000.0,
        })
        .collect()
}

fn beds(spec: &SceneSpec) -> Vec<BedTruth> {
    spec.beds
        .iter()
        .map(|bed| BedTruth {
            kind: bed.kind,
            start_ms: bed.start_s * 1000.0,
            end_ms: bed.end_s * 1000.0,
        })
        .collect()
}

fn line_truth(spec: &SceneSpec, dry: &[DryLine], line: &LineSpec) -> LineTruth {
    let said = &dry[line.line];
    let at_ms = |dry_s: f64| (line.start_s + dry_s / line.speed) * 1000.0;
    LineTruth {
        id: said.entry.id.clone(),
        part: spec.parts[line.part].name.clone(),
        speaker: line.speaker.clone(),
        text: said.entry.text.clone(),
        start_ms: at_ms(said.spans_s.first().map_or(0.0, |span| span.0)),
        end_ms: at_ms(said.spans_s.last().map_or(0.0, |span| span.1)),
        origin_ms: at_ms(0.0),
        speed: line.speed,
    }
}
