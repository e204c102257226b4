//! What does the clock say in the end?

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{How, Line, Placement};

/// Raise this when a stored [`Pair`] should be measured again.
pub const PAIR_VERSION: u32 = 5;

/// What two recordings have to do with each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// No shared sound.
    Nothing,
    /// The same sound.
    Shared,
    /// Several places fit as well as each other: not used.
    Tie,
}

/// Everything measured about two recordings, *a* before *b*; kept between solves.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// What was found.
    pub finding: Finding,
    /// Stretches of shared sound in time order; more than one means a jump. For a
    /// tie, the places that contradict each other.
    pub stretches: Vec<Stretch>,
    /// Whether the last solve agreed with it.
    pub used: bool,
    /// Whether the sound of *a*, and of *b*, could not be read or was silent when it
    /// was measured.
    #[serde(default)]
    pub mute: (bool, bool),
}

impl Pair {
    /// The stretch with the most points, or the longest if none is measured.
    #[must_use]
    pub fn main(&self) -> Option<&Stretch> {
        self.stretches.iter().max_by(|x, y| {
            let key = |s: &Stretch| (s.fine.map_or(0, |fine| fine.points), s.to_ms - s.from_ms);
            let (x, y) = (key(x), key(y));
            x.0.cmp(&y.0).then(x.1.total_cmp(&y.1))
        })
    }

    /// The same, *b* before *a*.
    #[must_use]
    pub fn turned(&self) -> Self {
        let turned = self.stretches.iter().map(|stretch| Stretch {
            line: stretch.line.inverse(),
            from_ms: stretch.line.map(stretch.from_ms),
            to_ms: stretch.line.map(stretch.to_ms),
            fine: stretch.fine.map(|fine| Fine {
                gain_db: -fine.gain_db,
                ..fine
            }),
            ..*stretch
        });
        let mut stretches: Vec<Stretch> = turned.collect();
        if self.finding == Finding::Shared {
            stretches.sort_by(|x, y| x.from_ms.total_cmp(&y.from_ms));
        }
        Self {
            stretches,
            mute: (self.mute.1, self.mute.0),
            ..self.clone()
        }
    }

    /// How long they share sound, ms of *a*.
    #[must_use]
    pub fn overlap_ms(&self) -> f64 {
        match self.finding {
            Finding::Shared => self.stretches.iter().map(|s| s.to_ms - s.from_ms).sum(),
            Finding::Nothing | Finding::Tie => 0.0,
        }
    }
}

/// A stretch of shared sound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// From the file time of *a* to that of *b*: the best that is known.
    pub line: Line,
    /// Where the sound starts in *a*, ms.
    pub from_ms: f64,
    /// Where it ends in *a*, ms.
    pub to_ms: f64,
    /// Blocks of the search that agreed.
    pub blocks: u32,
    /// Blocks that spoke against it.
    pub against: u32,
    /// How clearly it stood out, as the search gave it.
    pub strength: f32,
    /// What fine lags say; `None` where the sound gave too few.
    pub fine: Option<Fine>,
}

/// What the fine lags of a stretch say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fine {
    /// 95 % of the line's offset at its anchor, ms.
    pub uncertainty_ms: f64,
    /// 95 % of its rate, ppm.
    pub ppm_uncertainty: f64,
    /// Spread of the agreeing points about the line, ms (1.4826 × median absolute
    /// deviation); voices at different distances count.
    pub residual_ms: f64,
    /// Share of the points that agree, 0 to 1.
    pub agreement: f64,
    /// Points measured.
    pub points: u32,
    /// Median peak of the normalised cross-correlation, 0 to 1.
    pub alike: f32,
    /// Level of *b* above *a* in the shared sound, dB.
    pub gain_db: f32,
    /// Share of the points at which one is the other turned over.
    #[serde(default)]
    pub inverted: f32,
}

/// Where every member lies, and why.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Solution {
    /// One for each member, in order.
    pub placed: Vec<Placed>,
    /// Every pair, by members (a < b).
    pub pairs: BTreeMap<(usize, usize), Pair>,
    /// What was odd about the event as a whole.
    pub warnings: Vec<Warning>,
}

