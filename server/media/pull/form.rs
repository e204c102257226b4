//! How are the samples of a pull stored, and how do they get there?

use serde::Serialize;

use super::super::error::{MediaError, ShownPath};
use super::super::riff::{Format, tag};
use super::super::stored::Stored;

/// The sample format of a pull. A manifest has of its bits those that count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Form {
    /// IEEE float; integers otherwise.
    pub float: bool,
    /// Bits each sample takes: 8, 16, 24, 32 or 64.
    #[serde(skip)]
    pub bits: u16,
    /// Bits of it that count, at its upper end.
    #[serde(rename = "bits")]
    pub valid_bits: u16,
    /// Channels, at least 1.
    pub channels: u16,
    /// Samples a second of each channel.
    pub rate_hz: u32,
    /// Which loudspeaker each channel is for, where the original says so.
    #[serde(skip)]
    pub(super) channel_mask: Option<u32>,
}

impl Form {
    /// The same as a WAV file's; `one` of its channels only.
    pub(super) fn of_wav(format: &Format, one: bool) -> Self {
        // A single channel out of several has no loudspeaker any more; the
        // longer header then only stays where bits are left over.
        let whole_bits = format.valid_bits == format.bits;
        let channel_mask = match format.channel_mask {
            Some(_) if one && whole_bits => None,
            Some(_) if one => Some(0),
            mask => mask,
        };
        Self {
            float: format.tag == tag::FLOAT,
            bits: format.bits,
            valid_bits: format.valid_bits,
            channels: if one { 1 } else { format.channels },
            rate_hz: format.rate_hz,
            channel_mask,
        }
    }

    /// For decoded samples: what was stored, or 32-bit float where that is no
    /// such thing as samples.
    pub(super) fn of_decoded(stored: Stored, channels: u16, rate_hz: u32) -> Self {
        let (float, valid_bits) = match stored {
            Stored::Integer(bits) => (false, bits),
            Stored::Float(bits) => (true, bits),
            Stored::Lossy(_) => (true, 32),
        };
        let bits = valid_bits.div_ceil(8) * 8;
        Self {
            float,
            bits,
            valid_bits,
            channels,
            rate_hz,
            channel_mask: (bits != valid_bits).then_some(0),
        }
    }

    /// Bytes of one sample of every channel.
    #[must_use]
    pub fn frame_bytes(&self) -> u64 {
        u64::from(self.bits / 8) * u64::from(self.channels)
    }

    /// Appends decoded samples (full scale 1.0) as this format has them.
    ///
    /// # Errors
    /// [`MediaError::Damaged`] when an integer would have to be rounded: the
    /// file says fewer bits than it holds.
    pub(super) fn encode(
        &self,
        samples: &[f64],
        out: &mut Vec<u8>,
        file: &ShownPath,
    ) -> Result<(), MediaError> {
        match (self.float, self.bits) {
            (true, 64) => samples
                .iter()
                .for_each(|sample| out.extend_from_slice(&sample.to_le_bytes())),
            (true, _) => samples
                .iter()
                .for_each(|sample| out.extend_from_slice(&(*sample as f32).to_le_bytes())),
            (false, bits) => {
                let full = 2_f64.powi(i32::from(self.valid_bits) - 1);
                for sample in samples {
                    let whole = sample * full;
                    // Not a number is no integer either.
                    if whole.trunc() != whole || whole < -full || whole >= full {
                        return Err(MediaError::Damaged {
                            file: file.clone(),
                            reason: format!(
                                "it says {} bits a sample and holds finer ones",
                                self.valid_bits
                            ),
                        });
                    }
                    integer((whole as i32) << (bits - self.valid_bits), bits, out);
                }
            }
        }
        Ok(())
    }
}

/// An integer as WAV has it: 8 bits are unsigned, all others signed.
fn integer(value: i32, bits: u16, out: &mut Vec<u8>) {
    if bits == 8 {
        out.push((value + 128) as u8);
    } else {
        out.extend_from_slice(&value.to_le_bytes()[..usize::from(bits / 8)]);
    }
}
