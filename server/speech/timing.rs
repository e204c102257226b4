//! When in its window was each word said?
//!
//! The alignment of the model's attention says where each piece of a word ends,
//! late by about a tenth of a second and right to some 50 ms; the sound says
//! where voice begins and stops, but not which word it is. [`times`] weighs both
//! for all words of a window at once: each word has a start and an end near what
//! the alignment says, where loudness rises and falls, with voice inside and
//! none between words, about as long as it takes to say. The cheapest such row
//! is found by dynamic programming. Pure.

use super::loudness::{FRAME_MS, Loudness};
use super::words::Spelled;

/// By how much the alignment is late, in ms: between what the read passages (115)
/// and the generated lines (100) of the tests say.
const LATE_MS: i64 = 110;
/// How far a border may be from where the alignment says, in frames.
const REACH: i64 = 45;
/// How far before it a word may end, in frames.
const SOONER: i64 = 20;
/// The least length of a word, in frames.
const LEAST: i64 = 2;
/// What the alignment of a border is usually right to, in ms.
const SPREAD_MS: f32 = 50.0;
/// The same where there is no alignment.
const GUESS_MS: f32 = 200.0;
/// A border this many spreads off costs no more: it was misheard.
const FARTHEST: f32 = 8.0;
/// How much less a start is held to the alignment after a pause, which belongs
/// to neither word.
const RESTED: f32 = 0.25;
/// Cost of a dB by which loudness does not rise at a start, or fall at an end.
const EDGE: f32 = 0.04;
/// Cost of a voiced frame between words, before the first and after the last.
const BETWEEN: f32 = 0.3;
/// Cost of a silent frame in a word: the closures of stops are few.
const INSIDE: f32 = 0.25;
/// Cost of a gap between two words.
const GAP: f32 = 0.5;
/// Frames a letter takes, at least and at most.
const LETTER: (f32, f32) = (4.0, 10.0);
/// And where nothing tells.
const USUAL_LETTER: f32 = 6.0;
/// More than any row costs.
const NEVER: f32 = 1e9;

/// What the DP may choose from for a word: its start and its end lie in these
/// ranges, in frames, and cost so much.
struct Choice {
    starts: (i64, Vec<f32>),
    ends: (i64, Vec<f32>),
    /// Frames the word usually takes.
    usual: f32,
}

/// Where the alignment has a word, in frames.
struct Aligned {
    start: Option<i64>,
    end: i64,
}

/// The best row up to a word, for each of its ends.
struct Step {
    /// For each start, the best end of the word before.
    before: Vec<usize>,
    /// For each end, the best start.
    start: Vec<usize>,
    cost: Vec<f32>,
}

/// Start and end of every word of a window in ms: in order, not overlapping, none
/// shorter than a ms; inside the sound if there is room for them.
pub(super) fn times(words: &[Spelled], loudness: &Loudness) -> Vec<(i64, i64)> {
    let choices = choices(words, loudness);
    row(&choices, loudness).unwrap_or_else(|| even(words.len(), loudness.frames() * FRAME_MS))
}

/// Gives words that the model did not align the borders they would have if a
/// phrase's voice were shared out by their lengths.
pub(super) fn guess(words: &mut [Spelled], from_ms: i64, to_ms: i64, loudness: &Loudness) {
    let voiced: Vec<i64> = (from_ms / FRAME_MS..to_ms / FRAME_MS)
        .filter(|&frame| loudness.is_voiced(frame))
        .collect();
    let total: f32 = words.iter().map(|word| letters(&word.text)).sum();
    let length = (to_ms - from_ms).max(0) as f32;
    let mut done = 0.0;
    for word in words {
        let begun = done / total;
        done += letters(&word.text);
        let ended = done / total;
        // The voiced frame a share of the voice begins with, and the one it ends with.
        let frame = |share: f32, less: usize| {
            let at = ((share * voiced.len() as f32) as usize).saturating_sub(less);
            voiced
                .get(at)
                .or(voiced.last())
                .map(|frame| (frame + less as i64) * FRAME_MS)
        };
        let flat = |share: f32| from_ms + (length * share) as i64;
        word.guessed = true;
        word.from_ms = Some(frame(begun, 0).unwrap_or(flat(begun)) + LATE_MS);
        word.to_ms = Some(frame(ended, 1).unwrap_or(flat(ended)) + LATE_MS);
    }
}

/// How long a word takes to say, in letters.
fn letters(text: &str) -> f32 {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count() as f32;
    let digits = text.chars().filter(char::is_ascii_digit).count() as f32;
    // A digit is a word of its own; no word takes no time.
    letters + 3.0 * digits + 0.5
}

