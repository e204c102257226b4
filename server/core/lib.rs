//! What can be worked out from samples and words alone?
//!
//! The pure rooms of sayback. Numbers in, numbers out: this package has no
//! file, no network, no SQL, no async and no thread, and its own `clippy.toml`
//! refuses them. It is its own package so that it can be compiled optimised
//! while everything around it is rebuilt quickly.
//!
//! - [`units`]: the two clocks and the scales everything is measured in.
//! - [`cancel`]: a flag long computations look at.
//! - [`timecode`]: samples to the frames of a picture and their labels.
//! - [`signal`]: samples to speech, levels and channel relations.
//! - [`clock`]: recordings to one clock.
//! - [`moments`]: speech that several recordings heard, once.
//! - [`quality`]: frames to how well they were heard.
//! - [`voices`]: who spoke, by levels of worn microphones and by voice.
//! - [`meaning`]: texts to directions that are near where they mean the like.
//! - [`text`]: words to their normal form, queries to matches.

pub mod cancel;
pub mod clock;
pub mod meaning;
pub mod moments;
pub mod quality;
pub mod signal;
pub mod text;
pub mod timecode;
pub mod units;
pub mod voices;

pub use cancel::Cancel;
