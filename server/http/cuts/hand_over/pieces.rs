//! Which stretches of which files are a quote?
//!
//! Mostly one file has all of it. A recorder that parted a take into several files may
//! have it in two: then it is two pieces, one after another. A backup may have only a
//! part, and then stands where that belongs.

use std::borrow::Cow;

use super::super::super::wire::{LeftOut, Quote, QuoteHearing};
use super::super::resolve::Desk;
use super::left_out;
use super::list::samples;
use crate::store::{RecordingId, RecordingRow};

/// Between two files of one take nothing is missing, but for what is lost by rounding, ms.
const SEAM_MS: i64 = 2;
/// Less than this of a quote is no backup, ms: about a syllable.
const LEAST_MS: i64 = 200;

/// A quote, or what of it lies in one file after another.
pub(super) struct Piece<'a> {
    /// 0 for a whole quote, otherwise which of several, from 1.
    pub number: usize,
    /// What is said in it.
    pub quote: Cow<'a, Quote>,
    /// The hearing to be used, then the backups, the best first.
    pub heard: Vec<Heard<'a>>,
}

/// What one file has of a piece.
pub(super) struct Heard<'a> {
    pub row: &'a RecordingRow,
    pub told: &'a QuoteHearing,
    /// Its first sample, and the first after it.
    pub from: u64,
    pub to: u64,
    /// How much later than the piece it begins, samples.
    pub later: u64,
}

/// A stretch of a quote, ms from where that begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Span {
    from_ms: i64,
    to_ms: i64,
}

impl Span {
    /// What a hearing has.
    fn of(told: &QuoteHearing, length_ms: i64) -> Self {
        match told.covers {
            true => Self {
                from_ms: 0,
                to_ms: length_ms,
            },
            false => Self {
                from_ms: told.late_ms,
                to_ms: told.late_ms + told.end_ms - told.start_ms,
            },
        }
    }
}

/// The pieces of a quote with all of its hearings.
///
/// # Errors
/// Why it has no place in a list.
pub(super) fn pieces<'a>(desk: &'a Desk, quote: &'a Quote) -> Result<Vec<Piece<'a>>, LeftOut> {
    let Some(chosen) = &quote.chosen else {
        return Err(left_out(quote.place, "no recording has any of it"));
    };
    let why = || {
        let why = format!("{} does not have all of it", chosen.source.label);
        left_out(quote.place, why)
    };
    if chosen.covers {
        let first = whole(desk, chosen).ok_or_else(why)?;
        let span = Span::of(chosen, quote.length_ms);
        let heard = with_backups(desk, quote, first, span, &[chosen]);
        return Ok(vec![Piece {
            number: 0,
            quote: Cow::Borrowed(quote),
            heard,
        }]);
    }
    let parts = one_after_another(quote, chosen).ok_or_else(why)?;
    let used: Vec<&QuoteHearing> = parts.iter().map(|(told, _)| *told).collect();
    let pieces = (1..).zip(&parts).map(|(number, (told, span))| {
        let first = some_of(desk, told, quote.length_ms, *span)?;
        Some(Piece {
            number,
            quote: Cow::Owned(cut_out(quote, *span, number == 1)),
            heard: with_backups(desk, quote, first, *span, &used),
        })
    });
    pieces.collect::<Option<Vec<_>>>().ok_or_else(why)
}

/// What there is of a quote in the file to be used, though that has not all of it; for
/// who would rather have something than nothing.
pub(super) fn what_there_is<'a>(desk: &'a Desk, quote: &'a Quote) -> Option<(i64, Piece<'a>)> {
    let chosen = quote.chosen.as_ref()?;
    let span = Span::of(chosen, quote.length_ms);
    let first = some_of(desk, chosen, quote.length_ms, span)?;
    let heard = with_backups(desk, quote, first, span, &[chosen]);
    let piece = Piece {
        number: 0,
        quote: Cow::Owned(Quote {
            // Those outside would be lost, so that all share the time there is.
            words: Vec::new(),
            ..quote.clone()
        }),
        heard,
    };
    Some((span.from_ms, piece))
}

