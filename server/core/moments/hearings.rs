//! Who heard a moment, and how well?

use super::kinds::{Hearer, Hearing, Moment, Sound};
use super::params::MomentParams;
use super::pieces::Piece;
use super::score::{place, score};
use super::together::Together;
use crate::clock::FRAME_MS;
use crate::quality::{Facts, Verdict, VerdictParams, clarity};
use crate::signal::SpeechSegment;
use crate::units::{EventMs, FileMs};

/// A recorder that was at this place within so long was there, ms.
const STILL_MS: i64 = 60_000;

/// Least of a moment that a recording must have run for, ms, unless half of it.
const LEAST_MS: i64 = 500;

/// Share of the speech that the detector must have found.
const FOUND: f32 = 0.2;

pub(super) struct Listen<'a> {
    pub hearers: &'a [Hearer<'a>],
    pub sound: &'a dyn Sound,
    pub params: &'a MomentParams,
    pub together: &'a Together<'a>,
}

impl Listen<'_> {
    /// The hearings of the moment that these pieces make, best first, those not
    /// heard last. There is always one.
    pub fn hearings(&self, pieces: &[Piece]) -> Vec<Hearing> {
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else {
            return Vec::new();
        };
        let island = self.hearers[first.owner].island;
        let mut found: Vec<Found> = (0..self.hearers.len())
            .filter(|&n| self.hearers[n].island == island)
            .filter_map(|n| self.found(n, pieces, first.start, last.end))
            .collect();
        self.compare(&mut found, first.start, last.end);
        let mut hearings: Vec<Hearing> = found.iter().map(|found| self.hearing(found)).collect();
        hearings.sort_by(|x, y| {
            (y.heard.cmp(&x.heard))
                .then(y.score.total_cmp(&x.score))
                .then(x.hearer.cmp(&y.hearer))
        });
        hearings
    }

    /// Tells how clear each copy is beside the others.
    fn compare(&self, found: &mut [Found], start: i64, end: i64) {
        let frames = ((end - start).max(0) as f64 / FRAME_MS) as usize;
        let copies: Vec<_> = found
            .iter()
            .map(|found| {
                let placement = &self.hearers[found.hearer].placement;
                let at = |n: usize| placement.file_at(start as f64 + (n as f64 + 0.5) * FRAME_MS);
                let instants: Vec<f64> = (0..frames).map(at).collect();
                (
                    self.sound.levels(found.hearer, &instants),
                    found.facts.heard,
                )
            })
            .collect();
        if let Some(clarities) = clarity(&copies) {
            for (found, clarity) in found.iter_mut().zip(clarities) {
                found.facts.clarity = Some(clarity);
            }
        }
    }

    fn hearing(&self, found: &Found) -> Hearing {
        let (facts, placed_as) = (&found.facts, self.hearers[found.hearer].placed_as);
        let (verdict, mut why) = facts.judged(&VerdictParams::default());
        if verdict != Verdict::Lost || facts.heard {
            why.extend(place(placed_as).map(str::to_owned));
        }
        Hearing {
            hearer: found.hearer,
            start: found.from,
            end: found.to,
            heard: facts.heard,
            level_dbfs: facts.level_dbfs,
            snr_db: facts.snr_db,
            clipped: facts.clipped,
            reverb: facts.reverb_s,
            clarity: facts.clarity,
            score: score(facts, placed_as),
            verdict,
            why,
        }
    }

    fn found(&self, n: usize, pieces: &[Piece], start: i64, end: i64) -> Option<Found> {
        let h = &self.hearers[n];
        let clamped = |at: i64| {
            let file = h.placement.to_file(EventMs(at)).0;
            FileMs(file.clamp(0, h.duration_ms.max(0)))
        };
        let (from, to) = (clamped(start), clamped(end));
        let ran_ms = to.0 - from.0;
        let owns = pieces.iter().any(|piece| piece.owner == n);
        if ran_ms <= 0 || (!owns && ran_ms < LEAST_MS.min((end - start) / 2)) {
            return None;
        }
        let segments = h.segments;
        let first = segments.partition_point(|s| s.end <= from);
        let until = segments.partition_point(|s| s.start < to);
        let segments = segments.get(first..until).unwrap_or_default();
        let member = owns || pieces.iter().any(|piece| piece.members.contains(&n));
        let middle = start.midpoint(end);
        let here = || {
            let mut owners: Vec<usize> = pieces.iter().map(|piece| piece.owner).collect();
            owners.sort_unstable();
            owners.dedup();
            owners
        };
        let together = member || here().iter().any(|&o| self.together.at(n, o, middle));
        let near = together
            || segments.is_empty()
                && here()
                    .iter()
                    .any(|&o| self.together.about(n, o, middle, STILL_MS));
        if !near {
            return None;
        }
        let excess_db = self.sound.excess_db(n, from, to);
        let facts = of_segments(h, segments, pieces)
            .unwrap_or_else(|| only_heard(excess_db, self.sound.level_dbfs(n, from, to)));
        let heard =
            owns || together && (facts.covered >= FOUND || excess_db >= self.params.heard_db);
        Some(Found {
            hearer: n,
            from,
            to,
            facts: Facts {
                heard,
                measures: self.sound.measures(n, from, to),
                ..facts
            },
        })
    }
}

