//! What is kept of words that somebody picked?

use serde::{Deserialize, Serialize};
use sqlx::FromRow;

use super::super::{Json, MomentId, QuoteId, RecordingId};

/// Frames a second as an exact fraction: 29.97 has no exact decimal form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FrameRate {
    frames: u32,
    seconds: u32,
}

impl FrameRate {
    /// `25` or `30000/1001`; `None` for what is no rate from 1 to 1000 frames a second.
    ///
    /// ```
    /// use sayback::store::FrameRate;
    /// let rate = FrameRate::of("30000/1001").expect("a rate");
    /// assert_eq!(rate.ms_of(30_000), 1_001_000.0);
    /// assert_eq!(FrameRate::of("29.97"), None);
    /// ```
    #[must_use]
    pub fn of(text: &str) -> Option<Self> {
        let (frames, seconds) = text.split_once('/').unwrap_or((text, "1"));
        let frames: u32 = frames.trim().parse().ok()?;
        let seconds: u32 = seconds.trim().parse().ok()?;
        let most = u64::from(seconds) * 1000;
        let is_rate = seconds > 0 && frames >= seconds && u64::from(frames) <= most;
        is_rate.then_some(Self { frames, seconds })
    }

    /// How long so many frames are, ms: worked out in whole numbers, so that thirty times
    /// one frame is what thirty frames are.
    #[must_use]
    pub fn ms_of(self, frames: i64) -> f64 {
        let thousandths = i128::from(frames) * 1000 * i128::from(self.seconds);
        let whole = thousandths / i128::from(self.frames);
        let rest = thousandths % i128::from(self.frames);
        whole as f64 + rest as f64 / f64::from(self.frames)
    }
}

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
    use proptest::prelude::*;

    /// SMPTE ST 12-1: ten minutes of 30000/1001 are 17,982 frames less 0.018 of one; a
    /// frame is 1001/30 ms.
    #[test]
    fn frames_are_exact() {
        let rate = FrameRate::of("30000/1001").unwrap();
        assert_eq!(rate.ms_of(1), 33.0 + 11_000.0 / 30_000.0);
        assert_eq!(rate.ms_of(30), 1_001.0);
        assert_eq!(rate.ms_of(-30), -1_001.0);
        assert_eq!(FrameRate::of("25").unwrap().ms_of(2), 80.0);
        for bad in ["", "0", "1/0", "25/", "-25", "25.0", "x/y", "1/2", "1001"] {
            assert_eq!(FrameRate::of(bad), None, "{bad}");
        }
    }

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

    proptest! {
        /// Of any rate and any sum of frames, however it is put together.
        #[test]
        fn nudges_add_up(frames in 1_u32..=1000, parts in prop::collection::vec(-5_000_i64..5_000, 0..40)) {
            for seconds in ["1", "1001"] {
                let over = if seconds == "1" { frames } else { frames * 1000 };
                let Some(rate) = FrameRate::of(&format!("{over}/{seconds}")) else { continue };
                let sum: i64 = parts.iter().sum();
                let exact = sum as f64 * 1000.0 * f64::from(rate.seconds) / f64::from(rate.frames);
                prop_assert!((rate.ms_of(sum) - exact).abs() < 1e-6 * exact.abs().max(1.0));
            }
        }
    }
}
