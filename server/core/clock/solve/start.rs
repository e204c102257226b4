//! A first guess: one way through the measurements that the others agree with.

use std::collections::BTreeMap;

use super::graph::{Edge, Graph};
use super::state::State;
use super::union::Union;

/// A triangle of pairs closes within this, ms: distances differ by 100 ms at most,
/// and one measurement may be the search's alone.
const CLOSES_MS: f64 = 250.0;
/// Rates beyond this are no crystal's but a wrong header's, ppm.
pub(super) const WRONG_PPM: f64 = 500.0;
/// A wrong rate is one of two rates in use when it is this near to their ratio, ppm.
const NEAR_PPM: f64 = 300.0;
/// Sample rates in use, Hz; 1000/1001 of them as pulled down for film and video.
const RATES_HZ: [u32; 14] = [
    48_000, 44_100, 96_000, 88_200, 32_000, 24_000, 22_050, 16_000, 11_025, 8_000, 47_952, 48_048,
    44_056, 44_144,
];

/// Sets times, rates and nominal rates of everything that is not held, from edges
/// that most others agree with.
pub(super) fn first_guess(graph: &Graph, state: &mut State) {
    let tree = tree(graph, state);
    let order = walk(graph, state, &tree);
    rates(graph, state, &order);
    for step in &order {
        if let Some(edge) = step.by {
            state.carry(graph, &graph.edges[edge], graph.edges[edge].b == step.part);
        }
    }
    for _ in 0..3 {
        revote(graph, state);
    }
}

/// The edges of a spanning forest, the best supported first (Kruskal 1956).
fn tree(graph: &Graph, state: &State) -> Vec<usize> {
    let votes = votes(graph);
    let mut order: Vec<usize> = (0..graph.edges.len()).collect();
    order.sort_by(|&x, &y| {
        let key = |n: usize| (graph.edges[n].by_hand, votes[n]);
        key(y)
            .cmp(&key(x))
            .then(graph.edges[y].heft.total_cmp(&graph.edges[x].heft))
    });
    let mut together = Union::new(graph.parts.len());
    let held: Vec<usize> = (0..graph.parts.len()).filter(|&n| state.held[n]).collect();
    for two in held.windows(2) {
        together.join(two[0], two[1]);
    }
    order.retain(|&n| together.join(graph.edges[n].a, graph.edges[n].b));
    order
}

/// For each edge, triangles that close with it less those that don't.
fn votes(graph: &Graph) -> Vec<i32> {
    let mut between: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    let mut beside: Vec<Vec<usize>> = vec![Vec::new(); graph.parts.len()];
    for (n, edge) in graph.edges.iter().enumerate() {
        between.entry((edge.a, edge.b)).or_default().push(n);
        between.entry((edge.b, edge.a)).or_default().push(n);
        beside[edge.a].push(n);
    }
    let other = |edge: &Edge, part: usize| if edge.a == part { edge.b } else { edge.a };
    for (n, edge) in graph.edges.iter().enumerate() {
        beside[edge.b].push(n);
    }
    // The time at the other end of an edge.
    let along = |edge: &Edge, from: usize, at: f64| {
        if edge.a == from {
            edge.line.map(at)
        } else {
            edge.line.map_back(at)
        }
    };
    graph
        .edges
        .iter()
        .map(|edge| {
            let mut votes = 0;
            for &first in &beside[edge.a] {
                let first = &graph.edges[first];
                let middle = other(first, edge.a);
                if middle == edge.b {
                    continue;
                }
                let at = along(first, edge.a, edge.line.here_ms);
                for &second in between.get(&(middle, edge.b)).into_iter().flatten() {
                    let second = &graph.edges[second];
                    let off = along(second, middle, at) - edge.line.there_ms;
                    // How far the anchors lie apart, on lines whose rates are not exact.
                    let reach = |e: &Edge, at: f64| {
                        (at - e.line.here_ms).abs() * e.sigma_ppm.unwrap_or(100.0) / 1e6
                    };
                    let slack = reach(first, edge.line.here_ms) + reach(second, at);
                    votes += if off.abs() <= CLOSES_MS + slack.min(2_000.0) {
                        1
                    } else {
                        -1
                    };
                }
            }
            votes
        })
        .collect()
}

struct Step {
    part: usize,
    by: Option<usize>,
}

/// All parts, each after the one it hangs on; what is held first, then the part
/// the most is measured on.
fn walk(graph: &Graph, state: &State, tree: &[usize]) -> Vec<Step> {
    let mut beside: Vec<Vec<usize>> = vec![Vec::new(); graph.parts.len()];
    for &n in tree {
        beside[graph.edges[n].a].push(n);
        beside[graph.edges[n].b].push(n);
    }
    let mut seen = vec![false; graph.parts.len()];
    let mut order = Vec::with_capacity(graph.parts.len());
    let visit = |starts: Vec<usize>, seen: &mut Vec<bool>, order: &mut Vec<Step>| {
        let first = order.len();
        for part in starts {
            if !std::mem::replace(&mut seen[part], true) {
                order.push(Step { part, by: None });
            }
        }
        let mut next = first;
        while next < order.len() {
            let part = order[next].part;
            for &n in &beside[part] {
                let edge = &graph.edges[n];
                let to = if edge.a == part { edge.b } else { edge.a };
                if !std::mem::replace(&mut seen[to], true) {
                    order.push(Step {
                        part: to,
                        by: Some(n),
                    });
                }
            }
            next += 1;
        }
    };
    let held = (0..graph.parts.len()).filter(|&n| state.held[n]).collect();
    visit(held, &mut seen, &mut order);
    for part in heaviest_first(graph) {
        visit(vec![part], &mut seen, &mut order);
    }
    order
}

