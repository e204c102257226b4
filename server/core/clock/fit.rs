//! Which straight line do these lags lie on, and how sure is that?
//!
//! Lags depend on who speaks: each place in the room has its own constant delay
//! between two microphones. So the points are a mixture of parallel lines, plus
//! lags of sounds that are not the same. The slope is what most pairs of points
//! have in common; then each group of points about one intercept is kept, and the
//! slope is fitted to all groups at once by reweighted least squares with Tukey's
//! bisquare (Beaton and Tukey, *Technometrics* 16(2), 1974; scale and tuning
//! constant as in Huber, *Robust Statistics*, 1981).

/// A measured lag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagPoint {
    /// When, ms.
    pub at_ms: f64,
    /// How much, ms.
    pub lag_ms: f64,
    /// How much it counts, above 0.
    pub weight: f64,
}

/// What is known of a slope before looking at points: ppm, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// The likeliest, ppm.
    pub ppm: f64,
    /// Its standard deviation, ppm.
    pub sigma_ppm: f64,
}

/// The line through lags: `lag = lag_ms + (at − at_ms)·ppm/10⁶`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagLine {
    /// The weighted middle of the points that agree, ms.
    pub at_ms: f64,
    /// The lag there of the largest group, ms.
    pub lag_ms: f64,
    /// Its slope, ppm.
    pub ppm: f64,
    /// Half of the 95 % interval of the lag, ms.
    pub lag_95_ms: f64,
    /// Half of the 95 % interval of the slope, ppm.
    pub ppm_95: f64,
    /// 1.4826 × the median distance of agreeing points from their own group's line,
    /// ms.
    pub scatter_ms: f64,
    /// 1.4826 × the median distance of agreeing points from this line, ms.
    pub residual_ms: f64,
    /// How far the groups lie apart: their weighted standard deviation, ms.
    pub spread_ms: f64,
    /// Points that agree.
    pub agreeing: usize,
    /// All points.
    pub points: usize,
}

/// Median absolute deviation to standard deviation of a normal distribution.
const MAD: f64 = 1.4826;
/// 95 % efficiency at the normal distribution.
const TUKEY: f64 = 4.685;
/// Points of one group lie closer together than this, ms: 1 m of way of sound.
const GAP_MS: f64 = 3.0;
/// Distances differ by 100 ms at most (34 m), so that no group of a shared sound
/// is farther from the largest, ms.
const FARTHEST_MS: f64 = 100.0;
/// A sample at 16 kHz: below a tenth of it no lag is believed, ms.
const LEAST_SCATTER_MS: f64 = 0.006;
/// Few points say little of their own scatter: as if one more had shown this much,
/// ms, a voice that turns its head.
const USUAL_SCATTER_MS: f64 = 0.3;

/// The line most of `points` lie on; `None` where no two agree.
#[must_use]
pub fn lag_line(points: &[LagPoint], prior: Slope) -> Option<LagLine> {
    let points: Vec<LagPoint> = points
        .iter()
        .filter(|p| p.at_ms.is_finite() && p.lag_ms.is_finite() && p.weight > 0.0)
        .copied()
        .collect();
    let start = common_slope(&points, prior);
    let groups = groups(&points, start);
    let agreeing: usize = groups.iter().map(Vec::len).sum();
    if agreeing < 2 {
        return None;
    }
    Some(fitted(&points, &groups, start, prior))
}

