//! Everything of a WAV file before its samples.

use super::form::Form;

/// The tail of every sub-format that wraps an old tag.
const GUID_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];

/// A 32-bit size whose true value is in `ds64` (EBU Tech 3306).
const IN_DS64: u32 = u32::MAX;

/// Bytes of a `ds64` chunk without a table.
const DS64_BYTES: u64 = 28;

/// The start of a WAV file, up to its first sample, and whether a byte has to
/// follow the last one. It is RF64 where a size would not fit 32 bits.
pub(super) fn header(form: &Form, frames: u64, bext: &[u8], cues: &[u8]) -> (Vec<u8>, bool) {
    let data = frames * form.frame_bytes();
    let odd = !data.is_multiple_of(2);
    let mut chunks = Vec::new();
    chunk(&mut chunks, b"bext", bext);
    chunk(&mut chunks, b"fmt ", &format(form));
    if form.float {
        let count = u32::try_from(frames).unwrap_or(u32::MAX);
        chunk(&mut chunks, b"fact", &count.to_le_bytes());
    }
    chunks.extend_from_slice(cues);
    let riff = 4 + chunks.len() as u64 + 8 + data + u64::from(odd);
    let small = u32::try_from(riff).ok().filter(|size| *size != IN_DS64);
    let mut out = Vec::with_capacity(chunks.len() + 64);
    match small {
        Some(size) => {
            out.extend_from_slice(b"RIFF");
            out.extend_from_slice(&size.to_le_bytes());
            out.extend_from_slice(b"WAVE");
        }
        None => {
            out.extend_from_slice(b"RF64");
            out.extend_from_slice(&IN_DS64.to_le_bytes());
            out.extend_from_slice(b"WAVE");
            let mut ds64 = Vec::new();
            for size in [riff + 8 + DS64_BYTES, data, frames] {
                ds64.extend_from_slice(&size.to_le_bytes());
            }
            ds64.extend_from_slice(&0_u32.to_le_bytes()); // no table
            chunk(&mut out, b"ds64", &ds64);
        }
    }
    out.extend_from_slice(&chunks);
    out.extend_from_slice(b"data");
    // Where the whole is RF64 its data are, too, though they alone might fit.
    let size = small.and_then(|_| u32::try_from(data).ok());
    out.extend_from_slice(&size.unwrap_or(IN_DS64).to_le_bytes());
    (out, odd)
}

/// The body of the format chunk: the extensible one where the original has it
/// or where some of the bits do not count, the plain one otherwise.
fn format(form: &Form) -> Vec<u8> {
    let tag: u16 = if form.float { 3 } else { 1 };
    let block_align = form.frame_bytes() as u16;
    let rate = form.rate_hz;
    let mut body = Vec::with_capacity(40);
    let first = if form.channel_mask.is_some() {
        0xFFFE
    } else {
        tag
    };
    body.extend_from_slice(&first.to_le_bytes());
    body.extend_from_slice(&form.channels.to_le_bytes());
    body.extend_from_slice(&rate.to_le_bytes());
    body.extend_from_slice(&rate.saturating_mul(u32::from(block_align)).to_le_bytes());
    body.extend_from_slice(&block_align.to_le_bytes());
    match form.channel_mask {
        Some(mask) => {
            body.extend_from_slice(&form.bits.to_le_bytes());
            body.extend_from_slice(&22_u16.to_le_bytes());
            body.extend_from_slice(&form.valid_bits.to_le_bytes());
            body.extend_from_slice(&mask.to_le_bytes());
            body.extend_from_slice(&tag.to_le_bytes());
            body.extend_from_slice(&GUID_TAIL);
        }
        // An old file of 20 bits says 20 and takes 24.
        None => body.extend_from_slice(&form.valid_bits.to_le_bytes()),
    }
    if form.float && form.channel_mask.is_none() {
        body.extend_from_slice(&0_u16.to_le_bytes()); // no extension follows
    }
    body
}

/// Appends a chunk with its padding.
pub(super) fn chunk(out: &mut Vec<u8>, id: &[u8; 4], body: &[u8]) {
    out.extend_from_slice(id);
    out.extend_from_slice(&(body.len() as u32).to_le_bytes());
    out.extend_from_slice(body);
    if !body.len().is_multiple_of(2) {
        out.push(0);
    }
}
