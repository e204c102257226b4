//! Precision, recall and F1 over frames of 10 ms.

use std::collections::BTreeMap;

/// How often a detector was right, in frames.
#[derive(Clone, Copy, Debug, Default)]
pub struct Score {
    hit: u64,
    extra: u64,
    missed: u64,
}

impl Score {
    /// Counts one file's frames; frames past the shorter of the two are left
    /// out.
    pub fn add(&mut self, truth: &[bool], found: &[bool]) {
        for (truth, found) in truth.iter().zip(found) {
            match (truth, found) {
                (true, true) => self.hit += 1,
                (false, true) => self.extra += 1,
                (true, false) => self.missed += 1,
                (false, false) => {}
            }
        }
    }

    /// Share of the found frames that are speech.
    pub fn precision(&self) -> f64 {
        share(self.hit, self.extra)
    }

    /// Share of the speech frames that were found.
    pub fn recall(&self) -> f64 {
        share(self.hit, self.missed)
    }

    /// Harmonic mean of the two.
    pub fn f1(&self) -> f64 {
        share(2 * self.hit, self.extra + self.missed)
    }
}

fn share(part: u64, rest: u64) -> f64 {
    if part + rest == 0 {
        return 0.0;
    }
    part as f64 / (part + rest) as f64
}

/// Scores by set (in order of first mention) and detector.
#[derive(Default)]
pub struct Table {
    sets: Vec<String>,
    scores: BTreeMap<(String, String), Score>,
}

impl Table {
    /// Counts one detector's frames on one file.
    pub fn add(&mut self, set: &str, detector: &str, truth: &[bool], found: &[bool]) {
        if !self.sets.iter().any(|known| known == set) {
            self.sets.push(set.to_owned());
        }
        self.scores
            .entry((set.to_owned(), detector.to_owned()))
            .or_default()
            .add(truth, found);
    }

    /// The sets in order.
    pub fn sets(&self) -> &[String] {
        &self.sets
    }

    /// One cell.
    pub fn score(&self, set: &str, detector: &str) -> Score {
        self.scores
            .get(&(set.to_owned(), detector.to_owned()))
            .copied()
            .unwrap_or_default()
    }

    /// Of `detectors`, the one with the best F1 on `set`.
    pub fn best<'a>(&self, set: &str, detectors: &[&'a str]) -> &'a str {
        let mut best = detectors[0];
        for name in detectors {
            if self.score(set, name).f1() > self.score(set, best).f1() {
                best = name;
            }
        }
        best
    }
}
