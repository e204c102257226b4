//! How does a field recorder write a file?
//!
//! WAV and Broadcast Wave (EBU Tech 3285), RF64 (EBU Tech 3306) when the file
//! passes 4 GiB. The length is known before the first sample, so the header is
//! right from the start and the writer only ever goes forward.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use anyhow::{Context, Result};
use serde::{Deserialize, Serialize};

/// How a sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SampleFormat {
    /// 16-bit integer.
    Int16,
    /// 24-bit integer.
    Int24,
    /// 32-bit float, full scale at 1.0.
    Float32,
}

impl SampleFormat {
    /// Bytes a sample.
    #[must_use]
    pub fn bytes(self) -> u64 {
        match self {
            Self::Int16 => 2,
            Self::Int24 => 3,
            Self::Float32 => 4,
        }
    }

    /// Appends `sample` (full scale 1.0, clamped) to `out`, little-endian.
    /// Integers are rounded to the nearest step, without dither: every scene
    /// has noise above a step.
    pub fn put(self, sample: f32, out: &mut Vec<u8>) {
        match self {
            Self::Int16 => {
                let value = (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16;
                out.extend(value.to_le_bytes());
            }
            Self::Int24 => {
                let value = (sample * 8_388_608.0)
                    .round()
                    .clamp(-8_388_608.0, 8_388_607.0) as i32;
                out.extend(&value.to_le_bytes()[..3]);
            }
            Self::Float32 => out.extend(sample.clamp(-1.0, 1.0).to_le_bytes()),
        }
    }
}

/// What a Broadcast Wave file says about its beginning.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// `yyyy-mm-dd`.
    pub date: String,
    /// `hh:mm:ss`.
    pub time: String,
    /// Samples since midnight at the file's rate.
    pub samples: u64,
}

/// What is written where.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Samples a second and channel.
    pub rate_hz: u32,
    /// Channels, interleaved.
    pub channels: u16,
    /// How a sample is stored.
    pub format: SampleFormat,
    /// Frames to come.
    pub frames: u64,
}

impl Layout {
    /// Bytes of sound.
    #[must_use]
    pub fn data_bytes(&self) -> u64 {
        self.frames * u64::from(self.channels) * self.format.bytes()
    }
}

/// A file being written.
pub struct WavWriter {
    out: BufWriter<File>,
    format: SampleFormat,
    bytes: Vec<u8>,
    missing: u64,
}

impl WavWriter {
    /// Begins `path` with its whole header; `stamp` makes it a Broadcast Wave
    /// file that calls its maker `originator`.
    ///
    /// # Errors
    /// When the file cannot be made or written.
    pub fn create(path: &Path, layout: &Layout, stamp: Option<(&Stamp, &str)>) -> Result<Self> {
        let file = File::create(path).with_context(|| format!("cannot make {}", path.display()))?;
        let mut out = BufWriter::with_capacity(1 << 16, file);
        out.write_all(&header(layout, stamp))
            .with_context(|| format!("cannot write {}", path.display()))?;
        let missing = layout.frames * u64::from(layout.channels);
        Ok(Self {
            out,
            format: layout.format,
            bytes: Vec::new(),
            missing,
        })
    }

    /// Writes interleaved samples.
    ///
    /// # Errors
    /// When the disk is full or fails, or more comes than was announced.
    pub fn write(&mut self, samples: &[f32]) -> Result<()> {
        let count = samples.len() as u64;
        self.missing = self
            .missing
            .checked_sub(count)
            .context("more frames than announced")?;
        self.bytes.clear();
        for &sample in samples {
            self.format.put(sample, &mut self.bytes);
        }
        self.out
            .write_all(&self.bytes)
            .context("cannot write sound")
    }

    /// Pads, flushes and closes.
    ///
    /// # Errors
    /// When fewer frames came than were announced, or the disk fails.
    pub fn finish(mut self, layout: &Layout) -> Result<()> {
        anyhow::ensure!(
            self.missing == 0,
            "{} samples are missing at the end",
            self.missing
        );
        if layout.data_bytes() % 2 == 1 {
            self.out.write_all(&[0])?;
        }
        self.out.flush().context("cannot write sound")
    }
}

