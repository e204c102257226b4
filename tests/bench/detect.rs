//! `cargo bench --bench detect`: where the detector is right, beside two
//! references on the same files, and how fast it is.
//!
//! Precision, recall and F1 over frames of 10 ms. The generated rows are scenes
//! of seeds that nothing was chosen on, from texts, prompts and pieces that no
//! weight was fitted on (the thresholds were chosen with other seeds of them,
//! and with the real recordings, in view); `-- tuning` shows the scenes that
//! the weights were fitted on. webrtcvad gets, row by row, the mode with the
//! best F1. `SPEED=1` leaves the table out.

#[path = "detect/case.rs"]
mod case;
#[path = "detect/labelled.rs"]
mod labelled;
#[path = "detect/ours.rs"]
mod ours;
#[path = "detect/references.rs"]
mod references;
#[path = "detect/scenes.rs"]
mod scenes;
#[path = "detect/score.rs"]
mod score;
#[path = "../../server/core/signal/sounds.rs"]
mod sounds;

use std::path::{Path, PathBuf};
use std::process::Command;

use case::Case;
use sayback::core::quality::Meter;
use sayback::core::signal::peaks::PeakMaker;
use scenes::Lines;
use score::Table;
use xtask::oracle;

/// Minutes of sound the speed is measured on.
const MINUTES: usize = 60;

fn main() {
    // Cargo passes --bench too.
    let tuning = std::env::args().any(|argument| argument == "tuning");
    let work = tempfile::tempdir().expect("a folder to work in");
    let mut cases = labelled::meetings(&oracle::data("pyannote.audio"));
    cases.extend(labelled::passages(&oracle::data("pocketsphinx")));
    cases.extend(generated(tuning, work.path()));
    if std::env::var_os("SPEED").is_none() {
        print_table(&score(&cases));
    }
    speed(&cases);
    levels_speed(&cases);
}

fn generated(tuning: bool, work: &Path) -> Vec<Case> {
    let (chosen, kept) = (
        ["macroform-cold_day", "reno_project-system"].as_slice(),
        [
            "macroform-robot_dity",
            "macroform-the_simplicity",
            "manolo_camp-morning_coffee",
        ]
        .as_slice(),
    );
    let prompts = prompts(work);
    let (first, second) = prompts.split_at(prompts.len() / 2);
    let (sentences, said, prompts, spoken, names) = if tuning {
        (scenes::TUNING, 1..9, first, 201..205, chosen)
    } else {
        (scenes::HELD_OUT, 501..509, second, 601..605, kept)
    };
    let pieces = pieces(names, work);
    let mut cases = Vec::new();
    for (lines, seeds) in [
        (Lines::Said(&sentences, work), said),
        (Lines::Recorded(prompts), spoken),
    ] {
        cases.extend(scenes::in_beds(&lines, seeds.clone()));
        cases.extend(scenes::in_pieces(&lines, &pieces, seeds.clone()));
        cases.extend(scenes::in_rooms(&lines, seeds));
    }
    cases
}

/// What lies among the prompts without being speech: tones, silence, apes.
const NO_PROMPTS: [&str; 6] = [
    "ascending-2tone",
    "beep",
    "beeperr",
    "descending-2tone",
    "silence",
    "tt-monkeys",
];

/// Telephone prompts of a second and more, in the order of their names.
fn prompts(work: &Path) -> Vec<Vec<f32>> {
    let mut paths = Vec::new();
    wavs_below(&oracle::data("asterisk-core-sounds-en-wav"), &mut paths);
    paths.sort();
    let long: Vec<PathBuf> = paths
        .into_iter()
        // 8 kHz, 16 bits: 16,000 bytes a second.
        .filter(|path| path.metadata().is_ok_and(|facts| facts.len() > 16_000))
        .filter(|path| {
            let named = |name: &str| path.parent().is_some_and(|folder| folder.ends_with(name));
            let stem = path.file_stem().unwrap_or_default();
            !NO_PROMPTS.iter().any(|name| stem == *name || named(name))
        })
        .collect();
    long.iter().map(|path| at_16_khz(path, work)).collect()
}

fn pieces(names: &[&str], work: &Path) -> Vec<Vec<f32>> {
    let mut paths = Vec::new();
    wavs_below(&oracle::data("asterisk-moh-opsound-wav"), &mut paths);
    names
        .iter()
        .map(|name| {
            let path = paths
                .iter()
                .find(|path| path.ends_with(format!("{name}.wav")));
            at_16_khz(path.expect("a piece of that name"), work)
        })
        .collect()
}

