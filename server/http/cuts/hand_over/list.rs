//! What is handed over of a list, by samples of its recordings.

use std::collections::HashMap;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_encode};
use sayback_core::timecode::FrameRate;

use super::super::super::events::rate_of;
use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{LeftOut, Quote};
use super::super::resolve::Desk;
use super::pieces::{Heard, Piece, pieces};
use crate::export::cut::{self, Cut, CutFormat, CutWord, Kind, Media, Take};
use crate::store::{EventRow, RecordingRow};

/// What stands for itself in the path of a URL (RFC 3986, 3.3).
const OF_A_PATH: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~')
    .remove(b'/');

/// A list as it lies now.
pub(super) struct List {
    /// Its id.
    pub id: String,
    /// What it is called.
    pub name: String,
    pub event: EventRow,
    pub desk: Desk,
    pub quotes: Vec<Quote>,
}

impl List {
    /// Frames a second of the cut.
    pub fn rate(&self, asked: Option<&str>, formats: &[CutFormat]) -> Answer<FrameRate> {
        rate(asked, &self.event, formats)
    }

    /// The pieces of a quote.
    pub fn pieces<'a>(&'a self, quote: &'a Quote) -> Result<Vec<Piece<'a>>, LeftOut> {
        pieces(&self.desk, quote)
    }

    /// The list by the files where they lie.
    pub fn where_it_lies(&self, rate: FrameRate) -> (Cut, Vec<LeftOut>) {
        let mut gathered = Gathered::default();
        for quote in &self.quotes {
            match self.pieces(quote) {
                Ok(pieces) => pieces.iter().for_each(|piece| {
                    gathered.add(&self.desk, piece);
                }),
                Err(why) => gathered.left_out.push(why),
            }
        }
        let left_out = gathered.left_out;
        (self.cut(rate, gathered.media, gathered.quotes), left_out)
    }

    /// A hearing as a take of a file in which it begins at `from`.
    pub fn take(&self, one: &Heard<'_>, media: usize, from: u64) -> Take {
        take(&self.desk, one, media, from)
    }

    /// The list with these files and quotes.
    pub fn cut(&self, rate: FrameRate, media: Vec<Media>, quotes: Vec<cut::Quote>) -> Cut {
        Cut {
            kind: Kind::List,
            title: self.name.clone(),
            event: self.event.title.clone(),
            date: self.event.date.clone(),
            rate,
            media,
            quotes,
        }
    }
}

/// Quotes by the files where they lie.
#[derive(Default)]
pub(super) struct Gathered {
    pub media: Vec<Media>,
    known: HashMap<String, usize>,
    pub quotes: Vec<cut::Quote>,
    pub left_out: Vec<LeftOut>,
}

impl Gathered {
    /// Adds a piece; what was added.
    pub fn add(&mut self, desk: &Desk, piece: &Piece<'_>) -> Option<&mut cut::Quote> {
        let first = piece.heard.first()?;
        let takes = piece.heard.iter().map(|one| {
            let known = self.known.get(one.row.id.as_str()).copied();
            let at = known.unwrap_or_else(|| {
                self.media.push(original(one));
                let at = self.media.len() - 1;
                self.known.insert(one.row.id.0.clone(), at);
                at
            });
            take(desk, one, at, one.from)
        });
        let takes: Vec<Take> = takes.collect();
        self.quotes
            .push(quoted(&piece.quote, first.row, first.from, takes));
        self.quotes.last_mut()
    }
}

/// Frames a second: what was asked for, else the event's. Captions and speakers have
/// none.
pub(super) fn rate(
    asked: Option<&str>,
    event: &EventRow,
    formats: &[CutFormat],
) -> Answer<FrameRate> {
    let without =
        |format: &CutFormat| matches!(format, CutFormat::Vtt | CutFormat::Srt | CutFormat::Rttm);
    match rate_of(asked.or(event.frame_rate.as_deref()))? {
        Some(rate) => Ok(rate),
        None if formats.iter().all(without) => Ok(FrameRate::R25),
        None => {
            let why = "the event has no frame rate: say which, such as 25 or 30000/1001";
            Err(Problem::field("frame_rate", why))
        }
    }
}

fn take(desk: &Desk, one: &Heard<'_>, media: usize, from: u64) -> Take {
    let placed = desk.places.placed(&one.row.id);
    let verdict = one.told.verdict.clone();
    Take {
        media,
        from,
        to: from + (one.to - one.from),
        later: one.later,
        ppm: placed.map_or(0.0, |placed| placed.placement.ppm()),
        verdict: verdict.unwrap_or_else(|| "not heard".into()),
    }
}

/// Samples of a recording's file up to an instant of it.
pub(super) fn samples(ms: i64, row: &RecordingRow) -> u64 {
    let ms = u64::try_from(ms).unwrap_or(0);
    (ms * u64::from(row.rate_hz) + 500) / 1_000
}

/// A quote with its words at samples of a file in which it begins at `from`.
pub(super) fn quoted(quote: &Quote, row: &RecordingRow, from: u64, takes: Vec<Take>) -> cut::Quote {
    let at = |ms: i64| from + samples(ms, row);
    let words = quote.words.iter().filter(|word| word.end_ms > 0);
    cut::Quote {
        text: quote.text_now.clone().unwrap_or_else(|| quote.text.clone()),
        person: quote.person.clone(),
        note: (!quote.note.is_empty()).then(|| quote.note.clone()),
        words: words
            .map(|word| CutWord {
                text: word.text.clone(),
                from: at(word.start_ms),
                to: at(word.end_ms),
                person: None,
            })
            .collect(),
        takes,
        ..cut::Quote::default()
    }
}

/// The file of a recording where it lies.
fn original(one: &Heard<'_>) -> Media {
    let row = one.row;
    Media {
        id: row.id.0.clone(),
        label: row.source_label.clone(),
        placement: row.source_placement.to_string(),
        file_name: row.name.clone(),
        target_url: format!("file://{}", path_url(&row.path)),
        sample_rate_hz: row.rate_hz,
        channels: row.file_channels,
        samples: u64::try_from(row.frames).unwrap_or(0),
        time_reference: time_reference(row),
        online: one.told.online,
    }
}

/// Samples from midnight to the first one, by the recorder's stamp: bext before iXML.
fn time_reference(row: &RecordingRow) -> Option<u64> {
    let own = |kind: &str| {
        let mut stamps = row.stamps.iter().filter(|stamp| stamp.kind == kind);
        stamps.find_map(|stamp| {
            let counts = stamp.rate_hz.is_none_or(|rate| rate == row.rate_hz);
            stamp.samples.filter(|_| counts)
        })
    };
    let samples = ["bext", "ixml"].iter().find_map(|kind| own(kind))?;
    u64::try_from(samples).ok()
}

/// A path as that of a URL.
pub(super) fn path_url(path: &Path) -> String {
    percent_encode(path.as_os_str().as_bytes(), OF_A_PATH).to_string()
}
