//! What is handed over of a list, by samples of its recordings.

use std::collections::HashMap;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, percent_encode};
use sayback_core::timecode::FrameRate;

use super::super::super::events::rate_of;
use super::super::super::problem::{Answer, Problem};
use super::super::super::wire::{LeftOut, Quote, QuoteHearing};
use super::super::resolve::Desk;
use super::left_out;
use crate::export::cut::{self, Cut, CutFormat, CutWord, Media, Take};
use crate::store::{CutRow, EventRow, RecordingId, RecordingRow};

/// What stands for itself in the path of a URL (RFC 3986, 3.3).
const OF_A_PATH: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~')
    .remove(b'/');

/// A list as it lies now.
pub(super) struct List {
    pub row: CutRow,
    pub event: EventRow,
    pub desk: Desk,
    pub quotes: Vec<Quote>,
}

/// A hearing that has all of a quote.
pub(super) struct Heard<'a> {
    pub row: &'a RecordingRow,
    pub told: &'a QuoteHearing,
    /// Its first sample, and the first after it.
    pub from: u64,
    pub to: u64,
}

impl List {
    /// Frames a second of the cut: what was asked for, else the event's. Captions and
    /// speakers have none.
    pub fn rate(&self, asked: Option<&str>, formats: &[CutFormat]) -> Answer<FrameRate> {
        let without = |format: &CutFormat| {
            matches!(format, CutFormat::Vtt | CutFormat::Srt | CutFormat::Rttm)
        };
        match rate_of(asked.or(self.row.frame_rate.as_deref()))? {
            Some(rate) => Ok(rate),
            None if formats.iter().all(without) => Ok(FrameRate::R25),
            None => {
                let why = "the event has no frame rate: say which, such as 25 or 30000/1001";
                Err(Problem::field("frame_rate", why))
            }
        }
    }

    /// The hearings of a quote that have all of it: the chosen one, then as many backups as
    /// are wanted.
    pub fn heard<'a>(&'a self, quote: &'a Quote) -> Result<Vec<Heard<'a>>, LeftOut> {
        let Some(chosen) = &quote.chosen else {
            return Err(left_out(quote.place, "no recording has any of it"));
        };
        let whole = self.one(chosen, None);
        let Some(first) = whole.filter(|_| chosen.covers) else {
            let why = format!("{} does not have all of it", chosen.source.label);
            return Err(left_out(quote.place, why));
        };
        // As long as the chosen one to the sample, whatever their clocks say.
        let length_s = (first.to - first.from) as f64 / f64::from(first.row.rate_hz);
        let most = quote.backups_wanted.map_or(usize::MAX, |most| {
            usize::try_from(most).unwrap_or(usize::MAX)
        });
        let backups = quote.backups.iter().filter(|one| one.covers);
        let backups = backups.filter_map(|one| self.one(one, Some(length_s)));
        let backups: Vec<Heard> = backups.take(most).collect();
        Ok(std::iter::once(first).chain(backups).collect())
    }

    fn one<'a>(&'a self, told: &'a QuoteHearing, length_s: Option<f64>) -> Option<Heard<'a>> {
        let id = RecordingId::from(told.recording.id.as_str());
        let row = self.desk.recordings.get(&id)?;
        let (from, mut to) = (samples(told.start_ms, row), samples(told.end_ms, row));
        if let Some(length_s) = length_s {
            to = from + (length_s * f64::from(row.rate_hz)).round() as u64;
        }
        let all = u64::try_from(row.frames).unwrap_or(0);
        // The end of a file is no whole ms.
        let to = if length_s.is_none() { to.min(all) } else { to };
        (from < to && to <= all).then_some(Heard {
            row,
            told,
            from,
            to,
        })
    }

    /// The list by the files where they lie.
    pub fn where_it_lies(&self, rate: FrameRate) -> (Cut, Vec<LeftOut>) {
        let mut media: Vec<Media> = Vec::new();
        let mut known: HashMap<&str, usize> = HashMap::new();
        let (mut quotes, mut left) = (Vec::new(), Vec::new());
        for quote in &self.quotes {
            let heard = match self.heard(quote) {
                Ok(heard) => heard,
                Err(why) => {
                    left.push(why);
                    continue;
                }
            };
            let takes = heard.iter().map(|one| {
                let at = *known.entry(one.row.id.as_str()).or_insert_with(|| {
                    media.push(original(one));
                    media.len() - 1
                });
                self.take(one, at, one.from)
            });
            let takes: Vec<Take> = takes.collect();
            let from = heard.first().map_or(0, |one| one.from);
            quotes.extend(heard.first().map(|one| quoted(quote, one.row, from, takes)));
        }
        (self.cut(rate, media, quotes), left)
    }

    /// A hearing as a take of a file in which it begins at `from`.
    pub fn take(&self, one: &Heard<'_>, media: usize, from: u64) -> Take {
        let placed = self.desk.places.placed(&one.row.id);
        Take {
            media,
            from,
            to: from + (one.to - one.from),
            ppm: placed.map_or(0.0, |placed| placed.placement.ppm()),
            verdict: one
                .told
                .verdict
                .clone()
                .unwrap_or_else(|| "not heard".into()),
        }
    }

    /// The list with these files and quotes.
    pub fn cut(&self, rate: FrameRate, media: Vec<Media>, quotes: Vec<cut::Quote>) -> Cut {
        Cut {
            title: self.row.name.clone(),
            event: self.event.title.clone(),
            date: self.event.date.clone(),
            rate,
            media,
            quotes,
        }
    }
}

/// Samples of a recording's file up to an instant of it.
fn samples(ms: i64, row: &RecordingRow) -> u64 {
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
