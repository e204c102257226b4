//! Where might the text have been said?
//!
//! A seed is a word, or two near each other, that text and speech share and that tells
//! something. Around seeds that support each other the alignment may look; elsewhere
//! it does not.

use std::collections::HashMap;

use super::types::Read;

/// What one word must tell to be a seed by itself; of two together, their sum.
const TELLS: f32 = 4.5;
const TWO_TELL: f32 = 6.0;
/// What seeds near each other must tell together: coming into the text costs as much.
const TOGETHER: f32 = 14.0;
/// Places of the text that one word may be a seed for; what comes more often tells
/// nothing of where.
const PLACES: usize = 24;
/// The most seeds that are looked at.
const MOST: usize = 400_000;
/// Seeds support each other within so many words, and this much out of step.
const NEAR: u32 = 24;
const STEP: u64 = 8;
/// So many of them are enough to tell.
const MOST_NEAR: usize = 64;
/// How far around a seed the alignment may look: words heard, and words of the text
/// beside the seed's own line.
const AROUND: i64 = 30;
const BESIDE: i64 = 15;

/// For each word heard, the stretches of the text it may belong to: half open, in
/// order, apart.
pub(super) type Band = Vec<Vec<(u32, u32)>>;

/// A place of the text and one of what was heard that share something.
#[derive(Clone, Copy)]
struct Seed {
    text: u32,
    heard: u32,
    /// The types of its words, so that one word over and over does not support itself,
    /// and what each of them tells.
    what: [(u32, f32); 2],
}

impl Seed {
    fn tells(&self) -> f32 {
        self.what[0].1 + self.what[1].1
    }

    fn line(&self) -> i64 {
        i64::from(self.text) - i64::from(self.heard)
    }
}

/// Where the alignment is to look.
pub(super) fn band(read: &Read) -> Band {
    let (rows, columns) = (read.text.len() as i64, read.heard.len() as i64);
    let mut band: Band = vec![Vec::new(); read.heard.len()];
    for seed in supported(seeds(read)) {
        let (i, j) = (i64::from(seed.text), i64::from(seed.heard));
        for column in (j - AROUND).max(0)..(j + AROUND + 1).min(columns) {
            let row = i + column - j;
            let (from, to) = ((row - BESIDE).max(0), (row + BESIDE + 1).min(rows));
            if from < to {
                let (from, to) = (from as u32, to as u32);
                let column = &mut band[column as usize];
                match column.last_mut() {
                    // Most seeds follow each other on one line.
                    Some(last) if last.0 <= from && from <= last.1 => last.1 = last.1.max(to),
                    _ => column.push((from, to)),
                }
            }
        }
    }
    band.iter_mut().for_each(merge);
    band
}

fn merge(intervals: &mut Vec<(u32, u32)>) {
    intervals.sort_unstable();
    intervals.dedup_by(|next, last| {
        let touch = next.0 <= last.1;
        if touch {
            last.1 = last.1.max(next.1);
        }
        touch
    });
}

/// All seeds in the order of what was heard.
fn seeds(read: &Read) -> Vec<Seed> {
    let mut places: HashMap<u32, Vec<u32>> = HashMap::new();
    for (n, token) in (0..).zip(&read.text) {
        places.entry(token.kind).or_default().push(n);
    }
    let at = |j: usize| {
        let token = read.heard.get(j)?;
        places.get(&token.kind).filter(|all| all.len() <= PLACES)
    };
    let mut seeds = Vec::new();
    for j in 0..read.heard.len() {
        let Some(here) = at(j) else { continue };
        for &i in here {
            let own = read.weight[i as usize];
            let kind = read.text[i as usize].kind;
            let mut best = Seed {
                text: i,
                heard: j as u32,
                what: [(kind, own), (kind, 0.0)],
            };
            for (step, ahead) in [(1, 1), (1, 2), (2, 1), (2, 2)] {
                let other = i as usize + step;
                let shared = match (read.text.get(other), read.heard.get(j + ahead)) {
                    (Some(a), Some(b)) => a.kind == b.kind,
                    _ => false,
                };
                if !shared {
                    continue;
                }
                let next = match (step, ahead) {
                    (1, 1) => read.weight_after[other],
                    _ => read.weight[other],
                };
                if next > best.what[1].1 {
                    best.what[1] = (read.text[other].kind, next);
                }
            }
            if own >= TELLS || best.tells() >= TWO_TELL {
                seeds.push(best);
            }
        }
    }
    if seeds.len() > MOST {
        seeds.sort_by(|a, b| b.tells().total_cmp(&a.tells()));
        seeds.truncate(MOST);
        seeds.sort_by_key(|seed| (seed.heard, seed.text));
    }
    seeds
}

/// Seeds that tell enough together with those behind them on nearly the same line, and
/// these.
fn supported(seeds: Vec<Seed>) -> Vec<Seed> {
    let mut keep = vec![false; seeds.len()];
    let mut near: Vec<usize> = Vec::new();
    let mut known: Vec<u32> = Vec::new();
    for (n, seed) in seeds.iter().enumerate() {
        near.clear();
        known.clear();
        let mut tells = 0.0;
        for (m, other) in seeds.iter().enumerate().skip(n) {
            if other.heard > seed.heard + NEAR || near.len() >= MOST_NEAR {
                break;
            }
            let beside = m == n || other.heard > seed.heard;
            if !beside || seed.line().abs_diff(other.line()) > STEP {
                continue;
            }
            near.push(m);
            for (kind, own) in other.what {
                if !known.contains(&kind) {
                    known.push(kind);
                    tells += own;
                }
            }
        }
        if tells >= TOGETHER {
            near.iter().for_each(|&m| keep[m] = true);
        }
    }
    let mut keep = keep.into_iter();
    seeds
        .into_iter()
        .filter(|_| keep.next().unwrap_or(false))
        .collect()
}
