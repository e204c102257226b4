//! How do stretches of speech fill windows, and where in the file was this word?
//!
//! The model listens to 30 s at a time at one price, so neighbouring spans
//! share a window:
//! - a gap of up to 1 s between two spans stays as it is;
//! - of a longer gap, the 200 ms next to either span are kept (less where the
//!   gap is shared with another window) and the rest is left out, so that
//!   two spans never touch;
//! - nothing is inserted: every sample of a window is a sample of the file.
//!
//! A span longer than a window is cut into even parts. Where exactly is only
//! known from the samples: each border moves to the quietest 200 ms within
//! 4 s, so that it falls between words. Both windows find the same border from
//! the same samples, whichever is assembled first, so no word is cut or heard
//! twice.

use sayback_core::units::{ANALYSIS_RATE_HZ, FileMs};

use super::edges;
use super::recogniser::HeardWord;

/// Longest window in ms: what the model was made for.
const WINDOW_MS: i64 = 30_000;
/// Sound kept on either side of a span, in ms.
const PAD_MS: i64 = 200;
/// Gaps up to this stay as they are, in ms.
const JOIN_MS: i64 = 1_000;
/// Longest even part of a long span, in ms: with a border's reach on both
/// sides it still fits.
const PART_MS: i64 = 22_000;
/// How far a border may move to a quieter place, in ms.
const REACH_MS: i64 = 4_000;
/// Length of the quiet looked for, in ms: longer than the closure of a stop
/// consonant (50 to 130 ms).
const QUIET_MS: i64 = 200;
/// What a window costs, and what it costs at most to close one where a sentence may go
/// on.
const WINDOW_COST: i64 = 1_000;
const CLOSING_COST: i64 = 500;
/// Analysis samples in a ms: windows map to the file without rounding.
const PER_MS: i64 = ANALYSIS_RATE_HZ as i64 / 1000;

/// A stretch of speech in a file, `end` exclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// First ms.
    pub start: FileMs,
    /// The ms after the last.
    pub end: FileMs,
}

/// A piece of the file in a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WindowSpan {
    /// Which of the spans given to [`pack`] it holds (a part of).
    pub span: usize,
    /// Where it begins in the file, the sound kept before the span included.
    pub from: FileMs,
    /// Where it ends in the file, exclusive, the sound kept after included.
    pub to: FileMs,
    /// Where it begins in the window, in ms.
    pub at_ms: i64,
    /// Where the speech begins in the file, if it does here: not in a later part of a
    /// long span.
    pub begins: Option<FileMs>,
}

/// A plan for one window: which pieces of the file it will hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Window {
    pieces: Vec<Piece>,
}

/// A window's samples and where they came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    samples: Vec<f32>,
    spans: Vec<WindowSpan>,
}

/// (A part of) a span; a border is exact, or to be looked for near an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Piece {
    span: usize,
    start: Edge,
    end: Edge,
    /// Sound before the start that belongs to no other piece, in ms.
    free_before: i64,
    /// The same after the end.
    free_after: i64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Edge {
    /// In ms of the file; sound is kept beyond it.
    At(i64),
    /// The quietest place within [`REACH_MS`] of this; nothing beyond it.
    Near(i64),
}

/// Packs spans into windows, in the order of the file: few, and closed at wide gaps. One
/// more is taken where it spares closing in the middle of two sentences.
///
/// Spans are taken in the order of their start; what overlaps an earlier span
/// or the end of the file is left out. Every instant of a span is in exactly
/// one window.
///
/// ```
/// use sayback::core::units::FileMs;
/// use sayback::speech::{Span, pack};
/// let span = |start, end| Span { start: FileMs(start), end: FileMs(end) };
/// // Two short lines minutes apart share a window; a long speech is cut.
/// assert_eq!(pack(&[span(1_000, 4_000), span(300_000, 309_000)], FileMs(600_000)).len(), 1);
/// assert_eq!(pack(&[span(0, 60_000)], FileMs(600_000)).len(), 3);
/// ```
#[must_use]
pub fn pack(spans: &[Span], file_end: FileMs) -> Vec<Window> {
    let pieces = parts(spans, file_end.0);
    // What the cheapest windows of the first pieces cost, and where the last begins.
    let mut cheapest = vec![(0, 0)];
    for end in 1..=pieces.len() {
        let mut best = None;
        // The longest that such a window can become, in ms.
        let mut longest = 2 * PAD_MS;
        for start in (0..end).rev() {
            longest += pieces[start].end.latest() - pieces[start].start.earliest();
            if start + 1 < end {
                longest += kept_between(pieces[start].end, pieces[start + 1].start);
                if longest > WINDOW_MS {
                    break;
                }
            }
            let cost = cheapest[start].0 + WINDOW_COST + closing_cost(&pieces, start);
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, start));
            }
        }
        cheapest.extend(best);
    }
    let mut windows = Vec::new();
    let mut end = pieces.len();
    while end > 0 {
        let start = cheapest[end].1;
        windows.push(Window {
            pieces: pieces[start..end].to_vec(),
        });
        end = start;
    }
    windows.reverse();
    windows
}

