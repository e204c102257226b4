//! All recordings of an event on one clock, in one call.

use std::collections::BTreeMap;

use super::measure::measure;
use super::solve::{rigid, solve};
use super::{
    ClockParams, Coarse, Finding, Line, Member, Pair, Samples, Solution, Stretch, Support, Track,
    Warning, coarse_all,
};
use crate::Cancel;

/// Shares of the work, as far as a person waits: the search, then samples.
const SEARCH_SHARE: f32 = 0.4;

/// Places every member. `known` holds pairs of earlier calls, by members of this one
/// (a < b): they are neither searched nor measured again. `progress` is told 0 to 1.
/// `None` when cancelled.
///
/// Contradictory or meaningless input is no error: what can't be placed is unplaced.
/// Cost: the search is by FFT over band levels; each recording is read at some 40
/// instants for each pair that shares sound, the same ones for all pairs where they
/// serve, however long it is.
pub fn align(
    members: &[Member],
    known: &BTreeMap<(usize, usize), Pair>,
    samples: &mut dyn Samples,
    params: &ClockParams,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<Solution> {
    let tracks: Vec<&Track> = members.iter().map(|member| member.track).collect();
    let searched = search(members, &tracks, known, params, cancel, progress)?;
    let mut pairs = BTreeMap::new();
    let mut wanted = Vec::new();
    for (key, coarse) in searched {
        let (a, b) = key;
        if a >= b || b >= members.len() {
            continue;
        }
        let pair = match known.get(&key) {
            Some(pair) => pair.clone(),
            None => {
                let pair = of_coarse(&coarse);
                if pair.finding == Finding::Shared {
                    wanted.push(key);
                }
                pair
            }
        };
        pairs.insert(key, pair);
    }
    let mut told = |done: f32| progress(SEARCH_SHARE + (1.0 - SEARCH_SHARE) * done);
    let mute = measure(members, &mut pairs, &wanted, samples, cancel, &mut told)?;
    let (mut placed, warnings) = solve(members, &mut pairs);
    for member in mute {
        placed[member].warnings.push(Warning::Unreadable { member });
    }
    progress(1.0);
    Some(Solution {
        placed,
        pairs,
        warnings,
    })
}

/// What every pair has in common, the known ones unasked; channels of one file by
/// their samples, pieces of a take nothing.
fn search(
    members: &[Member],
    tracks: &[&Track],
    known: &BTreeMap<(usize, usize), Pair>,
    params: &ClockParams,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<BTreeMap<(usize, usize), Coarse>> {
    let mut given: BTreeMap<(usize, usize), Coarse> = known
        .iter()
        .filter(|((a, b), _)| a < b && *b < members.len())
        .map(|(key, pair)| (*key, to_coarse(pair)))
        .collect();
    for (a, b) in rigid(members) {
        let coarse = if members[a].file == members[b].file {
            let end = members[a].duration_ms.min(members[b].duration_ms);
            Coarse::Shared(vec![Support {
                line: Line {
                    here_ms: 0.0,
                    there_ms: 0.0,
                    ppm: 0.0,
                },
                from_ms: 0.0,
                to_ms: end.max(0.0),
                blocks: 1,
                against: 0,
                strength: 0.0,
            }])
        } else {
            Coarse::Nothing
        };
        given.entry((a, b)).or_insert(coarse);
    }
    let mut told = |done: f32| progress(SEARCH_SHARE * done);
    coarse_all(tracks, &given, params, cancel, &mut told)
}

fn of_coarse(coarse: &Coarse) -> Pair {
    let (finding, supports): (Finding, &[Support]) = match coarse {
        Coarse::Nothing => (Finding::Nothing, &[]),
        Coarse::Shared(supports) => (Finding::Shared, supports),
        Coarse::Tie(supports) => (Finding::Tie, supports),
    };
    let stretches = supports.iter().map(|support| Stretch {
        line: support.line,
        from_ms: support.from_ms,
        to_ms: support.to_ms,
        blocks: support.blocks,
        against: support.against,
        strength: support.strength,
        fine: None,
    });
    Pair {
        finding,
        stretches: stretches.collect(),
        used: false,
    }
}

fn to_coarse(pair: &Pair) -> Coarse {
    let supports = pair.stretches.iter().map(|stretch| Support {
        line: stretch.line,
        from_ms: stretch.from_ms,
        to_ms: stretch.to_ms,
        blocks: stretch.blocks,
        against: stretch.against,
        strength: stretch.strength,
    });
    match pair.finding {
        Finding::Nothing => Coarse::Nothing,
        Finding::Shared => Coarse::Shared(supports.collect()),
        Finding::Tie => Coarse::Tie(supports.collect()),
    }
}