fn wavs_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder)
        .expect("a folder of sounds")
        .flatten()
    {
        let path = entry.path();
        if path.is_dir() {
            wavs_below(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "wav") {
            found.push(path);
        }
    }
}

fn at_16_khz(path: &Path, work: &Path) -> Vec<f32> {
    let to = work.join("at_16_khz.wav");
    let status = Command::new(oracle::ffmpeg())
        .args(["-v", "error", "-y", "-i"])
        .arg(path)
        .args(["-ar", "16000", "-ac", "1", "-c:a", "pcm_s16le"])
        .arg(&to)
        .status();
    assert!(
        status.is_ok_and(|status| status.success()),
        "{}",
        path.display()
    );
    labelled::read_wav(&to)
}

fn score(cases: &[Case]) -> Table {
    let mut table = Table::default();
    for (case, said) in cases.iter().zip(references::run(cases)) {
        for (name, frames) in said {
            table.add(&case.set, name, &case.truth, &frames);
        }
        let found = ours::frames(&case.samples);
        table.add(&case.set, ours::OURS, &case.truth, &found);
    }
    table
}

fn print_table(table: &Table) {
    println!("precision recall F1, per 10 ms");
    println!(
        "{:<22} {:<24} {:<18} {:<18} sayback",
        "set", "webrtcvad (best mode)", "silero, 32 ms", "silero, segments"
    );
    for set in table.sets() {
        let best = table.best(set, &references::WEBRTC);
        let cell = |name: &str| {
            let score = table.score(set, name);
            format!(
                "{:.3} {:.3} {:.3}",
                score.precision(),
                score.recall(),
                score.f1()
            )
        };
        println!(
            "{set:<22} mode {} {}  {}  {}  {}",
            &best[best.len() - 1..],
            cell(best),
            cell(references::SILERO[0]),
            cell(references::SILERO[1]),
            cell(ours::OURS)
        );
    }
}

/// Sound per second of user CPU time, over an hour made of the cases.
fn speed(cases: &[Case]) {
    let wanted = MINUTES * 60 * 16_000;
    let sound: Vec<f32> = cases
        .iter()
        .flat_map(|case| case.samples.iter().copied())
        .cycle()
        .take(wanted)
        .collect();
    let before = user_seconds();
    let found = ours::frames(&sound);
    let took = user_seconds() - before;
    let share = found.iter().filter(|yes| **yes).count() as f64 / found.len() as f64;
    println!(
        "{MINUTES} minutes ({:.0} % speech) in {took:.2} s of user CPU time: {:.0} times real time",
        100.0 * share,
        (MINUTES * 60) as f64 / took
    );
}

/// User CPU time of this process, from the 14th field of /proc/self/stat in
/// hundredths of a second (proc(5)).
fn user_seconds() -> f64 {
    let line = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    // The second field is the program's name in brackets.
    let after = line.rsplit(')').next().unwrap_or_default();
    let ticks = after
        .split_whitespace()
        .nth(11)
        .and_then(|field| field.parse::<f64>().ok());
    ticks.expect("a number of ticks") / 100.0
}

/// The levels of ten minutes at 48 kHz, on one channel and on two.
fn levels_speed(cases: &[Case]) {
    const RATE: u32 = 48_000;
    const LEVEL_MINUTES: usize = 10;
    for channels in [1_u16, 2] {
        // At the wrong pitch, which costs the same.
        let wanted = LEVEL_MINUTES * 60 * RATE as usize * usize::from(channels);
        let sound = cases.iter().flat_map(|case| case.samples.iter().copied());
        let sound: Vec<f32> = sound.cycle().take(wanted).collect();
        let before = user_seconds();
        let mut meter = Meter::new(channels, RATE).expect("a meter");
        for block in sound.chunks(RATE as usize) {
            meter.push(block);
        }
        let rows = meter.finish().rows().len();
        let took = user_seconds() - before;
        println!(
            "levels, 48 kHz, {channels} channel(s): {rows} rows in {took:.2} s of user CPU time: {:.0} times real time",
            LEVEL_MINUTES as f64 * 60.0 / took
        );
        let before = user_seconds();
        let mut maker = PeakMaker::new(channels, RATE).expect("a maker");
        for block in sound.chunks(RATE as usize) {
            maker.push(block);
        }
        let tiles = maker.finish(&[]).tiles().count();
        let took = user_seconds() - before;
        println!(
            "waveform, 48 kHz, {channels} channel(s): {tiles} tiles in {took:.2} s of user CPU time: {:.0} times real time",
            LEVEL_MINUTES as f64 * 60.0 / took.max(0.01)
        );
    }
}
