//! One stream type for every file: interleaved f32 frames at the native rate.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use sayback_core::signal::pcm::silence_non_finite;

use super::error::{MediaError, ShownPath};
use super::stamps::Stamp;
use super::stored::Stored;
use super::{compressed, riff, wav};

/// Most channels a recording may have.
pub const CHANNELS_MAX: u16 = 8;
/// Lowest and highest sample rate opened, in Hz.
pub const RATE_RANGE_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;

/// What a file holds, as far as its headers say and its length bears out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Info {
    /// `WAV`, `RF64`, `MP4` and so on.
    pub container: String,
    /// Name of the codec.
    pub codec: String,
    /// Internet media type, to send the file with.
    pub media_type: &'static str,
    /// Frames a second.
    pub rate_hz: u32,
    /// Channels, 1 to [`CHANNELS_MAX`].
    pub channels: u16,
    /// Bits a sample, where the codec has such a thing.
    pub bits: Option<u16>,
    /// Frames in all.
    pub frames: u64,
}

impl Info {
    /// Length in ms, rounded down.
    #[must_use]
    pub fn duration_ms(&self) -> i64 {
        sayback_core::units::FileMs::from_sample(self.frames, self.rate_hz).0
    }

    /// Refuses what the rooms behind cannot work with.
    pub(super) fn check(self, file: &ShownPath) -> Result<Self, MediaError> {
        let reason = if self.channels == 0 || self.channels > CHANNELS_MAX {
            format!(
                "it has {} channels, at most {CHANNELS_MAX} are read",
                self.channels
            )
        } else if !RATE_RANGE_HZ.contains(&self.rate_hz) {
            format!("its rate is {} Hz, 8,000 to 192,000 are read", self.rate_hz)
        } else if self.frames == 0 {
            return Err(no_sound_in(file));
        } else {
            return Ok(self);
        };
        Err(MediaError::Unsupported {
            file: file.clone(),
            reason,
        })
    }
}

fn no_sound_in(file: &ShownPath) -> MediaError {
    MediaError::Damaged {
        file: file.clone(),
        reason: "it holds no sound (0 frames)".into(),
    }
}

/// What every container reader hands over: facts, stamps, and a source.
pub(super) struct Opened<S = f32> {
    pub info: Info,
    pub stored: Stored,
    pub stamps: Vec<Stamp>,
    pub warnings: Vec<String>,
    pub source: Box<dyn FrameSource<S>>,
}

/// A container reader's stream of interleaved frames: f32 for whoever listens,
/// f64 for pulls, since it holds 32-bit integers exactly, too.
pub(super) trait FrameSource<S = f32>: Send {
    /// Appends at most `max_frames` frames to `out`; 0 only at the end.
    fn read(&mut self, out: &mut Vec<S>, max_frames: usize) -> Result<usize, MediaError>;
    /// The next read starts at `frame`, which lies inside the file.
    fn seek(&mut self, frame: u64) -> Result<(), MediaError>;
    /// All frames were taken: looks whether something follows them.
    fn look_past_end(&mut self) {}
    /// Problems met since the start was last sought, or in all.
    fn warnings(&self) -> Vec<String> {
        Vec::new()
    }
}

/// Any recording as a stream of interleaved frames at its native rate, full
/// scale 1.0, never a value that is not finite. Memory does not depend on the
/// file's length.
pub struct Reader {
    path: PathBuf,
    info: Info,
    stamps: Vec<Stamp>,
    warnings: Vec<String>,
    source: Box<dyn FrameSource>,
    position: u64,
    replaced: u64,
}

impl Reader {
    /// Opens a recording, judging by its bytes and not by its name.
    ///
    /// # Errors
    /// Every [`MediaError`] but `TooLong` and `Cancelled`.
    pub fn open(path: &Path) -> Result<Self, MediaError> {
        let file = ShownPath::new(path);
        let (mut handle, len) = open_file(path)?;
        let mut head = [0; 12];
        let head_len = read_head(&mut handle, &mut head).map_err(|cause| MediaError::Read {
            file: file.clone(),
            cause,
        })?;
        let opened = if riff::is_wave(&head[..head_len]) {
            wav::open(path, handle, len)?
        } else {
            compressed::open(path, handle, len)?
        };
        Ok(Self {
            path: path.to_owned(),
            info: opened.info.check(&file)?,
            stamps: opened.stamps,
            warnings: opened.warnings,
            source: opened.source,
            position: 0,
            replaced: 0,
        })
    }

    /// What the file holds.
    #[must_use]
    pub fn info(&self) -> &Info {
        &self.info
    }

    /// The stamps found inside the file (not the file's own time).
    #[must_use]
    pub fn stamps(&self) -> &[Stamp] {
        &self.stamps
    }

