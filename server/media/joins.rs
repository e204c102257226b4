//! Which files are pieces of one long take?
//!
//! Recorders split a long take at 2 or 4 GiB, or by time, without a gap. Two
//! files of **one source** and of one format (codec, rate, channels, bits) are
//! taken to follow each other when one of these holds:
//!
//! 1. **Sample clock** (bext or iXML): the second starts where the first ends,
//!    to 10 ms, over midnight too. When both have a running sample clock and it
//!    says otherwise, they are apart, whatever their names say.
//! 2. **Name and size**: the names differ in one number, which is one higher,
//!    and the first file is full: it ends within 64 MiB below 2 GiB or 4 GiB.
//! 3. **Name and length**: the names run in sequence and the first file is as
//!    long as the one before it in the run, and the second not longer: a
//!    recorder that splits by time. The first join of such a run needs a third
//!    piece to show itself.
//!
//! A sample clock that stands still (the same in both, as in recorders without
//! a clock) says nothing. Nothing is read from disk here; the order of the
//! input does not matter.

use std::cmp::Ordering;

use super::{Probe, Stamp, StampKind};

/// How far the second piece may start from the end of the first, in ms.
/// Recorders that split by samples are exact; some round the stamp to ms.
const CLOCK_SLACK_MS: i128 = 10;
/// Where file systems make recorders start a new file, in bytes.
const FULL_AT: [u64; 2] = [1 << 31, 1 << 32];
/// How far below that a full file may end: recorders stop at a block.
const FULL_SLACK: u64 = 64 << 20;
/// Pieces split by time differ in length by no more than this, in ms.
const LENGTH_SLACK_MS: i64 = 100;
/// A day, in ms: sample clocks count from midnight.
const DAY_MS: i128 = 86_400_000;

/// What is known of one file of a source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// File name without folders.
    pub name: String,
    /// Size of the file.
    pub bytes: u64,
    /// Frames in it.
    pub frames: u64,
    /// Frames a second.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// Bits a sample.
    pub bits: Option<u16>,
    /// Name of the codec.
    pub codec: String,
    /// Its stamps.
    pub stamps: Vec<Stamp>,
}

impl Piece {
    /// A piece from what [`probe`](super::probe) found.
    #[must_use]
    pub fn new(name: &str, bytes: u64, probe: &Probe) -> Self {
        Self {
            name: name.to_owned(),
            bytes,
            frames: probe.frames,
            rate_hz: probe.rate_hz,
            channels: probe.channels,
            bits: probe.bits,
            codec: probe.codec.clone(),
            stamps: probe.stamps.clone(),
        }
    }

    /// Start on the sample clock in ms since midnight; bext before iXML.
    fn clock_ms(&self) -> Option<i128> {
        [StampKind::Bext, StampKind::Ixml].iter().find_map(|kind| {
            let stamp = self.stamps.iter().find(|stamp| stamp.kind == *kind)?;
            let rate = i128::from(stamp.rate_hz.filter(|rate| *rate > 0)?);
            Some(i128::from(stamp.samples?) * 1000 / rate)
        })
    }

    /// The day it was recorded, if a stamp of the recorder says.
    fn day(&self) -> Option<&str> {
        let stamp = self
            .stamps
            .iter()
            .find(|stamp| stamp.kind <= StampKind::Ixml && stamp.at.len() >= 10)?;
        stamp.at.get(..10)
    }

    fn length_ms(&self) -> i64 {
        sayback_core::units::FileMs::from_sample(self.frames, self.rate_hz).0
    }

    fn is_full(&self) -> bool {
        FULL_AT
            .iter()
            .any(|limit| (limit - FULL_SLACK..=*limit).contains(&self.bytes))
    }

    fn same_form(&self, other: &Self) -> bool {
        (self.rate_hz, self.channels, self.bits, &self.codec)
            == (other.rate_hz, other.channels, other.bits, &other.codec)
    }
}

