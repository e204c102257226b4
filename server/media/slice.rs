//! A stretch of a recording as a WAV file to play or keep.
//!
//! Native rate, 16 bit, its length known before the first byte. No gain and
//! no dither: what is above full scale is clamped, nothing is made louder.

use std::io::{self, Read};
use std::path::Path;

use sayback_core::signal::pcm;
use sayback_core::units::FileMs;

use super::ChannelPick;
use super::analysis::check_pick;
use super::error::MediaError;
use super::reader::Reader;

/// Bytes before the samples of a plain 16-bit WAV file.
const HEADER_BYTES: usize = 44;
/// Frames converted at once.
const BLOCK_FRAMES: usize = 4096;

/// A stretch of a recording, read as the bytes of a WAV file.
pub struct Slice {
    reader: Reader,
    pick: Option<ChannelPick>,
    channels: u16,
    frames: u64,
    made: u64,
    buffer: Vec<u8>,
    buffer_at: usize,
    native: Vec<f32>,
    mono: Vec<f32>,
}

impl Slice {
    /// The stretch `[start, end)` of a file, cut to what the file has; all
    /// channels when `pick` is not given.
    ///
    /// # Errors
    /// As [`Reader::open`]; [`MediaError::NoSuchChannel`];
    /// [`MediaError::TooLong`] when it would not fit a WAV file (4 GiB).
    pub fn open(
        path: &Path,
        pick: Option<ChannelPick>,
        start: FileMs,
        end: FileMs,
    ) -> Result<Self, MediaError> {
        let mut reader = Reader::open(path)?;
        if let Some(pick) = pick {
            check_pick(&reader, pick)?;
        }
        let info = reader.info();
        let from = start.to_sample(info.rate_hz).min(info.frames);
        let to = end.to_sample(info.rate_hz).clamp(from, info.frames);
        let channels = if pick.is_some() { 1 } else { info.channels };
        let frames = to - from;
        let header = header(info.rate_hz, channels, frames).ok_or_else(|| MediaError::TooLong {
            file: reader.shown(),
            asked_ms: end.0.saturating_sub(start.0),
            limit_ms: FileMs::from_sample(
                u64::from(u32::MAX) / (2 * u64::from(channels.max(1))),
                info.rate_hz,
            )
            .0,
        })?;
        reader.seek(from)?;
        Ok(Self {
            reader,
            pick,
            channels,
            frames,
            made: 0,
            buffer: header,
            buffer_at: 0,
            native: Vec::new(),
            mono: Vec::new(),
        })
    }

    /// Bytes this gives in all, header included.
    #[must_use]
    pub fn byte_len(&self) -> u64 {
        HEADER_BYTES as u64 + self.frames * u64::from(self.channels) * 2
    }

    fn refill(&mut self) -> Result<(), MediaError> {
        self.buffer.clear();
        self.buffer_at = 0;
        let wanted =
            BLOCK_FRAMES.min(usize::try_from(self.frames - self.made).unwrap_or(usize::MAX));
        let frames = self.reader.read(&mut self.native, wanted)?;
        let channels = usize::from(self.reader.info().channels);
        self.mono.clear();
        let samples = match self.pick {
            None => &self.native,
            Some(ChannelPick::Mix) => {
                pcm::mix(&self.native, channels, &mut self.mono);
                &self.mono
            }
            Some(ChannelPick::Only(n)) => {
                pcm::pick(&self.native, channels, usize::from(n) - 1, &mut self.mono);
                &self.mono
            }
        };
        pcm::to_i16_bytes(samples, &mut self.buffer);
        if frames == 0 {
            // The length was promised; a file that ends early ends in silence.
            self.buffer
                .resize(wanted * usize::from(self.channels) * 2, 0);
            self.made += wanted as u64;
        }
        self.made += frames as u64;
        Ok(())
    }
}

impl Read for Slice {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.buffer_at == self.buffer.len() && self.made < self.frames {
            self.refill().map_err(io::Error::other)?;
        }
        let n = out.len().min(self.buffer.len() - self.buffer_at);
        out[..n].copy_from_slice(&self.buffer[self.buffer_at..self.buffer_at + n]);
        self.buffer_at += n;
        Ok(n)
    }
}

/// The header of a 16-bit WAV file; nothing if it would not fit its fields.
fn header(rate_hz: u32, channels: u16, frames: u64) -> Option<Vec<u8>> {
    let block_align = channels.checked_mul(2)?;
    let data = u32::try_from(frames.checked_mul(u64::from(block_align))?).ok()?;
    let mut bytes = Vec::with_capacity(HEADER_BYTES);
    bytes.extend_from_slice(b"RIFF");
    bytes.extend_from_slice(&data.checked_add(36)?.to_le_bytes());
    bytes.extend_from_slice(b"WAVEfmt ");
    bytes.extend_from_slice(&16_u32.to_le_bytes());
    bytes.extend_from_slice(&1_u16.to_le_bytes());
    bytes.extend_from_slice(&channels.to_le_bytes());
    bytes.extend_from_slice(&rate_hz.to_le_bytes());
    bytes.extend_from_slice(&rate_hz.checked_mul(u32::from(block_align))?.to_le_bytes());
    bytes.extend_from_slice(&block_align.to_le_bytes());
    bytes.extend_from_slice(&16_u16.to_le_bytes());
    bytes.extend_from_slice(b"data");
    bytes.extend_from_slice(&data.to_le_bytes());
    Some(bytes)
}
