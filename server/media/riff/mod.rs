//! Where in this WAV file are the format, the samples and the stamps?
//!
//! Our own chunk walker for RIFF, RF64 and BW64 (EBU Tech 3306, ITU-R
//! BS.2088). It exists because no library reads `ds64`, and because a header
//! must be checked before a library trusts it: symphonia 0.6.1 opens a
//! well-formed 40-channel extensible WAV as eight channels. In: any seekable
//! reader and its length in bytes. Out: a [`Layout`] and the problems met.
//! Memory: at most [`TEXT_CHUNK_LIMIT`] per stamp chunk, whatever the header
//! says. Never decodes a sample.

mod format;

use std::io::{self, Read, Seek, SeekFrom};

pub use format::{Format, tag};

/// Most bytes of a bext or iXML chunk that are read; longer ones are cut.
/// Both are a few kilobytes in practice.
pub const TEXT_CHUNK_LIMIT: u64 = 1 << 20;

/// Most chunks looked at in one file: a file of tiny chunks must not keep us.
const CHUNK_LIMIT: usize = 10_000;

/// Most `ds64` table entries looked at (chunks other than data past 4 GiB).
const DS64_ENTRY_LIMIT: usize = 64;

/// The size field of a chunk whose true size is in `ds64` (EBU Tech 3306), and
/// what recorders write before they know it.
const SIZE_UNKNOWN: u32 = u32::MAX;

/// A WAV file taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    /// `RIFF`, `RF64` or `BW64`.
    pub container: &'static str,
    /// How samples are stored.
    pub format: Format,
    /// First byte of the samples.
    pub data_start: u64,
    /// Bytes of samples that are really there.
    pub data_len: u64,
    /// The size in the header was right, so a plain reader sees the same.
    pub plain: bool,
    /// The bext chunk's bytes.
    pub bext: Option<Vec<u8>>,
    /// The iXML chunk's bytes.
    pub ixml: Option<Vec<u8>>,
    /// What was wrong but could be lived with.
    pub warnings: Vec<String>,
}

/// Why there is no layout.
#[derive(Debug)]
pub enum RiffProblem {
    /// The reader failed.
    Io(io::Error),
    /// The file contradicts itself; the text says how.
    Damaged(String),
}

impl From<io::Error> for RiffProblem {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Whether these first bytes belong to a file for [`read_layout`].
#[must_use]
pub fn is_wave(head: &[u8]) -> bool {
    head.len() >= 12 && matches!(&head[..4], b"RIFF" | b"RF64" | b"BW64") && &head[8..12] == b"WAVE"
}

/// Walks the chunks of a WAV file of `file_len` bytes.
///
/// # Errors
/// [`RiffProblem::Damaged`] when no usable format or no samples are found.
pub fn read_layout(reader: &mut (impl Read + Seek), file_len: u64) -> Result<Layout, RiffProblem> {
    Walk::new(reader, file_len)?.run()
}

struct Walk<'r, R> {
    reader: &'r mut R,
    file_len: u64,
    container: &'static str,
    ds64: Option<Ds64>,
    format: Option<Format>,
    data: Option<Data>,
    bext: Option<Vec<u8>>,
    ixml: Option<Vec<u8>>,
    warnings: Vec<String>,
}

struct Ds64 {
    data_len: u64,
    table: Vec<([u8; 4], u64)>,
}

struct Data {
    start: u64,
    len: u64,
    plain: bool,
}

impl<'r, R: Read + Seek> Walk<'r, R> {
    fn new(reader: &'r mut R, file_len: u64) -> Result<Self, RiffProblem> {
        let mut head = [0; 12];
        reader.seek(SeekFrom::Start(0))?;
        if read_up_to(reader, &mut head)? < head.len() {
            return damaged("it ends inside the first 12 bytes");
        }
        let container = match &head[..4] {
            b"RIFF" => "RIFF",
            b"RF64" => "RF64",
            b"BW64" => "BW64",
            _ => return damaged("it does not start like a WAV file"),
        };
        if &head[8..12] != b"WAVE" {
            return damaged("it is a RIFF file but not a WAV file");
        }
        Ok(Self {
            reader,
            file_len,
            container,
            ds64: None,
            format: None,
            data: None,
            bext: None,
            ixml: None,
            warnings: Vec::new(),
        })
    }

