//! Where each part lies while the whole is being solved.

use super::graph::{Edge, Graph};
use crate::clock::{Fix, How, Member};

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
    /// Bodies whose rate must not change.
    pub held_rate: Vec<bool>,
}

impl State {
    /// Holds what a person said, and what lay on the event clock before.
    pub fn held(graph: &mut Graph, members: &[Member]) -> Self {
        let (parts, bodies) = (graph.parts.len(), graph.bodies.list.len());
        let mut state = Self {
            event: vec![0.0; parts],
            rate: vec![0.0; bodies],
            nominal: vec![0.0; bodies],
            held: vec![false; parts],
            held_rate: vec![false; bodies],
        };
        let mut by_hand = vec![false; bodies];
        for (n, member) in members.iter().enumerate() {
            let (body, base) = graph.bodies.of[n];
            by_hand[body] |= member.fix.is_some();
            if let Some(Fix::Start { event_ms }) = member.fix
                && event_ms.is_finite()
            {
                let part = graph.part(n, 0.0);
                graph.parts[part].at_ms = base;
                state.event[part] = event_ms;
                state.held[part] = true;
            }
        }
        for (n, member) in members.iter().enumerate() {
            let (body, base) = graph.bodies.of[n];
            let Some(before) = &member.before else {
                continue;
            };
            let stays = before.island == 0
                && matches!(before.how, How::Sound | How::Joined | How::ByHand)
                && !(before.how == How::ByHand && member.fix.is_none());
            if by_hand[body] || !stays {
                continue;
            }
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
