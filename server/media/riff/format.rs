//! What does the format chunk say, and can it be true?

use super::{RiffProblem, damaged, u16_at, u32_at};

/// Most bits a sample can have.
const BITS_MAX: u16 = 64;

/// Format tags of `fmt ` that are read here (RFC 2361 and Microsoft's
/// multiple-channel paper).
pub mod tag {
    /// Integer PCM.
    pub const PCM: u16 = 0x0001;
    /// IEEE float.
    pub const FLOAT: u16 = 0x0003;
    /// The true tag is the start of a GUID further on.
    pub const EXTENSIBLE: u16 = 0xFFFE;
}

/// The last 14 bytes of every sub-format GUID that wraps an old tag.
const GUID_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];

/// What `fmt ` says, after checks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// The true tag: behind WAVE_FORMAT_EXTENSIBLE, the one in the GUID.
    pub tag: u16,
    /// Channels, at least 1.
    pub channels: u16,
    /// Frames a second, at least 1.
    pub rate_hz: u32,
    /// Bytes of one frame, at least 1.
    pub block_align: u16,
    /// Bits each sample takes in the file.
    pub bits: u16,
    /// Bits of it that count, at its upper end.
    pub valid_bits: u16,
    /// Which loudspeaker each channel is for; only an extensible format says.
    pub channel_mask: Option<u32>,
}

/// Checks and reads the body of a `fmt ` chunk.
pub(super) fn parse(bytes: &[u8], warnings: &mut Vec<String>) -> Result<Format, RiffProblem> {
    if bytes.len() < 16 {
        return damaged("its format chunk is too short");
    }
    let mut tag = u16_at(bytes, 0);
    let channels = u16_at(bytes, 2);
    let rate_hz = u32_at(bytes, 4);
    let mut block_align = u16_at(bytes, 12);
    let bits = u16_at(bytes, 14);
    let (mut valid_bits, mut channel_mask) = (bits, None);
    if tag == tag::EXTENSIBLE {
        if bytes.len() >= 40 && bytes[26..40] == GUID_TAIL {
            tag = u16_at(bytes, 24);
            valid_bits = Some(u16_at(bytes, 18))
                .filter(|valid| (1..=bits).contains(valid))
                .unwrap_or(bits);
            channel_mask = Some(u32_at(bytes, 20));
        } else if bytes.len() >= 40 {
            return damaged("its extensible format is of an unknown kind");
        } else {
            warnings.push("the extensible format chunk is cut short; taken as integer PCM".into());
            tag = tag::PCM;
        }
    }
    if channels == 0 || rate_hz == 0 {
        return damaged("its format chunk says 0 channels or 0 Hz");
    }
    if matches!(tag, tag::PCM | tag::FLOAT) {
        let Some(expected) = bits
            .div_ceil(8)
            .checked_mul(channels)
            .filter(|size| *size > 0 && bits <= BITS_MAX)
        else {
            return damaged("its format chunk says impossible sample sizes");
        };
        if block_align != expected {
            warnings.push(format!(
                "the frame size {block_align} does not fit; taken as {expected} bytes"
            ));
            block_align = expected;
        }
    }
    if block_align == 0 {
        return damaged("its format chunk says frames of 0 bytes");
    }
    Ok(Format {
        tag,
        channels,
        rate_hz,
        block_align,
        bits: bits.min(BITS_MAX).div_ceil(8) * 8,
        valid_bits: valid_bits.min(BITS_MAX),
        channel_mask,
    })
}