/// The slope that the most pairs of points have in common, ppm: Theil and Sen take
/// the median of all pairs' slopes; a mixture of parallel lines wants their mode.
fn common_slope(points: &[LagPoint], prior: Slope) -> f64 {
    let first = points.iter().map(|p| p.at_ms).fold(f64::MAX, f64::min);
    let last = points.iter().map(|p| p.at_ms).fold(f64::MIN, f64::max);
    let length = last - first;
    if points.len() < 3 || length <= 0.0 {
        return prior.ppm;
    }
    let mut pairs = Vec::with_capacity(points.len() * points.len() / 2);
    for (n, p) in points.iter().enumerate() {
        for q in &points[n + 1..] {
            let (at, lag) = (q.at_ms - p.at_ms, q.lag_ms - p.lag_ms);
            pairs.push((at, lag, (p.weight * q.weight).sqrt()));
        }
    }
    let score = |ppm: f64, wide: f64| {
        let together: f64 = pairs
            .iter()
            .map(|(at, lag, weight)| {
                let off = (lag - at * ppm / 1e6) / wide;
                weight * (1.0 - off * off).max(0.0).powi(2)
            })
            .sum();
        together - 0.5 * ((ppm - prior.ppm) / prior.sigma_ppm).powi(2)
    };
    let mut best = prior.ppm;
    let mut reach = 5.0 * prior.sigma_ppm;
    for wide in [12.0, 4.0, 1.5] {
        // A step moves the ends apart by a third of the width.
        let step = wide / 3.0 / length * 1e6;
        let steps = ((reach / step).ceil() as i64).clamp(1, 4_000);
        let around = best;
        best = (-steps..=steps)
            .map(|n| around + n as f64 * reach / steps as f64)
            .map(|ppm| (ppm, score(ppm, wide)))
            .max_by(|x, y| x.1.total_cmp(&y.1))
            .map_or(best, |(ppm, _)| ppm);
        reach = (3.0 * step).min(reach);
    }
    best
}

/// Indices of points that have one intercept, largest group first.
fn groups(points: &[LagPoint], ppm: f64) -> Vec<Vec<usize>> {
    let level = |n: usize| points[n].lag_ms - points[n].at_ms * ppm / 1e6;
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|&x, &y| level(x).total_cmp(&level(y)));
    let mut groups: Vec<Vec<usize>> = order
        .chunk_by(|&x, &y| level(y) - level(x) <= GAP_MS)
        .map(<[usize]>::to_vec)
        .collect();
    let count = |group: &Vec<usize>| group.iter().map(|&n| points[n].weight).sum::<f64>();
    groups.sort_by(|x, y| count(y).total_cmp(&count(x)));
    let middle = |group: &Vec<usize>| level(group[group.len() / 2]);
    let least = if points.len() < 10 {
        2
    } else {
        3.max(points.len() / 15)
    };
    let main = groups.first().map_or(0.0, middle);
    groups.retain(|group| group.len() >= least && (middle(group) - main).abs() <= FARTHEST_MS);
    groups
}