/// The spans in order, inside the file and apart, long ones in parts.
fn parts(spans: &[Span], file_end: i64) -> Vec<Piece> {
    let mut order: Vec<usize> = (0..spans.len()).collect();
    order.sort_by_key(|&index| spans[index].start);
    let mut pieces = Vec::new();
    let mut free = 0;
    for span in order {
        let start = spans[span].start.0.max(free);
        let end = spans[span].end.0.min(file_end);
        if start >= end {
            continue;
        }
        free = end;
        let length = end - start;
        let count = if length <= WINDOW_MS {
            1
        } else {
            (length + PART_MS - 1) / PART_MS
        };
        let border = |index: i64| match index {
            0 => Edge::At(start),
            _ if index == count => Edge::At(end),
            _ => Edge::Near(start + length * index / count),
        };
        pieces.extend((0..count).map(|index| Piece {
            span,
            start: border(index),
            end: border(index + 1),
            free_before: 0,
            free_after: 0,
        }));
    }
    free_sound(&mut pieces, file_end);
    pieces
}

/// Halves every gap between its neighbours, as far as a window has room.
fn free_sound(pieces: &mut [Piece], file_end: i64) {
    let mut before = 0;
    for index in 0..pieces.len() {
        let next = pieces.get(index + 1).map(|piece| piece.start);
        let piece = &mut pieces[index];
        let end = piece.end.planned();
        // The far ends of the file have only one neighbour.
        let middle = next.map_or(file_end, |start| (end + start.planned()) / 2);
        let start = piece.start.planned();
        let room = (WINDOW_MS - (end - start)).max(0) / 2;
        piece.free_before = (start - before).min(room);
        piece.free_after = (middle - end).min(room);
        before = middle;
    }
}

/// How much of a gap a window keeps, in ms.
fn kept_between(end: Edge, start: Edge) -> i64 {
    let gap = (start.planned() - end.planned()).max(0);
    if gap <= JOIN_MS { gap } else { 2 * PAD_MS }
}

/// What it costs that a window begins with this piece and not with one before: the
/// narrower the gap, the likelier a sentence goes on over it.
fn closing_cost(pieces: &[Piece], start: usize) -> i64 {
    let Some(before) = start.checked_sub(1) else {
        return 0;
    };
    let gap = pieces[start].start.planned() - pieces[before].end.planned();
    CLOSING_COST * JOIN_MS / (JOIN_MS + gap.max(0))
}

impl Edge {
    fn planned(self) -> i64 {
        match self {
            Self::At(ms) | Self::Near(ms) => ms,
        }
    }

    fn earliest(self) -> i64 {
        match self {
            Self::At(ms) => ms,
            Self::Near(ms) => ms - REACH_MS,
        }
    }

    fn latest(self) -> i64 {
        match self {
            Self::At(ms) => ms,
            Self::Near(ms) => ms + REACH_MS,
        }
    }
}

impl Window {
    /// Which of the spans given to [`pack`] it holds (a part of), in order.
    pub fn holds(&self) -> impl Iterator<Item = usize> + '_ {
        self.pieces.iter().map(|piece| piece.span)
    }

    /// Reads the window's samples with `read`, which gets a start and an end
    /// in the file and answers 16 kHz mono samples; what is missing at the end
    /// of the file counts as silence. Asks for at most 30 s at once.
    ///
    /// # Errors
    /// Whatever `read` fails with.
    pub fn assemble<E>(
        &self,
        read: &mut dyn FnMut(FileMs, FileMs) -> Result<Vec<f32>, E>,
    ) -> Result<Passage, E> {
        let mut spans: Vec<WindowSpan> = Vec::with_capacity(self.pieces.len());
        let mut samples = Vec::new();
        for (index, piece) in self.pieces.iter().enumerate() {
            let before = index.checked_sub(1).map(|before| &self.pieces[before]);
            let from = match piece.start {
                Edge::At(start) => start - piece.kept_before(before),
                Edge::Near(near) => border(near, read)?,
            };
            let to = match piece.end {
                Edge::At(end) => end + piece.kept_after(self.pieces.get(index + 1)),
                Edge::Near(near) => border(near, read)?,
            };
            spans.push(WindowSpan {
                span: piece.span,
                from: FileMs(from),
                to: FileMs(to),
                at_ms: samples.len() as i64 / PER_MS,
                begins: match piece.start {
                    Edge::At(start) => Some(FileMs(start)),
                    Edge::Near(_) => None,
                },
            });
            let length = samples.len() + ((to - from) * PER_MS) as usize;
            samples.extend(read(FileMs(from), FileMs(to))?);
            samples.resize(length, 0.0);
        }
        Ok(Passage { samples, spans })
    }
}

