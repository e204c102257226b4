//! What do the measurements that count tie together?

use super::graph::Graph;
use super::state::State;
use super::union::Union;

/// What must be solved together: parts tied by edges, and parts of one body, whose
/// rate they share.
#[derive(Clone, Debug, Default)]
pub(super) struct Block {
    pub parts: Vec<usize>,
    pub bodies: Vec<usize>,
    /// Those that count; at least one.
    pub edges: Vec<usize>,
}

/// Sets of parts, from edges whose weight is above 0.
pub(super) struct Ties {
    /// For each part, one that stands for all that are on one clock with it.
    pub home: Vec<usize>,
    /// The same for what must be solved together.
    pub solved_with: Vec<usize>,
    /// Sets of the second kind that have edges.
    pub blocks: Vec<Block>,
}

impl Ties {
    pub fn new(graph: &Graph, weights: &[f64]) -> Self {
        let count = graph.parts.len();
        let live: Vec<usize> = (0..graph.edges.len())
            .filter(|&n| weights[n] > 0.0)
            .collect();
        let mut clocks = Union::new(count);
        for &n in &live {
            clocks.join(graph.edges[n].a, graph.edges[n].b);
        }
        let mut sums = clocks.clone();
        for part in 1..count {
            if graph.parts[part].body == graph.parts[part - 1].body {
                sums.join(part - 1, part);
            }
        }
        let home: Vec<usize> = (0..count).map(|part| clocks.root(part)).collect();
        let solved_with: Vec<usize> = (0..count).map(|part| sums.root(part)).collect();
        let mut number = vec![None; count];
        let mut blocks: Vec<Block> = Vec::new();
        for &n in &live {
            let index = *number[solved_with[graph.edges[n].a]].get_or_insert_with(|| {
                blocks.push(Block::default());
                blocks.len() - 1
            });
            blocks[index].edges.push(n);
        }
        for part in 0..count {
            if let Some(block) = number[solved_with[part]].map(|n: usize| &mut blocks[n]) {
                let body = graph.parts[part].body;
                block.parts.push(part);
                // Parts are in order of bodies.
                if block.bodies.last() != Some(&body) {
                    block.bodies.push(body);
                }
            }
        }
        Self {
            home,
            solved_with,
            blocks,
        }
    }

    /// The parts that stay where they are: what is held, and of each clock where
    /// nothing is, the heaviest.
    pub fn resting(&self, state: &State, heaviest: &[usize]) -> Vec<bool> {
        let mut rest = state.held.clone();
        let mut has = vec![false; self.home.len()];
        for (part, &home) in self.home.iter().enumerate() {
            has[home] |= rest[part];
        }
        for &part in heaviest {
            rest[part] |= !std::mem::replace(&mut has[self.home[part]], true);
        }
        rest
    }
}
