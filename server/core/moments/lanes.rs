//! Which pieces of speech are one moment?
//!
//! Pieces at one place follow each other on a lane; places that speak at once have
//! a lane each. A lane is cut at its pauses.

use super::kinds::{Hearer, Sound};
use super::params::MomentParams;
use super::pieces::Piece;
use super::together::Together;
use crate::units::FileMs;

/// Pieces further apart have nothing to do with each other, ms.
const FAR_MS: i64 = 60_000;

/// Parts that a piece without pauses is cut into, at most, as a share of the
/// longest moment: a border may move by the rest.
const PART: f32 = 0.75;

/// The pieces of each place, in order of time.
pub(super) fn lanes(
    pieces: Vec<Piece>,
    hearers: &[Hearer],
    together: &Together,
) -> Vec<Vec<Piece>> {
    let mut lanes: Vec<Vec<Piece>> = Vec::new();
    // Those whose end is not far yet.
    let mut open: Vec<usize> = Vec::new();
    for piece in pieces {
        open.retain(|&lane| {
            lanes[lane]
                .last()
                .is_some_and(|last| last.end + FAR_MS > piece.start)
        });
        let goes_on = |last: &Piece| {
            last.end <= piece.start
                && (hearers[last.owner].source == hearers[piece.owner].source
                    || together.at(last.owner, piece.owner, piece.start)
                    || together.at(last.owner, piece.owner, last.end))
        };
        let lane = open
            .iter()
            .copied()
            .filter(|&lane| lanes[lane].last().is_some_and(goes_on))
            .max_by_key(|&lane| lanes[lane].last().map(|last| last.end));
        match lane {
            Some(lane) => lanes[lane].push(piece),
            None => {
                open.push(lanes.len());
                lanes.push(vec![piece]);
            }
        }
    }
    lanes
}

/// Pieces that are one moment, for each moment of a lane.
pub(super) fn cut(
    lane: Vec<Piece>,
    hearers: &[Hearer],
    sound: &dyn Sound,
    params: &MomentParams,
) -> Vec<Vec<Piece>> {
    let mut moments = Vec::new();
    let mut run: Vec<Piece> = Vec::new();
    for piece in lane {
        let ends = run.last().is_some_and(|last| {
            piece.start - last.end >= params.pause_ms || !piece.kept.is_empty()
        });
        if ends {
            moments.extend(cut_run(std::mem::take(&mut run), params));
        }
        if piece.kept.is_empty() {
            run.extend(parts(piece, hearers, sound, params));
        } else {
            // It is as it was.
            moments.push(vec![piece]);
        }
    }
    moments.extend(cut_run(run, params));
    moments
}

/// A piece without a pause in it that is too long, in parts that end where it is
/// quietest.
fn parts(piece: Piece, hearers: &[Hearer], sound: &dyn Sound, params: &MomentParams) -> Vec<Piece> {
    let length = piece.end - piece.start;
    let most = ((params.long_ms as f32 * PART) as i64).max(1);
    if length <= params.long_ms.max(1) {
        return vec![piece];
    }
    let count = length / most + 1;
    let reach = (params.long_ms - most).max(0) / 2;
    let placement = hearers[piece.owner].placement;
    let file = |at: i64| FileMs(placement.file_at(at as f64).round() as i64);
    let mut borders = vec![piece.start];
    for n in 1..count {
        let about = piece.start + length * n / count;
        let quiet = sound
            .quietest(piece.owner, file(about - reach), file(about + reach))
            .map_or(about, |at| placement.to_event(at).0)
            .clamp(about - reach, about + reach);
        if borders.last().is_some_and(|&last| last < quiet) && quiet < piece.end {
            borders.push(quiet);
        }
    }
    borders.push(piece.end);
    borders
        .windows(2)
        .map(|two| Piece {
            start: two[0],
            end: two[1],
            covers: (two[0], two[1]),
            ..piece.clone()
        })
        .collect()
}

/// Cuts a run without long pauses: of all ways the one whose pauses are longest and
/// whose lengths are best.
fn cut_run(run: Vec<Piece>, params: &MomentParams) -> Vec<Vec<Piece>> {
    let count = run.len();
    // best[n]: the first n pieces; from where its last moment goes.
    let mut best = vec![(f32::NEG_INFINITY, 0_usize); count + 1];
    best[0] = (0.0, 0);
    for end in 1..=count {
        for start in (0..end).rev() {
            let length = run[end - 1].end - run[start].start;
            if length > params.long_ms && start + 1 < end {
                break;
            }
            let pause = match start {
                0 => 0.0,
                _ => pause_worth(run[start].start - run[start - 1].end),
            };
            let worth = best[start].0 + pause - length_cost(length, params);
            if worth > best[end].0 {
                best[end] = (worth, start);
            }
        }
    }
    let mut borders = Vec::new();
    let mut at = count;
    while at > 0 {
        at = best[at].1;
        borders.push(at);
    }
    let mut run = run;
    let mut moments = Vec::new();
    for border in borders {
        moments.push(run.split_off(border));
    }
    moments.reverse();
    moments
}

/// What a cut at a pause is worth: 1 for a second, which only ends of sentences
/// have; less than nothing for the gap within a phrase.
fn pause_worth(pause_ms: i64) -> f32 {
    (pause_ms as f32 - 350.0) / 650.0
}

/// What a length costs: nothing from the shortest to half the longest.
fn length_cost(length_ms: i64, params: &MomentParams) -> f32 {
    let (length, short, long) = (
        length_ms as f32,
        params.short_ms.max(1) as f32,
        params.long_ms.max(1) as f32,
    );
    if length < short {
        1.5 * (1.0 - length / short)
    } else {
        (2.0 * length / long - 1.0).max(0.0)
    }
}
