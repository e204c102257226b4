//! Which recordings are copies of one another?

use std::collections::BTreeMap;

use crate::clock::{Finding, Fine, Pair, Stretch};

/// A copy's points are all at one lag, to a tenth of a sample at 16 kHz (ms) ...
const COPY_RESIDUAL_MS: f64 = 0.01;
/// ... and its correlation is as high as a lossy coding of the same samples leaves it.
const COPY_ALIKE: f32 = 0.9;
/// Copies that differ by less began with the same sample, ms: a sample at 16 kHz.
const SAME_SAMPLE_MS: f64 = 1.0 / 16.0;

/// The stretch of two recordings that are the same samples throughout, and what was
/// measured on it.
pub(super) fn copy(pair: &Pair) -> Option<(&Stretch, Fine)> {
    let [stretch] = &pair.stretches[..] else {
        return None;
    };
    let fine = stretch.fine.filter(|fine| {
        pair.finding == Finding::Shared
            && fine.alike >= COPY_ALIKE
            && fine.agreement >= 0.9
            && fine.points >= 5
            && fine.residual_ms <= COPY_RESIDUAL_MS
    })?;
    Some((stretch, fine))
}

/// Pairs of copies that began with the same sample: as rigid as channels of a file.
pub(super) fn copies(
    pairs: &BTreeMap<(usize, usize), Pair>,
) -> impl Iterator<Item = (usize, usize)> {
    let together = |(stretch, _): (&Stretch, Fine)| {
        let apart = |at: f64| (stretch.line.map(at) - at).abs();
        apart(stretch.from_ms) <= SAME_SAMPLE_MS && apart(stretch.to_ms) <= SAME_SAMPLE_MS
    };
    let of = pairs.iter();
    of.filter(move |(_, pair)| copy(pair).is_some_and(together))
        .map(|(&key, _)| key)
}
