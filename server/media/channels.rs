//! Which recordings does a file with several channels make?

use std::fmt;
use std::path::Path;
use std::str::FromStr;

use sayback_core::signal::channels::{ChannelPick, ChannelProbe, NotAChannel};

use super::error::MediaError;
use super::reader::Reader;

/// Stretches looked at, spread evenly over the file.
const STRETCHES: u64 = 32;
/// Length of each stretch in s.
const STRETCH_S: u64 = 2;

/// What the user wants done with a file's channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ChannelChoice {
    /// Let the sound decide.
    #[default]
    Auto,
    /// One recording, the mean of all channels.
    Mix,
    /// One recording per channel.
    Split,
    /// One recording of one channel, counted from 1.
    Only(u16),
}

impl fmt::Display for ChannelChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Auto => f.write_str("auto"),
            Self::Mix => f.write_str("mix"),
            Self::Split => f.write_str("split"),
            Self::Only(channel) => write!(f, "{channel}"),
        }
    }
}

impl FromStr for ChannelChoice {
    type Err = NotAChannel;

    fn from_str(text: &str) -> Result<Self, NotAChannel> {
        match text {
            "auto" => Ok(Self::Auto),
            "split" => Ok(Self::Split),
            _ => text.parse().map(|pick| match pick {
                ChannelPick::Mix => Self::Mix,
                ChannelPick::Only(channel) => Self::Only(channel),
            }),
        }
    }
}

/// What was decided, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelDecision {
    /// One entry per recording to make. A file with one channel always gives
    /// `mix`, so that it is one recording however it is asked for.
    pub picks: Vec<ChannelPick>,
    /// Why, for people.
    pub explanation: String,
}

/// Decides which recordings a file makes. `auto` looks at 32 stretches of 2 s
/// spread over the file, at all of it when it is short.
///
/// # Errors
/// As [`Reader::open`] and [`Reader::read`]; [`MediaError::NoSuchChannel`].
pub fn decide_channels(path: &Path, choice: ChannelChoice) -> Result<ChannelDecision, MediaError> {
    let mut reader = Reader::open(path)?;
    let channels = reader.info().channels;
    if let ChannelChoice::Only(channel) = choice
        && (channel == 0 || channel > channels)
    {
        return Err(MediaError::NoSuchChannel {
            file: reader.shown(),
            channel,
            channels,
        });
    }
    let asked = |picks| ChannelDecision {
        picks,
        explanation: "as asked for".into(),
    };
    Ok(match choice {
        _ if channels == 1 => ChannelDecision {
            picks: vec![ChannelPick::Mix],
            explanation: "one channel".into(),
        },
        ChannelChoice::Mix => asked(vec![ChannelPick::Mix]),
        ChannelChoice::Split => asked((1..=channels).map(ChannelPick::Only).collect()),
        ChannelChoice::Only(channel) => asked(vec![ChannelPick::Only(channel)]),
        ChannelChoice::Auto => listen(&mut reader)?,
    })
}

fn listen(reader: &mut Reader) -> Result<ChannelDecision, MediaError> {
    let (rate_hz, frames) = (reader.info().rate_hz, reader.info().frames);
    let mut probe = ChannelProbe::new(rate_hz, reader.info().channels);
    let stretch = STRETCH_S * u64::from(rate_hz);
    let all = frames <= STRETCHES * stretch;
    let mut block = Vec::new();
    for n in 0..if all { 1 } else { STRETCHES } {
        let start = if all {
            0
        } else {
            (frames - stretch) / (STRETCHES - 1) * n
        };
        reader.seek(start)?;
        let mut left = if all { frames } else { stretch };
        while left > 0 {
            let got = reader.read(&mut block, left.min(8_192) as usize)?;
            if got == 0 {
                break;
            }
            probe.push(&block);
            left -= got as u64;
        }
    }
    let finding = probe.decide();
    Ok(ChannelDecision {
        picks: finding.picks,
        explanation: finding.explanation,
    })
}
