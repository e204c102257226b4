//! Does the sound along one line agree, look by look?

use super::peak::top;
use super::prepared::{CLIP, Prepared};
use super::track::TRACK_BANDS;
use super::votes::Guess;

/// Lags beside the line, frames, at which a look is compared for what chance gives
/// just here: from 7 to 25 to either side, as nearer ones may belong to the
/// agreement itself.
const FAR: [i64; 38] = {
    let mut far = [0; 38];
    let mut n = 0;
    while n < 19 {
        far[n] = n as i64 - 25;
        far[19 + n] = n as i64 + 7;
        n += 1;
    }
    far
};

/// Those of them that a hasty look takes.
const FEW_FAR: [i64; 8] = [-23, -20, -17, -14, 14, 17, 20, 23];

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

/// Looks of `length` frames along a line, end to end over the overlap it predicts.
pub(super) fn looks(a: &Prepared, b: &Prepared, line: &Guess, length: usize) -> Vec<Look> {
    places(a, b, line, length)
        .map(|from| look(a, b, from, length, line, 2, &FAR))
        .collect()
}

/// The same at fewer lags and so with less certainty about chance; the best
/// agreement is sought within `within` frames of the line. Of many looks those that
/// `wanted` names by their first frame.
pub(super) fn hasty_looks(
    a: &Prepared,
    b: &Prepared,
    line: &Guess,
    length: usize,
    within: i64,
    wanted: impl Fn(usize) -> bool,
) -> Vec<Look> {
    places(a, b, line, length)
        .filter(|&from| wanted(from))
        .map(|from| look(a, b, from, length, line, within, &FEW_FAR))
        .collect()
}

/// First frames of looks end to end over the overlap that a line predicts.
fn places(
    a: &Prepared,
    b: &Prepared,
    line: &Guess,
    length: usize,
) -> impl Iterator<Item = usize> + use<> {
    let slope = line.ppm / 1e6;
    // here + lag(here) = 0 and = b's end.
    let first = ((line.here * slope - line.lag) / (1.0 + slope)).max(0.0);
    let last = (b.frames() as f64 + line.here * slope - line.lag) / (1.0 + slope);
    let end = last.clamp(0.0, a.frames() as f64) as usize;
    (first.ceil() as usize..)
        .step_by(length)
        .take_while(move |from| from + length <= end)
}

/// Whether both recordings have movement in a look.
fn is_alive(a: &Prepared, b: &Prepared, from: usize, length: usize, lag: i64) -> bool {
    let there = usize::try_from(from as i64 + lag).unwrap_or(0);
    let least = ALIVE * (length * TRACK_BANDS) as f32;
    a.energy(from, length) >= least && b.energy(there, length) >= least
}

fn look(
    a: &Prepared,
    b: &Prepared,
    from: usize,
    length: usize,
    line: &Guess,
    within: i64,
    far: &[i64],
) -> Look {
    let here = from as f64 + length as f64 / 2.0;
    let lag = line.lag_at(here);
    let whole = lag.round() as i64;
    let fit = |away: i64| correlation(a, b, from, length, whole + away);
    // One more to either side, so that the best has neighbours.
    let near: Vec<f32> = (-within - 1..=within + 1).map(fit).collect();
    let (chance, local) = chance(far.iter().map(|&away| fit(away)));
    let sigma = local.max(CHANCE / (length as f32).sqrt());
    let height = |r: f32| (r - chance) / sigma;
    let middle = within as usize + 1;
    // On the line, between two frames.
    let off = (lag - lag.round()) as f32;
    let next = near[if off < 0.0 { middle - 1 } else { middle + 1 }];
    let on = near[middle] + (next - near[middle]) * off.abs();
    let best = (1..near.len() - 1)
        .max_by(|&x, &y| near[x].total_cmp(&near[y]))
        .unwrap_or(middle);
    let (shift, highest) = top(near[best - 1], near[best], near[best + 1]);
    Look {
        here,
        height: height(on),
        best: height(highest),
        lag: lag.round() + best as f64 - middle as f64 + f64::from(shift),
        alive: is_alive(a, b, from, length, whole),
    }
}

/// Normalised correlation of a look at one lag; 0 where the second does not run.
fn correlation(a: &Prepared, b: &Prepared, from: usize, length: usize, lag: i64) -> f32 {
    let here = &a.moves[from.min(a.frames())..(from + length).min(a.frames())];
    let start = from as i64 + lag;
    let skip = usize::try_from(-start).unwrap_or(0).min(here.len());
    let start = usize::try_from(start).unwrap_or(0).min(b.frames());
    let end = (start + here.len() - skip).min(b.frames());
    let product = dot(
        here[skip..].as_flattened(),
        b.moves[start..end].as_flattened(),
    );
    let size = (a.energy(from, length) * b.energy(start, end - start)).sqrt();
    if size > 0.0 {
        product as f32 / size
    } else {
        0.0
    }
}

/// Lanes of [`dot`], and rounds after which they are emptied: the largest sum fits
/// 16 bits, so no check for overflow need slow it down.
const LANES: usize = 16;
const ROUNDS: usize = 32;
const _: () = assert!(ROUNDS as i32 * CLIP * CLIP <= i16::MAX as i32);

/// Sum of products of movements, which lie within ±[`CLIP`]; a look is short enough
/// for 32 bits.
fn dot(a: &[i8], b: &[i8]) -> i32 {
    let mut sum = 0;
    let blocks = a.chunks(LANES * ROUNDS).zip(b.chunks(LANES * ROUNDS));
    for (a, b) in blocks {
        let mut sums = [0_i16; LANES];
        for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
            for lane in 0..LANES {
                sums[lane] = sums[lane].wrapping_add(i16::from(a[lane]) * i16::from(b[lane]));
            }
        }
        sum += sums.iter().copied().map(i32::from).sum::<i32>();
        let whole = a.len().min(b.len()) / LANES * LANES;
        for (a, b) in a[whole..].iter().zip(&b[whole..]) {
            sum += i32::from(*a) * i32::from(*b);
        }
    }
    sum
}

/// Mean and deviation.
fn chance(fits: impl Iterator<Item = f32>) -> (f32, f32) {
    let fits: Vec<f32> = fits.collect();
    let count = fits.len() as f32;
    let mean = fits.iter().sum::<f32>() / count;
    let square = fits.iter().map(|r| (r - mean) * (r - mean)).sum::<f32>() / count;
    (mean, square.sqrt())
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
                for from in (25..a.frames() - length - 25).step_by(length) {
                    let fit = |&away: &i64| correlation(a, b, from, length, away);
                    let (_, deviation) = chance(FAR.iter().map(fit));
                    around.push(deviation * (length as f32).sqrt());
                }
                let looks = looks(a, b, &line, length);
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
