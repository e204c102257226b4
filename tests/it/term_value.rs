//! How good is a search by the terms it finds, those it misses and its false alarms?
//!
//! Term-weighted value: NIST, 'The Spoken Term Detection (STD) 2006 Evaluation Plan',
//! version 10, sections 3 and 4. For each term
//!
//! ```text
//! P_miss = 1 - N_correct / N_true      P_FA = N_spurious / (T_speech - N_true)
//! TWV    = 1 - mean over terms of (P_miss + 999.9 * P_FA)
//! ```
//!
//! with `T_speech` in seconds (a trial a second) and 999.9 = 0.1 * (1 / 10^-4 - 1).
//! ATWV is the value at the decisions of the search, MTWV that at the best threshold of
//! its scores. A detection is right when its middle lies within half a second of the
//! reference; each detection answers one reference and each reference one detection.

/// The plan's beta.
pub const BETA: f64 = 999.9;

/// How far a detection's middle may lie from the reference, ms.
pub const GRACE_MS: i64 = 500;

/// Somewhere in the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Which recording or event.
    pub event: usize,
    pub start_ms: i64,
    pub end_ms: i64,
}

/// What a search found for a term.
#[derive(Clone, Copy, Debug)]
pub struct Detection {
    pub at: Place,
    pub score: f64,
    /// Whether the search stands for it.
    #[allow(dead_code, reason = "the bench decides by it")]
    pub sure: bool,
}

/// A term: where it is said, and where it was found.
#[derive(Clone, Debug, Default)]
pub struct Term {
    pub said: Vec<Place>,
    pub found: Vec<Detection>,
}

/// A value and what it is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    pub twv: f64,
    /// Share of the references that were missed, mean over terms.
    pub missed: f64,
    pub alarms: usize,
}

/// The value of those detections that are kept.
pub fn value(terms: &[Term], speech_s: f64, keep: &dyn Fn(&Detection) -> bool) -> Value {
    let (mut cost, mut missed, mut alarms, mut counted) = (0.0, 0.0, 0, 0_usize);
    for term in terms.iter().filter(|term| !term.said.is_empty()) {
        let kept: Vec<&Detection> = term.found.iter().filter(|found| keep(found)).collect();
        let right = right(&term.said, &kept);
        let said = term.said.len() as f64;
        let spurious = kept.len() - right;
        let miss = 1.0 - right as f64 / said;
        cost += miss + BETA * spurious as f64 / (speech_s - said);
        missed += miss;
        alarms += spurious;
        counted += 1;
    }
    let terms = counted.max(1) as f64;
    Value {
        twv: 1.0 - cost / terms,
        missed: missed / terms,
        alarms,
    }
}

/// The best value over thresholds of the score, and that threshold.
pub fn best(terms: &[Term], speech_s: f64) -> (Value, f64) {
    let mut scores: Vec<f64> = terms
        .iter()
        .flat_map(|term| &term.found)
        .map(|found| found.score)
        .collect();
    scores.sort_by(f64::total_cmp);
    scores.dedup();
    scores.push(f64::INFINITY);
    let values = scores
        .into_iter()
        .map(|least| (value(terms, speech_s, &|found| found.score >= least), least));
    values
        .max_by(|a, b| a.0.twv.total_cmp(&b.0.twv))
        .expect("a threshold")
}

/// How many references have a detection of their own: the nearest by its middle.
fn right(said: &[Place], found: &[&Detection]) -> usize {
    let mut used = vec![false; found.len()];
    let mut right = 0;
    for place in said {
        let off = |found: &Detection| {
            let middle = found.at.start_ms.midpoint(found.at.end_ms);
            (place.start_ms - middle).max(middle - place.end_ms).max(0)
        };
        let nearest = (0..found.len())
            .filter(|&n| !used[n] && found[n].at.event == place.event)
            .filter(|&n| off(found[n]) <= GRACE_MS)
            .min_by_key(|&n| off(found[n]));
        if let Some(n) = nearest {
            used[n] = true;
            right += 1;
        }
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(start_ms: i64, end_ms: i64) -> Place {
        Place {
            event: 0,
            start_ms,
            end_ms,
        }
    }

    fn found(start_ms: i64, end_ms: i64, score: f64) -> Detection {
        Detection {
            at: at(start_ms, end_ms),
            score,
            sure: true,
        }
    }

    /// 1,000 s of speech. The first term is said twice, found once and once where it is
    /// not: 1/2 + 999.9 / 998 = 1.501904. The second is found where it is said: 0. So the
    /// value is 1 - 1.501904 / 2 = 0.249048, and without the alarm 1 - 1/4.
    #[test]
    fn the_value_is_that_of_an_example_by_hand() {
        let terms = [
            Term {
                said: vec![at(1_000, 1_400), at(60_000, 60_400)],
                found: vec![found(1_800, 1_950, 0.9), found(30_000, 30_400, 0.4)],
            },
            Term {
                said: vec![at(5_000, 5_600)],
                found: vec![found(5_000, 5_600, 0.8)],
            },
            // Never said: the plan leaves it out.
            Term {
                said: Vec::new(),
                found: vec![found(0, 1, 1.0)],
            },
        ];
        let all = value(&terms, 1_000.0, &|_| true);
        assert!((all.twv - 0.249_048).abs() < 1e-6, "{all:?}");
        assert_eq!((all.missed, all.alarms), (0.25, 1));
        let (best, least) = best(&terms, 1_000.0);
        assert!((best.twv - 0.75).abs() < 1e-12, "{best:?}");
        assert!((least - 0.8).abs() < 1e-12, "{least}");
    }

    #[test]
    fn a_detection_answers_once_and_near_by() {
        let said = vec![at(1_000, 1_400)];
        let counted = |found: Vec<Detection>| {
            let term = Term {
                said: said.clone(),
                found,
            };
            let value = value(&[term], 1_001.0, &|_| true);
            (value.missed, value.alarms)
        };
        // Middles 500 and 501 ms behind the end.
        assert_eq!(counted(vec![found(1_900, 1_900, 1.0)]), (0.0, 0));
        assert_eq!(counted(vec![found(1_901, 1_901, 1.0)]), (1.0, 1));
        let twice = vec![found(1_000, 1_400, 1.0), found(1_000, 1_400, 1.0)];
        assert_eq!(counted(twice), (0.0, 1));
        let mut elsewhere = found(1_000, 1_400, 1.0);
        elsewhere.at.event = 1;
        assert_eq!(counted(vec![elsewhere]), (1.0, 1));
    }

    #[test]
    fn silence_is_worth_nothing() {
        let terms = [Term {
            said: vec![at(0, 100)],
            found: Vec::new(),
        }];
        assert_eq!(value(&terms, 100.0, &|_| true).twv, 0.0);
    }
}
