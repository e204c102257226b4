//! The best of very many, without holding more than those.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

/// Keeps the likest so many of whatever is offered, of equals the first by key.
#[derive(Clone, Debug)]
pub struct Nearest<K> {
    most: usize,
    heap: BinaryHeap<Reverse<Near<K>>>,
}

#[derive(Clone, Debug, PartialEq)]
struct Near<K> {
    likeness: f32,
    key: Reverse<K>,
}

impl<K: Ord> Eq for Near<K> {}

impl<K: Ord> PartialOrd for Near<K> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<K: Ord> Ord for Near<K> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.likeness
            .total_cmp(&other.likeness)
            .then_with(|| self.key.cmp(&other.key))
    }
}

impl<K: Ord> Nearest<K> {
    /// Of at most so many.
    #[must_use]
    pub fn new(most: usize) -> Self {
        Self {
            most,
            heap: BinaryHeap::new(),
        }
    }

    /// The likeness that a further one must exceed to be kept.
    #[must_use]
    pub fn least(&self) -> f32 {
        match self.heap.peek() {
            Some(Reverse(last)) if self.heap.len() >= self.most => last.likeness,
            _ => f32::NEG_INFINITY,
        }
    }

    /// Offers one.
    pub fn offer(&mut self, likeness: f32, key: K) {
        if likeness < self.least() {
            return;
        }
        let key = Reverse(key);
        self.heap.push(Reverse(Near { likeness, key }));
        if self.heap.len() > self.most {
            self.heap.pop();
        }
    }

    /// Those kept, the likest first.
    #[must_use]
    pub fn finish(self) -> Vec<(f32, K)> {
        let sorted = self.heap.into_sorted_vec();
        let near = sorted.into_iter().map(|Reverse(near)| near);
        near.map(|near| (near.likeness, near.key.0)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn none_are_kept_of_none() {
        let mut none = Nearest::new(0);
        none.offer(1.0, 1);
        assert_eq!(none.finish(), []);
    }

    proptest! {
        #[test]
        fn the_same_as_sorting_all(all in prop::collection::vec(0_u8..20, 0..60), most in 0_usize..20) {
            let mut nearest = Nearest::new(most);
            for (key, likeness) in all.iter().enumerate() {
                nearest.offer(f32::from(*likeness), key);
            }
            let mut sorted: Vec<(f32, usize)> =
                all.iter().map(|x| f32::from(*x)).zip(0..).collect();
            sorted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
            sorted.truncate(most);
            prop_assert_eq!(nearest.finish(), sorted);
        }
    }
}