/// Groups the pieces of one source into takes: indices into `pieces`, the
/// pieces of a take in order, the takes in order of recording as far as the
/// stamps say, else of name. Every index appears exactly once.
///
/// ```
/// use sayback::media::joins::{Piece, takes};
/// let piece = |name: &str, bytes| Piece {
///     name: name.into(), bytes, frames: 48_000, rate_hz: 48_000, channels: 2,
///     bits: Some(24), codec: "PCM".into(), stamps: Vec::new(),
/// };
/// let pieces = [piece("REC_0002.WAV", 900), piece("REC_0001.WAV", 1 << 31), piece("REC_0004.WAV", 7)];
/// assert_eq!(takes(&pieces), [vec![1, 0], vec![2]]);
/// ```
#[must_use]
pub fn takes(pieces: &[Piece]) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by(|a, b| compare(&pieces[*a], &pieces[*b]).then(a.cmp(b)));
    let mut takes: Vec<Vec<usize>> = Vec::new();
    for &next in &order {
        let follows = |take: &&mut Vec<usize>| {
            take.last()
                .is_some_and(|last| by_clock_or_size(&pieces[*last], &pieces[next]))
        };
        match takes.iter_mut().find(follows) {
            Some(take) => take.push(next),
            None => takes.push(vec![next]),
        }
    }
    join_equal_lengths(pieces, takes)
}

/// Rules 1 and 2.
fn by_clock_or_size(first: &Piece, second: &Piece) -> bool {
    if !first.same_form(second) {
        return false;
    }
    match clock_says(first, second) {
        Some(joined) => joined,
        None => first.is_full() && names_follow(&first.name, &second.name),
    }
}

/// Rule 1: whether the second starts where the first ends; nothing when there
/// is no clock, or one that stands still.
fn clock_says(first: &Piece, second: &Piece) -> Option<bool> {
    let (start, next) = (first.clock_ms()?, second.clock_ms()?);
    if start == next {
        return None;
    }
    let end = start + i128::from(first.length_ms());
    let off = (next - end).rem_euclid(DAY_MS);
    let close = off <= CLOCK_SLACK_MS || off >= DAY_MS - CLOCK_SLACK_MS;
    Some(close && days_fit(first, second, end >= DAY_MS))
}

/// Without a day on both there is nothing to hold against them.
fn days_fit(first: &Piece, second: &Piece, over_midnight: bool) -> bool {
    let date = |piece: &Piece| piece.day()?.parse::<jiff::civil::Date>().ok();
    match (date(first), date(second)) {
        // Some recorders write the day of the take into every piece.
        (Some(a), Some(b)) => a == b || (over_midnight && a.tomorrow().is_ok_and(|day| day == b)),
        _ => true,
    }
}

/// Rule 3, on single pieces that rules 1 and 2 left alone.
fn join_equal_lengths(pieces: &[Piece], takes: Vec<Vec<usize>>) -> Vec<Vec<usize>> {
    let mut joined: Vec<Vec<usize>> = Vec::new();
    let mut rest = takes.into_iter().peekable();
    while let Some(mut take) = rest.next() {
        if let [only] = take[..] {
            let mut run = vec![only];
            while let Some([next]) = rest.peek().map(Vec::as_slice)
                && runs_on(pieces, &run, *next)
            {
                run.push(*next);
                rest.next();
            }
            take = run;
        }
        // Two pieces alone show no pattern: they may be two takes.
        if take.len() == 2 && !by_clock_or_size(&pieces[take[0]], &pieces[take[1]]) {
            joined.extend(take.into_iter().map(|piece| vec![piece]));
        } else {
            joined.push(take);
        }
    }
    joined
}

