//! What is known of a recording before it is placed?

use serde::{Deserialize, Serialize};

use super::{How, Placement, Track};
use crate::units::FileMs;

/// Where samples come from.
pub trait Samples {
    /// Mono sound of a member at 16 kHz, full scale 1.0, from `from` up to `to` of
    /// its file; shorter where the file ends, empty where it can't be read.
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32>;
}

/// A statement about when a recording began.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StampAt {
    /// How far it is to be trusted: 0 the most. Only stamps of one rank and one
    /// source are compared.
    pub rank: u8,
    /// When the first sample was taken, ms on any clock the source's recordings
    /// share.
    pub at_ms: f64,
    /// How exact that can be at best, ms: 1,000 for whole seconds.
    pub within_ms: f64,
}

/// What a person says about the place of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fix {
    /// It starts then.
    Start {
        /// Event time of the first sample, ms.
        event_ms: f64,
    },
    /// An instant of it is an instant of another member.
    Same {
        /// In this file, ms.
        file_ms: f64,
        /// The other member.
        other: usize,
        /// In the other's file, ms.
        other_file_ms: f64,
    },
}

/// Where a recording lay when the event was last solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Before {
    /// Its place.
    pub placement: Placement,
    /// Whose clock it is on; 0 is the event clock.
    pub island: u32,
    /// How it was found.
    pub how: How,
}

/// A recording to be placed.
#[derive(Clone, Debug)]
pub struct Member<'a> {
    /// Its band levels.
    pub track: &'a Track,
    /// How long it lasts, ms: frames by rate.
    pub duration_ms: f64,
    /// Which source made it.
    pub source: usize,
    /// Which file it is a channel of: channels of one file have one clock.
    pub file: usize,
    /// Which take it is a piece of, and its place in it.
    pub take: Option<(usize, u32)>,
    /// When it says it began.
    pub stamps: Vec<StampAt>,
    /// What a person said.
    pub fix: Option<Fix>,
    /// Where it lay before; what was placed by sound stays there.
    pub before: Option<Before>,
    /// Its speech, in order: lags are measured there first.
    pub speech: &'a [(FileMs, FileMs)],
}
