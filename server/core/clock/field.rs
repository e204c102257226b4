//! Where in a recording does a block of sound fit, among all places at once?

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::prepared::{Moves, Prepared};
use super::track::TRACK_BANDS;

/// The longest block, frames: 2 min, over which clocks 250 ppm apart move by less
/// than one frame.
pub(super) const MAX_BLOCK: usize = 3_000;

/// Frames of one transform of a long recording.
const SIZE: usize = 16_384;

/// Real and imaginary parts by themselves: products of them go four at a time.
#[derive(Default)]
struct Spectra {
    re: Vec<f32>,
    im: Vec<f32>,
}

impl Spectra {
    /// Sum over bands of the conjugates of these times others.
    fn conjugate_times(&self, re: &[f32], im: &[f32], bins: usize) -> Self {
        let (mut sum_re, mut sum_im) = (vec![0.0; bins], vec![0.0; bins]);
        for from in (0..self.re.len()).step_by(bins) {
            let to = from + bins;
            let (a_re, a_im) = (&self.re[from..to], &self.im[from..to]);
            let (b_re, b_im) = (&re[from..to], &im[from..to]);
            for n in 0..bins {
                sum_re[n] += a_re[n] * b_re[n] + a_im[n] * b_im[n];
                sum_im[n] += a_re[n] * b_im[n] - a_im[n] * b_re[n];
            }
        }
        Self {
            re: sum_re,
            im: sum_im,
        }
    }
}

/// A recording made ready for blocks to be looked up in it: the transforms of
/// each band, part by part.
pub(super) struct Field<'a> {
    prepared: &'a Prepared,
    size: usize,
    /// Places each part answers for.
    step: usize,
    /// `[part][band][bin]`.
    spectra: Spectra,
    /// What [`Field::sizes`] said last, and of which length.
    sizes: (usize, Vec<f32>),
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
}

impl<'a> Field<'a> {
    pub(super) fn new(prepared: &'a Prepared, planner: &mut RealFftPlanner<f32>) -> Self {
        let frames = prepared.frames();
        let (size, step) = if frames <= SIZE {
            let size = frames.next_power_of_two().max(64);
            (size, size)
        } else {
            (SIZE, SIZE - MAX_BLOCK + 1)
        };
        let mut field = Self {
            prepared,
            size,
            step,
            spectra: Spectra::default(),
            sizes: (0, Vec::new()),
            forward: planner.plan_fft_forward(size),
            back: planner.plan_fft_inverse(size),
        };
        let mut start = 0;
        while start == 0 || start < frames {
            let end = (start + size).min(frames);
            let part = field.spectra_of(&prepared.moves[start.min(end)..end]);
            field.spectra.re.extend(part.re);
            field.spectra.im.extend(part.im);
            start += step;
        }
        field
    }

    /// Size of the movements of `length` frames from each place on; of quiet places
    /// not much less than that of the mean place.
    pub(super) fn sizes(&mut self, length: usize) -> &[f32] {
        if self.sizes.0 != length {
            let there = self.prepared;
            let share = length as f32 / there.frames() as f32;
            let least = 0.2 * there.energy(0, there.frames()) * share + 1.0;
            let places = (there.frames() + 1).saturating_sub(length);
            let size = |place| (there.energy(place, length) + least).sqrt();
            self.sizes = (length, (0..places).map(size).collect());
        }
        &self.sizes.1
    }

    /// Transforms of each band of some frames, `[band][bin]`.
    fn spectra_of(&self, frames: &[Moves]) -> Spectra {
        let mut spectra = Spectra::default();
        let mut spectrum = self.forward.make_output_vec();
        let mut input = self.forward.make_input_vec();
        let mut scratch = self.forward.make_scratch_vec();
        for band in 0..TRACK_BANDS {
            input.fill(0.0);
            for (to, frame) in input.iter_mut().zip(frames) {
                *to = f32::from(frame[band]);
            }
            // The buffers come from the plan, so their lengths are right.
            let done = self
                .forward
                .process_with_scratch(&mut input, &mut spectrum, &mut scratch);
            debug_assert!(done.is_ok());
            spectra.re.extend(spectrum.iter().map(|bin| bin.re));
            spectra.im.extend(spectrum.iter().map(|bin| bin.im));
        }
        spectra
    }

