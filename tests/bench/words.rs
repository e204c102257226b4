//! `cargo bench --bench words`: word error rate, word times, speed and memory
//! of the speech room on real speech, beside the library's plain call.
//!
//! Runs `tiny.en`, and every other known model on the shelf; then, with tiny.en, what
//! it costs beside plain calls over whole files: one recording of which half is
//! silence, and the demo's files. `ONLY=words`, `ONLY=times` or `ONLY=cost` does
//! one part.

#[allow(dead_code, reason = "figures of another bench")]
#[path = "moments/event.rs"]
mod event;
#[allow(dead_code, reason = "figures of another bench")]
#[path = "moments/fused.rs"]
mod fused;
#[path = "words/half.rs"]
mod half;
#[path = "../it/speech/paths.rs"]
mod paths;
#[path = "words/processor.rs"]
mod processor;
#[allow(dead_code, reason = "figures of another bench")]
#[path = "moments/said.rs"]
mod said;
#[path = "../it/speech/score.rs"]
mod score;
#[path = "../it/speech/sets.rs"]
mod sets;
#[path = "../it/speech/share.rs"]
mod share;
#[path = "../it/speech/times.rs"]
mod times;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use processor::processor_time;
use sayback::core::Cancel;
use sayback::speech::{
    Ask, HeardWord, ModelShelf, Recogniser, SpeechError, Whisper, default_threads,
};
use sets::Sample;
use xtask::{oracle, scene};

fn main() {
    // Cargo passes --bench; a name filters nothing here.
    let shelf = ModelShelf::new(oracle::locate::models().expect("a shelf"));
    oracle::model("tiny.en");
    let only = std::env::var("ONLY").ok();
    let wanted = |name: &str| only.as_deref().is_none_or(|only| only == name);
    if wanted("words") {
        every_model(&shelf);
    }
    if wanted("times") {
        let tiny = oracle::model("tiny.en");
        word_times(&tiny);
        more_threads(&tiny);
    }
    if wanted("cost") {
        cost(&oracle::model("tiny.en"));
    }
}

fn every_model(shelf: &ModelShelf) {
    let groups = [
        ("read passages", sets::passages()),
        ("read sonnet", vec![sets::sonnet()]),
        ("telephone, two people", vec![sets::telephone()]),
    ];
    let threads = default_threads();
    println!(
        "word error rate by sclite, {threads} thread(s) of {}",
        cores()
    );
    for model in shelf.list().iter().filter(|model| model.present) {
        let path = shelf.path(&model.name).expect("a whole model");
        words(&model.name, &path, threads, &groups);
    }
}

/// What whole files cost beside plain calls over them.
fn cost(model: &Path) {
    let folder = tempfile::tempdir().expect("a folder");
    let sample = half::silent(&folder.path().join("half.wav"));
    let threads = default_threads();
    let mut whisper = Watched::load(model, threads);
    let one = |text: String| vec![(sample.name.clone(), sample.words.clone(), text)];
    let (ours, took) = timed(|| one(paths::text(&paths::ours(&mut whisper, &sample.file))));
    let context = paths::load_plain(model);
    let (plain, plain_took) = timed(|| one(paths::plain(&context, threads, &sample.file)));
    println!(
        "\n{:<24}{:>7}{:>22}{:>22}",
        "tiny.en", "words", "ours % (S D I)", "plain call % (S D I)"
    );
    row("half of it silence", &ours, &plain);
    ratio(
        &format!(
            "{:.0} s of sound in {} windows",
            seconds(&sample),
            whisper.windows
        ),
        took,
        plain_took,
    );

    let truth = scene::demo::build(folder.path()).expect("the demo");
    let ((recordings, placed), before) = timed(|| {
        let recordings = event::recordings(folder.path(), &truth);
        let placed = event::placed(&recordings);
        (recordings, placed)
    });
    whisper.windows = 0;
    let (fused, took) = timed(|| fused::run(&recordings, &placed, &mut whisper));
    let files: BTreeSet<&Path> = recordings.iter().map(|r| r.path.as_path()).collect();
    let ((), plain_took) = timed(|| {
        for file in &files {
            paths::plain(&context, threads, file);
        }
    });
    println!(
        "\nthe demo: {} files, {} moments in {} windows; detecting and one clock {:.1} s of the processor",
        files.len(),
        fused.moments.len(),
        whisper.windows,
        before.as_secs_f64()
    );
    ratio("the words of its moments", took, plain_took);
}

fn ratio(what: &str, ours: Duration, plain: Duration) {
    println!(
        "{what}: {:.1} s of the processor, plain {:.1} s: {:.2} of it",
        ours.as_secs_f64(),
        plain.as_secs_f64(),
        ours.as_secs_f64() / plain.as_secs_f64()
    );
}

/// What came of some work, and the processor time it took.
fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let before = processor_time();
    let done = work();
    (done, processor_time() - before)
}

/// A recogniser with a stopwatch.
struct Watched {
    inner: Whisper,
    took: Duration,
    windows: usize,
}

impl Watched {
    fn load(model: &Path, threads: usize) -> Self {
        Self {
            inner: Whisper::load(model, threads).expect("a model"),
            took: Duration::ZERO,
            windows: 0,
        }
    }
}

