//! Which one place of every recording agrees with everything that was measured?
//!
//! In: what each pair of recordings says of itself, what is rigid (channels of one
//! file, pieces of one take), what a person said, stamps, and where things lay
//! before. Out: a place for each recording and what is odd.
//!
//! - [`bodies`]: what is rigid; [`parts`]: bodies cut where a recorder stopped.
//! - [`graph`]: measurements between parts; [`state`]: where parts lie, what is held.
//! - [`start`]: a first guess along the pairs that close the most triangles.
//! - [`adjust`]: all of it by reweighted least squares; [`normal`]: its algebra.
//! - [`lots`]: what hangs together; [`stamps`]: what only stamps can place;
//!   [`told`]: what a person should know.

mod adjust;
mod bodies;
mod graph;
mod lots;
mod normal;
mod parts;
mod stamps;
mod start;
mod state;
#[cfg(test)]
mod tests;
mod told;
mod union;

use std::collections::BTreeMap;

use super::{Finding, Fix, How, Member, Pair, Placed, Warning};
use adjust::{Adjusted, adjust};
use bodies::Bodies;
use graph::Graph;
use lots::Lots;
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
    let mut graph = Graph::new(members, pairs);
    let mut state = State::held(&mut graph, members);
    start::first_guess(&graph, &mut state);
    let adjusted = adjust(&graph, &mut state);
    for ((a, b), pair) in pairs.iter_mut() {
        let used = graph.edges.iter().zip(&adjusted.used);
        pair.used = used
            .filter(|(edge, _)| edge.pair == (*a, *b) && !edge.by_hand)
            .any(|(_, used)| *used);
    }
    for key in rigid(members) {
        if let Some(pair) = pairs.get_mut(&key) {
            pair.used = pair.finding == Finding::Shared;
        }
    }
    let lots = Lots::new(&graph, &state, &adjusted);
    let mut placed = placed(members, pairs, &graph, &state, &adjusted, &lots);
    number_islands(members, &graph, &lots, &mut placed);
    let warnings = told::told(
        members,
        pairs,
        &graph,
        &state,
        &adjusted,
        &lots,
        &mut placed,
    );
    (placed, warnings)
}

/// Pairs of members (a < b) that are tied by sample count.
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
    graph: &Graph,
    state: &State,
    adjusted: &Adjusted,
    lots: &Lots,
) -> Vec<Placed> {
    let place = |(n, member): (usize, &Member)| {
        let own = Own::of(n, graph, pairs);
        let (body, _) = graph.bodies.of[n];
        let parts = &lots.parts[body];
        let uncertain = parts.iter().map(|&part| adjusted.uncertainty_ms[part]);
        let by_hand = |edge: &&graph::Edge| {
            edge.by_hand && parts.iter().any(|&part| part == edge.a || part == edge.b)
        };
        let how = if member.fix.is_some() {
            How::ByHand
        } else if own.used {
            How::Sound
        } else if graph.bodies.list[body].members.len() > 1 {
            How::Joined
        } else if graph.edges.iter().any(|edge| by_hand(&edge)) {
            How::ByHand
        } else {
            How::Unplaced
        };
        Placed {
            placement: lots.placement(graph, state, n, member),
            island: 0,
            how,
            uncertainty_ms: Some(uncertain.fold(0.0, f64::max)).filter(|x| x.is_finite()),
            agreement: own.agreement,
            residual_ms: own.residual_ms,
            points: own.points,
            warnings: Vec::new(),
        }
    };
    members.iter().enumerate().map(place).collect()
}

/// What the fine points of a member's used pairs say together.
#[derive(Default)]
struct Own {
    used: bool,
    points: u32,
    agreement: Option<f64>,
    residual_ms: Option<f64>,
}

impl Own {
    fn of(member: usize, graph: &Graph, pairs: &BTreeMap<(usize, usize), Pair>) -> Self {
        let mut own = Self::default();
        let (mut agree, mut residual, mut weight) = (0.0, 0.0, 0.0);
        for (&(a, b), pair) in pairs {
            if a.max(b) >= graph.bodies.of.len() {
                continue;
            }
            let tied = graph.bodies.of[a].0 == graph.bodies.of[b].0;
            if tied || !pair.used || (a != member && b != member) {
                continue;
            }
            own.used = true;
            for fine in pair.stretches.iter().filter_map(|stretch| stretch.fine) {
                let points = f64::from(fine.points);
                own.points += fine.points;
                agree += points * fine.agreement;
                residual += points * fine.residual_ms;
                weight += points;
            }
        }
        own.agreement = (weight > 0.0).then(|| agree / weight);
        own.residual_ms = (weight > 0.0).then(|| residual / weight);
        own
    }
}

