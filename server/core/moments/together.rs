//! Were these two recorders at one place at that time?
//!
//! Only sound can say so: it is the same sound when it is alike where the clock says.
//! So a recording that is placed by a rough stamp never takes part in the moments of
//! others, unless it lies right.

use std::cell::RefCell;
use std::collections::HashMap;

use super::kinds::{Hearer, Sound};
use super::params::MomentParams;
use crate::units::FileMs;

/// Likeness is looked at in stretches of this length, ms.
const CELL_MS: i64 = 5_000;

/// Least speech in a stretch that says anything, ms.
const LEAST_MS: i64 = 300;

/// What was found of two recordings in one stretch.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    /// Speech it was found on, ms.
    weight: f32,
    alike: f32,
}

/// Answers the question, and remembers what it took to.
pub(super) struct Together<'a> {
    hearers: &'a [Hearer<'a>],
    sound: &'a dyn Sound,
    params: &'a MomentParams,
    /// Speech of each hearer per cell, ms.
    spoken: Vec<HashMap<i64, i64>>,
    seen: RefCell<HashMap<(usize, usize, i64), Seen>>,
}

impl<'a> Together<'a> {
    /// Knows nothing yet.
    pub fn new(hearers: &'a [Hearer<'a>], sound: &'a dyn Sound, params: &'a MomentParams) -> Self {
        let spoken = hearers.iter().map(spoken).collect();
        Self {
            hearers,
            sound,
            params,
            spoken,
            seen: RefCell::default(),
        }
    }

    /// Whether they were, at event time `at`.
    pub fn at(&self, a: usize, b: usize, at: i64) -> bool {
        if a == b {
            return true;
        }
        self.hearers[a].island == self.hearers[b].island
            && self.alike(a, b, at) >= self.params.alike
    }

    /// Whether they were, within `within_ms` of `at`.
    pub fn about(&self, a: usize, b: usize, at: i64, within_ms: i64) -> bool {
        (-within_ms / CELL_MS..=within_ms / CELL_MS)
            .any(|n| self.at(a, b, at.saturating_add(n * CELL_MS)))
    }

    /// Likeness about `at`, weighted with the speech it was found on; 0 without.
    fn alike(&self, a: usize, b: usize, at: i64) -> f32 {
        let (a, b) = (a.min(b), a.max(b));
        let middle = at.div_euclid(CELL_MS);
        let reach = self.params.smooth_ms.max(0) / CELL_MS;
        let (mut sum, mut weights) = (0.0, 0.0);
        for cell in middle.saturating_sub(reach)..=middle.saturating_add(reach) {
            let seen = self.seen(a, b, cell);
            // Nearer says more.
            let near = 1.0 - (cell - middle).abs() as f32 / (reach + 1) as f32;
            sum += near * seen.weight * seen.alike;
            weights += near * seen.weight;
        }
        if weights > 0.0 { sum / weights } else { 0.0 }
    }

    fn seen(&self, a: usize, b: usize, cell: i64) -> Seen {
        let speech = |n: usize| self.spoken[n].get(&cell).copied().unwrap_or(0);
        let weight = speech(a).max(speech(b));
        if weight < LEAST_MS {
            return Seen::default();
        }
        if let Some(seen) = self.seen.borrow().get(&(a, b, cell)) {
            return *seen;
        }
        let seen = self.look(a, b, cell).map_or(Seen::default(), |alike| Seen {
            weight: weight as f32,
            alike,
        });
        self.seen.borrow_mut().insert((a, b, cell), seen);
        seen
    }

    fn look(&self, a: usize, b: usize, cell: i64) -> Option<f32> {
        let (from, to) = ((cell * CELL_MS) as f64, ((cell + 1) * CELL_MS) as f64);
        let (x, y) = (&self.hearers[a], &self.hearers[b]);
        let file = |hearer: &Hearer, at: f64| hearer.placement.file_at(at).round() as i64;
        let (a_from, a_to) = (file(x, from), file(x, to));
        let b_from = file(y, from);
        let rate = |hearer: &Hearer| 1.0 + hearer.placement.ppm() / 1e6;
        self.sound.alike(
            a,
            FileMs(a_from),
            FileMs(a_to.max(a_from)),
            b,
            FileMs(b_from),
            rate(y) / rate(x),
        )
    }
}

fn spoken(hearer: &Hearer) -> HashMap<i64, i64> {
    let mut cells = HashMap::new();
    for segment in hearer.segments {
        let start = hearer.placement.to_event(segment.start).0;
        let end = hearer.placement.to_event(segment.end).0;
        let mut at = start;
        while at < end {
            let cell = at.div_euclid(CELL_MS);
            let until = ((cell + 1) * CELL_MS).min(end);
            *cells.entry(cell).or_insert(0) += until - at;
            at = until;
        }
    }
    cells
}
