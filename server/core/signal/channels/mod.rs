//! Are these channels a stereo pair, strangers, twins, or dead?
//!
//! In: interleaved samples of a few stretches of a recording. Out: which
//! recordings to make of its channels, and why, in words. Compared are windows
//! of 1 s, thinned to about 8 kHz and tilted up so that speech counts more
//! than rumble: a normalised correlation at no lag tells twins, its greatest
//! value within 1 ms either way (a spaced pair of microphones is closer than
//! 34 cm) tells a pair from strangers.

mod decide;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::units::dbfs;

/// What one recording takes from a file's channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum ChannelPick {
    /// The mean of all channels.
    Mix,
    /// One channel, counted from 1.
    Only(u16),
}

impl fmt::Display for ChannelPick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mix => f.write_str("mix"),
            Self::Only(channel) => write!(f, "{channel}"),
        }
    }
}

/// A text that names no channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotAChannel(pub String);

impl fmt::Display for NotAChannel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:?} names no channel: write auto, mix, split or a number from 1 to 8",
            self.0
        )
    }
}

impl std::error::Error for NotAChannel {}

impl FromStr for ChannelPick {
    type Err = NotAChannel;

    fn from_str(text: &str) -> Result<Self, NotAChannel> {
        match text.parse() {
            Ok(channel @ 1..=8) if !text.starts_with(['+', '0']) => Ok(Self::Only(channel)),
            _ if text == "mix" => Ok(Self::Mix),
            _ => Err(NotAChannel(text.to_owned())),
        }
    }
}

impl From<ChannelPick> for String {
    fn from(pick: ChannelPick) -> Self {
        pick.to_string()
    }
}

impl TryFrom<String> for ChannelPick {
    type Error = NotAChannel;

    fn try_from(text: String) -> Result<Self, NotAChannel> {
        text.parse()
    }
}

/// What was decided about a file's channels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelFinding {
    /// One entry per recording to make, in channel order.
    pub picks: Vec<ChannelPick>,
    /// Why, as a sentence for people.
    pub explanation: String,
}

/// Rate the comparison works at, in Hz: above it is little of speech.
const COMPARE_RATE_HZ: u32 = 8_000;
/// Farthest apart two microphones of one stereo pair are, in ms of sound.
const PAIR_LAG_MS: u32 = 1;
/// A channel that never gets above this level is dead, in dBFS. The hiss of
/// an open microphone input is above it, an input with nothing plugged in
/// usually below.
const DEAD_DBFS: f32 = -75.0;
/// Windows quieter than a channel's loudest by more than this do not count,
/// in dB: there is only noise in them.
const ACTIVE_DB: f32 = 30.0;
/// Neither do those that are not louder than its quiet tenth by this, in dB:
/// a party with long pauses would be judged by the noise in them, which two
/// microphones of one pair do not share.
const ABOVE_QUIET_DB: f32 = 6.0;
/// Most windows kept (1 s each).
const WINDOWS_MAX: usize = 3_600;

/// Collects windows of a recording and decides; constant memory.
pub struct ChannelProbe {
    channels: usize,
    thin_by: usize,
    window_len: usize,
    max_lag: usize,
    thinned: Vec<Vec<f32>>,
    sums: Vec<f32>,
    summed: usize,
    windows: Vec<Window>,
    clips: Vec<Clip>,
}

/// One second of all channels, compared.
struct Window {
    level_dbfs: Vec<f32>,
    /// Of each pair `(a, b)`, `a < b`, in order.
    pairs: Vec<Alike>,
}

#[derive(Clone, Copy)]
struct Alike {
    at_no_lag: f32,
    greatest: f32,
}

/// Looks for flat tops: three or more equal samples at the channel's peak.
#[derive(Clone, Default)]
struct Clip {
    peak: f32,
    last: f32,
    run: u32,
    tops: u32,
}

