//! Frames a second, and whether labels are dropped.

use std::fmt;
use std::str::FromStr;

use super::TimecodeError;

/// How many pictures a second, and how they are counted.
///
/// Written as editors write it: `25`, `23.976`, `29.97`, `29.97df`; also as a fraction,
/// `30000/1001` or `30000/1001df`. Without `df` no label is dropped (`ndf` says so).
///
/// ```
/// use sayback_core::timecode::FrameRate;
/// let rate: FrameRate = "29.97df".parse()?;
/// assert_eq!(rate, FrameRate::R29_97_DROP);
/// assert_eq!(rate.fraction(), (30_000, 1_001));
/// assert_eq!(rate.to_string(), "29.97df");
/// assert!("25df".parse::<FrameRate>().is_err());
/// # Ok::<(), sayback_core::timecode::TimecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct FrameRate {
    frames: u32,
    seconds: u32,
    drop: bool,
}

/// Frames a second that are no whole number, as they are spoken of.
const DECIMALS: [(&str, u32, u32); 5] = [
    ("23.976", 24_000, 1_001),
    ("23.98", 24_000, 1_001),
    ("29.97", 30_000, 1_001),
    ("59.94", 60_000, 1_001),
    ("47.952", 48_000, 1_001),
];

/// Which have a drop-frame count (SMPTE ST 12-1).
const DROPPING: [(u32, u32); 2] = [(30_000, 1_001), (60_000, 1_001)];

impl FrameRate {
    /// 24000/1001 frames a second.
    pub const R23_976: Self = Self::fixed(24_000, 1_001, false);
    /// 24 frames a second.
    pub const R24: Self = Self::fixed(24, 1, false);
    /// 25 frames a second.
    pub const R25: Self = Self::fixed(25, 1, false);
    /// 30000/1001 frames a second, all labels used.
    pub const R29_97: Self = Self::fixed(30_000, 1_001, false);
    /// 30000/1001 frames a second, labels dropped.
    pub const R29_97_DROP: Self = Self::fixed(30_000, 1_001, true);
    /// 30 frames a second.
    pub const R30: Self = Self::fixed(30, 1, false);
    /// 50 frames a second.
    pub const R50: Self = Self::fixed(50, 1, false);
    /// 60000/1001 frames a second, all labels used.
    pub const R59_94: Self = Self::fixed(60_000, 1_001, false);
    /// 60000/1001 frames a second, labels dropped.
    pub const R59_94_DROP: Self = Self::fixed(60_000, 1_001, true);
    /// 60 frames a second.
    pub const R60: Self = Self::fixed(60, 1, false);

    /// The rates of pictures.
    pub const ALL: [Self; 10] = [
        Self::R23_976,
        Self::R24,
        Self::R25,
        Self::R29_97,
        Self::R29_97_DROP,
        Self::R30,
        Self::R50,
        Self::R59_94,
        Self::R59_94_DROP,
        Self::R60,
    ];

    const fn fixed(frames: u32, seconds: u32, drop: bool) -> Self {
        Self {
            frames,
            seconds,
            drop,
        }
    }

    /// So many frames in so many seconds, 1 to 120 a second.
    ///
    /// # Errors
    /// [`TimecodeError::Rate`] for what is no such rate, [`TimecodeError::Drop`] where
    /// this rate has no drop-frame count.
    pub fn new(frames: u32, seconds: u32, drop: bool) -> Result<Self, TimecodeError> {
        let told = || format!("{frames}/{seconds}{}", if drop { "df" } else { "" });
        let most = u64::from(seconds) * 120;
        if seconds == 0 || frames < seconds || u64::from(frames) > most {
            return Err(TimecodeError::Rate(told()));
        }
        let common = common(frames, seconds);
        let rate = Self::fixed(frames / common, seconds / common, drop);
        if drop && !DROPPING.contains(&rate.pair()) {
            return Err(TimecodeError::Drop(told()));
        }
        Ok(rate)
    }

