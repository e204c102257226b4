//! How much sound speaks for a line between two recordings, and how much against?

use super::looks::{AGREES, Look, hasty_looks, looks};
use super::prepared::Prepared;
use super::votes::Guess;

/// A look that agrees less than this on average speaks against its line.
const FAIR: f32 = 1.5;

/// What one look can say for and against, standard deviations: no single one
/// decides.
const MOST: f32 = 6.0;
const LEAST: f32 = -3.0;

/// How far the sum over looks may fall before the agreement has ended: four looks
/// that fit not at all.
const ENDED: f32 = 8.0;

/// Deviation of a rate between two recorders, ppm, as an opinion before anything
/// is heard; and of a look's lag, frames.
const USUAL_PPM: f64 = 60.0;
const LAG_ERROR: f64 = 0.4;

/// Looks a line is fitted on, spread all along it; a quarter more near its seed.
const FITTED: usize = 160;

/// Shortest look, frames: 2.5 s.
const SHORT_LOOK: usize = 62;

/// Lags further than this from the line say nothing about it, frames.
const OUTSIDE: f64 = 3.0;

/// What one look can say in the sum that weighs two lines against each other.
const LOUDEST: f32 = 20.0;

/// What surely shared sound has at least: strength (together, in standard
/// deviations), score, and looks that agree. Chance reaches it too: 47 times in 276
/// pairs of unrelated made-up talk of half an hour. So what speaks against a line
/// counts as well, and the samples have the last word.
const SURE_STRENGTH: f32 = 9.5;
const SURE_SCORE: f32 = 7.0;
const SURE_LOOKS: usize = 2;

/// What a hasty look must leave of that for a line to be looked at in full.
const HASTY: f32 = 0.8;

/// A stretch of a line on which the sound agrees. Places in frames of the first
/// recording.
#[derive(Clone, Copy, Debug)]
pub(super) struct Island {
    pub from: f64,
    pub to: f64,
    /// Sum over its looks of what they say, each bounded.
    pub score: f32,
    /// How far its looks stand above chance together, standard deviations.
    pub strength: f32,
    /// Its looks that surely agree.
    pub agreeing: usize,
    /// What it weighs against another line: the sum of the squared heights, which
    /// grows with time however long the looks are.
    pub weight: f32,
}

impl Island {
    /// Whether chance and likeness of talk do not explain it.
    pub(super) fn is_sure(&self) -> bool {
        self.has(1.0) && self.agreeing >= SURE_LOOKS
    }

    /// Whether it has this share of what a sure one has.
    fn has(&self, share: f32) -> bool {
        self.strength >= share * SURE_STRENGTH && self.score >= share * SURE_SCORE
    }
}

/// A line with all its looks.
#[derive(Clone, Debug)]
pub(super) struct Weighed {
    pub guess: Guess,
    pub looks: Vec<Look>,
    /// Frames a look is long.
    pub length: usize,
}

impl Weighed {
    /// The stretches on which the sound agrees, of the looks that are asked for.
    pub(super) fn islands(&self, wanted: impl Fn(&Look) -> bool) -> Vec<Island> {
        let looks: Vec<&Look> = self.looks.iter().filter(|look| wanted(look)).collect();
        islands(&looks, self.length)
    }

    /// Looks with something to compare that do not agree.
    pub(super) fn against(&self, wanted: impl Fn(&Look) -> bool) -> usize {
        let against = |look: &&Look| look.alive && look.height < FAIR && wanted(look);
        self.looks.iter().filter(against).count()
    }
}

/// Fits a line to the sound along it and weighs it; `look` is the usual length of
/// a look in frames, shorter where the overlap is short, and no line becomes steeper
/// than `most_ppm`. `None` where a hasty look finds nothing that could be sure.
pub(super) fn weigh(
    a: &Prepared,
    b: &Prepared,
    guess: &Guess,
    look: usize,
    most_ppm: f64,
) -> Option<Weighed> {
    let (guess, length) = fitted(a, b, guess, look, most_ppm);
    let hasty = hasty_looks(a, b, &guess, length, 0, |_| true);
    let hasty: Vec<&Look> = hasty.iter().collect();
    let hopeful = islands(&hasty, length).iter().any(|one| one.has(HASTY));
    hopeful.then(|| Weighed {
        guess,
        looks: looks(a, b, &guess, length),
        length,
    })
}

/// A line fitted to the sound along it, and the frames of one look at it.
fn fitted(a: &Prepared, b: &Prepared, guess: &Guess, look: usize, most_ppm: f64) -> (Guess, usize) {
    let overlap = guess.overlap(a, b);
    let length = look.min((overlap / 8.0) as usize).max(SHORT_LOOK);
    let mut guess = *guess;
    // A line is fitted on looks near where it was found and some all along it.
    let every = (overlap / (length * FITTED) as f64).ceil().max(1.0) as usize;
    let seed = guess.here;
    let near = (length * FITTED) as f64 / 8.0;
    let some =
        |from: usize| (from / length).is_multiple_of(every) || (from as f64 - seed).abs() <= near;
    for within in [12, 6, 3] {
        let looks = hasty_looks(a, b, &guess, length, within, some);
        guess = fit(&looks, &guess, most_ppm);
    }
    (guess, length)
}

impl Guess {
    /// Frames of the first recording during which the second runs too; negative
    /// where they miss each other.
    pub(super) fn overlap(&self, a: &Prepared, b: &Prepared) -> f64 {
        let lag = self.lag_at(a.frames() as f64 / 2.0);
        (a.frames() as f64).min(b.frames() as f64 - lag) - (-lag).max(0.0)
    }
}