/// The files of one recorder that have all of a quote together, the chosen one among
/// them, each with the stretch it is used for.
fn one_after_another<'a>(
    quote: &'a Quote,
    chosen: &'a QuoteHearing,
) -> Option<Vec<(&'a QuoteHearing, Span)>> {
    let of_it = quote
        .backups
        .iter()
        .filter(|one| one.source.id == chosen.source.id);
    let all: Vec<&QuoteHearing> = std::iter::once(chosen).chain(of_it).collect();
    let (mut parts, mut at) = (Vec::new(), 0);
    while at < quote.length_ms - SEAM_MS {
        let goes_on = all.iter().filter_map(|told| {
            let has = Span::of(told, quote.length_ms);
            (has.from_ms <= at + SEAM_MS && has.to_ms > at + SEAM_MS).then_some((*told, has.to_ms))
        });
        // The chosen one before others, else the one that goes furthest.
        let (told, to_ms) =
            goes_on.max_by_key(|(told, to_ms)| (std::ptr::eq(*told, chosen), *to_ms))?;
        let to_ms = to_ms.min(quote.length_ms);
        let from_ms = at;
        parts.push((told, Span { from_ms, to_ms }));
        at = to_ms;
    }
    let has_chosen = parts.iter().any(|(told, _)| std::ptr::eq(*told, chosen));
    has_chosen.then_some(parts)
}

/// A part of a quote as one of its own, at the same place.
fn cut_out(quote: &Quote, span: Span, is_first: bool) -> Quote {
    let inside = |start_ms: i64, end_ms: i64| {
        let middle = i64::midpoint(start_ms, end_ms);
        (middle >= span.from_ms || is_first) && middle < span.to_ms
    };
    let words = quote
        .words
        .iter()
        .filter(|one| inside(one.start_ms, one.end_ms));
    let words: Vec<_> = words
        .cloned()
        .map(|mut word| {
            word.start_ms -= span.from_ms;
            word.end_ms -= span.from_ms;
            word
        })
        .collect();
    let said: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    let text = match (quote.words.is_empty(), is_first) {
        (false, _) => said.join(" "),
        (true, true) => quote.text_now.clone().unwrap_or_else(|| quote.text.clone()),
        (true, false) => "…".into(),
    };
    Quote {
        text_now: Some(text),
        words,
        length_ms: span.to_ms - span.from_ms,
        ..quote.clone()
    }
}

/// A hearing and, behind it, as many backups as are wanted, none of the `used` among
/// them: those with all of it first.
fn with_backups<'a>(
    desk: &'a Desk,
    quote: &'a Quote,
    first: Heard<'a>,
    span: Span,
    used: &[&QuoteHearing],
) -> Vec<Heard<'a>> {
    let most = quote.backups_wanted.map_or(usize::MAX, |most| {
        usize::try_from(most).unwrap_or(usize::MAX)
    });
    // As long as the chosen one to the sample, whatever their clocks say.
    let length_s = (first.to - first.from) as f64 / f64::from(first.row.rate_hz);
    let others = quote.backups.iter().chain(&quote.chosen);
    let others = others.filter(|one| !used.iter().any(|used| std::ptr::eq(*used, *one)));
    let backups = others.filter_map(|told| {
        let mut heard = some_of(desk, told, quote.length_ms, span)?;
        let own_s = |samples: u64| samples as f64 / f64::from(heard.row.rate_hz);
        let missing_s = length_s - own_s(heard.to - heard.from);
        if heard.later == 0 && missing_s * 1_000.0 <= SEAM_MS as f64 {
            let length = (length_s * f64::from(heard.row.rate_hz)).round() as u64;
            heard.to = (heard.from + length).min(frames(heard.row));
        }
        let least = i64::min(LEAST_MS, span.to_ms - span.from_ms);
        (own_s(heard.to - heard.from) * 1_000.0 + 1.0 >= least as f64).then_some(heard)
    });
    let (all, some): (Vec<Heard>, Vec<Heard>) =
        backups.partition(|one| one.later == 0 && one.told.covers);
    let backups = all.into_iter().chain(some).take(most);
    std::iter::once(first).chain(backups).collect()
}

