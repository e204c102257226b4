//! How far are the words from where they are in every file that has them?

use sayback::core::clock::Placed;
use xtask::scene::truth::HearingTruth;
use xtask::scene::{Truth, lines};

use crate::event::Recording;
use crate::fused::Fused;
use crate::said::{Timed, by_line};
use crate::score::plain;
use crate::share::below;

/// An error beyond this is a word on the wrong side of a pause, or taken for another
/// of the same text, ms.
const ASTRAY_MS: f64 = 400.0;

/// Distances in ms, over all files.
#[derive(Default)]
struct Off {
    starts: Vec<f64>,
    ends: Vec<f64>,
    first_starts: Vec<f64>,
    last_ends: Vec<f64>,
    /// The outermost words written down nearest to a line, also where they are not
    /// the line's: its word errors are in these.
    outer_starts: Vec<f64>,
    outer_ends: Vec<f64>,
    /// Hearings of lines whose first word, or last, was not heard as said.
    no_first: usize,
    no_last: usize,
}

/// A word of a line, or heard: its normal form, and its times unless a hyphen's other
/// part has them.
struct Word {
    text: String,
    start: Option<f64>,
    end: Option<f64>,
    /// Whose it is: position in the line's words.
    of: usize,
}

/// Prints how far the words of the lines lie from the truth in every file that has
/// the line, by the fused words and the clock.
pub fn print(truth: &Truth, recordings: &[Recording], placed: &[Placed], fused: &Fused) {
    let said = lines::words().expect("the words of the lines");
    let heard = by_line(truth, &fused.words.concat());
    let mut off = Off::default();
    for (n, recording) in recordings.iter().enumerate() {
        let hearings = &truth.recorders[recording.recorder].hearings;
        for hearing in hearings.iter().filter(|h| h.channel == recording.channel) {
            let (start, end) = edges(hearing, recording);
            let words = &heard[hearing.line];
            if start < 0.0 || end > recording.duration_ms {
                continue;
            }
            let there = |word: &Timed, at: f64| {
                let (from, own) = (&placed[word.recording], &placed[n]);
                // Where no clock joins them, the word can't be shown there.
                (from.island == own.island)
                    .then(|| own.placement.file_at(from.placement.event_at(at)))
            };
            if let (Some(first), Some(last)) = (words.first(), words.last()) {
                off.outer_starts
                    .extend(there(first, first.file.0).map(|at| at - start));
                off.outer_ends
                    .extend(there(last, last.file.1).map(|at| at - end));
            }
            let told = told(
                truth,
                hearing,
                recording,
                &said[&truth.lines[hearing.line].id],
            );
            let found = parts(words.iter().map(|word| {
                let (from, to) = word.file;
                (word.text.as_str(), there(word, from), there(word, to))
            }));
            off.add(&told, &found);
        }
    }
    off.print();
}

fn edges(hearing: &HearingTruth, recording: &Recording) -> (f64, f64) {
    let moved = |at: f64| at - recording.first_ms;
    (moved(hearing.start_ms), moved(hearing.end_ms))
}

/// The words of a line where they are in a file. The line's own edges are where its
/// sound begins and ends.
fn told(
    truth: &Truth,
    hearing: &HearingTruth,
    recording: &Recording,
    times_s: &[(f64, f64)],
) -> Vec<Word> {
    let (line, recorder) = (
        &truth.lines[hearing.line],
        &truth.recorders[recording.recorder],
    );
    let file = |dry_s: f64| {
        let event_ms = line.origin_ms + 1000.0 * dry_s / line.speed + hearing.delay_ms;
        recorder.file_ms(event_ms) - recording.first_ms
    };
    let texts: Vec<&str> = line.text.split_whitespace().collect();
    assert_eq!(texts.len(), times_s.len(), "the words of {}", line.id);
    let (start, end) = edges(hearing, recording);
    let last = texts.len() - 1;
    parts(
        texts
            .iter()
            .zip(times_s)
            .enumerate()
            .map(|(n, (text, (from, to)))| {
                let from = if n == 0 { start } else { file(*from) };
                let to = if n == last { end } else { file(*to) };
                (*text, Some(from), Some(to))
            }),
    )
}

