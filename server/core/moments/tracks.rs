//! What do stored band levels say about sound?

use super::kinds::Sound;
use crate::clock::{FRAME_MS, TRACK_BANDS, Track};
use crate::units::FileMs;

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

    /// Of all bands together, each less its mean; the best of three lags one
    /// frame (40 ms) apart. Two sounds that have nothing to do with each other
    /// stay below 0.2 in 99 of 100 stretches of 5 s.
    fn alike(
        &self,
        a: usize,
        a_from: FileMs,
        a_to: FileMs,
        b: usize,
        b_from: FileMs,
    ) -> Option<f32> {
        let (first, second) = (self.0.get(a)?, self.0.get(b)?);
        let (start, end) = self.frames(a, a_from, a_to);
        let lag = ((b_from.0 - a_from.0) as f64 / FRAME_MS).round() as i64;
        (-1..=1)
            .filter_map(|slack| correlation(first, start, end, second, lag + slack))
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
}

/// Correlation of frames `start..end` of `a` with those `lag` later in `b`.
fn correlation(a: &Track, start: usize, end: usize, b: &Track, lag: i64) -> Option<f32> {
    let low = start.max(usize::try_from(-lag).unwrap_or(0));
    let limit = usize::try_from((b.frames() as i64 - lag).max(0)).unwrap_or(0);
    let high = end.min(limit);
    if high < low + FEWEST {
        return None;
    }
    let there = usize::try_from(low as i64 + lag).ok()?;
    let (mine, theirs) = (
        &a.levels()[low..high],
        &b.levels()[there..there + high - low],
    );
    let (mut both, mut left, mut right) = (0.0_f64, 0.0_f64, 0.0_f64);
    for band in 0..TRACK_BANDS {
        let (x, y) = (feature(mine, band), feature(theirs, band));
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
fn feature(levels: &[[u8; TRACK_BANDS]], band: usize) -> Vec<f32> {
    let loudest = levels.iter().map(|frame| frame[band]).max().unwrap_or(0);
    let floor = loudest.saturating_sub(RANGE);
    let cut: Vec<f32> = levels
        .iter()
        .map(|frame| f32::from(frame[band].max(floor)))
        .collect();
    let mean = cut.iter().sum::<f32>() / cut.len().max(1) as f32;
    cut.into_iter().map(|level| level - mean).collect()
}
