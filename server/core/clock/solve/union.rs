//! Which things hang together?

/// Sets that are joined one by one (union by the smaller index, with halving of
/// paths).
#[derive(Clone, Debug)]
pub(super) struct Union(Vec<usize>);

impl Union {
    pub fn new(size: usize) -> Self {
        Self((0..size).collect())
    }

    /// The smallest member of the set.
    pub fn root(&mut self, mut n: usize) -> usize {
        while self.0[n] != n {
            self.0[n] = self.0[self.0[n]];
            n = self.0[n];
        }
        n
    }

    /// Joins two sets; whether they were apart.
    pub fn join(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
        a != b
    }
}
