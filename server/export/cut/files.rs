//! Which files does a list become?

use super::super::{captions, nist, safe};
use super::{Cut, CutError, Kind, Laid, edl, heard, otio, page, table};

/// What a cut list can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CutFormat {
    /// `OpenTimelineIO` JSON: all recordings, with backups.
    Otio,
    /// An edit decision list of the dialect CMX 3600: one file, or several.
    Edl,
    /// W3C captions.
    Vtt,
    /// Captions, as nearly all players read them.
    Srt,
    /// A table with a quote a row.
    Csv,
    /// A table with a marker a row.
    Markers,
    /// Who speaks when, as NIST's scorers read it.
    Rttm,
    /// A page to print or to send to a client.
    Page,
}

/// How it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// The frame that the cut starts at, counted from midnight of the record side.
    pub start_frame: u64,
    /// Whether there is an edit decision list for each recorder, with all that this has
    /// of the cut, and not one of the chosen hearings.
    pub per_source: bool,
    /// Whether each word has a marker, and not only each quote.
    pub word_markers: bool,
}

/// A file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Its name, safe on any file system.
    pub name: String,
    /// All of it, UTF-8.
    pub text: String,
}

impl Options {
    /// As it is common practice: from one o'clock, one list, a marker a quote. An
    /// event begins at 0, so that labels tell its clock.
    #[must_use]
    pub fn of(cut: &Cut) -> Self {
        let start = match cut.kind {
            Kind::List => "01:00:00:00",
            Kind::Transcript { .. } => "00:00:00:00",
        };
        Self {
            start_frame: cut.rate.frame_of(start).unwrap_or(0),
            per_source: false,
            word_markers: false,
        }
    }
}

impl CutFormat {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Otio,
        Self::Edl,
        Self::Vtt,
        Self::Srt,
        Self::Csv,
        Self::Markers,
        Self::Rttm,
        Self::Page,
    ];

    /// What it is called.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Otio => "otio",
            Self::Edl => "edl",
            Self::Vtt => "vtt",
            Self::Srt => "srt",
            Self::Csv => "csv",
            Self::Markers => "markers",
            Self::Rttm => "rttm",
            Self::Page => "page",
        }
    }

    /// How names of such files end, without the dot.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::Markers => "markers.csv",
            Self::Page => "html",
            other => other.name(),
        }
    }

    /// What it is on the wire. Those of tables, pages, JSON and `WebVTT` are registered
    /// (RFC 4180, RFC 2854, RFC 8259, W3C WebVTT); the others have none.
    #[must_use]
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Otio => "application/json",
            Self::Edl | Self::Rttm => "text/plain; charset=utf-8",
            Self::Vtt => "text/vtt; charset=utf-8",
            Self::Srt => "application/x-subrip; charset=utf-8",
            Self::Csv | Self::Markers => "text/csv; charset=utf-8; header=present",
            Self::Page => "text/html; charset=utf-8",
        }
    }

    /// The files of a list in this format: one, but for edit decision lists.
    ///
    /// ```
    /// use sayback::core::timecode::FrameRate;
    /// use sayback::export::cut::{Cut, CutFormat, Kind, Media, Options, Quote, Take};
    /// let lectern = Media {
    ///     id: "r".into(), label: "Lectern".into(), placement: "near".into(),
    ///     file_name: "LECT 002.wav".into(), target_url: "audio/LECT%20002.wav".into(),
    ///     sample_rate_hz: 48_000, channels: 1, samples: 480_000, time_reference: None,
    ///     online: true,
    /// };
    /// let quote = Quote {
    ///     text: "No way!".into(),
    ///     person: Some("Ottilie".into()),
    ///     takes: vec![Take { from: 48_000, to: 96_000, ..Take::default() }],
    ///     ..Quote::default()
    /// };
    /// let cut = Cut {
    ///     kind: Kind::List, title: "Toasts".into(), event: "Boathouse".into(), date: None,
    ///     rate: FrameRate::R25, media: vec![lectern], quotes: vec![quote],
    /// };
    /// let laid = cut.laid()?;
    /// let files = CutFormat::Srt.write(&laid, &Options::of(&cut))?;
    /// assert_eq!(files[0].name, "Toasts.srt");
    /// assert_eq!(files[0].text, "1\n00:00:00,000 --> 00:00:01,000\nOttilie: No way!\n\n");
    /// # Ok::<(), sayback::export::cut::CutError>(())
    /// ```
    ///
    /// # Errors
    /// [`CutError::Long`] where frames have labels and the list does not end within a
    /// day from where it starts.
    pub fn write(self, laid: &Laid<'_>, options: &Options) -> Result<Vec<Written>, CutError> {
        ends_in_its_day(laid, options)?;
        let about = || heard::about(laid);
        let text = match self {
            Self::Otio => otio::text(laid, options),
            Self::Edl => return Ok(edl::lists(laid, options)),
            Self::Vtt => captions::vtt(&about(), &heard::lines(laid)),
            Self::Srt => captions::srt(&heard::lines(laid)),
            Self::Csv => table::quotes(laid, options)?,
            Self::Markers => table::markers(laid, options)?,
            Self::Rttm => nist::rttm(&about(), &stem(laid.cut()), 1, &heard::lines(laid)),
            Self::Page => page::text(laid),
        };
        let name = format!("{}.{}", stem(laid.cut()), self.extension());
        Ok(vec![Written { name, text }])
    }
}

/// The name of a list as that of a file, without an ending.
pub(super) fn stem(cut: &Cut) -> String {
    safe::token(&cut.title, 60, |c| c == '.').unwrap_or_else(|| "cut".into())
}

fn ends_in_its_day(laid: &Laid<'_>, options: &Options) -> Result<(), CutError> {
    let end = options.start_frame.checked_add(laid.end_frame());
    match end.is_some_and(|end| end <= laid.cut().rate.frames_in_a_day()) {
        true => Ok(()),
        false => Err(CutError::Long),
    }
}
