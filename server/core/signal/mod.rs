//! What do these samples say: is it speech, how loud, how are channels related?
//!
//! In: mono samples at 16 kHz (or interleaved channels at any rate where said
//! so), full scale 1.0. Out: times in ms from the first sample, levels in
//! dBFS, ratios in dB. Cost: linear in the number of samples, constant memory.
//! **Never does I/O**, keeps no state outside its structs, never panics on
//! non-finite samples.
//!
//! The detector, in the order of the data:
//! - [`spectrum`]: samples to the power spectrum of a frame each 10 ms.
//! - [`bands`]: power spectra to levels in speech bands.
//! - [`floor`]: levels to the noise floor under each band.
//! - [`segments`]: yes or no per frame to stretches worth keeping.
//! - [`detector`]: the whole, sample to segment.
//!
//! Beside it, [`pcm`]: stored bytes to samples, and [`channels`]: how the
//! channels of one file are related.

pub mod bands;
pub mod channels;
pub mod detector;
pub mod floor;
mod numbered;
pub mod params;
pub mod pcm;
pub mod segments;
pub mod spectrum;

#[cfg(test)]
mod sounds;
#[cfg(test)]
mod steady;

pub use detector::{SpeechDetector, SpeechSegment};
pub use params::DetectorParams;
