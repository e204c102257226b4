//! Does the sound along one line agree, look by look?

use super::peak::top;
use super::prepared::Prepared;
use super::track::TRACK_BANDS;
use super::votes::Guess;

/// Frames to either side of the line at which a look is compared; the far ones
/// say what chance gives just here.
pub(super) const REACH: usize = 25;

/// Frames to either side that may belong to the agreement itself.
const PEAK: usize = 6;

/// Mean squared movement of a band (steps of half a dB, squared) above which a
/// look has something to compare: noise alone stays below 1.5 dB.
const ALIVE: f32 = 9.0;

/// The least that chance is taken for: deviation of the correlation beside the
/// line, times the root of a look's frames. One look in twenty of other talk has
/// less around it, and would be believed too easily.
const CHANCE: f32 = 0.65;

/// Height at which a look surely agrees.
pub(super) const AGREES: f32 = 3.0;

/// How one look compares.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    /// Its middle in the first recording, frames.
    pub here: f64,
    /// Agreement on the line, above chance, in standard deviations.
    pub height: f32,
    /// Best agreement near the line: height, and lag in frames.
    pub best: f32,
    pub lag: f64,
    /// Whether both recordings have movement here.
    pub alive: bool,
}

/// Looks of `length` frames along a line, end to end over the overlap it predicts;
/// the best agreement is sought within `within` frames of it. Of many looks those
/// that `wanted` names by their first frame.
pub(super) fn looks(
    a: &Prepared,
    b: &Prepared,
    line: &Guess,
    length: usize,
    within: usize,
    wanted: impl Fn(usize) -> bool,
) -> Vec<Look> {
    let mut looks = Vec::new();
    let slope = line.ppm / 1e6;
    // here + lag(here) = 0 and = b's end.
    let first = ((line.here * slope - line.lag) / (1.0 + slope)).max(0.0);
    let last = (b.frames() as f64 + line.here * slope - line.lag) / (1.0 + slope);
    let mut from = first.ceil() as usize;
    let end = last.clamp(0.0, a.frames() as f64) as usize;
    while from + length <= end {
        let here = from as f64 + length as f64 / 2.0;
        if wanted(from) {
            looks.push(look(a, b, from, length, here, line.lag_at(here), within));
        }
        from += length;
    }
    looks
}

fn look(
    a: &Prepared,
    b: &Prepared,
    from: usize,
    length: usize,
    here: f64,
    lag: f64,
    within: usize,
) -> Look {
    let fits = correlations(a, b, from, length, lag.round() as i64);
    let (chance, local) = chance(&fits);
    let sigma = local.max(CHANCE / (length as f32).sqrt());
    let height = |r: f32| (r - chance) / sigma;
    // On the line, between two frames.
    let off = (lag - lag.round()) as f32;
    let on = at(&fits, off);
    let within = within.min(REACH - 1);
    let best = (REACH - within..=REACH + within)
        .max_by(|&x, &y| fits[x].total_cmp(&fits[y]))
        .unwrap_or(REACH);
    let (shift, highest) = peak(&fits, best);
    let there = (from as i64 + lag.round() as i64).max(0) as usize;
    let least = ALIVE * (length * TRACK_BANDS) as f32;
    Look {
        here,
        height: height(on),
        best: height(highest),
        lag: lag.round() + best as f64 - REACH as f64 + f64::from(shift),
        alive: a.energy(from, length) >= least && b.energy(there, length) >= least,
    }
}

/// Normalised correlation at each lag from `lag − REACH` to `lag + REACH`.
pub(super) fn correlations(
    a: &Prepared,
    b: &Prepared,
    from: usize,
    length: usize,
    lag: i64,
) -> [f32; 2 * REACH + 1] {
    let here = &a.moves[from.min(a.frames())..(from + length).min(a.frames())];
    let mine = a.energy(from, length);
    std::array::from_fn(|n| {
        let start = from as i64 + lag + n as i64 - REACH as i64;
        let skip = usize::try_from(-start).unwrap_or(0).min(here.len());
        let start = usize::try_from(start).unwrap_or(0).min(b.frames());
        let end = (start + here.len() - skip).min(b.frames());
        let product = dot(
            here[skip..].as_flattened(),
            b.moves[start..end].as_flattened(),
        );
        let theirs = b.energy(start, end - start);
        let size = (mine * theirs).sqrt();
        if size > 0.0 {
            product as f32 / size
        } else {
            0.0
        }
    })
}

/// Sum of products; a look is short enough for 32 bits.
pub(super) fn dot(a: &[i8], b: &[i8]) -> i32 {
    let products = a.iter().zip(b).map(|(x, y)| i32::from(*x) * i32::from(*y));
    products.sum()
}

/// Mean and deviation away from the line.
fn chance(fits: &[f32; 2 * REACH + 1]) -> (f32, f32) {
    let away = || {
        let far = fits.iter().enumerate();
        far.filter(|(n, _)| n.abs_diff(REACH) > PEAK)
            .map(|(_, r)| *r)
    };
    let count = (2 * (REACH - PEAK)) as f32;
    let mean = away().sum::<f32>() / count;
    let square = away().map(|r| (r - mean) * (r - mean)).sum::<f32>() / count;
    (mean, square.sqrt())
}

/// Between two frames, by the straight line.
fn at(fits: &[f32; 2 * REACH + 1], off: f32) -> f32 {
    let (near, next) = if off < 0.0 {
        (fits[REACH], fits[REACH - 1])
    } else {
        (fits[REACH], fits[REACH + 1])
    };
    near + (next - near) * off.abs()
}

/// The top of the parabola through a peak and its neighbours.
fn peak(fits: &[f32], n: usize) -> (f32, f32) {
    match (n.checked_sub(1).and_then(|n| fits.get(n)), fits.get(n + 1)) {
        (Some(before), Some(after)) => top(*before, fits[n], *after),
        _ => (0.0, fits[n]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::{Recorder, talk};

    #[test]
    fn one_look_in_twenty_of_other_talk_has_less_chance_around_it() {
        let recorder = Recorder {
            start_s: 0.0,
            length_s: 600.0,
            ppm: 0.0,
            noise_db: -10.0,
        };
        let prepared: Vec<Prepared> = (0..6)
            .map(|n| Prepared::new(&recorder.hears(&talk(600, 70 + n), n)))
            .collect();
        let line = Guess {
            here: 0.0,
            lag: 0.0,
            ppm: 0.0,
            height: 0.0,
        };
        for length in [62, 250] {
            let (mut around, mut agreeing, mut all) = (Vec::new(), 0, 0);
            for (a, b) in prepared.iter().zip(&prepared[1..]) {
                for from in (REACH..a.frames() - length - REACH).step_by(length) {
                    let (_, deviation) = chance(&correlations(a, b, from, length, 0));
                    around.push(deviation * (length as f32).sqrt());
                }
                let looks = looks(a, b, &line, length, 2, |_| true);
                agreeing += looks.iter().filter(|look| look.height >= AGREES).count();
                all += looks.len();
            }
            around.sort_by(f32::total_cmp);
            let low = around[around.len() / 20];
            assert!((low / CHANCE - 1.0).abs() < 0.2, "{length}: {low}");
            // What is called agreement is rare; it takes several to be sure.
            assert!(agreeing * 20 < all, "{length}: {agreeing} of {all}");
        }
    }
}
