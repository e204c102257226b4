//! How does an editing program want to read what somebody chose?
//!
//! In: a cut list with all that is known of its recordings ([`Cut`]). Out: the text of
//! files ([`CutFormat`]): `OpenTimelineIO` JSON, edit decision lists, captions, tables,
//! speakers and a page for a client. Positions in recordings are whole samples from the
//! first one; `to` is always the first sample that no longer belongs.
//!
//! Everything goes by one clock, the cut's own: quotes follow each other without a
//! pause, each as long as its chosen hearing to the sample ([`Laid`]), unless they say
//! where they begin, as those of a whole event do ([`Kind::Transcript`]). Where a format
//! counts in frames, its positions are this clock's, rounded to the nearest frame, so
//! that nothing drifts apart however long the list is.
//!
//! Clocks of recorders are left as they are: a recording that runs 20 ppm fast stays so,
//! and that is said where a format has room for it.
//!
//! **Pure, as the whole room**: nothing is looked up. What can't be cut is refused with
//! the quote and the field ([`CutError`]) before anything is written.

mod edl;
mod files;
mod heard;
mod laid;
mod otio;
mod page;
mod reels;
mod table;
#[cfg(test)]
mod tests;

use sayback_core::timecode::FrameRate;

pub use files::{CutFormat, Options, Written};
pub use laid::{CutError, Laid, Placed};

/// What is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// Quotes that somebody picked, one after another.
    #[default]
    List,
    /// What was said in an event, where it was said: the clock is the event's.
    Transcript {
        /// Where on the event clock the cut's begins, ms: 0, or before it where
        /// something was said before.
        from_ms: i64,
    },
}

/// A cut list, with what is known of the recordings it takes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// What it is.
    pub kind: Kind,
    /// What the list is called.
    pub title: String,
    /// What the event is called.
    pub event: String,
    /// The day of the event, as it should be read.
    pub date: Option<String>,
    /// The rate of the picture that it is cut to.
    pub rate: FrameRate,
    /// The recordings that [`Take::media`] counts.
    pub media: Vec<Media>,
    /// What is cut, in its order; those that say where they begin in order of that.
    pub quotes: Vec<Quote>,
}

/// A recording that something is taken from.
#[derive(Clone, Debug, PartialEq)]
pub struct Media {
    /// Its id.
    pub id: String,
    /// What the crew calls its recorder.
    pub label: String,
    /// Where that was, in one word, such as `worn`; empty where nobody said.
    pub placement: String,
    /// The name of its file, without folders.
    pub file_name: String,
    /// Where an editing program finds the file: a path from the written file, or a
    /// `file:` URL; written as it is.
    pub target_url: String,
    /// Samples a second, Hz.
    pub sample_rate_hz: u32,
    /// Channels of the file.
    pub channels: u16,
    /// Samples of a channel.
    pub samples: u64,
    /// Samples from midnight to the first one, by the recorder's stamp (EBU Tech 3285,
    /// `TimeReference`); `None` without a stamp.
    pub time_reference: Option<u64>,
    /// Whether the file is there now.
    pub online: bool,
}

/// Something said that is cut.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Quote {
    /// Where it begins on the cut's clock, ms; `None` for where the one before ends.
    pub at_ms: Option<u64>,
    /// What is said.
    pub text: String,
    /// Who says it; `None` while nobody knows.
    pub person: Option<String>,
    /// Who speaks at the same time.
    pub also: Option<String>,
    /// Why the words should not be trusted as they are.
    pub doubt: Option<String>,
    /// Whether nobody has listened to it yet, so that it has no text.
    pub unwritten: bool,
    /// What the editor wrote to it.
    pub note: Option<String>,
    /// Its words in order, at samples of the chosen recording; empty where no word has
    /// a time. What reaches out of the quote is cut off in captions and markers.
    pub words: Vec<CutWord>,
    /// The chosen hearing, then its backups, the best first. A backup is the same
    /// stretch in another recording, or what that has of it.
    pub takes: Vec<Take>,
}

/// A word of a quote.
#[derive(Clone, Debug, PartialEq)]
pub struct CutWord {
    /// As it is written.
    pub text: String,
    /// Its first sample in the chosen recording.
    pub from: u64,
    /// The first sample after it.
    pub to: u64,
    /// Who says it, where that is not the quote's person.
    pub person: Option<String>,
}

/// A stretch of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Take {
    /// Which of [`Cut::media`].
    pub media: usize,
    /// Its first sample.
    pub from: u64,
    /// The first sample after it.
    pub to: u64,
    /// How much later than its quote it begins, in samples: 0 unless it is a backup
    /// that has only a part.
    pub later: u64,
    /// How much faster than the event clock the recorder ran, parts per million. It is
    /// told and never corrected.
    pub ppm: f64,
    /// How well it was heard, such as `clean`.
    pub verdict: String,
}

impl Cut {
    /// The list on its own clock, if all of it can be cut. An empty list can.
    ///
    /// # Errors
    /// The first quote or recording that can't be, with the field and the reason.
    pub fn laid(&self) -> Result<Laid<'_>, CutError> {
        Laid::of(self)
    }
}

impl Quote {
    /// Who says a word of it.
    fn says<'a>(&'a self, word: &'a CutWord) -> Option<&'a str> {
        word.person.as_deref().or(self.person.as_deref())
    }

    /// What there is to beware of, in words.
    fn caution(&self) -> Option<&str> {
        match self.unwritten {
            true => Some("not written down yet"),
            false => self.doubt.as_deref(),
        }
    }
}
