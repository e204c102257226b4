//! Which frame is this, and what is it called?
//!
//! Time code by SMPTE ST 12-1: a label `hh:mm:ss:ff` for each frame of a day, at the
//! rate of a picture. A rate such as 30000/1001 is a thousandth slower than its labels
//! count; drop-frame labels leave out two (at 60000/1001 four) labels at each minute but
//! the tenth, so that they keep to the time of day. Frames are labels that are left out,
//! never pictures.
//!
//! Positions are whole samples and frames, and all arithmetic is in integers. **Never
//! rounds in floating point, never makes frames of a rate it was not told.**

mod rate;
#[cfg(test)]
mod tests;

pub use rate::FrameRate;

/// Why something is no frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TimecodeError {
    /// Frames a second that are no rate from 1 to 120, or are not written as one.
    Rate(String),
    /// Labels are dropped at 30000/1001 and 60000/1001 only.
    Drop(String),
    /// Not written `hh:mm:ss:ff` (`hh:mm:ss;ff` where labels are dropped), or with a
    /// number that is too large.
    Label(String),
    /// One of the labels that drop-frame counting leaves out.
    Dropped(String),
}

impl std::fmt::Display for TimecodeError {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Rate(text) => write!(
                out,
                "{text:?} is no frame rate: use 23.976, 24, 25, 29.97, 29.97df, 30, 50, \
                 59.94, 59.94df, 60, or a fraction such as 30000/1001"
            ),
            Self::Drop(text) => write!(
                out,
                "{text:?}: frames are dropped at 29.97 and 59.94 only (SMPTE ST 12-1)"
            ),
            Self::Label(text) => {
                write!(out, "{text:?} is no time code of this rate (hh:mm:ss:ff)")
            }
            Self::Dropped(text) => write!(
                out,
                "{text:?} does not exist: drop-frame time code leaves it out"
            ),
        }
    }
}

impl std::error::Error for TimecodeError {}

impl FrameRate {
    /// Labels of a day; the next is the first again.
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// assert_eq!(FrameRate::R29_97_DROP.frames_in_a_day(), 2_589_408);
    /// ```
    #[must_use]
    pub fn frames_in_a_day(self) -> u64 {
        self.labels_in_ten_minutes() * 144
    }

    /// The label of a frame, counted from midnight, wrapping at 24 h: `hh:mm:ss:ff`, and
    /// `hh:mm:ss;ff` where labels are dropped (SMPTE ST 12-1).
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// assert_eq!(FrameRate::R29_97_DROP.label(1_800), "00:01:00;02");
    /// assert_eq!(FrameRate::R25.label(90_000), "01:00:00:00");
    /// ```
    #[must_use]
    pub fn label(self, frame: u64) -> String {
        let numbered = self.numbered();
        let number = self.number(frame % self.frames_in_a_day());
        let second = number / numbered;
        format!(
            "{:02}:{:02}:{:02}{}{:02}",
            second / 3600,
            second / 60 % 60,
            second % 60,
            if self.is_drop() { ';' } else { ':' },
            number % numbered
        )
    }

    /// The frame with this label, counted from midnight. Where labels are dropped the
    /// last sign may also be a colon.
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// assert_eq!(FrameRate::R29_97_DROP.frame_of("00:01:00;02"), Ok(1_800));
    /// assert!(FrameRate::R29_97_DROP.frame_of("00:01:00;00").is_err());
    /// ```
    ///
    /// # Errors
    /// [`TimecodeError::Label`] for what is no label, [`TimecodeError::Dropped`] for one
    /// that is left out.
    pub fn frame_of(self, label: &str) -> Result<u64, TimecodeError> {
        let wrong = || TimecodeError::Label(label.to_owned());
        let bytes = label.as_bytes();
        let joined = bytes.get(2) == Some(&b':') && bytes.get(5) == Some(&b':');
        let last = bytes.get(8);
        if !joined || !(last == Some(&b':') || (last == Some(&b';') && self.is_drop())) {
            return Err(wrong());
        }
        let part = |from: usize, to: usize| -> Option<u64> {
            let digits = label.get(from..to)?;
            let plain = digits.bytes().all(|digit| digit.is_ascii_digit());
            plain.then(|| digits.parse().ok())?
        };
        // Above 100 frames a second some have three digits, which is no standard.
        let of_second = part(9, bytes.len()).filter(|frames| match bytes.len() {
            11 => true,
            12 => *frames >= 100,
            _ => false,
        });
        let parts = (part(0, 2), part(3, 5), part(6, 8), of_second);
        let (Some(hours), Some(minutes), Some(seconds), Some(frames)) = parts else {
            return Err(wrong());
        };
        if hours > 23 || minutes > 59 || seconds > 59 || frames >= self.numbered() {
            return Err(wrong());
        }
        if seconds == 0 && frames < self.dropped() && minutes % 10 != 0 {
            return Err(TimecodeError::Dropped(label.to_owned()));
        }
        let minute = hours * 60 + minutes;
        let number = (minute * 60 + seconds) * self.numbered() + frames;
        Ok(number - self.dropped() * (minute - minute / 10))
    }

