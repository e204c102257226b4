//! The demo event, from its files to its clock.

use std::path::Path;

use sayback::core::clock::{ClockParams, How, Member, Samples, Track, TrackMaker, align};
use sayback::core::signal::{DetectorParams, SpeechDetector};
use sayback::core::units::FileMs;
use sayback::media::{AnalysisStream, ChannelPick};
use xtask::scene;
use xtask::scene::truth::{FileTruth, RecorderTruth};

/// A file of the demo, decoded by the product.
struct Decoded<'a> {
    take: &'a RecorderTruth,
    file: &'a FileTruth,
    number: (usize, u32),
    samples: Vec<f32>,
    track: Track,
    speech: Vec<(FileMs, FileMs)>,
}

struct Kept<'a>(&'a [Decoded<'a>]);

impl Samples for Kept<'_> {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        let samples = &self.0[member].samples;
        let at = |ms: FileMs| ((ms.0.max(0) * 16) as usize).min(samples.len());
        samples[at(from)..at(to).max(at(from))].to_vec()
    }
}

fn decoded(path: &Path) -> Vec<f32> {
    let pick = "1".parse::<ChannelPick>().expect("the first channel");
    let mut stream = AnalysisStream::open(path, pick).expect("a file of the demo");
    let mut samples = Vec::new();
    let mut block = vec![0.0; 16_000];
    loop {
        match stream.read(&mut block).expect("sound") {
            0 => return samples,
            read => samples.extend_from_slice(&block[..read]),
        }
    }
}

#[test]
fn the_demo_is_off_by_less_than_two_ms() {
    let folder = tempfile::tempdir().expect("a folder");
    let truth = scene::demo::build(folder.path()).expect("the demo is built");
    let mut files = Vec::new();
    for (n, take) in truth.recorders.iter().enumerate() {
        for (piece, file) in take.files.iter().enumerate() {
            let samples = decoded(&folder.path().join(&file.path));
            let mut maker = TrackMaker::new();
            maker.push(&samples);
            let mut detector = SpeechDetector::new(DetectorParams::default());
            let mut segments = Vec::new();
            detector.push(&samples, &mut segments);
            detector.finish(&mut segments);
            files.push(Decoded {
                take,
                file,
                number: (n, piece as u32),
                samples,
                track: maker.finish(),
                speech: segments.iter().map(|s| (s.start, s.end)).collect(),
            });
        }
    }
    let members: Vec<Member> = files
        .iter()
        .enumerate()
        .map(|(n, file)| Member {
            track: &file.track,
            duration_ms: file.file.frames as f64 * 1000.0 / f64::from(file.take.rate_hz),
            source: file.number.0,
            file: n,
            take: (file.take.files.len() > 1).then_some(file.number),
            stamps: Vec::new(),
            fix: None,
            before: None,
            speech: &file.speech,
        })
        .collect();
    let solution = align(
        &members,
        &std::collections::BTreeMap::new(),
        &mut Kept(&files),
        &ClockParams::default(),
        &sayback::core::Cancel::new(),
        &mut |_| {},
    )
    .expect("nobody cancelled");
    let mut compared = 0;
    for a in 0..files.len() {
        for b in a + 1..files.len() {
            let (here, there) = (&solution.placed[a], &solution.placed[b]);
            let sound = |how: How| matches!(how, How::Sound | How::Joined);
            let both = both_heard(&files[a], &files[b]);
            if both.is_empty() || !sound(here.how) || !sound(there.how) {
                continue;
            }
            assert_eq!(
                here.island, there.island,
                "{} {}",
                files[a].file.path, files[b].file.path
            );
            // Beside the range of delays of the lines both heard.
            let delays = |f: fn(f64, f64) -> f64, start: f64| {
                both.iter().map(|line| line.delay_ms).fold(start, f)
            };
            let (least, most) = (
                delays(f64::min, f64::INFINITY),
                delays(f64::max, f64::NEG_INFINITY),
            );
            for line in &both {
                let mapped_ms = there
                    .placement
                    .file_at(here.placement.event_at(line.here_ms));
                // The instant without any delay, then the range.
                let clock_ms = line.there_ms - line.delay_ms;
                let off = (clock_ms + least - mapped_ms).max(mapped_ms - clock_ms - most);
                assert!(
                    off < 2.0,
                    "{} to {}: {off:.2} ms",
                    files[a].file.path,
                    files[b].file.path
                );
                compared += 1;
            }
        }
    }
    for (file, placed) in files.iter().zip(&solution.placed) {
        println!(
            "{} {:?} {:?}",
            file.file.path, placed.how, placed.uncertainty_ms
        );
        let heard = file
            .speech
            .iter()
            .map(|(from, to)| to.0 - from.0)
            .sum::<i64>();
        assert!(
            heard < 20_000 || matches!(placed.how, How::Sound | How::Joined),
            "{} with {heard} ms of speech is {:?}",
            file.file.path,
            placed.how
        );
    }
    assert!(compared > 100, "only {compared} lines were compared");
}

/// A line that two files have whole: where it begins in each, and by how much
/// later its sound reached the second.
struct Both {
    here_ms: f64,
    there_ms: f64,
    delay_ms: f64,
}

fn both_heard(a: &Decoded, b: &Decoded) -> Vec<Both> {
    let inside = |file: &Decoded, start_ms: f64, end_ms: f64| {
        let first_ms = file.file.first_frame as f64 * 1000.0 / f64::from(file.take.rate_hz);
        let length_ms = file.file.frames as f64 * 1000.0 / f64::from(file.take.rate_hz);
        let start_ms = start_ms - first_ms;
        (start_ms >= 0.0 && end_ms - first_ms <= length_ms).then_some(start_ms)
    };
    let mut both = Vec::new();
    for here in a
        .take
        .hearings
        .iter()
        .filter(|hearing| hearing.channel == 0)
    {
        for there in b
            .take
            .hearings
            .iter()
            .filter(|hearing| hearing.channel == 0)
        {
            if here.line != there.line || std::ptr::eq(a.take, b.take) {
                continue;
            }
            if let (Some(here_ms), Some(there_ms)) = (
                inside(a, here.start_ms, here.end_ms),
                inside(b, there.start_ms, there.end_ms),
            ) {
                both.push(Both {
                    here_ms,
                    there_ms,
                    delay_ms: there.delay_ms - here.delay_ms,
                });
            }
        }
    }
    both
}
