//! The stretch of an original as the bytes of a WAV file's data chunk.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::Path;

use super::super::error::{MediaError, ShownPath};
use super::super::reader::{FrameSource, Info, Opened, open_file, read_head};
use super::super::stored::Stored;
use super::super::{bext, compressed, ixml, riff, wav};
use super::Made;
use super::form::Form;
use super::stamp::Origin;

/// Samples of all channels taken at once.
pub(super) const BLOCK_FRAMES: usize = 8 * 1024;

/// What lossy codecs are let run before the first frame wanted, in s: what they
/// decode there hangs on what they decoded before, Opus longest.
const RUN_UP_S: u64 = 2;

/// An original, ready to be read from one of its samples on.
pub(super) struct Source {
    pub info: Info,
    pub form: Form,
    pub made: Made,
    pub origin: Origin,
    file: ShownPath,
    /// Channel taken, from 0; all without.
    channel: Option<usize>,
    way: Way,
}

enum Way {
    /// The bytes of the file, from `start` on.
    Copied {
        handle: File,
        start: u64,
        raw: Vec<u8>,
    },
    Decoded {
        frames: Box<dyn FrameSource<f64>>,
        block: Vec<f64>,
        lossy: bool,
    },
}

impl Source {
    /// Opens the file; `channel` counts from 1.
    pub fn open(path: &Path, channel: Option<u16>) -> Result<Self, MediaError> {
        let file = ShownPath::new(path);
        let (mut handle, len) = open_file(path)?;
        let mut head = [0; 12];
        let head_len = read_head(&mut handle, &mut head).map_err(|cause| MediaError::Read {
            file: file.clone(),
            cause,
        })?;
        let opened = if !riff::is_wave(head.get(..head_len).unwrap_or_default()) {
            Self::decoded(&file, compressed::open(path, handle, len)?, channel)
        } else {
            Self::wav(&file, path, handle, len, channel)?
        };
        opened.checked(channel)
    }

    fn wav(
        file: &ShownPath,
        path: &Path,
        mut handle: File,
        len: u64,
        channel: Option<u16>,
    ) -> Result<Self, MediaError> {
        let layout = wav::layout(file, &mut handle, len)?;
        let origin = Origin::of(
            layout.bext.as_deref().map(|bytes| bext::read(bytes).0),
            layout.ixml.as_deref().map(|bytes| ixml::read(bytes).0),
            layout.ixml.is_some(),
            layout.format.rate_hz,
        );
        let Some(coding) = wav::coding(&layout.format) else {
            let opened = wav::other_codec(path, handle, len, &layout, Vec::new())?;
            let mut source = Self::decoded(file, opened, channel);
            source.origin = origin;
            return Ok(source);
        };
        Ok(Self {
            info: Info {
                container: layout.container.to_owned(),
                codec: coding.name().to_owned(),
                media_type: "audio/wav",
                rate_hz: layout.format.rate_hz,
                channels: layout.format.channels,
                bits: Some(layout.format.bits),
                frames: layout.data_len / u64::from(layout.format.block_align),
            },
            form: Form::of_wav(
                &layout.format,
                channel.is_some() && layout.format.channels > 1,
            ),
            made: Made::Copied,
            origin,
            file: file.clone(),
            channel: None,
            way: Way::Copied {
                handle,
                start: layout.data_start,
                raw: Vec::new(),
            },
        })
    }

    fn decoded(file: &ShownPath, opened: Opened<f64>, channel: Option<u16>) -> Self {
        let Opened {
            info,
            stored,
            source,
            ..
        } = opened;
        let channels = if channel.is_some() { 1 } else { info.channels };
        let lossy = match stored {
            Stored::Lossy(name) => Some(name),
            Stored::Integer(_) | Stored::Float(_) => None,
        };
        Self {
            form: Form::of_decoded(stored, channels, info.rate_hz),
            made: match lossy {
                Some(name) => Made::FromLossy(name.to_owned()),
                None => Made::Decoded(info.codec.clone()),
            },
            info,
            origin: Origin::default(),
            file: file.clone(),
            channel: None,
            way: Way::Decoded {
                frames: source,
                block: Vec::new(),
                lossy: lossy.is_some(),
            },
        }
    }

