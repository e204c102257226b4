//! What spoils a stretch of speech beside noise: flat tops, and the room?
//!
//! Both measures need nothing but what is kept of each 10 ms, so that they cost
//! next to nothing beside detection.

use crate::units::ANALYSIS_RATE_HZ;

use super::spectrum::HOP;

/// How high the samples of 10 ms reach.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Top {
    /// The highest magnitude.
    pub peak: f32,
    /// Samples within 2 dB of it.
    pub near: u16,
}

/// The same level 2 dB lower, as a factor.
const NEAR: f32 = 0.8;

/// Frames whose peak is within this of the highest count, as a factor: 2.5 dB.
/// Resampled flat tops ring by about as much.
const HIGH: f32 = 0.75;

/// What speech that is not clipped has, of all its samples: 99 of 100 lines of
/// four voices, worn, on the desk and across a room, have less.
const NATURAL: f32 = 0.036;

impl Top {
    /// Of the samples of a frame.
    #[must_use]
    pub fn of(samples: &[f32]) -> Self {
        let peak = samples.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
        let near = samples.iter().filter(|s| s.abs() >= NEAR * peak).count();
        Self {
            peak,
            near: u16::try_from(near).unwrap_or(u16::MAX),
        }
    }
}

/// Share of the samples at flat tops, 0 to 1, about; 0 when no more than in
/// speech that is not clipped.
///
/// Clipping piles up what would lie above one level at that level, wherever the
/// level is, and still does after resampling, which lets the tops ring by 2 dB.
/// So the samples near the top of the loudest frames are counted. Less than about
/// 2 % clipped can't be seen so, nor heard in the words.
#[must_use]
pub fn clipped(tops: &[Top]) -> f32 {
    let highest = tops.iter().fold(0.0_f32, |most, top| most.max(top.peak));
    let (mut near, mut all) = (0.0_f32, 0.0_f32);
    for top in tops {
        all += HOP as f32;
        if top.peak > 0.0 && top.peak >= HIGH * highest {
            near += f32::from(top.near);
        }
    }
    (near / all.max(1.0) - NATURAL).clamp(0.0, 1.0)
}

/// Frames over which a fall is taken: 60 ms, longer than the smoothing.
const FALL: usize = 6;

/// A fall counts when it begins so far above the noise, dB: it must not end in it.
const ABOVE_DB: f32 = 15.0;

/// Fewer falls say nothing.
const FEWEST: usize = 10;

/// Reverberance: the time sound takes to fall by 60 dB, by the fastest tenth of
/// the falls within a stretch of speech, s; 0 where noise leaves too few to tell.
///
/// A voice stops faster than a room: what limits the fastest falls is the room's
/// decay and how much of the sound comes by way of the walls (after Wen, Habets
/// and Naylor, 'Blind estimation of reverberation time based on the distribution
/// of signal decay rates', ICASSP 2008). At 0.2 m from the mouth it is 0.2 s in
/// any room; across a room it nears the room's own time.
#[must_use]
pub fn reverb(frames: &[(f32, f32)]) -> f32 {
    let level = |power: f32| 10.0 * power.max(1e-15).log10();
    let mut falls: Vec<f32> = frames
        .iter()
        .zip(frames.iter().skip(FALL))
        .filter(|((power, noise), _)| level(*power) > level(*noise) + ABOVE_DB)
        .map(|((before, _), (after, _))| level(*before) - level(*after))
        .filter(|fall| *fall > 0.0)
        .collect();
    if falls.len() < FEWEST {
        return 0.0;
    }
    falls.sort_unstable_by(f32::total_cmp);
    let fast = falls[falls.len() * 9 / 10];
    let seconds = (FALL * HOP) as f32 / ANALYSIS_RATE_HZ as f32;
    60.0 * seconds / fast.max(1e-3)
}

#[cfg(test)]
mod tests {
    use super::super::sounds;
    use super::*;

    fn share(samples: &[f32]) -> f32 {
        let tops: Vec<Top> = samples.chunks(HOP).map(Top::of).collect();
        clipped(&tops)
    }

    #[test]
    fn flat_tops_are_seen_at_any_level() {
        let voice: Vec<f32> = sounds::voice(3).take(10 * 16_000).collect();
        assert_eq!(share(&voice), 0.0);
        let mut magnitudes: Vec<f32> = voice.iter().map(|s| s.abs()).collect();
        magnitudes.sort_unstable_by(f32::total_cmp);
        for part in [90, 95] {
            let limit = magnitudes[magnitudes.len() * part / 100];
            for gain in [1.0, 0.1] {
                let flat: Vec<f32> = voice
                    .iter()
                    .map(|s| gain * s.clamp(-limit, limit))
                    .collect();
                let cut = 1.0 - part as f32 / 100.0;
                let seen = share(&flat);
                assert!(
                    seen > 0.5 * cut && seen < 3.0 * cut,
                    "{seen} for {cut} at {gain}"
                );
            }
        }
        assert_eq!(share(&[]), 0.0);
        assert_eq!(share(&[0.0; 1_600]), 0.0);
    }

    #[test]
    fn a_decay_is_measured_as_it_is() {
        // Bursts of 0.3 s that fall by 60 dB in so many seconds.
        for seconds in [0.3, 0.6, 1.2] {
            let frames: Vec<(f32, f32)> = (0..800)
                .map(|n| {
                    let after_s = (n % 100) as f32 * 0.01 - 0.3;
                    let fallen_db = 60.0 / seconds * after_s.max(0.0);
                    (10.0_f32.powf(-fallen_db / 10.0), 1e-7)
                })
                .collect();
            let measured = reverb(&frames);
            assert!(
                (measured / seconds - 1.0).abs() < 0.05,
                "{measured} for {seconds}"
            );
        }
        assert_eq!(reverb(&[]), 0.0);
        // In noise as loud there is nothing to tell.
        assert_eq!(reverb(&[(1.0, 1.0); 500]), 0.0);
    }
}