impl Recogniser for Watched {
    fn recognise(
        &mut self,
        samples: &[f32],
        ask: &Ask,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError> {
        let start = Instant::now();
        let heard = self.inner.recognise(samples, ask, cancel, progress);
        self.took += start.elapsed();
        self.windows += 1;
        heard
    }

    fn languages(
        &mut self,
        samples: &[f32],
        among: &[String],
    ) -> Result<Vec<(String, f32)>, SpeechError> {
        let start = Instant::now();
        let likely = self.inner.languages(samples, among);
        self.took += start.elapsed();
        likely
    }
}

type Utterance = (String, String, String);

/// The table of one model.
fn words(name: &str, model: &Path, threads: usize, groups: &[(&str, Vec<Sample>)]) {
    let mut whisper = Watched::load(model, threads);
    let spent = processor_time();
    let ours = heard(groups, |sample| {
        paths::text(&paths::ours(&mut whisper, &sample.file))
    });
    let (spent, peak) = (processor_time() - spent, peak_mb());
    let (took, windows) = (whisper.took, whisper.windows);
    drop(whisper);
    let context = paths::load_plain(model);
    let plain_spent = processor_time();
    let plain = heard(groups, |sample| {
        paths::plain(&context, threads, &sample.file)
    });
    let plain_spent = processor_time() - plain_spent;

    println!(
        "\n{name:<24}{:>7}{:>22}{:>22}",
        "words", "ours % (S D I)", "plain call % (S D I)"
    );
    for ((title, _), (ours, plain)) in groups.iter().zip(ours.iter().zip(&plain)) {
        row(title, ours, plain);
    }
    row("all", &ours.concat(), &plain.concat());
    let sound: f64 = groups
        .iter()
        .flat_map(|(_, samples)| samples)
        .map(seconds)
        .sum();
    println!(
        "{sound:.0} s of sound in {windows} windows: {:.1} s by the clock, {:.1} s of the processor; plain {:.1} s of the processor",
        took.as_secs_f64(),
        spent.as_secs_f64(),
        plain_spent.as_secs_f64(),
    );
    println!("most memory of the process so far: {peak} MB");
    if std::env::var_os("SHOW").is_some() {
        for (name, said, heard) in ours.concat() {
            println!(
                "{name}\n  said  {}\n  heard {}",
                score::plain(&said),
                score::plain(&heard)
            );
        }
    }
}

fn heard(
    groups: &[(&str, Vec<Sample>)],
    mut text: impl FnMut(&Sample) -> String,
) -> Vec<Vec<Utterance>> {
    let mut one = |sample: &Sample| (sample.name.clone(), sample.words.clone(), text(sample));
    groups
        .iter()
        .map(|(_, samples)| samples.iter().map(&mut one).collect())
        .collect()
}

fn row(title: &str, ours: &[Utterance], plain: &[Utterance]) {
    let (ours, plain) = (score::errors(ours), score::errors(plain));
    let shown = |e: score::Errors| {
        format!(
            "{:.1} ({} {} {})",
            e.percent(),
            e.substituted,
            e.deleted,
            e.inserted
        )
    };
    println!(
        "{title:<24}{:>7}{:>22}{:>22}",
        ours.words,
        shown(ours),
        shown(plain)
    );
}

fn word_times(model: &Path) {
    let mut whisper = Whisper::load(model, default_threads()).expect("a model");
    let off = times::of_passages(&mut whisper);
    println!(
        "\nword times, read passages against their alignment: {} words, error {:.0} ms median and {:.0} ms at the 95th percentile at the start, {:.0} and {:.0} at the end",
        off.starts.len(),
        share::below(&off.starts, 0.5),
        share::below(&off.starts, 0.95),
        share::below(&off.ends, 0.5),
        share::below(&off.ends, 0.95),
    );
    for (sample, lines) in [
        (sets::sonnet(), sets::sonnet_lines()),
        (sets::telephone(), sets::telephone_lines()),
    ] {
        let beyond = times::beyond_lines(&mut whisper, &sample, &lines);
        println!(
            "{}: {} words heard right, beyond the line they are of by {:.0} ms at the 95th percentile, {:.0} ms at most",
            sample.name,
            beyond.len(),
            share::below(&beyond, 0.95),
            share::below(&beyond, 1.0),
        );
    }
}

/// The same recording with more threads.
fn more_threads(model: &Path) {
    let sample = sets::sonnet();
    println!("\nthreads, sonnet ({:.0} s of sound)", seconds(&sample));
    for threads in [1, 2, 4].into_iter().filter(|&threads| threads <= cores()) {
        let mut whisper = Watched::load(model, threads);
        let spent = processor_time();
        paths::ours(&mut whisper, &sample.file);
        println!(
            "{threads}: {:.1} s by the clock, {:.1} s of the processor",
            whisper.took.as_secs_f64(),
            (processor_time() - spent).as_secs_f64()
        );
    }
}

fn seconds(sample: &Sample) -> f64 {
    sayback::media::probe(&sample.file)
        .expect("a recording")
        .duration_ms as f64
        / 1000.0
}

fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, |cores| cores.get())
}

/// Most memory the process ever had, in MB.
fn peak_mb() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kb = line.and_then(|rest| rest.split_whitespace().next()?.parse::<u64>().ok());
    kb.unwrap_or(0) * 1024 / 1_000_000
}
