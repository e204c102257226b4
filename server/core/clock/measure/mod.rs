//! What do the samples say of lines that the search has found?
//!
//! In: pairs with the search's lines, samples on demand. Out: the same pairs with
//! lines to a fraction of a ms, their rates and how sure those are; stops inside a
//! file to half a second. Each recording is read once for an instant.

mod beyond;
mod instants;
mod reader;
mod stop;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use super::coarse::FEW_LOOKS;
use super::fit::median;
use super::{
    FINE_WINDOW, Finding, Fine, FineLag, LagPoint, Line, Member, Pair, Samples, Slope, Stretch,
    lag_line, stretched,
};
use crate::Cancel;
use crate::units::ANALYSIS_RATE_HZ;
use instants::{covered, sites};
use reader::Reader;

/// Samples a ms.
const PER_MS: f64 = ANALYSIS_RATE_HZ as f64 / 1000.0;
/// Clocks that run apart by more than this blur a window (ppm): 80 µs in 4 s, a
/// third of a period at 4 kHz.
const BLURS_PPM: f64 = 20.0;
/// Two crystals of ±60 ppm each, one standard deviation.
const PAIR_SIGMA_PPM: f64 = 85.0;
/// A rate beyond this is a wrong header's and known from the search alone.
const WRONG_PPM: f64 = 500.0;
/// What the search leaves open of such a rate, ppm.
const WRONG_SIGMA_PPM: f64 = 300.0;
/// Half-width of 95 % of a normal distribution, standard deviations.
const NORMAL_95: f64 = 1.96;
/// Lags less clear than this are chance, see [`FineLag::clear`].
const CHANCE: f32 = 4.0;
/// Fewer of the points agree on lines that are none, as a share.
const LEAST_AGREEMENT: f64 = 0.2;

/// And fewer points than this.
const LEAST_POINTS: usize = 3;
/// So many looks of the search that agree are no chance: a minute.
const MANY_LOOKS: u32 = 6;
/// Points agree closely within this, ms: a step or two of whoever speaks. A sentence
/// said twice in one manner drifts by more.
const CLOSE_MS: f64 = 20.0;
/// A lag is no chance when it is this clear.
const SURE: f32 = 6.0;
/// It is on the line when it is this near, ms: what places of talk differ by, and
/// what the search leaves open.
const NEAR_MS: f64 = 120.0;

/// An instant of the first recording, ms, and the lag there.
type Compared = (f64, Option<FineLag>);

