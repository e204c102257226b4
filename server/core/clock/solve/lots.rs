//! What hangs together, and on which clock does it lie?

use super::adjust::Adjusted;
use super::graph::Graph;
use super::state::State;
use super::union::Union;
use crate::clock::{Member, Piece, Placement};

/// Bodies that are on one clock by sound or by hand.
#[derive(Clone, Debug, Default)]
pub(super) struct Lot {
    pub bodies: Vec<usize>,
    /// Something in it is held on the event clock.
    pub held: bool,
    /// How long its bodies last together, ms.
    pub length_ms: f64,
}

/// Lots, and the parts each body is placed by.
pub(super) struct Lots {
    pub list: Vec<Lot>,
    /// The lot of each body.
    pub of: Vec<usize>,
    /// For each body, its parts that lie on its lot's clock, in order.
    pub parts: Vec<Vec<usize>>,
}

impl Lots {
    pub fn new(graph: &Graph, state: &State, adjusted: &Adjusted) -> Self {
        let count = graph.parts.len();
        let mut together = Union::new(count);
        let mut heft = vec![0.0; count];
        for (edge, used) in graph.edges.iter().zip(&adjusted.used) {
            if *used {
                together.join(edge.a, edge.b);
                heft[edge.a] += edge.heft;
                heft[edge.b] += edge.heft;
            }
        }
        let held: Vec<usize> = (0..count).filter(|&n| state.held[n]).collect();
        for two in held.windows(2) {
            together.join(two[0], two[1]);
        }
        // A body goes with its part that the most is known of.
        let mut parts: Vec<Vec<usize>> = vec![Vec::new(); graph.bodies.list.len()];
        for (n, part) in graph.parts.iter().enumerate() {
            parts[part.body].push(n);
        }
        let mut homes = Vec::with_capacity(parts.len());
        for inside in &mut parts {
            let key = |n: usize| {
                (
                    state.held[n],
                    heft[n],
                    graph.parts[n].to_ms - graph.parts[n].from_ms,
                )
            };
            let main = inside.iter().copied().max_by(|&x, &y| {
                let (x, y) = (key(x), key(y));
                x.0.cmp(&y.0)
                    .then(x.1.total_cmp(&y.1))
                    .then(x.2.total_cmp(&y.2))
            });
            let home = main.map_or(0, |n| together.root(n));
            inside.retain(|&n| together.root(n) == home);
            homes.push(home);
        }
        let mut list: Vec<Lot> = Vec::new();
        let mut number = vec![None; count];
        for (body, &home) in homes.iter().enumerate() {
            let index = *number[home].get_or_insert_with(|| {
                list.push(Lot::default());
                list.len() - 1
            });
            let lot = &mut list[index];
            lot.bodies.push(body);
            lot.held |= parts[body].iter().any(|&n| state.held[n]);
            lot.length_ms += graph.bodies.list[body].length_ms;
        }
        let mut of = vec![0; homes.len()];
        for (index, lot) in list.iter().enumerate() {
            for &body in &lot.bodies {
                of[body] = index;
            }
        }
        Self { list, of, parts }
    }

    /// The lot that is the event clock: what is held there, or the largest that
    /// shares sound; a lone body only when there is no other.
    pub fn main(&self) -> Option<usize> {
        if let Some(held) = self.list.iter().position(|lot| lot.held) {
            return Some(held);
        }
        if self.list.len() == 1 {
            return Some(0);
        }
        let several = self
            .list
            .iter()
            .enumerate()
            .filter(|(_, lot)| lot.bodies.len() > 1);
        several
            .max_by(|x, y| {
                let count = |lot: &Lot| lot.bodies.len();
                count(x.1)
                    .cmp(&count(y.1))
                    .then(x.1.length_ms.total_cmp(&y.1.length_ms))
            })
            .map(|(n, _)| n)
    }

    /// A member's place on its lot's clock.
    pub fn placement(
        &self,
        graph: &Graph,
        state: &State,
        member: usize,
        known: &Member,
    ) -> Placement {
        let (body, base) = graph.bodies.of[member];
        let end = base + super::bodies::length(known);
        let rate = state.rate[body];
        let piece = |n: usize, from_ms: f64| Piece {
            from_ms,
            event_ms: state.at(graph, n, base + from_ms),
            ppm: (-rate).exp_m1() * 1e6,
        };
        let mut pieces: Vec<Piece> = Vec::new();
        for &n in &self.parts[body] {
            let part = &graph.parts[n];
            if part.to_ms <= base && pieces.is_empty() {
                // Ends before this member starts, but may be all there is.
                continue;
            }
            if part.from_ms < end || pieces.is_empty() {
                pieces.push(piece(
                    n,
                    if pieces.is_empty() {
                        0.0
                    } else {
                        part.from_ms - base
                    },
                ));
            }
        }
        if pieces.is_empty() {
            pieces.extend(self.parts[body].last().map(|&n| piece(n, 0.0)));
        }
        let first: Vec<Piece> = pieces.first().copied().into_iter().collect();
        Placement::of_pieces(pieces)
            .or_else(|| Placement::of_pieces(first))
            .unwrap_or_else(|| Placement::even(0.0, 0.0))
    }
}
