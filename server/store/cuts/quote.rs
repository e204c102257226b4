//! What is kept of words that somebody picked?

use sayback_core::timecode::FrameRate;
use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use super::super::{Json, MomentId, QuoteId, RecordingId};

/// How much later something is: ms and frames, which are no whole ms.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Nudge {
    /// Milliseconds.
    pub ms: i64,
    /// Frames of the event's rate.
    pub frames: i64,
}

impl Nudge {
    /// In all, ms. Without a rate frames count nothing.
    #[must_use]
    pub fn in_ms(self, rate: Option<FrameRate>) -> f64 {
        self.ms as f64 + rate.map_or(0.0, |rate| rate.ms_of(self.frames))
    }
}

/// Where a quote lies in a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "(RecordingId, f64, f64)", into = "(RecordingId, f64, f64)")]
pub struct Lie {
    /// The recording.
    pub recording: RecordingId,
    /// Start in its file, ms with fractions; before 0 where the file begins later.
    pub start_ms: f64,
    /// End in its file, ms with fractions, exclusive.
    pub end_ms: f64,
}

impl From<(RecordingId, f64, f64)> for Lie {
    fn from((recording, start_ms, end_ms): (RecordingId, f64, f64)) -> Self {
        Self {
            recording,
            start_ms,
            end_ms,
        }
    }
}

impl From<Lie> for (RecordingId, f64, f64) {
    fn from(lie: Lie) -> Self {
        // A thousandth of a ms is far below a sample.
        let kept = |ms: f64| (ms * 1000.0).round() / 1000.0;
        (lie.recording, kept(lie.start_ms), kept(lie.end_ms))
    }
}

/// Words that somebody picked, with the hearing they chose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, FromRow)]
pub struct Quote {
    /// Its id.
    pub id: QuoteId,
    /// The moment it was picked from, which may be no more.
    pub moment_id: Option<MomentId>,
    /// The words as they were then, joined by spaces; empty where none stood.
    pub text: String,
    /// Who spoke, by the name of then.
    pub person: Option<String>,
    /// Where it lies in files: the first is the one its words were timed in, the others
    /// stand in for it once it is gone.
    #[sqlx(try_from = "String")]
    pub lies: Json<Vec<Lie>>,
    /// Whose clock its times were on; `None` where nothing was placed yet.
    pub island: Option<i64>,
    /// Start on that clock when it was picked, ms.
    pub start_ms: Option<i64>,
    /// End on that clock, ms, exclusive.
    pub end_ms: Option<i64>,
    /// How much later it begins than what was picked: ms, and
    pub in_ms: i64,
    /// frames.
    pub in_frames: i64,
    /// How much later it ends: ms, and
    pub out_ms: i64,
    /// frames.
    pub out_frames: i64,
    /// The recording to be heard; `None` for the best.
    pub hearing_id: Option<RecordingId>,
    /// How it is told of when it is gone; set together with it.
    pub hearing_name: Option<String>,
    /// So many backups are wanted; `None` for all.
    pub backups: Option<i64>,
    /// What somebody wrote about it.
    pub note: String,
}

impl Quote {
    /// How much later it begins than what was picked.
    #[must_use]
    pub fn begins_later(&self) -> Nudge {
        Nudge {
            ms: self.in_ms,
            frames: self.in_frames,
        }
    }

    /// How much later it ends than what was picked.
    #[must_use]
    pub fn ends_later(&self) -> Nudge {
        Nudge {
            ms: self.out_ms,
            frames: self.out_frames,
        }
    }

    /// How long it is, ms, by the file its words were timed in.
    #[must_use]
    pub fn length_ms(&self, rate: Option<FrameRate>) -> f64 {
        let picked = match self.lies.first() {
            Some(lie) => lie.end_ms - lie.start_ms,
            None => {
                let both = self.start_ms.zip(self.end_ms);
                both.map_or(0.0, |(start_ms, end_ms)| (end_ms - start_ms) as f64)
            }
        };
        picked + self.ends_later().in_ms(rate) - self.begins_later().in_ms(rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_in_a_file_is_a_short_list() {
        let lie = Lie {
            recording: "r1".into(),
            start_ms: 10.000_04,
            end_ms: 20.5,
        };
        let json = serde_json::to_string(&lie).unwrap();
        assert_eq!(json, r#"["r1",10.0,20.5]"#);
        let back: Lie = serde_json::from_str(&json).unwrap();
        assert_eq!((back.start_ms, back.end_ms), (10.0, 20.5));
    }
}