    /// Refuses what a recording cannot be, and a channel that is not there.
    fn checked(mut self, channel: Option<u16>) -> Result<Self, MediaError> {
        self.info = self.info.check(&self.file)?;
        if let Some(channel) = channel {
            let channels = self.info.channels;
            if channel == 0 || channel > channels {
                return Err(MediaError::NoSuchChannel {
                    file: self.file,
                    channel,
                    channels,
                });
            }
            self.channel = (channels > 1).then_some(usize::from(channel) - 1);
        }
        Ok(self)
    }

    /// The next read starts at `frame`, which lies inside the file.
    pub fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        let frame_bytes = self.original_frame_bytes();
        match &mut self.way {
            Way::Copied { handle, start, .. } => handle
                .seek(SeekFrom::Start(*start + frame * frame_bytes))
                .map(|_| ())
                .map_err(|cause| MediaError::Read {
                    file: self.file.clone(),
                    cause,
                }),
            Way::Decoded {
                frames,
                block,
                lossy,
            } => {
                let run_up = RUN_UP_S * u64::from(self.info.rate_hz) * u64::from(*lossy);
                let start = frame.saturating_sub(run_up);
                if start > 0 {
                    frames.seek(start)?;
                }
                let mut left = frame - start;
                while left > 0 {
                    block.clear();
                    let got = frames.read(block, left.min(BLOCK_FRAMES as u64) as usize)?;
                    if got == 0 {
                        return Err(ended(&self.file));
                    }
                    left = left.saturating_sub(got as u64);
                }
                Ok(())
            }
        }
    }

    fn original_frame_bytes(&self) -> u64 {
        u64::from(self.form.bits / 8) * u64::from(self.info.channels)
    }

    /// Appends the bytes of exactly `count` frames, at most [`BLOCK_FRAMES`].
    ///
    /// # Errors
    /// [`MediaError::Damaged`] where the file ends before, as after a read error
    /// that nobody reported: a pull is whole or is not.
    pub fn read(&mut self, out: &mut Vec<u8>, count: usize) -> Result<(), MediaError> {
        let frame_bytes = usize::try_from(self.original_frame_bytes()).unwrap_or(usize::MAX);
        match &mut self.way {
            Way::Copied { handle, raw, .. } => {
                raw.clear();
                let wanted = count.saturating_mul(frame_bytes);
                let read = handle.by_ref().take(wanted as u64).read_to_end(raw);
                read.map_err(|cause| MediaError::Read {
                    file: self.file.clone(),
                    cause,
                })?;
                if raw.len() < wanted {
                    return Err(ended(&self.file));
                }
                take(
                    raw,
                    frame_bytes,
                    usize::from(self.form.bits / 8),
                    self.channel,
                    out,
                );
                Ok(())
            }
            Way::Decoded {
                frames,
                block,
                lossy,
            } => {
                block.clear();
                let mut done = 0;
                while done < count {
                    let got = frames.read(block, count - done)?;
                    if got == 0 {
                        return Err(ended(&self.file));
                    }
                    done += got;
                }
                if let Some(channel) = self.channel {
                    let channels = usize::from(self.info.channels);
                    *block = block
                        .iter()
                        .skip(channel)
                        .step_by(channels)
                        .copied()
                        .collect();
                }
                if *lossy {
                    // As the reader does for everyone who listens.
                    block
                        .iter_mut()
                        .filter(|sample| !sample.is_finite())
                        .for_each(|sample| *sample = 0.0);
                }
                self.form.encode(block, out, &self.file)
            }
        }
    }

    /// The original, escaped for messages.
    pub fn shown(&self) -> ShownPath {
        self.file.clone()
    }

    /// What was wrong with the packets read.
    pub fn warnings(&self) -> Vec<String> {
        match &self.way {
            Way::Copied { .. } => Vec::new(),
            Way::Decoded { frames, .. } => frames.warnings(),
        }
    }
}

/// All of the frames, or one channel's sample of each.
fn take(raw: &[u8], frame_bytes: usize, bytes: usize, channel: Option<usize>, out: &mut Vec<u8>) {
    match channel {
        None => out.extend_from_slice(raw),
        Some(channel) => raw
            .chunks_exact(frame_bytes)
            .filter_map(|frame| frame.get(channel * bytes..(channel + 1) * bytes))
            .for_each(|sample| out.extend_from_slice(sample)),
    }
}

fn ended(file: &ShownPath) -> MediaError {
    MediaError::Damaged {
        file: file.clone(),
        reason: "it ends before the last sample asked for".into(),
    }
}
