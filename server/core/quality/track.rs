//! What was measured in each tenth of a second of a recording.

use super::loudness::{Loudness, lufs, power};
use super::spread::BANDS;
use crate::units::FileMs;

/// Length of a row, ms.
pub const STEP_MS: i64 = 100;

/// The first byte of a kept track: how the rest is laid out.
const VERSION: u8 = 2;
/// Bytes of a kept row.
const ROW_BYTES: usize = 24;
/// Levels are kept in hundredths of a dB.
const PARTS: f64 = 100.0;

/// A tenth of a second: some 30 bytes, for a day of ten recorders is looked at together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Row {
    /// Mean square after K-weighting (BS.1770-4), summed over the channels; full scale 1.
    pub power: f32,
    /// The highest the wave goes between the samples, full scale 1 (BS.1770-4, Annex 2).
    pub true_peak: f32,
    /// The highest sample, full scale 1.
    pub sample_peak: f32,
    /// Samples that stand at full scale, three or more in a row.
    pub clipped: u16,
    /// Samples at flat tops below full scale.
    pub flat: u16,
    /// Digital silence, ms: 10 ms and more of nothing but zeros.
    pub silent_ms: u8,
    /// How often the wave is torn off in the middle of sound.
    pub tears: u8,
    /// Frames of 5 ms that jump out of the row.
    pub bursts: u8,
    /// How loud each band is, mean of the channels.
    pub(super) bands: [Level; BANDS],
    /// The lines of 50 and of 60 Hz and their multiples in the last second.
    pub(super) hum: [Level; 2],
    /// How far off zero the wave lies.
    pub(super) offset: Level,
}

/// A level in half dB, from −127 dBFS to 0; the least is nothing at all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Level(u8);

impl Level {
    /// Of a mean square, full scale 1.
    pub fn of(power: f64) -> Self {
        let half_db = 255.0 + 20.0 * power.log10();
        // A cast ends at the limits, and takes what is no number for 0.
        Self(half_db.round() as u8)
    }

    /// dBFS; `None` for nothing.
    pub fn dbfs(self) -> Option<f32> {
        (self.0 > 0).then(|| (f32::from(self.0) - 255.0) / 2.0)
    }

    /// The mean square again.
    pub fn power(self) -> f64 {
        self.dbfs()
            .map_or(0.0, |db| 10.0_f64.powf(f64::from(db) / 10.0))
    }
}

/// The rows of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    rows: Vec<Row>,
    /// Samples of a row, of all its channels.
    samples: u32,
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
    /// Samples at flat tops below full scale.
    pub flat: u64,
    /// Digital silence, ms.
    pub silent_ms: u64,
}

impl Track {
    pub(super) fn new(rows: Vec<Row>, samples: u32) -> Self {
        Self { rows, samples }
    }

    /// Samples of a row, of all its channels.
    pub(super) fn samples_a_row(&self) -> u32 {
        self.samples
    }

    /// The rows, from the start of the recording on.
    #[must_use]
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// The rows of `[start, end)`, those it begins and ends in whole.
    pub(super) fn between(&self, start: FileMs, end: FileMs) -> &[Row] {
        let place = |ms: i64| usize::try_from(ms.max(0)).unwrap_or(0).min(self.rows.len());
        let from = place(start.0.div_euclid(STEP_MS));
        let to = place(end.0.max(0).saturating_add(STEP_MS - 1) / STEP_MS).max(from);
        &self.rows[from..to]
    }

    /// What lies in `[start, end)`, to a tenth of a second; nothing beyond the end.
    #[must_use]
    pub fn stretch(&self, start: FileMs, end: FileMs) -> Stretch {
        let rows = self.between(start, end);
        let peak = |of: fn(&Row) -> f32| {
            let highest = rows.iter().map(of).fold(0.0, f32::max);
            (highest > 0.0).then(|| decibels(highest))
        };
        Stretch {
            loudness: Loudness::of(rows),
            true_peak_dbtp: peak(|row| row.true_peak),
            sample_peak_dbfs: peak(|row| row.sample_peak),
            clipped: rows.iter().map(|row| u64::from(row.clipped)).sum(),
            flat: rows.iter().map(|row| u64::from(row.flat)).sum(),
            silent_ms: rows.iter().map(|row| u64::from(row.silent_ms)).sum(),
        }
    }

    /// To be kept: levels to a hundredth of a dB.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(5 + ROW_BYTES * self.rows.len());
        bytes.push(VERSION);
        bytes.extend(self.samples.to_le_bytes());
        for row in &self.rows {
            for level in [
                lufs(f64::from(row.power)),
                decibels(row.true_peak),
                decibels(row.sample_peak),
            ] {
                bytes.extend(hundredths(level).to_le_bytes());
            }
            bytes.extend(row.clipped.to_le_bytes());
            bytes.extend(row.flat.to_le_bytes());
            bytes.extend([row.silent_ms, row.tears, row.bursts]);
            let levels = row.bands.iter().chain(&row.hum).chain([&row.offset]);
            bytes.extend(levels.map(|level| level.0));
        }
        bytes
    }

    /// A kept track; `None` for anything else.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (&VERSION, rest) = bytes.split_first()? else {
            return None;
        };
        let (samples, rest) = rest.split_first_chunk()?;
        if rest.len() % ROW_BYTES != 0 {
            return None;
        }
        let row = |row: &[u8]| {
            let level = |at: usize| match i16::from_le_bytes([row[at], row[at + 1]]) {
                i16::MIN => f64::NEG_INFINITY,
                level => f64::from(level) / PARTS,
            };
            let peak = |at: usize| 10.0_f64.powf(level(at) / 20.0) as f32;
            Row {
                power: power(level(0)) as f32,
                true_peak: peak(2),
                sample_peak: peak(4),
                clipped: u16::from_le_bytes([row[6], row[7]]),
                flat: u16::from_le_bytes([row[8], row[9]]),
                silent_ms: row[10],
                tears: row[11],
                bursts: row[12],
                bands: std::array::from_fn(|n| Level(row[13 + n])),
                hum: [Level(row[13 + BANDS]), Level(row[14 + BANDS])],
                offset: Level(row[15 + BANDS]),
            }
        };
        let rows = rest.chunks_exact(ROW_BYTES).map(row).collect();
        Some(Self::new(rows, u32::from_le_bytes(*samples)))
    }
}

fn decibels(amplitude: f32) -> f64 {
    20.0 * f64::from(amplitude).log10()
}

/// Hundredths of a dB; the least number for what has no level.
fn hundredths(level: f64) -> i16 {
    // A cast ends at the limits, and takes what is no number for 0.
    (level * PARTS).round() as i16
}