/// A copy of a moment, before it is compared with the others.
struct Found {
    hearer: usize,
    from: FileMs,
    to: FileMs,
    facts: Facts,
}

/// The measures of a recording's segments in a moment, weighted by how much of it
/// they have; `None` where they have nothing of it.
fn of_segments(h: &Hearer, segments: &[SpeechSegment], pieces: &[Piece]) -> Option<Facts> {
    let speech: i64 = pieces.iter().map(|piece| piece.end - piece.start).sum();
    let mut sums = Facts::default();
    let (mut all, mut ringing, mut power) = (0.0_f32, 0.0_f32, 0.0_f32);
    for segment in segments {
        let start = h.placement.to_event(segment.start).0;
        let end = h.placement.to_event(segment.end).0;
        let common: i64 = pieces
            .iter()
            .map(|piece| (end.min(piece.end) - start.max(piece.start)).max(0))
            .sum();
        let weight = common as f32;
        all += weight;
        sums.snr_db += weight * segment.snr_db;
        sums.clipped += weight * segment.clipped;
        power += weight * 10.0_f32.powf(segment.level_dbfs / 10.0);
        if segment.reverb > 0.0 {
            ringing += weight;
            sums.reverb_s += weight * segment.reverb;
        }
    }
    (all > 0.0).then(|| Facts {
        level_dbfs: 10.0 * (power / all).max(1e-15).log10(),
        snr_db: sums.snr_db / all,
        clipped: sums.clipped / all,
        reverb_s: sums.reverb_s / f32::max(ringing, 1.0),
        covered: (all / speech.max(1) as f32).min(1.0),
        ..Facts::default()
    })
}

/// What the levels say where a recording has no segment.
fn only_heard(excess_db: f32, level_dbfs: f32) -> Facts {
    // Excess holds the noise too, so it is never below 0.
    let ratio = 10.0_f32.powf(excess_db / 10.0) - 1.0;
    Facts {
        level_dbfs,
        snr_db: 10.0 * ratio.max(1e-3).log10(),
        ..Facts::default()
    }
}

/// Puts the chosen hearing first in every moment of a lane, given in order of time:
/// the best, unless the recording of the moment before is nearly as good. Fewer
/// changes between recordings read better, and fill the model's windows better.
pub(super) fn choose(moments: &mut [Moment], params: &MomentParams) {
    /// Moments further apart choose anew, ms.
    const NEAR_MS: i64 = 15_000;
    // worth[k]: the best sum up to this moment with its hearing k first, and which
    // hearing of the moment before that goes with.
    let mut table: Vec<Vec<(f32, usize)>> = Vec::new();
    for (n, moment) in moments.iter().enumerate() {
        let before = n.checked_sub(1).map(|before| &moments[before]);
        let near = before.is_some_and(|before| moment.start.0 - before.end.0 <= NEAR_MS);
        let row = moment.hearings.iter().map(|hearing| {
            let own = if hearing.heard {
                hearing.score
            } else {
                f32::NEG_INFINITY
            };
            let from = table.last().zip(before).and_then(|(row, before)| {
                row.iter()
                    .zip(&before.hearings)
                    .enumerate()
                    .map(|(k, ((worth, _), other))| {
                        let change = near && other.hearer != hearing.hearer;
                        let cost = if change { params.stay_db } else { 0.0 };
                        (worth - cost, k)
                    })
                    .max_by(|x, y| x.0.total_cmp(&y.0).then(y.1.cmp(&x.1)))
            });
            let (sum, k) = from.unwrap_or((0.0, 0));
            (sum + own, k)
        });
        table.push(row.collect());
    }
    let Some(last) = table.last() else { return };
    let mut at = last
        .iter()
        .enumerate()
        .max_by(|(i, x), (j, y)| x.0.total_cmp(&y.0).then(j.cmp(i)))
        .map_or(0, |(k, _)| k);
    for (n, moment) in moments.iter_mut().enumerate().rev() {
        let hearings = &mut moment.hearings;
        let before = table[n].get(at).map_or(0, |(_, k)| *k);
        if at > 0 && at < hearings.len() {
            let mut chosen = hearings.remove(at);
            chosen
                .why
                .push("the lines around it are taken from here too".to_owned());
            hearings.insert(0, chosen);
        }
        at = before;
    }
}
