//! A day's files to a solution, as the product does it: band levels and speech
//! in one pass over each file, then everything at once.

use std::collections::BTreeMap;

use sayback::core::Cancel;
use sayback::core::clock::{
    ClockParams, Member, Pair, Samples, Solution, StampAt, Track, TrackMaker, align,
};
use sayback::core::signal::{DetectorParams, SpeechDetector, SpeechSegment};
use sayback::core::units::FileMs;
use xtask::scene::day::{Day, Rendered};

/// What the clock wants of a file.
pub struct Heard {
    pub track: Track,
    pub speech: Vec<(FileMs, FileMs)>,
}

impl Heard {
    pub fn of(track: Track, segments: &[SpeechSegment]) -> Self {
        Self {
            track,
            speech: segments.iter().map(|s| (s.start, s.end)).collect(),
        }
    }
}

pub fn listen(sound: &Rendered) -> Heard {
    let (track, segments) = pass(sound);
    Heard::of(track, &segments)
}

/// One pass over a file.
pub fn pass(sound: &Rendered) -> (Track, Vec<SpeechSegment>) {
    let mut maker = TrackMaker::new();
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut segments = Vec::new();
    let mut at = 0;
    while at < sound.samples() {
        let block = sound.read(at, at + 160_000).expect("samples");
        at += block.len() as u64;
        maker.push(&block);
        detector.push(&block, &mut segments);
    }
    detector.finish(&mut segments);
    (maker.finish(), segments)
}

/// Samples from the files.
struct Files<'a>(&'a [Rendered]);

impl Samples for Files<'_> {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        let sample = |at: FileMs| u64::try_from(at.0.max(0)).unwrap_or(0) * 16;
        self.0[member]
            .read(sample(from), sample(to))
            .expect("samples")
    }
}

/// The day's recordings as the clock is told of them.
pub fn members<'a>(day: &Day, sounds: &[Rendered], heard: &'a [Heard]) -> Vec<Member<'a>> {
    day.takes
        .iter()
        .zip(sounds)
        .zip(heard)
        .enumerate()
        .map(|(n, ((take, sound), heard))| Member {
            track: &heard.track,
            duration_ms: sound.length_ms(),
            source: take.source,
            file: n,
            take: None,
            stamps: take
                .stamp_s
                .map(|at_s| StampAt {
                    rank: 0,
                    at_ms: at_s * 1000.0,
                    within_ms: 1.0,
                })
                .into_iter()
                .collect(),
            fix: None,
            before: None,
            speech: &heard.speech,
        })
        .collect()
}

/// Solves a day from nothing.
pub fn solve(members: &[Member], sounds: &[Rendered]) -> Solution {
    let known: BTreeMap<(usize, usize), Pair> = BTreeMap::new();
    align(
        members,
        &known,
        &mut Files(sounds),
        &ClockParams::default(),
        &Cancel::new(),
        &mut |_| {},
    )
    .expect("nobody cancelled")
}