    /// Frames, and the seconds that they take; no smaller numbers say the same.
    #[must_use]
    pub fn fraction(self) -> (u64, u64) {
        (u64::from(self.frames), u64::from(self.seconds))
    }

    /// Frames a second as the nearest 64-bit number, for formats that write one.
    #[must_use]
    pub fn per_second(self) -> f64 {
        f64::from(self.frames) / f64::from(self.seconds)
    }

    /// The rate as a fraction, which is exact: `25`, `30000/1001`, `30000/1001df`.
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// assert_eq!(FrameRate::R29_97_DROP.exact(), "30000/1001df");
    /// assert_eq!(FrameRate::R25.exact(), "25");
    /// ```
    #[must_use]
    pub fn exact(self) -> String {
        let count = if self.drop { "df" } else { "" };
        match self.pair() {
            (frames, 1) => format!("{frames}{count}"),
            (frames, seconds) => format!("{frames}/{seconds}{count}"),
        }
    }

    /// How long so many frames are, ms: worked out in whole numbers, so that thirty times
    /// one frame is what thirty frames are.
    ///
    /// ```
    /// use sayback_core::timecode::FrameRate;
    /// assert_eq!(FrameRate::R29_97.ms_of(30_000), 1_001_000.0);
    /// ```
    #[must_use]
    pub fn ms_of(self, frames: i64) -> f64 {
        let thousandths = i128::from(frames) * 1000 * i128::from(self.seconds);
        let whole = thousandths / i128::from(self.frames);
        let rest = thousandths % i128::from(self.frames);
        whole as f64 + rest as f64 / f64::from(self.frames)
    }

    /// Whether labels are dropped.
    #[must_use]
    pub fn is_drop(self) -> bool {
        self.drop
    }

    /// Labels of a second: the rate, rounded up.
    pub(super) fn numbered(self) -> u64 {
        u64::from(self.frames).div_ceil(u64::from(self.seconds))
    }

    /// Labels left out at each minute but the tenth: two of 30 (SMPTE ST 12-1).
    pub(super) fn dropped(self) -> u64 {
        if self.drop { self.numbered() / 15 } else { 0 }
    }

    fn pair(self) -> (u32, u32) {
        (self.frames, self.seconds)
    }
}

fn common(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { common(b, a % b) }
}

impl FromStr for FrameRate {
    type Err = TimecodeError;

    fn from_str(text: &str) -> Result<Self, TimecodeError> {
        let wrong = || TimecodeError::Rate(text.to_owned());
        let lower = text.trim().to_ascii_lowercase();
        let (number, drop) = match (lower.strip_suffix("ndf"), lower.strip_suffix("df")) {
            (Some(number), _) => (number.trim_end(), false),
            (None, Some(number)) => (number.trim_end(), true),
            (None, None) => (&*lower, false),
        };
        let decimal = DECIMALS.iter().find(|(name, ..)| *name == number);
        let (frames, seconds) = match decimal {
            Some((_, frames, seconds)) => (*frames, *seconds),
            None => {
                let (frames, seconds) = number.split_once('/').unwrap_or((number, "1"));
                let digits = |part: &str| part.trim().parse::<u32>().map_err(|_| wrong());
                (digits(frames)?, digits(seconds)?)
            }
        };
        Self::new(frames, seconds, drop).map_err(|error| match error {
            TimecodeError::Drop(_) => TimecodeError::Drop(text.to_owned()),
            _ => wrong(),
        })
    }
}

impl fmt::Display for FrameRate {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (frames, seconds) = self.pair();
        let decimal = DECIMALS
            .iter()
            .find(|(_, a, b)| (*a, *b) == (frames, seconds));
        match (decimal, seconds) {
            (Some((name, ..)), _) => out.write_str(name)?,
            (None, 1) => write!(out, "{frames}")?,
            (None, _) => write!(out, "{frames}/{seconds}")?,
        }
        out.write_str(if self.drop { "df" } else { "" })
    }
}
