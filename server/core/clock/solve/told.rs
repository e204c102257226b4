//! What should a person know about this?

use std::collections::BTreeMap;

use super::adjust::Adjusted;
use super::graph::Graph;
use super::lots::Lots;
use super::stamps;
use super::start::{WRONG_PPM, likely};
use super::state::State;
use crate::clock::{Finding, Member, Pair, Placed, Warning};

/// A copy's points are all at one lag, to a tenth of a sample at 16 kHz (ms) ...
const COPY_RESIDUAL_MS: f64 = 0.01;
/// ... and its correlation is as high as a lossy coding of the same samples leaves it.
const COPY_ALIKE: f32 = 0.9;
/// What a person said is contradicted by more than this, ms: the largest difference
/// of distances.
const FIX_OFF_MS: f64 = 100.0;

/// Warnings of single members go to them, those of the whole are returned.
#[allow(
    clippy::too_many_arguments,
    reason = "the whole of the solve is looked at"
)]
pub(super) fn told(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    graph: &Graph,
    state: &State,
    adjusted: &Adjusted,
    lots: &Lots,
    placed: &mut [Placed],
) -> Vec<Warning> {
    let mut whole = Vec::new();
    for (&(a, b), pair) in pairs {
        if a >= members.len() || b >= members.len() {
            continue;
        }
        match pair.finding {
            Finding::Tie => whole.push(Warning::Tie { a, b }),
            Finding::Shared => {
                let copy = pair
                    .stretches
                    .first()
                    .and_then(|stretch| stretch.fine)
                    .filter(|fine| {
                        pair.stretches.len() == 1
                            && fine.alike >= COPY_ALIKE
                            && fine.agreement >= 0.9
                            && fine.points >= 5
                            && fine.residual_ms <= COPY_RESIDUAL_MS
                    });
                if let Some(fine) = copy {
                    placed[b].warnings.push(Warning::Copy {
                        member: b,
                        of: a,
                        gain_db: fine.gain_db,
                    });
                }
            }
            Finding::Nothing => {}
        }
    }
    contradictions(members, graph, state, adjusted, placed, &mut whole);
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
    whole
}

/// Edges that were thrown out.
fn contradictions(
    members: &[Member],
    graph: &Graph,
    state: &State,
    adjusted: &Adjusted,
    placed: &mut [Placed],
    whole: &mut Vec<Warning>,
) {
    for (edge, &used) in graph.edges.iter().zip(&adjusted.used) {
        if edge.by_hand {
            continue;
        }
        let (a, b) = edge.pair;
        let by_ms = state.off(graph, edge);
        let fixed = |n: usize| members[n].fix.is_some();
        if (fixed(a) || fixed(b)) && by_ms.abs() > FIX_OFF_MS {
            // The sound says b where a's time is: later by what a is beyond it.
            let (member, by_ms) = if fixed(b) { (b, by_ms) } else { (a, -by_ms) };
            placed[member]
                .warnings
                .push(Warning::FixDisagrees { member, by_ms });
        } else if !used {
            whole.push(Warning::Outlier {
                a,
                b,
                by_ms: by_ms.abs(),
            });
        }
    }
}