/// The line through the best agreements near it: least squares, weighted by height
/// and by Tukey's bisquare of the distance (Beaton & Tukey, Technometrics 16(2),
/// 1974), with the usual rates as one more observation. Steeper than `most_ppm` it
/// would run across a stop of some tenths of a second as if nothing had been.
fn fit(looks: &[Look], guess: &Guess, most_ppm: f64) -> Guess {
    let points: Vec<&Look> = looks.iter().filter(|look| look.best >= AGREES).collect();
    let mut line = *guess;
    for _ in 0..3 {
        let weights: Vec<f64> = points
            .iter()
            .map(|look| {
                let away = (look.lag - line.lag_at(look.here)) / (2.0 * OUTSIDE);
                let near = (1.0 - away * away).max(0.0);
                f64::from(look.best.min(10.0)) * near * near / 5.0
            })
            .collect();
        let sum: f64 = weights.iter().sum();
        if sum <= 0.0 {
            return line;
        }
        let mean = |value: &dyn Fn(&Look) -> f64| {
            let all = points.iter().zip(&weights);
            all.map(|(look, weight)| weight * value(look)).sum::<f64>() / sum
        };
        let here = mean(&|look| look.here);
        let lag = mean(&|look| look.lag);
        let square = mean(&|look| (look.here - here) * (look.here - here)) * sum;
        let cross = mean(&|look| (look.here - here) * (look.lag - lag)) * sum;
        let usual = (LAG_ERROR / (USUAL_PPM / 1e6)).powi(2);
        line = Guess {
            here,
            lag,
            ppm: (cross / (square + usual) * 1e6).clamp(-most_ppm, most_ppm),
            ..line
        };
    }
    line
}

/// The stretches on which more looks agree than not: a sum over looks that starts
/// anew at zero and ends where it has fallen far below its top (Page's cumulative
/// sum, Biometrika 41, 1954).
fn islands(looks: &[&Look], length: usize) -> Vec<Island> {
    let mut islands = Vec::new();
    let mut n = 0;
    while n < looks.len() {
        let (mut sum, mut top, mut end) = (0.0, 0.0, n);
        let mut next = n;
        for (m, look) in looks.iter().enumerate().skip(n) {
            sum += says(look);
            next = m + 1;
            if sum > top {
                (top, end) = (sum, m + 1);
            }
            if sum <= 0.0 || sum < top - ENDED {
                break;
            }
        }
        if end > n {
            islands.push(island(&looks[n..end], length, top));
            // What came after the top is looked at again.
            n = end;
        } else {
            n = next.max(n + 1);
        }
    }
    islands
}

fn says(look: &Look) -> f32 {
    if look.alive || look.height >= AGREES {
        look.height.clamp(LEAST, MOST) - FAIR
    } else {
        0.0
    }
}

fn island(looks: &[&Look], length: usize, score: f32) -> Island {
    let half = length as f64 / 2.0;
    let sum: f32 = looks
        .iter()
        .map(|look| look.height.clamp(LEAST, 10.0))
        .sum();
    let weight = |look: &&Look| look.height.clamp(0.0, LOUDEST).powi(2);
    Island {
        from: looks.first().map_or(0.0, |look| look.here - half),
        to: looks.last().map_or(0.0, |look| look.here + half),
        score,
        strength: sum / (looks.len().max(1) as f32).sqrt(),
        agreeing: looks.iter().filter(|look| look.height >= AGREES).count(),
        weight: looks.iter().map(weight).sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::{Recorder, talk};

    #[test]
    fn a_hasty_look_loses_nothing_that_is_sure() {
        let recorder = |noise_db| Recorder {
            start_s: 0.0,
            length_s: 600.0,
            ppm: 0.0,
            noise_db,
        };
        let (mut sure, mut doubtful, mut in_full) = (0, 0, 0);
        for seed in 0..12 {
            let (one, other) = (talk(900, 2 * seed), talk(900, 2 * seed + 1));
            let a = Prepared::new(&recorder(-5.0).hears(&one, 1));
            let guess = |lag| Guess {
                here: 9_000.0,
                lag,
                ppm: 0.0,
                height: 0.0,
            };
            let mut look = |there: &Prepared, guess: Guess| {
                let (line, length) = fitted(&a, there, &guess, 250, 250.0);
                let looks = looks(&a, there, &line, length);
                let looks: Vec<&Look> = looks.iter().collect();
                let is_sure = islands(&looks, length).iter().any(Island::is_sure);
                let is_weighed = weigh(&a, there, &guess, 250, 250.0).is_some();
                assert!(is_weighed || !is_sure, "{seed} {guess:?}");
                sure += usize::from(is_sure);
                doubtful += usize::from(!is_sure);
                in_full += usize::from(!is_sure && is_weighed);
            };
            // From clear to drowned.
            for noise_db in [0, 20, 26, 28, 30, 32, 34, 36].map(|db| db as f32) {
                let late = Recorder {
                    start_s: 200.0,
                    ..recorder(noise_db)
                };
                look(&Prepared::new(&late.hears(&one, 2)), guess(-5_000.0));
            }
            let unrelated = Prepared::new(&recorder(0.0).hears(&other, 3));
            for n in -12..12 {
                look(&unrelated, guess(f64::from(n) * 600.0));
            }
        }
        // Both kinds were met, and most of what is not sure costs little.
        assert!(sure >= 24, "{sure}");
        assert!(in_full * 5 < doubtful, "{in_full} of {doubtful}");
    }
}
