//! What was measured in each tenth of a second of a recording.

use super::loudness::{Loudness, lufs, power};
use crate::units::FileMs;

/// Length of a row, ms.
pub const STEP_MS: i64 = 100;

/// The first byte of a kept track: how the rest is laid out.
const VERSION: u8 = 1;
/// Bytes of a kept row.
const ROW_BYTES: usize = 9;
/// Levels are kept in hundredths of a dB.
const PARTS: f64 = 100.0;

/// A tenth of a second.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Mean square after K-weighting (BS.1770-4), summed over the channels; full scale 1.
    pub power: f64,
    /// The highest the wave goes between the samples, full scale 1 (BS.1770-4, Annex 2).
    pub true_peak: f64,
    /// The highest sample, full scale 1.
    pub sample_peak: f64,
    /// Samples that stand at full scale, three or more in a row.
    pub clipped: u16,
    /// Digital silence, ms: 10 ms and more of nothing but zeros.
    pub silent_ms: u8,
}

/// The rows of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    rows: Vec<Row>,
}

/// The measures of a stretch of a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// How loud it is.
    pub loudness: Loudness,
    /// dBTP; `None` for nothing but zeros.
    pub true_peak_dbtp: Option<f64>,
    /// dBFS; `None` for nothing but zeros.
    pub sample_peak_dbfs: Option<f64>,
    /// Samples that stand at full scale, three or more in a row.
    pub clipped: u64,
    /// Digital silence, ms.
    pub silent_ms: u64,
}

impl Track {
    pub(super) fn new(rows: Vec<Row>) -> Self {
        Self { rows }
    }

    /// The rows, from the start of the recording on.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// What lies in `[start, end)`, to a tenth of a second; nothing beyond the end.
    #[must_use]
    pub fn stretch(&self, start: FileMs, end: FileMs) -> Stretch {
        let place = |ms: i64| usize::try_from(ms.max(0)).unwrap_or(0).min(self.rows.len());
        let from = place(start.0.div_euclid(STEP_MS));
        let to = place(end.0.max(0).saturating_add(STEP_MS - 1) / STEP_MS).max(from);
        let rows = &self.rows[from..to];
        let peak = |of: fn(&Row) -> f64| {
            let highest = rows.iter().map(of).fold(0.0, f64::max);
            (highest > 0.0).then(|| 20.0 * highest.log10())
        };
        Stretch {
            loudness: Loudness::of(rows),
            true_peak_dbtp: peak(|row| row.true_peak),
            sample_peak_dbfs: peak(|row| row.sample_peak),
            clipped: rows.iter().map(|row| u64::from(row.clipped)).sum(),
            silent_ms: rows.iter().map(|row| u64::from(row.silent_ms)).sum(),
        }
    }

    /// To be kept: levels to a hundredth of a dB.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(1 + ROW_BYTES * self.rows.len());
        bytes.push(VERSION);
        for row in &self.rows {
            for level in [
                lufs(row.power),
                decibels(row.true_peak),
                decibels(row.sample_peak),
            ] {
                bytes.extend(hundredths(level).to_le_bytes());
            }
            bytes.extend(row.clipped.to_le_bytes());
            bytes.push(row.silent_ms);
        }
        bytes
    }

    /// A kept track; `None` for anything else.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (&VERSION, rest) = bytes.split_first()? else {
            return None;
        };
        if rest.len() % ROW_BYTES != 0 {
            return None;
        }
        let row = |row: &[u8]| {
            let level = |at: usize| match i16::from_le_bytes([row[at], row[at + 1]]) {
                i16::MIN => f64::NEG_INFINITY,
                level => f64::from(level) / PARTS,
            };
            let peak = |at: usize| 10.0_f64.powf(level(at) / 20.0);
            Row {
                power: power(level(0)),
                true_peak: peak(2),
                sample_peak: peak(4),
                clipped: u16::from_le_bytes([row[6], row[7]]),
                silent_ms: row[8],
            }
        };
        Some(Self::new(rest.chunks_exact(ROW_BYTES).map(row).collect()))
    }
}

fn decibels(amplitude: f64) -> f64 {
    20.0 * amplitude.log10()
}

/// Hundredths of a dB; the least number for what has no level.
fn hundredths(level: f64) -> i16 {
    // A cast ends at the limits, and takes what is no number for 0.
    (level * PARTS).round() as i16
}
