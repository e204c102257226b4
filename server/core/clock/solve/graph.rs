//! What do the pairs say of each other, as measurements between parts?

use std::collections::BTreeMap;

use super::bodies::Bodies;
use super::copies::copies;
use super::parts::{Part, parts, shared};
use crate::clock::{Fix, Line, Member, Pair, Stretch};

/// Beside the scatter of its points no line's offset is better than this (one
/// standard deviation, ms): four samples at 16 kHz, for voices that move.
const LEAST_SIGMA_MS: f64 = 0.25;
/// No rate is better than this (one standard deviation, ppm): a crystal drifts
/// with its temperature.
const LEAST_SIGMA_PPM: f64 = 0.05;
/// The search alone knows the offset to about a frame (40 ms), and to this (one
/// standard deviation, ms) with room for a bad one.
const COARSE_SIGMA_MS: f64 = 60.0;
/// What is known of a rate beforehand, ppm: see [`super::RATE_SIGMA_PPM`].
const NO_SIGMA_PPM: f64 = 150.0;
/// A person's "these two are the same" is met exactly (ms).
const FIX_SIGMA_MS: f64 = 0.01;

/// One measurement: the same instants in two parts, on their bodies' times.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub a: usize,
    pub b: usize,
    pub line: Line,
    /// One standard deviation of the line at its anchor, ms.
    pub sigma_ms: f64,
    /// And of its rate, ppm; `None` where it says nothing of the rate.
    pub sigma_ppm: Option<f64>,
    /// How much it counts when edges contradict each other.
    pub heft: f64,
    /// The members it comes from.
    pub pair: (usize, usize),
    /// Said by a person.
    pub by_hand: bool,
}

/// Parts and what is measured between them.
pub(super) struct Graph {
    pub bodies: Bodies,
    pub parts: Vec<Part>,
    pub edges: Vec<Edge>,
    /// The first part of each body.
    first: Vec<usize>,
}

impl Graph {
    pub fn new(members: &[Member], pairs: &BTreeMap<(usize, usize), Pair>) -> Self {
        let bodies = Bodies::with_copies(members, copies(pairs));
        let parts = parts(&bodies, pairs);
        let mut first = vec![0; bodies.list.len()];
        for (n, part) in parts.iter().enumerate().rev() {
            first[part.body] = n;
        }
        let mut graph = Self {
            bodies,
            parts,
            edges: Vec::new(),
            first,
        };
        for (&pair, found) in shared(&graph.bodies, pairs) {
            let edges = found.stretches.iter().filter_map(|s| graph.edge(pair, s));
            let edges: Vec<Edge> = edges.collect();
            graph.edges.extend(edges);
        }
        for (n, member) in members.iter().enumerate() {
            if let Some(Fix::Same {
                file_ms,
                other,
                other_file_ms,
            }) = member.fix
            {
                let edge = graph.same(n, file_ms, other, other_file_ms);
                graph.edges.extend(edge);
            }
        }
        graph
    }

    /// The members of bodies.
    pub fn members(&self, bodies: &[usize]) -> Vec<usize> {
        let inside = bodies
            .iter()
            .flat_map(|&body| &self.bodies.list[body].members);
        inside.map(|(n, _)| *n).collect()
    }

    /// The part a member is in at a time of its file.
    pub fn part(&self, member: usize, file_ms: f64) -> usize {
        let (body, base) = self.bodies.of[member];
        let at = base + file_ms;
        let first = self.first[body];
        let after = self.parts[first + 1..].iter();
        first
            + after
                .take_while(|part| part.body == body && part.from_ms <= at)
                .count()
    }

    fn edge(&self, (a, b): (usize, usize), stretch: &Stretch) -> Option<Edge> {
        let middle = 0.5 * (stretch.from_ms + stretch.to_ms);
        let (from_a, from_b) = (self.bodies.of[a].1, self.bodies.of[b].1);
        let line = stretch.line;
        let sane = [line.here_ms, line.there_ms, line.ppm, middle];
        if !sane.iter().all(|x| x.is_finite()) || line.ppm.abs() > 300_000.0 {
            return None;
        }
        let length = (stretch.to_ms - stretch.from_ms).max(1_000.0);
        let (sigma_ms, sigma_ppm, heft) = match stretch.fine {
            Some(fine) => (
                (fine.uncertainty_ms / 1.96).hypot(LEAST_SIGMA_MS),
                (fine.ppm_uncertainty / 1.96).hypot(LEAST_SIGMA_PPM),
                f64::from(fine.points) * fine.agreement,
            ),
            // Two ends known to a frame each.
            None => (
                COARSE_SIGMA_MS,
                (COARSE_SIGMA_MS * 2.0 / length * 1e6).min(NO_SIGMA_PPM),
                0.2 * f64::from(stretch.blocks),
            ),
        };
        Some(Edge {
            a: self.part(a, middle),
            b: self.part(b, line.map(middle)),
            line: Line {
                here_ms: line.here_ms + from_a,
                there_ms: line.there_ms + from_b,
                ppm: line.ppm,
            },
            sigma_ms: if sigma_ms.is_finite() {
                sigma_ms
            } else {
                COARSE_SIGMA_MS
            },
            sigma_ppm: sigma_ppm.is_finite().then_some(sigma_ppm),
            heft: if heft.is_finite() {
                heft.max(0.01)
            } else {
                0.01
            },
            pair: (a, b),
            by_hand: false,
        })
    }

    fn same(&self, a: usize, file_ms: f64, b: usize, other_ms: f64) -> Option<Edge> {
        let known = b < self.bodies.of.len() && file_ms.is_finite() && other_ms.is_finite();
        if !known || self.bodies.of[a].0 == self.bodies.of[b].0 {
            return None;
        }
        Some(Edge {
            a: self.part(a, file_ms),
            b: self.part(b, other_ms),
            line: Line {
                here_ms: self.bodies.of[a].1 + file_ms,
                there_ms: self.bodies.of[b].1 + other_ms,
                ppm: 0.0,
            },
            sigma_ms: FIX_SIGMA_MS,
            sigma_ppm: None,
            heft: 1e9,
            pair: (a, b),
            by_hand: true,
        })
    }
}
