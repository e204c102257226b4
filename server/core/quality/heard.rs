//! How well does a recording have one stretch of speech?
//!
//! A voice is held against what the same recorder hears in the pauses around it: rows
//! in which the detector found no speech. Sounds are compared in the band of a
//! telephone, 300 to 3400 Hz, which carries the words.

use super::hum::MAINS_HZ;
use super::spread::BANDS_HZ;
use super::track::{Level, Row, STEP_MS, Track};
use crate::clock::TRACK_BANDS;
use crate::units::FileMs;

/// Levels of the bands of [`crate::clock::Track`] at an instant, dBFS.
pub type Frame = [f32; TRACK_BANDS];

/// Pauses are looked for so far around a stretch, and where there are too few, so far,
/// ms.
const AROUND_MS: [i64; 2] = [15_000, 60_000];
/// So many rows of pause are enough to tell the noise.
const ENOUGH_ROWS: usize = 10;
/// Rows this close to speech are no pause, ms.
const BESIDE_MS: i64 = 200;
/// Noise is this share of the pauses' levels: other voices, coughs and steps are above.
const USUAL: f64 = 0.3;
/// The floor of a recording is this share of all its pauses.
const FLOOR: f64 = 0.1;
/// Hum is what the lines have at least for all but this share of the time: voices cross
/// them and go on.
const STAYS: f64 = 0.2;
/// Ratios are told within these, dB.
const LIMITS_DB: (f64, f64) = (-30.0, 60.0);
/// A band that lies so far below the voice even where it is loudest is empty, dB.
const EMPTY_DB: f64 = 55.0;
/// Rows that tell about modulation, at least.
const FEWEST_ROWS: usize = 5;
/// So much of a silence counts, ms: after that the recorder made a pause.
const DROPOUT_MS: i64 = 2_000;

/// A recording and where it has pauses.
#[derive(Clone, Debug)]
pub struct Heard<'a> {
    track: &'a Track,
    /// Of each row, whether nobody speaks in or beside it.
    pause: Vec<bool>,
    /// The mean square of the quietest pauses in the telephone band.
    floor: Option<f64>,
}

/// The measures of one stretch of speech in a recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measures {
    /// The voice without its noise, telephone band, dBFS.
    pub voice_dbfs: f32,
    /// The voice over the noise of the pauses around it, telephone band, dB, −30 to 60;
    /// `None` where there are no pauses.
    pub snr_db: Option<f32>,
    /// How far that noise lies above the quietest pauses of the recording, dB: music or a
    /// crowd, where it is much.
    pub noise_rise_db: f32,
    /// Share of samples at full scale, three or more in a row, 0 to 1.
    pub clipped: f32,
    /// Share of samples at flat tops below full scale, 0 to 1.
    pub flat: f32,
    /// The mains that hums, Hz, and how far below the voice, dB; `None` without hum.
    pub hum: Option<(u32, f32)>,
    /// What lies below 80 Hz, other than hum, over the voice, dB.
    pub rumble_db: f32,
    /// Jumps in the pauses around, a second: cloth, knocks.
    pub bursts: f32,
    /// Share of its time that is torn out of it, or all of it where it is digital silence,
    /// 0 to 1.
    pub silent: f32,
    /// How often it is torn off. What a gate closes between words is none.
    pub dropouts: u32,
    /// Nothing lies above this, Hz; 20,000 where there is something up there.
    pub bandwidth_hz: u32,
    /// How far off zero the wave lies, dBFS; `None` for nothing.
    pub offset_dbfs: Option<f32>,
    /// How much of the voice comes and goes by syllables, 0 to 2, mostly below 0.5: noise and the
    /// room fill the dips. `None` for what is too short.
    pub modulation: Option<Modulation>,
}

/// The share of power that comes and goes by syllables, mean of the bands' shares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Modulation {
    /// 80 Hz to 8 kHz.
    pub all: f32,
    /// The telephone band.
    pub words: f32,
}