/// Least squares of one slope and an intercept for each group, reweighted.
fn fitted(points: &[LagPoint], groups: &[Vec<usize>], start: f64, prior: Slope) -> LagLine {
    let kept: usize = groups.iter().map(Vec::len).sum();
    // Each group's weights, middle and mean lag.
    let mut ppm = start;
    let mut weights: Vec<Vec<f64>> = groups
        .iter()
        .map(|group| group.iter().map(|&n| points[n].weight).collect())
        .collect();
    let mut scatter = LEAST_SCATTER_MS;
    let mut leverage = 0.0;
    for round in 0..20 {
        let mut distances = Vec::with_capacity(kept);
        for (group, weights) in groups.iter().zip(&weights) {
            let (at, lag) = middle(points, group, weights);
            distances.extend(
                group
                    .iter()
                    .map(|&n| points[n].lag_ms - lag - (points[n].at_ms - at) * ppm / 1e6),
            );
        }
        let sizes: Vec<f64> = distances.iter().map(|d| d.abs()).collect();
        scatter = spread_of(sizes, groups.len() + 1).max(LEAST_SCATTER_MS);
        let mut next = distances.iter();
        for (group, weights) in groups.iter().zip(&mut weights) {
            for (&n, weight) in group.iter().zip(weights.iter_mut()) {
                let off = next.next().copied().unwrap_or(0.0) / (TUKEY * scatter);
                *weight = points[n].weight * (1.0 - off * off).max(0.0).powi(2);
            }
            if weights_sum(weights) <= 0.0 {
                weights.fill(1.0);
            }
        }
        let (mut over, mut under) = (0.0, 0.0);
        for (group, weights) in groups.iter().zip(&weights) {
            let (at, lag) = middle(points, group, weights);
            for (&n, weight) in group.iter().zip(weights) {
                let from = points[n].at_ms - at;
                over += weight * from * (points[n].lag_ms - lag);
                under += weight * from * from;
            }
        }
        // The prior joins as one more measurement of the slope.
        let known = (scatter / (prior.sigma_ppm / 1e6)).powi(2);
        let slope = (over + known * prior.ppm / 1e6) / (under + known);
        leverage = under + known;
        let moved = (slope * 1e6 - ppm).abs();
        ppm = slope * 1e6;
        if round > 2 && moved < 1e-6 {
            break;
        }
    }
    let every: Vec<usize> = groups.concat();
    let (at_ms, _) = middle(points, &every, &weights.concat());
    let levels: Vec<(f64, f64)> = groups
        .iter()
        .zip(&weights)
        .map(|(group, weights)| {
            let (at, lag) = middle(points, group, weights);
            (lag + (at_ms - at) * ppm / 1e6, weights_sum(weights))
        })
        .collect();
    let all: f64 = levels.iter().map(|(_, weight)| weight).sum();
    let mean = levels.iter().map(|(lag, weight)| lag * weight).sum::<f64>() / all;
    let spread = levels
        .iter()
        .map(|(lag, w)| w * (lag - mean).powi(2))
        .sum::<f64>()
        / all;
    let lag_ms = levels[0].0;
    let residuals = every
        .iter()
        .map(|&n| (points[n].lag_ms - lag_ms - (points[n].at_ms - at_ms) * ppm / 1e6).abs());
    let free = kept.saturating_sub(groups.len() + 1);
    // The median absolute deviation is as good as the standard deviation of 37 % of
    // the points (Huber 1981, 5.1).
    let half = student_95(free.min(2).max(free * 37 / 100));
    let main = groups[0].len() as f64;
    LagLine {
        at_ms,
        lag_ms,
        ppm,
        lag_95_ms: half * scatter / main.sqrt(),
        ppm_95: (half * scatter / leverage.sqrt() * 1e6).min(1.96 * prior.sigma_ppm),
        scatter_ms: scatter,
        residual_ms: MAD * median(residuals.collect()),
        spread_ms: spread.sqrt(),
        agreeing: kept,
        points: points.len(),
    }
}

/// The standard deviation of what is left over after `used` unknowns were fitted,
/// from the median of its sizes; with few points, drawn towards the usual.
fn spread_of(sizes: Vec<f64>, used: usize) -> f64 {
    let count = sizes.len() as f64;
    let free = count - used as f64;
    let seen = MAD * median(sizes);
    if free < 1.0 {
        return seen.max(USUAL_SCATTER_MS);
    }
    let square = seen * seen * count / free;
    let usual = USUAL_SCATTER_MS.powi(2) / (free * free);
    (square + usual).sqrt()
}

fn weights_sum(weights: &[f64]) -> f64 {
    weights.iter().sum()
}

/// Weighted means of time and lag.
fn middle(points: &[LagPoint], group: &[usize], weights: &[f64]) -> (f64, f64) {
    let (mut at, mut lag, mut sum) = (0.0, 0.0, 0.0);
    for (&n, weight) in group.iter().zip(weights) {
        at += weight * points[n].at_ms;
        lag += weight * points[n].lag_ms;
        sum += weight;
    }
    (at / sum, lag / sum)
}

/// The middle value, between the two middle ones of an even number; 0 of none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    let half = values.len() / 2;
    if values.is_empty() {
        return 0.0;
    }
    let even = values.len().is_multiple_of(2);
    let (below, middle, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    match below.iter().copied().max_by(f64::total_cmp) {
        Some(before) if even => 0.5 * (before + *middle),
        _ => *middle,
    }
}

