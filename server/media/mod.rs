//! How do I get samples, times and facts out of this file?
//!
//! In: a path. Out: a [`Probe`] (what it is, how long, when it was made), and
//! streams: [`Reader`] (native rate, interleaved), [`AnalysisStream`] (16 kHz
//! mono), [`Slice`] (bytes of a WAV file to listen to), and [`pull`]s (WAV files
//! to keep, bit by bit what was recorded). Samples are f32 with full scale
//! 1.0 and always finite; positions are [`FileMs`](sayback_core::units::FileMs)
//! or frames from the first one that plays (encoder delay is cut off). All
//! calls block.
//!
//! ```text
//! open ─ riff (our header check) ─ wav: hound, or by arithmetic ─┐
//!      └ boxes ─ compressed: symphonia, libopus ─────────────────┴ Reader ─ AnalysisStream, Slice
//! ```
//!
//! **Never** writes to an original, never trusts a length in a file before
//! holding it against the file's size, never holds a whole recording in
//! memory, never applies gain.

use std::path::Path;

mod analysis;
pub mod bext;
mod bounds;
mod boxes;
mod channels;
mod compressed;
mod error;
mod guard;
mod hash;
pub mod ixml;
pub mod joins;
mod masked;
mod packets;
pub mod pull;
mod reader;
mod resample;
pub mod riff;
mod slice;
mod stamps;
mod stored;
mod trouble;
mod wav;

pub use analysis::{AnalysisStream, READ_LIMIT_MS, read_analysis};
pub use channels::{ChannelChoice, ChannelDecision, decide_channels};
pub use error::{MediaError, ShownPath};
pub use hash::content_hash;
pub use reader::{CHANNELS_MAX, Info, RATE_RANGE_HZ, Reader};
pub use sayback_core::signal::channels::{ChannelPick, NotAChannel};
pub use slice::Slice;
pub use stamps::{Stamp, StampKind};

/// What a file is, how long, and when it was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Probe {
    /// `WAV`, `RF64`, `MP4` and so on.
    pub container: String,
    /// Name of the codec.
    pub codec: String,
    /// Internet media type, to send the file with.
    pub media_type: &'static str,
    /// Frames a second.
    pub rate_hz: u32,
    /// Channels, 1 to 8.
    pub channels: u16,
    /// Bits a sample, where the codec has such a thing.
    pub bits: Option<u16>,
    /// Frames in all.
    pub frames: u64,
    /// Length in ms, rounded down.
    pub duration_ms: i64,
    /// Every stamp found, most trustworthy kind first; the file's own time is
    /// always the last.
    pub stamps: Vec<Stamp>,
    /// What is wrong with the file but could be lived with.
    pub warnings: Vec<String>,
}

/// Looks at a file; only one that ends before its headers say is decoded
/// throughout.
///
/// # Errors
/// As [`Reader::open`] and [`Reader::check_end`].
pub fn probe(path: &Path) -> Result<Probe, MediaError> {
    let mut reader = Reader::open(path)?;
    reader.check_end()?;
    let info = reader.info().clone();
    let mut stamps = reader.stamps().to_vec();
    stamps.extend(Stamp::from_file(path));
    stamps.sort_by_key(|stamp| stamp.kind);
    Ok(Probe {
        duration_ms: info.duration_ms(),
        container: info.container,
        codec: info.codec,
        media_type: info.media_type,
        rate_hz: info.rate_hz,
        channels: info.channels,
        bits: info.bits,
        frames: info.frames,
        stamps,
        warnings: reader.warnings(),
    })
}