fn choices(words: &[Spelled], loudness: &Loudness) -> Vec<Choice> {
    let frame = |ms: i64| (ms - LATE_MS + FRAME_MS / 2).div_euclid(FRAME_MS);
    let mut last = 0;
    let aligned: Vec<Aligned> = words
        .iter()
        .map(|word| {
            let start = word.from_ms.map(|ms| frame(ms).max(last));
            let end = word.to_ms.map_or(last, frame).max(last + 1);
            last = end;
            Aligned { start, end }
        })
        .collect();
    let letter = pace(words, &aligned);
    let frames = loudness.frames();
    words
        .iter()
        .zip(&aligned)
        .map(|(word, aligned)| {
            let usual = letters(&word.text) * letter;
            let end = aligned.end;
            let near = aligned.start.unwrap_or(end - usual as i64);
            let range = |from: i64, to: i64, least: i64, most: i64| {
                let from = from.clamp(least, most.max(least));
                (from, to.clamp(from, most.max(from)))
            };
            let sooner = aligned.start.map_or(0, |_| near.min(end - 1) - REACH);
            // As late as the word itself, for a pause that no sign told of.
            let later = (near.min(end) + REACH).max(end);
            let starts = range(sooner, later, 0, frames - LEAST);
            let ends = range(near.min(end) - SOONER, near.max(end) + REACH, 1, frames);
            let hold = if word.rests { RESTED } else { 1.0 };
            let spread = if word.guessed { GUESS_MS } else { SPREAD_MS };
            let off = |frame: i64, aligned: i64| {
                let off = ((frame - aligned) * FRAME_MS).abs() as f32 / spread;
                let cost = if off < 1.0 {
                    off * off / 2.0
                } else {
                    off - 0.5
                };
                cost.min(FARTHEST)
            };
            let start = |at: i64| {
                aligned.start.map_or(0.0, |aligned| hold * off(at, aligned))
                    - EDGE * loudness.rise(at).clamp(-6.0, 15.0)
            };
            let stop = |at: i64| off(at, end) + EDGE * loudness.rise(at).clamp(-15.0, 6.0);
            Choice {
                starts: (starts.0, (starts.0..=starts.1).map(start).collect()),
                ends: (ends.0, (ends.0..=ends.1).map(stop).collect()),
                usual,
            }
        })
        .collect()
}

/// Frames a letter takes in this window.
fn pace(words: &[Spelled], aligned: &[Aligned]) -> f32 {
    let mut each: Vec<f32> = words
        .iter()
        .zip(aligned)
        .filter_map(|(word, at)| Some((at.end - at.start?) as f32 / letters(&word.text)))
        .collect();
    each.sort_by(f32::total_cmp);
    let middle = each.get(each.len() / 2).copied().unwrap_or(USUAL_LETTER);
    middle.clamp(LETTER.0, LETTER.1)
}

/// The cheapest row of words, in ms; none if they have no room.
fn row(choices: &[Choice], loudness: &Loudness) -> Option<Vec<(i64, i64)>> {
    let mut steps: Vec<Step> = Vec::with_capacity(choices.len());
    for (n, choice) in choices.iter().enumerate() {
        let before = n.checked_sub(1);
        let before = before.map(|n| (choices[n].ends.0, steps[n].cost.as_slice()));
        steps.push(step(choice, before, loudness));
    }
    let last = steps.last()?;
    let after = |end: i64| BETWEEN * loudness.voiced(end, loudness.frames());
    let ends = (choices.last()?.ends.0..).zip(&last.cost);
    let whole = ends.map(|(end, cost)| cost + after(end)).enumerate();
    let mut end = least(whole)?.0;
    if last.cost[end] >= NEVER {
        return None;
    }
    let mut times = Vec::with_capacity(choices.len());
    for (choice, step) in choices.iter().zip(&steps).rev() {
        let start = step.start[end];
        let ms = |from: i64, at: usize| (from + at as i64) * FRAME_MS;
        times.push((ms(choice.starts.0, start), ms(choice.ends.0, end)));
        end = step.before[start];
    }
    times.reverse();
    Some(times)
}

/// One word after the ends of the word before: the first of them, in frames, and
/// their costs.
fn step(choice: &Choice, before: Option<(i64, &[f32])>, loudness: &Loudness) -> Step {
    let from_before = |at: i64| {
        let Some((first, costs)) = before else {
            return Some((0, BETWEEN * loudness.voiced(0, at)));
        };
        let ends = costs.iter().enumerate().filter_map(|(n, cost)| {
            let end = first + n as i64;
            let gap = if end < at { GAP } else { 0.0 };
            (end <= at).then(|| (n, cost + gap + BETWEEN * loudness.voiced(end, at)))
        });
        least(ends)
    };
    let (first, costs) = &choice.starts;
    let begun: Vec<(usize, f32)> = (*first..)
        .zip(costs)
        .map(|(at, cost)| {
            let (before, row) = from_before(at).unwrap_or((0, NEVER));
            (before, row + cost)
        })
        .collect();
    let inside = |start: i64, end: i64| {
        let length = ((end - start) as f32 / choice.usual).ln();
        INSIDE * loudness.silent(start, end) + length * length
    };
    let (start, cost) = (choice.ends.0..)
        .zip(&choice.ends.1)
        .map(|(end, own)| {
            let starts = (*first..).zip(&begun).enumerate();
            let fitting = starts.filter(|(_, (start, _))| start + LEAST <= end);
            let best = least(fitting.map(|(n, (start, (_, row)))| (n, row + inside(start, end))));
            let (start, row) = best.unwrap_or((0, NEVER));
            (start, row + own)
        })
        .unzip();
    Step {
        before: begun.into_iter().map(|(before, _)| before).collect(),
        start,
        cost,
    }
}

fn least(costs: impl Iterator<Item = (usize, f32)>) -> Option<(usize, f32)> {
    costs.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Words that have no room where they should be, side by side.
fn even(count: usize, ms: i64) -> Vec<(i64, i64)> {
    let count = count as i64;
    let ms = ms.max(count);
    (0..count)
        .map(|n| (n * ms / count, (n + 1) * ms / count))
        .collect()
}

#[cfg(test)]
#[path = "timing_tests.rs"]
mod tests;
