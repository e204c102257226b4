//! Whose copy of one stretch of speech is the clearest?
//!
//! Noise, a room and music only ever add to the levels of a dry voice. So the lowest
//! that any recorder has in a band at an instant is the nearest to the dry voice that
//! can be had; how well the levels of each copy move with that, in short stretches, is
//! how clear it is. The comparison is that of STOI (C. H. Taal et al., IEEE TASLP 19(7),
//! 2011), which needs the dry voice itself, on coarser frames.

use super::heard::Frame;
use crate::clock::TRACK_BANDS;

/// Frames compared at once: 0.4 s, as STOI does, and how far apart they begin.
const STRETCH: usize = 10;
const STEP: usize = 2;
/// Levels so far below the loudest of their band count as that, dB.
const RANGE_DB: f32 = 25.0;
/// The voice is silent where no band of it comes nearer to its loudest, dB.
const SILENT_DB: f32 = -15.0;
/// A copy that is so much louder than the voice at an instant counts as that (STOI).
const CLIP: f64 = 1.0 + 5.623_413_251_903_491; // 15 dB
/// Below this level in all bands together a recorder was torn off, dBFS.
const TORN_DBFS: f32 = -95.0;

/// Band levels of one copy, dBFS, all copies at the same instants; `None` where a
/// recording has nothing.
pub type Copy = Vec<Option<Frame>>;

/// How clear each copy is, −1 to 1; those that are not `heard` are told but say nothing
/// of the voice. `None` where fewer than two are heard: there is nothing to compare.
#[must_use]
pub fn clarity(copies: &[(Copy, bool)]) -> Option<Vec<f32>> {
    let even: Vec<Vec<Option<Frame>>> = copies.iter().map(|(copy, _)| evened(copy)).collect();
    let heard = || {
        let both = even.iter().zip(copies);
        both.filter(|(copy, (_, heard))| *heard && copy.iter().any(Option::is_some))
    };
    if heard().count() < 2 {
        return None;
    }
    let length = even.iter().map(Vec::len).max().unwrap_or(0);
    let dry: Vec<Frame> = (0..length)
        .map(|n| {
            let frames = || heard().filter_map(|(copy, _)| *copy.get(n)?);
            std::array::from_fn(|band| {
                let lowest = frames().map(|frame| frame[band]).reduce(f32::min);
                lowest.unwrap_or(-RANGE_DB)
            })
        })
        .collect();
    Some(even.iter().map(|copy| alike(&dry, copy)).collect())
}

/// Each band with its loudest instant at 0 dB.
fn evened(copy: &[Option<Frame>]) -> Vec<Option<Frame>> {
    let torn = |frame: &Frame| frame.iter().sum::<f32>() / TRACK_BANDS as f32 <= TORN_DBFS;
    let kept: Vec<Option<Frame>> = copy
        .iter()
        .map(|frame| frame.filter(|frame| !torn(frame)))
        .collect();
    let loudest: Frame = std::array::from_fn(|band| {
        let levels = kept.iter().flatten().map(|frame| frame[band]);
        levels.fold(f32::NEG_INFINITY, f32::max)
    });
    let even = |frame: Frame| std::array::from_fn(|n| (frame[n] - loudest[n]).max(-RANGE_DB));
    kept.into_iter().map(|frame| frame.map(even)).collect()
}

/// Mean correlation of short stretches, band by band.
fn alike(dry: &[Frame], copy: &[Option<Frame>]) -> f32 {
    let amplitude = |level: f32| 10.0_f64.powf(f64::from(level) / 20.0);
    let stretch = STRETCH.min(dry.len());
    if stretch < 2 {
        return 0.0;
    }
    // As STOI leaves out where the dry voice is silent.
    let speaks = |from: usize| {
        let levels = dry[from..from + stretch].iter().flatten();
        levels.fold(f32::NEG_INFINITY, |most, level| most.max(*level)) > SILENT_DB
    };
    let begins: Vec<usize> = (0..=dry.len() - stretch)
        .step_by(STEP)
        .filter(|from| speaks(*from))
        .collect();
    let (mut sum, mut count) = (0.0, 0_u32);
    for band in 0..TRACK_BANDS {
        let voice: Vec<f64> = dry.iter().map(|frame| amplitude(frame[band])).collect();
        let heard: Vec<f64> = (0..dry.len())
            .map(|n| copy.get(n).copied().flatten())
            .map(|frame| amplitude(frame.map_or(-RANGE_DB, |frame| frame[band])))
            .collect();
        for &from in &begins {
            sum += correlation(&voice[from..from + stretch], &heard[from..from + stretch]);
            count += 1;
        }
    }
    (sum / f64::from(count.max(1))) as f32
}