    fn run(mut self) -> Result<Layout, RiffProblem> {
        let mut at = 12;
        for _ in 0..CHUNK_LIMIT {
            let Some((id, size)) = self.header(at)? else {
                break;
            };
            if !is_chunk_id(id) {
                if self.data.is_none() {
                    self.warnings.push(format!(
                        "unreadable chunk at byte {at}; the rest was left out"
                    ));
                }
                break;
            }
            let body = at + 8;
            let len = self.chunk(id, size, body)?;
            at = self.next_chunk(body, len)?;
        }
        self.finish()
    }

    /// The chunk header at `at`, or nothing at the end of the file.
    fn header(&mut self, at: u64) -> Result<Option<([u8; 4], u32)>, RiffProblem> {
        if at.saturating_add(8) > self.file_len {
            return Ok(None);
        }
        let mut head = [0; 8];
        self.reader.seek(SeekFrom::Start(at))?;
        if read_up_to(self.reader, &mut head)? < head.len() {
            return Ok(None);
        }
        let id = [head[0], head[1], head[2], head[3]];
        Ok(Some((id, u32_at(&head, 4))))
    }

    /// Takes what is wanted from one chunk; returns its true length.
    fn chunk(&mut self, id: [u8; 4], size: u32, body: u64) -> Result<u64, RiffProblem> {
        let rest = self.file_len - body;
        let stated = self.true_size(id, size);
        match &id {
            b"data" if self.data.is_none() => return self.data_chunk(size, stated, body, rest),
            b"data" => self
                .warnings
                .push("a second data chunk was left out".into()),
            b"ds64" if self.ds64.is_none() => self.read_ds64(stated.min(rest))?,
            b"fmt " if self.format.is_none() => {
                let bytes = self.read_body(stated.min(rest).min(64))?;
                self.format = Some(format::parse(&bytes, &mut self.warnings)?);
            }
            b"bext" if self.bext.is_none() => {
                self.bext = Some(self.text_chunk("bext", stated, rest)?)
            }
            b"iXML" if self.ixml.is_none() => {
                self.ixml = Some(self.text_chunk("iXML", stated, rest)?)
            }
            _ => {}
        }
        Ok(stated.min(rest))
    }

    /// EBU Tech 3306: `ds64` counts only where the 32-bit size is 0xFFFFFFFF.
    fn true_size(&self, id: [u8; 4], size: u32) -> u64 {
        match &self.ds64 {
            Some(ds64) if size == SIZE_UNKNOWN && &id == b"data" => ds64.data_len,
            Some(ds64) if size == SIZE_UNKNOWN => ds64
                .table
                .iter()
                .find(|(entry, _)| *entry == id)
                .map_or(u64::from(size), |(_, len)| *len),
            _ => u64::from(size),
        }
    }

    fn data_chunk(
        &mut self,
        size: u32,
        stated: u64,
        body: u64,
        rest: u64,
    ) -> Result<u64, RiffProblem> {
        let unknown = size == SIZE_UNKNOWN && self.ds64.is_none();
        // A true 0 is followed by the other chunks; after a power cut by sound.
        let lost = (stated == 0 && rest > 0 && !self.chunks_reach_end(body)?) || unknown;
        let len = if lost {
            self.warnings.push(format!(
                "the header does not say how long the sound is (the recorder may have lost power): \
                 all {rest} bytes to the end of the file were taken"
            ));
            rest
        } else if stated > rest {
            self.warnings.push(format!(
                "the header promises {stated} bytes of sound, the file holds {rest}: \
                 it was cut short, what is there was taken"
            ));
            rest
        } else {
            stated
        };
        self.data = Some(Data {
            start: body,
            len,
            plain: !lost && stated <= rest,
        });
        Ok(len)
    }

