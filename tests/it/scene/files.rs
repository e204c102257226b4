//! Are the files what recorders write, and the same for the same seed?

use std::path::Path;
use std::process::Command;

use sayback::media::joins::{Piece, takes as takes_of};
use sayback::media::{self, ChannelChoice, ChannelPick, StampKind};
use serde_json::Value;
use xtask::oracle;
use xtask::scene::spec::{Container, NoiseKind};
use xtask::scene::truth::{ChannelTruth, RecorderTruth, Truth};
use xtask::scene::{self, Shuffled};

use super::{Built, demo};

fn take<'a>(truth: &'a Truth, folder: &str) -> &'a RecorderTruth {
    truth
        .recorders
        .iter()
        .find(|take| take.folder == folder)
        .expect("such a source")
}

/// What ffprobe reads of a file: `key=value` lines.
fn probed(path: &Path) -> Vec<(String, String)> {
    let done = Command::new(oracle::ffprobe())
        .args([
            "-v",
            "error",
            "-show_streams",
            "-show_format",
            "-of",
            "flat",
        ])
        .arg(path)
        .output()
        .expect("ffprobe runs");
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    String::from_utf8_lossy(&done.stdout)
        .lines()
        .filter_map(|line| line.split_once('='))
        .map(|(key, value)| (key.to_owned(), value.trim_matches('"').to_owned()))
        .collect()
}

fn value<'a>(probed: &'a [(String, String)], key: &str) -> Option<&'a str> {
    probed
        .iter()
        .find(|(name, _)| name == key)
        .map(|(_, value)| value.as_str())
}

#[test]
fn ffprobe_reads_the_stamps_and_lengths_the_truth_tells() {
    let built = demo();
    for take in &built.truth.recorders {
        for file in &take.files {
            let probed = probed(&built.folder.path().join(&file.path));
            let get = |key: &str| value(&probed, key);
            assert_eq!(
                get("streams.stream.0.sample_rate"),
                Some(&*take.rate_hz.to_string())
            );
            assert_eq!(
                get("streams.stream.0.channels"),
                Some(take.channels.len().to_string()).as_deref()
            );
            assert_eq!(
                get("streams.stream.0.duration_ts"),
                Some(file.frames.to_string()).as_deref()
            );
            match (take.container, &file.stamp) {
                (Container::Broadcast, Some(stamp)) => {
                    assert_eq!(get("format.tags.date"), Some(stamp.date.as_str()));
                    assert_eq!(get("format.tags.creation_time"), Some(stamp.time.as_str()));
                    let samples = stamp.samples.to_string();
                    assert_eq!(get("format.tags.time_reference"), Some(samples.as_str()));
                }
                (Container::Mov, Some(stamp)) => {
                    let at = format!("{}T{}.000000Z", stamp.date, stamp.time);
                    assert_eq!(get("format.tags.creation_time"), Some(at.as_str()));
                }
                (Container::Wav, None) => assert_eq!(get("format.tags.time_reference"), None),
                other => panic!("{}: {other:?}", file.path),
            }
        }
    }
}

/// The lectern's two files, one after the other, are the file it would have
/// written had it not begun a new one.
#[test]
fn split_pieces_join_without_a_gap() {
    let built = demo();
    let mut spec = scene::demo::spec().expect("the demo's spec");
    spec.recorders
        .retain(|recorder| recorder.folder == "lectern");
    spec.recorders[0].split_at_s.clear();
    let whole = Built::new(&spec);
    let (split, joined) = (take(&built.truth, "lectern"), &whole.truth.recorders[0]);
    assert_eq!((split.files.len(), joined.files.len()), (2, 1));
    assert!(
        built.take(split) == whole.take(joined),
        "the pieces are not the whole"
    );
    let [first, second] = split.files.as_slice() else {
        panic!("two files")
    };
    let (Some(a), Some(b)) = (&first.stamp, &second.stamp) else {
        panic!("two stamps")
    };
    assert_eq!(a.samples + first.frames, b.samples);
}

#[test]
fn the_safety_copy_is_12_db_down_to_the_last_step() {
    let built = demo();
    let take = take(&built.truth, "worn-ottilie");
    assert!(matches!(
        take.channels[1],
        ChannelTruth::Copy {
            of: 0,
            gain_db: -12.0,
            ..
        }
    ));
    let channels = built.take(take);
    // Either channel is off by half a 24-bit step, and f32 by 2^-24 of a value.
    let tolerance = (0.5 + 0.5 * 0.252 + 0.5) / 8_388_608.0;
    let gain = 10_f64.powf(-12.0 / 20.0);
    for (loud, quiet) in channels[0]
        .iter()
        .zip(&channels[1])
        .filter(|(loud, _)| loud.abs() < 0.999)
    {
        let off = f64::from(*quiet) - gain * f64::from(*loud);
        assert!(off.abs() <= tolerance, "{loud} {quiet}");
    }
}

