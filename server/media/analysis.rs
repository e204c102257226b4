//! Any recording as 16 kHz mono, the one form the detector and the speech
//! model work on.

use std::path::Path;

use sayback_core::signal::pcm;
use sayback_core::units::{ANALYSIS_RATE_HZ, FileMs};

use super::ChannelPick;
use super::error::MediaError;
use super::reader::{Info, Reader};
use super::resample::Resampler;

/// Frames read at once where no resampler asks for a size.
const PLAIN_BLOCK: usize = 4096;

/// Longest stretch [`read_analysis`] returns, in ms.
pub const READ_LIMIT_MS: i64 = 60_000;

/// 16 kHz mono samples of a recording. Sample `n` is the sound at `n` / 16 ms
/// of the file, however it was reached; memory does not depend on the length.
pub struct AnalysisStream {
    reader: Reader,
    pick: ChannelPick,
    resampler: Option<Resampler>,
    native: Vec<f32>,
    block: Vec<f32>,
    ready: Vec<f32>,
    ready_at: usize,
    skip: usize,
    position: u64,
    end: u64,
}

impl AnalysisStream {
    /// Opens a recording for analysis.
    ///
    /// # Errors
    /// As [`Reader::open`]; [`MediaError::NoSuchChannel`].
    pub fn open(path: &Path, pick: ChannelPick) -> Result<Self, MediaError> {
        let reader = Reader::open(path)?;
        check_pick(&reader, pick)?;
        let resampler =
            Resampler::new(reader.info().rate_hz).map_err(|error| MediaError::Unsupported {
                file: reader.shown(),
                reason: error.to_string(),
            })?;
        let end = analysis_len(reader.info().frames, reader.info().rate_hz);
        let skip = resampler.as_ref().map_or(0, Resampler::delay);
        Ok(Self {
            reader,
            pick,
            resampler,
            native: Vec::new(),
            block: Vec::new(),
            ready: Vec::new(),
            ready_at: 0,
            skip,
            position: 0,
            end,
        })
    }

    /// Fills `out` from the front and returns how many samples were written;
    /// fewer than asked for only at the end.
    ///
    /// # Errors
    /// [`MediaError::Read`] or [`MediaError::Damaged`].
    pub fn read(&mut self, out: &mut [f32]) -> Result<usize, MediaError> {
        self.read_and_tell(out, &mut |_| {})
    }

