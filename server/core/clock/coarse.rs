//! Do two recordings share sound, and along which line?
//!
//! Votes of blocks for places (correlation of the movements of all bands over all
//! lags), lines through the votes, and each line looked at again in short looks,
//! which alone decide.

use realfft::RealFftPlanner;

use super::ClockParams;
use super::decide::{Decided, TIMES_AGAINST, decide};
use super::field::{Field, MAX_BLOCK};
use super::prepared::Prepared;
use super::track::FRAME_MS;
use super::votes::{Guess, Vote, lines, votes_of};
use super::weigh::weigh;
use super::{Coarse, Line, Support};
use crate::Cancel;

/// Blocks for the ends of recordings and for short ones, frames: 10, 20 and 60 s.
const TEN: usize = 250;
const SHORT: usize = 500;
const MIDDLE: usize = 1_500;

/// Shortest recording that is searched for at all, frames: 4 s.
const SHORTEST: usize = 100;

/// Blocks of a recording: first frame and length. Two recordings whose clocks run
/// on share either the start or the end of one of them, so the ends are cut fine
/// and a long middle coarse.
fn blocks(frames: usize) -> Vec<(usize, usize)> {
    let mut blocks = Vec::new();
    if frames < SHORTEST {
        return blocks;
    }
    let tile = |blocks: &mut Vec<(usize, usize)>, from: usize, to: usize, length: usize| {
        let count = (to - from).div_ceil(length).max(1);
        let last = (to - from).saturating_sub(length);
        for n in 0..count {
            let start = from + (last * n).checked_div(count - 1).unwrap_or(0);
            blocks.push((start, length.min(to - from)));
        }
    };
    if frames <= 2 * MAX_BLOCK {
        if frames <= MIDDLE {
            tile(&mut blocks, 0, frames, TEN);
        }
        tile(&mut blocks, 0, frames, SHORT);
        if frames > SHORT {
            tile(&mut blocks, 0, frames, MIDDLE);
        }
        if frames > MIDDLE {
            tile(&mut blocks, 0, frames, MAX_BLOCK);
        }
        return blocks;
    }
    tile(&mut blocks, 0, frames, MAX_BLOCK);
    blocks.extend(ends(frames));
    blocks
}

/// Of each so many blocks of a long recording the liveliest is looked up first, and
/// the others only if something is found: pairs that share nothing are the rule
/// where a day has several places.
const GLANCE: usize = 3;

/// Shortest recording that is glanced at, frames: 48 min. Of a shorter one each
/// block is needed.
const GLANCED: usize = 24 * MAX_BLOCK;

/// Near the end of a recording, frames: where it shares less than a long block with
/// another, the two ends lie here.
const NEAR_END: usize = 2 * MAX_BLOCK;

/// The blocks at the ends alone.
fn ends(frames: usize) -> Vec<(usize, usize)> {
    if frames <= 2 * MAX_BLOCK {
        return blocks(frames);
    }
    let tens = (0..4).map(|n| (n * TEN, TEN));
    let shorts = (0..5).map(|n| (n * SHORT, SHORT));
    let near = tens
        .chain(shorts)
        .chain([(0, MIDDLE), (MIDDLE / 2, MIDDLE)]);
    near.flat_map(|(from, length)| [(from, length), (frames - from - length, length)])
        .collect()
}

/// Fewer looks than this are found by chance. A wrong header is wrong for the whole
/// file: a line steeper than clocks run holds for so many at least, and more speaks
/// for it than against. Two looks in applause find some rate that fits them.
pub(super) const FEW_LOOKS: u32 = 4;

/// Rates of one recording against another that a wrong header makes: 44.1 kHz
/// taken for 48 kHz and the reverse.
const HEADER_RATES: [f64; 2] = [44_100.0 / 48_000.0, 48_000.0 / 44_100.0];

/// Between two rates of the second look; a block of 30 s two thousandths off is
/// smeared over a frame and a half.
const RATE_STEP: f64 = 0.004;
const RATE_BLOCK: usize = 750;
const RATE_BLOCKS: usize = 12;

/// Lines of all those rates, two of each, that are looked at: the highest.
const RATE_LINES: usize = 6;

