//! In a word: can it be used?

use serde::{Deserialize, Serialize};

/// How well a recorder has a stretch of speech.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Nothing disturbs.
    Clean,
    /// Good enough for the film.
    Usable,
    /// Only if there is nothing else.
    Poor,
    /// The words can't be made out.
    Lost,
}

impl Verdict {
    /// Whether it counts as a source.
    #[must_use]
    pub fn is_usable(self) -> bool {
        matches!(self, Self::Clean | Self::Usable)
    }
}

impl std::fmt::Display for Verdict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Clean => "clean",
            Self::Usable => "usable",
            Self::Poor => "poor",
            Self::Lost => "lost",
        })
    }
}