/// Whether `next` continues a run of pieces of equal length.
fn runs_on(pieces: &[Piece], run: &[usize], next: usize) -> bool {
    let Some((last, next)) = run.last().map(|last| (&pieces[*last], &pieces[next])) else {
        return false;
    };
    let length = pieces[run[0]].length_ms();
    last.same_form(next)
        && names_follow(&last.name, &next.name)
        && clock_says(last, next).is_none()
        && (last.length_ms() - length).abs() <= LENGTH_SLACK_MS
        && next.length_ms() <= length + LENGTH_SLACK_MS
        // The second piece of a run is as long as the first.
        && (run.len() > 1 || (next.length_ms() - length).abs() <= LENGTH_SLACK_MS)
}

/// By day and clock where both have them, else by name with numbers as numbers.
fn compare(a: &Piece, b: &Piece) -> Ordering {
    let by_name = || {
        parts(&a.name)
            .cmp(&parts(&b.name))
            .then_with(|| a.name.cmp(&b.name))
    };
    let key = |piece: &Piece| (piece.day().map(str::to_owned), piece.clock_ms());
    match (a.clock_ms(), b.clock_ms()) {
        (Some(_), Some(_)) => key(a).cmp(&key(b)).then_with(by_name),
        // All with a clock before all without: anything else is no order.
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => by_name(),
    }
}

/// A piece of a name: text, or a number with its digits.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Text(String),
    Number(u128, usize),
}

/// A name cut into text and numbers; letter case does not count.
fn parts(name: &str) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut rest = name;
    while let Some(first) = rest.chars().next() {
        let digit = first.is_ascii_digit();
        let end = rest
            .find(|c: char| c.is_ascii_digit() != digit)
            .unwrap_or(rest.len());
        let (part, after) = rest.split_at(end);
        match part.parse() {
            Ok(number) if digit => parts.push(Part::Number(number, part.len())),
            _ => parts.push(Part::Text(part.to_lowercase())),
        }
        rest = after;
    }
    parts
}

