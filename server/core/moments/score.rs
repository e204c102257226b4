//! How good is a hearing, and why?

use super::kinds::PlacedAs;

/// What is known of a hearing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Evidence {
    pub level_dbfs: f32,
    pub snr_db: f32,
    pub clipped: f32,
    pub reverb: f32,
    /// Share of the speech that the detector found in this recording, 0 to 1.
    pub covered: f32,
}

/// Ratios above this hardly help the speech model, dB.
const ENOUGH_DB: f32 = 20.0;
/// What is gained per dB beyond.
const BEYOND: f32 = 0.25;
/// Ringing of a close microphone, s: below it nothing is lost.
const DRY_S: f32 = 0.2;
/// Lost for each further second of ring, dB.
const RING_DB: f32 = 20.0;
/// Lost if all samples were at flat tops, dB.
const CLIPPED_DB: f32 = 60.0;
/// Lost if none of the speech was found, dB.
const MISSED_DB: f32 = 12.0;
/// Below this level the rounding of 16-bit samples comes near, dBFS.
const FAINT_DBFS: f32 = -60.0;

/// The score, in dB of signal-to-noise ratio that would be as good.
pub(super) fn score(e: &Evidence, placed: PlacedAs) -> f32 {
    let snr = if e.snr_db.is_finite() {
        e.snr_db
    } else {
        -30.0
    };
    let ratio = snr.min(ENOUGH_DB) + BEYOND * (snr - ENOUGH_DB).max(0.0);
    let number = |value: f32| if value.is_finite() { value } else { 0.0 };
    ratio + prior_db(placed)
        - CLIPPED_DB * number(e.clipped)
        - RING_DB * (number(e.reverb) - DRY_S).max(0.0)
        - MISSED_DB * (1.0 - number(e.covered)).clamp(0.0, 1.0)
        - (FAINT_DBFS - number(e.level_dbfs)).clamp(0.0, 20.0)
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

/// The reasons, the weightiest first.
pub(super) fn why(e: &Evidence, placed: PlacedAs, heard: bool) -> Vec<String> {
    if !heard {
        return vec!["not above its own noise here".to_owned()];
    }
    let mut why = Vec::new();
    if e.snr_db >= 1.0 {
        why.push(format!("{:.0} dB above its noise", e.snr_db));
    } else {
        why.push("as loud as its noise or below".to_owned());
    }
    if e.clipped >= 0.005 {
        why.push(format!(
            "flat tops in {:.0} % of it",
            (100.0 * e.clipped).max(1.0)
        ));
    }
    if e.reverb >= 0.3 {
        why.push(format!("the room rings on ({:.1} s)", e.reverb));
    }
    if e.covered < 0.7 {
        why.push(format!("has {:.0} % of it clearly", 100.0 * e.covered));
    }
    if e.level_dbfs < FAINT_DBFS {
        why.push(format!("very faint ({:.0} dBFS)", e.level_dbfs));
    }
    match placed {
        PlacedAs::Feed => why.push("from the desk".to_owned()),
        PlacedAs::Worn => why.push("worn".to_owned()),
        PlacedAs::Camera => why.push("a camera's microphone".to_owned()),
        PlacedAs::Stand | PlacedAs::Ambient => {}
    }
    why
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: Evidence = Evidence {
        level_dbfs: -25.0,
        snr_db: 25.0,
        clipped: 0.0,
        reverb: 0.18,
        covered: 1.0,
    };

    #[test]
    fn each_fault_costs() {
        let best = score(&GOOD, PlacedAs::Worn);
        for worse in [
            Evidence {
                snr_db: 15.0,
                ..GOOD
            },
            Evidence {
                clipped: 0.05,
                ..GOOD
            },
            Evidence {
                reverb: 0.5,
                ..GOOD
            },
            Evidence {
                covered: 0.5,
                ..GOOD
            },
            Evidence {
                level_dbfs: -75.0,
                ..GOOD
            },
            Evidence {
                snr_db: f32::NAN,
                ..GOOD
            },
        ] {
            assert!(score(&worse, PlacedAs::Worn) < best - 2.0, "{worse:?}");
        }
        assert!(score(&GOOD, PlacedAs::Camera) < best);
    }

    #[test]
    fn reasons_are_said() {
        let bad = Evidence {
            snr_db: 7.2,
            clipped: 0.04,
            reverb: 0.62,
            covered: 0.4,
            level_dbfs: -64.0,
        };
        assert_eq!(
            why(&bad, PlacedAs::Camera, true),
            [
                "7 dB above its noise",
                "flat tops in 4 % of it",
                "the room rings on (0.6 s)",
                "has 40 % of it clearly",
                "very faint (-64 dBFS)",
                "a camera's microphone"
            ]
        );
        assert_eq!(why(&GOOD, PlacedAs::Stand, true), ["25 dB above its noise"]);
        assert_eq!(
            why(&GOOD, PlacedAs::Worn, false),
            ["not above its own noise here"]
        );
    }
}
