//! Which of the last frames are still held?

use std::collections::VecDeque;

/// A queue whose entries keep the number they came in with.
#[derive(Clone, Debug)]
pub(super) struct Numbered<T> {
    first: usize,
    items: VecDeque<T>,
}

impl<T> Numbered<T> {
    /// An empty queue whose first entry will have the number `first`.
    pub fn from(first: usize) -> Self {
        Self {
            first,
            items: VecDeque::new(),
        }
    }

    /// The number the next entry will have.
    pub fn next(&self) -> usize {
        self.first + self.items.len()
    }

    /// Adds the entry of that number.
    pub fn push(&mut self, item: T) {
        self.items.push_back(item);
    }

    /// Entry `number`, or the nearest one held; `None` when empty.
    pub fn nearest(&self, number: usize) -> Option<&T> {
        let last = self.items.len().checked_sub(1)?;
        self.items.get(number.saturating_sub(self.first).min(last))
    }

    /// The same, to change it.
    pub fn nearest_mut(&mut self, number: usize) -> Option<&mut T> {
        let last = self.items.len().checked_sub(1)?;
        self.items
            .get_mut(number.saturating_sub(self.first).min(last))
    }

    /// The entries held of `numbers`.
    pub fn range(&self, numbers: std::ops::Range<usize>) -> impl Iterator<Item = &T> {
        let from = numbers
            .start
            .saturating_sub(self.first)
            .min(self.items.len());
        let to = numbers.end.saturating_sub(self.first).min(self.items.len());
        self.items.range(from..to.max(from))
    }

    /// Forgets the entries before `number`, but never the last one.
    pub fn forget_before(&mut self, number: usize) {
        while self.items.len() > 1 && self.first < number {
            self.items.pop_front();
            self.first += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_keep_their_numbers() {
        let mut queue = Numbered::from(5);
        assert!(queue.nearest(5).is_none());
        for item in ["five", "six", "seven"] {
            queue.push(item);
        }
        queue.forget_before(6);
        assert_eq!(queue.next(), 8);
        assert_eq!(queue.nearest(0), Some(&"six"));
        assert_eq!(queue.nearest(7), Some(&"seven"));
        assert_eq!(queue.nearest(99), Some(&"seven"));
        assert_eq!(queue.range(0..7).collect::<Vec<_>>(), [&"six"]);
        queue.forget_before(100);
        assert_eq!(queue.nearest(0), Some(&"seven"));
    }
}
