//! All times and rates at once, so that every loop closes as well as it can.

use super::RATE_SIGMA_PPM;
use super::graph::{Edge, Graph};
use super::normal::{Factor, Normal};
use super::start::heaviest_first;
use super::state::State;
use super::union::Union;

/// Measurements that miss by more are of another sound, ms: distances of up to 34 m
/// make 100 ms, and each of two pairs may have its own.
const OUTLIER_MS: f64 = 150.0;
/// Or whose rate misses by more, ppm.
const OUTLIER_PPM: f64 = 60.0;

/// What the measurements leave open.
pub(super) struct Adjusted {
    /// Whether each edge agrees with the whole.
    pub used: Vec<bool>,
    /// Half of the 95 % interval of the event time of any instant, for each part,
    /// ms.
    pub uncertainty_ms: Vec<f64>,
}

struct Unknowns {
    part: Vec<Option<usize>>,
    body: Vec<Option<usize>>,
    count: usize,
}

impl Unknowns {
    fn new(parts: &[bool], bodies: &[bool]) -> Self {
        let mut count = 0;
        let mut number = |held: &[bool]| -> Vec<Option<usize>> {
            let each = held.iter().map(|&held| {
                let n = count;
                count += usize::from(!held);
                (!held).then_some(n)
            });
            each.collect()
        };
        let (part, body) = (number(parts), number(bodies));
        Self { part, body, count }
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
struct Excess {
    ms: f64,
    ppm: f64,
}

/// Iterates weighted least squares with Tukey's bisquare on each edge (Gauss-Newton;
/// the rates enter by their exponential). Moves what is not held.
pub(super) fn adjust(graph: &Graph, state: &mut State) -> Adjusted {
    let roots = roots(graph, state);
    let held: Vec<bool> = (0..graph.parts.len())
        .map(|n| state.held[n] || roots.contains(&n))
        .collect();
    let unknowns = Unknowns::new(&held, &state.held_rate);
    let mut excess = Excess::default();
    for round in 0..15 {
        if round >= 3 {
            excess = measured_excess(graph, state, unknowns.count);
        }
        let normal = equations(graph, state, &unknowns, excess);
        let step = normal.solve(&normal.factor());
        let mut moved = 0.0_f64;
        for (part, unknown) in unknowns.part.iter().enumerate() {
            if let Some(n) = *unknown {
                state.event[part] += step[n];
                moved = moved.max(step[n].abs());
            }
        }
        for (body, unknown) in unknowns.body.iter().enumerate() {
            if let Some(n) = *unknown {
                state.rate[body] += (step[n] / 1e6).clamp(-0.1, 0.1);
            }
        }
        if round > 5 && moved < 1e-4 {
            break;
        }
    }
    let used = graph
        .edges
        .iter()
        .map(|edge| edge.by_hand || agrees(graph, state, edge))
        .collect();
    Adjusted {
        used,
        uncertainty_ms: uncertainties(graph, state, excess),
    }
}

fn limits(edge: &Edge) -> (f64, f64) {
    let ppm = edge.sigma_ppm.unwrap_or(RATE_SIGMA_PPM);
    (OUTLIER_MS + 3.0 * edge.sigma_ms, OUTLIER_PPM + 3.0 * ppm)
}

fn agrees(graph: &Graph, state: &State, edge: &Edge) -> bool {
    let (ms, ppm) = limits(edge);
    let rate = edge.sigma_ppm.map_or(0.0, |_| state.rate_off(graph, edge));
    state.off(graph, edge).abs() <= ms && rate.abs() <= ppm
}

/// Tukey's weight of an edge.
fn weight(graph: &Graph, state: &State, edge: &Edge) -> f64 {
    if edge.by_hand {
        return 1.0;
    }
    let (ms, ppm) = limits(edge);
    let rate = edge.sigma_ppm.map_or(0.0, |_| state.rate_off(graph, edge));
    let bisquare = |u: f64| (1.0 - u * u).max(0.0).powi(2);
    bisquare(state.off(graph, edge) / ms) * bisquare(rate / ppm)
}

fn equations(graph: &Graph, state: &State, unknowns: &Unknowns, excess: Excess) -> Normal {
    let mut normal = Normal::new(unknowns.count);
    for edge in &graph.edges {
        let weight = weight(graph, state, edge);
        if weight <= 0.0 {
            continue;
        }
        let more = if edge.by_hand { 0.0 } else { excess.ms };
        let square = edge.sigma_ms.powi(2) + more * more;
        let terms = unknowns.offset(graph, state, edge);
        normal.add(&terms, -state.off(graph, edge), weight / square);
        if let Some(sigma) = edge.sigma_ppm {
            let square = sigma * sigma + excess.ppm * excess.ppm;
            let terms = unknowns.rate(graph, edge);
            normal.add(&terms, -state.rate_off(graph, edge), weight / square);
        }
    }
    for (body, unknown) in unknowns.body.iter().enumerate() {
        if let Some(n) = *unknown {
            let off = (state.nominal[body] - state.rate[body]) * 1e6;
            normal.add(&[(n, 1.0)], off, RATE_SIGMA_PPM.powi(-2));
        }
    }
    normal
}

/// The part of each connected lot that stays where it is: one that is held, or the
/// one the most is measured on.
fn roots(graph: &Graph, state: &State) -> Vec<usize> {
    let mut together = Union::new(graph.parts.len());
    for edge in &graph.edges {
        together.join(edge.a, edge.b);
    }
    let mut has = vec![false; graph.parts.len()];
    let mut roots = Vec::new();
    let order = heaviest_first(graph);
    let (held, free): (Vec<usize>, Vec<usize>) = order.iter().partition(|&&n| state.held[n]);
    for part in held.into_iter().chain(free) {
        if !std::mem::replace(&mut has[together.root(part)], true) {
            roots.push(part);
        }
    }
    roots
}

/// What is left over in loops beyond each edge's own scatter: voices at other
/// distances for each pair. A robust deviation, corrected for the freedom used up.
fn measured_excess(graph: &Graph, state: &State, unknowns: usize) -> Excess {
    let kept: Vec<&Edge> = graph
        .edges
        .iter()
        .filter(|edge| !edge.by_hand && agrees(graph, state, edge))
        .collect();
    let rows = 2 * kept.len();
    let freedom = rows.saturating_sub(unknowns);
    if freedom == 0 {
        return Excess::default();
    }
    let grow = (rows as f64 / freedom as f64).sqrt();
    let spread = |offs: Vec<f64>| 1.4826 * crate::clock::fit::median(offs) * grow;
    Excess {
        ms: spread(
            kept.iter()
                .map(|edge| state.off(graph, edge).abs())
                .collect(),
        ),
        ppm: spread(
            kept.iter()
                .map(|edge| state.rate_off(graph, edge).abs())
                .collect(),
        ),
    }
}

/// From the inverse of the normal equations with one part and its rate for the
/// clock, everything else free.
fn uncertainties(graph: &Graph, state: &State, excess: Excess) -> Vec<f64> {
    let roots = roots(graph, state);
    let parts: Vec<bool> = (0..graph.parts.len()).map(|n| roots.contains(&n)).collect();
    let mut bodies = vec![false; graph.bodies.list.len()];
    for &root in &roots {
        bodies[graph.parts[root].body] = true;
    }
    let unknowns = Unknowns::new(&parts, &bodies);
    let factor = equations(graph, state, &unknowns, excess).factor();
    let rates: Vec<Option<Vec<f64>>> = unknowns
        .body
        .iter()
        .map(|unknown| unknown.map(|n| factor.covariances(n)))
        .collect();
    (0..graph.parts.len())
        .map(|n| uncertainty(graph, &unknowns, &factor, &rates, n).hypot(LEAST_95_MS))
        .collect()
}

/// Two samples at 16 kHz, four times: no instant is placed better than this, ms.
const LEAST_95_MS: f64 = 0.5;

fn uncertainty(
    graph: &Graph,
    unknowns: &Unknowns,
    factor: &Factor,
    rates: &[Option<Vec<f64>>],
    part: usize,
) -> f64 {
    let place = &graph.parts[part];
    let own = unknowns.part[part].map(|n| (n, factor.covariances(n)[n]));
    let event = own.map_or(0.0, |(_, variance)| variance);
    let rate = rates[place.body].as_ref().zip(unknowns.body[place.body]);
    let both = match (own, rate) {
        (Some((n, _)), Some((covariances, _))) => covariances[n],
        _ => 0.0,
    };
    let rate = rate.map_or(0.0, |(covariances, n)| covariances[n]);
    let ends = [place.from_ms, place.to_ms].map(|at| {
        let far = (at - place.at_ms) / 1e6;
        event + 2.0 * far * both + far * far * rate
    });
    1.96 * ends[0].max(ends[1]).max(0.0).sqrt()
}
