//! Where each part lies while the whole is being solved.

use std::collections::BTreeSet;

use super::graph::{Edge, Graph};
use crate::clock::{Before, Fix, How, Member};

/// Event times and rates; some of them held.
#[derive(Clone, Debug)]
pub(super) struct State {
    /// Event time of each part's instant ([`super::parts::Part::at_ms`]), ms.
    pub event: Vec<f64>,
    /// Logarithm of event time per file time, for each body.
    pub rate: Vec<f64>,
    /// What that should be near: 0, or a wrong header's.
    pub nominal: Vec<f64>,
    /// Parts on the event clock that must not move.
    pub held: Vec<bool>,
    /// Those of them that a person put there.
    pub by_hand: Vec<bool>,
    /// Bodies whose rate must not change.
    pub held_rate: Vec<bool>,
    /// The body that alone is held from before: not for good, unless others are tied
    /// to it.
    pub lone: Option<usize>,
}

impl State {
    /// Holds what a person said, and what lay on the event clock before; of a body
    /// alone only if `even_lone`.
    pub fn held(graph: &mut Graph, members: &[Member], even_lone: bool) -> Self {
        let (parts, bodies) = (graph.parts.len(), graph.bodies.list.len());
        let mut state = Self {
            event: vec![0.0; parts],
            rate: vec![0.0; bodies],
            nominal: vec![0.0; bodies],
            held: vec![false; parts],
            by_hand: vec![false; parts],
            held_rate: vec![false; bodies],
            lone: None,
        };
        for (n, member) in members.iter().enumerate() {
            let base = graph.bodies.of[n].1;
            if let Some(Fix::Start { event_ms }) = member.fix
                && event_ms.is_finite()
            {
                let part = graph.part(n, 0.0);
                graph.parts[part].at_ms = base;
                state.event[part] = event_ms;
                state.held[part] = true;
                state.by_hand[part] = true;
            }
        }
        let staying = staying(graph, members);
        if let [lone] = staying.bodies[..]
            && !staying.referred
            && bodies > 1
        {
            if !even_lone || !staying.heard {
                return state;
            }
            state.lone = Some(lone);
        }
        for (n, before) in staying.members {
            let (body, base) = graph.bodies.of[n];
            let mut pieces = before.placement.pieces().to_vec();
            pieces.retain(|piece| piece.ppm.abs() < 300_000.0);
            if let Some(first) = pieces.first()
                && !state.held_rate[body]
            {
                state.rate[body] = -(first.ppm / 1e6).ln_1p();
                state.nominal[body] = state.rate[body];
                state.held_rate[body] = true;
            }
            for piece in pieces {
                let part = graph.part(n, piece.from_ms);
                // A stop that is found only now cuts what was one piece: only the
                // part in front stays.
                if !state.held[part] {
                    let at = graph.parts[part].at_ms - base;
                    state.event[part] = before.placement.event_at(piece.from_ms)
                        + (at - piece.from_ms) * state.rate[body].exp();
                    state.held[part] = true;
                }
            }
        }
        state
    }

    /// The event time of an instant of a part's body, ms.
    pub fn at(&self, graph: &Graph, part: usize, body_ms: f64) -> f64 {
        let place = &graph.parts[part];
        self.event[part] + (body_ms - place.at_ms) * self.rate[place.body].exp()
    }

    /// How much later *a* says an edge's instant is than *b*, ms.
    pub fn off(&self, graph: &Graph, edge: &Edge) -> f64 {
        self.at(graph, edge.a, edge.line.here_ms) - self.at(graph, edge.b, edge.line.there_ms)
    }

    /// How much faster *a* says event time runs along an edge than *b*, ppm.
    pub fn rate_off(&self, graph: &Graph, edge: &Edge) -> f64 {
        let (a, b) = (graph.parts[edge.a].body, graph.parts[edge.b].body);
        (self.rate[a] - self.rate[b] - (edge.line.ppm / 1e6).ln_1p()) * 1e6
    }

    /// Puts the other end of an edge where this end says.
    pub fn carry(&mut self, graph: &Graph, edge: &Edge, to_b: bool) {
        let (from, to) = if to_b {
            (edge.a, edge.b)
        } else {
            (edge.b, edge.a)
        };
        let (here, there) = if to_b {
            (edge.line.here_ms, edge.line.there_ms)
        } else {
            (edge.line.there_ms, edge.line.here_ms)
        };
        let now = self.at(graph, from, here);
        let body = graph.parts[to].body;
        self.event[to] = now + (graph.parts[to].at_ms - there) * self.rate[body].exp();
    }
}

/// What lay on the event clock and may stay there.
struct Staying<'a> {
    members: Vec<(usize, &'a Before)>,
    /// The bodies they are of.
    bodies: Vec<usize>,
    /// Whether what a person said refers to where they lay.
    referred: bool,
    /// Whether one was placed by sound and has sound in common with others.
    heard: bool,
}

/// All that sound placed, or that is joined to it, unless a person has moved it or
/// has let it go.
fn staying<'a>(graph: &Graph, members: &'a [Member]) -> Staying<'a> {
    let of = |n: usize| graph.bodies.of[n].0;
    // Members that others were put beside.
    let others: BTreeSet<usize> = members
        .iter()
        .filter_map(|member| match member.fix {
            Some(Fix::Same { other, .. }) => Some(other),
            _ => None,
        })
        .collect();
    let mut moved = vec![false; graph.bodies.list.len()];
    for (n, member) in members.iter().enumerate() {
        let by_hand = matches!(&member.before, Some(before) if before.how == How::ByHand);
        moved[of(n)] |= member.fix.is_some() || (by_hand && !others.contains(&n));
    }
    let stays = |before: &&Before| {
        before.island == 0 && matches!(before.how, How::Sound | How::Joined | How::ByHand)
    };
    let inside = members.iter().enumerate().filter(|(n, _)| !moved[of(*n)]);
    let staying: Vec<(usize, &Before)> = inside
        .filter_map(|(n, member)| Some((n, member.before.as_ref().filter(stays)?)))
        .collect();
    let mut bodies: Vec<usize> = staying.iter().map(|(n, _)| of(*n)).collect();
    bodies.sort_unstable();
    bodies.dedup();
    let inside = |body: usize| bodies.binary_search(&body).is_ok();
    let started = |member: &Member| matches!(member.fix, Some(Fix::Start { .. }));
    let referred =
        members.iter().any(started) || others.iter().any(|&n| n < members.len() && inside(of(n)));
    let touched = |part: usize| inside(graph.parts[part].body);
    let heard = staying.iter().any(|(_, before)| before.how == How::Sound)
        && graph
            .edges
            .iter()
            .any(|edge| touched(edge.a) || touched(edge.b));
    Staying {
        members: staying,
        bodies,
        referred,
        heard,
    }
}