impl Piece {
    /// Sound kept before the start, in ms: a short gap is shared with the
    /// piece before in the same window.
    fn kept_before(&self, before: Option<&Self>) -> i64 {
        let joined = before.is_some_and(|before| joined(before, self));
        if joined {
            self.free_before
        } else {
            self.free_before.min(PAD_MS)
        }
    }

    fn kept_after(&self, after: Option<&Self>) -> i64 {
        let joined = after.is_some_and(|after| joined(self, after));
        if joined {
            self.free_after
        } else {
            self.free_after.min(PAD_MS)
        }
    }
}

fn joined(before: &Piece, after: &Piece) -> bool {
    after.start.planned() - before.end.planned() <= JOIN_MS
}

/// The quietest place within reach of `near`, in ms of the file.
fn border<E>(
    near: i64,
    read: &mut dyn FnMut(FileMs, FileMs) -> Result<Vec<f32>, E>,
) -> Result<i64, E> {
    let from = near - REACH_MS;
    let samples = read(FileMs(from), FileMs(near + REACH_MS))?;
    // Energy of 10 ms steps, then of QUIET_MS in a row.
    let step_ms = 10;
    let steps: Vec<f64> = samples
        .chunks((step_ms * PER_MS) as usize)
        .map(|step| {
            step.iter()
                .filter(|s| s.is_finite())
                .map(|&s| f64::from(s) * f64::from(s))
                .sum()
        })
        .collect();
    let middle = |at: usize| from + at as i64 * step_ms + QUIET_MS / 2;
    let quietest = steps
        .windows((QUIET_MS / step_ms) as usize)
        .map(|steps| steps.iter().sum::<f64>())
        .enumerate()
        .min_by(|(a, energy_a), (b, energy_b)| {
            let off = |at: &usize| (middle(*at) - near).abs();
            energy_a.total_cmp(energy_b).then(off(a).cmp(&off(b)))
        });
    Ok(quietest.map_or(near, |(at, _)| middle(at)))
}

impl Passage {
    /// 16 kHz mono, at most 30 s.
    #[must_use]
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// Where the samples came from, in order and without holes.
    #[must_use]
    pub fn spans(&self) -> &[WindowSpan] {
        &self.spans
    }

    /// The passage of some of its spans alone, by their places in [`Passage::spans`].
    #[must_use]
    pub(super) fn part(&self, places: &[usize]) -> Self {
        let mut part = Self {
            samples: Vec::new(),
            spans: Vec::with_capacity(places.len()),
        };
        for &place in places {
            let span = self.spans[place];
            part.spans.push(WindowSpan {
                at_ms: part.samples.len() as i64 / PER_MS,
                ..span
            });
            part.samples.extend_from_slice(self.sound_of(place));
        }
        part
    }

    /// The samples of a span, by its place in [`Passage::spans`].
    pub(super) fn sound_of(&self, place: usize) -> &[f32] {
        let at = |ms: i64| ((ms * PER_MS) as usize).min(self.samples.len());
        let next = self.spans.get(place + 1);
        let end = next.map_or(self.samples.len(), |next| at(next.at_ms));
        &self.samples[at(self.spans[place].at_ms)..end]
    }

    /// Puts words heard in this window where they are in the file, each with
    /// the index of its span (of those given to [`pack`]).
    ///
    /// A word that reaches over two pieces goes to the one that holds its
    /// middle, and is shortened to it. Words may begin or end in the sound
    /// kept around their span.
    #[must_use]
    pub fn place(&self, words: Vec<HeardWord>) -> Vec<(usize, HeardWord)> {
        let placed = words.into_iter().filter_map(|word| self.placed(word));
        let mut placed: Vec<(usize, HeardWord)> = placed.collect();
        edges::settle(&mut placed, &self.spans);
        placed
    }

    fn placed(&self, mut word: HeardWord) -> Option<(usize, HeardWord)> {
        let middle = (word.start_ms + word.end_ms) / 2;
        let begun = self.spans.partition_point(|span| span.at_ms <= middle);
        let span = self.spans.get(begun.saturating_sub(1))?;
        let moved = |ms: i64| ms - span.at_ms + span.from.0;
        let last = span.to.0 - 1;
        word.start_ms = moved(word.start_ms).clamp(span.from.0, last);
        word.end_ms = moved(word.end_ms).clamp(word.start_ms + 1, span.to.0);
        Some((span.span, word))
    }
}

impl AsRef<[f32]> for Passage {
    fn as_ref(&self) -> &[f32] {
        &self.samples
    }
}

#[cfg(test)]
#[path = "windows_tests.rs"]
mod tests;
