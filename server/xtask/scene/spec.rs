//! What is to be made?
//!
//! A [`SceneSpec`] says who stands where, who says what and when, and which
//! recorders hear it how. Nothing in it is random: chance is spent while a
//! spec is written (see `demo` and `shuffled`), or by the named streams of
//! [`SceneSpec::seed`] for noise.
//!
//! Times are seconds on the event clock unless a name says otherwise; places
//! are metres.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use super::noise::NoiseKind;
pub use super::wav::SampleFormat;

/// Speed of sound, in m/s, in air at 20 degrees Celsius.
pub const SPEED_OF_SOUND: f64 = 343.0;

/// How a source is placed; the same words as the product's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Placement {
    /// On a person.
    Worn,
    /// On the mixing desk.
    Feed,
    /// On a lectern or stand.
    Stand,
    /// Somewhere in the room.
    Ambient,
    /// In a camera.
    Camera,
}

impl Placement {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Worn => "worn",
            Self::Feed => "feed",
            Self::Stand => "stand",
            Self::Ambient => "ambient",
            Self::Camera => "camera",
        }
    }
}

/// A place: metres in a named room. Nothing is heard from room to room.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// The room.
    pub room: String,
    /// Metres along it.
    pub x: f64,
    /// Metres across it.
    pub y: f64,
}

impl Place {
    /// A place in `room`.
    #[must_use]
    pub fn new(room: &str, x: f64, y: f64) -> Self {
        Self {
            room: room.to_owned(),
            x,
            y,
        }
    }

    /// Metres to `other`, none from room to room; never under 0.1.
    #[must_use]
    pub fn distance_m(&self, other: &Self) -> Option<f64> {
        (self.room == other.room).then(|| (self.x - other.x).hypot(self.y - other.y).max(0.1))
    }
}

/// A stretch of the event during which people stay where they are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartSpec {
    /// Its name: letters, ceremony, toasts.
    pub name: String,
    /// First second.
    pub start_s: f64,
    /// Last second.
    pub end_s: f64,
    /// Who is where.
    pub places: BTreeMap<String, Place>,
}

/// One line said at one time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineSpec {
    /// Which dry line: its position in the list of lines.
    pub line: usize,
    /// Who says it.
    pub speaker: String,
    /// Position in [`SceneSpec::parts`].
    pub part: usize,
    /// When the dry recording's first sample leaves the mouth.
    pub start_s: f64,
    /// Read this many times faster (and higher) than the dry recording.
    pub speed: f64,
    /// Louder than the dry recording, in dB.
    pub effort_db: f64,
}

/// What else sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BedKind {
    /// Guests clap.
    Applause,
    /// A band plays.
    Music,
}

/// Applause or music at a place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BedSpec {
    /// What sounds.
    pub kind: BedKind,
    /// From.
    pub start_s: f64,
    /// To.
    pub end_s: f64,
    /// Where.
    pub place: Place,
    /// RMS at one metre against a dry line's RMS at one metre, in dB.
    pub level_db: f64,
}

/// Where a microphone is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// On a person, so many metres from the mouth.
    Worn {
        /// Who wears it.
        person: String,
        /// Metres from the wearer's mouth.
        mouth_m: f64,
    },
    /// At a fixed place.
    Fixed(Place),
    /// On the desk: hears those who hold a microphone, and them only.
    Desk {
        /// Who holds one: (part, person).
        open: Vec<(usize, String)>,
    },
}

/// The sound of the room around a microphone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RoomSpec {
    /// Distance at which the reverberation is as strong as the direct sound, in metres.
    pub critical_m: f64,
    /// Time in which it falls by 60 dB, in seconds.
    pub rt60_s: f64,
}

/// One microphone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MicSpec {
    /// Where it is.
    pub spot: Spot,
    /// RMS of the direct sound of the lines it hears (mean power, weighted by
    /// their length), in dBFS. Set it high and the recorder clips.
    pub level_dbfs: f64,
    /// The same power against that of [`MicSpec::noise`], in dB, up to 8 kHz.
    pub snr_db: f64,
    /// What it hears beside: kinds and their share of the noise's power.
    pub noise: Vec<(NoiseKind, f64)>,
    /// The room, if it hears one.
    pub room: Option<RoomSpec>,
}

/// What a channel of a file holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChannelSpec {
    /// A microphone.
    Mic(MicSpec),
    /// Another channel of this recorder before it clips, so much louder.
    Copy {
        /// The channel copied, from 0.
        of: usize,
        /// Louder by, in dB; a safety copy has -6 to -12.
        gain_db: f64,
    },
    /// Digital silence.
    Silent,
}

/// What kind of file a recorder writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Container {
    /// WAV without a stamp.
    Wav,
    /// Broadcast Wave with a bext stamp.
    Broadcast,
    /// QuickTime with 16-bit PCM and a creation time, as cameras write.
    Mov,
}

/// One take of one recorder.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RecorderSpec {
    /// The source's label; takes of one recorder share it.
    pub label: String,
    /// Its folder under the scene's.
    pub folder: String,
    /// Its files' name before the number and the extension.
    pub stem: String,
    /// How it is placed.
    pub placement: Placement,
    /// Who wears it.
    pub wearer: Option<String>,
    /// When it starts.
    pub start_s: f64,
    /// When it stops.
    pub end_s: f64,
    /// Its clock runs fast by so many parts in a million:
    /// file time = (event time - start) * (1 + drift / 10^6).
    pub drift_ppm: f64,
    /// Its wall clock is ahead by so many seconds.
    pub clock_error_s: i64,
    /// Samples a second it claims to take; 16 kHz or more.
    pub rate_hz: u32,
    /// How samples are stored.
    pub format: SampleFormat,
    /// What kind of file.
    pub container: Container,
    /// Its channels.
    pub channels: Vec<ChannelSpec>,
    /// Where a new file begins, in seconds of file time from the take's start.
    pub split_at_s: Vec<f64>,
    /// A second set of files, so much quieter, in dB.
    pub safety_files_db: Option<f64>,
}

/// A whole scene.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SceneSpec {
    /// Every random number of the rendering comes from this.
    pub seed: u64,
    /// The event's title.
    pub title: String,
    /// `yyyy-mm-dd`.
    pub date: String,
    /// Wall clock at event time 0, in seconds since midnight.
    pub clock_s: u32,
    /// The event's length.
    pub length_s: f64,
    /// Its parts, in order.
    pub parts: Vec<PartSpec>,
    /// What is said, in order of time.
    pub lines: Vec<LineSpec>,
    /// What else sounds.
    pub beds: Vec<BedSpec>,
    /// Who records.
    pub recorders: Vec<RecorderSpec>,
}