    /// The frame that sounds at this sample: frames begin with sample 0 and the last one
    /// that has begun counts. 0 where there is no rate of samples.
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// // 8,008 samples at 48 kHz are five frames of 30000/1001.
    /// assert_eq!(FrameRate::R29_97.frame_at(8_007, 48_000), 4);
    /// assert_eq!(FrameRate::R29_97.frame_at(8_008, 48_000), 5);
    /// ```
    #[must_use]
    pub fn frame_at(self, samples: u64, rate_hz: u32) -> u64 {
        whole(self.frames_in(u128::from(samples), u64::from(rate_hz), |up, low| up / low))
    }

    /// The first sample at which this frame sounds.
    #[must_use]
    pub fn sample_of(self, frame: u64, rate_hz: u32) -> u64 {
        let (frames, seconds) = self.fraction();
        let up = u128::from(frame) * u128::from(seconds) * u128::from(rate_hz);
        whole(up.div_ceil(u128::from(frames)))
    }

    /// The frame whose beginning is nearest to a position in ticks, the later of two.
    /// Positions up to 2^100 ticks.
    #[must_use]
    pub fn nearest(self, ticks: u128, ticks_a_second: u64) -> u64 {
        let halves = |up: u128, low: u128| (2 * up + low) / (2 * low);
        whole(self.frames_in(ticks, ticks_a_second, halves))
    }

    fn frames_in(
        self,
        ticks: u128,
        ticks_a_second: u64,
        rounded: impl Fn(u128, u128) -> u128,
    ) -> u128 {
        let (frames, seconds) = self.fraction();
        let low = u128::from(ticks_a_second) * u128::from(seconds);
        if low == 0 {
            return 0;
        }
        rounded(ticks * u128::from(frames), low)
    }

    /// What a frame of the day would be called if no label were dropped.
    fn number(self, frame: u64) -> u64 {
        let dropped = self.dropped();
        if dropped == 0 {
            return frame;
        }
        let tens = self.labels_in_ten_minutes();
        let minute = self.numbered() * 60 - dropped;
        // The first minute of ten keeps all of its labels.
        let minutes = (frame % tens).saturating_sub(dropped) / minute;
        frame + dropped * (9 * (frame / tens) + minutes)
    }

    fn labels_in_ten_minutes(self) -> u64 {
        self.numbered() * 600 - 9 * self.dropped()
    }
}

/// Of a number that fits, or the largest.
fn whole(number: u128) -> u64 {
    u64::try_from(number).unwrap_or(u64::MAX)
}

/// The time code of a position in a file, wrapping at 24 h; `None` where the rate of
/// samples is 0 or the position lies before the file.
///
/// `samples_since_midnight` and `rate_hz` are what the recorder wrote about the file's
/// first sample; `start_ms` is the position in the file.
#[must_use]
pub fn of_day(
    samples_since_midnight: u64,
    rate_hz: u32,
    start_ms: i64,
    rate: FrameRate,
) -> Option<String> {
    if rate_hz == 0 || start_ms < 0 {
        return None;
    }
    // Exact: milliseconds times samples fit in 128 bits.
    let position = u128::from(samples_since_midnight) * 1000
        + u128::from(start_ms.unsigned_abs()) * u128::from(rate_hz);
    let ticks_a_second = u64::from(rate_hz) * 1000;
    let frame = rate.frames_in(position, ticks_a_second, |up, low| up / low);
    let of_day = frame % u128::from(rate.frames_in_a_day());
    Some(rate.label(whole(of_day)))
}