/// A hearing that has all of a quote.
fn whole<'a>(desk: &'a Desk, told: &'a QuoteHearing) -> Option<Heard<'a>> {
    stretch(desk, told, told.start_ms, told.end_ms, 0)
}

/// What a hearing has of a stretch of a quote.
fn some_of<'a>(
    desk: &'a Desk,
    told: &'a QuoteHearing,
    length_ms: i64,
    span: Span,
) -> Option<Heard<'a>> {
    let has = Span::of(told, length_ms);
    let (from_ms, to_ms) = (has.from_ms.max(span.from_ms), has.to_ms.min(span.to_ms));
    let start_ms = told.start_ms + from_ms - has.from_ms;
    let end_ms = match to_ms == has.to_ms {
        true => told.end_ms,
        false => told.start_ms + to_ms - has.from_ms,
    };
    stretch(desk, told, start_ms, end_ms, from_ms - span.from_ms)
}

fn stretch<'a>(
    desk: &'a Desk,
    told: &'a QuoteHearing,
    start_ms: i64,
    end_ms: i64,
    later_ms: i64,
) -> Option<Heard<'a>> {
    let id = RecordingId::from(told.recording.id.as_str());
    let row = desk.recordings.get(&id)?;
    // The end of a file is no whole ms.
    let is_end = end_ms >= row.duration_ms;
    let to = if is_end {
        frames(row)
    } else {
        samples(end_ms, row)
    };
    let (from, to) = (samples(start_ms, row), to.min(frames(row)));
    let later = if later_ms <= SEAM_MS { 0 } else { later_ms };
    (end_ms > start_ms && from < to).then(|| Heard {
        row,
        told,
        from,
        to,
        later: samples(later, row),
    })
}