/// Where one member lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// Its place on its island's clock.
    pub placement: Placement,
    /// Whose clock: 0 is the event clock. Islands from 1 share sound among
    /// themselves only.
    pub island: u32,
    /// How it was found.
    pub how: How,
    /// 95 % of the event time of any instant in it, beside the sound's way to the
    /// microphone, ms; `None` where it is not placed.
    pub uncertainty_ms: Option<f64>,
    /// Share of the fine points that agree, 0 to 1.
    pub agreement: Option<f64>,
    /// Spread of the agreeing points, ms.
    pub residual_ms: Option<f64>,
    /// Fine points measured on it.
    pub points: u32,
    /// What was odd about it.
    pub warnings: Vec<Warning>,
}

/// Something a person should know. Members are indices; the wording is made where
/// names are known.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Warning {
    /// A stamp says another place than the sound; sound was believed.
    StampDisagrees {
        /// Whose stamp.
        member: usize,
        /// How much later the stamp says it is, ms.
        by_ms: f64,
    },
    /// Two recordings fit each other in several places as well (a song played
    /// twice, a loop): not used.
    Tie {
        /// One.
        a: usize,
        /// The other.
        b: usize,
    },
    /// The recorder stopped and went on inside the file.
    Jump {
        /// Whose file.
        member: usize,
        /// Where in it, ms.
        at_ms: f64,
        /// How much of the event is missing there, ms.
        lost_ms: f64,
    },
    /// The header's sample rate is not the one it was recorded at.
    WrongRate {
        /// Whose file.
        member: usize,
        /// How much faster its clock runs than the event's, ppm.
        ppm: f64,
        /// The rate it was recorded at and the one its header must say for that, Hz;
        /// `None` where no two rates in use fit.
        likely_hz: Option<(u32, u32)>,
    },
    /// What two recordings say of each other contradicts everything else; thrown
    /// out.
    Outlier {
        /// One.
        a: usize,
        /// The other.
        b: usize,
        /// By how much, ms.
        by_ms: f64,
    },
    /// The sound says another place than a person; the person was believed.
    FixDisagrees {
        /// Whose fix.
        member: usize,
        /// How much later the sound says it is, ms.
        by_ms: f64,
    },
    /// The same sound sample for sample, at another level.
    Copy {
        /// Which.
        member: usize,
        /// Of what.
        of: usize,
        /// Its level above the other, dB.
        gain_db: f32,
    },
    /// Its polarity is the other way round than that of most others.
    Inverted {
        /// Which.
        member: usize,
        /// Against whom it was told best.
        against: usize,
    },
    /// Its sound could not be read, or is silent, where it was wanted.
    Unreadable {
        /// Which.
        member: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turned_pair_says_the_same_of_the_same_two() {
        let stretch = |here_ms, there_ms, length_ms: f64| Stretch {
            line: Line {
                here_ms,
                there_ms,
                ppm: 80.0,
            },
            from_ms: here_ms,
            to_ms: here_ms + length_ms,
            blocks: 3,
            against: 0,
            strength: 9.0,
            fine: Some(Fine {
                uncertainty_ms: 0.4,
                ppm_uncertainty: 1.0,
                residual_ms: 0.3,
                agreement: 0.9,
                points: 40,
                alike: 0.8,
                gain_db: -6.0,
                inverted: 0.0,
            }),
        };
        let pair = Pair {
            finding: Finding::Shared,
            stretches: vec![
                stretch(5_000.0, 1_000.0, 60_000.0),
                stretch(80_000.0, 91_000.0, 30_000.0),
            ],
            used: true,
            mute: (true, false),
        };
        let turned = pair.turned();
        assert_eq!((turned.used, turned.mute), (true, (false, true)));
        for (old, new) in pair.stretches.iter().zip(&turned.stretches) {
            let ends = (old.line.map(old.from_ms), old.line.map(old.to_ms));
            assert_eq!((new.from_ms, new.to_ms), ends);
            assert!((new.line.map(ends.1) - old.to_ms).abs() < 1e-6);
            assert_eq!(new.fine.unwrap().gain_db, 6.0);
        }
        let back = turned.turned();
        for (old, new) in pair.stretches.iter().zip(&back.stretches) {
            assert!((old.to_ms - new.to_ms).abs() < 1e-6);
            assert!((old.line.ppm - new.line.ppm).abs() < 1e-9);
        }
    }
}
