//! Where is a stretch of dry sound in a recording, by ear alone?
//!
//! Generalised cross-correlation (C. Knapp and G. Carter, 1976) by Fourier
//! transform: shares nothing with the way scenes are made, so that a
//! test can hold a scene's truth against it.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use sayback_core::units::ANALYSIS_RATE_HZ;

/// Points of the correlation per sample of the recording.
const FINE: usize = 4;
/// Frequencies used, in Hz: above rumble, below where dry lines end.
const BAND_HZ: (usize, usize) = (100, 7_000);
/// How far the fine search goes to either side, in seconds.
const NEAR_S: f64 = 0.0005;

/// Finds dry sound in recordings of one rate.
pub struct Ruler {
    rate: usize,
    dry: Arc<dyn RealToComplex<f32>>,
    heard: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
}

impl Ruler {
    /// A ruler for recordings at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: u32) -> Self {
        let rate = rate_hz as usize;
        let mut planner = RealFftPlanner::new();
        // One second each: bins lie 1 Hz apart in both.
        Self {
            rate,
            dry: planner.plan_fft_forward(ANALYSIS_RATE_HZ as usize),
            heard: planner.plan_fft_forward(rate),
            back: planner.plan_fft_inverse(rate * FINE),
        }
    }

    /// Seconds by which `dry` (16 kHz, half a second at most) comes late in
    /// `heard` (a second at most), by phase alone: finds it in a room too.
    /// None when they are longer, or there is no sound.
    #[must_use]
    pub fn lag_s(&self, dry: &[f32], heard: &[f32]) -> Option<f64> {
        let correlation = self.correlate(dry, heard, |product, share| match share {
            // Bins the voice leaves empty say nothing about it.
            ..0.01 => Complex::new(0.0, 0.0),
            _ => product / product.norm().max(f32::MIN_POSITIVE),
        })?;
        self.top(&correlation, 0..correlation.len())
    }

    /// The same within half a millisecond of `about_s`, by power: good to a
    /// few hundredths of a sample in clean sound, at the time of [`centre`].
    #[must_use]
    pub fn fine_lag_s(&self, dry: &[f32], heard: &[f32], about_s: f64) -> Option<f64> {
        let correlation = self.correlate(dry, heard, |product, _| product)?;
        let point = |seconds: f64| (seconds * (self.rate * FINE) as f64).max(0.0) as usize;
        let to = point(about_s + NEAR_S).min(correlation.len());
        self.top(&correlation, point(about_s - NEAR_S)..to)
    }

    fn correlate(
        &self,
        dry: &[f32],
        heard: &[f32],
        weigh: impl Fn(Complex<f32>, f32) -> Complex<f32>,
    ) -> Option<Vec<f32>> {
        if dry.len() > ANALYSIS_RATE_HZ as usize / 2 {
            return None;
        }
        let (said, heard) = (spectrum(&*self.dry, dry)?, spectrum(&*self.heard, heard)?);
        let loudest = said.iter().map(|x| x.norm()).fold(0.0_f32, f32::max);
        let mut cross = self.back.make_input_vec();
        for hertz in BAND_HZ.0..BAND_HZ.1.min(self.rate / 2) {
            let product = heard[hertz] * said[hertz].conj();
            cross[hertz] = weigh(product, said[hertz].norm() / loudest);
        }
        let mut correlation = self.back.make_output_vec();
        self.back
            .process(&mut cross, &mut correlation)
            .ok()
            .map(|()| correlation)
    }

    /// Where the correlation is highest, in seconds: the top of the parabola
    /// through the highest point and its neighbours.
    fn top(&self, correlation: &[f32], among: std::ops::Range<usize>) -> Option<f64> {
        let points = correlation.len();
        let top = among.max_by(|&a, &b| correlation[a].total_cmp(&correlation[b]))?;
        let at = |n: usize| f64::from(correlation[n % points]);
        let (left, middle, right) = (at(top + points - 1), at(top), at(top + 1));
        let bend = left - 2.0 * middle + right;
        let shift = if bend < 0.0 {
            0.5 * (left - right) / bend
        } else {
            0.0
        };
        (middle > 0.0).then(|| (top as f64 + shift) / points as f64)
    }
}

fn spectrum(transform: &dyn RealToComplex<f32>, samples: &[f32]) -> Option<Vec<Complex<f32>>> {
    let mut input = transform.make_input_vec();
    input.get_mut(..samples.len())?.copy_from_slice(samples);
    let mut output = transform.make_output_vec();
    transform.process(&mut input, &mut output).ok()?;
    Some(output)
}

/// The mean time of `samples` as a correlation weighs it (by the power of
/// their slope), in samples from the first.
#[must_use]
pub fn centre(samples: &[f32]) -> f64 {
    let (mut moment, mut energy) = (0.0, 0.0);
    for (n, pair) in samples.windows(2).enumerate() {
        let power = f64::from(pair[1] - pair[0]).powi(2);
        moment += (n as f64 + 0.5) * power;
        energy += power;
    }
    if energy > 0.0 { moment / energy } else { 0.0 }
}

/// The line through `points` that misses them least: (value at 0, slope).
#[must_use]
pub fn line(points: &[(f64, f64)]) -> (f64, f64) {
    let count = points.len().max(1) as f64;
    let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / count;
    let (mean_x, mean_y) = (mean(|p| p.0), mean(|p| p.1));
    let spread: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
    let shared: f64 = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum();
    let slope = if spread > 0.0 { shared / spread } else { 0.0 };
    (mean_y - slope * mean_x, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A burst written down from its formula at two rates and a known delay.
    #[test]
    fn a_known_delay_is_measured() {
        let burst = |seconds: f64| -> f32 {
            let chirp = 2_000.0 * seconds + 4_000.0 * seconds * seconds;
            let window = (-((seconds - 0.2) / 0.06).powi(2)).exp();
            (window * (std::f64::consts::TAU * chirp).sin()) as f32
        };
        let dry: Vec<f32> = (0..6_400).map(|n| burst(f64::from(n) / 16_000.0)).collect();
        for (rate, delay_s) in [
            (48_000_u32, 0.123_456_7),
            (44_100, 0.301),
            (16_000, 0.001_01),
        ] {
            let heard: Vec<f32> = (0..rate)
                .map(|n| burst(f64::from(n) / f64::from(rate) - delay_s))
                .collect();
            let ruler = Ruler::new(rate);
            let lag = ruler.lag_s(&dry, &heard).unwrap_or(f64::NAN);
            let fine = ruler
                .fine_lag_s(&dry, &heard, delay_s + 0.0002)
                .unwrap_or(f64::NAN);
            // A twentieth of a sample at 48 kHz.
            assert!(
                (lag - delay_s).abs() < 1e-6,
                "{rate} Hz: {lag} for {delay_s}"
            );
            assert!(
                (fine - delay_s).abs() < 1e-6,
                "{rate} Hz: {fine} for {delay_s}"
            );
        }
    }
}
