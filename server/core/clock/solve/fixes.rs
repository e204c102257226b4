//! Where does the sound say something else than a person?

use super::Whole;
use crate::clock::{Fix, Member, Pair, Placement};
use std::collections::BTreeMap;

/// One frame of picture at 25 frames a second, ms: less is as good as a hand can put
/// it.
const FRAME_MS: f64 = 40.0;

/// What a person said that the sound contradicts.
pub(super) struct Disputes {
    /// Members and how much later the sound says they are, ms.
    pub list: Vec<(usize, f64)>,
    /// For each edge of the sound whether it agrees with all else, people aside.
    pub heard: Vec<bool>,
}

/// Solves once more as if nothing had been said, and compares. A person is
/// contradicted where that is certain (95 %) and may be a frame or more.
pub(super) fn disputes(
    members: &[Member],
    pairs: &BTreeMap<(usize, usize), Pair>,
    whole: &Whole,
) -> Disputes {
    let mut disputes = Disputes {
        list: Vec::new(),
        heard: Vec::new(),
    };
    if members.iter().all(|member| member.fix.is_none()) {
        return disputes;
    }
    let body = |n: usize| whole.graph.bodies.of[n].0;
    let mut said = vec![false; whole.graph.bodies.list.len()];
    for (n, member) in members.iter().enumerate() {
        said[body(n)] |= member.fix.is_some();
    }
    let mut unsaid = members.to_vec();
    for (n, member) in unsaid.iter_mut().enumerate() {
        member.fix = None;
        if said[body(n)] {
            member.before = None;
        }
    }
    let sound = Whole::of(&unsaid, pairs);
    disputes.heard.clone_from(&sound.adjusted.used);
    for (n, member) in members.iter().enumerate() {
        let (at, others) = match member.fix {
            // Against what the person did not move with it.
            Some(Fix::Start { .. }) => {
                let held = |&other: &usize| body(other) != body(n) && whole.is_held(other);
                (0.0, (0..members.len()).filter(held).collect())
            }
            Some(Fix::Same { file_ms, other, .. }) if other < members.len() => {
                (file_ms, vec![other])
            }
            _ => continue,
        };
        let place = |whole: &Whole, n: usize| whole.placement(n, &members[n]);
        let (hand, heard) = (place(whole, n), place(&sound, n));
        let said: Vec<(f64, f64)> = others
            .into_iter()
            .filter(|&other| whole.together(n, other) && sound.together(n, other))
            .filter_map(|other| {
                let doubt = sound.doubt_ms(n)?.hypot(sound.doubt_ms(other)?);
                let (hand_other, heard_other) = (place(whole, other), place(&sound, other));
                let by = later(at, (&hand, &heard), (&hand_other, &heard_other));
                by.is_finite().then_some((by, doubt))
            })
            .collect();
        if let Some((by, doubt)) = middle(said)
            && by.abs() > doubt
            && by.abs() + doubt >= FRAME_MS
        {
            disputes.list.push((n, by));
        }
    }
    disputes
}

/// How much later the second of each two says an instant of one recording is
/// against another, ms.
fn later(at: f64, one: (&Placement, &Placement), other: (&Placement, &Placement)) -> f64 {
    let there = other.0.file_at(one.0.event_at(at));
    one.1.event_at(at) - other.1.event_at(there)
}

/// The middle value; of two middle ones that nearer to 0.
pub(super) fn middle(mut values: Vec<(f64, f64)>) -> Option<(f64, f64)> {
    values.sort_by(|x, y| x.0.total_cmp(&y.0));
    let (low, high) = (values.len().checked_sub(1)? / 2, values.len() / 2);
    let of = |n: usize| values.get(n).copied();
    of(low)
        .into_iter()
        .chain(of(high))
        .min_by(|x, y| x.0.abs().total_cmp(&y.0.abs()))
}
