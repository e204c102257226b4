//! Which of these windows are one person's?
//!
//! Agglomerative clustering: the two most alike groups become one, until no two are
//! alike enough. Likeness of two groups is the mean over all their pairs (Sokal and
//! Michener 1958). The pairs are found along chains of nearest neighbours (Murtagh,
//! *The Computer Journal* 26(4), 1983), which gives the same groups.

use super::voice::alike;
use super::weights::WIDTH;

/// So many windows are grouped with each other; further ones go to the group they are
/// like. Time and memory grow with the square: 1,500 take 9 MB.
const MOST: usize = 1_500;

/// Those are held against so many groups, the largest: against each of 1,500, as what
/// is no voice at all makes them, 8 hours would take half a minute.
const NEAREST_OF: usize = 100;

/// What is like no group is grouped once more, so many times in all: somebody who
/// speaks for 10 s of 10 hours is not among the first. After that the nearest has it.
const ROUNDS: usize = 3;

/// The groups while they grow.
struct Groups {
    count: usize,
    /// Likeness of each pair, as a square.
    likeness: Vec<f32>,
    /// Voices in each group.
    sizes: Vec<f32>,
    /// The group each voice is in.
    of: Vec<usize>,
    /// Groups that may still grow.
    open: Vec<bool>,
}

/// The group of each voice, by numbers from 0 in the order of their first voices.
pub(super) fn cluster(voices: &[&[f32]], alike_from: f32) -> Vec<usize> {
    let mut of = vec![0; voices.len()];
    let mut left: Vec<(usize, &[f32])> = voices.iter().copied().enumerate().collect();
    let mut next = 0;
    for round in 1..=ROUNDS {
        let stride = left.len().div_ceil(MOST).max(1);
        let seeds: Vec<&[f32]> = left
            .iter()
            .step_by(stride)
            .map(|(_, voice)| *voice)
            .collect();
        let groups = grown(&seeds, alike_from);
        let largest = groups.largest(&seeds);
        let enough = if round < ROUNDS {
            alike_from
        } else {
            f32::NEG_INFINITY
        };
        let mut others = Vec::new();
        for (place, (n, voice)) in left.into_iter().enumerate() {
            let seed = groups
                .of
                .get(place / stride)
                .filter(|_| place % stride == 0);
            let group = seed
                .copied()
                .or_else(|| most_alike(&largest, voice, enough));
            match (group, of.get_mut(n)) {
                (Some(group), Some(of)) => *of = next + group,
                _ => others.push((n, voice)),
            }
        }
        next += seeds.len();
        left = others;
    }
    numbered(of)
}

/// Groups that are as large as they become.
fn grown(seeds: &[&[f32]], alike_from: f32) -> Groups {
    let mut groups = Groups::new(seeds);
    let mut chain: Vec<usize> = Vec::new();
    while let Some(top) = chain.last().copied().or_else(|| groups.any()) {
        if chain.is_empty() {
            chain.push(top);
        }
        let before = chain
            .len()
            .checked_sub(2)
            .and_then(|n| chain.get(n))
            .copied();
        match groups
            .nearest(top, before)
            .filter(|(_, likeness)| *likeness >= alike_from)
        {
            // Nothing that others become can be nearer than what they are of.
            None => {
                groups.close(top);
                chain.pop();
            }
            Some((next, _)) if Some(next) == before => {
                groups.join(next, top);
                chain.truncate(chain.len() - 2);
            }
            Some((next, _)) => chain.push(next),
        }
    }
    groups
}

impl Groups {
    fn new(voices: &[&[f32]]) -> Self {
        let rows = voices
            .iter()
            .flat_map(|a| voices.iter().map(|b| alike(a, b)));
        Self {
            count: voices.len(),
            likeness: rows.collect(),
            sizes: vec![1.0; voices.len()],
            of: (0..voices.len()).collect(),
            open: vec![true; voices.len()],
        }
    }

    fn any(&self) -> Option<usize> {
        self.open.iter().position(|open| *open)
    }

    fn row(&self, group: usize) -> &[f32] {
        let start = group * self.count;
        self.likeness
            .get(start..start + self.count)
            .unwrap_or_default()
    }

    /// The most alike of the other groups, of several that are as alike the one that
    /// came before.
    fn nearest(&self, group: usize, before: Option<usize>) -> Option<(usize, f32)> {
        let row = self.row(group).iter().zip(&self.open).enumerate();
        let others = row.filter(|(n, (_, open))| **open && *n != group);
        others
            .map(|(n, (likeness, _))| (n, *likeness))
            .max_by(|a, b| {
                a.1.total_cmp(&b.1)
                    .then((Some(a.0) == before).cmp(&(Some(b.0) == before)))
            })
    }

    fn close(&mut self, group: usize) {
        if let Some(open) = self.open.get_mut(group) {
            *open = false;
        }
    }

