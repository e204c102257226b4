//! Where did a recorder stop and go on inside a file?

use std::collections::BTreeMap;

use super::bodies::Bodies;
use crate::clock::{Finding, Pair, Stretch};

/// Less than this between two stretches is a line measured badly, not a stop, ms.
const LEAST_JUMP_MS: f64 = 60.0;
/// Two pairs that say the same about a stop differ by less, ms: the largest
/// difference of distances.
const SAME_JUMP_MS: f64 = 150.0;
/// A stretch speaks against a stop when it goes on this far to either side, ms.
const DENIAL_MS: f64 = 5_000.0;

/// A stretch of a body whose clock runs evenly.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    pub body: usize,
    /// Start and end on the body's time, ms.
    pub from_ms: f64,
    pub to_ms: f64,
    /// The instant whose event time is asked for, ms.
    pub at_ms: f64,
    /// Of the event missing before it, ms; 0 for a first part.
    pub lost_ms: f64,
}

struct Claim {
    from_ms: f64,
    to_ms: f64,
    lost_ms: f64,
    votes: u32,
}

/// The bodies cut where their recorders stopped, in order of body and time.
pub(super) fn parts(bodies: &Bodies, pairs: &BTreeMap<(usize, usize), Pair>) -> Vec<Part> {
    let mut claims: Vec<Vec<Claim>> = bodies.list.iter().map(|_| Vec::new()).collect();
    for (&(a, b), pair) in shared(bodies, pairs) {
        for two in pair.stretches.windows(2) {
            if let Some((member, claim)) = claim(a, b, &two[0], &two[1]) {
                let (body, base) = bodies.of[member];
                join(&mut claims[body], claim, base);
            }
        }
    }
    let mut parts = Vec::new();
    for (body, claims) in claims.iter_mut().enumerate() {
        let length = bodies.list[body].length_ms;
        claims.retain(|claim| claim.votes >= denials(body, claim, bodies, pairs).max(1));
        claims.sort_by(|x, y| x.from_ms.total_cmp(&y.from_ms));
        let mut from = 0.0;
        let mut lost = 0.0;
        let part = |from: f64, to: f64, lost: f64| Part {
            body,
            from_ms: from,
            to_ms: to,
            at_ms: 0.5 * (from + to),
            lost_ms: lost,
        };
        for claim in claims.iter() {
            let at = 0.5 * (claim.from_ms + claim.to_ms);
            if at > from + 1.0 && at < length - 1.0 {
                parts.push(part(from, at, lost));
                from = at;
                lost = claim.lost_ms;
            }
        }
        parts.push(part(from, length, lost));
    }
    parts
}

/// Pairs that share sound and whose members exist and are not rigid to each other.
pub(super) fn shared<'a>(
    bodies: &'a Bodies,
    pairs: &'a BTreeMap<(usize, usize), Pair>,
) -> impl Iterator<Item = (&'a (usize, usize), &'a Pair)> {
    pairs.iter().filter(|((a, b), pair)| {
        let of = |n: &usize| bodies.of.get(*n).map(|(body, _)| *body);
        pair.finding == Finding::Shared && of(a).is_some() && of(b).is_some() && of(a) != of(b)
    })
}

/// Which of two recordings stopped between two stretches. A recorder that stops
/// misses some of the event, so the other one's time leaps ahead of its own; one
/// that went back in time does not exist.
fn claim(a: usize, b: usize, before: &Stretch, after: &Stretch) -> Option<(usize, Claim)> {
    let middle = 0.5 * (before.to_ms + after.from_ms);
    let leap = after.line.map(middle) - before.line.map(middle);
    let (member, x, y) = if leap > 0.0 {
        (a, before.to_ms, after.from_ms)
    } else {
        (
            b,
            before.line.map(before.to_ms),
            after.line.map(after.from_ms),
        )
    };
    let sane = x.is_finite() && y.is_finite() && leap.is_finite();
    (sane && leap.abs() >= LEAST_JUMP_MS).then_some((
        member,
        Claim {
            from_ms: x.min(y),
            to_ms: x.max(y),
            lost_ms: leap.abs(),
            votes: 1,
        },
    ))
}

fn join(claims: &mut Vec<Claim>, new: Claim, base: f64) {
    let (from, to) = (new.from_ms + base, new.to_ms + base);
    let same = claims.iter_mut().find(|old| {
        old.from_ms <= to + SAME_JUMP_MS
            && from <= old.to_ms + SAME_JUMP_MS
            && (old.lost_ms - new.lost_ms).abs() <= SAME_JUMP_MS
    });
    match same {
        Some(old) => {
            // What both leave open; each was measured on its own.
            let (low, high) = (old.from_ms.max(from), old.to_ms.min(to));
            (old.from_ms, old.to_ms) = (low.min(high), low.max(high));
            old.votes += 1;
        }
        None => claims.push(Claim {
            from_ms: from,
            to_ms: to,
            ..new
        }),
    }
}

/// Stretches of this body that run across the claimed stop as if nothing had been.
fn denials(
    body: usize,
    claim: &Claim,
    bodies: &Bodies,
    pairs: &BTreeMap<(usize, usize), Pair>,
) -> u32 {
    let across =
        |from: f64, to: f64| from <= claim.from_ms - DENIAL_MS && to >= claim.to_ms + DENIAL_MS;
    let mut count = 0;
    for (&(a, b), pair) in shared(bodies, pairs) {
        for stretch in &pair.stretches {
            let ends = if bodies.of[a].0 == body {
                (stretch.from_ms, stretch.to_ms, bodies.of[a].1)
            } else if bodies.of[b].0 == body {
                let map = |at| stretch.line.map(at);
                (map(stretch.from_ms), map(stretch.to_ms), bodies.of[b].1)
            } else {
                continue;
            };
            count += u32::from(across(ends.0 + ends.2, ends.1 + ends.2));
        }
    }
    count
}