impl ChannelProbe {
    /// A probe for `channels` interleaved channels at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        let thin_by = (rate_hz / COMPARE_RATE_HZ).max(1);
        let compare_rate = rate_hz / thin_by;
        let channels = usize::from(channels.max(1));
        Self {
            channels,
            thin_by: thin_by as usize,
            window_len: compare_rate.max(1) as usize,
            max_lag: (compare_rate * PAIR_LAG_MS / 1000).max(1) as usize,
            thinned: vec![Vec::new(); channels],
            sums: vec![0.0; channels],
            summed: 0,
            windows: Vec::new(),
            clips: vec![Clip::default(); channels],
        }
    }

    /// Takes interleaved samples; whole seconds at a time where stretches
    /// from different places follow each other.
    pub fn push(&mut self, interleaved: &[f32]) {
        for frame in interleaved.chunks_exact(self.channels) {
            for (channel, sample) in frame.iter().enumerate() {
                let sample = if sample.is_finite() { *sample } else { 0.0 };
                self.clips[channel].push(sample);
                self.sums[channel] += sample;
            }
            self.summed += 1;
            if self.summed == self.thin_by {
                self.thin();
            }
        }
    }

    fn thin(&mut self) {
        let share = 1.0 / self.thin_by as f32;
        for (sum, thinned) in self.sums.iter_mut().zip(&mut self.thinned) {
            thinned.push(*sum * share);
            *sum = 0.0;
        }
        self.summed = 0;
        if self.thinned[0].len() == self.window_len {
            self.close_window();
        }
    }

    fn close_window(&mut self) {
        if self.windows.len() < WINDOWS_MAX {
            let level_dbfs = self.thinned.iter().map(|samples| level(samples)).collect();
            let tilted: Vec<Vec<f32>> = self.thinned.iter().map(|samples| tilt(samples)).collect();
            let pairs = pairs(self.channels)
                .map(|(a, b)| alike(&tilted[a], &tilted[b], self.max_lag))
                .collect();
            self.windows.push(Window { level_dbfs, pairs });
        }
        self.thinned.iter_mut().for_each(Vec::clear);
    }

    /// Decides from what was pushed; a last, short window counts too.
    #[must_use]
    pub fn decide(mut self) -> ChannelFinding {
        if self.channels == 1 {
            return ChannelFinding {
                picks: vec![ChannelPick::Mix],
                explanation: "one channel".into(),
            };
        }
        if self.thinned[0].len() > self.max_lag * 8 {
            self.close_window();
        }
        decide::Decision::new(&self).run()
    }

    /// A channel's loudest window, in dBFS.
    fn loudest(&self, channel: usize) -> f32 {
        self.windows
            .iter()
            .map(|window| window.level_dbfs[channel])
            .fold(crate::units::SILENCE_DBFS, f32::max)
    }

    /// The level that a tenth of a channel's windows stay under, in dBFS.
    fn quiet(&self, channel: usize) -> f32 {
        let mut levels: Vec<f32> = self
            .windows
            .iter()
            .map(|window| window.level_dbfs[channel])
            .collect();
        levels.sort_by(f32::total_cmp);
        let tenth = levels.get(levels.len() / 10);
        tenth.copied().unwrap_or(crate::units::SILENCE_DBFS)
    }

    /// How alike two channels are over the windows in which both have more
    /// than noise, and how much louder the first is, in dB. Medians.
    fn relation(&self, a: usize, b: usize) -> Relation {
        let index = pairs(self.channels)
            .position(|pair| pair == (a, b))
            .unwrap_or(0);
        let floor = |channel| {
            let loudest = self.loudest(channel);
            let quiet = self.quiet(channel) + ABOVE_QUIET_DB;
            // Sound that never rests is its own quiet tenth.
            let above_quiet = quiet.min(loudest - ABOVE_QUIET_DB);
            (loudest - ACTIVE_DB).max(above_quiet).max(DEAD_DBFS)
        };
        let (floor_a, floor_b) = (floor(a), floor(b));
        let active: Vec<&Window> = self
            .windows
            .iter()
            .filter(|w| w.level_dbfs[a] >= floor_a && w.level_dbfs[b] >= floor_b)
            .collect();
        let median_of = |value: &dyn Fn(&Window) -> f32| {
            median(active.iter().map(|window| value(window)).collect())
        };
        Relation {
            at_no_lag: median_of(&|window| window.pairs[index].at_no_lag),
            greatest: median_of(&|window| window.pairs[index].greatest),
            louder_db: median_of(&|window| window.level_dbfs[a] - window.level_dbfs[b]),
        }
    }
}

#[derive(Clone, Copy)]
struct Relation {
    at_no_lag: f32,
    greatest: f32,
    louder_db: f32,
}

impl Clip {
    fn push(&mut self, sample: f32) {
        let size = sample.abs();
        if size > self.peak * 1.001 {
            *self = Self {
                peak: size,
                last: sample,
                run: 1,
                tops: 0,
            };
            return;
        }
        self.run = if sample == self.last { self.run + 1 } else { 1 };
        self.last = sample;
        if self.run == 3 && size >= self.peak * 0.999 {
            self.tops += 1;
        }
    }

    /// A few flat tops, at a level that is worth calling full: half scale.
    fn clipped(&self) -> bool {
        self.tops >= 3 && self.peak >= 0.5
    }
}

fn pairs(channels: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..channels).flat_map(move |a| (a + 1..channels).map(move |b| (a, b)))
}

/// Level without a constant offset, in dBFS.
fn level(samples: &[f32]) -> f32 {
    let n = samples.len().max(1) as f32;
    let mean = samples.iter().sum::<f32>() / n;
    let power = samples.iter().map(|s| (s - mean) * (s - mean)).sum::<f32>() / n;
    dbfs(power.sqrt())
}

/// First difference: 6 dB an octave up, so that speech counts more than rumble.
fn tilt(samples: &[f32]) -> Vec<f32> {
    samples.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

fn alike(a: &[f32], b: &[f32], max_lag: usize) -> Alike {
    let norm = (energy(a) * energy(b)).sqrt();
    if norm <= f32::MIN_POSITIVE {
        return Alike {
            at_no_lag: 0.0,
            greatest: 0.0,
        };
    }
    let at = |lag: usize, a: &[f32], b: &[f32]| {
        a[lag.min(a.len())..]
            .iter()
            .zip(b)
            .map(|(x, y)| x * y)
            .sum::<f32>()
            / norm
    };
    let at_no_lag = at(0, a, b);
    let mut greatest = at_no_lag;
    for lag in 1..=max_lag {
        for value in [at(lag, a, b), at(lag, b, a)] {
            if value.abs() > greatest.abs() {
                greatest = value;
            }
        }
    }
    Alike {
        at_no_lag,
        greatest,
    }
}

fn energy(samples: &[f32]) -> f32 {
    samples.iter().map(|sample| sample * sample).sum()
}

/// The middle value; 0 of nothing.
fn median(mut values: Vec<f32>) -> f32 {
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
