//! At which instants is it worth comparing two recordings?

use std::collections::BTreeMap;

use crate::clock::{Finding, Member, Pair, Stretch};
use crate::units::FileMs;

/// Points wanted of each stretch of shared sound.
const POINTS: usize = 40;
/// Windows of a stretch, side by side, at least; shorter ones where it is short, but
/// no shorter than this, ms: a few syllables.
const WINDOWS: f64 = 4.0;
const LEAST_WINDOW_MS: f64 = 1_024.0;
/// Places looked at for each point.
const CHOICES: usize = 8;

/// One comparison to be made.
#[derive(Clone, Copy, Debug)]
pub(super) struct Site {
    /// When, on a rough common clock, ms: sites are visited in this order, so that
    /// what is read serves all pairs.
    pub rough_ms: f64,
    pub pair: (usize, usize),
    pub stretch: usize,
    /// Middle of the window in the first recording, ms.
    pub at_ms: f64,
    /// How long the window is, ms.
    pub window_ms: f64,
}

/// Sites for all stretches of `wanted` pairs. Instants that serve one pair are used
/// again for the next, as far as there is speech. Windows are `longest_ms` long, and
/// points half of that apart or more.
pub(super) fn sites(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    wanted: &[(usize, usize)],
    longest_ms: f64,
) -> Vec<Site> {
    let rough = rough_starts(members.len(), pairs);
    let mut stretches: Vec<((usize, usize), usize, &Stretch)> = Vec::new();
    for key in wanted {
        let inside = pairs
            .get(key)
            .into_iter()
            .flat_map(|pair| pair.stretches.iter().enumerate());
        stretches.extend(inside.map(|(n, stretch)| (*key, n, stretch)));
    }
    stretches.sort_by(|x, y| (x.2.to_ms - x.2.from_ms).total_cmp(&(y.2.to_ms - y.2.from_ms)));
    let mut pool: Vec<f64> = Vec::new();
    let mut sites = Vec::new();
    for (pair, index, stretch) in stretches {
        let (a, b) = (&members[pair.0], &members[pair.1]);
        let window_ms = ((stretch.to_ms - stretch.from_ms) / WINDOWS)
            .min(longest_ms)
            .max(LEAST_WINDOW_MS);
        let (low, high) = (
            stretch.from_ms + 0.5 * window_ms,
            stretch.to_ms - 0.5 * window_ms,
        );
        let (low, high) = if low < high {
            (low, high)
        } else {
            let middle = 0.5 * (stretch.from_ms + stretch.to_ms);
            (middle, middle)
        };
        if !(low.is_finite() && high.is_finite()) {
            continue;
        }
        let count = (((high - low) / (0.5 * window_ms)).floor() as usize + 1).min(POINTS);
        let cell = (high - low) / count as f64;
        let half = 0.5 * window_ms;
        let speech = |at: f64| {
            let there = stretch.line.map(at);
            covered(a.speech, at - half, at + half) + covered(b.speech, there - half, there + half)
        };
        for n in 0..count {
            let from = low + n as f64 * cell;
            let step = cell / CHOICES as f64;
            let fresh = (0..CHOICES).map(|k| from + (k as f64 + 0.5) * step);
            let best = fresh
                .map(|at| (at, speech(at)))
                .fold((from, -1.0), |best, next| {
                    if next.1 > best.1 + 1e-9 { next } else { best }
                });
            let shift = rough[pair.0];
            let begin = pool.partition_point(|&t| t < from + shift);
            let old = pool[begin..]
                .iter()
                .map(|&t| t - shift)
                .take_while(|&at| at <= from + cell)
                .map(|at| (at, speech(at)))
                .max_by(|x, y| x.1.total_cmp(&y.1))
                .filter(|(_, found)| *found >= 0.7 * best.1);
            let at_ms = old.unwrap_or(best).0;
            let rough_ms = at_ms + shift;
            if old.is_none() {
                let place = pool.partition_point(|&t| t < rough_ms);
                pool.insert(place, rough_ms);
            }
            sites.push(Site {
                rough_ms,
                pair,
                stretch: index,
                at_ms,
                window_ms,
            });
        }
    }
    sites.sort_by(|x, y| x.rough_ms.total_cmp(&y.rough_ms));
    sites
}

/// Where each member starts on a clock that is good enough to read in order.
fn rough_starts(members: usize, pairs: &BTreeMap<(usize, usize), Pair>) -> Vec<f64> {
    let mut edges: Vec<(usize, usize, f64, f64)> = pairs
        .iter()
        .filter(|(_, pair)| pair.finding == Finding::Shared)
        .filter_map(|(&(a, b), pair)| {
            let stretch = pair.main()?;
            let by = stretch.line.here_ms - stretch.line.there_ms;
            Some((a, b, by, stretch.to_ms - stretch.from_ms))
        })
        .filter(|&(a, b, by, _)| a < members && b < members && by.is_finite())
        .collect();
    edges.sort_by(|x, y| y.3.total_cmp(&x.3));
    let mut starts: Vec<Option<f64>> = vec![None; members];
    for first in 0..members {
        starts[first].get_or_insert(0.0);
        loop {
            let next = edges
                .iter()
                .find_map(|&(a, b, by, _)| match (starts[a], starts[b]) {
                    (Some(at), None) => Some((b, at + by)),
                    (None, Some(at)) => Some((a, at - by)),
                    _ => None,
                });
            match next {
                Some((member, at)) => starts[member] = Some(at),
                None => break,
            }
        }
    }
    starts.into_iter().map(|at| at.unwrap_or(0.0)).collect()
}

/// How much of a stretch is speech, 0 to 1.
pub(super) fn covered(speech: &[(FileMs, FileMs)], from_ms: f64, to_ms: f64) -> f64 {
    let first = speech.partition_point(|(_, to)| (to.0 as f64) <= from_ms);
    let inside = speech[first..]
        .iter()
        .take_while(|(from, _)| (from.0 as f64) < to_ms);
    let sum: f64 = inside
        .map(|(from, to)| (to.0 as f64).min(to_ms) - (from.0 as f64).max(from_ms))
        .sum();
    sum / (to_ms - from_ms).max(1.0)
}
