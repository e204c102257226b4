//! Whose clock is the event clock, and what is its zero?

use std::collections::{BTreeMap, BTreeSet};

use super::graph::Graph;
use super::lots::Lots;
use super::stamps;
use crate::clock::{Fix, How, Member, Placed};

/// The event clock for what is on it, by sound, by hand or by stamp; an island for
/// every other lot. Moves whole lots only.
pub(super) fn number_islands(
    members: &[Member],
    graph: &Graph,
    lots: &Lots,
    placed: &mut [Placed],
) {
    let inside: Vec<Vec<usize>> = lots
        .list
        .iter()
        .map(|lot| graph.members(&lot.bodies))
        .collect();
    let main = lots.main().or_else(|| stamped(members, lots, &inside));
    let mut on_clock = Vec::new();
    let mut stays = members
        .iter()
        .any(|m| matches!(m.fix, Some(Fix::Start { .. })));
    if let Some(main) = main {
        let lot = &lots.list[main];
        on_clock.clone_from(&inside[main]);
        stays |= lot.held;
        // On the clock by what was once measured, or because it is all there is, or
        // because stamps place others against it.
        for &n in &inside[main] {
            if placed[n].how == How::Unplaced {
                let before = members[n].before.as_ref().map(|before| before.how);
                placed[n].how = match before {
                    _ if graph.bodies.list.len() == 1 => How::Joined,
                    Some(before) if lot.held => before,
                    _ => How::Stamp,
                };
            }
        }
    }
    let reference = on_clock.clone();
    let mut rest = Vec::new();
    for (_, inside) in inside
        .into_iter()
        .enumerate()
        .filter(|(lot, _)| Some(*lot) != main)
    {
        match stamps::by_stamp(members, placed, &inside, &reference) {
            Some((by, within)) => {
                for &n in &inside {
                    let old = &mut placed[n];
                    old.placement = old.placement.later(by);
                    old.how = How::Stamp;
                    old.uncertainty_ms = old.uncertainty_ms.zip(within).map(|(a, b)| a.hypot(b));
                }
                on_clock.extend(inside);
            }
            None => rest.push(inside),
        }
    }
    if !stays {
        keep_zero(members, &reference, &on_clock, placed, |island| island == 0);
    }
    number_rest(members, rest, placed);
}

/// Islands keep their numbers where they can.
fn number_rest(members: &[Member], rest: Vec<Vec<usize>>, placed: &mut [Placed]) {
    let mut order: Vec<(Option<u32>, Vec<usize>)> = Vec::new();
    for inside in rest {
        keep_zero(members, &inside, &inside, placed, |island| island > 0);
        let before = inside
            .iter()
            .find_map(|&n| members[n].before.as_ref().map(|b| b.island));
        order.push((before.filter(|&n| n > 0), inside));
    }
    order.sort_by_key(|(before, _)| before.unwrap_or(u32::MAX));
    let mut taken = BTreeSet::new();
    let mut free = 1..;
    for (before, inside) in order {
        let island = match before.filter(|n| !taken.contains(n)) {
            Some(island) => island,
            None => free.find(|n| !taken.contains(n)).unwrap_or(u32::MAX),
        };
        taken.insert(island);
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
fn stamped(members: &[Member], lots: &Lots, inside: &[Vec<usize>]) -> Option<usize> {
    let ranks = |n: usize| {
        members[n]
            .stamps
            .iter()
            .map(move |s| (members[n].source, s.rank))
    };
    let mut with: BTreeMap<(usize, u8), BTreeSet<usize>> = BTreeMap::new();
    for n in 0..members.len() {
        for rank in ranks(n) {
            with.entry(rank).or_default().insert(n);
        }
    }
    let company = |lot: usize| {
        let mine: BTreeSet<usize> = inside[lot].iter().copied().collect();
        let kinds: BTreeSet<(usize, u8)> = mine.iter().flat_map(|&n| ranks(n)).collect();
        match Vec::from_iter(kinds.iter().filter_map(|kind| with.get(kind)))[..] {
            [] => 0,
            [one] => one.difference(&mine).count(),
            ref several => {
                let all: BTreeSet<&usize> = several.iter().copied().flatten().collect();
                all.into_iter().filter(|n| !mine.contains(n)).count()
            }
        }
    };
    let lots_with = (0..lots.list.len())
        .map(|lot| (company(lot), lot))
        .filter(|(n, _)| *n > 0);
    lots_with
        .max_by(|x, y| {
            let length = |lot: usize| lots.list[lot].length_ms;
            (x.0.cmp(&y.0)).then(length(x.1).total_cmp(&length(y.1)))
        })
        .map(|(_, lot)| lot)
}

/// A clock keeps its zero while the first of those that were on it is there;
/// otherwise it starts with its first sample. Moves `all` of what is on it by what
/// `of` it were said to move.
fn keep_zero(
    members: &[Member],
    of: &[usize],
    all: &[usize],
    placed: &mut [Placed],
    was_on: impl Fn(u32) -> bool,
) {
    let start = |n: usize| placed[n].placement.start_ms();
    let old = of.iter().find_map(|&n| {
        let before = members[n].before.as_ref()?;
        let kept = was_on(before.island) && (before.island > 0 || before.how != How::Unplaced);
        kept.then(|| before.placement.start_ms() - start(n))
    });
    let zero = || -all.iter().map(|&n| start(n)).fold(f64::MAX, f64::min);
    let by = old.unwrap_or_else(zero);
    if by.is_finite() && by > f64::MIN {
        for &n in all {
            placed[n].placement = placed[n].placement.later(by);
        }
    }
}