    /// As [`Self::read`]; `tell` gets what is decoded on the way, at the file's own rate:
    /// the picked channel, or all of them, interleaved, where they are mixed.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_and_tell(
        &mut self,
        out: &mut [f32],
        tell: &mut dyn FnMut(&[f32]),
    ) -> Result<usize, MediaError> {
        let mut filled = 0;
        while filled < out.len() && self.position < self.end {
            if self.ready_at == self.ready.len() {
                self.refill(tell)?;
                continue;
            }
            let left = usize::try_from(self.end - self.position).unwrap_or(usize::MAX);
            let n = (out.len() - filled)
                .min(self.ready.len() - self.ready_at)
                .min(left);
            out[filled..filled + n].copy_from_slice(&self.ready[self.ready_at..self.ready_at + n]);
            self.ready_at += n;
            self.position += n as u64;
            filled += n;
        }
        Ok(filled)
    }

    /// The next read starts at `to`; past the end means the end.
    ///
    /// # Errors
    /// [`MediaError::Read`] or [`MediaError::Damaged`].
    pub fn seek(&mut self, to: FileMs) -> Result<(), MediaError> {
        let target = to.to_sample(ANALYSIS_RATE_HZ).min(self.end);
        self.ready.clear();
        self.ready_at = 0;
        self.position = target;
        match &mut self.resampler {
            None => self.reader.seek(target),
            Some(resampler) => {
                let raw = target + resampler.delay() as u64;
                let (input, output) = (resampler.input_block(), resampler.output_block());
                // One block earlier: its tail overlaps the block wanted.
                let block = (raw / output as u64).saturating_sub(1);
                resampler.reset();
                self.skip = (raw - block * output as u64) as usize;
                self.reader.seek(block * input as u64)
            }
        }
    }

    /// The samples of `[start, end)`; shorter where the file ends. The next
    /// read goes on from there.
    ///
    /// # Errors
    /// [`MediaError::TooLong`] past [`READ_LIMIT_MS`]; as [`Self::read`].
    pub fn span(&mut self, start: FileMs, end: FileMs) -> Result<Vec<f32>, MediaError> {
        let start = FileMs(start.0.max(0));
        let asked_ms = end.0.saturating_sub(start.0).max(0);
        if asked_ms > READ_LIMIT_MS {
            return Err(MediaError::TooLong {
                file: self.reader.shown(),
                asked_ms,
                limit_ms: READ_LIMIT_MS,
            });
        }
        self.seek(start)?;
        let mut samples = vec![0.0; FileMs(asked_ms).to_sample(ANALYSIS_RATE_HZ) as usize];
        let filled = self.read(&mut samples)?;
        samples.truncate(filled);
        Ok(samples)
    }

    /// Length of the recording in ms, as far as its headers say.
    #[must_use]
    pub fn duration_ms(&self) -> i64 {
        self.reader.info().duration_ms()
    }

    /// How many channels [`Self::read_and_tell`] tells of.
    #[must_use]
    pub fn told_channels(&self) -> u16 {
        match self.pick {
            ChannelPick::Mix => self.reader.info().channels,
            ChannelPick::Only(_) => 1,
        }
    }

    /// What the file holds.
    #[must_use]
    pub fn info(&self) -> &Info {
        self.reader.info()
    }

    /// Problems met so far, in words.
    #[must_use]
    pub fn warnings(&self) -> Vec<String> {
        self.reader.warnings()
    }

    fn refill(&mut self, tell: &mut dyn FnMut(&[f32])) -> Result<(), MediaError> {
        self.ready.clear();
        self.ready_at = 0;
        self.block.clear();
        let wanted = self
            .resampler
            .as_ref()
            .map_or(PLAIN_BLOCK, Resampler::input_block);
        while self.block.len() < wanted {
            let frames = self
                .reader
                .read(&mut self.native, wanted - self.block.len())?;
            if frames == 0 {
                self.stop_at(self.reader.position());
                break;
            }
            let channels = usize::from(self.reader.info().channels);
            match self.pick {
                ChannelPick::Mix => {
                    tell(&self.native);
                    pcm::mix(&self.native, channels, &mut self.block);
                }
                ChannelPick::Only(n) => {
                    let before = self.block.len();
                    pcm::pick(&self.native, channels, usize::from(n) - 1, &mut self.block);
                    tell(&self.block[before..]);
                }
            }
        }
        match &mut self.resampler {
            None => std::mem::swap(&mut self.ready, &mut self.block),
            Some(resampler) => {
                self.block.resize(wanted, 0.0);
                resampler.push(&self.block, &mut self.ready);
                self.ready_at = self.skip.min(self.ready.len());
                self.skip -= self.ready_at;
            }
        }
        Ok(())
    }

    /// The sound ended at `frame`, perhaps earlier than the headers said.
    fn stop_at(&mut self, frame: u64) {
        self.end = self
            .end
            .min(analysis_len(frame, self.reader.info().rate_hz));
    }
}

/// Samples at the analysis rate that `frames` at `rate_hz` make.
fn analysis_len(frames: u64, rate_hz: u32) -> u64 {
    let exact = u128::from(frames) * u128::from(ANALYSIS_RATE_HZ);
    u64::try_from(exact.div_ceil(u128::from(rate_hz.max(1)))).unwrap_or(u64::MAX)
}

/// Refuses a channel the file does not have.
pub(super) fn check_pick(reader: &Reader, pick: ChannelPick) -> Result<(), MediaError> {
    match pick {
        ChannelPick::Only(channel) if channel == 0 || channel > reader.info().channels => {
            Err(MediaError::NoSuchChannel {
                file: reader.shown(),
                channel,
                channels: reader.info().channels,
            })
        }
        _ => Ok(()),
    }
}

/// The samples of `[start, end)` at 16 kHz mono; shorter where the file ends.
///
/// # Errors
/// [`MediaError::TooLong`] past [`READ_LIMIT_MS`]; as [`AnalysisStream`].
pub fn read_analysis(
    path: &Path,
    pick: ChannelPick,
    start: FileMs,
    end: FileMs,
) -> Result<Vec<f32>, MediaError> {
    AnalysisStream::open(path, pick)?.span(start, end)
}
