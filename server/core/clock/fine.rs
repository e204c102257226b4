//! By how much is the same sound later in one stretch of samples than in another?

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::peak::top;
use crate::units::ANALYSIS_RATE_HZ;

/// Turned over, two stretches are so much more alike than as they are: rooms alone
/// give the deepest trough up to the height of the peak.
const INVERTED: f32 = 1.3;

/// The longest stretch that is looked at, samples: 4.096 s at 16 kHz.
pub const FINE_WINDOW: usize = 65_536;

/// Lags are looked for up to this far to either side, samples: 250 ms, more than
/// twice what the search leaves open.
const REACH: usize = 4_000;

/// The shortest stretch with enough sound in it, samples: half a second.
const SHORTEST: usize = 8_000;

/// Frequencies that count, Hz: rumble lies below; above, a room and the way through
/// the air leave little that two microphones share.
const BAND_HZ: (f64, f64) = (150.0, 4_000.0);

/// Bins the power spectra are smoothed over, to either side: 10 Hz in all.
const SMOOTH: usize = 20;

/// The lag between two stretches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FineLag {
    /// How much later the sound is in the second stretch, ms.
    pub lag_ms: f64,
    /// Height of the peak above the root mean square of the correlation over all
    /// lags looked at. Unrelated noise gives about 4; above 6 it is all but sure.
    pub clear: f32,
    /// The peak as a share of what two equal sounds would give, 0 to 1.
    pub alike: f32,
    /// Level of the second above the first in the band, dB.
    pub gain_db: f32,
    /// Whether one is the other turned over.
    pub inverted: bool,
}

/// A stretch made ready to be compared.
#[derive(Clone)]
pub struct FineSpectrum {
    bins: Vec<Complex<f32>>,
    /// Power smoothed over neighbouring bins, the band only.
    smooth: Vec<f32>,
    power: f64,
}

/// Compares stretches by the smoothed coherence transform: the cross spectrum
/// divided by the root of both power spectra, each smoothed (Carter, Nuttall and
/// Cable, *Proc. IEEE* 61(10), 1973). Beside PHAT (each bin divided by its own
/// magnitude; Knapp and Carter, *IEEE Trans. ASSP* 24(4), 1976) it gives noisy bins
/// between the partials of a voice less weight.
pub struct FineLags {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    samples: Vec<f32>,
    cross: Vec<Complex<f32>>,
    lags: Vec<f32>,
    scratch: Vec<Complex<f32>>,
}

impl FineLags {
    /// Plans the transforms.
    #[must_use]
    pub fn new() -> Self {
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(FINE_WINDOW);
        let inverse = planner.plan_fft_inverse(FINE_WINDOW);
        let longest = forward.get_scratch_len().max(inverse.get_scratch_len());
        Self {
            samples: forward.make_input_vec(),
            cross: inverse.make_input_vec(),
            lags: inverse.make_output_vec(),
            scratch: vec![Complex::default(); longest],
            forward,
            inverse,
        }
    }

    /// Makes up to [`FINE_WINDOW`] samples at 16 kHz ready; `None` for less than half
    /// a second, or silence. Samples that are not finite count as 0.
    pub fn spectrum(&mut self, stretch: &[f32]) -> Option<FineSpectrum> {
        let length = stretch.len().min(FINE_WINDOW);
        if length < SHORTEST {
            return None;
        }
        self.samples.fill(0.0);
        for (n, (to, &sample)) in self.samples.iter_mut().zip(stretch).enumerate() {
            let turn = (n as f32 + 0.5) / length as f32;
            let hann = 0.5 - 0.5 * (std::f32::consts::TAU * turn).cos();
            *to = if sample.is_finite() {
                sample.clamp(-1e3, 1e3) * hann
            } else {
                0.0
            };
        }
        let mut bins = self.forward.make_output_vec();
        let work = &mut self.scratch[..self.forward.get_scratch_len()];
        self.forward
            .process_with_scratch(&mut self.samples, &mut bins, work)
            .ok()?;
        let (low, high) = band();
        let sums: Vec<f64> = std::iter::once(0.0)
            .chain(
                bins[low - SMOOTH..high + SMOOTH]
                    .iter()
                    .scan(0.0, |sum, bin| {
                        *sum += f64::from(bin.norm_sqr());
                        Some(*sum)
                    }),
            )
            .collect();
        let width = 2 * SMOOTH + 1;
        let smooth = (0..high - low)
            .map(|n| {
                let to = (n + width).min(sums.len() - 1);
                ((sums[to] - sums[n]) / width as f64) as f32
            })
            .collect();
        let power = sums.last().copied().unwrap_or(0.0) / length as f64;
        (power > 1e-9).then_some(FineSpectrum {
            bins,
            smooth,
            power,
        })
    }