fn header(layout: &Layout, stamp: Option<(&Stamp, &str)>) -> Vec<u8> {
    let data = layout.data_bytes();
    let mut body = Vec::new();
    if let Some((stamp, originator)) = stamp {
        chunk(&mut body, b"bext", &bext(layout, stamp, originator));
    }
    chunk(&mut body, b"fmt ", &format(layout));
    if layout.format == SampleFormat::Float32 {
        let frames = u32::try_from(layout.frames).unwrap_or(u32::MAX);
        chunk(&mut body, b"fact", &frames.to_le_bytes());
    }
    // 'WAVE', the chunks above, the head of 'data', the sound and its padding.
    let riff = 4 + body.len() as u64 + 8 + data + data % 2;
    let mut out = Vec::new();
    if riff <= u64::from(u32::MAX) {
        out.extend(b"RIFF");
        out.extend((riff as u32).to_le_bytes());
        out.extend(b"WAVE");
        out.extend(body);
        out.extend(b"data");
        out.extend((data as u32).to_le_bytes());
        return out;
    }
    // EBU Tech 3306: both sizes move to a ds64 chunk of 28 bytes.
    out.extend(b"RF64");
    out.extend(u32::MAX.to_le_bytes());
    out.extend(b"WAVE");
    let mut ds64 = Vec::new();
    ds64.extend((riff + 8 + 28).to_le_bytes());
    ds64.extend(data.to_le_bytes());
    ds64.extend(layout.frames.to_le_bytes());
    ds64.extend(0_u32.to_le_bytes());
    chunk(&mut out, b"ds64", &ds64);
    out.extend(body);
    out.extend(b"data");
    out.extend(u32::MAX.to_le_bytes());
    out
}

fn chunk(out: &mut Vec<u8>, id: &[u8; 4], content: &[u8]) {
    out.extend(id);
    out.extend((content.len() as u32).to_le_bytes());
    out.extend(content);
    if content.len() % 2 == 1 {
        out.push(0);
    }
}

fn format(layout: &Layout) -> Vec<u8> {
    let bytes = layout.format.bytes() as u16;
    let block = bytes * layout.channels;
    let tag: u16 = match layout.format {
        SampleFormat::Int16 => 1,
        // More than 16 bits asks for WAVE_FORMAT_EXTENSIBLE.
        SampleFormat::Int24 => 0xfffe,
        SampleFormat::Float32 => 3,
    };
    let mut out = Vec::new();
    out.extend(tag.to_le_bytes());
    out.extend(layout.channels.to_le_bytes());
    out.extend(layout.rate_hz.to_le_bytes());
    out.extend((layout.rate_hz * u32::from(block)).to_le_bytes());
    out.extend(block.to_le_bytes());
    out.extend((bytes * 8).to_le_bytes());
    match layout.format {
        SampleFormat::Int16 => {}
        SampleFormat::Float32 => out.extend(0_u16.to_le_bytes()),
        SampleFormat::Int24 => {
            out.extend(22_u16.to_le_bytes());
            out.extend(24_u16.to_le_bytes());
            let mask: u32 = match layout.channels {
                1 => 4,
                2 => 3,
                _ => 0,
            };
            out.extend(mask.to_le_bytes());
            // KSDATAFORMAT_SUBTYPE_PCM.
            out.extend([
                1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
            ]);
        }
    }
    out
}

/// EBU Tech 3285, version 1: 602 bytes and the coding history.
fn bext(layout: &Layout, stamp: &Stamp, originator: &str) -> Vec<u8> {
    let mut out = vec![0_u8; 602];
    let mut put = |at: usize, room: usize, text: &str| {
        let bytes = text.as_bytes();
        let count = bytes.len().min(room);
        out[at..at + count].copy_from_slice(&bytes[..count]);
    };
    put(0, 256, "Generated scene");
    put(256, 32, originator);
    put(320, 10, &stamp.date);
    put(330, 8, &stamp.time);
    // Low word first, then high: together one little-endian number.
    out[338..346].copy_from_slice(&stamp.samples.to_le_bytes());
    out[346..348].copy_from_slice(&1_u16.to_le_bytes());
    let mode = if layout.channels == 1 {
        "mono"
    } else {
        "stereo"
    };
    let bits = layout.format.bytes() * 8;
    out.extend(format!("A=PCM,F={},W={bits},M={mode}\r\n", layout.rate_hz).bytes());
    out
}