/// The event clock for what is on it, by sound, by hand or by stamp; an island for
/// every other lot. Moves whole lots only.
fn number_islands(members: &[Member], graph: &Graph, lots: &Lots, placed: &mut [Placed]) {
    let inside = |lot: usize| -> Vec<usize> {
        let bodies = lots.list[lot].bodies.iter();
        bodies
            .flat_map(|&body| graph.bodies.list[body].members.iter().map(|(n, _)| *n))
            .collect()
    };
    let alone = lots.list.len() == 1;
    let sound = lots.main();
    let main = sound.or_else(|| stamped(members, lots, &inside));
    let mut stays = members
        .iter()
        .any(|m| matches!(m.fix, Some(Fix::Start { .. })));
    let mut on_clock = Vec::new();
    if let Some(main) = main {
        on_clock = inside(main);
        stays |= lots.list[main].held;
        for &n in &on_clock {
            let lone = placed[n].how == How::Unplaced;
            placed[n].how = match (&members[n].before, lone) {
                (_, false) => placed[n].how,
                (Some(before), true) if before.island == 0 && before.how != How::Unplaced => {
                    before.how
                }
                (_, true) if alone => How::Sound,
                (_, true) => How::Stamp,
            };
        }
    }
    let reference = on_clock.clone();
    let mut rest = Vec::new();
    for lot in (0..lots.list.len()).filter(|lot| Some(*lot) != main) {
        let inside = inside(lot);
        match stamps::by_stamp(members, placed, &inside, &reference) {
            Some((by, within)) => {
                for &n in &inside {
                    let old = &mut placed[n];
                    old.placement = old.placement.later(by);
                    old.how = How::Stamp;
                    old.uncertainty_ms = Some(old.uncertainty_ms.unwrap_or(0.0).hypot(within));
                }
                on_clock.extend(inside);
            }
            None => rest.push(inside),
        }
    }
    if !stays {
        shift_to_zero(&on_clock, placed);
    }
    let mut taken: Vec<u32> = vec![0];
    let mut order: Vec<(Option<u32>, Vec<usize>)> = Vec::new();
    for inside in rest {
        shift_to_before(members, &inside, placed);
        let before = inside
            .iter()
            .find_map(|&n| members[n].before.as_ref().map(|b| b.island));
        order.push((before.filter(|&n| n > 0), inside));
    }
    order.sort_by_key(|(before, _)| before.unwrap_or(u32::MAX));
    for (before, inside) in order {
        let free = (1..).find(|n| !taken.contains(n)).unwrap_or(u32::MAX);
        let island = before.filter(|n| !taken.contains(n)).unwrap_or(free);
        taken.push(island);
        for &n in &inside {
            placed[n].island = island;
            if placed[n].how == How::Unplaced {
                placed[n].uncertainty_ms = None;
            }
        }
    }
}

/// Where no two share sound: the longest recording of the source with the most
/// recordings that stamps can place against each other.
fn stamped(members: &[Member], lots: &Lots, inside: &dyn Fn(usize) -> Vec<usize>) -> Option<usize> {
    let ranks = |n: usize| {
        members[n]
            .stamps
            .iter()
            .map(move |s| (members[n].source, s.rank))
    };
    let company = |lot: usize| {
        let mine = inside(lot);
        let with = |n: usize| {
            mine.iter()
                .any(|&m| ranks(m).any(|r| ranks(n).any(|o| o == r)))
        };
        (0..members.len())
            .filter(|n| !mine.contains(n) && with(*n))
            .count()
    };
    let lots_with = (0..lots.list.len())
        .map(|lot| (company(lot), lot))
        .filter(|(n, _)| *n > 0);
    lots_with
        .max_by(|x, y| {
            x.0.cmp(&y.0).then(
                lots.list[x.1]
                    .length_ms
                    .total_cmp(&lots.list[y.1].length_ms),
            )
        })
        .map(|(_, lot)| lot)
}

fn shift_to_zero(inside: &[usize], placed: &mut [Placed]) {
    let starts = inside.iter().map(|&n| placed[n].placement.start_ms());
    let first = starts.fold(f64::MAX, f64::min);
    if first.is_finite() && first < f64::MAX {
        for &n in inside {
            placed[n].placement = placed[n].placement.later(-first);
        }
    }
}

/// An island keeps its zero while the first of those that were on it is there.
fn shift_to_before(members: &[Member], inside: &[usize], placed: &mut [Placed]) {
    let old = inside.iter().find_map(|&n| {
        let before = members[n]
            .before
            .as_ref()
            .filter(|before| before.island > 0)?;
        Some(before.placement.start_ms() - placed[n].placement.start_ms())
    });
    match old.filter(|by| by.is_finite()) {
        Some(by) => {
            for &n in inside {
                placed[n].placement = placed[n].placement.later(by);
            }
        }
        None => shift_to_zero(inside, placed),
    }
}