/// The usual look: clocks that run alike within [`ClockParams::max_ppm`]. `None` if
/// cancelled, as of all that follow.
pub(super) fn search(
    a: &Prepared,
    b: &Prepared,
    params: &ClockParams,
    cancel: &Cancel,
) -> Option<Decided> {
    if a.frames().min(b.frames()) >= GLANCED {
        let guesses = lines(glance(a, b, cancel)?, params.max_ppm);
        let decided = along(a, b, &guesses, params.max_ppm, params, cancel)?.without_moments();
        if decided.finding == Coarse::Nothing {
            return Some(decided);
        }
    }
    let guesses = lines(votes(a, b, cancel)?, params.max_ppm);
    Some(along(a, b, &guesses, params.max_ppm, params, cancel)?.without_moments())
}

/// What the sound along these lines says, none of them steeper than `most_ppm`.
pub(super) fn along(
    a: &Prepared,
    b: &Prepared,
    guesses: &[Guess],
    most_ppm: f64,
    params: &ClockParams,
    cancel: &Cancel,
) -> Option<Decided> {
    let look = (params.look_ms / FRAME_MS).clamp(50.0, MAX_BLOCK as f64) as usize;
    let mut weighed = Vec::with_capacity(guesses.len());
    for guess in guesses {
        if cancel.is_cancelled() {
            return None;
        }
        weighed.extend(weigh(a, b, guess, look, most_ppm));
    }
    Some(decide(weighed))
}

/// The second look, at clocks that run wrong by far: the liveliest blocks of the
/// first recording at one rate after another; the full search at the best.
pub(super) fn other_rates(
    a: &Prepared,
    b: &Prepared,
    params: &ClockParams,
    cancel: &Cancel,
) -> Option<Decided> {
    if a.frames() > b.frames() {
        return Some(other_rates(b, a, params, cancel)?.turned());
    }
    let steps = (params.max_wrong_rate / RATE_STEP).round() as i32;
    let rates = (-steps..=steps).map(|n| 1.0 + f64::from(n) * RATE_STEP);
    let mut field = Field::new(b, &mut RealFftPlanner::new());
    let slope = RATE_STEP / 2.0 * 1e6;
    let lively = liveliest(a);
    let mut guesses: Vec<(f64, Guess)> = Vec::new();
    for rate in rates.chain(HEADER_RATES) {
        let mut votes = Vec::new();
        for &from in &lively {
            if cancel.is_cancelled() {
                return None;
            }
            let block = a.part(from, RATE_BLOCK).at_rate(rate);
            let from = (from as f64 * rate).round() as usize;
            votes.extend(votes_of(&block.moves, from, &mut field));
        }
        let two = lines(votes, slope).into_iter().take(2);
        guesses.extend(two.map(|guess| (rate, guess)));
    }
    guesses.sort_by(|(_, x), (_, y)| y.height.total_cmp(&x.height));
    guesses.truncate(RATE_LINES);
    let mut best: Option<(f32, f64)> = None;
    for (rate, guess) in guesses {
        let decided = along(&a.at_rate(rate), b, &[guess], 2.0 * slope, params, cancel)?;
        if let Some((weight, ppm)) = decided.best
            && best.is_none_or(|(most, _)| weight > most)
        {
            best = Some((weight, rate * (1.0 + ppm / 1e6)));
        }
    }
    let Some((_, rate)) = best else {
        return Some(Decided::nothing());
    };
    let found = search(&a.at_rate(rate), b, params, cancel)?.back_from(rate);
    Some(found.without_short_steep(params))
}

/// First frames of the liveliest blocks for the second look.
fn liveliest(a: &Prepared) -> Vec<usize> {
    let mut blocks: Vec<usize> = (0..a.frames()).step_by(RATE_BLOCK).collect();
    blocks.retain(|from| from + SHORTEST <= a.frames());
    blocks.sort_by(|x, y| {
        a.energy(*y, RATE_BLOCK)
            .total_cmp(&a.energy(*x, RATE_BLOCK))
    });
    blocks.truncate(RATE_BLOCKS);
    blocks
}

/// Another rate must explain clearly more than the usual ones: pieces of a steep
/// line look like many jumps.
pub(super) fn better(usual: Decided, other: Decided) -> Decided {
    let shared = matches!(other.finding, Coarse::Shared(_));
    if shared && other.weight() > 1.3 * usual.weight() {
        other
    } else {
        usual
    }
}

