//! Which stretches of the clock are speech, and who has each best?
//!
//! Segments come forward, the best first, and each takes the time that no better
//! one at its place has. So a pause is a pause when the best recorder says so, and
//! a noisy camera that runs on through it gains nothing by it.

use std::collections::HashMap;

use super::kinds::{Hearer, Kept, Sound};
use super::params::MomentParams;
use super::score::score;
use super::together::Together;
use crate::quality::Facts;
use crate::units::FileMs;

/// Pieces are looked up by stretches of this length, ms.
const BUCKET_MS: i64 = 10_000;

/// A stretch of the clock of an island.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    /// Who has it best.
    pub owner: usize,
    pub start: i64,
    pub end: i64,
    /// What it stands for, start and end included: no other piece of its place is
    /// made of it.
    pub covers: (i64, i64),
    /// Whether a person made it.
    pub by_hand: bool,
    /// Keys of the moments that existed here, the survivor first.
    pub kept: Vec<usize>,
    /// Who has a segment in it.
    pub members: Vec<usize>,
}

/// A segment on the clock.
struct Claim {
    hearer: usize,
    start: i64,
    end: i64,
    score: f32,
}

/// All that is needed to say which pieces there are.
pub(super) struct Claims<'a> {
    pub hearers: &'a [Hearer<'a>],
    pub sound: &'a dyn Sound,
    pub params: &'a MomentParams,
    pub together: &'a Together<'a>,
}

#[derive(Default)]
struct Taken {
    pieces: Vec<Piece>,
    buckets: HashMap<i64, Vec<usize>>,
}

impl Taken {
    fn push(&mut self, piece: Piece) {
        let (start, end) = piece.covers;
        for bucket in start.div_euclid(BUCKET_MS)..=end.div_euclid(BUCKET_MS) {
            self.buckets
                .entry(bucket)
                .or_default()
                .push(self.pieces.len());
        }
        self.pieces.push(piece);
    }

    /// Numbers of the pieces that stand for some of a stretch, rising.
    fn near(&self, start: i64, end: i64) -> Vec<usize> {
        let mut near: Vec<usize> = (start.div_euclid(BUCKET_MS)..=end.div_euclid(BUCKET_MS))
            .filter_map(|bucket| self.buckets.get(&bucket))
            .flatten()
            .copied()
            .filter(|&n| self.pieces[n].covers.0 < end && start < self.pieces[n].covers.1)
            .collect();
        near.sort_unstable();
        near.dedup();
        near
    }
}