    /// Sum over bands and frames of the products of a block with this recording,
    /// for the block's first frame at each place where all of it lies inside;
    /// empty if it is longer than the recording or than [`MAX_BLOCK`].
    pub(super) fn products(&self, block: &[Moves]) -> Vec<f32> {
        let frames = self.prepared.frames();
        if block.is_empty() || block.len() > frames.min(MAX_BLOCK) {
            return Vec::new();
        }
        let places = frames - block.len() + 1;
        let bins = self.size / 2 + 1;
        let wanted = self.spectra_of(block);
        let mut sum = self.back.make_input_vec();
        let mut output = self.back.make_output_vec();
        let mut scratch = self.back.make_scratch_vec();
        let scale = 1.0 / self.size as f32;
        let mut products = Vec::with_capacity(places + self.step);
        let part = TRACK_BANDS * bins;
        let parts = self.spectra.re.chunks_exact(part);
        for (re, im) in parts.zip(self.spectra.im.chunks_exact(part)) {
            if products.len() >= places {
                break;
            }
            let product = wanted.conjugate_times(re, im, bins);
            for (sum, (re, im)) in sum.iter_mut().zip(product.re.iter().zip(&product.im)) {
                *sum = Complex::new(*re, *im);
            }
            // Real by definition; rounding must not say otherwise.
            sum[0].im = 0.0;
            sum[bins - 1].im = 0.0;
            let done = self
                .back
                .process_with_scratch(&mut sum, &mut output, &mut scratch);
            debug_assert!(done.is_ok());
            products.extend(output[..self.step].iter().map(|x| x * scale));
        }
        products.truncate(places);
        products
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::Chance;

    fn noise(frames: usize, seed: u64) -> Vec<Moves> {
        let mut chance = Chance::new(seed);
        (0..frames)
            .map(|_| std::array::from_fn(|_| (chance.even() * 61.0) as i8 - 30))
            .collect()
    }

    #[test]
    fn products_are_the_direct_sums() {
        // One part, the border of one part, several; blocks short and long.
        for (frames, length) in [(90, 30), (90, 90), (16_384, 500), (31_000, 3_000)] {
            let there = Prepared::of(noise(frames, 1));
            let block = noise(length, 2);
            let field = Field::new(&there, &mut RealFftPlanner::new());
            let products = field.products(&block);
            assert_eq!(products.len(), frames - length + 1);
            let size: f32 = block
                .as_flattened()
                .iter()
                .map(|&m| f32::from(m).powi(2))
                .sum();
            for place in (0..products.len()).step_by(37).chain([products.len() - 1]) {
                let direct: i64 = block
                    .as_flattened()
                    .iter()
                    .zip(there.moves[place..].as_flattened())
                    .map(|(a, b)| i64::from(*a) * i64::from(*b))
                    .sum();
                // 24 bits, less the 14 stages of the transform.
                let off = (products[place] - direct as f32).abs();
                assert!(off < 1e-4 * size, "{off} at {place} of {frames}");
            }
        }
    }

    #[test]
    fn blocks_that_do_not_fit_have_no_place() {
        let there = Prepared::of(noise(40, 1));
        let field = Field::new(&there, &mut RealFftPlanner::new());
        assert!(field.products(&noise(41, 2)).is_empty());
        assert!(field.products(&[]).is_empty());
        let empty = Prepared::of(Vec::new());
        let field = Field::new(&empty, &mut RealFftPlanner::new());
        assert!(field.products(&noise(1, 2)).is_empty());
    }
}
