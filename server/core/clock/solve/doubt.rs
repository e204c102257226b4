//! How sure is the event time of any instant?
//!
//! An interval is of the distance to a reference: what a person put on the event
//! clock; else the heaviest part of what lay on that clock before; on an island its
//! heaviest part. A part that is on the event clock only because it was there before
//! has none.

use super::RATE_SIGMA_PPM;
use super::adjust::{Excess, Unknowns, equations};
use super::graph::Graph;
use super::normal::Factor;
use super::state::State;
use super::ties::Ties;

/// Two samples at 16 kHz, four times: no instant is placed better than this, ms.
const LEAST_95_MS: f64 = 0.5;
/// Half-width of 95 % of a normal distribution, standard deviations.
const NORMAL_95: f64 = 1.96;

/// Half of the 95 % interval for each part, ms: from the inverse of the normal
/// equations, everything free but the references. `None` where nothing ties a part
/// to one.
pub(super) fn doubts(
    graph: &Graph,
    state: &State,
    heaviest: &[usize],
    weights: &[f64],
    excess: Excess,
) -> Vec<Option<f64>> {
    let ties = Ties::new(graph, weights);
    let references = References::new(graph, state, &ties, heaviest);
    // What is tied to no reference is no unknown either.
    let fixed: Vec<bool> = references
        .parts
        .iter()
        .zip(&references.loose)
        .map(|(part, loose)| *part || *loose)
        .collect();
    let unknowns = Unknowns::new(graph, &ties.blocks, &fixed, &references.bodies);
    // Beside a reference, a rate that nothing is measured of is any crystal's.
    let mut rates: Vec<Rate> = references
        .bodies
        .iter()
        .map(|known| Rate {
            variance: if *known { 0.0 } else { RATE_SIGMA_PPM.powi(2) },
            covariances: Vec::new(),
        })
        .collect();
    let mut doubts: Vec<Option<f64>> = vec![None; graph.parts.len()];
    let mut rest = vec![true; graph.parts.len()];
    for (block, &count) in ties.blocks.iter().zip(&unknowns.counts) {
        let numbered = (&unknowns, count);
        let factor = equations(graph, state, block, numbered, weights, excess).factor();
        for &body in &block.bodies {
            if let Some(n) = unknowns.body[body] {
                let covariances = factor.covariances(n);
                rates[body] = Rate {
                    variance: covariances[n],
                    covariances,
                };
            }
        }
        for &part in &block.parts {
            let own = unknowns.part[part].map(|n| (n, &factor));
            doubts[part] = Some(doubt(graph, &rates, part, own));
            rest[part] = false;
        }
    }
    for part in (0..graph.parts.len()).filter(|&part| rest[part]) {
        doubts[part] = Some(doubt(graph, &rates, part, None));
    }
    for (doubt, loose) in doubts.iter_mut().zip(&references.loose) {
        *doubt = doubt.filter(|ms| ms.is_finite() && !loose);
    }
    doubts
}

/// What is open of a body's rate, ppm², and with the other unknowns of its block.
struct Rate {
    variance: f64,
    covariances: Vec<f64>,
}

fn doubt(graph: &Graph, rates: &[Rate], part: usize, own: Option<(usize, &Factor)>) -> f64 {
    let place = &graph.parts[part];
    let rate = &rates[place.body];
    let event = own.map_or(0.0, |(n, factor)| factor.covariances(n)[n]);
    let both = own.and_then(|(n, _)| rate.covariances.get(n).copied());
    let ends = [place.from_ms, place.to_ms].map(|at| {
        let far = (at - place.at_ms) / 1e6;
        event + 2.0 * far * both.unwrap_or(0.0) + far * far * rate.variance
    });
    let deviation = ends[0].max(ends[1]).max(0.0).sqrt();
    (NORMAL_95 * deviation).hypot(LEAST_95_MS)
}

struct References {
    /// Parts whose time is the clock's.
    parts: Vec<bool>,
    /// Bodies whose rate is the clock's: one for each set of rates.
    bodies: Vec<bool>,
    /// Parts that no reference is tied to.
    loose: Vec<bool>,
}

impl References {
    fn new(graph: &Graph, state: &State, ties: &Ties, heaviest: &[usize]) -> Self {
        let count = graph.parts.len();
        let (mut size, mut before, mut hand) =
            (vec![0; count], vec![false; count], vec![false; count]);
        for (part, &home) in ties.home.iter().enumerate() {
            size[home] += 1;
            hand[home] |= state.by_hand[part];
            before[home] |= state.held[part] && !state.by_hand[part];
        }
        // The most of what lay on the event clock is that clock; where nothing did,
        // the most of what a person put there.
        let clock = (0..count)
            .rev()
            .filter(|&home| before[home] || hand[home])
            .max_by_key(|&home| (before[home], size[home]));
        let mut references = Self {
            parts: vec![false; count],
            bodies: vec![false; graph.bodies.list.len()],
            loose: vec![false; count],
        };
        let (mut has, mut rated) = (vec![false; count], vec![false; count]);
        let of_clock = |part: &&usize| Some(ties.home[**part]) == clock;
        let (first, then): (Vec<usize>, Vec<usize>) = heaviest.iter().partition(of_clock);
        for part in first.into_iter().chain(then) {
            let home = ties.home[part];
            let main = Some(home) == clock;
            let serves = match (hand[home], before[home]) {
                (true, _) => state.by_hand[part],
                (false, true) => main && state.held[part],
                (false, false) => true,
            };
            if !serves {
                references.loose[part] = before[home] && !hand[home] && !main;
                continue;
            }
            let another = std::mem::replace(&mut has[home], true);
            references.parts[part] = hand[home] || !another;
            // What a person put somewhere else on a clock may run at any rate.
            if main || !(hand[home] || before[home]) {
                let known = std::mem::replace(&mut rated[ties.solved_with[part]], true);
                references.bodies[graph.parts[part].body] |= !known;
            }
        }
        references
    }
}
