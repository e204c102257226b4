//! Can all of it be cut, and where does each quote lie?
//!
//! The cut's clock counts ticks, so many a second that a sample of every recording in
//! the list is a whole number of them: starts and lengths are exact.

use thiserror::Error;

use super::super::safe;
use super::{Cut, Media, Quote, Take};

/// The longest list: where the labels of its frames begin again. s
const LONGEST_S: u128 = 86_400;
/// What begins by no more than this before another ends begins where that ends, ms: the
/// edges of moments are no finer.
const TOUCHING_MS: u64 = 20;
/// Whole numbers up to here are exact in the 64-bit numbers that `OpenTimelineIO` has.
const EXACT: u64 = 1 << 53;

/// Why a list can't be cut.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CutError {
    /// A quote that can't be cut as it is.
    #[error("quote {quote} ({text}): {field} {problem}")]
    Quote {
        /// Which, from 1.
        quote: usize,
        /// How it begins.
        text: String,
        /// The field, such as `takes[0].to`.
        field: String,
        /// What is wrong with it.
        problem: String,
    },
    /// A recording that nothing can be taken from.
    #[error("recording {media} ({file}): {field} {problem}")]
    Media {
        /// Which, from 1.
        media: usize,
        /// The name of its file.
        file: String,
        /// The field.
        field: String,
        /// What is wrong with it.
        problem: String,
    },
    /// The whole is too long.
    #[error(
        "the list is longer than 24 hours from where it starts, after which its time code \
         begins again: part it into several lists"
    )]
    Long,
    /// No clock counts the samples of all recordings.
    #[error(
        "the sample rates of these recordings have no common measure: take recordings of \
         fewer different rates into one list"
    )]
    Rates,
    /// A table that could not be written.
    #[error("the table could not be written: {0}")]
    Table(String),
}

/// A list whose quotes have their places; [`Cut::laid`] makes it.
#[derive(Clone, Debug)]
pub struct Laid<'a> {
    cut: &'a Cut,
    /// Ticks a second of the cut's clock.
    second: u64,
    placed: Vec<Placed<'a>>,
}

/// A quote in its place.
#[derive(Clone, Copy, Debug)]
pub struct Placed<'a> {
    /// Which, from 1.
    pub number: usize,
    /// What is said.
    pub quote: &'a Quote,
    /// The chosen hearing.
    pub take: &'a Take,
    /// The recording of that.
    pub media: &'a Media,
    /// Where it starts on the cut's clock, ticks.
    pub start: u128,
    /// Where it ends: the next one's start.
    pub end: u128,
    /// Its first frame, from 0 at the start of the cut.
    pub first_frame: u64,
    /// The first frame after it, at least one later.
    pub end_frame: u64,
    /// 0, or more where others are heard at the same time: no two of one layer are.
    pub layer: usize,
}

/// Where the last quote of a layer ends.
#[derive(Clone, Copy, Default)]
struct End {
    ticks: u128,
    frame: u64,
}

impl<'a> Laid<'a> {
    pub(super) fn of(cut: &'a Cut) -> Result<Self, CutError> {
        for (n, media) in cut.media.iter().enumerate() {
            check_media(n, media)?;
        }
        for (n, quote) in cut.quotes.iter().enumerate() {
            check_quote(cut, n, quote)?;
        }
        let mut laid = Self {
            cut,
            second: common_rate(cut)?,
            placed: Vec::with_capacity(cut.quotes.len()),
        };
        let (mut layers, mut before) = (vec![End::default()], 0);
        for (quote, number) in cut.quotes.iter().zip(1..) {
            let Some(take) = quote.takes.first() else {
                continue;
            };
            let Some(media) = laid.media(take) else {
                continue;
            };
            let wanted = quote.at_ms.map_or(before, |ms| laid.of_ms(ms));
            let touching = laid.of_ms(TOUCHING_MS);
            let free = layers.iter().position(|end| end.ticks <= wanted + touching);
            let layer = free.unwrap_or(layers.len());
            let last = layers.get(layer).copied().unwrap_or_default();
            let start = wanted.max(last.ticks);
            let end = start + laid.ticks(media, take.to - take.from);
            if end > LONGEST_S * u128::from(laid.second) {
                return Err(CutError::Long);
            }
            let first_frame = last.frame.max(cut.rate.nearest(start, laid.second));
            let end_frame = cut.rate.nearest(end, laid.second).max(first_frame + 1);
            let ends = End {
                ticks: end,
                frame: end_frame,
            };
            match layers.get_mut(layer) {
                Some(there) => *there = ends,
                None => layers.push(ends),
            }
            before = end;
            laid.placed.push(Placed {
                number,
                quote,
                take,
                media,
                start,
                end,
                first_frame,
                end_frame,
                layer,
            });
        }
        Ok(laid)
    }

