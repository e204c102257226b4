//! When was this recorded, and how do we know?
//!
//! Every stamp a file carries is kept with its kind; none is corrected and
//! none is preferred here. Device clocks are wrong by minutes to years.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::bext::Bext;
use super::ixml::Ixml;

/// Where a stamp comes from, most trustworthy first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum StampKind {
    /// The Broadcast Wave chunk (EBU Tech 3285).
    Bext,
    /// The iXML chunk.
    Ixml,
    /// The container's creation time.
    Container,
    /// The file's modification time.
    #[serde(rename = "file")]
    FileTime,
}

impl StampKind {
    /// `bext`, `ixml`, `container` or `file`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Bext => "bext",
            Self::Ixml => "ixml",
            Self::Container => "container",
            Self::FileTime => "file",
        }
    }
}

/// One statement about when a recording was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// Where it was found.
    pub kind: StampKind,
    /// RFC 3339: with `Z` where the zone is known, local without a zone
    /// otherwise; only a date or only a time when the other is missing; empty
    /// when there is only a sample clock.
    pub at: String,
    /// Samples since midnight at the first sample.
    pub samples: Option<u64>,
    /// What `samples` is counted in, in Hz.
    pub rate_hz: Option<u32>,
    /// Frame rate as written, `25` or `30000/1001`, ` DF` behind it for drop
    /// frame. Never derived from anything else.
    pub frame_rate: Option<String>,
}

impl Stamp {
    /// The stamp of a bext chunk, if it says anything.
    #[must_use]
    pub fn from_bext(bext: &Bext, rate_hz: u32) -> Option<Self> {
        let at = joined(bext.date.as_deref(), bext.time.as_deref());
        (!at.is_empty() || bext.samples.is_some_and(|samples| samples > 0)).then_some(Self {
            kind: StampKind::Bext,
            at,
            samples: bext.samples,
            rate_hz: bext.samples.map(|_| rate_hz),
            frame_rate: None,
        })
    }

    /// The stamp of an iXML chunk, if it says anything.
    #[must_use]
    pub fn from_ixml(ixml: &Ixml, rate_hz: u32) -> Option<Self> {
        let at = joined(ixml.date.as_deref(), ixml.time.as_deref());
        (!at.is_empty() || ixml.samples.is_some() || ixml.frame_rate.is_some()).then(|| Self {
            kind: StampKind::Ixml,
            at,
            samples: ixml.samples,
            rate_hz: ixml.samples.map(|_| ixml.rate_hz.unwrap_or(rate_hz)),
            frame_rate: ixml.frame_rate.clone(),
        })
    }

    /// A container's creation time in seconds since 1970 (UTC).
    #[must_use]
    pub fn from_container(unix_s: i64) -> Option<Self> {
        let at = jiff::Timestamp::from_second(unix_s).ok()?.to_string();
        Some(Self::plain(StampKind::Container, at))
    }

    /// When the file was last written: usually the end of the recording, to
    /// the card's resolution (2 s on FAT); later if it was copied carelessly.
    #[must_use]
    pub fn from_file(path: &Path) -> Option<Self> {
        let modified = std::fs::metadata(path).ok()?.modified().ok()?;
        let at = jiff::Timestamp::try_from(modified).ok()?;
        let at = jiff::Timestamp::from_second(at.as_second()).ok()?;
        Some(Self::plain(StampKind::FileTime, at.to_string()))
    }

    fn plain(kind: StampKind, at: String) -> Self {
        Self {
            kind,
            at,
            samples: None,
            rate_hz: None,
            frame_rate: None,
        }
    }
}

fn joined(date: Option<&str>, time: Option<&str>) -> String {
    match (date, time) {
        (Some(date), Some(time)) => format!("{date}T{time}"),
        (Some(one), None) | (None, Some(one)) => one.to_owned(),
        (None, None) => String::new(),
    }
}

/// A calendar date as `yyyy-mm-dd`, whatever separates its parts.
pub(super) fn date_text(text: &str) -> Option<String> {
    let [year, month, day] = three_numbers(text, [4, 2, 2])?;
    let date = jiff::civil::Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?);
    date.ok()
        .filter(|date| date.year() > 0)
        .map(|date| date.to_string())
}

/// A time of day as `hh:mm:ss`, whatever separates its parts.
pub(super) fn clock_text(text: &str) -> Option<String> {
    let [hour, minute, second] = three_numbers(text, [2, 2, 2])?;
    (hour < 24 && minute < 60 && second < 60).then(|| format!("{hour:02}:{minute:02}:{second:02}"))
}

/// EBU Tech 3285 allows `-`, `_`, `:`, space and `.` between the parts.
fn three_numbers(text: &str, widths: [usize; 3]) -> Option<[i16; 3]> {
    let bytes = text.as_bytes();
    if bytes.len() != widths.iter().sum::<usize>() + 2 || !text.is_ascii() {
        return None;
    }
    let mut at = 0;
    let mut numbers = [0; 3];
    for (number, width) in numbers.iter_mut().zip(widths) {
        let part = &text[at..at + width];
        if !part.bytes().all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        *number = part.parse().ok()?;
        at += width;
        if at < bytes.len() && !b"-_: .".contains(&bytes[at]) {
            return None;
        }
        at += 1;
    }
    Some(numbers)
}
