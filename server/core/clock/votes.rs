//! Which places do single blocks of sound vote for, and on which lines do the
//! votes lie?

use super::field::Field;
use super::fit::median;
use super::prepared::Moves;

/// Places a block may vote for, and frames between two of them.
const VOTES: usize = 4;
const APART: usize = 5;

/// Least height of a vote, in robust standard deviations over all places. Among
/// the 360,000 places of four hours chance reaches 4.5 (normal distribution); the
/// lines the votes lie on are looked at again, so one too many costs only time.
const LEAST: f32 = 4.5;

/// Votes of a line lie within this many frames of it: half a frame of each of two
/// blocks' middles, and the ripple of voices at different distances (100 ms).
const NEAR: f64 = 2.5;

/// Lines that are looked for, and votes they are looked for from.
const LINES: usize = 8;
const SEEDS: usize = 48;

/// A block of the first recording seems to be at a place of the second. Middles
/// of the block, frames.
#[derive(Clone, Copy, Debug)]
pub(super) struct Vote {
    pub here: f64,
    pub there: f64,
    pub height: f32,
}

impl Vote {
    fn lag(&self) -> f64 {
        self.there - self.here
    }

    pub(super) fn turned(self) -> Self {
        Self {
            here: self.there,
            there: self.here,
            ..self
        }
    }
}

/// A line the votes lie on: lag in frames at a place, and how it changes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Guess {
    pub here: f64,
    pub lag: f64,
    pub ppm: f64,
    pub height: f32,
}

impl Guess {
    pub(super) fn lag_at(&self, here: f64) -> f64 {
        self.lag + (here - self.here) * self.ppm / 1e6
    }
}

/// The places a block that starts at frame `from` votes for.
pub(super) fn votes_of(block: &[Moves], from: usize, field: &mut Field<'_>) -> Vec<Vote> {
    let mut fit = field.products(block);
    if fit.is_empty() {
        return Vec::new();
    }
    // Loud places fit anything well.
    for (fit, size) in fit.iter_mut().zip(field.sizes(block.len())) {
        *fit /= size;
    }
    let (middle, spread) = spread(&fit);
    if spread <= 0.0 {
        return Vec::new();
    }
    let least = middle + LEAST * spread;
    let mut peaks: Vec<(usize, f32)> = Vec::new();
    for (place, &height) in fit.iter().enumerate() {
        if height < least {
            continue;
        }
        let before = place.checked_sub(1).map_or(f32::MIN, |n| fit[n]);
        let after = fit.get(place + 1).copied().unwrap_or(f32::MIN);
        if height < before || height <= after {
            continue;
        }
        match peaks.last_mut() {
            Some(last) if place - last.0 < APART => {
                if height > last.1 {
                    *last = (place, height);
                }
            }
            _ => peaks.push((place, height)),
        }
    }
    peaks.sort_by(|a, b| b.1.total_cmp(&a.1));
    peaks.truncate(VOTES);
    let half = block.len() as f64 / 2.0;
    let vote = |(place, height): (usize, f32)| Vote {
        here: from as f64 + half,
        there: place as f64 + half,
        height: (height - middle) / spread,
    };
    peaks.into_iter().map(vote).collect()
}

/// Median, and standard deviation by the median distance from it (a normal
/// distribution's is 0.6745 of the deviation), of some thousand of the values.
pub(super) fn spread(values: &[f32]) -> (f32, f32) {
    let every = (values.len() / 4_096).max(1);
    let some = || values.iter().step_by(every).copied().map(f64::from);
    let middle = median(some().collect());
    let away = median(some().map(|value| (value - middle).abs()).collect());
    (middle as f32, (away / 0.6745) as f32)
}

/// The lines most votes lie on, at most `max_ppm` steep, highest first.
pub(super) fn lines(mut votes: Vec<Vote>, max_ppm: f64) -> Vec<Guess> {
    votes.sort_by(|a, b| b.height.total_cmp(&a.height));
    let mut found = Vec::new();
    let mut taken = vec![false; votes.len()];
    for _ in 0..SEEDS {
        let Some(seed) = taken.iter().position(|&taken| !taken) else {
            break;
        };
        let guess = through(&votes[seed], &votes, max_ppm);
        for (vote, taken) in votes.iter().zip(&mut taken) {
            *taken |= (vote.lag() - guess.lag_at(vote.here)).abs() <= NEAR;
        }
        taken[seed] = true;
        found.push(guess);
    }
    found.sort_by(|a: &Guess, b| b.height.total_cmp(&a.height));
    found.truncate(LINES);
    found
}

/// The best line through a vote: of all slopes that differ by more than a frame at
/// the far end, the one near which the votes are highest together.
fn through(seed: &Vote, votes: &[Vote], max_ppm: f64) -> Guess {
    let near: Vec<(f64, f64, f32)> = votes
        .iter()
        .map(|vote| (vote.here - seed.here, vote.lag() - seed.lag(), vote.height))
        .filter(|(away, lag, _)| lag.abs() <= NEAR + away.abs() * max_ppm / 1e6)
        .collect();
    let far = near.iter().map(|(away, ..)| away.abs()).fold(1.0, f64::max);
    let steps = (far * max_ppm / 1e6).ceil().min(400.0) as i32;
    let slope = |step: i32| f64::from(step) / f64::from(steps.max(1)) * max_ppm;
    let height = |ppm: f64| -> f32 {
        near.iter()
            .filter(|(away, lag, _)| (lag - away * ppm / 1e6).abs() <= NEAR)
            .map(|(.., height)| height * height)
            .sum()
    };
    // Slopes near zero first, so that without a reason the clocks run alike.
    let mut best = (height(0.0), 0.0);
    for step in 1..=steps {
        for ppm in [slope(step), slope(-step)] {
            let height = height(ppm);
            if height > best.0 {
                best = (height, ppm);
            }
        }
    }
    Guess {
        here: seed.here,
        lag: seed.lag(),
        ppm: best.1,
        height: best.0.sqrt(),
    }
}
