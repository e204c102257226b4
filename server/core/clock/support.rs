//! What did the coarse search find between two recordings?

use serde::{Deserialize, Serialize};

use super::Line;

/// A line between two recordings and the sound that speaks for it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Support {
    /// Times of the first recording to times of the second; to some 40 ms.
    pub line: Line,
    /// Start of the shared sound in the first recording, ms.
    pub from_ms: f64,
    /// Its end, ms.
    pub to_ms: f64,
    /// Looks (of [`super::ClockParams::look_ms`] each) inside it at which the sound agrees.
    pub blocks: u32,
    /// Looks along the line, all over the overlap it predicts, at which both
    /// recordings have sound that moves and it does not agree.
    pub against: u32,
    /// How far all looks together stand above chance, in standard deviations.
    pub strength: f32,
}

impl Support {
    /// Whether more looks speak for it than against it.
    pub(super) fn is_firm(&self) -> bool {
        self.blocks > self.against
    }
}

/// Whether two recordings share sound, and where.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "finding", content = "supports")]
pub enum Coarse {
    /// No sound that is surely shared.
    Nothing,
    /// Shared sound, in order of the first recording's time; no two overlap in
    /// either recording. More than one: a clock jumps in between.
    Shared(Vec<Support>),
    /// Sound that fits in more than one way, or that fits for a moment while
    /// everything around it speaks against it, as a piece of music does that was
    /// played twice. Never a reason to place anything. Strongest first.
    Tie(Vec<Support>),
}

impl Coarse {
    /// The same finding seen from the second recording.
    #[must_use]
    pub fn inverse(&self) -> Self {
        let turned = |supports: &[Support]| {
            let turned = supports.iter().map(|support| Support {
                line: support.line.inverse(),
                from_ms: support.line.map(support.from_ms),
                to_ms: support.line.map(support.to_ms),
                ..*support
            });
            turned.collect::<Vec<Support>>()
        };
        match self {
            Self::Nothing => Self::Nothing,
            Self::Shared(supports) => {
                let mut turned = turned(supports);
                turned.sort_by(|a, b| a.from_ms.total_cmp(&b.from_ms));
                Self::Shared(turned)
            }
            Self::Tie(supports) => Self::Tie(turned(supports)),
        }
    }
}