fn correlation(voice: &[f64], heard: &[f64]) -> f64 {
    let energy = |levels: &[f64]| levels.iter().map(|x| x * x).sum::<f64>();
    let gain = (energy(voice) / energy(heard).max(1e-12)).sqrt();
    let heard: Vec<f64> = heard
        .iter()
        .zip(voice)
        .map(|(heard, voice)| (gain * heard).min(CLIP * voice))
        .collect();
    let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len() as f64;
    let (a, b) = (mean(voice), mean(&heard));
    let (mut both, mut left, mut right) = (0.0, 0.0, 0.0);
    for (x, y) in voice.iter().zip(&heard) {
        both += (x - a) * (y - b);
        left += (x - a) * (x - a);
        right += (y - b) * (y - b);
    }
    both / ((left * right).sqrt() + 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A voice: bands that come and go by syllables.
    fn voice(frames: usize) -> Vec<Frame> {
        (0..frames)
            .map(|n| {
                std::array::from_fn(|band| {
                    let turn = n as f32 * (0.55 + 0.03 * band as f32);
                    -45.0 + 20.0 * turn.sin() - band as f32
                })
            })
            .collect()
    }

    fn added(level: f32, other: f32) -> f32 {
        10.0 * (10.0_f32.powf(level / 10.0) + 10.0_f32.powf(other / 10.0)).log10()
    }

    /// The voice at another gain, under noise.
    fn noisy(voice: &[Frame], gain: f32, noise: f32) -> Copy {
        let frame = |frame: &Frame| Some(frame.map(|level| added(level + gain, noise + gain)));
        voice.iter().map(frame).collect()
    }

    /// The voice with what rings on from the frames before.
    fn ringing(voice: &[Frame], fall_db: f32) -> Copy {
        let mut before = [-120.0_f32; TRACK_BANDS];
        let mut copy = Vec::new();
        for frame in voice {
            before = std::array::from_fn(|n| added(frame[n], before[n] - fall_db));
            copy.push(Some(before));
        }
        copy
    }

    #[test]
    fn noise_and_a_room_make_it_less_clear_and_gain_does_not() {
        let voice = voice(120);
        let copies = [
            (noisy(&voice, 0.0, -90.0), true),
            (noisy(&voice, 25.0, -90.0), true),
            (noisy(&voice, 5.0, -45.0), true),
            (noisy(&voice, 5.0, -35.0), true),
            (ringing(&voice, 1.5), true),
        ];
        let found = clarity(&copies).expect("several");
        assert!(
            found[0] > 0.99 && (found[0] - found[1]).abs() < 0.01,
            "{found:?}"
        );
        assert!(found[0] > found[2] && found[2] > found[3], "{found:?}");
        assert!(found[4] < 0.9, "{found:?}");
    }

    #[test]
    fn what_was_torn_says_nothing_of_the_voice() {
        let voice = voice(120);
        let whole = noisy(&voice, 0.0, -90.0);
        let mut torn = whole.clone();
        for frame in torn.iter_mut().skip(20).take(30) {
            *frame = Some([-120.0; TRACK_BANDS]);
        }
        let found = clarity(&[(whole, true), (torn, true)]).expect("two");
        assert!(found[0] > 0.99 && found[1] < 0.9, "{found:?}");
    }

    #[test]
    fn what_comes_after_the_voice_does_not_count() {
        let voice = voice(120);
        // A desk that hears the voice alone, and a lectern that hears the applause.
        let mut desk = noisy(&voice, 0.0, -90.0);
        let mut lectern = desk.clone();
        desk.extend(vec![Some([-90.0; TRACK_BANDS]); 120]);
        lectern.extend((0..120).map(|n| Some([-40.0 + (n % 3) as f32; TRACK_BANDS])));
        let found = clarity(&[(desk, true), (lectern, true)]).expect("two");
        assert!(found[0] > 0.95 && found[1] > 0.9, "{found:?}");
    }

    #[test]
    fn one_alone_is_compared_with_nothing() {
        let copy = noisy(&voice(50), 0.0, -60.0);
        assert_eq!(clarity(&[]), None);
        assert_eq!(clarity(&[(copy.clone(), true)]), None);
        assert_eq!(
            clarity(&[(copy.clone(), true), (copy.clone(), false)]),
            None
        );
        assert_eq!(clarity(&[(copy, true), (vec![None; 50], true)]), None);
    }

    proptest! {
        #[test]
        fn anything_has_a_clarity(
            copies in prop::collection::vec((
                prop::collection::vec(prop::option::of(prop::num::f32::ANY), 0..30),
                any::<bool>(),
            ), 0..5),
        ) {
            let copies: Vec<(Copy, bool)> = copies.into_iter().map(|(levels, heard)| {
                (levels.into_iter().map(|level| level.map(|level| [level; TRACK_BANDS])).collect(), heard)
            }).collect();
            if let Some(found) = clarity(&copies) {
                prop_assert_eq!(found.len(), copies.len());
            }
        }
    }
}
