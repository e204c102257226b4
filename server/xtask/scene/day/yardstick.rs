//! What does the plainest way to line up two recordings find, at what cost?
//!
//! One cross-correlation over the full length of both: level in dB every 10 ms,
//! mean taken away, one transform (realfft), the highest peak. No noise is
//! fought, no drift is followed, and it always says something.

use anyhow::{Context, Result};
use realfft::RealFftPlanner;
use sayback_core::units::ANALYSIS_RATE_HZ;

use super::render::Rendered;

/// Level frames a second.
const FRAMES_S: u64 = 100;

/// Level every 10 ms, dB, mean taken away.
///
/// # Errors
/// When the file can't be read.
pub fn levels(sound: &Rendered) -> Result<Vec<f32>> {
    let frame = u64::from(ANALYSIS_RATE_HZ) / FRAMES_S;
    let mut levels = Vec::new();
    let mut at = 0;
    while at + frame <= sound.samples() {
        let block = sound.read(at, at + frame * 6_000)?;
        at += block.len() as u64;
        let power = |frame: &[f32]| frame.iter().map(|x| x * x).sum::<f32>();
        let whole = block.chunks_exact(frame as usize);
        levels.extend(whole.map(|frame| 10.0 * (power(frame) + 1e-9).log10()));
    }
    let mean = levels.iter().sum::<f32>() / levels.len().max(1) as f32;
    levels.iter_mut().for_each(|level| *level -= mean);
    Ok(levels)
}

/// Seconds to add to a time in the first to come to the second.
///
/// # Errors
/// When there is no sound to compare.
pub fn offset_s(a: &[f32], b: &[f32]) -> Result<f64> {
    let length = (a.len() + b.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, back) = (
        planner.plan_fft_forward(length),
        planner.plan_fft_inverse(length),
    );
    let spectrum = |levels: &[f32]| {
        let mut padded = levels.to_vec();
        padded.resize(length, 0.0);
        let mut out = forward.make_output_vec();
        forward.process(&mut padded, &mut out).map(|()| out)
    };
    let mut product = spectrum(b)?;
    for (value, other) in product.iter_mut().zip(spectrum(a)?) {
        *value *= other.conj();
    }
    let mut correlation = back.make_output_vec();
    // Rounding leaves a trace of phase where there can be none.
    if let Some(first) = product.first_mut() {
        first.im = 0.0;
    }
    if let Some(last) = product.last_mut() {
        last.im = 0.0;
    }
    back.process(&mut product, &mut correlation)?;
    let (top, _) = correlation
        .iter()
        .enumerate()
        .max_by(|x, y| x.1.total_cmp(y.1))
        .context("no sound to compare")?;
    let lag = if top < b.len() {
        top as f64
    } else {
        top as f64 - length as f64
    };
    Ok(lag / FRAMES_S as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::random::Random;

    #[test]
    fn a_shift_is_found_either_way() {
        let mut random = Random::new(1, "levels");
        let sound: Vec<f32> = (0..5_000).map(|_| random.normal()).collect();
        let offset = |a: &[f32], b: &[f32]| offset_s(a, b).expect("an offset");
        assert!((offset(&sound[300..], &sound) - 3.0).abs() < 1e-9);
        assert!((offset(&sound, &sound[300..]) + 3.0).abs() < 1e-9);
    }
}