    /// Whether well-formed chunks lead from `at` exactly to the file's end.
    fn chunks_reach_end(&mut self, mut at: u64) -> Result<bool, RiffProblem> {
        for _ in 0..64 {
            // The last chunk may lack its padding byte.
            if at == self.file_len || at == self.file_len + 1 {
                return Ok(true);
            }
            match self.header(at)? {
                Some((id, size)) if is_chunk_id(id) => {
                    at += 8 + u64::from(size) + u64::from(size & 1)
                }
                _ => return Ok(false),
            }
        }
        Ok(false)
    }

    fn text_chunk(&mut self, name: &str, stated: u64, rest: u64) -> Result<Vec<u8>, RiffProblem> {
        if stated > rest || stated > TEXT_CHUNK_LIMIT {
            self.warnings.push(format!(
                "the {name} chunk says it has {stated} bytes; only a part was read"
            ));
        }
        self.read_body(stated.min(rest).min(TEXT_CHUNK_LIMIT))
    }

    fn read_ds64(&mut self, len: u64) -> Result<(), RiffProblem> {
        let bytes = self.read_body(len.min(28 + 12 * DS64_ENTRY_LIMIT as u64))?;
        if bytes.len() < 28 {
            self.warnings
                .push("the ds64 chunk is too short and was left out".into());
            return Ok(());
        }
        let entries = (u32_at(&bytes, 24) as usize).min(DS64_ENTRY_LIMIT);
        let table = bytes[28..]
            .chunks_exact(12)
            .take(entries)
            .map(|entry| ([entry[0], entry[1], entry[2], entry[3]], u64_at(entry, 4)))
            .collect();
        self.ds64 = Some(Ds64 {
            data_len: u64_at(&bytes, 8),
            table,
        });
        Ok(())
    }

    /// Reads `len` bytes from where the reader stands (a chunk's body).
    fn read_body(&mut self, len: u64) -> Result<Vec<u8>, RiffProblem> {
        // `len` was held against the file's length and a limit before.
        let mut bytes = Vec::new();
        self.reader.by_ref().take(len).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// Where the next chunk starts: odd chunks are padded, but not by everyone.
    fn next_chunk(&mut self, body: u64, len: u64) -> Result<u64, RiffProblem> {
        let end = body.saturating_add(len);
        if len.is_multiple_of(2) || end >= self.file_len {
            return Ok(end);
        }
        let padded = self.header(end + 1)?.is_some_and(|(id, _)| is_chunk_id(id));
        let unpadded = self.header(end)?.is_some_and(|(id, _)| is_chunk_id(id));
        if !padded && unpadded {
            self.warnings
                .push("an odd chunk is not padded; read as it stands".into());
            return Ok(end);
        }
        Ok(end + 1)
    }

    fn finish(mut self) -> Result<Layout, RiffProblem> {
        let Some(format) = self.format else {
            return damaged("it has no readable format chunk");
        };
        let Some(data) = self.data else {
            return damaged("it has no data chunk: it ends before its sound");
        };
        let frame = u64::from(format.block_align);
        if data.len < frame {
            return damaged("it holds no sound (0 frames)");
        }
        if data.len % frame != 0 {
            self.warnings
                .push("the last frame is incomplete and was left out".into());
        }
        Ok(Layout {
            container: self.container,
            format,
            data_start: data.start,
            data_len: data.len - data.len % frame,
            plain: data.plain && self.container == "RIFF",
            bext: self.bext,
            ixml: self.ixml,
            warnings: self.warnings,
        })
    }
}

fn damaged<T>(reason: &str) -> Result<T, RiffProblem> {
    Err(RiffProblem::Damaged(reason.to_owned()))
}

/// Chunk ids are four printable ASCII characters.
fn is_chunk_id(id: [u8; 4]) -> bool {
    id.iter().all(|byte| (0x20..0x7F).contains(byte)) && id != *b"    "
}

/// Fills as much of `buffer` as there is.
fn read_up_to(reader: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match reader.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from(u32_at(bytes, at)) | u64::from(u32_at(bytes, at + 4)) << 32
}
