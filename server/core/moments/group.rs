//! From the segments of all recordings to moments.

use super::hearings::{Listen, choose};
use super::kinds::{Hearer, Kept, Moment, Sound};
use super::lanes::{cut, lanes};
use super::params::MomentParams;
use super::pieces::{Claims, Piece};
use super::together::Together;
use crate::units::EventMs;

/// Each stretch of speech once, with everybody who heard it; by island, in order of
/// time.
///
/// - Where two recordings have the same sound, a stretch belongs to the one that has
///   it best; its pauses are where moments end, 2 to 20 s apart where the speech
///   allows. Recordings at different places have moments of their own, which may
///   overlap.
/// - Hearings stand in rank order; the first is the one to transcribe.
/// - What is in `kept` stays as long as it is, wherever its recording lies now. Two
///   that turn out to be half the same speech at one place become one; what only
///   the lost one had is new. A `Kept` without length, or of no hearer, is nobody's
///   and comes back in no moment.
///
/// The outcome depends on nothing but the arguments. Costs about the number of
/// segments times the recorders, and the comparison of each pair of recorders that
/// run at the same time.
#[must_use]
pub fn group(
    hearers: &[Hearer],
    kept: &[Kept],
    params: &MomentParams,
    sound: &dyn Sound,
) -> Vec<Moment> {
    let together = Together::new(hearers, sound, params);
    let together = &together;
    let claims = Claims {
        hearers,
        sound,
        params,
        together,
    };
    let listen = Listen {
        hearers,
        sound,
        params,
        together,
    };
    let mut islands: Vec<u32> = hearers.iter().map(|h| h.island).collect();
    islands.sort_unstable();
    islands.dedup();
    let mut moments = Vec::new();
    for island in islands {
        let pieces = claims.pieces(island, kept);
        let mut found = Vec::new();
        for lane in lanes(pieces, hearers, together) {
            found.extend(lane_moments(
                cut(lane, hearers, sound, params),
                island,
                &listen,
                params,
            ));
        }
        found.sort_by_key(|moment| (moment.start, moment.end));
        moments.extend(found);
    }
    moments
}

fn lane_moments(
    lane: Vec<Vec<Piece>>,
    island: u32,
    listen: &Listen,
    params: &MomentParams,
) -> Vec<Moment> {
    let mut moments: Vec<Moment> = lane
        .iter()
        .filter_map(|pieces| {
            let (first, last) = (pieces.first()?, pieces.last()?);
            let moment = Moment {
                kept: pieces.iter().flat_map(|piece| piece.kept.clone()).collect(),
                island,
                start: EventMs(first.start),
                end: EventMs(last.end),
                hearings: listen.hearings(pieces),
            };
            (!moment.hearings.is_empty()).then_some(moment)
        })
        .collect();
    choose(&mut moments, params);
    moments
}

#[cfg(test)]
mod tests;
