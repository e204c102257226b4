//! All times and rates at once, so that every loop closes as well as it can.

use super::RATE_SIGMA_PPM;
use super::doubt::doubts;
use super::graph::{Edge, Graph};
use super::normal::Normal;
use super::start::heaviest_first;
use super::state::State;
use super::ties::{Block, Ties};
use super::union::Union;

/// Measurements that miss by more are of another sound, ms: distances of up to 34 m
/// make 100 ms, and each of two pairs may have its own.
const OUTLIER_MS: f64 = 150.0;
/// Rates that miss by more say nothing, ppm.
const OUTLIER_PPM: f64 = 60.0;

/// What the measurements leave open.
pub(super) struct Adjusted {
    /// Whether each edge agrees with the whole.
    pub used: Vec<bool>,
    /// Half of the 95 % interval of the event time of any instant, for each part,
    /// ms; `None` where nothing ties it to its clock.
    pub uncertainty_ms: Vec<Option<f64>>,
}

/// Numbers of what is asked for, each within its own block; `None` for what is not.
pub(super) struct Unknowns {
    pub part: Vec<Option<usize>>,
    pub body: Vec<Option<usize>>,
    /// How many each block has.
    pub counts: Vec<usize>,
}

impl Unknowns {
    /// All of the blocks but what is fixed.
    pub fn new(graph: &Graph, blocks: &[Block], parts: &[bool], bodies: &[bool]) -> Self {
        let mut new = Self {
            part: vec![None; parts.len()],
            body: vec![None; graph.bodies.list.len()],
            counts: Vec::with_capacity(blocks.len()),
        };
        for block in blocks {
            let mut count = 0;
            let mut next = || {
                count += 1;
                Some(count - 1)
            };
            for &part in block.parts.iter().filter(|&&part| !parts[part]) {
                new.part[part] = next();
            }
            for &body in block.bodies.iter().filter(|&&body| !bodies[body]) {
                new.body[body] = next();
            }
            new.counts.push(count);
        }
        new
    }

    /// How an edge's offset depends on the unknowns: ms for each ms and ppm.
    fn offset(&self, graph: &Graph, state: &State, edge: &Edge) -> Vec<(usize, f64)> {
        let mut terms = Vec::with_capacity(4);
        let ends = [
            (edge.a, edge.line.here_ms, 1.0),
            (edge.b, edge.line.there_ms, -1.0),
        ];
        for (part, at, sign) in ends {
            let place = &graph.parts[part];
            terms.extend(self.part[part].map(|n| (n, sign)));
            let ms_per_ppm = (at - place.at_ms) * state.rate[place.body].exp() / 1e6;
            terms.extend(self.body[place.body].map(|n| (n, sign * ms_per_ppm)));
        }
        terms
    }

    fn rate(&self, graph: &Graph, edge: &Edge) -> Vec<(usize, f64)> {
        let of = |part: usize| self.body[graph.parts[part].body];
        let ends = [(of(edge.a), 1.0), (of(edge.b), -1.0)];
        ends.iter()
            .filter_map(|&(n, sign)| n.map(|n| (n, sign)))
            .collect()
    }
}

/// How much more than their own scatter the measurements contradict each other.
#[derive(Clone, Copy, Default)]
pub(super) struct Excess {
    ms: f64,
    ppm: f64,
}

/// Iterates weighted least squares with Tukey's bisquare on each edge (Gauss-Newton;
/// the rates enter by their exponential), block by block. Moves what is not held.
pub(super) fn adjust(graph: &Graph, state: &mut State) -> Adjusted {
    let heaviest = heaviest_first(graph);
    let mut excess = Excess::default();
    for round in 0..15 {
        let weights = weights(graph, state);
        let ties = Ties::new(graph, &weights);
        let rest = ties.resting(state, &heaviest);
        let unknowns = Unknowns::new(graph, &ties.blocks, &rest, &state.held_rate);
        if round >= 3 {
            excess = measured_excess(graph, state, &ties, &unknowns);
        }
        let mut moved = 0.0_f64;
        for (block, &count) in ties.blocks.iter().zip(&unknowns.counts) {
            let normal = equations(graph, state, block, (&unknowns, count), &weights, excess);
            let step = normal.solve(&normal.factor());
            for &part in &block.parts {
                if let Some(n) = unknowns.part[part] {
                    state.event[part] += step[n];
                    moved = moved.max(step[n].abs());
                }
            }
            for &body in &block.bodies {
                if let Some(n) = unknowns.body[body] {
                    state.rate[body] += (step[n] / 1e6).clamp(-0.1, 0.1);
                }
            }
        }
        if round > 5 && moved < 1e-4 {
            break;
        }
    }
    let weights = weights(graph, state);
    Adjusted {
        used: weights.iter().map(|weight| *weight > 0.0).collect(),
        uncertainty_ms: doubts(graph, state, &heaviest, &weights, excess),
    }
}