/// Words as they are scored.
fn parts<'a>(words: impl Iterator<Item = (&'a str, Option<f64>, Option<f64>)>) -> Vec<Word> {
    let mut all = Vec::new();
    for (of, (text, start, end)) in words.enumerate() {
        let plain = plain(text);
        let texts: Vec<&str> = plain.split_whitespace().collect();
        for (n, text) in texts.iter().enumerate() {
            all.push(Word {
                text: (*text).into(),
                start: start.filter(|_| n == 0),
                end: end.filter(|_| n + 1 == texts.len()),
                of,
            });
        }
    }
    all
}

impl Off {
    fn add(&mut self, told: &[Word], found: &[Word]) {
        let both = |a: Option<f64>, b: Option<f64>| Some(b? - a?);
        let (mut first, mut last) = (false, false);
        let last_word = told.last().map(|word| word.of);
        for (a, b) in matched(told, found) {
            let (a, b) = (&told[a], &found[b]);
            if let Some(off) = both(a.start, b.start) {
                self.starts.push(off);
                if a.of == 0 {
                    self.first_starts.push(off);
                    first = true;
                }
            }
            if let Some(off) = both(a.end, b.end) {
                self.ends.push(off);
                if Some(a.of) == last_word {
                    self.last_ends.push(off);
                    last = true;
                }
            }
        }
        self.no_first += usize::from(!first);
        self.no_last += usize::from(!last);
    }

    fn print(&self) {
        row("start of every word, in every file", &self.starts);
        row("end of every word", &self.ends);
        row("start of a line", &self.first_starts);
        row("end of a line", &self.last_ends);
        println!(
            "  left out as word errors: {} hearings of a line for its first word, {} for its last",
            self.no_first, self.no_last
        );
        row(
            "start of a line, whatever its first word",
            &self.outer_starts,
        );
        row("end of a line, whatever its last word", &self.outer_ends);
    }
}

fn row(title: &str, errors: &[f64]) {
    let sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    let astray = sizes.iter().filter(|size| **size > ASTRAY_MS).count();
    println!(
        "{title:<42}{:>6}: error {:>4.0} ms median, {:>5.0} ms at the 95th percentile, {:+.0} ms on the whole, {:.1} % beyond {ASTRAY_MS:.0} ms",
        sizes.len(),
        below(&sizes, 0.5),
        below(&sizes, 0.95),
        below(errors, 0.5),
        100.0 * astray as f64 / sizes.len().max(1) as f64,
    );
}

/// Pairs of the same word, in order, by edit distance.
fn matched(a: &[Word], b: &[Word]) -> Vec<(usize, usize)> {
    let exchange = |i: usize, j: usize| if a[i].text == b[j].text { 0 } else { 4 };
    let mut cost = vec![vec![0_usize; b.len() + 1]; a.len() + 1];
    for (i, row) in cost.iter_mut().enumerate() {
        row[0] = 3 * i;
    }
    cost[0] = (0..=b.len()).map(|j| 3 * j).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            cost[i][j] = (cost[i - 1][j - 1] + exchange(i - 1, j - 1))
                .min(cost[i - 1][j] + 3)
                .min(cost[i][j - 1] + 3);
        }
    }
    let (mut i, mut j, mut pairs) = (a.len(), b.len(), Vec::new());
    while i > 0 && j > 0 {
        if cost[i][j] == cost[i - 1][j - 1] + exchange(i - 1, j - 1) {
            (i, j) = (i - 1, j - 1);
            if a[i].text == b[j].text {
                pairs.push((i, j));
            }
        } else if cost[i][j] == cost[i - 1][j] + 3 {
            i -= 1;
        } else {
            j -= 1;
        }
    }
    pairs.reverse();
    pairs
}
