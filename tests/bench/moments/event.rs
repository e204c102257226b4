//! A made-up event as the pipeline's first steps leave it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sayback::core::Cancel;
use sayback::core::clock::{
    ClockParams, Member, Piece, Placed, Placement, Samples, Track, TrackMaker, align,
};
use sayback::core::moments::PlacedAs;
use sayback::core::signal::{DetectorParams, SpeechDetector, SpeechSegment};
use sayback::core::units::{ANALYSIS_RATE_HZ, FileMs};
use sayback::media::{AnalysisStream, ChannelPick, read_analysis};
use xtask::scene::Truth;
use xtask::scene::truth::{ChannelTruth, RecorderTruth};

/// A recording and what detection leaves of it.
pub struct Recording {
    pub path: PathBuf,
    pub pick: ChannelPick,
    /// Position in [`Truth::recorders`].
    pub recorder: usize,
    /// Position of its file among the recorder's.
    pub piece: usize,
    /// Whether the recorder left several files.
    pub split: bool,
    /// Where its first sample is in its take, ms.
    pub first_ms: f64,
    pub channel: usize,
    pub label: String,
    pub placed_as: PlacedAs,
    pub duration_ms: f64,
    pub truth: Placement,
    pub segments: Vec<SpeechSegment>,
    pub track: Track,
}

/// The recordings of a scene: every microphone of every file.
pub fn recordings(folder: &Path, truth: &Truth) -> Vec<Recording> {
    let mut all = Vec::new();
    for (number, recorder) in truth.recorders.iter().enumerate() {
        for (channel, holds) in recorder.channels.iter().enumerate() {
            if !matches!(holds, ChannelTruth::Mic { .. }) {
                continue;
            }
            for (piece, file) in recorder.files.iter().enumerate() {
                let first_ms = 1000.0 * file.first_frame as f64 / f64::from(recorder.rate_hz);
                let pick = if recorder.channels.len() > 1 {
                    ChannelPick::Only(channel as u16 + 1)
                } else {
                    ChannelPick::Mix
                };
                let path = folder.join(&file.path);
                let (segments, track) = listen(&path, pick);
                all.push(Recording {
                    recorder: number,
                    piece,
                    split: recorder.files.len() > 1,
                    first_ms,
                    channel,
                    label: recorder.label.clone(),
                    placed_as: recorder.placement.as_str().parse().expect("a placement"),
                    duration_ms: track.duration_ms(),
                    truth: placement(recorder, first_ms),
                    path,
                    pick,
                    segments,
                    track,
                });
            }
        }
    }
    all
}

fn placement(recorder: &RecorderTruth, first_ms: f64) -> Placement {
    Placement::of_pieces(vec![Piece {
        from_ms: 0.0,
        event_ms: recorder.event_ms(first_ms),
        ppm: recorder.drift_ppm,
    }])
    .expect("a placement")
}

fn listen(path: &Path, pick: ChannelPick) -> (Vec<SpeechSegment>, Track) {
    let mut stream = AnalysisStream::open(path, pick).expect("a recording");
    let (mut detector, mut track) = (
        SpeechDetector::new(DetectorParams::default()),
        TrackMaker::new(),
    );
    let mut segments = Vec::new();
    let mut block = vec![0.0; ANALYSIS_RATE_HZ as usize];
    loop {
        let count = stream.read(&mut block).expect("samples");
        if count == 0 {
            break;
        }
        detector.push(&block[..count], &mut segments);
        track.push(&block[..count]);
    }
    detector.finish(&mut segments);
    (segments, track.finish())
}

/// Where the clock puts each of them, told what the product tells it: channels of
/// one file are one file, and files of one recorder pieces of a take.
pub fn placed(recordings: &[Recording]) -> Vec<Placed> {
    let mut files: Vec<&Path> = recordings.iter().map(|r| r.path.as_path()).collect();
    files.sort_unstable();
    files.dedup();
    let file = |path: &Path| files.partition_point(|other| *other < path);
    let speech: Vec<Vec<(FileMs, FileMs)>> = recordings
        .iter()
        .map(|r| r.segments.iter().map(|s| (s.start, s.end)).collect())
        .collect();
    let members: Vec<Member> = recordings
        .iter()
        .zip(&speech)
        .map(|(recording, speech)| Member {
            track: &recording.track,
            duration_ms: recording.duration_ms,
            source: recording.recorder,
            file: file(&recording.path),
            take: recording
                .split
                .then_some((recording.recorder, recording.piece as u32)),
            stamps: Vec::new(),
            fix: None,
            before: None,
            speech,
        })
        .collect();
    let solution = align(
        &members,
        &BTreeMap::new(),
        &mut Files(recordings),
        &ClockParams::default(),
        &Cancel::new(),
        &mut |_| {},
    );
    solution.expect("not cancelled").placed
}

struct Files<'a>(&'a [Recording]);

impl Samples for Files<'_> {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        let recording = &self.0[member];
        read_analysis(&recording.path, recording.pick, from, to).unwrap_or_default()
    }
}