    /// The list.
    #[must_use]
    pub fn cut(&self) -> &'a Cut {
        self.cut
    }

    /// Its quotes, in order.
    #[must_use]
    pub fn quotes(&self) -> &[Placed<'a>] {
        &self.placed
    }

    /// Ticks a second of the cut's clock.
    #[must_use]
    pub fn ticks_a_second(&self) -> u64 {
        self.second
    }

    /// How long all of it is, ms, rounded down.
    #[must_use]
    pub fn length_ms(&self) -> i64 {
        self.ms(self
            .placed
            .iter()
            .map(|placed| placed.end)
            .max()
            .unwrap_or(0))
    }

    /// How many layers there are.
    pub(super) fn layers(&self) -> usize {
        let layers = self.placed.iter().map(|placed| placed.layer + 1);
        layers.max().unwrap_or(1)
    }

    /// The first frame after all quotes.
    pub(super) fn end_frame(&self) -> u64 {
        let ends = self.placed.iter().map(|placed| placed.end_frame);
        ends.max().unwrap_or(0)
    }

    /// Milliseconds of the cut's clock in ticks, to the nearest.
    fn of_ms(&self, ms: u64) -> u128 {
        (u128::from(ms) * u128::from(self.second) + 500) / 1000
    }

    /// The frames of a take: those of its quote, or of the part of it that it has.
    pub(super) fn frames(&self, placed: &Placed<'_>, media: &Media, take: &Take) -> (u64, u64) {
        let start = placed.start + self.ticks(media, take.later);
        let end = (start + self.ticks(media, take.to - take.from)).min(placed.end);
        let frame = |ticks: u128| self.cut.rate.nearest(ticks, self.second);
        // Less than a frame is no part.
        let (up, down) = self.cut.rate.fraction();
        let lacks = placed.end - end.min(placed.end);
        let is_whole =
            take.later == 0 && lacks * u128::from(up) < u128::from(down) * u128::from(self.second);
        if is_whole || std::ptr::eq(take, placed.take) {
            return (placed.first_frame, placed.end_frame);
        }
        let first = frame(start).clamp(placed.first_frame, placed.end_frame - 1);
        (first, frame(end).clamp(first + 1, placed.end_frame))
    }

    /// A position on the cut's clock in ms, rounded down.
    #[must_use]
    pub fn ms(&self, ticks: u128) -> i64 {
        i64::try_from(ticks * 1000 / u128::from(self.second)).unwrap_or(i64::MAX)
    }

    /// So many samples of a recording in ticks.
    pub(super) fn ticks(&self, media: &Media, samples: u64) -> u128 {
        let each = self.second / u64::from(media.sample_rate_hz.max(1));
        u128::from(samples) * u128::from(each)
    }

    /// Where a sample of the chosen recording lies on the cut's clock; what lies outside
    /// of the quote, at its edge.
    pub(super) fn at(&self, placed: &Placed<'_>, sample: u64) -> u128 {
        let sample = sample.clamp(placed.take.from, placed.take.to);
        placed.start + self.ticks(placed.media, sample - placed.take.from)
    }

    /// The recording of a take.
    pub(super) fn media(&self, take: &Take) -> Option<&'a Media> {
        self.cut.media.get(take.media)
    }

    /// The frames of a recording, counted from midnight by its stamp or else from its
    /// start, that stand for a take where it has the place of `frames` frames: first and
    /// first after.
    ///
    /// A stretch of sound is no whole number of frames long; these are so many around
    /// its middle, so that each edge is less than a frame off.
    pub(super) fn source_frames(&self, media: &Media, take: &Take, frames: u64) -> (u64, u64) {
        let rate = self.cut.rate;
        let (up, down) = rate.fraction();
        let begins = media.time_reference.unwrap_or(0);
        // Twice the middle, in samples from midnight, and all in 2 × Hz × seconds.
        let middle = 2 * i128::from(begins) + i128::from(take.from) + i128::from(take.to);
        let second = i128::from(media.sample_rate_hz) * i128::from(down);
        let first = middle * i128::from(up) - i128::from(frames) * second;
        let nearest = (first + second).div_euclid(2 * second.max(1));
        // Not beyond the recording, if that has so many frames.
        let lowest = rate.frame_at(begins, media.sample_rate_hz);
        let beyond = rate.frame_at(begins + media.samples.max(1) - 1, media.sample_rate_hz) + 1;
        let highest = beyond.saturating_sub(frames).max(lowest);
        let first = u64::try_from(nearest).unwrap_or(0).clamp(lowest, highest);
        (first, first + frames)
    }
}

