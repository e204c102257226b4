//! How does a model of 16-bit numbers become one of 8 bits, which is half as
//! large and a third faster?
//!
//! Blocks of 32 weights share a scale (ggml's `q8_0`), made by the library's
//! own arithmetic of the large matrices only: norms, biases, positions and
//! convolutions stay. Nothing is kept on disk, so that a shelf holds one file
//! a model and one hash pins it.

use std::collections::BTreeMap;
use std::ffi::c_void;
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

use whisper_rs::whisper_rs_sys as sys;

use super::SpeechError;
use super::ggml::{self, F16, Q8, Sizes, Storage};

/// ggml file type of 16-bit floats.
pub(super) const FILE_TYPE_F16: u32 = 1;
/// The same of 8-bit blocks.
const FILE_TYPE_Q8: u32 = 7;
/// How blocks are laid out today (ggml.h, `GGML_QNT_VERSION`), in the
/// thousands of the file type.
const LAYOUT: u32 = 2_000;
/// Where the file type is in the head.
const FILE_TYPE_AT: usize = 11 * 4;
/// Weights that are turned at a time, at least.
const AT_ONCE: usize = 64 << 10;

/// The same model's sizes in 8 bits.
pub(super) fn turned(sizes: &Sizes) -> Sizes {
    Sizes {
        file_type: FILE_TYPE_Q8,
        ..*sizes
    }
}

/// The bytes of the same model in 8 bits, from a file of 16-bit numbers that
/// [`ggml::inspect`] accepted with these sizes.
///
/// The answer is 0.56 of the file.
///
/// # Errors
/// [`SpeechError::Io`] when the file can't be read any more.
pub(super) fn eight_bits(file: &Path, sizes: &Sizes) -> Result<Vec<u8>, SpeechError> {
    let failed = |error| SpeechError::io("read", file)(error);
    let opened = File::open(file).map_err(failed)?;
    let tensors = turned(sizes).tensors();
    let room: u64 = tensors.iter().map(|tensor| tensor.bytes()).sum();
    let mut model = Turned {
        source: BufReader::new(opened),
        out: Vec::with_capacity(room as usize + (1 << 20)),
    };
    let storages = tensors
        .into_iter()
        .map(|tensor| (tensor.name, tensor.storage))
        .collect();
    model.model(sizes, &storages).map_err(failed)?;
    Ok(model.out)
}

struct Turned<R> {
    source: R,
    out: Vec<u8>,
}

impl<R: Read> Turned<R> {
    fn model(&mut self, sizes: &Sizes, storages: &BTreeMap<String, Storage>) -> io::Result<()> {
        self.copy(ggml::HEADER_BYTES)?;
        let file_type = (LAYOUT + FILE_TYPE_Q8).to_le_bytes();
        self.out[FILE_TYPE_AT..FILE_TYPE_AT + 4].copy_from_slice(&file_type);
        self.copy(8 + 4 * u64::from(sizes.mel_bands * ggml::SPECTRUM_POINTS))?;
        for _ in 0..self.copied_number()? {
            let bytes = self.copied_number()?;
            self.copy(bytes.into())?;
        }
        for _ in 0..storages.len() {
            self.tensor(storages)?;
        }
        Ok(())
    }

    fn tensor(&mut self, storages: &BTreeMap<String, Storage>) -> io::Result<()> {
        let (rank, name_bytes) = (self.copied_number()?, self.copied_number()?);
        let kind_at = self.out.len();
        let kind = self.copied_number()?;
        let mut values = 1_u64;
        let mut width = 0;
        for at in 0..rank {
            let dim = u64::from(self.copied_number()?);
            width = if at == 0 { dim } else { width };
            values = values.saturating_mul(dim);
        }
        let name_at = self.out.len();
        self.copy(name_bytes.into())?;
        let name = String::from_utf8_lossy(&self.out[name_at..]);
        let wanted = storages.get(name.as_ref()).copied();
        let whole = width > 0 && width % Q8.block == 0;
        if kind == F16.id && wanted == Some(Q8) && whole {
            self.out[kind_at..kind_at + 4].copy_from_slice(&Q8.id.to_le_bytes());
            self.turn(values as usize, width as usize)
        } else {
            self.copy(values.saturating_mul(if kind == F16.id { 2 } else { 4 }))
        }
    }

    /// Turns so many 16-bit values, in rows of `width`.
    fn turn(&mut self, values: usize, width: usize) -> io::Result<()> {
        let at_once = (AT_ONCE / width).max(1) * width;
        let mut bytes = vec![0; at_once * 2];
        let mut left = values;
        while left > 0 {
            let count = left.min(at_once);
            let piece = &mut bytes[..count * 2];
            self.source.read_exact(piece)?;
            turn_rows(piece, width, &mut self.out);
            left -= count;
        }
        Ok(())
    }

    fn copy(&mut self, bytes: u64) -> io::Result<()> {
        let copied = self
            .source
            .by_ref()
            .take(bytes)
            .read_to_end(&mut self.out)?;
        if copied as u64 == bytes {
            Ok(())
        } else {
            Err(io::ErrorKind::UnexpectedEof.into())
        }
    }

    fn copied_number(&mut self) -> io::Result<u32> {
        let mut bytes = [0; 4];
        self.source.read_exact(&mut bytes)?;
        self.out.extend(bytes);
        Ok(u32::from_le_bytes(bytes))
    }
}

/// Appends 16-bit values, whole rows of whole blocks, as blocks of 8 bits.
fn turn_rows(halves: &[u8], width: usize, out: &mut Vec<u8>) {
    let halves: Vec<u16> = halves
        .chunks_exact(2)
        .map(|half| u16::from_le_bytes([half[0], half[1]]))
        .collect();
    let rows = halves.len() / width;
    let mut wide = vec![0.0_f32; halves.len()];
    let mut blocks = vec![0_u8; rows * width.div_ceil(Q8.block as usize) * Q8.bytes as usize];
    // SAFETY: plain arithmetic from one array to the next: `wide` has a place for
    // each of `halves`, and `blocks` one for each block of the rows of `wide`.
    #[allow(unsafe_code)]
    unsafe {
        sys::ggml_fp16_to_fp32_row(halves.as_ptr(), wide.as_mut_ptr(), halves.len() as i64);
        sys::ggml_quantize_chunk(
            sys::ggml_type_GGML_TYPE_Q8_0,
            wide.as_ptr(),
            blocks.as_mut_ptr().cast::<c_void>(),
            0,
            rows as i64,
            width as i64,
            std::ptr::null(),
        );
    }
    out.extend(blocks);
}

#[cfg(test)]
#[path = "quantise_tests.rs"]
mod tests;