/// Votes enough to say that two long recordings share nothing: of some blocks for
/// all places, and of the end of each for the other end of the other. Recordings
/// that overlap share an end of each, or all of one.
fn glance(a: &Prepared, b: &Prepared, cancel: &Cancel) -> Option<Vec<Vote>> {
    if a.frames() > b.frames() {
        let votes = glance(b, a, cancel)?;
        return Some(votes.into_iter().map(Vote::turned).collect());
    }
    let mut planner = RealFftPlanner::new();
    let mut votes = Vec::new();
    let mut field = Field::new(b, &mut planner);
    let tiles: Vec<usize> = (0..a.frames() / MAX_BLOCK).map(|n| n * MAX_BLOCK).collect();
    for some in tiles.chunks(GLANCE) {
        if cancel.is_cancelled() {
            return None;
        }
        let lively = |x: &&usize, y: &&usize| {
            a.energy(**x, MAX_BLOCK)
                .total_cmp(&a.energy(**y, MAX_BLOCK))
        };
        if let Some(&from) = some.iter().max_by(lively) {
            votes.extend(votes_of(&a.moves[from..from + MAX_BLOCK], from, &mut field));
        }
    }
    let tens = (0..4).flat_map(|n| [(n * TEN, TEN), (NEAR_END - (n + 1) * TEN, TEN)]);
    let near: Vec<(usize, usize)> = blocks(NEAR_END).into_iter().chain(tens).collect();
    let (a_end, b_end) = (a.frames() - NEAR_END, b.frames() - NEAR_END);
    for (a_from, b_from) in [(0, b_end), (a_end, 0)] {
        let (here, there) = (a.part(a_from, NEAR_END), b.part(b_from, NEAR_END));
        let mut field = Field::new(&there, &mut planner);
        for &(from, length) in &near {
            let found = votes_of(&here.moves[from..from + length], from, &mut field);
            votes.extend(found.into_iter().map(|vote| Vote {
                here: vote.here + a_from as f64,
                there: vote.there + b_from as f64,
                ..vote
            }));
        }
    }
    Some(votes)
}

fn votes(a: &Prepared, b: &Prepared, cancel: &Cancel) -> Option<Vec<Vote>> {
    if a.frames() > b.frames() {
        let votes = votes(b, a, cancel)?;
        return Some(votes.into_iter().map(Vote::turned).collect());
    }
    let mut planner = RealFftPlanner::new();
    let mut votes = Vec::new();
    let mut field = Field::new(b, &mut planner);
    for (from, length) in blocks(a.frames()) {
        if cancel.is_cancelled() {
            return None;
        }
        votes.extend(votes_of(&a.moves[from..from + length], from, &mut field));
    }
    let mut field = Field::new(a, &mut planner);
    for (from, length) in ends(b.frames()) {
        if cancel.is_cancelled() {
            return None;
        }
        let found = votes_of(&b.moves[from..from + length], from, &mut field);
        votes.extend(found.into_iter().map(Vote::turned));
    }
    Some(votes)
}

impl Decided {
    /// The same, a tie of two or three looks amid many that speak against it being
    /// chance: between recordings of some hours there is nearly always one.
    fn without_moments(self) -> Self {
        let Coarse::Tie(supports) = &self.finding else {
            return self;
        };
        let few = supports.iter().all(|support| support.blocks < FEW_LOOKS);
        let doubted = |support: &Support| support.against >= TIMES_AGAINST * support.blocks;
        if few && supports.iter().any(doubted) {
            return Self::nothing();
        }
        self
    }

    /// The same without steep lines that hold for a moment.
    pub(super) fn without_short_steep(mut self, params: &ClockParams) -> Self {
        if let Coarse::Shared(supports) = &mut self.finding {
            supports.retain(|support| {
                support.line.ppm.abs() <= 2.0 * params.max_ppm
                    || support.is_firm() && support.blocks >= FEW_LOOKS
            });
            if supports.is_empty() {
                return Self::nothing();
            }
        }
        self
    }

    /// Found between the first recording at `rate` times its rate and the second.
    pub(super) fn back_from(self, rate: f64) -> Self {
        let back = |support: Support| Support {
            line: Line {
                here_ms: support.line.here_ms / rate,
                there_ms: support.line.there_ms,
                ppm: (rate * (1.0 + support.line.ppm / 1e6) - 1.0) * 1e6,
            },
            from_ms: support.from_ms / rate,
            to_ms: support.to_ms / rate,
            ..support
        };
        let all = |supports: Vec<Support>| supports.into_iter().map(back).collect();
        let finding = match self.finding {
            Coarse::Nothing => Coarse::Nothing,
            Coarse::Shared(supports) => Coarse::Shared(all(supports)),
            Coarse::Tie(supports) => Coarse::Tie(all(supports)),
        };
        Self { finding, ..self }
    }
}

#[cfg(test)]
mod tests;
