//! How do other programs want to read a transcript, or what was chosen from it?
//!
//! In: a recording's words at its own times ([`Sheet`]). Out: the text of a file
//! ([`Format`]): NIST CTM, STM and RTTM, `WebVTT`, `SubRip`, plain text. What was chosen
//! for a film is a list of its own kind: [`cut`]. Units of a transcript: whole
//! milliseconds of that recording's file ([`FileMs`]); confidence from 0 to 1. Cost:
//! it grows as the words do, of captions also with how many of them fit in a cue; three
//! hours of talk take 10 to 110 ms, unoptimised.
//!
//! What is not sure is never written as fact. A doubtful moment keeps its words and is
//! marked; a moment that nobody has listened to yet is a marked hole, which is
//! something else than a moment without words:
//!
//! | format | doubtful | not written down yet |
//! | --- | --- | --- |
//! | CTM | its words, with their confidence, after a comment | a comment |
//! | RTTM | who speaks, all the same | who speaks, all the same |
//! | STM | label `<doubtful>` | label `<unwritten>`, not to be scored |
//! | WebVTT | class `doubtful`, and `[?]` in the text | class `unwritten`, and said so |
//! | SubRip | `[?]` in the text | said so |
//! | plain text | `[doubtful: …]` with the reason | said so |
//!
//! **Pure**: no file, network, SQL or time of day; any text comes out as a file its
//! readers accept. It never moves a word in time, looks for nothing, decides nothing
//! about words.

mod captions;
mod cues;
pub mod cut;
mod nist;
mod plain;
mod safe;
#[cfg(test)]
mod tests;

use sayback_core::units::FileMs;

pub use safe::file_name;

/// A recording and what is said in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The recording's id.
    pub recording: String,
    /// The name of its file.
    pub file: String,
    /// What the crew calls its recorder.
    pub source: String,
    /// The channel of that file, from 1; `None` for all of them mixed.
    pub channel: Option<u16>,
    /// What is said in it, in any order.
    pub lines: Vec<Line>,
}

/// A moment as one recording has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Where it starts.
    pub start: FileMs,
    /// Where it ends.
    pub end: FileMs,
    /// Who speaks; `None` while nobody knows.
    pub speaker: Option<String>,
    /// Who speaks at the same time.
    pub also: Option<String>,
    /// Why the words should not be trusted as they are.
    pub doubt: Option<String>,
    /// Its words in order: `None` until somebody has listened, empty when nothing was
    /// heard.
    pub words: Option<Vec<Word>>,
}

/// A word.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    /// As it is written.
    pub text: String,
    /// Where it starts.
    pub start: FileMs,
    /// Where it ends.
    pub end: FileMs,
    /// How sure the recogniser is, 0 to 1.
    pub confidence: f32,
}

/// A format for other programs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Word by word with confidence, as NIST's scorers read what was recognised.
    Ctm,
    /// Moment by moment, as NIST's scorers read what was said.
    Stm,
    /// Who speaks when, as NIST's scorers read it.
    Rttm,
    /// W3C captions.
    Vtt,
    /// Captions, as nearly all players read them.
    Srt,
    /// For people: a moment a line, with its position.
    Text,
}

impl Format {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Ctm,
        Self::Stm,
        Self::Rttm,
        Self::Vtt,
        Self::Srt,
        Self::Text,
    ];

    /// What it is called.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Ctm => "ctm",
            Self::Stm => "stm",
            Self::Rttm => "rttm",
            Self::Vtt => "vtt",
            Self::Srt => "srt",
            Self::Text => "text",
        }
    }

    /// How names of such files end, without the dot.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::Text => "txt",
            other => other.name(),
        }
    }

    /// What it is on the wire. Only WebVTT has a registered type of its own (W3C
    /// WebVTT, section 9).
    #[must_use]
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Ctm | Self::Stm | Self::Rttm | Self::Text => "text/plain; charset=utf-8",
            Self::Vtt => "text/vtt; charset=utf-8",
            Self::Srt => "application/x-subrip; charset=utf-8",
        }
    }

    /// The text of a file in this format: UTF-8, lines ended by line feeds.
    ///
    /// ```
    /// use sayback::core::units::FileMs;
    /// use sayback::export::{Format, Line, Sheet, Word};
    /// let word = |text: &str, start, end| Word {
    ///     text: text.into(), start: FileMs(start), end: FileMs(end), confidence: 0.9,
    /// };
    /// let sheet = Sheet {
    ///     recording: "r".into(), file: "LECT 002.wav".into(), source: "Lectern".into(),
    ///     channel: None,
    ///     lines: vec![Line {
    ///         start: FileMs(1_000), end: FileMs(2_400), speaker: None, also: None,
    ///         doubt: None, words: Some(vec![word("No", 1_020, 1_300), word("way!", 1_300, 2_000)]),
    ///     }],
    /// };
    /// assert!(Format::Ctm.write(&sheet).ends_with("LECT_002 1 1.300 0.700 way 0.90\n"));
    /// assert_eq!(Format::Srt.write(&sheet), "1\n00:00:01,020 --> 00:00:02,020\nNo way!\n\n");
    /// ```
    #[must_use]
    pub fn write(self, sheet: &Sheet) -> String {
        match self {
            Self::Ctm => nist::ctm(sheet),
            Self::Stm => nist::stm(sheet),
            Self::Rttm => {
                let (file, channel) = (safe::stem(&sheet.file), sheet.channel.unwrap_or(1));
                nist::rttm(&sheet.about(), &file, channel, &sheet.lines)
            }
            Self::Vtt => captions::vtt(&sheet.about(), &sheet.lines),
            Self::Srt => captions::srt(&sheet.lines),
            Self::Text => plain::text(sheet),
        }
    }
}

impl Line {
    /// Everybody who speaks, for people to read.
    fn speakers(&self) -> Option<String> {
        let each = [&self.speaker, &self.also].into_iter().flatten();
        let names: Vec<String> = each
            .map(|name| safe::line(name))
            .filter(|name| !name.is_empty())
            .collect();
        (!names.is_empty()).then(|| names.join(" + "))
    }
}

/// Lines in the order of their times.
fn in_order(lines: &[Line]) -> Vec<&Line> {
    let mut lines: Vec<&Line> = lines.iter().collect();
    lines.sort_by_key(|line| (line.start, line.end));
    lines
}

impl Sheet {
    /// What is said about the file at its head.
    fn about(&self) -> Vec<String> {
        let count = |is: fn(&Line) -> bool| self.lines.iter().filter(|line| is(line)).count();
        let doubtful = count(|line| line.words.is_some() && line.doubt.is_some());
        let unwritten = count(|line| line.words.is_none());
        let channel = self
            .channel
            .map_or(String::new(), |channel| format!(", channel {channel}"));
        vec![
            format!(
                "Recording: {}{channel}, recorder: {}, id: {}",
                safe::line(&self.file),
                safe::line(&self.source),
                safe::line(&self.recording)
            ),
            format!(
                "Made by sayback {}: words heard by a speech model unless a person corrected them",
                env!("CARGO_PKG_VERSION")
            ),
            format!(
                "Moments: {}, of which doubtful: {doubtful}, not written down yet: {unwritten}",
                self.lines.len()
            ),
        ]
    }
}
