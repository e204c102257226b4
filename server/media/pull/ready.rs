//! A pull of which everything is known but its samples.

use sayback_core::Cancel;
use sha2::{Digest as _, Sha256};

use super::super::error::ShownPath;
use super::error::PullError;
use super::original::{Look, Verified, unchanged};
use super::source::{BLOCK_FRAMES, Source};
use super::{Pull, Pulled, cues, header, place, stamp};

/// A pull that can be written: its original is there, its length known.
pub(super) struct Ready<'a> {
    wish: &'a Pull,
    source: Source,
    range: Range,
    look: Look,
    head: Vec<u8>,
    /// Whether a byte has to follow the last sample.
    odd: bool,
    cues: usize,
}

impl<'a> Ready<'a> {
    /// # Errors
    /// Those of the original.
    pub fn of(wish: &'a Pull, verified: &mut Verified, cancel: &Cancel) -> Result<Self, PullError> {
        let path = &wish.original.path;
        let look = verified.check(&wish.original, cancel)?;
        let source = Source::open(path, wish.channel)?;
        let range = Range::of(wish, source.info.frames)?;
        let cues = cues::placed(&wish.cues, range.first, range.end);
        let stamping = stamp::Stamping {
            origin: &source.origin,
            form: &source.form,
            made: &source.made,
            said: &wish.said,
            name: &path.file_name().unwrap_or_default().to_string_lossy(),
            channel: wish.channel,
            first: range.first,
            frames: range.frames(),
        };
        let marks = cues::chunks(&cues);
        let body = stamping.body();
        let (head, odd) = header::header(&source.form, range.frames(), &body, &marks);
        Ok(Self {
            wish,
            cues: cues.len(),
            source,
            range,
            look,
            head,
            odd,
        })
    }

    /// Length of the file, in bytes.
    pub fn bytes(&self) -> u64 {
        let sound = self.range.frames() * self.source.form.frame_bytes();
        self.head.len() as u64 + sound + u64::from(self.odd)
    }

    /// Hands on the whole file, piece by piece; `progress` gets 0.0 to 1.0.
    ///
    /// # Errors
    /// Those of the original and of `out`; what was handed on is then no pull.
    pub fn write(
        mut self,
        out: &mut dyn FnMut(&[u8]) -> Result<(), PullError>,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Pulled, PullError> {
        let mut sha256 = Sha256::new();
        let mut both = |bytes: &[u8]| {
            sha256.update(bytes);
            out(bytes)
        };
        both(&self.head)?;
        self.copy(&mut both, cancel, progress)?;
        if self.odd {
            both(&[0])?;
        }
        let wish = self.wish;
        unchanged(&wish.original.path, self.look)?;
        let mut notes = self.source.origin.notes.clone();
        notes.extend(self.source.warnings());
        let left_out = wish.cues.len() - self.cues;
        if left_out > 0 {
            notes.push(format!("{left_out} cues lie outside and were left out"));
        }
        Ok(Pulled {
            bytes: self.bytes(),
            sha256: place::hex(&sha256.finalize()),
            first: self.range.first,
            frames: self.range.frames(),
            before: wish.from - self.range.first,
            after: self.range.end - wish.to,
            time_reference: self.source.origin.reference_at(self.range.first),
            form: self.source.form,
            made: self.source.made,
            cues: self.cues,
            notes,
        })
    }

    fn copy(
        &mut self,
        out: &mut dyn FnMut(&[u8]) -> Result<(), PullError>,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<(), PullError> {
        self.source.seek(self.range.first)?;
        let all = self.range.frames();
        let (mut block, mut left) = (Vec::new(), all);
        while left > 0 {
            if cancel.is_cancelled() {
                let file = self.source.shown();
                return Err(PullError::Cancelled { file });
            }
            let count = left.min(BLOCK_FRAMES as u64);
            block.clear();
            self.source.read(&mut block, count as usize)?;
            out(&block)?;
            left -= count;
            progress((1.0 - left as f64 / all as f64) as f32);
        }
        Ok(())
    }
}

/// What is taken of an original, handles included.
struct Range {
    first: u64,
    end: u64,
}

impl Range {
    fn of(wish: &Pull, frames: u64) -> Result<Self, PullError> {
        let file = || ShownPath::new(&wish.original.path);
        let (from, to) = (wish.from, wish.to);
        if from >= to {
            return Err(PullError::Empty {
                file: file(),
                from,
                to,
            });
        }
        if to > frames {
            return Err(PullError::Outside {
                file: file(),
                from,
                to,
                frames,
            });
        }
        Ok(Self {
            first: from.saturating_sub(wish.before),
            end: to.saturating_add(wish.after).min(frames),
        })
    }

    fn frames(&self) -> u64 {
        self.end - self.first
    }
}
