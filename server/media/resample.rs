//! From any rate to the analysis rate, one mono block at a time, by rubato.
//!
//! Blocks are fixed on both sides, so block `n` of the output depends on
//! blocks `n - 1` and `n` of the input alone. That is what makes a seek give
//! the very samples that reading from the start gives.

use rubato::audioadapter_buffers::direct::SequentialSlice;
use rubato::{Fft, FixedSync, Resampler as _, ResamplerConstructionError, WindowFunction};
use sayback_core::units::ANALYSIS_RATE_HZ;

/// Smallest output block, in samples: at 1,024 the filter's edge is 0.95 of
/// the analysis rate's half, and the cost per sample is near its lowest.
const OUTPUT_BLOCK_MIN: usize = 1024;

/// A running conversion of one channel to [`ANALYSIS_RATE_HZ`].
pub struct Resampler {
    fft: Fft<f32>,
    input_block: usize,
    output_block: usize,
    scratch: Vec<f32>,
}

impl Resampler {
    /// A conversion from `rate_hz`; nothing when none is needed.
    ///
    /// # Errors
    /// What the library has against that rate.
    pub fn new(rate_hz: u32) -> Result<Option<Self>, ResamplerConstructionError> {
        if rate_hz == ANALYSIS_RATE_HZ || rate_hz == 0 {
            return Ok(None);
        }
        let (input, output) = (rate_hz as usize, ANALYSIS_RATE_HZ as usize);
        let common = common_divisor(input, output);
        // An even input block puts the filter's middle on a sample: a delay that
        // is a whole number is a delay that can be cut off exactly.
        let steps = OUTPUT_BLOCK_MIN
            .div_ceil(output / common)
            .next_multiple_of(2);
        let input_block = steps * (input / common);
        let output_block = steps * (output / common);
        let window = WindowFunction::BlackmanHarris2;
        let fft = Fft::new_custom(input, output, input_block, 1, 1, window, FixedSync::Both)?;
        let scratch = vec![0.0; output_block];
        Ok(Some(Self {
            fft,
            input_block,
            output_block,
            scratch,
        }))
    }

    /// Samples each call of [`Self::push`] takes.
    #[must_use]
    pub fn input_block(&self) -> usize {
        self.input_block
    }

    /// Samples each call of [`Self::push`] gives.
    #[must_use]
    pub fn output_block(&self) -> usize {
        self.output_block
    }

    /// Output samples before the one that belongs to the first input sample.
    #[must_use]
    pub fn delay(&self) -> usize {
        self.fft.output_delay()
    }

    /// Forgets all input.
    pub fn reset(&mut self) {
        self.fft.reset();
    }

    /// Converts exactly one input block, appending one output block to `out`.
    pub fn push(&mut self, block: &[f32], out: &mut Vec<f32>) {
        debug_assert_eq!(block.len(), self.input_block);
        let sizes = (self.input_block, self.output_block);
        let input = SequentialSlice::new(block, 1, sizes.0);
        let output = SequentialSlice::new_mut(&mut self.scratch, 1, sizes.1);
        // Both fit by construction; were that ever wrong, silence keeps time.
        let done = match (input, output) {
            (Ok(input), Ok(mut output)) => self
                .fft
                .process_into_buffer(&input, &mut output, None)
                .is_ok(),
            _ => false,
        };
        if !done {
            self.scratch.fill(0.0);
        }
        out.extend_from_slice(&self.scratch);
    }
}

fn common_divisor(mut a: usize, mut b: usize) -> usize {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}