impl<'a> Heard<'a> {
    /// A recording with the speech that was found in it, in order.
    #[must_use]
    pub fn new(track: &'a Track, speech: &[(FileMs, FileMs)]) -> Self {
        let mut pause = vec![true; track.rows().len()];
        let row = |ms: i64| usize::try_from(ms.div_euclid(STEP_MS)).unwrap_or(0);
        for (start, end) in speech {
            let from = row(start.0.saturating_sub(BESIDE_MS)).min(pause.len());
            let to = row(end.0.saturating_add(BESIDE_MS + STEP_MS - 1)).clamp(from, pause.len());
            pause[from..to].fill(false);
        }
        let quiet = track.rows().iter().zip(&pause);
        let levels = quiet.filter(|(row, pause)| **pause && row.silent_ms == 0);
        let floor = share_of(levels.map(|(row, _)| words(row)).collect(), FLOOR);
        Self {
            track,
            pause,
            floor,
        }
    }

    /// The measures of `[from, to)`; `None` where the recording has nothing there.
    #[must_use]
    pub fn measures(&self, from: FileMs, to: FileMs) -> Option<Measures> {
        let rows = self.track.between(from, to);
        if rows.is_empty() {
            return None;
        }
        let count = rows.len() as f64;
        let mean = |of: fn(&Row) -> f64| rows.iter().map(of).sum::<f64>() / count;
        let pauses = self.pauses(from, to);
        let noise = share_of(pauses.iter().map(|row| words(row)).collect(), USUAL);
        let told = noise.or(self.floor);
        let noise = told.unwrap_or(0.0);
        let voice = (mean(words) - noise).max(1e-13);
        // Everything a voice has.
        let whole =
            (mean(|row| (1..=3).map(|band| row.bands[band].power()).sum()) - noise).max(voice);
        let hum = self.hum(from, to, whole);
        let lows = mean(|row| row.bands[0].power());
        let hum_power = hum.map_or(0.0, |(_, below_db)| {
            whole * 10.0_f64.powf(-f64::from(below_db) / 10.0)
        });
        let samples = count * self.track.samples_a_row().max(1) as f64;
        let share = |of: fn(&Row) -> u16| {
            let sum: u64 = rows.iter().map(|row| u64::from(of(row))).sum();
            (sum as f64 / samples).min(1.0) as f32
        };
        let (dropouts, silent) = torn(rows);
        let seconds = pauses.len() as f64 * STEP_MS as f64 / 1000.0;
        let bursts: u64 = pauses.iter().map(|row| u64::from(row.bursts)).sum();
        let rise = self.floor.map_or(0.0, |floor| ratio_db(noise, floor));
        Some(Measures {
            voice_dbfs: (10.0 * voice.log10()) as f32,
            snr_db: told.map(|noise| ratio_db(voice, noise)),
            noise_rise_db: if noise > 0.0 { rise.max(0.0) } else { 0.0 },
            clipped: share(|row| row.clipped),
            flat: share(|row| row.flat),
            hum,
            // Lines below 80 Hz are no rumble.
            rumble_db: ratio_db((lows - 2.0 * hum_power).max(0.0), whole),
            bursts: if seconds > 0.0 {
                (bursts as f64 / seconds) as f32
            } else {
                0.0
            },
            silent,
            dropouts,
            bandwidth_hz: bandwidth_hz(rows, whole),
            modulation: modulation(rows),
            // What is always there: wind swings the wave to and fro.
            offset_dbfs: rows
                .iter()
                .map(|row| row.offset)
                .min()
                .and_then(Level::dbfs),
        })
    }

    /// Rows around a stretch in which nobody speaks.
    fn pauses(&self, from: FileMs, to: FileMs) -> Vec<&Row> {
        let mut found = Vec::new();
        for around in AROUND_MS {
            let first = usize::try_from(from.0.saturating_sub(around) / STEP_MS).unwrap_or(0);
            let last = usize::try_from(to.0.saturating_add(around) / STEP_MS).unwrap_or(0);
            let last = last.min(self.pause.len());
            let rows = self.track.rows();
            let is_pause = |n: &usize| self.pause[*n] && rows[*n].silent_ms == 0;
            found = (first.min(last)..last)
                .filter(is_pause)
                .map(|n| &rows[n])
                .collect();
            if found.len() >= ENOUGH_ROWS {
                break;
            }
        }
        found
    }

    /// The mains that stays, and how far it lies below the voice.
    fn hum(&self, from: FileMs, to: FileMs, voice: f64) -> Option<(u32, f32)> {
        let around = AROUND_MS[1] / 2;
        let rows = self.track.between(
            FileMs(from.0.saturating_sub(around)),
            FileMs(to.0.saturating_add(around)),
        );
        (0..MAINS_HZ.len())
            .filter_map(|n| {
                let levels = rows.iter().map(|row| row.hum[n].power()).collect();
                Some((n, share_of(levels, STAYS).filter(|power| *power > 0.0)?))
            })
            .max_by(|(_, a), (_, b)| a.total_cmp(b))
            .map(|(n, power)| (MAINS_HZ[n], ratio_db(voice, power)))
    }
}