/// A recorder may write its safety copy as files of their own.
#[test]
fn safety_files_are_quieter_by_what_they_say() {
    let mut spec = Shuffled::detection(8, 20.0, NoiseKind::Pink, 20.0)
        .spec()
        .expect("a spec");
    spec.recorders[0].safety_files_db = Some(-6.0);
    let built = Built::new(&spec);
    let take = &built.truth.recorders[0];
    let Some((gain_db, files)) = &take.safety_files else {
        panic!("safety files")
    };
    assert_eq!(*gain_db, -6.0);
    let (loud, quiet) = (built.take(take), built.channels(&files[0], take));
    assert_eq!(loud[0].len(), quiet[0].len());
    let gain = 10_f32.powf(-6.0 / 20.0);
    for (loud, quiet) in loud[0].iter().zip(&quiet[0]) {
        // Half a 16-bit step each.
        assert!(
            (quiet - gain * loud).abs() <= 0.76 / 32_768.0,
            "{loud} {quiet}"
        );
    }
}

/// Hashes of all files of a scene.
fn hashes(built: &Built) -> Vec<(String, blake3::Hash)> {
    let files = built.truth.recorders.iter().flat_map(|take| &take.files);
    files
        .map(|file| {
            let bytes = std::fs::read(built.folder.path().join(&file.path)).expect("the file");
            (file.path.clone(), blake3::hash(&bytes))
        })
        .collect()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let scene = |seed| {
        let shuffled = Shuffled {
            applause: 2,
            music: true,
            ..Shuffled::new(seed, 20.0)
        };
        Built::new(&shuffled.spec().expect("a spec"))
    };
    let (first, again, other) = (scene(21), scene(21), scene(22));
    assert!(first.truth == again.truth, "truths differ");
    assert_eq!(hashes(&first), hashes(&again));
    assert!(first.truth.lines != other.truth.lines, "seeds say the same");
}

/// What is written down is what was returned.
#[test]
fn truth_json_is_the_truth() {
    let text =
        std::fs::read_to_string(demo().folder.path().join("truth.json")).expect("truth.json");
    let read: Truth = serde_json::from_str(&text).expect("a truth");
    let value = |truth| serde_json::to_value(truth).expect("JSON");
    assert!(
        same(&value(&read), &value(&demo().truth)),
        "truth.json tells another truth"
    );
}

/// Equal, but for the last bits of decimals (a millionth of a millionth).
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len()
                && a.iter()
                    .all(|(key, a)| b.get(key).is_some_and(|b| same(a, b)))
        }
        (Value::Number(a), Value::Number(b)) if a.is_f64() => {
            let (Some(a), Some(b)) = (a.as_f64(), b.as_f64()) else {
                return false;
            };
            (a - b).abs() <= 1e-12 * a.abs()
        }
        _ => a == b,
    }
}

/// The share of pairs of recorders that never run together is the one asked
/// for, as near as the number of recorders allows: with n recorders the shares
/// one can have lie at most 2 / n apart.
#[test]
fn pairs_are_apart_as_often_as_asked() {
    for (seed, count, apart) in [(1, 8, 0.25), (2, 6, 0.4), (3, 5, 0.0), (4, 3, 0.3)] {
        let shuffled = Shuffled {
            recorders: (count, count),
            apart,
            ..Shuffled::new(seed, 3_600.0)
        };
        let spec = shuffled.spec().expect("a spec");
        assert_eq!(spec.recorders.len(), count);
        let mut separate = 0;
        for (n, a) in spec.recorders.iter().enumerate() {
            for b in &spec.recorders[n + 1..] {
                separate += usize::from(a.end_s <= b.start_s || b.end_s <= a.start_s);
            }
        }
        let share = separate as f64 / (count * (count - 1) / 2) as f64;
        assert!(
            (share - apart).abs() <= 1.0 / count as f64,
            "{count}: {share} for {apart}"
        );
        assert_eq!(
            spec.recorders.iter().map(|r| r.start_s).fold(1e9, f64::min),
            0.0
        );
    }
}