/// Tukey's weight of each edge by its offset; what a person said counts in full.
fn weights(graph: &Graph, state: &State) -> Vec<f64> {
    let weight = |edge: &Edge| {
        if edge.by_hand {
            return 1.0;
        }
        bisquare(state.off(graph, edge) / (OUTLIER_MS + 3.0 * edge.sigma_ms))
    };
    graph.edges.iter().map(weight).collect()
}

/// And of its rate alone: that of a short stretch, heard from two places, may be far
/// off while its offset is right.
fn rate_weight(graph: &Graph, state: &State, edge: &Edge, sigma_ppm: f64) -> f64 {
    bisquare(state.rate_off(graph, edge) / (OUTLIER_PPM + 3.0 * sigma_ppm))
}

fn bisquare(u: f64) -> f64 {
    (1.0 - u * u).max(0.0).powi(2)
}

/// What the edges of a block say of its unknowns, with their count.
pub(super) fn equations(
    graph: &Graph,
    state: &State,
    block: &Block,
    (unknowns, count): (&Unknowns, usize),
    weights: &[f64],
    excess: Excess,
) -> Normal {
    let mut normal = Normal::new(count);
    for &n in &block.edges {
        let (edge, weight) = (&graph.edges[n], weights[n]);
        let more = if edge.by_hand { 0.0 } else { excess.ms };
        let square = edge.sigma_ms.powi(2) + more * more;
        let terms = unknowns.offset(graph, state, edge);
        normal.add(&terms, -state.off(graph, edge), weight / square);
        if let Some(sigma) = edge.sigma_ppm {
            let square = sigma * sigma + excess.ppm * excess.ppm;
            let terms = unknowns.rate(graph, edge);
            let weight = weight * rate_weight(graph, state, edge, sigma);
            normal.add(&terms, -state.rate_off(graph, edge), weight / square);
        }
    }
    for &body in &block.bodies {
        if let Some(n) = unknowns.body[body] {
            let off = (state.nominal[body] - state.rate[body]) * 1e6;
            normal.add(&[(n, 1.0)], off, RATE_SIGMA_PPM.powi(-2));
        }
    }
    normal
}

/// What is left over in loops beyond each edge's own scatter: voices at other
/// distances for each pair. A robust deviation, corrected for the freedom used up.
fn measured_excess(graph: &Graph, state: &State, ties: &Ties, unknowns: &Unknowns) -> Excess {
    let live = || {
        let inside = ties.blocks.iter().flat_map(|block| &block.edges);
        inside.map(|&n| &graph.edges[n])
    };
    let rows_of = |edge: &Edge| 1 + usize::from(edge.sigma_ppm.is_some());
    let heard = || live().filter(|edge| !edge.by_hand);
    let rows: usize = heard().map(rows_of).sum();
    let all: usize = live().map(rows_of).sum::<usize>() + free_rates(graph, state, ties, unknowns);
    let freedom = all.saturating_sub(unknowns.counts.iter().sum());
    if freedom == 0 {
        return Excess::default();
    }
    let grow = (rows as f64 / freedom as f64).sqrt();
    let spread = |offs: Vec<f64>| 1.4826 * crate::clock::fit::median(offs) * grow;
    let rated = heard().filter(|edge| edge.sigma_ppm.is_some());
    Excess {
        ms: spread(heard().map(|edge| state.off(graph, edge).abs()).collect()),
        ppm: spread(
            rated
                .map(|edge| state.rate_off(graph, edge).abs())
                .collect(),
        ),
    }
}

/// Bodies whose rates are measured against each other have one in common that only
/// what is known beforehand says: the number of such sets.
fn free_rates(graph: &Graph, state: &State, ties: &Ties, unknowns: &Unknowns) -> usize {
    let mut together = Union::new(graph.bodies.list.len());
    for &n in ties.blocks.iter().flat_map(|block| &block.edges) {
        let edge = &graph.edges[n];
        if edge.sigma_ppm.is_some() {
            together.join(graph.parts[edge.a].body, graph.parts[edge.b].body);
        }
    }
    let mut counted = vec![false; graph.bodies.list.len()];
    for (body, _) in state
        .held_rate
        .iter()
        .enumerate()
        .filter(|(_, held)| **held)
    {
        counted[together.root(body)] = true;
    }
    let asked = (0..counted.len()).filter(|&body| unknowns.body[body].is_some());
    asked
        .filter(|&body| !std::mem::replace(&mut counted[together.root(body)], true))
        .count()
}
