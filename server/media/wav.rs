//! WAV, RF64 and BW64 as a stream of frames.
//!
//! Our own [`riff`] reader checks every header. What it finds plain is decoded
//! by hound; hound 3.5 cannot read 64-bit float, 32-bit float with an extra
//! header field, sizes of 0 or 0xFFFFFFFF, RF64/BW64, files cut short, chunks
//! of odd length before the samples, and a format chunk after them, so those
//! are decoded beside it by arithmetic on `data`'s position.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use sayback_core::signal::pcm::Coding;

use super::error::{MediaError, ShownPath};
use super::packets::Wanted;
use super::reader::{FrameSource, Info, Opened};
use super::riff::{self, Format, Layout, RiffProblem, tag};
use super::stamps::Stamp;
use super::stored::Stored;
use super::{bext, compressed, ixml};

/// Bytes read from the file at once.
const BLOCK_BYTES: usize = 128 * 1024;

/// hound reads over the chunks before the samples instead of seeking; past
/// this many bytes of them it is not used.
const HOUND_START_LIMIT: u64 = 1 << 20;

/// Opens a file that starts like a WAV file.
pub(super) fn open(path: &Path, mut handle: File, len: u64) -> Result<Opened, MediaError> {
    let file = ShownPath::new(path);
    let mut layout = layout(&file, &mut handle, len)?;
    let stamps = stamps(&mut layout);
    let format = layout.format;
    let Some(coding) = coding(&format) else {
        return other_codec(path, handle, len, &layout, stamps);
    };
    let info = Info {
        container: if layout.container == "RIFF" {
            "WAV"
        } else {
            layout.container
        }
        .to_owned(),
        codec: coding.name().to_owned(),
        media_type: "audio/wav",
        rate_hz: format.rate_hz,
        channels: format.channels,
        bits: Some(format.bits),
        frames: layout.data_len / u64::from(format.block_align),
    };
    let source: Box<dyn FrameSource> = match hound_source(path, &layout, coding, info.frames) {
        Some(hound) => Box::new(hound),
        None => Box::new(PcmSource::new(handle, file, &layout, coding)),
    };
    Ok(Opened {
        info,
        stored: Stored::from(coding),
        stamps,
        warnings: layout.warnings,
        source,
    })
}

/// The chunks of a WAV file, a problem with them as an error of the file.
pub(super) fn layout(file: &ShownPath, handle: &mut File, len: u64) -> Result<Layout, MediaError> {
    let file = file.clone();
    riff::read_layout(&mut BufReader::new(handle), len).map_err(|problem| match problem {
        RiffProblem::Io(cause) => MediaError::Read { file, cause },
        RiffProblem::Damaged(reason) => MediaError::Damaged { file, reason },
    })
}

fn stamps(layout: &mut Layout) -> Vec<Stamp> {
    let rate_hz = layout.format.rate_hz;
    let mut stamps = Vec::new();
    if let Some(bytes) = &layout.bext {
        let (bext, mut warnings) = bext::read(bytes);
        layout.warnings.append(&mut warnings);
        stamps.extend(Stamp::from_bext(&bext, rate_hz));
    }
    if let Some(bytes) = &layout.ixml {
        let (ixml, mut warnings) = ixml::read(bytes);
        layout.warnings.append(&mut warnings);
        stamps.extend(Stamp::from_ixml(&ixml, rate_hz));
    }
    stamps
}

/// How the samples of this format are stored, if it is PCM.
pub(super) fn coding(format: &Format) -> Option<Coding> {
    match (format.tag, format.bits) {
        (tag::PCM, 8) => Some(Coding::U8),
        (tag::PCM, 16) => Some(Coding::I16),
        (tag::PCM, 24) => Some(Coding::I24),
        (tag::PCM, 32) => Some(Coding::I32),
        (tag::FLOAT, 32) => Some(Coding::F32),
        (tag::FLOAT, 64) => Some(Coding::F64),
        _ => None,
    }
}

/// A WAV file that wraps a codec (A-law, ADPCM): the library's business, once
/// the header has been found sane.
pub(super) fn other_codec<S: Wanted>(
    path: &Path,
    handle: File,
    len: u64,
    layout: &Layout,
    stamps: Vec<Stamp>,
) -> Result<Opened<S>, MediaError> {
    let unsupported = |reason: String| MediaError::Unsupported {
        file: ShownPath::new(path),
        reason,
    };
    let Format {
        tag,
        channels,
        bits,
        ..
    } = layout.format;
    if channels > super::reader::CHANNELS_MAX || matches!(tag, tag::PCM | tag::FLOAT) {
        return Err(unsupported(format!(
            "its samples are {channels} channels of {bits} bits, tag {tag:#06x}"
        )));
    }
    let mut opened = compressed::open(path, handle, len)
        .map_err(|_| unsupported(format!("its WAV format tag is {tag:#06x}")))?;
    if opened.info.channels != channels {
        return Err(unsupported(
            "its channel count is understood in two ways".into(),
        ));
    }
    opened.stamps.extend(stamps);
    opened.warnings.extend(layout.warnings.iter().cloned());
    Ok(opened)
}