/// The mean square in the telephone band.
fn words(row: &Row) -> f64 {
    row.bands[2].power() + row.bands[3].power()
}

/// The value that a share of the values lies below.
fn share_of(mut values: Vec<f64>, share: f64) -> Option<f64> {
    let at = (share * values.len() as f64) as usize;
    (at < values.len()).then(|| *values.select_nth_unstable_by(at, f64::total_cmp).1)
}

fn ratio_db(a: f64, b: f64) -> f32 {
    let (least, most) = LIMITS_DB;
    let db = match (a > 0.0, b > 0.0) {
        (true, true) => 10.0 * (a / b).log10(),
        (true, false) => most,
        (false, _) => least,
    };
    db.clamp(least, most) as f32
}

/// How often the voice is torn off, and the share of the time that it takes; a stretch
/// of nothing but digital silence is all of it.
fn torn(rows: &[Row]) -> (u32, f32) {
    let all_ms = (rows.len() as i64 * STEP_MS) as f64;
    let silent_ms: f64 = rows.iter().map(|row| f64::from(row.silent_ms)).sum();
    if silent_ms >= 0.95 * all_ms {
        return (0, 1.0);
    }
    let longest = usize::try_from(DROPOUT_MS / STEP_MS).unwrap_or(usize::MAX);
    let lost = |first: usize| -> f64 {
        let rest = rows[first..].iter().take(longest);
        // What was torn in the last 10 ms of a row is silent in the next.
        let silent = rest.take_while(|row| row.silent_ms > 0);
        silent.map(|row| f64::from(row.silent_ms)).sum()
    };
    let torn = (0..rows.len()).filter(|&n| rows[n].tears > 0);
    let lost_ms: f64 = torn.map(lost).sum();
    let times = rows.iter().map(|row| u32::from(row.tears)).sum();
    (times, (lost_ms / all_ms.max(1.0)).min(1.0) as f32)
}

/// The part of a band's power that changes from row to row and back. A second difference
/// at 10 Hz passes what moves at 3 to 5 Hz, where the syllables of speech are; noise and
/// reverberation both take from the modulation of the envelope (T. Houtgast and
/// H. Steeneken, 'A review of the MTF concept in room acoustics', JASA 77, 1985). Rows
/// that are torn or knocked say nothing.
fn modulation(rows: &[Row]) -> Option<Modulation> {
    let says = |row: &Row| row.silent_ms == 0 && row.tears == 0 && row.bursts == 0;
    let whole: Vec<&[Row]> = rows
        .windows(3)
        .filter(|rows| rows.iter().all(says))
        .collect();
    if whole.len() < FEWEST_ROWS {
        return None;
    }
    let of_band = |band: usize| {
        let height = |row: &Row| row.bands[band].power().sqrt();
        let (mut moved, mut all) = (0.0, 0.0);
        for rows in &whole {
            if let [before, row, after] = rows {
                moved += (height(row) - 0.5 * (height(before) + height(after))).powi(2);
                // Of all three, so that a gap between two loud rows has its bounds.
                let power = |row: &Row| row.bands[band].power();
                all += 0.25 * (power(before) + 2.0 * power(row) + power(after));
            }
        }
        if all > 0.0 { (moved / all) as f32 } else { 0.0 }
    };
    let mean = |bands: std::ops::RangeInclusive<usize>| {
        let count = bands.clone().count() as f32;
        bands.map(of_band).sum::<f32>() / count
    };
    Some(Modulation {
        all: mean(1..=5),
        words: mean(2..=3),
    })
}

/// Above which nothing is, of what is told apart.
fn bandwidth_hz(rows: &[Row], voice: f64) -> u32 {
    let empty = voice * 10.0_f64.powf(-EMPTY_DB / 10.0);
    for band in (4..BANDS_HZ.len()).rev() {
        let levels = rows.iter().map(|row| row.bands[band].power()).collect();
        if share_of(levels, 0.95).is_some_and(|power| power > empty) {
            return BANDS_HZ[band].1 as u32;
        }
    }
    BANDS_HZ[3].1 as u32
}

#[cfg(test)]
mod tests;
