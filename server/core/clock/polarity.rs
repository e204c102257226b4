//! Whose polarity is the other way round?
//!
//! Each pair that was measured says whether one is the other turned over. Pairs are
//! taken the surest first, and what each recording is against the others follows, as
//! far as they share sound.

use std::collections::BTreeMap;

use super::{Finding, Pair};

/// Share of the points beyond which a pair is turned over, and one less this below
/// which it is not.
const SURE: f32 = 0.75;
/// Fewer points say nothing.
const LEAST_POINTS: u32 = 5;

/// Who is turned over against most of those it shares sound with, and against whom that
/// is told best: by member, `count` of them.
pub(super) fn inverted(
    count: usize,
    pairs: &BTreeMap<(usize, usize), Pair>,
) -> Vec<(usize, usize)> {
    let mut edges: Vec<(f32, usize, usize, bool)> = pairs
        .iter()
        .filter(|((a, b), pair)| pair.finding == Finding::Shared && a != b && *a.max(b) < count)
        .filter_map(|((a, b), pair)| {
            let fine = pair.main()?.fine?;
            let turned = fine.inverted >= SURE;
            let told = turned || fine.inverted <= 1.0 - SURE;
            let sure = fine.points as f32 * fine.alike * (2.0 * fine.inverted - 1.0).abs();
            (told && fine.points >= LEAST_POINTS).then_some((sure, *a, *b, turned))
        })
        .collect();
    edges.sort_by(|x, y| y.0.total_cmp(&x.0));
    // By member: its group, and whether it is turned over in it.
    let mut groups: Vec<(usize, bool)> = (0..count).map(|n| (n, false)).collect();
    for (_, a, b, turned) in &edges {
        let (one, other) = (groups[*a], groups[*b]);
        if one.0 == other.0 {
            continue;
        }
        let flip = one.1 ^ other.1 ^ turned;
        for member in groups.iter_mut().filter(|member| member.0 == other.0) {
            *member = (one.0, member.1 ^ flip);
        }
    }
    let size = |group: usize, way: bool| groups.iter().filter(|m| **m == (group, way)).count();
    let mut found = Vec::new();
    for (member, (group, way)) in groups.iter().enumerate() {
        // Of two as many, the one that came later.
        let (mine, others) = (size(*group, *way), size(*group, !way));
        let first = groups.iter().position(|other| other.0 == *group);
        let is_first = first.is_some_and(|first| groups[first].1 == *way);
        if others == 0 || mine > others || mine == others && is_first {
            continue;
        }
        let against = edges.iter().find_map(|(_, a, b, turned)| {
            let other = match (*a == member, *b == member) {
                (true, _) => *b,
                (_, true) => *a,
                _ => return None,
            };
            (*turned && groups[other].1 != *way).then_some(other)
        });
        found.extend(against.map(|against| (member, against)));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::{Fine, Line, Stretch};

    fn pair(inverted: f32, points: u32) -> Pair {
        let fine = Fine {
            uncertainty_ms: 0.4,
            ppm_uncertainty: 1.0,
            residual_ms: 0.3,
            agreement: 0.9,
            points,
            alike: 0.5,
            gain_db: 0.0,
            inverted,
        };
        Pair {
            finding: Finding::Shared,
            stretches: vec![Stretch {
                line: Line {
                    here_ms: 0.0,
                    there_ms: 0.0,
                    ppm: 0.0,
                },
                from_ms: 0.0,
                to_ms: 60_000.0,
                blocks: 3,
                against: 0,
                strength: 9.0,
                fine: Some(fine),
            }],
            used: true,
            mute: (false, false),
        }
    }

    #[test]
    fn the_fewer_are_turned_over() {
        let three = |last: Pair| {
            BTreeMap::from([
                ((0, 1), pair(1.0, 40)),
                ((0, 2), pair(0.9, 20)),
                ((1, 2), last),
            ])
        };
        assert_eq!(inverted(3, &three(pair(0.0, 30))), [(0, 1)]);
        // What contradicts surer pairs is not believed.
        assert_eq!(inverted(3, &three(pair(1.0, 6))), [(0, 1)]);
        // Of two it is the later; undecided and few points say nothing.
        let two = |pair: Pair| inverted(2, &BTreeMap::from([((0, 1), pair)]));
        assert_eq!(two(pair(0.8, 40)), [(1, 0)]);
        for nothing in [pair(0.5, 40), pair(1.0, 4), pair(0.1, 40)] {
            assert_eq!(two(nothing), []);
        }
    }
}
