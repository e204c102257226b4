//! Which one place of every recording agrees with everything that was measured?
//!
//! In: what each pair of recordings says of itself, what is rigid (channels of one
//! file, pieces of one take), what a person said, stamps, and where things lay
//! before. Out: a place for each recording and what is odd.
//!
//! - [`bodies`]: what is rigid, [`copies`] too; [`parts`]: bodies cut where a recorder
//!   stopped.
//! - [`graph`]: measurements between parts; [`state`]: where parts lie, what is held.
//! - [`start`]: a first guess along the pairs that close the most triangles.
//! - [`adjust`]: all of it by reweighted least squares; [`ties`]: what must be solved
//!   at once; [`normal`]: its algebra; [`doubt`]: how sure it is.
//! - [`lots`]: what hangs together; [`islands`]: on which clock; [`stamps`]: what only
//!   stamps can place; [`measured`]: what the points of a recording say.
//! - [`told`]: what a person should know; [`fixes`]: where one is contradicted.

mod adjust;
mod bodies;
mod copies;
mod doubt;
mod fixes;
mod graph;
mod islands;
mod lots;
mod measured;
mod normal;
mod parts;
mod stamps;
mod start;
mod state;
#[cfg(test)]
mod tests;
mod ties;
mod told;
mod union;

use std::collections::{BTreeMap, BTreeSet};

use super::{Finding, How, Member, Pair, Placed, Placement, Warning};
use adjust::{Adjusted, adjust};
use bodies::Bodies;
use graph::{Edge, Graph};
use islands::number_islands;
use lots::Lots;
use measured::Measured;
use state::State;

/// What is known of a recorder's rate before anything is measured: crystals sold as
/// ±20 to ±100 ppm, so most lie within ±60 (one standard deviation, ppm).
pub(super) const RATE_SIGMA_PPM: f64 = 60.0;

/// Places for all members, and what is odd about the whole. Sets for each pair
/// whether it was used.
pub(super) fn solve(
    members: &[Member],
    pairs: &mut BTreeMap<(usize, usize), Pair>,
) -> (Vec<Placed>, Vec<Warning>) {
    if members.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let whole = Whole::of(members, pairs);
    let mut used: BTreeSet<(usize, usize)> = BTreeSet::new();
    for (edge, _) in whole.used_edges().filter(|(edge, _)| !edge.by_hand) {
        used.insert(edge.pair);
    }
    let bodies = &whole.graph.bodies;
    for ((a, b), pair) in pairs.iter_mut() {
        let of = (bodies.of.get(*a), bodies.of.get(*b));
        let tied = matches!(of, (Some((a, _)), Some((b, _))) if a == b);
        pair.used = used.contains(&(*a, *b)) || (tied && pair.finding == Finding::Shared);
    }
    let mut placed = placed(members, pairs, &whole);
    number_islands(members, &whole.graph, &whole.lots, &mut placed);
    let warnings = told::told(members, pairs, &whole, &mut placed);
    (placed, warnings)
}

/// All that was measured and said, and the places that agree with it.
struct Whole {
    graph: Graph,
    state: State,
    adjusted: Adjusted,
    lots: Lots,
}

impl Whole {
    /// A body that alone is left of what lay on the event clock before lies there
    /// still if others are tied to it; otherwise that clock is another's.
    fn of(members: &[Member], pairs: &BTreeMap<(usize, usize), Pair>) -> Self {
        let whole = Self::solved(members, pairs, true);
        let Some(lone) = whole.state.lone else {
            return whole;
        };
        let of = |part: usize| whole.graph.parts[part].body;
        if whole
            .used_edges()
            .any(|(e, _)| of(e.a) == lone || of(e.b) == lone)
        {
            return whole;
        }
        Self::solved(members, pairs, false)
    }

    fn solved(members: &[Member], pairs: &BTreeMap<(usize, usize), Pair>, even_lone: bool) -> Self {
        let mut graph = Graph::new(members, pairs);
        let mut state = State::held(&mut graph, members, even_lone);
        start::first_guess(&graph, &mut state);
        let adjusted = adjust(&graph, &mut state);
        let lots = Lots::new(&graph, &state, &adjusted);
        Self {
            graph,
            state,
            adjusted,
            lots,
        }
    }

    fn used_edges(&self) -> impl Iterator<Item = (&Edge, &bool)> {
        let edges = self.graph.edges.iter().zip(&self.adjusted.used);
        edges.filter(|(_, used)| **used)
    }

    /// The parts a member is placed by.
    fn parts(&self, member: usize) -> &[usize] {
        &self.lots.parts[self.graph.bodies.of[member].0]
    }

    /// A member's place on its lot's clock.
    fn placement(&self, member: usize, known: &Member) -> Placement {
        self.lots.placement(&self.graph, &self.state, member, known)
    }

    /// Whether two members are on one clock by sound or by hand.
    fn together(&self, a: usize, b: usize) -> bool {
        let lot = |n: usize| self.lots.of[self.graph.bodies.of[n].0];
        lot(a) == lot(b)
    }

    fn is_held(&self, member: usize) -> bool {
        self.parts(member).iter().any(|&part| self.state.held[part])
    }

    /// Half of the 95 % interval of any instant of a member, ms; `None` where not
    /// all of it is tied to its clock, or a part was measured to lie elsewhere.
    fn doubt_ms(&self, member: usize) -> Option<f64> {
        let body = self.graph.bodies.of[member].0;
        let left_out = |&part: &usize| {
            self.graph.parts[part].body == body && !self.lots.parts[body].contains(&part)
        };
        let mut ends = self.graph.edges.iter().flat_map(|edge| [edge.a, edge.b]);
        if ends.any(|part| left_out(&part)) {
            return None;
        }
        let parts = self.parts(member).iter();
        parts
            .map(|&part| self.adjusted.uncertainty_ms[part])
            .try_fold(0.0, |most: f64, ms| Some(most.max(ms?)))
    }
}

/// Pairs of members (a < b) that are tied by sample count, whatever they sound like.
pub(super) fn rigid(members: &[Member]) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    for body in Bodies::of(members).list {
        let mut inside: Vec<usize> = body.members.iter().map(|(n, _)| *n).collect();
        inside.sort_unstable();
        for (k, &a) in inside.iter().enumerate() {
            pairs.extend(inside[k + 1..].iter().map(|&b| (a, b)));
        }
    }
    pairs
}

/// Everyone on the clock of their own lot, island numbers still to come.
fn placed(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    whole: &Whole,
) -> Vec<Placed> {
    let graph = &whole.graph;
    let said = graph.edges.iter().filter(|edge| edge.by_hand);
    let beside: BTreeSet<usize> = said.flat_map(|edge| [edge.a, edge.b]).collect();
    let place = |(n, (member, measured)): (usize, (&Member, Measured))| {
        let (body, _) = graph.bodies.of[n];
        let how = if member.fix.is_some() {
            How::ByHand
        } else if measured.used {
            How::Sound
        } else if graph.bodies.list[body].members.len() > 1 {
            How::Joined
        } else if whole.parts(n).iter().any(|part| beside.contains(part)) {
            How::ByHand
        } else {
            How::Unplaced
        };
        Placed {
            placement: whole.placement(n, member),
            island: 0,
            how,
            uncertainty_ms: whole.doubt_ms(n),
            agreement: measured.agreement(),
            residual_ms: measured.residual_ms(),
            points: measured.points,
            warnings: Vec::new(),
        }
    };
    let measured = Measured::of(&graph.bodies, pairs);
    members
        .iter()
        .zip(measured)
        .enumerate()
        .map(place)
        .collect()
}
