//! What do the fine points of a recording say together?

use std::collections::BTreeMap;

use super::bodies::Bodies;
use crate::clock::Pair;

/// The used pairs of a member with others that are not rigid to it.
#[derive(Clone, Default)]
pub(super) struct Measured {
    /// Whether there is one.
    pub used: bool,
    pub points: u32,
    weight: f64,
    agree: f64,
    residual: f64,
}

impl Measured {
    /// For each member.
    pub fn of(bodies: &Bodies, pairs: &BTreeMap<(usize, usize), Pair>) -> Vec<Self> {
        let mut all = vec![Self::default(); bodies.of.len()];
        for (&(a, b), pair) in pairs.iter().filter(|(_, pair)| pair.used) {
            let (Some((of_a, _)), Some((of_b, _))) = (bodies.of.get(a), bodies.of.get(b)) else {
                continue;
            };
            if of_a != of_b {
                all[a].add(pair);
                all[b].add(pair);
            }
        }
        all
    }

    fn add(&mut self, pair: &Pair) {
        self.used = true;
        for fine in pair.stretches.iter().filter_map(|stretch| stretch.fine) {
            let points = f64::from(fine.points);
            self.points += fine.points;
            self.weight += points;
            self.agree += points * fine.agreement;
            self.residual += points * fine.residual_ms;
        }
    }

    /// Share of the points that agree, 0 to 1.
    pub fn agreement(&self) -> Option<f64> {
        (self.weight > 0.0).then(|| self.agree / self.weight)
    }

    /// Spread of the points that agree, ms.
    pub fn residual_ms(&self) -> Option<f64> {
        (self.weight > 0.0).then(|| self.residual / self.weight)
    }
}