    /// The second becomes a part of the first.
    fn join(&mut self, a: usize, b: usize) {
        let size = |n: usize| self.sizes.get(n).copied().unwrap_or(1.0);
        let (of_a, of_b) = (size(a), size(b));
        let both = self.row(a).iter().zip(self.row(b));
        let mean = |(x, y): (&f32, &f32)| (of_a * x + of_b * y) / (of_a + of_b);
        let row: Vec<f32> = both.map(mean).collect();
        for (n, likeness) in row.into_iter().enumerate() {
            for place in [a * self.count + n, n * self.count + a] {
                if let Some(to) = self.likeness.get_mut(place) {
                    *to = likeness;
                }
            }
        }
        if let Some(size) = self.sizes.get_mut(a) {
            *size = of_a + of_b;
        }
        self.of
            .iter_mut()
            .filter(|of| **of == b)
            .for_each(|of| *of = a);
        self.close(b);
    }

    /// Of each of the largest groups its number and the mean of its voices.
    fn largest(&self, voices: &[&[f32]]) -> Vec<(usize, Vec<f32>)> {
        let mut sums: Vec<(usize, Vec<f32>)> = Vec::new();
        for (voice, group) in voices.iter().zip(&self.of) {
            let share = 1.0 / self.sizes.get(*group).copied().unwrap_or(1.0);
            let place = sums.iter().position(|(of, _)| of == group);
            let place = place.unwrap_or_else(|| {
                sums.push((*group, vec![0.0; WIDTH]));
                sums.len() - 1
            });
            if let Some((_, sum)) = sums.get_mut(place) {
                sum.iter_mut()
                    .zip(*voice)
                    .for_each(|(to, x)| *to += share * x);
            }
        }
        let size = |of: usize| self.sizes.get(of).copied().unwrap_or(1.0);
        sums.sort_by(|a, b| size(b.0).total_cmp(&size(a.0)));
        sums.truncate(NEAREST_OF);
        sums
    }
}

/// The group whose voices one is most like on average, if it is like them.
fn most_alike(means: &[(usize, Vec<f32>)], voice: &[f32], alike_from: f32) -> Option<usize> {
    let each = means
        .iter()
        .map(|(group, mean)| (*group, alike(mean, voice)));
    let most = each.max_by(|a, b| a.1.total_cmp(&b.1))?;
    (most.1 >= alike_from).then_some(most.0)
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
    use proptest::prelude::*;

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

    /// The two most alike groups become one, as long as they are alike enough.
    fn naive(voices: &[&[f32]], alike_from: f32) -> Vec<usize> {
        let mut groups: Vec<Vec<usize>> = (0..voices.len()).map(|n| vec![n]).collect();
        loop {
            let mut best = (f32::NEG_INFINITY, 0, 0);
            for a in 0..groups.len() {
                for b in a + 1..groups.len() {
                    let pairs = groups[a]
                        .iter()
                        .flat_map(|x| groups[b].iter().map(move |y| (x, y)));
                    let sum: f32 = pairs.map(|(x, y)| alike(voices[*x], voices[*y])).sum();
                    let mean = sum / (groups[a].len() * groups[b].len()) as f32;
                    if mean > best.0 {
                        best = (mean, a, b);
                    }
                }
            }
            if best.0 < alike_from {
                let group = |n| groups.iter().position(|group| group.contains(&n)).unwrap();
                return numbered((0..voices.len()).map(group).collect());
            }
            let gone = groups.remove(best.2);
            groups[best.1].extend(gone);
        }
    }

    proptest! {
        #[test]
        fn chains_give_what_the_rule_gives(
            numbers in prop::collection::vec(prop::collection::vec(0.0_f32..1.0, 3), 0..12),
            alike_from in 0.2_f32..1.0,
        ) {
            let voice = |row: &Vec<f32>| {
                let length = row.iter().map(|x| x * x).sum::<f32>().sqrt().max(1e-6);
                let mut voice = vec![0.0; WIDTH];
                voice.iter_mut().zip(row).for_each(|(to, x)| *to = x / length);
                voice
            };
            let voices: Vec<Vec<f32>> = numbers.iter().map(voice).collect();
            let lent: Vec<&[f32]> = voices.iter().map(Vec::as_slice).collect();
            prop_assert_eq!(cluster(&lent, alike_from), naive(&lent, alike_from));
        }
    }

    #[test]
    fn more_than_can_be_compared_go_to_the_nearest() {
        let voices: Vec<Vec<f32>> = (0..2 * MOST).map(|n| near(n / 7 % 3, n % 50)).collect();
        let lent: Vec<&[f32]> = voices.iter().map(Vec::as_slice).collect();
        let found = cluster(&lent, 0.6);
        assert!((0..found.len()).all(|n| found[n] == n / 7 % 3));
    }

    #[test]
    fn one_who_is_not_among_the_first_is_a_group_too() {
        // Every fourth is looked at first; the second voice is none of those.
        let rare = |n: usize| [801, 802, 803].contains(&n);
        let voice = |n| near(if rare(n) { 5 } else { 3 }, n % 50);
        let voices: Vec<Vec<f32>> = (0..4 * MOST).map(voice).collect();
        let lent: Vec<&[f32]> = voices.iter().map(Vec::as_slice).collect();
        let found = cluster(&lent, 0.6);
        assert!((0..found.len()).all(|n| found[n] == usize::from(rare(n))));
    }
}