/// Parts in order of how much is measured on them.
pub(super) fn heaviest_first(graph: &Graph) -> Vec<usize> {
    let mut heft = vec![0.0; graph.parts.len()];
    for edge in &graph.edges {
        for part in [edge.a, edge.b] {
            heft[part] += edge.heft.min(1e6);
        }
    }
    let mut order: Vec<usize> = (0..heft.len()).collect();
    order.sort_by(|&x, &y| heft[y].total_cmp(&heft[x]));
    order
}

/// Rates along the walk, then such that most of what hangs together runs true, and
/// what does not has a wrong header.
fn rates(graph: &Graph, state: &mut State, order: &[Step]) {
    let mut known = state.held_rate.clone();
    let mut group = Union::new(graph.bodies.list.len());
    for step in order {
        let Some(edge) = step.by.map(|n| &graph.edges[n]) else {
            continue;
        };
        let (a, b) = (graph.parts[edge.a].body, graph.parts[edge.b].body);
        group.join(a, b);
        let (from, to) = if graph.parts[step.part].body == b {
            (a, b)
        } else {
            (b, a)
        };
        if !std::mem::replace(&mut known[to], true) {
            let slope = (edge.line.ppm / 1e6).ln_1p();
            let slope = if to == b { -slope } else { slope };
            let said = edge.sigma_ppm.is_some() || slope.abs() * 1e6 > WRONG_PPM;
            state.rate[to] = state.rate[from] + if said { slope } else { 0.0 };
        }
    }
    let bodies = graph.bodies.list.len();
    let mut groups: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for body in 0..bodies {
        groups.entry(group.root(body)).or_default().push(body);
    }
    for inside in groups.values() {
        let mut by_rate = inside.clone();
        by_rate.sort_by(|&x, &y| state.rate[x].total_cmp(&state.rate[y]));
        let whole: f64 = inside.iter().map(|&n| graph.bodies.list[n].length_ms).sum();
        let mut sum = 0.0;
        let middle = by_rate.iter().find(|&&n| {
            sum += graph.bodies.list[n].length_ms;
            sum >= 0.5 * whole
        });
        let middle = middle.map_or(0.0, |&n| state.rate[n]);
        let apart = |n: &usize| (state.rate[*n] - middle).abs() * 1e6 > WRONG_PPM;
        let wrong = inside.iter().any(apart);
        let held = inside.iter().any(|&n| state.held_rate[n]);
        for &body in inside {
            if wrong && !held {
                state.rate[body] -= middle;
            }
            if state.rate[body].abs() * 1e6 > WRONG_PPM && !state.held_rate[body] {
                state.nominal[body] = match likely(state.rate[body]) {
                    Some((recorded, header)) => (f64::from(header) / f64::from(recorded)).ln(),
                    None => state.rate[body],
                };
            }
        }
    }
}

/// The rate something was recorded at and the one its header must say, Hz, when its
/// event time runs by e to `rate` against file time.
pub(super) fn likely(rate: f64) -> Option<(u32, u32)> {
    let near = |recorded: u32, header: u32| {
        ((f64::from(header) / f64::from(recorded)).ln() - rate).abs() * 1e6
    };
    // The most usual first.
    let mut two = RATES_HZ
        .iter()
        .flat_map(|&r| RATES_HZ.iter().map(move |&h| (r, h)));
    two.find(|&(r, h)| r != h && near(r, h) <= NEAR_PPM)
}

/// Moves each part that is not held to where the most of its edges want it.
fn revote(graph: &Graph, state: &mut State) {
    let mut beside: Vec<Vec<usize>> = vec![Vec::new(); graph.parts.len()];
    for (n, edge) in graph.edges.iter().enumerate() {
        beside[edge.a].push(n);
        beside[edge.b].push(n);
    }
    for (part, beside) in beside.iter().enumerate() {
        if state.held[part] || beside.len() < 3 {
            continue;
        }
        // By how much each edge wants the part later.
        let wants: Vec<(f64, f64)> = beside
            .iter()
            .map(|&n| &graph.edges[n])
            .map(|edge| {
                let off = state.off(graph, edge);
                (if edge.a == part { -off } else { off }, edge.heft)
            })
            .collect();
        let support = |by: f64| -> f64 {
            wants
                .iter()
                .filter(|(want, _)| (want - by).abs() <= CLOSES_MS)
                .map(|(_, heft)| heft)
                .sum()
        };
        let best = wants
            .iter()
            .map(|&(by, _)| (by, support(by)))
            .max_by(|x, y| x.1.total_cmp(&y.1));
        if let Some((by, most)) = best
            && most > 1.2 * support(0.0)
        {
            state.event[part] += by;
        }
    }
}
