//! How long is a pass, how much of it counts, and where does the next one begin?
//!
//! In frames of 10 ms and tokens, by the library's own rules where it has some. Pure.

use std::ffi::c_int;

/// The library's frame, in ms.
pub(super) const FRAME_MS: c_int = 10;
/// Frames of a time mark.
pub(super) const MARK_FRAMES: c_int = 2;
/// Most tokens of a pass, time marks among them, and of the words before it: each
/// takes 0.5 MB where many are decoded at once. Fast talk has some 4 a second; a
/// pass that goes round in circles would fill 220. What is cut off goes on from its
/// last mark.
pub(super) const MOST_TOKENS: c_int = 140;
/// The same of a short pass: so many, and so many more a second.
const LEAST_TOKENS: c_int = 16;
const TOKENS_A_SECOND: c_int = 8;

/// Places of the encoder, least of them beyond the sound, and what they are a
/// multiple of, which its arithmetic likes.
const MOST_PLACES: c_int = 1_500;
const SPARE_PLACES: c_int = 64;
const PLACES_STEP: c_int = 64;

/// How many tokens so many frames may hold.
pub(super) fn most_tokens(frames: c_int) -> c_int {
    let seconds = frames.clamp(0, 3_000) * FRAME_MS / 1_000 + 1;
    (LEAST_TOKENS + seconds * TOKENS_A_SECOND).min(MOST_TOKENS)
}

/// What counts of the tokens of a pass, to its last time mark, and where the next
/// begins in frames after it; none if the pass ended with the sound. `closing` is
/// the token at the end of the pass's last phrase.
///
/// A pair of marks says that more is said after it, and so does a mark with no word
/// before it. A mark at the end of the sound ends the pass, and so is not `noted`.
pub(super) fn passed(
    noted: Vec<c_int>,
    closing: Option<c_int>,
    zero: c_int,
) -> (Vec<c_int>, Option<c_int>) {
    let mut tokens = noted;
    let mark = |token: &c_int| *token > zero;
    let last = tokens.iter().copied().rfind(mark);
    tokens.extend(closing.filter(mark).filter(|_| closing != last));
    let last = tokens.iter().rposition(mark);
    tokens.truncate(last.map_or(0, |last| last + 1));
    let next = match tokens[..] {
        [.., before, _] if before < zero => None,
        [.., last] => Some((last - zero) * MARK_FRAMES),
        [] => None,
    };
    (tokens, next)
}

/// How much sound the encoder is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoder {
    /// 30 s whatever there is, as the model was taught.
    Whole,
    /// What there is and some silence: faster by as much, and a little less right.
    Cut,
}

/// Places of the encoder for so many frames, which are two a place, and some more; 0
/// for all it has.
pub(super) fn places(frames: c_int) -> c_int {
    let least = frames.clamp(0, 3_000) / 2 + SPARE_PLACES;
    let places = (least + PLACES_STEP - 1) / PLACES_STEP * PLACES_STEP;
    if places < MOST_PLACES { places } else { 0 }
}

/// The probability of one of some logits (softmax); not a number if there is none.
pub(super) fn share(logits: &[f32], of: usize) -> f32 {
    let most = logits.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let sum: f32 = logits.iter().map(|logit| (logit - most).exp()).sum();
    logits
        .get(of)
        .map_or(f32::NAN, |logit| (logit - most).exp() / sum)
}

/// The probability of the likeliest of some logits among them (softmax); not a number
/// of none.
pub(super) fn likeliest(logits: &[f32]) -> f32 {
    let most = |best: usize, n: usize| if logits[n] > logits[best] { n } else { best };
    share(logits, (0..logits.len()).fold(0, most))
}

#[cfg(test)]
mod tests {
    use super::{MOST_TOKENS, c_int, likeliest, most_tokens, passed, places, share};

    /// Number of the first time mark.
    const ZERO: i32 = 1_000;

    #[test]
    fn a_pass_may_hold_fast_talk_and_no_more() {
        assert_eq!(most_tokens(100), 32);
        assert_eq!(most_tokens(3_000), MOST_TOKENS);
        assert_eq!(most_tokens(c_int::MAX), MOST_TOKENS);
        assert_eq!(most_tokens(-1), 24);
    }

    #[test]
    fn a_short_sound_takes_few_places() {
        assert_eq!(places(0), 64);
        // 5 s are 250 places.
        assert_eq!(places(500), 320);
        assert_eq!(places(2_700), 1_472);
        assert_eq!(places(3_000), 0);
    }

    #[test]
    fn a_share_is_of_all_there_are() {
        let logits = [1.0, 1.0 + 3.0_f32.ln(), f32::NEG_INFINITY];
        assert!((share(&logits, 0) - 0.25).abs() < 1e-6);
        assert_eq!(share(&logits, 2), 0.0);
        assert!(share(&logits, 3).is_nan() && share(&[], 0).is_nan());
        assert!((likeliest(&logits) - 0.75).abs() < 1e-6 && likeliest(&[]).is_nan());
    }

    #[test]
    fn a_pair_of_marks_leaves_a_rest() {
        for (tokens, kept, next) in [
            // Two marks and what was said after them: heard again from there.
            (vec![1_000, 7, 8, 1_200, 1_200, 9], 5, Some(400)),
            (vec![1_000, 7, 8, 1_200, 1_200], 5, Some(400)),
            // One mark at the end, or none: nothing is said after it.
            (vec![1_000, 7, 8, 1_200], 4, None),
            (vec![1_000, 7, 8], 0, None),
            (vec![], 0, None),
            // Only the first mark counts, where speech begins: heard from there.
            (vec![1_010, 7, 8], 1, Some(20)),
        ] {
            let before = tokens.clone();
            let closing = tokens[..kept].last().copied();
            let (left, found) = passed(tokens, closing, ZERO);
            assert_eq!((&left[..], found), (&before[..kept], next));
        }
    }

    #[test]
    fn what_stands_before_the_mark_that_ends_the_sound_is_not_heard_again() {
        let noted = vec![1_000, 7, 1_200, 1_200, 9];
        let (left, next) = passed(noted.clone(), Some(1_450), ZERO);
        assert_eq!(left, [&noted[..], &[1_450]].concat());
        assert_eq!(next, None);
        assert_eq!(passed(vec![1_000, 7], Some(1_450), ZERO).1, None);
        // Words after a pair that no mark closes are not in a phrase yet.
        assert_eq!(passed(noted, Some(1_200), ZERO).1, Some(400));
    }
}
