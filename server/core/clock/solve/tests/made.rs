//! Made-up measurements, with the truth known.

use std::collections::BTreeMap;

use crate::clock::*;

/// A small generator for tests (Knuth's MMIX numbers), uniform in 0..1.
pub(super) struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.roll()
    }

    /// About normal, deviation 1 (sum of twelve).
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.roll()).sum::<f64>() - 6.0
    }
}

/// Where a recording truly lies.
#[derive(Clone, Debug)]
pub(super) struct True {
    pub start: f64,
    pub ppm: f64,
    pub length: f64,
}

impl True {
    pub fn new(start: f64, ppm: f64, length: f64) -> Self {
        Self { start, ppm, length }
    }

    pub fn placement(&self) -> Placement {
        Placement::even(self.start, self.ppm)
    }

    pub fn line_to(&self, other: &Self) -> Line {
        let (a, b) = (self.placement(), other.placement());
        let middle = 0.5 * self.length;
        let there = b.file_at(a.event_at(middle));
        Line {
            here_ms: middle,
            there_ms: there,
            ppm: ((1.0 + other.ppm / 1e6) / (1.0 + self.ppm / 1e6) - 1.0) * 1e6,
        }
    }
}

pub(super) fn stretch(line: Line, from_ms: f64, to_ms: f64) -> Stretch {
    Stretch {
        line,
        from_ms,
        to_ms,
        blocks: 20,
        against: 0,
        strength: 20.0,
        fine: Some(Fine {
            uncertainty_ms: 0.5,
            ppm_uncertainty: 0.5,
            residual_ms: 0.3,
            agreement: 0.9,
            points: 40,
            alike: 0.4,
            gain_db: 0.0,
            inverted: 0.0,
        }),
    }
}

pub(super) fn pair(stretches: Vec<Stretch>) -> Pair {
    Pair {
        finding: Finding::Shared,
        stretches,
        used: false,
        mute: (false, false),
    }
}

/// The true measurement between two recordings; `None` where they don't overlap for
/// ten seconds.
pub(super) fn measured(a: &True, b: &True) -> Option<Pair> {
    let mut line = a.line_to(b);
    let from = line.map_back(0.0).max(0.0);
    let to = line.map_back(b.length).min(a.length);
    if to - from < 10_000.0 {
        return None;
    }
    let middle = 0.5 * (from + to);
    line = Line {
        here_ms: middle,
        there_ms: line.map(middle),
        ppm: line.ppm,
    };
    Some(pair(vec![stretch(line, from, to)]))
}

pub(super) fn all_pairs(truth: &[True]) -> BTreeMap<(usize, usize), Pair> {
    let mut pairs = BTreeMap::new();
    for a in 0..truth.len() {
        for b in a + 1..truth.len() {
            pairs.extend(measured(&truth[a], &truth[b]).map(|pair| ((a, b), pair)));
        }
    }
    pairs
}

pub(super) fn no_track() -> Track {
    TrackMaker::new().finish()
}

pub(super) fn members<'a>(truth: &[True], track: &'a Track) -> Vec<Member<'a>> {
    let one = |(n, t): (usize, &True)| Member {
        track,
        duration_ms: t.length,
        source: n,
        file: n,
        take: None,
        stamps: Vec::new(),
        fix: None,
        before: None,
        speech: &[],
    };
    truth.iter().enumerate().map(one).collect()
}

/// The largest error of mapping instants of each recording into the first, ms.
pub(super) fn worst(truth: &[True], placed: &[Placed], which: &[usize]) -> f64 {
    let mut worst = 0.0_f64;
    for &n in which {
        let overlap_from = truth[n].start.max(truth[which[0]].start);
        for k in 0..5 {
            let event = overlap_from + k as f64 * 60_000.0;
            let (a, b) = (&truth[n], &truth[which[0]]);
            let said = placed[which[0]]
                .placement
                .file_at(placed[n].placement.event_at(a.placement().file_at(event)));
            worst = worst.max((said - b.placement().file_at(event)).abs());
        }
    }
    worst
}

pub(super) const HOUR: f64 = 3_600_000.0;

pub(super) fn three() -> Vec<True> {
    vec![
        True::new(0.0, 20.0, HOUR),
        True::new(600_000.0, -40.0, HOUR),
        True::new(1_200_000.5, 80.0, HOUR),
    ]
}

/// The members with where they lay before.
pub(super) fn lain<'a>(mut members: Vec<Member<'a>>, old: &[Placed]) -> Vec<Member<'a>> {
    for (member, place) in members.iter_mut().zip(old) {
        member.before = Some(Before {
            placement: place.placement.clone(),
            island: place.island,
            how: place.how,
        });
    }
    members
}
