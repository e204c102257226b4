//! Does the mains hum along?
//!
//! Lines at multiples of 50 or 60 Hz that stand out of what is beside them, in the last
//! second: its spectrum has a bin about each hertz. A voice crosses these frequencies and goes
//! on, hum stays: the caller looks at many seconds and takes a low share of them.

use std::collections::VecDeque;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// The mains of the world, Hz.
pub(super) const MAINS_HZ: [u32; 2] = [50, 60];

/// Lines are looked for up to here, Hz.
const HIGHEST_HZ: usize = 500;
/// The rate is brought down to about this, Hz: twice of what is looked at, twice over.
const RATE_HZ: f64 = 2_000.0;
/// A line is so many times the power beside it.
const STANDS_OUT: f32 = 8.0;

/// Watches one channel.
pub(super) struct Hum {
    plan: Arc<dyn RealToComplex<f32>>,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    power: Vec<f32>,
    /// Samples to one of the lower rate.
    step: usize,
    /// Sums of the last samples, twice over: a triangle, whose zeros lie where what
    /// would be taken for low frequencies comes from.
    last: VecDeque<f32>,
    sum: f64,
    sums: VecDeque<f64>,
    sum_of_sums: f64,
    waiting: usize,
    /// The last second at the lower rate.
    second: VecDeque<f32>,
    /// Hertz of a bin.
    bin_hz: f64,
}

impl Hum {
    /// For samples at this rate; `None` where the lines are not in them.
    pub fn new(rate_hz: u32) -> Option<Self> {
        let rate = f64::from(rate_hz);
        let step = (rate / RATE_HZ).round().max(1.0) as usize;
        let low_hz = rate / step as f64;
        // Also of slow recordings: the lines must lie below half the rate.
        (low_hz > 2.5 * HIGHEST_HZ as f64).then(|| {
            // About a second, of a length that transforms quickly.
            let window = (0.9 * low_hz) as usize;
            let window = window.next_power_of_two();
            let plan = RealFftPlanner::<f32>::new().plan_fft_forward(window);
            let turn = |n: usize| std::f32::consts::TAU * n as f32 / window as f32;
            Self {
                hann: (0..window).map(|n| 0.5 - 0.5 * turn(n).cos()).collect(),
                windowed: plan.make_input_vec(),
                bins: plan.make_output_vec(),
                scratch: plan.make_scratch_vec(),
                power: vec![0.0; window / 2 + 1],
                plan,
                step,
                last: VecDeque::from(vec![0.0; step]),
                sum: 0.0,
                sums: VecDeque::from(vec![0.0; step]),
                sum_of_sums: 0.0,
                waiting: step,
                second: VecDeque::with_capacity(window),
                bin_hz: low_hz / window as f64,
            }
        })
    }

    /// Takes the next samples.
    pub fn push(&mut self, samples: impl Iterator<Item = f32>) {
        let scale = 1.0 / (self.step * self.step) as f64;
        for sample in samples {
            self.sum += f64::from(sample) - f64::from(self.last.pop_front().unwrap_or(0.0));
            self.last.push_back(sample);
            self.sum_of_sums += self.sum - self.sums.pop_front().unwrap_or(0.0);
            self.sums.push_back(self.sum);
            self.waiting -= 1;
            if self.waiting == 0 {
                self.waiting = self.step;
                if self.second.len() == self.hann.len() {
                    self.second.pop_front();
                }
                self.second.push_back((self.sum_of_sums * scale) as f32);
            }
        }
    }

    /// Mean squares of the lines of each mains in the last second; 0 in the first.
    pub fn lines(&mut self) -> [f64; 2] {
        if self.second.len() < self.hann.len() {
            return [0.0; 2];
        }
        for ((to, sample), weight) in self.windowed.iter_mut().zip(&self.second).zip(&self.hann) {
            *to = sample * weight;
        }
        let done =
            self.plan
                .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        let window = self.hann.len() as f32;
        let scale = 2.0 / (0.375 * window * window);
        for (power, bin) in self.power.iter_mut().zip(&self.bins) {
            *power = scale * bin.norm_sqr();
        }
        MAINS_HZ.map(|mains| self.of_mains(mains as usize))
    }