/// Ticks of the cut's clock: the least common multiple of all sample rates in use.
fn common_rate(cut: &Cut) -> Result<u64, CutError> {
    let takes = cut.quotes.iter().flat_map(|quote| &quote.takes);
    let mut second = 1_u64;
    for take in takes {
        let rate = cut.media.get(take.media).map_or(1, |m| m.sample_rate_hz);
        let rate = u64::from(rate.max(1));
        let more = rate / common(second, rate);
        let grown = second.checked_mul(more).filter(|grown| *grown <= EXACT);
        second = grown.ok_or(CutError::Rates)?;
    }
    Ok(second)
}

fn common(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common(b, a % b) }
}

fn check_media(n: usize, media: &Media) -> Result<(), CutError> {
    let wrong = |field: &str, problem: &str| {
        Err(CutError::Media {
            media: n + 1,
            file: beginning(&media.file_name),
            field: field.to_owned(),
            problem: problem.to_owned(),
        })
    };
    if media.sample_rate_hz == 0 {
        return wrong("sample_rate_hz", "is 0");
    }
    if media.channels == 0 {
        return wrong("channels", "is 0");
    }
    if media.target_url.trim().is_empty() {
        return wrong("target_url", "is empty");
    }
    if media.samples > EXACT / 4 {
        return wrong("samples", "is more than any recording has");
    }
    if media.time_reference.is_some_and(|first| first > EXACT / 4) {
        return wrong("time_reference", "is later than any day ends");
    }
    Ok(())
}

fn check_quote(cut: &Cut, n: usize, quote: &Quote) -> Result<(), CutError> {
    let wrong = |field: String, problem: String| {
        Err(CutError::Quote {
            quote: n + 1,
            text: beginning(&quote.text),
            field,
            problem,
        })
    };
    if quote.takes.is_empty() {
        return wrong("takes".into(), "is empty: choose a hearing".into());
    }
    for (at, take) in quote.takes.iter().enumerate() {
        let field = |name: &str| format!("takes[{at}].{name}");
        let Some(media) = cut.media.get(take.media) else {
            let (asked, known) = (take.media, cut.media.len());
            let problem = format!("is {asked}, and there are {known} recordings");
            return wrong(field("media"), problem);
        };
        if take.to <= take.from {
            let problem = match take.to == take.from {
                true => format!("is where it starts, {}: nothing lies between", take.from),
                false => format!("is {}, before it starts at {}", take.to, take.from),
            };
            return wrong(field("to"), problem);
        }
        if take.to > media.samples {
            let (to, has) = (take.to, media.samples);
            let problem = format!("is {to}, and the recording has {has} samples");
            return wrong(field("to"), problem);
        }
        if take.later > 0 && at == 0 {
            let problem = format!("is {}, and the chosen hearing has all of it", take.later);
            return wrong(field("later"), problem);
        }
        if take.later > EXACT / 4 {
            return wrong(field("later"), "is later than any quote ends".into());
        }
        if !take.ppm.is_finite() {
            return wrong(field("ppm"), "is no number".into());
        }
    }
    for (at, word) in quote.words.iter().enumerate() {
        if word.to < word.from {
            let problem = format!("is {}, before it starts at {}", word.to, word.from);
            return wrong(format!("words[{at}].to"), problem);
        }
    }
    Ok(())
}

/// How a text begins, for a message.
fn beginning(text: &str) -> String {
    safe::shortened(text, 40)
}