type Hound = hound::WavReader<BufReader<File>>;

/// Samples of a plain WAV file, by hound.
struct HoundSource {
    reader: Hound,
    file: ShownPath,
    coding: Coding,
    channels: usize,
}

/// hound's reader, where it sees exactly what our own header reader saw.
fn hound_source(path: &Path, layout: &Layout, coding: Coding, frames: u64) -> Option<HoundSource> {
    if !layout.plain || layout.data_start > HOUND_START_LIMIT || coding == Coding::F64 {
        return None;
    }
    let open = |file: File| Hound::new(BufReader::with_capacity(BLOCK_BYTES, file)).ok();
    // Opened twice: the first tells where hound believes the samples to start.
    let mut first = open(File::open(path).ok()?)?.into_inner();
    if first.stream_position().ok()? != layout.data_start {
        return None;
    }
    first.rewind().ok()?;
    let reader = Hound::new(first).ok()?;
    let (spec, format) = (reader.spec(), layout.format);
    let float = spec.sample_format == hound::SampleFormat::Float;
    let agrees = spec.channels == format.channels
        && spec.sample_rate == format.rate_hz
        && spec.bits_per_sample == format.bits
        && float == (coding == Coding::F32)
        && u64::from(reader.duration()) == frames;
    agrees.then(|| HoundSource {
        reader,
        file: ShownPath::new(path),
        coding,
        channels: usize::from(format.channels),
    })
}

impl FrameSource for HoundSource {
    fn read(&mut self, out: &mut Vec<f32>, max_frames: usize) -> Result<usize, MediaError> {
        let before = out.len();
        let wanted = max_frames * self.channels;
        let scale = match self.coding {
            Coding::U8 => 128.0,
            Coding::I16 => 32_768.0,
            Coding::I24 => 8_388_608.0,
            Coding::I32 | Coding::F32 | Coding::F64 => 2_147_483_648.0,
        };
        let failed = |error| MediaError::Read {
            file: self.file.clone(),
            cause: match error {
                hound::Error::IoError(cause) => cause,
                other => std::io::Error::other(other.to_string()),
            },
        };
        if self.coding == Coding::F32 {
            for sample in self.reader.samples::<f32>().take(wanted) {
                out.push(sample.map_err(failed)?);
            }
        } else {
            for sample in self.reader.samples::<i32>().take(wanted) {
                out.push(sample.map_err(failed)? as f32 / scale);
            }
        }
        Ok((out.len() - before) / self.channels)
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        // A plain file has fewer than 2^32 frames.
        let frame = u32::try_from(frame).unwrap_or(u32::MAX);
        self.reader.seek(frame).map_err(|cause| MediaError::Read {
            file: self.file.clone(),
            cause,
        })
    }
}

/// Samples by arithmetic on the data chunk's position.
struct PcmSource {
    handle: File,
    file: ShownPath,
    coding: Coding,
    frame_bytes: u64,
    start: u64,
    end: u64,
    at: u64,
    moved: bool,
    block: Vec<u8>,
}

impl PcmSource {
    fn new(handle: File, file: ShownPath, layout: &Layout, coding: Coding) -> Self {
        Self {
            handle,
            file,
            coding,
            frame_bytes: u64::from(layout.format.block_align),
            start: layout.data_start,
            end: layout.data_start + layout.data_len,
            at: layout.data_start,
            moved: true,
            block: Vec::new(),
        }
    }

    /// Reads up to `len` bytes at the present position into the block.
    fn fill(&mut self, len: u64) -> std::io::Result<()> {
        if self.moved {
            self.handle.seek(SeekFrom::Start(self.at))?;
            self.moved = false;
        }
        self.block.clear();
        self.handle
            .by_ref()
            .take(len)
            .read_to_end(&mut self.block)?;
        Ok(())
    }
}

impl FrameSource for PcmSource {
    fn read(&mut self, out: &mut Vec<f32>, max_frames: usize) -> Result<usize, MediaError> {
        let mut done = 0;
        while done < max_frames && self.at < self.end {
            let wanted = (max_frames - done) as u64 * self.frame_bytes;
            let block = BLOCK_BYTES as u64 / self.frame_bytes * self.frame_bytes;
            let len = wanted
                .min(self.end - self.at)
                .min(block.max(self.frame_bytes));
            self.fill(len).map_err(|cause| MediaError::Read {
                file: self.file.clone(),
                cause,
            })?;
            let frames = self.block.len() as u64 / self.frame_bytes;
            if frames == 0 {
                break; // The file shrank while it was read.
            }
            self.block.truncate((frames * self.frame_bytes) as usize);
            self.coding.decode(&self.block, out);
            self.at += frames * self.frame_bytes;
            done += frames as usize;
        }
        Ok(done)
    }

    fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        self.at = (self.start + frame * self.frame_bytes).min(self.end);
        self.moved = true;
        Ok(())
    }
}
