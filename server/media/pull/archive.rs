//! A folder as one stream: a ZIP archive that nothing has to be sought in.
//!
//! Nothing is compressed: sound hardly gets smaller, and a reader finds the very bytes.
//! Lengths stand behind each file (APPNOTE 6.3.10, 4.3.9) and in the directory at the
//! end, in 64 bits where they do not fit 32. Memory: a name and some numbers a file.

use std::cell::Cell;
use std::io::{self, Write};
use std::path::Path;
use std::rc::Rc;

use zip::write::{SimpleFileOptions, StreamWriter};
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::super::error::ShownPath;
use super::error::PullError;
use super::shelf::Shelf;

/// An archive being written.
pub struct Archive<W: Write> {
    /// `None` once it has its end.
    zip: Option<ZipWriter<StreamWriter<Tap<W>>>>,
    /// The folder that all files are in.
    top: String,
    made: DateTime,
    broken: Rc<Cell<bool>>,
}

/// What takes no more once an archive is given up, so that half of one does not get an
/// end that makes it look whole.
struct Tap<W> {
    out: W,
    broken: Rc<Cell<bool>>,
}

impl<W: Write> Write for Tap<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self.broken.get() {
            true => Ok(bytes.len()),
            false => self.out.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self.broken.get() {
            true => Ok(()),
            false => self.out.flush(),
        }
    }
}

impl<W: Write> Archive<W> {
    /// An archive with one folder in it.
    #[must_use]
    pub fn new(top: &str, out: W) -> Self {
        let broken = Rc::new(Cell::new(false));
        let tap = Tap {
            out,
            broken: broken.clone(),
        };
        Self {
            zip: Some(ZipWriter::new_stream(tap)),
            top: top.to_owned(),
            made: now().unwrap_or_default(),
            broken,
        }
    }

    fn done<T, E: Into<io::Error>>(&self, done: Result<T, E>) -> Result<T, PullError> {
        done.map_err(|cause| {
            self.broken.set(true);
            PullError::Write {
                file: ShownPath::new(Path::new(&self.top)),
                cause: cause.into(),
            }
        })
    }
}

/// Given up before its end, it has none.
impl<W: Write> Drop for Archive<W> {
    fn drop(&mut self) {
        self.broken.set(true);
    }
}

impl<W: Write> Shelf for Archive<W> {
    fn begin(&mut self, path: &str, bytes: u64) -> Result<(), PullError> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .last_modified_time(self.made)
            .unix_permissions(0o644)
            .large_file(bytes >= u64::from(u32::MAX));
        let path = format!("{}/{path}", self.top);
        let begun = self.zip.as_mut().map(|zip| zip.start_file(path, options));
        self.done(begun.unwrap_or(Ok(())))
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), PullError> {
        let written = self.zip.as_mut().map(|zip| zip.write_all(bytes));
        self.done(written.unwrap_or(Ok(())))
    }

    fn end(&mut self) -> Result<(), PullError> {
        Ok(())
    }

    /// What was sent is sent.
    fn undo(&mut self) -> bool {
        self.broken.set(true);
        false
    }

    fn finish(mut self: Box<Self>) -> Result<(), PullError> {
        let finished = match self.zip.take().map(ZipWriter::finish) {
            Some(Ok(mut out)) => out.flush(),
            Some(Err(error)) => Err(error.into()),
            None => Ok(()),
        };
        self.done(finished)
    }
}

/// The time of day here, as archives have it: without a zone, to two seconds.
fn now() -> Option<DateTime> {
    let now = jiff::Zoned::now();
    let part = |n: i8| u8::try_from(n).unwrap_or(0);
    let year = u16::try_from(now.year()).ok()?;
    DateTime::from_date_and_time(
        year,
        part(now.month()),
        part(now.day()),
        part(now.hour()),
        part(now.minute()),
        part(now.second()),
    )
    .ok()
}