/// The 97.5 % point of Student's t (standard tables); no freedom left counts as
/// one degree.
fn student_95(freedom: usize) -> f64 {
    const TABLE: [f64; 10] = [
        12.71, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    ];
    match freedom {
        0 | 1 => TABLE[0],
        2..=10 => TABLE[freedom - 1],
        // Within 1 % of the tables from here on.
        n => 1.96 + 2.4 / n as f64,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::Chance;

    const PRIOR: Slope = Slope {
        ppm: 0.0,
        sigma_ppm: 85.0,
    };

    fn point(at_ms: f64, lag_ms: f64) -> LagPoint {
        LagPoint {
            at_ms,
            lag_ms,
            weight: 1.0,
        }
    }

    #[test]
    fn voices_at_three_distances_and_a_fifth_of_nonsense_leave_the_rate() {
        for seed in 0..50 {
            let mut chance = Chance::new(seed);
            let ppm = 90.0 * f64::from(chance.roll());
            let places = [30.0, -25.0, 4.0];
            let points: Vec<LagPoint> = (0..40)
                .map(|n| {
                    let at = 90_000.0 * f64::from(n);
                    let place = places[((f64::from(chance.roll()) + 1.0) * 1.499) as usize];
                    let lag = place + at * ppm / 1e6 + 0.2 * f64::from(chance.normal());
                    point(
                        at,
                        if n % 5 == 0 {
                            250.0 * f64::from(chance.roll())
                        } else {
                            lag
                        },
                    )
                })
                .collect();
            let line = lag_line(&points, PRIOR).unwrap();
            assert!((line.ppm - ppm).abs() < 0.5, "seed {seed}: {line:?} {ppm}");
            let off = line.lag_ms - line.at_ms * ppm / 1e6;
            assert!(
                places.iter().any(|place| (off - place).abs() < 1.0),
                "seed {seed}: {off}"
            );
            assert!(line.agreeing >= 28, "seed {seed}: {line:?}");
        }
    }

    #[test]
    fn nineteen_of_twenty_lie_inside_what_is_claimed() {
        for count in [4, 6, 12, 40] {
            let (mut lag_in, mut ppm_in) = (0, 0);
            for seed in 0..400 {
                let mut chance = Chance::new(seed * 977 + count);
                let ppm = 60.0 * f64::from(chance.normal());
                let step = 3_600_000.0 / count as f64;
                let points: Vec<LagPoint> = (0..count)
                    .map(|n| n as f64 * step)
                    .map(|at| point(at, 7.0 + at * ppm / 1e6 + 0.3 * f64::from(chance.normal())))
                    .collect();
                let line = lag_line(&points, PRIOR).unwrap();
                let truth = 7.0 + line.at_ms * ppm / 1e6;
                lag_in += u32::from((line.lag_ms - truth).abs() <= line.lag_95_ms);
                ppm_in += u32::from((line.ppm - ppm).abs() <= line.ppm_95);
            }
            // 95 % of 400 less twice the deviation of that count (4.4).
            assert!(lag_in >= 371 && ppm_in >= 371, "{count}: {lag_in} {ppm_in}");
        }
    }

    #[test]
    fn a_short_overlap_keeps_near_what_crystals_do() {
        let mut chance = Chance::new(3);
        for _ in 0..50 {
            let points: Vec<LagPoint> = (0..5)
                .map(|n| {
                    point(
                        2_000.0 * f64::from(n),
                        1.0 + 0.8 * f64::from(chance.normal()),
                    )
                })
                .collect();
            let line = lag_line(&points, PRIOR).unwrap();
            assert!(line.ppm.abs() < 170.0, "{line:?}");
        }
    }

    #[test]
    fn the_middle_is_between_two_of_an_even_number() {
        assert_eq!(median(vec![3.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(vec![4.0, 1.0, 3.0, 2.0]), 2.5);
        assert_eq!((median(vec![]), median(vec![7.0])), (0.0, 7.0));
    }

    #[test]
    fn few_or_useless_points_are_no_line() {
        assert_eq!(lag_line(&[], PRIOR), None);
        assert_eq!(lag_line(&[point(0.0, 1.0)], PRIOR), None);
        assert_eq!(
            lag_line(&[point(0.0, f64::NAN), point(f64::INFINITY, 1.0)], PRIOR),
            None
        );
        assert_eq!(
            lag_line(
                &[point(0.0, 0.0), point(1_000.0, 90.0), point(2_000.0, -70.0)],
                PRIOR
            ),
            None
        );
        let same = lag_line(&[point(5.0, 2.0); 4], PRIOR).unwrap();
        assert!((same.lag_ms - 2.0).abs() < 1e-9 && same.ppm.abs() < 1e-6);
    }
}