/// Measures the stretches of `wanted` pairs. `None` when cancelled; members whose
/// sound was wanted and is silent or can't be read.
pub(super) fn measure(
    members: &[Member],
    pairs: &mut BTreeMap<(usize, usize), Pair>,
    wanted: &[(usize, usize)],
    samples: &mut dyn Samples,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<Vec<usize>> {
    let sites = sites(members, pairs, wanted, FINE_WINDOW as f64 / PER_MS);
    let mut reader = Reader::new(members.len(), samples);
    let mut found: BTreeMap<((usize, usize), usize), Vec<Compared>> = BTreeMap::new();
    for (n, site) in sites.iter().enumerate() {
        if cancel.is_cancelled() {
            return None;
        }
        let stretch = pairs
            .get(&site.pair)
            .and_then(|pair| pair.stretches.get(site.stretch));
        let Some(stretch) = stretch else { continue };
        let from = (site.at_ms - 0.5 * site.window_ms).max(stretch.from_ms.max(0.0));
        let to = (site.at_ms + 0.5 * site.window_ms).min(stretch.to_ms);
        let lag = compare(&mut reader, site.pair, &stretch.line, from, to);
        let at = 0.5 * (from + to);
        found
            .entry((site.pair, site.stretch))
            .or_default()
            .push((at, lag));
        progress((n + 1) as f32 / sites.len() as f32);
    }
    let mut unheard: Vec<((usize, usize), usize)> = Vec::new();
    for ((pair, index), lags) in found {
        let stretch = pairs
            .get_mut(&pair)
            .and_then(|pair| pair.stretches.get_mut(index));
        if let Some(stretch) = stretch {
            fit(stretch, &lags);
            if !stands(stretch, &lags) {
                unheard.push((pair, index));
            }
        }
    }
    // From behind, so that the places of the others stay.
    for (key, index) in unheard.into_iter().rev() {
        if let Some(pair) = pairs.get_mut(&key) {
            pair.stretches.remove(index);
            if pair.stretches.is_empty() {
                pair.finding = Finding::Nothing;
            }
        }
    }
    for key in wanted {
        if let Some(pair) = pairs.get_mut(key) {
            beyond::settle(members, *key, pair, &mut reader, cancel)?;
            stop::refine(*key, pair, &mut reader, cancel)?;
        }
    }
    Some((0..members.len()).filter(|&n| reader.mute(n)).collect())
}

/// The lag of the second recording behind `line`, in the window from `from_ms` to
/// `to_ms` of the first.
fn compare(
    reader: &mut Reader,
    (a, b): (usize, usize),
    line: &Line,
    from_ms: f64,
    to_ms: f64,
) -> Option<FineLag> {
    let count = (((to_ms - from_ms) * PER_MS).max(0.0) as usize).min(FINE_WINDOW);
    let (start, first) = reader.ready(a, from_ms.round() as i64, count)?;
    let first = first.clone();
    let there = line.map(start as f64);
    if there < 0.0 {
        return None;
    }
    if line.ppm.abs() > BLURS_PPM {
        let begin = there.floor() as i64;
        let longer = (count as f64 * (1.0 + line.ppm.abs() / 1e6)).ceil() as usize + 32;
        let read = reader.read(b, begin, longer);
        let same = stretched(read, (there - begin as f64) * PER_MS, line.ppm, count);
        let second = reader.lags.spectrum(&same)?;
        let mut lag = reader.lags.lag(&first, &second)?;
        lag.lag_ms *= 1.0 + line.ppm / 1e6;
        return Some(lag);
    }
    let (begin, second) = reader.ready(b, there.round() as i64, count)?;
    let second = second.clone();
    let mut lag = reader.lags.lag(&first, &second)?;
    lag.lag_ms += begin as f64 - there;
    Some(lag)
}

/// Whether a stretch is to be believed after its samples were compared: they agree,
/// and closely where more looks speak against it than for, and not in two or three
/// looks alone; or the search's looks are so many that hiss alone may hide it from
/// them; or, where there was nothing to compare, more looks speak for it than against.
fn stands(stretch: &Stretch, lags: &[Compared]) -> bool {
    let firm = stretch.blocks > stretch.against;
    let heard: Vec<&FineLag> = lags.iter().filter_map(|(_, lag)| lag.as_ref()).collect();
    if let Some(fine) = stretch.fine {
        return firm || stretch.blocks >= FEW_LOOKS && fine.uncertainty_ms <= CLOSE_MS;
    }
    if heard.is_empty() || stretch.blocks >= MANY_LOOKS {
        return firm;
    }
    let on_line = |lag: &&FineLag| lag.clear >= SURE && lag.lag_ms.abs() <= NEAR_MS;
    lags.len() < LEAST_POINTS && firm && heard.iter().any(on_line)
}

/// The stretch's line, made better by its lags where they agree.
fn fit(stretch: &mut Stretch, lags: &[Compared]) {
    let clear: Vec<(f64, FineLag)> = lags
        .iter()
        .filter_map(|(at, lag)| lag.map(|lag| (*at, lag)))
        .filter(|(_, lag)| lag.clear >= CHANCE)
        .collect();
    let points: Vec<LagPoint> = clear
        .iter()
        .map(|(at, lag)| LagPoint {
            at_ms: *at,
            lag_ms: lag.lag_ms,
            weight: f64::from((lag.clear - CHANCE) / 4.0).clamp(0.1, 1.0),
        })
        .collect();
    let wrong = stretch.line.ppm.abs() > WRONG_PPM;
    let prior = Slope {
        ppm: if wrong { 0.0 } else { -stretch.line.ppm },
        sigma_ppm: if wrong {
            WRONG_SIGMA_PPM
        } else {
            PAIR_SIGMA_PPM
        },
    };
    let Some(line) = lag_line(&points, prior) else {
        return;
    };
    let agreement = line.agreeing as f64 / lags.len().max(1) as f64;
    if agreement < LEAST_AGREEMENT || line.agreeing < LEAST_POINTS {
        return;
    }
    let of = |get: fn(&FineLag) -> f32| {
        median(clear.iter().map(|(_, lag)| f64::from(get(lag))).collect())
    };
    stretch.line = Line {
        here_ms: line.at_ms,
        there_ms: stretch.line.map(line.at_ms) + line.lag_ms,
        ppm: stretch.line.ppm + line.ppm,
    };
    stretch.fine = Some(Fine {
        uncertainty_ms: line.lag_95_ms.hypot(NORMAL_95 * line.spread_ms),
        ppm_uncertainty: line.ppm_95,
        residual_ms: line.residual_ms,
        agreement,
        points: lags.len() as u32,
        alike: of(|lag| lag.alike) as f32,
        gain_db: of(|lag| lag.gain_db) as f32,
        inverted: clear.iter().filter(|(_, lag)| lag.inverted).count() as f32
            / clear.len().max(1) as f32,
    });
}