/// Whether two names differ in one number, the second's one higher.
fn names_follow(first: &str, second: &str) -> bool {
    let (first, second) = (parts(first), parts(second));
    if first.len() != second.len() {
        return false;
    }
    let mut steps = first.iter().zip(&second).filter(|(a, b)| a != b);
    match (steps.next(), steps.next()) {
        (Some((Part::Number(a, _), Part::Number(b, _))), None) => a.checked_add(1) == Some(*b),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn piece(name: &str, seconds: u64) -> Piece {
        Piece {
            name: name.into(),
            bytes: seconds * 48_000 * 6,
            frames: seconds * 48_000,
            rate_hz: 48_000,
            channels: 2,
            bits: Some(24),
            codec: "PCM, 24-bit integer".into(),
            stamps: Vec::new(),
        }
    }

    fn at(mut piece: Piece, day: &str, samples: u64) -> Piece {
        piece.stamps = vec![Stamp {
            kind: StampKind::Bext,
            at: format!("{day}T00:00:00"),
            samples: Some(samples),
            rate_hz: Some(48_000),
            frame_rate: None,
        }];
        piece
    }

    #[test]
    fn the_sample_clock_joins_over_midnight_and_keeps_a_gap_apart() {
        let day = 86_400 * 48_000;
        let first = at(piece("b.wav", 600), "2026-06-20", day - 300 * 48_000);
        let second = at(piece("a.wav", 60), "2026-06-21", 300 * 48_000);
        let gap = at(piece("c.wav", 60), "2026-06-21", 361 * 48_000);
        let year_before = at(piece("d.wav", 60), "2025-06-21", 300 * 48_000);
        assert_eq!(
            takes(&[first.clone(), second.clone(), gap]),
            [vec![0, 1], vec![2]]
        );
        assert_eq!(takes(&[first, year_before]).len(), 2);
    }

    #[test]
    fn a_clock_that_contradicts_the_names_wins_and_one_that_stands_still_does_not() {
        let mut first = at(piece("T_001.wav", 600), "2026-06-20", 1_000);
        first.bytes = 1 << 31;
        let moved = at(piece("T_002.wav", 600), "2026-06-20", 1_000 + 700 * 48_000);
        let still = at(piece("T_002.wav", 600), "2026-06-20", 1_000);
        assert_eq!(takes(&[first.clone(), moved]).len(), 2);
        assert_eq!(takes(&[first, still]), [vec![0, 1]]);
    }

    #[test]
    fn equal_lengths_need_a_third_piece() {
        let names = ["M-9.wav", "M-10.wav", "M-11.wav"];
        let [a, b, c] = [
            piece(names[0], 900),
            piece(names[1], 900),
            piece(names[2], 211),
        ];
        assert_eq!(takes(&[c.clone(), b.clone(), a.clone()]), [vec![2, 1, 0]]);
        assert_eq!(takes(&[a.clone(), b.clone()]).len(), 2);
        assert_eq!(takes(&[a, b, piece("M-12.wav", 211)]).len(), 3);
    }

    #[test]
    fn another_format_never_joins() {
        let mut first = piece("T_001.wav", 600);
        first.bytes = 1 << 32;
        let mut second = piece("T_002.wav", 600);
        assert_eq!(takes(&[first.clone(), second.clone()]).len(), 1);
        second.rate_hz = 44_100;
        assert_eq!(takes(&[first, second]).len(), 2);
    }

    fn any_piece() -> impl Strategy<Value = Piece> {
        let names = "[AB]_00[0-9]\\.(wav|WAV)|[0-9]{1,40}";
        (names, 0_u64..5, 0_u64..4, prop::option::of(0_u64..4)).prop_map(
            |(name, s, full, clock)| {
                let mut piece = piece(&name, s);
                piece.bytes = full << 31;
                match clock {
                    Some(start) => at(piece, "2026-06-20", start * 48_000),
                    None => piece,
                }
            },
        )
    }

    proptest! {
        #[test]
        fn every_piece_is_in_exactly_one_take(pieces in prop::collection::vec(any_piece(), 0..12)) {
            let mut all = takes(&pieces).concat();
            all.sort_unstable();
            prop_assert_eq!(all, (0..pieces.len()).collect::<Vec<_>>());
        }

        #[test]
        fn the_order_of_the_input_does_not_matter(
            pieces in prop::collection::vec(any_piece(), 0..10)
                .prop_filter("names are unique in a folder", |pieces| {
                    let mut names: Vec<_> = pieces.iter().map(|piece| piece.name.clone()).collect();
                    names.sort();
                    names.windows(2).all(|pair| pair[0] != pair[1])
                }),
        ) {
            let named = |pieces: &[Piece]| -> Vec<Vec<String>> {
                let name = |index: usize| pieces[index].name.clone();
                takes(pieces).into_iter().map(|take| take.into_iter().map(name).collect()).collect()
            };
            let mut turned = pieces.clone();
            turned.reverse();
            prop_assert_eq!(named(&pieces), named(&turned));
        }

        #[test]
        fn a_take_cut_anywhere_is_put_together_again(
            cuts in prop::collection::vec(1_u64..5_000_000, 1..8),
            start in 0_u64..86_400 * 48_000,
        ) {
            let mut from = start;
            let pieces: Vec<Piece> = cuts.iter().enumerate().map(|(n, frames)| {
                let mut piece = at(piece(&format!("R{n}.wav"), 1), "2026-06-20", from % (86_400 * 48_000));
                piece.frames = *frames;
                // Some recorders write the day of the take into every piece.
                from += frames;
                piece
            }).collect();
            let short = cuts.iter().any(|frames| *frames < 960); // 20 ms: within the slack of two joins
            prop_assume!(!short && from < 86_400 * 48_000);
            prop_assert_eq!(takes(&pieces), vec![(0..pieces.len()).collect::<Vec<_>>()]);
        }
    }
}
