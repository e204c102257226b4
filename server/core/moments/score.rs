//! Which hearing of a moment is put first?

use super::kinds::PlacedAs;
use crate::quality::{Facts, Modulation};

/// Ratios above this hardly help, dB.
const ENOUGH_DB: f32 = 20.0;
/// What a copy has that is too short to tell: as a voice nearby.
const USUAL: Modulation = Modulation {
    all: 0.25,
    words: 0.25,
};
/// Below this level the rounding of 16-bit samples comes near, dBFS.
const FAINT_DBFS: f32 = -60.0;

/// What weighs how much, in dB of signal-to-noise ratio that would be as good.
struct Weights {
    clarity: f32,
    modulation: f32,
    modulation_words: f32,
    snr: f32,
    /// For each dB above [`ENOUGH_DB`].
    beyond: f32,
    ringing: f32,
    torn: f32,
    missed: f32,
    cut_off: f32,
    placed: f32,
}

/// Where copies were compared: chosen by STOI on random events with faults put in
/// (`cargo xtask bench sources`).
const COMPARED: Weights = Weights {
    clarity: 30.0,
    modulation: 25.0,
    modulation_words: 15.0,
    snr: 0.6,
    beyond: 0.0,
    ringing: 25.0,
    torn: 100.0,
    missed: 12.0,
    cut_off: 15.0,
    placed: 0.1,
};

/// For a copy by itself: by judgement.
const ALONE: Weights = Weights {
    clarity: 0.0,
    modulation: 0.0,
    modulation_words: 0.0,
    snr: 1.0,
    beyond: 0.25,
    ringing: 20.0,
    torn: 60.0,
    missed: 12.0,
    cut_off: 60.0,
    placed: 1.0,
};

/// The score, in dB of signal-to-noise ratio that would be as good.
pub(super) fn score(facts: &Facts, placed: PlacedAs) -> f32 {
    let weights = match facts.clarity {
        Some(_) => COMPARED,
        None => ALONE,
    };
    let snr = if facts.snr_db.is_finite() {
        facts.snr_db
    } else {
        -30.0
    };
    let ratio = weights.snr * snr.min(ENOUGH_DB) + weights.beyond * (snr - ENOUGH_DB).max(0.0);
    let number = |value: f32| if value.is_finite() { value } else { 0.0 };
    // Alone, what can't be told costs nothing.
    let told = facts.clarity.is_some() || facts.reverb_s > 0.0;
    let ringing = if told { facts.ringing() } else { 0.0 };
    let torn = facts.measures.map_or(0.0, |m| m.silent);
    let modulation = facts.measures.and_then(|m| m.modulation).unwrap_or(USUAL);
    weights.clarity * facts.clarity.map_or(0.0, number)
        + weights.modulation * number(modulation.all)
        + weights.modulation_words * number(modulation.words)
        + ratio
        + weights.placed * prior_db(placed)
        - weights.cut_off * facts.cut_off()
        - weights.ringing * number(ringing)
        - weights.torn * number(torn)
        - weights.missed * (1.0 - number(facts.covered)).clamp(0.0, 1.0)
        - (FAINT_DBFS - number(facts.level_dbfs)).clamp(0.0, 20.0)
}

/// What a placement is worth where the measures say the same, dB: a desk has no
/// room in it, a camera's microphone is far and moved.
fn prior_db(placed: PlacedAs) -> f32 {
    match placed {
        PlacedAs::Feed => 2.0,
        PlacedAs::Worn => 1.0,
        PlacedAs::Stand => 0.0,
        PlacedAs::Ambient => -1.0,
        PlacedAs::Camera => -2.0,
    }
}

/// What is said of where a recorder was put.
pub(super) fn place(placed: PlacedAs) -> Option<&'static str> {
    match placed {
        PlacedAs::Feed => Some("from the desk"),
        PlacedAs::Worn => Some("worn"),
        PlacedAs::Camera => Some("a camera's microphone"),
        PlacedAs::Stand | PlacedAs::Ambient => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: Facts = Facts {
        heard: true,
        level_dbfs: -25.0,
        snr_db: 25.0,
        clipped: 0.0,
        reverb_s: 0.18,
        covered: 1.0,
        measures: None,
        clarity: None,
    };

    #[test]
    fn each_fault_costs() {
        let changes: [fn(&mut Facts); 6] = [
            |facts| facts.snr_db = 15.0,
            |facts| facts.clipped = 0.1,
            |facts| facts.reverb_s = 0.5,
            |facts| facts.covered = 0.5,
            |facts| facts.level_dbfs = -75.0,
            |facts| facts.snr_db = f32::NAN,
        ];
        for clarity in [None, Some(0.9)] {
            let good = Facts { clarity, ..GOOD };
            let best = score(&good, PlacedAs::Worn);
            for change in changes {
                let mut worse = good;
                change(&mut worse);
                assert!(score(&worse, PlacedAs::Worn) < best - 1.0, "{worse:?}");
            }
            assert!(score(&good, PlacedAs::Camera) < best);
        }
        let of = |clarity| {
            let facts = Facts {
                clarity: Some(clarity),
                ..GOOD
            };
            score(&facts, PlacedAs::Stand)
        };
        assert!(of(0.9) > of(0.8) + 2.0 && of(f32::NAN) < of(0.1));
    }
}
