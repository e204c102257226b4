//! Which doubted moments are worth listening to a second time?

/// The model listens to at most so much for each ms of speech that is there once,
/// second tries included.
const MODEL_SHARE: f64 = 1.2;

/// A second try that could be made: at the next best hearing of a moment whose
/// words are doubted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondTry {
    /// How sure its words are on average, 0 to 1; `None` where there are none.
    pub sure: Option<f32>,
    /// How long that hearing is, ms.
    pub ms: i64,
}

/// Positions of the tries to be made, the least sure words first, those as sure in
/// the order given; what does not fit is passed over. `spent_ms` is what the model
/// listens to already, `speech_ms` the speech that is there once.
///
/// ```
/// use sayback_core::moments::{SecondTry, second_tries};
/// let tries = [(Some(0.45), 3_000), (Some(0.2), 9_000), (None, 4_000)];
/// let tries = tries.map(|(sure, ms)| SecondTry { sure, ms });
/// // A fifth of 40 s more; of 100 s all.
/// assert_eq!(second_tries(&tries, 40_000, 40_000), [2, 0]);
/// assert_eq!(second_tries(&tries, 100_000, 100_000), [2, 1, 0]);
/// ```
#[must_use]
pub fn second_tries(tries: &[SecondTry], spent_ms: i64, speech_ms: i64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..tries.len()).collect();
    // No words at all, or none of a certainty that is a number, is the least.
    let sure = |n: usize| {
        tries[n]
            .sure
            .filter(|sure| sure.is_finite())
            .unwrap_or(-1.0)
    };
    order.sort_by(|&x, &y| sure(x).total_cmp(&sure(y)));
    let mut left_ms = (MODEL_SHARE * speech_ms as f64) as i64 - spent_ms;
    order.retain(|&n| {
        let fits = tries[n].ms <= left_ms;
        left_ms -= if fits { tries[n].ms } else { 0 };
        fits
    });
    order
}
