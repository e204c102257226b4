//! How loud is a window over time, where is there voice in it, where does it begin
//! and stop?
//!
//! Levels are of sound with its low end taken down by a first difference, so that
//! hum and rumble count for little, and are judged against the window's own quiet
//! and loud moments. Pure.

use sayback_core::units::ANALYSIS_RATE_HZ;

/// One frame of loudness, in ms.
pub(super) const FRAME_MS: i64 = 10;
const FRAME: usize = ANALYSIS_RATE_HZ as usize / 100;
/// How much of the last sample is taken from each.
const DIFFERENCE: f32 = 0.9;
/// The quiet moments are what a tenth of the frames stays below.
const QUIET: f32 = 0.1;
/// The loud ones are what a twentieth exceeds.
const LOUD: f32 = 0.95;
/// Voice is this much above the quiet, in dB.
const ABOVE_QUIET: f32 = 6.0;
/// And no more than this below the loud, in dB.
const BELOW_LOUD: f32 = 35.0;
/// A level so far from the border is surely voice, or surely none, in dB.
const SURE: f32 = 4.0;
/// A rise counts from so far below the border on, in dB.
const RISES_FROM: f32 = 10.0;
/// Frames compared on either side of an instant.
const BESIDE: usize = 3;
/// What silence counts as, in power.
const LEAST_POWER: f32 = 1e-12;

/// Loudness of a window over time.
pub(super) struct Loudness {
    /// From -1, surely silence, to 1, surely voice, for each frame.
    voice: Vec<f32>,
    /// Sums of what is above 0 of that, and of what is below, up to each frame.
    sums: Vec<(f32, f32)>,
    /// By how many dB it is louder after the start of each frame than before.
    rises: Vec<f32>,
}

impl Loudness {
    /// Of samples at 16 kHz.
    pub(super) fn new(samples: &[f32]) -> Self {
        let levels = levels(samples);
        let mut sorted = levels.clone();
        sorted.sort_by(f32::total_cmp);
        let at = |share: f32| {
            let at = (sorted.len() as f32 * share) as usize;
            sorted.get(at).copied().unwrap_or(0.0)
        };
        let (quiet, loud) = (at(QUIET), at(LOUD));
        let border = (quiet + ABOVE_QUIET)
            .max(loud - BELOW_LOUD)
            .min(quiet.midpoint(loud));
        let voice: Vec<f32> = levels
            .iter()
            .map(|level| ((level - border) / SURE).clamp(-1.0, 1.0))
            .collect();
        let mut sums = vec![(0.0, 0.0)];
        let mut sum = (0.0, 0.0);
        for voice in &voice {
            sum = (sum.0 + voice.max(0.0), sum.1 + (-voice).max(0.0));
            sums.push(sum);
        }
        Self {
            rises: rises(&levels, border - RISES_FROM),
            voice,
            sums,
        }
    }

    pub(super) fn frames(&self) -> i64 {
        self.voice.len() as i64
    }

    pub(super) fn is_voiced(&self, frame: i64) -> bool {
        let voice = usize::try_from(frame)
            .ok()
            .and_then(|at| self.voice.get(at));
        voice.is_some_and(|&voice| voice > 0.0)
    }

    /// Voiced frames of a stretch, doubtful ones in part.
    pub(super) fn voiced(&self, from: i64, to: i64) -> f32 {
        self.sum(to).0 - self.sum(from).0
    }

    /// Silent frames of a stretch, doubtful ones in part.
    pub(super) fn silent(&self, from: i64, to: i64) -> f32 {
        self.sum(to).1 - self.sum(from).1
    }

    /// By how many dB it is louder just after the start of a frame than before.
    pub(super) fn rise(&self, frame: i64) -> f32 {
        let rise = usize::try_from(frame)
            .ok()
            .and_then(|at| self.rises.get(at));
        rise.copied().unwrap_or(0.0)
    }

    fn sum(&self, frame: i64) -> (f32, f32) {
        let at = usize::try_from(frame).unwrap_or(0);
        self.sums[at.min(self.sums.len() - 1)]
    }
}

/// Level of each frame in dB, over 20 ms around it and smoothed over three.
fn levels(samples: &[f32]) -> Vec<f32> {
    let mut last = 0.0;
    let powers: Vec<f32> = samples
        .iter()
        .map(|&sample| {
            let difference = sample - DIFFERENCE * last;
            last = sample;
            difference * difference
        })
        .collect();
    let raw: Vec<f32> = (0..samples.len() / FRAME)
        .map(|frame| {
            let (from, to) = (frame * FRAME, (frame + 1) * FRAME);
            let around =
                &powers[from.saturating_sub(FRAME / 2)..(to + FRAME / 2).min(powers.len())];
            10.0 * (around.iter().sum::<f32>() / (2 * FRAME) as f32 + LEAST_POWER).log10()
        })
        .collect();
    (0..raw.len())
        .map(|at| mean(&raw[at.saturating_sub(1)..(at + 2).min(raw.len())]))
        .collect()
}

fn rises(levels: &[f32], from: f32) -> Vec<f32> {
    let counted: Vec<f32> = levels.iter().map(|level| level.max(from)).collect();
    (0..counted.len())
        .map(|at| {
            let before = &counted[at.saturating_sub(BESIDE)..at];
            let after = &counted[at..(at + BESIDE).min(counted.len())];
            if before.is_empty() {
                0.0
            } else {
                mean(after) - mean(before)
            }
        })
        .collect()
}

fn mean(list: &[f32]) -> f32 {
    list.iter().sum::<f32>() / list.len().max(1) as f32
}