    /// Problems met so far, in words; grows while reading.
    #[must_use]
    pub fn warnings(&self) -> Vec<String> {
        let mut all = self.warnings.clone();
        for warning in self.source.warnings() {
            if !all.contains(&warning) {
                all.push(warning);
            }
        }
        if self.replaced > 0 {
            all.push(format!(
                "{} samples were no number or infinite; they were silenced",
                self.replaced
            ));
        }
        all
    }

    /// Fills `out` with at most `max_frames` interleaved frames and returns
    /// how many; 0 means the end.
    ///
    /// # Errors
    /// [`MediaError::Read`] or [`MediaError::Damaged`].
    pub fn read(&mut self, out: &mut Vec<f32>, max_frames: usize) -> Result<usize, MediaError> {
        out.clear();
        let left = self.info.frames.saturating_sub(self.position);
        let wanted = max_frames.min(usize::try_from(left).unwrap_or(usize::MAX));
        if wanted == 0 {
            return Ok(0);
        }
        let frames = self.source.read(out, wanted)?;
        self.position += frames as u64;
        if self.position == self.info.frames {
            self.source.look_past_end();
        }
        self.replaced += silence_non_finite(out);
        Ok(frames)
    }

    /// The next read starts at `frame` (from 0); past the end means the end.
    ///
    /// # Errors
    /// [`MediaError::Read`] or [`MediaError::Damaged`].
    pub fn seek(&mut self, frame: u64) -> Result<(), MediaError> {
        let frame = frame.min(self.info.frames);
        if frame < self.info.frames && frame != self.position {
            self.source.seek(frame)?;
        }
        self.position = frame;
        Ok(())
    }

    /// Whether the end is where the headers put it, looked for near the end
    /// only; where it is not, everything is decoded and counted, which corrects
    /// [`Info::frames`] and leaves a warning. The next read starts at 0.
    ///
    /// # Errors
    /// [`MediaError::Read`] or [`MediaError::Damaged`], also where nothing at
    /// all is there.
    pub fn check_end(&mut self) -> Result<(), MediaError> {
        let promised = self.info.frames;
        let mut block = Vec::new();
        // Packets and rounded times make 100 ms no promise at all.
        self.seek(promised.saturating_sub(u64::from(self.info.rate_hz) / 10))?;
        if self.read(&mut block, 1)? == 0 {
            self.seek(0)?;
            while self.read(&mut block, 16_384)? > 0 {}
            let promised_ms = self.info.duration_ms();
            self.info.frames = self.position;
            if self.info.frames == 0 {
                return Err(no_sound_in(&self.shown()));
            }
            // What this pass met; the next one counts anew.
            self.warnings.append(&mut self.source.warnings());
            self.warnings.push(format!(
                "the header promises {promised_ms} ms of sound, the file holds {} ms: \
                 it was cut short, what is there was taken",
                self.info.duration_ms()
            ));
        }
        self.seek(0)
    }

    /// The frame the next read starts at.
    #[must_use]
    pub fn position(&self) -> u64 {
        self.position
    }

    /// The file, escaped for messages.
    #[must_use]
    pub fn shown(&self) -> ShownPath {
        ShownPath::new(&self.path)
    }
}

/// Opens an ordinary, non-empty file for reading; returns its length too.
pub(super) fn open_file(path: &Path) -> Result<(File, u64), MediaError> {
    let file = ShownPath::new(path);
    // Asked before opening: opening a pipe would wait for its writer.
    let facts = std::fs::metadata(path).map_err(|cause| MediaError::Open {
        file: file.clone(),
        cause,
    })?;
    if facts.is_dir() {
        return Err(MediaError::Folder { file });
    }
    if !facts.is_file() {
        return Err(MediaError::NotOrdinary { file });
    }
    if facts.len() == 0 {
        return Err(MediaError::Empty { file });
    }
    let handle = File::open(path).map_err(|cause| MediaError::Open { file, cause })?;
    Ok((handle, facts.len()))
}

pub(super) fn read_head(handle: &mut File, head: &mut [u8]) -> std::io::Result<usize> {
    let mut bytes = Vec::with_capacity(head.len());
    handle.take(head.len() as u64).read_to_end(&mut bytes)?;
    head[..bytes.len()].copy_from_slice(&bytes);
    Ok(bytes.len())
}

#[cfg(test)]
mod tests {
    /// Streams are moved to the threads that do the heavy work.
    #[test]
    fn streams_can_move_between_threads() {
        fn moves<T: Send>() {}
        moves::<super::Reader>();
        moves::<crate::media::AnalysisStream>();
        moves::<crate::media::Slice>();
    }
}