/// Set for the process that renders the long scene; holds its minutes.
const MINUTES: &str = "SAYBACK_SCENE_MINUTES";

/// Forty minutes ask for no more memory than two: what a scene needs beside
/// its dry lines is a fixed number of blocks and the truth (under 1 kB a
/// line); 8 MB is room for the allocator.
#[test]
fn memory_does_not_grow_with_a_scene() {
    if let Ok(minutes) = std::env::var(MINUTES) {
        let minutes: f64 = minutes.parse().expect("minutes");
        let spec = Shuffled::detection(4, minutes * 60.0, NoiseKind::Pink, 10.0);
        Built::new(&spec.spec().expect("a spec"));
        let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
        let peak = status
            .lines()
            .find(|line| line.starts_with("VmHWM"))
            .expect("a peak");
        println!("peak:{}", peak.replace(|c: char| !c.is_ascii_digit(), ""));
        return;
    }
    let peak_kb = |minutes: &str| -> i64 {
        let done = Command::new(std::env::current_exe().expect("this program"))
            .args([
                "--exact",
                "scene::files::memory_does_not_grow_with_a_scene",
                "--nocapture",
            ])
            .env(MINUTES, minutes)
            .output()
            .expect("it runs itself");
        let text = String::from_utf8_lossy(&done.stdout).into_owned();
        let line = text.lines().find_map(|line| line.split_once("peak:"));
        line.unwrap_or_else(|| panic!("{text}"))
            .1
            .parse()
            .expect("kilobytes")
    };
    let (short, long) = (peak_kb("2"), peak_kb("40"));
    assert!(
        long - short < 8_192,
        "{short} kB for 2 minutes, {long} kB for 40"
    );
}

/// The room that opens recordings reads the same lengths, stamps and takes.
#[test]
fn sayback_reads_of_the_demo_what_the_truth_tells() {
    let built = demo();
    for take in &built.truth.recorders {
        for file in &take.files {
            let path = built.folder.path().join(&file.path);
            let probe = media::probe(&path).expect("it opens");
            assert_eq!(probe.warnings, Vec::<String>::new(), "{}", file.path);
            assert_eq!(
                (probe.rate_hz, usize::from(probe.channels), probe.frames),
                (take.rate_hz, take.channels.len(), file.frames),
                "{}",
                file.path
            );
            let first = probe.stamps.first().expect("at least the file's own time");
            let told = file.stamp.as_ref();
            let at = told.map(|stamp| format!("{}T{}", stamp.date, stamp.time));
            match take.container {
                Container::Broadcast => {
                    assert_eq!(first.kind, StampKind::Bext);
                    assert_eq!(Some(first.at.clone()), at);
                    assert_eq!(first.samples, told.map(|stamp| stamp.samples));
                }
                Container::Mov => {
                    assert_eq!(first.kind, StampKind::Container);
                    assert_eq!(first.at.get(..19), at.as_deref());
                }
                Container::Wav => assert_eq!(first.kind, StampKind::FileTime),
            }
        }
    }
}

/// The lectern's two files are one take; the camera's two clips are two.
#[test]
fn sayback_joins_what_was_split_and_nothing_else() {
    let built = demo();
    for source in scene::demo_sources() {
        let takes: Vec<&RecorderTruth> = built
            .truth
            .recorders
            .iter()
            .filter(|take| take.folder == source.folder)
            .collect();
        let mut pieces = Vec::new();
        for file in takes.iter().flat_map(|take| &take.files) {
            let path = built.folder.path().join(&file.path);
            let bytes = path.metadata().expect("the file").len();
            let name = path.file_name().expect("a name").to_string_lossy();
            pieces.push(Piece::new(
                &name,
                bytes,
                &media::probe(&path).expect("it opens"),
            ));
        }
        let found: Vec<usize> = takes_of(&pieces).iter().map(Vec::len).collect();
        let told: Vec<usize> = takes.iter().map(|take| take.files.len()).collect();
        assert_eq!(found, told, "{}", source.label);
    }
}

/// A safety copy is no second recording.
#[test]
fn sayback_takes_one_channel_of_a_pair_with_a_safety_copy() {
    let built = demo();
    let file = &take(&built.truth, "worn-ottilie").files[0];
    let path = built.folder.path().join(&file.path);
    let decision = media::decide_channels(&path, ChannelChoice::Auto).expect("a decision");
    assert_eq!(
        decision.picks,
        [ChannelPick::Only(1)],
        "{}",
        decision.explanation
    );
}
