//! What do stored band levels say about sound?

use std::ops::Range;

use super::kinds::Sound;
use crate::clock::{FRAME_MS, TRACK_BANDS, Track, TrackLevels, dbfs_of};
use crate::quality::{Frame, Heard, Measures};
use crate::units::{FileMs, SILENCE_DBFS};

/// Band levels this far below the loudest of their stretch count as that, in
/// steps of half a dB: what lies lower is one microphone's noise or the other's.
const RANGE: u8 = 60;

/// Least frames compared: a second.
const FEWEST: usize = 25;

/// Frames of the quiet that is looked for: a fifth of a second.
const QUIET: usize = 5;

/// Recordings by their [`Track`]s, in the order of the hearers.
#[derive(Clone, Copy, Debug)]
pub struct Tracks<'a>(pub &'a [&'a Track]);

/// The same with what was measured at their own rates, where it was.
#[derive(Clone, Copy, Debug)]
pub struct Measured<'a> {
    /// Their band levels.
    pub tracks: Tracks<'a>,
    /// Their levels, in the same order.
    pub heard: &'a [Option<Heard<'a>>],
}

impl Sound for Measured<'_> {
    fn excess_db(&self, hearer: usize, from: FileMs, to: FileMs) -> f32 {
        self.tracks.excess_db(hearer, from, to)
    }

    fn level_dbfs(&self, hearer: usize, from: FileMs, to: FileMs) -> f32 {
        self.tracks.level_dbfs(hearer, from, to)
    }

    fn alike(
        &self,
        a: usize,
        a_from: FileMs,
        a_to: FileMs,
        b: usize,
        b_from: FileMs,
        rate: f64,
    ) -> Option<f32> {
        self.tracks.alike(a, a_from, a_to, b, b_from, rate)
    }

    fn quietest(&self, hearer: usize, from: FileMs, to: FileMs) -> Option<FileMs> {
        self.tracks.quietest(hearer, from, to)
    }

    fn levels(&self, hearer: usize, instants: &[f64]) -> Vec<Option<Frame>> {
        self.tracks.levels(hearer, instants)
    }

    fn measures(&self, hearer: usize, from: FileMs, to: FileMs) -> Option<Measures> {
        self.heard.get(hearer)?.as_ref()?.measures(from, to)
    }
}

impl Tracks<'_> {
    fn frames(&self, hearer: usize, from: FileMs, to: FileMs) -> (usize, usize) {
        let count = self.0.get(hearer).map_or(0, |track| track.frames());
        let frame = |at: FileMs| (at.0.max(0) as f64 / FRAME_MS).round() as usize;
        let start = frame(from).min(count);
        (start, frame(to).clamp(start, count))
    }
}

impl Sound for Tracks<'_> {
    fn excess_db(&self, hearer: usize, from: FileMs, to: FileMs) -> f32 {
        let track = self.0.get(hearer);
        track.map_or(0.0, |track| track.excess_db(from, to))
    }

    fn level_dbfs(&self, hearer: usize, from: FileMs, to: FileMs) -> f32 {
        let track = self.0.get(hearer);
        track.map_or(SILENCE_DBFS, |track| track.level_dbfs(from, to))
    }

    /// Of all bands together, each less its mean; the best of three lags one
    /// frame (40 ms) apart. In single stretches of 5 s, two sounds that have
    /// nothing to do with each other stay below 0.2 to 0.5 in 99 of 100.
    fn alike(
        &self,
        a: usize,
        a_from: FileMs,
        a_to: FileMs,
        b: usize,
        b_from: FileMs,
        rate: f64,
    ) -> Option<f32> {
        let (first, second) = (self.0.get(a)?, self.0.get(b)?);
        let (start, end) = self.frames(a, a_from, a_to);
        // The frame of `b` that the middle of one of `a` falls into.
        let there = |frame: usize| {
            let after_ms = (frame as f64 + 0.5) * FRAME_MS - a_from.0 as f64;
            ((b_from.0 as f64 + after_ms * rate) / FRAME_MS).floor() as i64
        };
        (-1..=1)
            .filter_map(|slack| correlation(first, start..end, second, |n| there(n) + slack))
            .max_by(f32::total_cmp)
    }

    fn quietest(&self, hearer: usize, from: FileMs, to: FileMs) -> Option<FileMs> {
        let track = self.0.get(hearer)?;
        let (start, end) = self.frames(hearer, from, to);
        let at = |frame: usize| FileMs((frame as f64 * FRAME_MS) as i64);
        (start..(end + 1).saturating_sub(QUIET))
            .min_by(|x, y| {
                let level = |n: &usize| track.level_dbfs(at(*n), at(n + QUIET));
                level(x).total_cmp(&level(y))
            })
            .map(|frame| FileMs(at(frame).0 + (QUIET as f64 * FRAME_MS / 2.0) as i64))
    }

    /// Between the middles of two frames, by how near each is.
    fn levels(&self, hearer: usize, instants: &[f64]) -> Vec<Option<Frame>> {
        let levels = self.0.get(hearer).map_or(&[][..], |track| track.levels());
        let one = |at: &f64| {
            let place = at / FRAME_MS - 0.5;
            let before = place.floor();
            let frame = |n: f64| {
                let known = n >= 0.0 && n < levels.len() as f64;
                known.then(|| levels[n as usize].map(dbfs_of))
            };
            let (first, second) = (frame(before)?, frame(before + 1.0)?);
            let share = (place - before) as f32;
            Some(std::array::from_fn(|n| {
                first[n] + share * (second[n] - first[n])
            }))
        };
        instants.iter().map(one).collect()
    }
}

/// Correlation of frames of `a` with those of `b` that are `there`, where `b` has
/// them.
fn correlation(
    a: &Track,
    frames: Range<usize>,
    b: &Track,
    there: impl Fn(usize) -> i64,
) -> Option<f32> {
    let pair = |n: usize| {
        let there = usize::try_from(there(n)).ok()?;
        Some((*a.levels().get(n)?, *b.levels().get(there)?))
    };
    let (mine, theirs): (Vec<TrackLevels>, Vec<TrackLevels>) = frames.filter_map(pair).unzip();
    if mine.len() < FEWEST {
        return None;
    }
    let (mut both, mut left, mut right) = (0.0_f64, 0.0_f64, 0.0_f64);
    for band in 0..TRACK_BANDS {
        let (x, y) = (feature(&mine, band), feature(&theirs, band));
        for (x, y) in x.iter().zip(&y) {
            both += f64::from(x * y);
            left += f64::from(x * x);
            right += f64::from(y * y);
        }
    }
    let scale = (left * right).sqrt();
    Some(if scale > 0.0 {
        (both / scale) as f32
    } else {
        0.0
    })
}

/// A band's levels less their mean, those far down cut off.
fn feature(levels: &[TrackLevels], band: usize) -> Vec<f32> {
    let loudest = levels.iter().map(|frame| frame[band]).max().unwrap_or(0);
    let floor = loudest.saturating_sub(RANGE);
    let cut: Vec<f32> = levels
        .iter()
        .map(|frame| f32::from(frame[band].max(floor)))
        .collect();
    let mean = cut.iter().sum::<f32>() / cut.len().max(1) as f32;
    cut.into_iter().map(|level| level - mean).collect()
}

#[cfg(test)]
mod tests;
