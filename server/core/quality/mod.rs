//! How well did a recorder hear this?
//!
//! In: a recording's frames at its own rate. Out: a [`Track`] of what was measured in
//! each tenth of a second, small enough to keep, and from it the measures of any
//! stretch: loudness by ITU-R BS.1770-4 and EBU R 128, peaks, clipped samples, digital
//! silence.
//!
//! Memory: the track, 9 bytes for each 100 ms. **Never changes a sample, never decides
//! what is speech.**

mod clarity;
mod coverage;
mod heard;
mod hum;
mod loudness;
mod meter;
mod spread;
mod tears;
mod tops;
mod track;
mod verdict;

pub use clarity::{Copy, clarity};
pub use coverage::{
    BACKED_UP, Covered, Gap, PartCoverage, Span, coverage, needs_backup, part_of, usable_sources,
};
pub use heard::{Frame, Heard, Measures, Modulation};
pub use loudness::Loudness;
pub use meter::Meter;
pub use track::{Row, STEP_MS, Stretch, Track};
pub use verdict::{Facts, Verdict, VerdictParams};

#[cfg(test)]
mod tests;