    /// The lag of `second` behind `first`.
    pub fn lag(&mut self, first: &FineSpectrum, second: &FineSpectrum) -> Option<FineLag> {
        self.cross.fill(Complex::default());
        let (low, high) = band();
        let mut whole = 0.0_f64;
        for n in low..high {
            let under = (first.smooth[n - low] * second.smooth[n - low]).sqrt();
            if under > 0.0 {
                let cross = second.bins[n] * first.bins[n].conj() / under;
                whole += f64::from(cross.norm());
                self.cross[n] = cross;
            }
        }
        let work = &mut self.scratch[..self.inverse.get_scratch_len()];
        self.inverse
            .process_with_scratch(&mut self.cross, &mut self.lags, work)
            .ok()?;
        // Lags from −REACH to REACH; negative ones stand at the end.
        let at = |lag: isize| {
            let n = if lag < 0 {
                lag + FINE_WINDOW as isize
            } else {
                lag
            };
            self.lags[n as usize]
        };
        let reach = REACH as isize;
        let all = || (-reach..=reach).map(|lag| (lag, at(lag)));
        let upright = all().max_by(|x, y| x.1.total_cmp(&y.1))?;
        let trough = all().min_by(|x, y| x.1.total_cmp(&y.1))?;
        let inverted = -trough.1 > INVERTED * upright.1;
        let (peak, sign) = if inverted {
            (trough.0, -1.0)
        } else {
            (upright.0, 1.0)
        };
        let height = sign * at(peak);
        let square: f64 = (-reach..=reach).map(|lag| f64::from(at(lag)).powi(2)).sum();
        let rms = (square / (2.0 * REACH as f64 + 1.0)).sqrt();
        if !(rms > 0.0 && whole > 0.0 && height > 0.0) {
            return None;
        }
        let (part, _) = top(sign * at(peak - 1), height, sign * at(peak + 1));
        let samples = peak as f64 + f64::from(part);
        Some(FineLag {
            lag_ms: samples * 1_000.0 / f64::from(ANALYSIS_RATE_HZ),
            clear: (f64::from(height) / rms) as f32,
            // The inverse transform sums each bin twice.
            alike: ((f64::from(height) / (2.0 * whole)) as f32).clamp(0.0, 1.0),
            gain_db: (10.0 * (second.power / first.power).log10()) as f32,
            inverted,
        })
    }
}

impl Default for FineLags {
    fn default() -> Self {
        Self::new()
    }
}

fn band() -> (usize, usize) {
    let bin = f64::from(ANALYSIS_RATE_HZ) / FINE_WINDOW as f64;
    ((BAND_HZ.0 / bin) as usize, (BAND_HZ.1 / bin) as usize)
}

/// `samples` as a recorder would have them whose clock runs by `ppm` slower, `count`
/// of them, starting at sample `from` (with fractions). By the cubic through four
/// samples (Catmull and Rom, 1974); behind the ends lies silence.
pub(super) fn stretched(samples: &[f32], from: f64, ppm: f64, count: usize) -> Vec<f32> {
    let step = 1.0 + ppm / 1e6;
    let get = |n: isize| {
        usize::try_from(n)
            .ok()
            .and_then(|n| samples.get(n))
            .copied()
            .unwrap_or(0.0)
    };
    (0..count)
        .map(|n| {
            let at = from + n as f64 * step;
            let whole = at.floor();
            let (x, n) = ((at - whole) as f32, whole as isize);
            let (a, b, c, d) = (get(n - 1), get(n), get(n + 1), get(n + 2));
            b + 0.5
                * x
                * (c - a + x * (2.0 * a - 5.0 * b + 4.0 * c - d + x * (3.0 * (b - c) + d - a)))
        })
        .collect()
}
