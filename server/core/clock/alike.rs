//! Is this stretch of one recording the same sound as that one of another?

use super::looks::peak;
use super::prepared::moves;
use super::track::{FRAME_MS, TRACK_BANDS, Track};
use crate::units::FileMs;

/// Most that is searched to either side, ms.
const MOST_SLACK_MS: f64 = 10_000.0;

/// How alike two stretches of sound are: normalised correlation of the movements
/// of all bands, from −1 to 1, the best within `slack_ms` of where `b_from` says.
/// 0 where either has no sound.
///
/// Two microphones that hear the same voice give 0.4 to 0.95. Unrelated talk gives
/// a deviation of `0.065·√(100 s / length)` around 0 at a single lag: 0.12 for 30 s,
/// 0.21 for 10 s, 0.46 for 2 s; slack adds to it, because the best lag counts.
/// So ask about 5 s or more, with little slack, or smooth over several answers.
#[must_use]
pub fn alike(
    a: &Track,
    a_from: FileMs,
    a_to: FileMs,
    b: &Track,
    b_from: FileMs,
    slack_ms: f64,
) -> f32 {
    let frame = |ms: i64| (ms as f64 / FRAME_MS).floor() as i64;
    let inside = |n: i64| {
        usize::try_from(n.max(0))
            .unwrap_or(usize::MAX)
            .min(a.frames())
    };
    let (from, to) = (inside(frame(a_from.0)), inside(frame(a_to.0)));
    if from >= to {
        return 0.0;
    }
    // Where the first frame's start lies in the other recording.
    let start = b_from.0 as f64 - (a_from.0 as f64 - from as f64 * FRAME_MS);
    let slack = (slack_ms.clamp(0.0, MOST_SLACK_MS) / FRAME_MS).ceil() as i64 + 1;
    let first = (start / FRAME_MS).round() as i64 - slack;
    let here = moves(a, from, to);
    let end = first.saturating_add(2 * slack + here.len() as i64);
    let there = moves(
        b,
        usize::try_from(first).unwrap_or(0),
        usize::try_from(end).unwrap_or(0),
    );
    let fits: Vec<f32> = (0..=2 * slack)
        .map(|shift| {
            // Of the frames here, those whose counterpart exists.
            let skip = usize::try_from(-(first.saturating_add(shift))).unwrap_or(0);
            let skipped = usize::try_from(first.saturating_add(shift).max(0) - first.max(0));
            let here = here.get(skip..).unwrap_or_default();
            let there = there.get(skipped.unwrap_or(0)..).unwrap_or_default();
            correlation(here, there)
        })
        .collect();
    let best = (0..fits.len()).max_by(|&x, &y| fits[x].total_cmp(&fits[y]));
    best.map_or(0.0, |best| peak(&fits, best).1.clamp(-1.0, 1.0))
}

fn correlation(a: &[[i8; TRACK_BANDS]], b: &[[i8; TRACK_BANDS]]) -> f32 {
    let (mut product, mut mine, mut theirs) = (0_i64, 0_i64, 0_i64);
    for (x, y) in a.iter().zip(b) {
        for (x, y) in x.iter().zip(y) {
            let (x, y) = (i32::from(*x), i32::from(*y));
            product += i64::from(x * y);
            mine += i64::from(x * x);
            theirs += i64::from(y * y);
        }
    }
    if mine == 0 || theirs == 0 {
        return 0.0;
    }
    (product as f64 / (mine as f64 * theirs as f64).sqrt()) as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::{Recorder, talk};

    const A: Recorder = Recorder {
        start_s: 0.0,
        length_s: 400.0,
        ppm: 0.0,
        noise_db: -8.0,
    };
    const B: Recorder = Recorder {
        start_s: 41.31,
        length_s: 350.0,
        ppm: 20.0,
        noise_db: -3.0,
    };

    fn ms(seconds: f64) -> FileMs {
        FileMs((seconds * 1e3).round() as i64)
    }

    #[test]
    fn the_same_talk_is_alike_and_other_talk_is_not() {
        let sound = talk(400, 1);
        let (a, b) = (A.hears(&sound, 1), B.hears(&sound, 2));
        let other = B.hears(&talk(400, 3), 4);
        let (mut squares, mut count) = (0.0, 0.0);
        for n in 0..30 {
            let from = 50.0 + 10.0 * f64::from(n);
            let ask =
                |other, at: f64, slack| alike(&a, ms(from), ms(from + 10.0), other, ms(at), slack);
            let there = A.truth(&B, from);
            assert!(ask(&b, there, 40.0) > 0.6, "at {from}");
            assert!(ask(&b, there + 0.3, 400.0) > 0.6, "found within slack");
            let chance = ask(&other, there, 0.0);
            squares += chance * chance;
            count += 1.0;
        }
        // The chance level the documentation gives for 10 s.
        let deviation = (squares / count).sqrt();
        assert!(deviation < 0.21, "{deviation}");
    }

    #[test]
    fn stretches_outside_are_alike_to_nothing() {
        let sound = talk(400, 1);
        let (a, b) = (A.hears(&sound, 1), B.hears(&sound, 2));
        for (from, to, at) in [
            (500.0, 510.0, 0.0),
            (10.0, 10.0, 0.0),
            (10.0, 5.0, 0.0),
            (10.0, 20.0, 1e9),
            (10.0, 20.0, -1e9),
        ] {
            assert_eq!(alike(&a, ms(from), ms(to), &b, ms(at), 100.0), 0.0);
        }
        let extreme = [i64::MIN, -1, 0, i64::MAX];
        for from in extreme {
            for at in extreme {
                let r = alike(&a, FileMs(from), FileMs(3_000), &b, FileMs(at), f64::NAN);
                assert!((-1.0..=1.0).contains(&r));
            }
        }
        // The part that exists counts.
        let there = A.truth(&B, 38.0);
        assert!(alike(&a, ms(38.0), ms(58.0), &b, ms(there), 40.0) > 0.6);
    }
}
