//! What do these samples say: is it speech, how loud, how are channels related?
//!
//! In: mono samples at 16 kHz (or interleaved channels at any rate where said
//! so), full scale 1.0. Out: times in ms from the first sample, levels in
//! dBFS, ratios in dB. Cost: linear in the number of samples, constant memory.
//! **Never does I/O**, keeps no state outside its structs, never panics on
//! non-finite samples.
//!
//! The detector, in the order of the data:
//! - [`windows`]: samples to a window each 10 ms.
//! - [`spectrum`], [`bands`]: a window to its power spectrum and the levels of
//!   20 bands.
//! - [`texture`]: does the fine structure hold still, as a note's does?
//! - [`floor`], [`loudness`]: the noise under each band, and the level of the
//!   loud moments, both from before and after.
//! - [`evidence`]: the measures together, one number per frame.
//! - [`marks`]: flat tops and the room's ring.
//! - [`segments`]: numbers to stretches worth keeping.
//! - [`detector`]: the whole, sample to segment; [`params`]: its numbers.
//!
//! Beside it, [`pcm`]: stored bytes to samples; [`channels`]: how the channels
//! of one file are related; [`peaks`]: what the wave looks like from afar.

pub mod bands;
pub mod channels;
pub mod detector;
pub mod evidence;
pub mod floor;
pub mod loudness;
pub mod marks;
mod numbered;
pub mod params;
pub mod pcm;
pub mod peaks;
mod quantile;
pub mod segments;
pub mod spectrum;
pub mod texture;
pub mod windows;

#[cfg(test)]
pub(crate) mod sounds;
#[cfg(test)]
mod spoken;
#[cfg(test)]
mod steady;

pub use detector::{SpeechDetector, SpeechSegment};
pub use params::DetectorParams;
