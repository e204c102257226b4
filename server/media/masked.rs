//! A movie file as the decoding library should see it: with its sound only.
//!
//! The library reads every track of a movie, so an hour of camera pictures
//! would be read and thrown away for its sound. The type field of each other
//! track's `trak` box is shown to it as `free`, which it skips. The file on
//! disk is not touched.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use symphonia::core::io::MediaSource;

/// What is shown in place of `trak`.
const HIDDEN: [u8; 4] = *b"free";

/// A file with some four-byte fields shown as `free`.
pub(super) struct Masked {
    file: File,
    len: u64,
    at: u64,
    masks: Vec<u64>,
}

impl Masked {
    /// Shows `file` with the fields at `masks` hidden.
    pub fn new(file: File, len: u64, masks: Vec<u64>) -> Self {
        Self {
            file,
            len,
            at: 0,
            masks,
        }
    }
}

impl Read for Masked {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.file.read(out)?;
        let (start, end) = (self.at, self.at + n as u64);
        for mask in &self.masks {
            for (place, byte) in (*mask..).zip(HIDDEN) {
                if (start..end).contains(&place) {
                    out[(place - start) as usize] = byte;
                }
            }
        }
        self.at = end;
        Ok(n)
    }
}

impl Seek for Masked {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.at = self.file.seek(to)?;
        Ok(self.at)
    }
}

impl MediaSource for Masked {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.len)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hidden_field_is_hidden_however_it_is_read() {
        let bytes: Vec<u8> = (b'a'..=b'z').collect();
        let mut file = tempfile::tempfile().unwrap();
        io::Write::write_all(&mut file, &bytes).unwrap();
        let mut masked = Masked::new(file, 26, vec![3, 20]);
        let want = b"abcfreehijklmnopqrstfreeyz";
        for size in 1..=26 {
            for start in 0..26 {
                masked.seek(SeekFrom::Start(start)).unwrap();
                let mut got = vec![0; size];
                let n = masked.read(&mut got).unwrap();
                assert_eq!(got[..n], want[start as usize..start as usize + n]);
            }
        }
    }
}
