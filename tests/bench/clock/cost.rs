//! The cost curve: hours, and recordings. Each point in a process of its own, so
//! that its peak of memory is its own.

use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};

use sayback::core::clock::{Solution, Track};
use sayback::core::moments::{Hearer, MomentParams, PlacedAs, Tracks, group};
use sayback::core::signal::SpeechSegment;
use xtask::scene::day::{Chances, Corpus, Day, Rendered, render_take, yardstick};

use super::solving::{Heard, members, pass, solve};

/// Hours for 8 recordings, and numbers of recordings of 2 hours.
pub const HOURS: [f64; 4] = [1.0, 2.0, 4.0, 8.0];
const MANY: [usize; 4] = [2, 4, 8, 16];
const MANY_HOURS: f64 = 2.0;
const EIGHT: usize = 8;
/// Hours of the recordings of which half share nothing with any other: each pair is
/// searched, and at wrong rates too.
const LOOSE_HOURS: f64 = 4.0;

/// What 8 recordings of 4 hours may take: processor time, which on two cores is no
/// less than the time by the clock, s; and memory, MB.
const GOAL: (usize, f64) = (8, 4.0);
const GOAL_S: f64 = 60.0;
const GOAL_MB: f64 = 500.0;

/// Measures and prints both curves. A point that misses the goal ends the program.
pub fn run(hours: &[f64]) {
    println!(
        "\n| recordings × hours | listening, user s | placing, user s | peak, MB | grouping, user s | yardstick, user s |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    let longest = hours.iter().copied().fold(0.0, f64::max);
    let work = tempfile::tempdir().expect("a folder");
    make(longest, EIGHT, false, work.path());
    for &hours in hours {
        point(work.path(), longest, EIGHT, hours, EIGHT);
    }
    drop(work);
    let most = MANY[MANY.len() - 1];
    let work = tempfile::tempdir().expect("a folder");
    make(MANY_HOURS, most, false, work.path());
    for count in MANY {
        point(work.path(), MANY_HOURS, most, MANY_HOURS, count);
    }
    drop(work);
    println!("| every second recording is of a day of its own: | | | | | |");
    let work = tempfile::tempdir().expect("a folder");
    make(LOOSE_HOURS, EIGHT, true, work.path());
    point(work.path(), LOOSE_HOURS, EIGHT, LOOSE_HOURS, EIGHT);
    println!(
        "\nListening: band levels and speech of every file, from 16 kHz. Grouping: each stretch of \
         speech once. Yardstick: one plain \
         full-length correlation of two level curves (100 a second, realfft), all pairs one after \
         another."
    );
}

fn day(seed: u64, hours: f64, recordings: usize, corpus: &Corpus) -> Day {
    let chances = Chances {
        length_s: hours * 3600.0,
        recorders: (recordings, recordings),
        apart: 0.0,
        two_houses: 0.0,
        music: 0.0,
        ..Chances::of_seed(seed)
    };
    let mut day = chances.day(corpus);
    day.beds.clear();
    // So that the first hours of the files are the first hours of the day.
    for (n, take) in day.takes.iter_mut().enumerate() {
        take.start_s = 1.7 * n as f64;
        take.end_s = day.length_s;
    }
    day
}

fn corpus() -> Corpus {
    Corpus::load(xtask::scene::day::corpus::WHOLE).expect("talk")
}

/// Records a day; `loose`: every second recording is of another.
fn make(hours: f64, recordings: usize, loose: bool, folder: &Path) {
    let corpus = corpus();
    let common = day(1, hours, recordings, &corpus);
    let next = AtomicUsize::new(0);
    let work = || {
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            if n >= recordings {
                return;
            }
            let own = (loose && n % 2 == 1).then(|| day(1 + n as u64, hours, recordings, &corpus));
            let day = own.as_ref().unwrap_or(&common);
            render_take(day, &corpus, &[], n, folder).expect("a take is rendered");
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
}

/// One row, measured by a process of its own.
fn point(folder: &Path, made_hours: f64, made: usize, hours: f64, count: usize) {
    let own = std::env::current_exe().expect("this program");
    let status = Command::new(own)
        .arg("--point")
        .arg(folder)
        .args([made_hours.to_string(), made.to_string()])
        .args([hours.to_string(), count.to_string()])
        .status()
        .expect("this program runs");
    assert!(status.success(), "{status}");
}

/// What [`point`] runs: arguments are the folder, hours and recordings that were
/// made, hours and recordings that are wanted.
pub fn measure(arguments: &[String]) {
    let [folder, made_hours, made, hours, count] = arguments else {
        panic!("five arguments");
    };
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let (hours, count) = (number(hours), number(count) as usize);
    let mut day = {
        let corpus = corpus();
        day(1, number(made_hours), number(made) as usize, &corpus)
    };
    day.takes.truncate(count);
    let sounds: Vec<Rendered> = (0..count)
        .map(|n| Rendered::open(&Path::new(folder).join(format!("take-{n}.raw"))))
        .map(|sound| {
            sound
                .expect("a take")
                .cut((hours * 3600.0 * 16_000.0) as u64)
        })
        .collect();
    let begun = user_s();
    let (heard, segments): (Vec<Heard>, Vec<Vec<SpeechSegment>>) = sounds
        .iter()
        .map(|sound| {
            let (track, segments) = pass(sound);
            (Heard::of(track, &segments), segments)
        })
        .unzip();
    let listening_s = user_s() - begun;
    let members = members(&day, &sounds, &heard);
    forget_peak();
    let begun = user_s();
    let solution = solve(&members, &sounds);
    let (placing_s, peak_mb) = (user_s() - begun, peak_mb());
    if (count, hours) == GOAL {
        assert!(
            placing_s < GOAL_S && peak_mb < GOAL_MB,
            "goal missed: {placing_s:.1} s, {peak_mb:.0} MB"
        );
    }
    let placed = solution
        .placed
        .iter()
        .filter(|p| p.uncertainty_ms.is_some());
    let placed = placed.count();
    let begun = user_s();
    let moments = grouped(&sounds, &heard, &segments, &solution);
    let grouping_s = user_s() - begun;
    let levels: Vec<_> = sounds
        .iter()
        .map(|sound| yardstick::levels(sound).expect("levels"))
        .collect();
    let begun = user_s();
    for a in 0..count {
        for b in a + 1..count {
            yardstick::offset_s(&levels[a], &levels[b]).expect("an offset");
        }
    }
    let yardstick_s = user_s() - begun;
    println!(
        "| {count} × {hours} h ({placed} placed, {moments} moments) | {listening_s:.1} | \
         {placing_s:.1} | {peak_mb:.0} | {grouping_s:.1} | {yardstick_s:.1} |"
    );
}

/// How many moments the speech of all makes.
fn grouped(
    sounds: &[Rendered],
    heard: &[Heard],
    segments: &[Vec<SpeechSegment>],
    solution: &Solution,
) -> usize {
    let hearers: Vec<Hearer> = (solution.placed.iter().enumerate())
        .map(|(n, placed)| Hearer {
            placement: &placed.placement,
            island: placed.island,
            source: n,
            placed_as: PlacedAs::Ambient,
            duration_ms: sounds[n].length_ms() as i64,
            segments: &segments[n],
        })
        .collect();
    let tracks: Vec<&Track> = heard.iter().map(|heard| &heard.track).collect();
    group(&hearers, &[], &MomentParams::default(), &Tracks(&tracks)).len()
}

/// Processor time of this process so far, seconds: field 14 of `/proc/self/stat`
/// in ticks of 1/100 s (proc(5)).
fn user_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    let (_, rest) = stat.rsplit_once(')').expect("a name in brackets");
    let ticks = rest.split_whitespace().nth(11).expect("field 14");
    ticks.parse::<f64>().expect("a number") / 100.0
}

/// Lets the peak of resident memory start again (proc(5), clear_refs).
fn forget_peak() {
    std::fs::write("/proc/self/clear_refs", "5").expect("Linux");
}

fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = line.and_then(|line| line.trim().strip_suffix("kB"));
    let kib: f64 = kib.expect("VmHWM").trim().parse().expect("a number");
    kib * 1024.0 / 1e6
}