fn frames(row: &RecordingRow) -> u64 {
    u64::try_from(row.frames).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use serde_json::{Value, json};

    use super::super::super::super::made;
    use super::super::super::super::places::Places;
    use super::*;

    /// Files of a minute at 48 kHz: two of a recorder that parted its take, one of another.
    fn desk() -> Desk {
        let rows = ["one", "two", "desk"].map(made::recording);
        Desk {
            event: "e".into(),
            rate: None,
            frame_rate: None,
            places: Places::with(Vec::new()),
            recordings: rows
                .map(|row| (row.id.clone(), row))
                .into_iter()
                .collect::<HashMap<_, _>>(),
        }
    }

    fn hearing(recording: &str, source: &str, at: (i64, i64), late_ms: i64, covers: bool) -> Value {
        json!({
            "source": {"id": source, "label": source.to_uppercase(), "placement": "worn"},
            "recording": {"id": recording, "file": recording, "channels": "mix"},
            "start_ms": at.0, "end_ms": at.1, "covers": covers, "late_ms": late_ms,
            "timecode": null, "rank": 1, "heard": true, "verdict": "clean", "why": [],
            "off_ms": null, "online": true, "play": "",
        })
    }

    /// Two seconds long, over the seam of the two files.
    fn quote(chosen: Value, backups: &[Value]) -> Quote {
        let word = |text: &str, start_ms: i64| json!({"text": text, "start_ms": start_ms, "end_ms": start_ms + 300, "confidence": 1.0});
        serde_json::from_value(json!({
            "id": "q", "place": 3, "text": "ring the ferry bell", "text_now": null,
            "person": null, "moments": [], "island": 0, "start_ms": 59_500, "end_ms": 61_500,
            "at_ms": 0, "length_ms": 2_000, "in": {}, "out": {}, "hearing": null,
            "words": [word("ring", 0), word("the", 400), word("ferry", 800), word("bell", 1_500)],
            "chosen": chosen, "backups": backups, "backups_wanted": null, "note": "",
            "problems": [],
        }))
        .expect("a quote")
    }

    /// A recording, its first sample, the first after it, how much later it begins.
    type Stretch = (String, u64, u64, u64);

    fn told(pieces: &[Piece<'_>]) -> Vec<(usize, String, Vec<Stretch>)> {
        let heard = |piece: &Piece<'_>| {
            let each = piece.heard.iter();
            each.map(|one| (one.row.id.0.clone(), one.from, one.to, one.later))
                .collect()
        };
        let text = |quote: &Quote| quote.text_now.clone().unwrap_or_default();
        let pieces = pieces.iter();
        pieces
            .map(|piece| (piece.number, text(&piece.quote), heard(piece)))
            .collect()
    }

    #[test]
    fn what_lies_over_a_seam_is_two_pieces_one_after_another() {
        let desk = desk();
        let one = hearing("one", "lav", (59_500, 60_000), 0, false);
        let two = hearing("two", "lav", (0, 1_500), 500, false);
        let other = hearing("desk", "desk", (10_000, 12_000), 0, true);
        let own = |id: &str, from: u64, to: u64| (id.to_owned(), from, to, 0);
        let want = [
            (
                1,
                "ring".to_owned(),
                vec![
                    own("one", 2_856_000, 2_880_000),
                    own("desk", 480_000, 504_000),
                ],
            ),
            (
                2,
                "the ferry bell".to_owned(),
                vec![own("two", 0, 72_000), own("desk", 504_000, 576_000)],
            ),
        ];
        // Whichever of the two was chosen.
        for (chosen, rest) in [(&one, &two), (&two, &one)] {
            let quote = quote(chosen.clone(), &[other.clone(), rest.clone()]);
            let found = pieces(&desk, &quote).unwrap_or_else(|why| panic!("{why:?}"));
            assert_eq!(told(&found), want);
        }
        // Without the other file it is not all there.
        let alone = quote(one.clone(), &[other]);
        let why = pieces(&desk, &alone).err().expect("a reason");
        assert_eq!(
            (why.place, why.reason.as_str()),
            (3, "LAV does not have all of it")
        );
        let (late_ms, some) = what_there_is(&desk, &alone).expect("something");
        assert_eq!(
            (late_ms, some.heard[0].to - some.heard[0].from),
            (0, 24_000)
        );
    }

    #[test]
    fn a_backup_with_a_part_stands_where_that_belongs() {
        let desk = desk();
        let chosen = hearing("desk", "desk", (10_000, 12_000), 0, true);
        let late = hearing("two", "lav", (0, 1_500), 500, false);
        let early = hearing("one", "lav", (59_500, 60_000), 0, false);
        let mut quote = quote(chosen, &[late, early]);
        let found = pieces(&desk, &quote).unwrap_or_else(|why| panic!("{why:?}"));
        let all = vec![
            ("desk".to_owned(), 480_000, 576_000, 0),
            ("two".to_owned(), 0, 72_000, 24_000),
            ("one".to_owned(), 2_856_000, 2_880_000, 0),
        ];
        assert_eq!(told(&found)[0].2, all);
        quote.backups_wanted = Some(1);
        let found = pieces(&desk, &quote).unwrap_or_else(|why| panic!("{why:?}"));
        assert_eq!(told(&found)[0].2, all[..2]);
        // A syllable is no backup.
        quote.backups[0].end_ms = 100;
        let found = pieces(&desk, &quote).unwrap_or_else(|why| panic!("{why:?}"));
        assert_eq!(told(&found)[0].2.len(), 2);
    }
}
