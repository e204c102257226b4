//! What should a person know about this?

use std::collections::{BTreeMap, BTreeSet};

use super::Whole;
use super::copies::copy;
use super::fixes::disputes;
use super::stamps;
use super::start::{WRONG_PPM, likely};
use crate::clock::{Finding, Member, Pair, Placed, Warning};

/// Warnings of single members go to them, those of the whole are returned.
pub(super) fn told(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    whole: &Whole,
    placed: &mut [Placed],
) -> Vec<Warning> {
    let (graph, state, lots) = (&whole.graph, &whole.state, &whole.lots);
    let mut of_all = Vec::new();
    let mut mute = BTreeSet::new();
    for (&(a, b), pair) in pairs {
        if a >= members.len() || b >= members.len() {
            continue;
        }
        if pair.finding == Finding::Tie {
            of_all.push(Warning::Tie { a, b });
        }
        if let Some((_, fine)) = copy(pair) {
            placed[b].warnings.push(Warning::Copy {
                member: b,
                of: a,
                gain_db: fine.gain_db,
            });
        }
        mute.extend(pair.mute.0.then_some(a));
        mute.extend(pair.mute.1.then_some(b));
    }
    contradictions(members, pairs, whole, placed, &mut of_all);
    for (member, place) in placed.iter_mut().enumerate() {
        let (body, base) = graph.bodies.of[member];
        let length = super::bodies::length(&members[member]);
        for &n in lots.parts[body].iter().skip(1) {
            let part = &graph.parts[n];
            if part.from_ms > base && part.from_ms < base + length {
                place.warnings.push(Warning::Jump {
                    member,
                    at_ms: part.from_ms - base,
                    lost_ms: part.lost_ms,
                });
            }
        }
        let rate = state.rate[body];
        if rate.abs() * 1e6 > WRONG_PPM {
            place.warnings.push(Warning::WrongRate {
                member,
                ppm: (-rate).exp_m1() * 1e6,
                likely_hz: likely(rate),
            });
        }
    }
    for warning in stamps::disagreements(members, placed) {
        if let Warning::StampDisagrees { member, .. } = warning {
            placed[member].warnings.push(warning);
        }
    }
    for member in mute {
        placed[member].warnings.push(Warning::Unreadable { member });
    }
    of_all
}

/// People that the sound contradicts, and edges that were thrown out for another
/// reason.
fn contradictions(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    whole: &Whole,
    placed: &mut [Placed],
    of_all: &mut Vec<Warning>,
) {
    let disputes = disputes(members, pairs, whole);
    let body = |n: usize| whole.graph.bodies.of[n].0;
    let mut disputed = BTreeSet::new();
    for &(member, by_ms) in &disputes.list {
        placed[member]
            .warnings
            .push(Warning::FixDisagrees { member, by_ms });
        disputed.insert(body(member));
    }
    let edges = whole.graph.edges.iter().zip(&whole.adjusted.used);
    for (n, (edge, _)) in edges.enumerate().filter(|(_, (_, used))| !**used) {
        let (a, b) = edge.pair;
        // Said already if it is the fix that contradicts.
        let said = disputed.contains(&body(a)) || disputed.contains(&body(b));
        if !(said && disputes.heard.get(n) == Some(&true)) {
            let by_ms = whole.state.off(&whole.graph, edge).abs();
            of_all.push(Warning::Outlier { a, b, by_ms });
        }
    }
}
