//! What is in the files of a scene: one way through each, and the moments, on the true
//! clock.

use std::path::{Path, PathBuf};

use sayback::core::clock::{Piece, Placement, Track as Bands, TrackMaker};
use sayback::core::moments::{Hearer, Measured, Moment, MomentParams, PlacedAs, Tracks, group};
use sayback::core::quality::{Heard, Meter, Track};
use sayback::core::signal::{DetectorParams, SpeechDetector, SpeechSegment};
use sayback::core::units::ANALYSIS_RATE_HZ;
use sayback::media::{AnalysisStream, ChannelPick};
use xtask::scene::Truth;
use xtask::scene::truth::ChannelTruth;

/// A microphone of a file, and what one way through it gives.
pub struct Recording {
    pub path: PathBuf,
    pub pick: ChannelPick,
    /// Positions in the truth.
    pub recorder: usize,
    pub channel: usize,
    /// Where its first sample is in its take, ms.
    #[allow(dead_code, reason = "for those who look at lines")]
    pub first_ms: f64,
    pub duration_ms: f64,
    pub segments: Vec<SpeechSegment>,
    pub levels: Track,
    pub bands: Bands,
    pub placed_as: PlacedAs,
    pub truth: Placement,
}

pub fn recordings(folder: &Path, truth: &Truth) -> Vec<Recording> {
    let mut all = Vec::new();
    for (number, recorder) in truth.recorders.iter().enumerate() {
        for (channel, holds) in recorder.channels.iter().enumerate() {
            if !matches!(holds, ChannelTruth::Mic { .. }) {
                continue;
            }
            for file in &recorder.files {
                let pick = match recorder.channels.len() {
                    1 => ChannelPick::Mix,
                    _ => ChannelPick::Only(channel as u16 + 1),
                };
                let frames = |frames: u64| 1000.0 * frames as f64 / f64::from(recorder.rate_hz);
                let path = folder.join(&file.path);
                let (segments, levels, bands) = listen(&path, pick);
                all.push(Recording {
                    path,
                    pick,
                    recorder: number,
                    channel,
                    first_ms: frames(file.first_frame),
                    duration_ms: frames(file.frames),
                    segments,
                    levels,
                    bands,
                    placed_as: recorder.placement.as_str().parse().expect("a placement"),
                    truth: Placement::of_pieces(vec![Piece {
                        from_ms: 0.0,
                        event_ms: recorder.event_ms(frames(file.first_frame)),
                        ppm: recorder.drift_ppm,
                    }])
                    .expect("a placement"),
                });
            }
        }
    }
    all
}

fn listen(path: &Path, pick: ChannelPick) -> (Vec<SpeechSegment>, Track, Bands) {
    let mut stream = AnalysisStream::open(path, pick).expect("a recording");
    let mut meter = Meter::new(stream.told_channels(), stream.info().rate_hz).expect("a meter");
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut bands = TrackMaker::new();
    let mut segments = Vec::new();
    let mut block = vec![0.0; ANALYSIS_RATE_HZ as usize];
    loop {
        let count = stream
            .read_and_tell(&mut block, &mut |frames| meter.push(frames))
            .expect("samples");
        if count == 0 {
            break;
        }
        detector.push(&block[..count], &mut segments);
        bands.push(&block[..count]);
    }
    detector.finish(&mut segments);
    (segments, meter.finish(), bands.finish())
}

pub fn listened(recording: &Recording) -> Heard<'_> {
    let speech: Vec<_> = recording
        .segments
        .iter()
        .map(|s| (s.start, s.end))
        .collect();
    Heard::new(&recording.levels, &speech)
}

/// Each stretch of speech once, on the true clock.
pub fn moments(recordings: &[Recording], listened: &[Heard]) -> Vec<Moment> {
    let hearers: Vec<Hearer> = recordings
        .iter()
        .map(|recording| Hearer {
            placement: &recording.truth,
            island: 0,
            source: recording.recorder,
            placed_as: recording.placed_as,
            duration_ms: recording.duration_ms as i64,
            segments: &recording.segments,
        })
        .collect();
    let tracks: Vec<&Bands> = recordings
        .iter()
        .map(|recording| &recording.bands)
        .collect();
    let heard: Vec<Option<Heard>> = listened.iter().cloned().map(Some).collect();
    let sound = Measured {
        tracks: Tracks(&tracks),
        heard: &heard,
    };
    group(&hearers, &[], &MomentParams::default(), &sound)
}