    fn of_mains(&self, mains: usize) -> f64 {
        let lines: Vec<(usize, f64)> = (1..=HIGHEST_HZ / mains)
            .filter_map(|n| Some((n, self.line(n * mains)?)))
            .collect();
        // One line alone is a tone, unless it is the first or the second.
        let is_hum = lines.len() >= 2 || lines.iter().any(|(n, _)| *n <= 2);
        match is_hum {
            true => lines.iter().map(|(_, power)| power).sum(),
            false => 0.0,
        }
    }

    /// The power of a line, if there is one.
    fn line(&self, hz: usize) -> Option<f64> {
        let at = (hz as f64 / self.bin_hz).round() as usize;
        let own: f32 = self.power.get(at.checked_sub(1)?..=at + 1)?.iter().sum();
        // Not the foot of another line nearby.
        let near = self.power.get(at.checked_sub(4)?..=at + 4)?;
        if near.iter().any(|power| *power > own) {
            return None;
        }
        let below = self.power.get(at.checked_sub(14)?..at - 3)?;
        let above = self.power.get(at + 4..at + 15)?;
        let mut beside: Vec<f32> = below.iter().chain(above).copied().collect();
        beside.sort_by(f32::total_cmp);
        let usual = 3.0 * beside[beside.len() / 2];
        (own > STANDS_OUT * usual && own > 1e-12).then(|| f64::from(own - usual))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::sounds;

    /// Lines of the last row after some seconds, dB relative to full scale.
    fn told(rate_hz: u32, sound: impl Iterator<Item = f32>) -> [f64; 2] {
        let mut hum = Hum::new(rate_hz).expect("a rate");
        hum.push(sound.take(3 * rate_hz as usize));
        hum.lines().map(|power| 10.0 * power.max(1e-20).log10())
    }

    fn tone(rate_hz: u32, parts: &'static [(f64, f64)]) -> impl Iterator<Item = f32> {
        (0_u32..).map(move |n| {
            let at = f64::from(n) / f64::from(rate_hz);
            let wave = |(hz, peak): &(f64, f64)| peak * (std::f64::consts::TAU * hz * at).sin();
            parts.iter().map(wave).sum::<f64>() as f32
        })
    }

    #[test]
    fn each_mains_is_told_at_its_level_at_every_rate() {
        for rate_hz in [8_000, 11_025, 16_000, 44_100, 48_000, 96_000] {
            let fifty = told(rate_hz, tone(rate_hz, &[(50.0, 0.01), (150.0, 0.01)]));
            // Two sines of peak 0.01: -40 dB.
            assert!((fifty[0] + 40.0).abs() < 0.7, "{rate_hz} Hz: {fifty:?}");
            assert!(fifty[1] < -80.0, "{rate_hz} Hz: {fifty:?}");
            let sixty = told(rate_hz, tone(rate_hz, &[(60.0, 0.01), (180.0, 0.01)]));
            assert!((sixty[1] + 40.0).abs() < 0.7, "{rate_hz} Hz: {sixty:?}");
            assert!(sixty[0] < -80.0, "{rate_hz} Hz: {sixty:?}");
        }
        assert!(Hum::new(1_000).is_none());
    }

    #[test]
    fn what_is_no_hum_has_no_lines() {
        // Noise has a line now and then, of little power.
        let white = told(48_000, sounds::white(5));
        assert!(white.iter().all(|db| *db < -25.0), "{white:?}");
        for parts in [
            &[(137.0, 0.1)][..],
            &[(350.0, 0.1)],
            &[(53.0, 0.1), (106.0, 0.1), (159.0, 0.1)],
            &[(10_000.0, 0.5), (1_950.0, 0.1)],
        ] {
            let found = told(48_000, tone(48_000, parts));
            assert!(found.iter().all(|db| *db < -60.0), "{parts:?}: {found:?}");
        }
    }
}
