//! Which of these windows are one person's?
//!
//! Agglomerative clustering: the two most alike groups become one, until no two are
//! alike enough. Likeness of two groups is the mean over all their pairs (Sokal and
//! Michener 1958), which for voices of length 1 is the product of their means.

use super::voice::alike;
use super::weights::WIDTH;

/// So many windows are grouped with each other; further ones go to the nearest group.
/// The cost grows with the square: 1,500 take about a second.
const MOST: usize = 1_500;

/// A group while it grows.
struct Group {
    sum: Vec<f32>,
    count: f32,
    /// The most alike group with a higher number, and how alike.
    best: Option<(usize, f32)>,
}

/// The group of each voice, by numbers from 0 in the order of their first voices.
pub(super) fn cluster(voices: &[&[f32]], alike_from: f32) -> Vec<usize> {
    let stride = voices.len().div_ceil(MOST).max(1);
    let seeds: Vec<&[f32]> = voices.iter().copied().step_by(stride).collect();
    let mut groups: Vec<Option<Group>> = seeds
        .iter()
        .map(|voice| {
            Some(Group {
                sum: voice.to_vec(),
                count: 1.0,
                best: None,
            })
        })
        .collect();
    let mut of: Vec<usize> = (0..seeds.len()).collect();
    for n in 0..groups.len() {
        nearest(&mut groups, n);
    }
    while let Some((a, b)) = closest(&groups, alike_from) {
        join(&mut groups, a, b);
        of.iter_mut().filter(|of| **of == b).for_each(|of| *of = a);
        // Whose nearest was one of the two looks again, and those before it.
        for n in 0..groups.len() {
            let touched = n == a
                || groups[n].as_ref().is_some_and(|group| {
                    group.best.is_some_and(|(best, _)| best == a || best == b)
                });
            if touched {
                nearest(&mut groups, n);
            } else if n < a {
                offer(&mut groups, n, a);
            }
        }
    }
    let group_of = |(n, voice): (usize, &&[f32])| {
        if n % stride == 0 {
            of[n / stride]
        } else {
            most_alike(&groups, voice)
        }
    };
    numbered(voices.iter().enumerate().map(group_of).collect())
}

fn likeness(a: &Group, b: &Group) -> f32 {
    alike(&a.sum, &b.sum) / (a.count * b.count)
}

fn nearest(groups: &mut [Option<Group>], n: usize) {
    let best = groups.get(n).and_then(Option::as_ref).and_then(|group| {
        let later = groups.iter().enumerate().skip(n + 1);
        later
            .filter_map(|(m, other)| Some((m, likeness(group, other.as_ref()?))))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    });
    if let Some(Some(group)) = groups.get_mut(n) {
        group.best = best;
    }
}

/// A group that changed may now be the nearest.
fn offer(groups: &mut [Option<Group>], n: usize, changed: usize) {
    let (Some(Some(group)), Some(Some(other))) = (groups.get(n), groups.get(changed)) else {
        return;
    };
    let likeness = likeness(group, other);
    if group.best.is_none_or(|(_, best)| likeness > best)
        && let Some(Some(group)) = groups.get_mut(n)
    {
        group.best = Some((changed, likeness));
    }
}

fn closest(groups: &[Option<Group>], alike_from: f32) -> Option<(usize, usize)> {
    let each = groups.iter().enumerate();
    let pairs = each.filter_map(|(n, group)| group.as_ref()?.best.map(|best| (n, best)));
    let (n, (m, alike)) = pairs.max_by(|a, b| a.1.1.total_cmp(&b.1.1))?;
    (alike >= alike_from).then_some((n, m))
}

fn join(groups: &mut [Option<Group>], a: usize, b: usize) {
    let Some(gone) = groups.get_mut(b).and_then(Option::take) else {
        return;
    };
    if let Some(Some(group)) = groups.get_mut(a) {
        group
            .sum
            .iter_mut()
            .zip(&gone.sum)
            .for_each(|(to, x)| *to += x);
        group.count += gone.count;
    }
}

fn most_alike(groups: &[Option<Group>], voice: &[f32]) -> usize {
    let each = groups.iter().enumerate();
    let likeness = |group: &Group| alike(&group.sum, voice) / group.count;
    each.filter_map(|(n, group)| Some((n, likeness(group.as_ref()?))))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(0, |(n, _)| n)
}

/// Numbers from 0 in the order of first appearance.
fn numbered(of: Vec<usize>) -> Vec<usize> {
    let mut order: Vec<usize> = Vec::new();
    let mut number = |group: usize| {
        order
            .iter()
            .position(|seen| *seen == group)
            .unwrap_or_else(|| {
                order.push(group);
                order.len() - 1
            })
    };
    of.into_iter().map(&mut number).collect()
}

/// A voice has this many numbers; others are never alike.
pub(super) fn usable(voice: &[f32]) -> bool {
    voice.len() == WIDTH && voice.iter().all(|x| x.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A voice near an axis.
    fn near(axis: usize, off: usize) -> Vec<f32> {
        let mut voice = vec![0.0; WIDTH];
        voice[axis] = 0.95;
        voice[100 + off] = (1.0_f32 - 0.95 * 0.95).sqrt();
        voice
    }

    #[test]
    fn voices_near_each_other_are_one_group() {
        let voices: Vec<Vec<f32>> = [7, 3, 7, 7, 3, 50]
            .iter()
            .zip(0..)
            .map(|(axis, n)| near(*axis, n))
            .collect();
        let lent: Vec<&[f32]> = voices.iter().map(Vec::as_slice).collect();
        assert_eq!(cluster(&lent, 0.6), [0, 1, 0, 0, 1, 2]);
        assert_eq!(cluster(&lent, 0.99), [0, 1, 2, 3, 4, 5]);
        assert_eq!(cluster(&lent, -1.0), [0; 6]);
        assert_eq!(cluster(&[], 0.6), [0; 0]);
    }

    #[test]
    fn more_than_can_be_compared_go_to_the_nearest() {
        let voices: Vec<Vec<f32>> = (0..2 * MOST).map(|n| near(n / 7 % 3, n % 50)).collect();
        let lent: Vec<&[f32]> = voices.iter().map(Vec::as_slice).collect();
        let found = cluster(&lent, 0.6);
        assert!((0..found.len()).all(|n| found[n] == n / 7 % 3));
    }
}