impl Claims<'_> {
    /// The pieces of an island, in order of their start.
    pub fn pieces(&self, island: u32, kept: &[Kept]) -> Vec<Piece> {
        let mut taken = Taken::default();
        self.keep(island, kept, &mut taken);
        for claim in self.claims(island) {
            self.take(&claim, &mut taken);
        }
        let mut pieces = taken.pieces;
        pieces.sort_by_key(|piece| (piece.start, piece.end, piece.owner));
        pieces
    }

    fn claims(&self, island: u32) -> Vec<Claim> {
        let mut claims = Vec::new();
        for (hearer, h) in self.hearers.iter().enumerate() {
            if h.island != island {
                continue;
            }
            claims.extend(h.segments.iter().filter_map(|segment| {
                let facts = Facts {
                    heard: true,
                    level_dbfs: segment.level_dbfs,
                    snr_db: segment.snr_db,
                    clipped: segment.clipped,
                    reverb_s: segment.reverb,
                    covered: 1.0,
                    ..Facts::default()
                };
                let (start, end) = (
                    h.placement.to_event(segment.start).0,
                    h.placement.to_event(segment.end).0,
                );
                (start < end).then(|| Claim {
                    hearer,
                    start,
                    end,
                    score: score(&facts, h.placed_as),
                })
            }));
        }
        claims.sort_by(|x, y| {
            y.score
                .total_cmp(&x.score)
                .then((x.start, x.hearer).cmp(&(y.start, y.hearer)))
        });
        claims
    }

    /// Moments that exist come first and whole, those that a person put right before
    /// all others. Two that are half the same speech are one from now on, unless a
    /// person made both.
    fn keep(&self, island: u32, kept: &[Kept], taken: &mut Taken) {
        let mut stretches: Vec<(f32, Piece)> = kept
            .iter()
            .filter_map(|kept| {
                let h = self.hearers.get(kept.from).filter(|h| h.island == island)?;
                let start = h.placement.to_event(kept.from_start).0;
                let end = h.placement.to_event(kept.from_end).0;
                let covers = kept.covers;
                (start < end).then(|| {
                    let piece = Piece {
                        owner: kept.from,
                        start,
                        end,
                        covers: (
                            h.placement.to_event(covers.0).0.min(start),
                            h.placement.to_event(covers.1).0.max(end),
                        ),
                        by_hand: kept.by_hand,
                        kept: vec![kept.key],
                        members: vec![kept.from],
                    };
                    (self.worth(h, kept.from_start, kept.from_end), piece)
                })
            })
            .collect();
        stretches.sort_by(|(x, a), (y, b)| {
            (b.by_hand.cmp(&a.by_hand))
                .then(y.total_cmp(x))
                .then(a.kept.cmp(&b.kept))
        });
        for (_, piece) in stretches {
            let same = taken.near(piece.start, piece.end).into_iter().find(|&n| {
                let other = &taken.pieces[n];
                let (from, to) = (piece.start.max(other.start), piece.end.min(other.end));
                let shorter = (piece.end - piece.start).min(other.end - other.start);
                !(piece.by_hand && other.by_hand)
                    && 2 * (to - from) >= shorter
                    && self
                        .together
                        .at(piece.owner, other.owner, from.midpoint(to))
            });
            match same {
                Some(n) => {
                    let survivor = &mut taken.pieces[n];
                    survivor.kept.extend(piece.kept);
                    survivor.members.push(piece.owner);
                }
                None => taken.push(piece),
            }
        }
    }

    /// How good a stretch of a recording is, by the best of its segments there.
    fn worth(&self, hearer: &Hearer, from: FileMs, to: FileMs) -> f32 {
        hearer
            .segments
            .iter()
            .filter(|segment| segment.start < to && from < segment.end)
            .map(|segment| segment.snr_db)
            .fold(-30.0, f32::max)
    }

    fn take(&self, claim: &Claim, taken: &mut Taken) {
        let margin = self.params.margin_ms.max(0);
        let mut left = vec![(claim.start, claim.end)];
        for n in taken.near(claim.start, claim.end) {
            let piece = &mut taken.pieces[n];
            let (start, end) = piece.covers;
            let (from, to) = (claim.start.max(start), claim.end.min(end));
            if !self
                .together
                .at(claim.hearer, piece.owner, from.midpoint(to))
            {
                continue;
            }
            let has_some = claim.start < piece.end && piece.start < claim.end;
            if has_some && !piece.members.contains(&claim.hearer) {
                piece.members.push(claim.hearer);
            }
            left = left
                .into_iter()
                .flat_map(|(from, to)| {
                    [(from, to.min(start - margin)), (from.max(end + margin), to)]
                })
                .filter(|(start, end)| start < end)
                .collect();
        }
        for (start, end) in left {
            if (start, end) == (claim.start, claim.end) || self.speaks(claim, start, end) {
                taken.push(Piece {
                    owner: claim.hearer,
                    start,
                    end,
                    covers: (start, end),
                    by_hand: false,
                    kept: Vec::new(),
                    members: vec![claim.hearer],
                });
            }
        }
    }

    /// Whether what is left of a segment beside better ones is speech of its own.
    fn speaks(&self, claim: &Claim, start: i64, end: i64) -> bool {
        let file = |at: i64| {
            let placement = self.hearers[claim.hearer].placement;
            FileMs(placement.file_at(at as f64).round() as i64)
        };
        end - start >= self.params.alone_ms
            && self.sound.excess_db(claim.hearer, file(start), file(end)) >= self.params.heard_db
    }
}
