//! How do stored bytes become samples?
//!
//! Full scale is 1.0 (a little less on the positive side of integers), as in
//! every other decoder, so that results can be held against theirs bit by bit.
//! The loops over every sample of a day live here, where they are compiled
//! optimised.

/// A way samples are stored in a WAV file, all little-endian.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coding {
    /// 8-bit unsigned integer.
    U8,
    /// 16-bit integer.
    I16,
    /// 24-bit integer.
    I24,
    /// 32-bit integer.
    I32,
    /// 32-bit float.
    F32,
    /// 64-bit float.
    F64,
}

impl Coding {
    /// Bytes of one sample.
    #[must_use]
    pub fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::I16 => 2,
            Self::I24 => 3,
            Self::I32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    /// Name as shown to people.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::U8 => "PCM, 8-bit integer",
            Self::I16 => "PCM, 16-bit integer",
            Self::I24 => "PCM, 24-bit integer",
            Self::I32 => "PCM, 32-bit integer",
            Self::F32 => "PCM, 32-bit float",
            Self::F64 => "PCM, 64-bit float",
        }
    }

    /// Appends the samples in `bytes` to `out`; an incomplete last sample is
    /// left out.
    pub fn decode(self, bytes: &[u8], out: &mut Vec<f32>) {
        match self {
            Self::U8 => out.extend(bytes.iter().map(|byte| (f32::from(*byte) - 128.0) / 128.0)),
            Self::I16 => out.extend(
                bytes
                    .chunks_exact(2)
                    .map(|s| f32::from(i16::from_le_bytes([s[0], s[1]])) / 32_768.0),
            ),
            Self::I24 => out.extend(bytes.chunks_exact(3).map(|s| {
                // Into the upper three bytes, so that the sign comes along.
                (i32::from_le_bytes([0, s[0], s[1], s[2]]) >> 8) as f32 / 8_388_608.0
            })),
            Self::I32 => out.extend(
                bytes
                    .chunks_exact(4)
                    .map(|s| i32::from_le_bytes([s[0], s[1], s[2], s[3]]) as f32 / 2_147_483_648.0),
            ),
            Self::F32 => out.extend(
                bytes
                    .chunks_exact(4)
                    .map(|s| f32::from_le_bytes([s[0], s[1], s[2], s[3]])),
            ),
            Self::F64 => out.extend(bytes.chunks_exact(8).map(|s| {
                f64::from_le_bytes([s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7]]) as f32
            })),
        }
    }
}

/// One sample as a 16-bit integer: rounded, clamped at full scale, no dither
/// and no gain.
#[must_use]
pub fn to_i16(sample: f32) -> i16 {
    // `as` saturates, and a NaN becomes 0.
    (sample * 32_768.0).round() as i16
}

/// Appends samples as little-endian 16-bit integers, by [`to_i16`].
pub fn to_i16_bytes(samples: &[f32], out: &mut Vec<u8>) {
    out.extend(
        samples
            .iter()
            .flat_map(|sample| to_i16(*sample).to_le_bytes()),
    );
}

/// Replaces samples that are no number or infinite by 0; returns how many.
pub fn silence_non_finite(samples: &mut [f32]) -> u64 {
    let mut replaced = 0;
    for sample in samples {
        if !sample.is_finite() {
            *sample = 0.0;
            replaced += 1;
        }
    }
    replaced
}

/// Appends the mean of all channels of interleaved samples to `out`: nothing
/// that fits into full scale before can clip after.
pub fn mix(interleaved: &[f32], channels: usize, out: &mut Vec<f32>) {
    let share = 1.0 / channels.max(1) as f32;
    match channels {
        0 => {}
        1 => out.extend_from_slice(interleaved),
        2 => out.extend(
            interleaved
                .chunks_exact(2)
                .map(|pair| (pair[0] + pair[1]) * 0.5),
        ),
        _ => out.extend(
            interleaved
                .chunks_exact(channels)
                .map(|frame| frame.iter().sum::<f32>() * share),
        ),
    }
}

/// Appends one channel (from 0) of interleaved samples to `out`.
pub fn pick(interleaved: &[f32], channels: usize, channel: usize, out: &mut Vec<f32>) {
    if channel < channels {
        out.extend(
            interleaved
                .chunks_exact(channels)
                .map(|frame| frame[channel]),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(coding: Coding, bytes: &[u8]) -> f32 {
        let mut out = Vec::new();
        coding.decode(bytes, &mut out);
        out[0]
    }

    #[test]
    fn the_ends_of_every_scale() {
        assert_eq!(one(Coding::U8, &[0]), -1.0);
        assert_eq!(one(Coding::U8, &[255]), 127.0 / 128.0);
        assert_eq!(one(Coding::I16, &[0, 0x80]), -1.0);
        assert_eq!(one(Coding::I24, &[0, 0, 0x80]), -1.0);
        assert_eq!(
            one(Coding::I24, &[0xFF, 0xFF, 0x7F]),
            8_388_607.0 / 8_388_608.0
        );
        assert_eq!(one(Coding::I32, &[0, 0, 0, 0x80]), -1.0);
        assert_eq!(one(Coding::F64, &0.25_f64.to_le_bytes()), 0.25);
    }

    #[test]
    fn sixteen_bits_survive_the_way_there_and_back() {
        for value in i16::MIN..=i16::MAX {
            assert_eq!(to_i16(one(Coding::I16, &value.to_le_bytes())), value);
        }
        assert_eq!(
            (to_i16(2.0), to_i16(-2.0), to_i16(f32::NAN)),
            (i16::MAX, i16::MIN, 0)
        );
    }
}
