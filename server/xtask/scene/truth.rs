//! What is really in the files of a scene?
//!
//! Written as `truth.json` beside them. Positions are not rounded: they come
//! from the same numbers the samples were computed from.

use serde::{Deserialize, Serialize};

use super::spec::{BedKind, Container, NoiseKind, Placement, SampleFormat};
use super::wav::Stamp;

/// The truth of a scene.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The seed of the scene.
    pub seed: u64,
    /// The event's title.
    pub title: String,
    /// `yyyy-mm-dd`.
    pub date: String,
    /// The event's length on its clock.
    pub length_ms: f64,
    /// The parts, on the event clock.
    pub parts: Vec<PartTruth>,
    /// What was said, on the event clock, in order.
    pub lines: Vec<LineTruth>,
    /// Applause and music, on the event clock.
    pub beds: Vec<BedTruth>,
    /// Every take of every recorder.
    pub recorders: Vec<RecorderTruth>,
}

/// A part of the event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartTruth {
    /// Its name.
    pub name: String,
    /// First ms.
    pub start_ms: f64,
    /// Last ms.
    pub end_ms: f64,
}

/// A line as it left the mouth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineTruth {
    /// The dry line's id.
    pub id: String,
    /// The part's name.
    pub part: String,
    /// Who said it.
    pub speaker: String,
    /// The words.
    pub text: String,
    /// Where its sound begins, event clock.
    pub start_ms: f64,
    /// Where its sound ends, event clock.
    pub end_ms: f64,
    /// Where the dry recording's first sample is, event clock.
    pub origin_ms: f64,
    /// How much faster than the dry recording it is read.
    pub speed: f64,
}

/// Applause or music.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BedTruth {
    /// What sounded.
    pub kind: BedKind,
    /// From, event clock.
    pub start_ms: f64,
    /// To, event clock.
    pub end_ms: f64,
}

/// One take of a recorder.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecorderTruth {
    /// The source's label.
    pub label: String,
    /// Its folder under the scene's.
    pub folder: String,
    /// How it is placed.
    pub placement: Placement,
    /// Who wears it.
    pub wearer: Option<String>,
    /// Samples a second by its own clock.
    pub rate_hz: u32,
    /// How samples are stored.
    pub format: SampleFormat,
    /// What kind of file.
    pub container: Container,
    /// Channels of its files.
    pub channels: Vec<ChannelTruth>,
    /// Its first sample on the event clock:
    /// event ms = `start_ms` + file ms / (1 + `drift_ppm` / 10^6).
    pub start_ms: f64,
    /// Its clock runs fast by so many parts in a million.
    pub drift_ppm: f64,
    /// Frames of the take over all its files.
    pub frames: u64,
    /// The files in order.
    pub files: Vec<FileTruth>,
    /// The quieter second set of files, if any, and how much quieter, in dB.
    pub safety_files: Option<(f64, Vec<FileTruth>)>,
    /// The lines it heard. File positions count from the take's first sample.
    pub hearings: Vec<HearingTruth>,
}

/// What a channel holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "holds", rename_all = "snake_case")]
pub enum ChannelTruth {
    /// A microphone.
    Mic {
        /// Mean direct level of the lines it heard, in dBFS.
        level_dbfs: f64,
        /// RMS of the background, in dBFS.
        noise_dbfs: f64,
        /// Kinds of background and their share of its power.
        noise: Vec<(NoiseKind, f64)>,
        /// Frames beyond full scale.
        clipped_frames: u64,
    },
    /// A copy of another channel before clipping.
    Copy {
        /// The channel copied, from 0.
        of: usize,
        /// Louder by, in dB.
        gain_db: f64,
        /// Frames beyond full scale.
        clipped_frames: u64,
    },
    /// Digital silence.
    Silent,
}

/// One file of a take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FileTruth {
    /// Path under the scene's folder, with `/`.
    pub path: String,
    /// Which frame of the take is its first.
    pub first_frame: u64,
    /// Its frames.
    pub frames: u64,
    /// What its stamp says (by the recorder's own, wrong clock), if it has one.
    pub stamp: Option<Stamp>,
}

/// One line on one microphone of one take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HearingTruth {
    /// Position in [`Truth::lines`].
    pub line: usize,
    /// The channel, from 0.
    pub channel: usize,
    /// Metres from mouth to microphone.
    pub distance_m: f64,
    /// Time the sound travels: `distance_m` / 343 m/s.
    pub delay_ms: f64,
    /// Where the dry recording's first sample is heard, in frames of the take;
    /// may be negative when the take begins within the line.
    pub origin_frame: f64,
    /// Where its sound begins, file time.
    pub start_ms: f64,
    /// Where its sound ends, file time.
    pub end_ms: f64,
    /// Stretches of sound within it (see `lines::DryLine::spans_s`), file time.
    pub spans_ms: Vec<(f64, f64)>,
    /// Gain of the direct sound against the dry recording, in dB.
    pub gain_db: f64,
    /// RMS of the direct sound, in dBFS.
    pub level_dbfs: f64,
    /// The same against the background, in dB.
    pub snr_db: f64,
    /// Frames beyond full scale while it sounds.
    pub clipped_frames: u64,
}

impl RecorderTruth {
    /// Event clock to position in the take, both in ms.
    #[must_use]
    pub fn file_ms(&self, event_ms: f64) -> f64 {
        (event_ms - self.start_ms) * (1.0 + self.drift_ppm * 1e-6)
    }

    /// Position in the take to event clock, both in ms.
    #[must_use]
    pub fn event_ms(&self, file_ms: f64) -> f64 {
        self.start_ms + file_ms / (1.0 + self.drift_ppm * 1e-6)
    }

    /// Stretches of speech on `channel` that stand at least `snr_db` above its
    /// background, in ms of file time, in order, joined across gaps up to
    /// `gap_ms`.
    #[must_use]
    pub fn speech_ms(&self, channel: usize, snr_db: f64, gap_ms: f64) -> Vec<(f64, f64)> {
        let mut spans: Vec<(f64, f64)> = self
            .hearings
            .iter()
            .filter(|hearing| hearing.channel == channel && hearing.snr_db >= snr_db)
            .flat_map(|hearing| hearing.spans_ms.iter().copied())
            .collect();
        spans.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut joined: Vec<(f64, f64)> = Vec::new();
        for (start, end) in spans {
            match joined.last_mut() {
                Some(last) if start - last.1 <= gap_ms => last.1 = last.1.max(end),
                _ => joined.push((start, end)),
            }
        }
        joined
    }
}
