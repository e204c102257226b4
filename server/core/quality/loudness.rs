//! How loud is a stretch?
//!
//! Sums over tenths of a second: the blocks of ITU-R BS.1770-4 are 400 ms long and begin
//! every 100 ms, the short-term windows of EBU Tech 3341 are 3 s long, and the loudness
//! range of EBU Tech 3342 is of such windows.

use super::track::Row;

/// Rows of a gating block, and of a short-term window.
const BLOCK: usize = 4;
const SHORT_TERM: usize = 30;
/// Blocks below this count for nothing, LUFS (BS.1770-4).
const SILENT_LUFS: f64 = -70.0;
/// Blocks count that are at most so far below the mean, LU: for loudness (BS.1770-4)
/// and for its range (Tech 3342).
const GATE_LU: f64 = -10.0;
const RANGE_GATE_LU: f64 = -20.0;
/// The range is from this share of the windows to that (Tech 3342).
const RANGE: (f64, f64) = (0.10, 0.95);

/// How loud a stretch is. `None` where nothing in it is louder than −70 LUFS.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Loudness {
    /// Integrated loudness, gated, LUFS; of less than 400 ms what there is.
    pub integrated_lufs: Option<f64>,
    /// From the quiet to the loud parts, LU; `None` below 3 s.
    pub range_lu: Option<f64>,
    /// The loudest 3 s, LUFS; `None` below 3 s.
    pub max_short_term_lufs: Option<f64>,
}

impl Loudness {
    /// Of rows that follow one another.
    pub(super) fn of(rows: &[Row]) -> Self {
        let blocks = means(rows, BLOCK.min(rows.len()));
        let windows = means(rows, SHORT_TERM);
        Self {
            integrated_lufs: gated(&blocks, GATE_LU).and_then(|loud| audible(mean(&loud))),
            range_lu: gated(&windows, RANGE_GATE_LU).map(|loud| range(&loud)),
            max_short_term_lufs: loudest(&windows),
        }
    }
}

/// LUFS of a weighted mean square (BS.1770-4).
pub(super) fn lufs(power: f64) -> f64 {
    -0.691 + 10.0 * power.log10()
}

/// The weighted mean square of a loudness.
pub(super) fn power(lufs: f64) -> f64 {
    10.0_f64.powf((lufs + 0.691) / 10.0)
}

/// Means over each `width` rows in a row.
fn means(rows: &[Row], width: usize) -> Vec<f64> {
    if width == 0 {
        return Vec::new();
    }
    let of = |rows: &[Row]| rows.iter().map(|row| f64::from(row.power)).sum::<f64>() / width as f64;
    rows.windows(width).map(of).collect()
}

/// What is louder than silence and than the relative gate; `None` if nothing is.
fn gated(powers: &[f64], gate_lu: f64) -> Option<Vec<f64>> {
    let above = |powers: &[f64], least: f64| -> Vec<f64> {
        powers.iter().copied().filter(|p| *p > least).collect()
    };
    let heard = above(powers, power(SILENT_LUFS));
    (!heard.is_empty()).then(|| {
        let least = mean(&heard) * 10.0_f64.powf(gate_lu / 10.0);
        above(&heard, least)
    })
}

fn mean(powers: &[f64]) -> f64 {
    powers.iter().sum::<f64>() / powers.len().max(1) as f64
}

fn loudest(powers: &[f64]) -> Option<f64> {
    powers.iter().copied().reduce(f64::max).and_then(audible)
}

fn audible(power: f64) -> Option<f64> {
    let lufs = lufs(power);
    (lufs > SILENT_LUFS).then_some(lufs)
}

/// LU between two shares of powers, of which there is at least one.
fn range(powers: &[f64]) -> f64 {
    let mut sorted = powers.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| lufs(sorted[(share * (sorted.len() - 1) as f64).round() as usize]);
    at(RANGE.1) - at(RANGE.0)
}
