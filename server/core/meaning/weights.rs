//! Which bytes are the model of meaning?
//!
//! Published as a safetensors file: a header, then every tensor in alphabetical order,
//! 32 bits a number. Which file it is is told by its hash, which the caller checks; then
//! every place in it is known, and its header need not be believed. What is kept is
//! half as long: a mark, the vocabulary, the numbers in 16 bits (IEEE 754 binary16),
//! in the published order.

use std::fmt;

use half::f16;

/// Numbers in a direction.
pub(super) const WIDTH: usize = 384;
/// Numbers inside a layer's second half.
pub(super) const INNER: usize = 1_536;
/// Layers.
pub(super) const LAYERS: usize = 6;
/// Heads of attention.
pub(super) const HEADS: usize = 12;
/// Places in a text that have numbers.
pub(super) const PLACES: usize = 512;
/// Pieces of words.
pub(super) const VOCABULARY: usize = 30_522;

/// Length of the published file, bytes.
pub const PUBLISHED_BYTES: usize = 90_868_376;
/// What of it is taken lies from here on; before, the header and places' own numbers.
const TAKEN_FROM: usize = 8 + 11_408 + 4_096;

const LAYER: usize = 4 * (WIDTH * WIDTH + WIDTH) + 2 * WIDTH * INNER + INNER + 5 * WIDTH;
/// Numbers taken.
pub(super) const NUMBERS: usize = 2 * WIDTH + (PLACES + 2 + VOCABULARY) * WIDTH + LAYERS * LAYER;

/// Mark and version of the kept form.
const MARK: &[u8; 8] = b"meaning\x01";

/// Why bytes are no model of meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoModel {
    /// Of another length than that of the one known model.
    Length(usize),
    /// The mark is another, or its parts do not lie where they should.
    Layout,
    /// Not the vocabulary.
    Vocabulary,
    /// A number in it is none.
    Number,
}

impl fmt::Display for NoModel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(found) => write!(f, "no model of meaning: {found} bytes long"),
            Self::Layout => f.write_str("no model of meaning: its parts lie elsewhere"),
            Self::Vocabulary => f.write_str("no model of meaning: another vocabulary"),
            Self::Number => f.write_str("no model of meaning: a weight is no number"),
        }
    }
}

impl std::error::Error for NoModel {}

/// The kept form of the published file and its vocabulary (a piece a line).
///
/// # Errors
/// [`NoModel`], if they are not that by length and layout. That it is the very file is
/// for the caller to know, by its hash.
pub fn kept_form(published: &[u8], vocabulary: &str) -> Result<Vec<u8>, NoModel> {
    if published.len() != PUBLISHED_BYTES {
        return Err(NoModel::Length(published.len()));
    }
    let header = (TAKEN_FROM - 8 - 4_096) as u64;
    if !published.starts_with(&header.to_le_bytes()) {
        return Err(NoModel::Layout);
    }
    let words = u32::try_from(vocabulary.len()).map_err(|_| NoModel::Vocabulary)?;
    let taken = published.get(TAKEN_FROM..).ok_or(NoModel::Layout)?;
    let mut kept = Vec::with_capacity(MARK.len() + 4 + vocabulary.len() + 2 * NUMBERS);
    kept.extend_from_slice(MARK);
    kept.extend_from_slice(&words.to_le_bytes());
    kept.extend_from_slice(vocabulary.as_bytes());
    for four in taken.as_chunks::<4>().0.iter().take(NUMBERS) {
        let number = f16::from_f32(f32::from_le_bytes(*four));
        if !number.is_finite() {
            return Err(NoModel::Number);
        }
        kept.extend_from_slice(&number.to_le_bytes());
    }
    parts(&kept)?;
    Ok(kept)
}

/// Vocabulary and numbers of the kept form.
pub(super) fn parts(kept: &[u8]) -> Result<(&str, Numbers<'_>), NoModel> {
    let rest = kept.strip_prefix(MARK).ok_or(NoModel::Layout)?;
    let (words, rest) = rest.split_first_chunk::<4>().ok_or(NoModel::Layout)?;
    let words = u32::from_le_bytes(*words) as usize;
    let (vocabulary, numbers) = rest.split_at_checked(words).ok_or(NoModel::Layout)?;
    if numbers.len() != 2 * NUMBERS {
        return Err(NoModel::Length(kept.len()));
    }
    let vocabulary = std::str::from_utf8(vocabulary).map_err(|_| NoModel::Vocabulary)?;
    Ok((vocabulary, Numbers(numbers.as_chunks().0)))
}

/// The numbers that are still to be taken.
pub(super) struct Numbers<'a>(&'a [[u8; 2]]);

impl Numbers<'_> {
    /// The next so many as they are kept.
    pub(super) fn halves(&mut self, count: usize) -> Result<Vec<f16>, NoModel> {
        let (part, rest) = self.0.split_at_checked(count).ok_or(NoModel::Layout)?;
        self.0 = rest;
        let halves: Vec<f16> = part.iter().map(|two| f16::from_le_bytes(*two)).collect();
        if halves.iter().all(|half| half.is_finite()) {
            Ok(halves)
        } else {
            Err(NoModel::Number)
        }
    }

    /// The next so many, ready to be worked with.
    pub(super) fn take(&mut self, count: usize) -> Result<Vec<f32>, NoModel> {
        let halves = self.halves(count)?;
        Ok(halves.into_iter().map(f16::to_f32).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn published(value: f32) -> Vec<u8> {
        let mut bytes = value.to_le_bytes().repeat(PUBLISHED_BYTES / 4);
        bytes[..8].copy_from_slice(&11_408_u64.to_le_bytes());
        bytes
    }

    #[test]
    fn the_numbers_end_where_the_unused_last_layer_begins() {
        // Its matrix and its bias.
        assert_eq!(
            TAKEN_FROM + 4 * NUMBERS + 4 * (WIDTH * WIDTH + WIDTH),
            PUBLISHED_BYTES
        );
    }

    #[test]
    fn other_files_are_refused() {
        assert_eq!(kept_form(&[], ""), Err(NoModel::Length(0)));
        let good = published(0.5);
        let kept = kept_form(&good, "a\nb").unwrap();
        let (vocabulary, mut numbers) = parts(&kept).unwrap();
        assert_eq!(vocabulary, "a\nb");
        assert_eq!(numbers.take(3), Ok(vec![0.5; 3]));
        assert_eq!(numbers.take(NUMBERS), Err(NoModel::Layout));
        let mut other = good;
        other[0] ^= 1;
        assert_eq!(kept_form(&other, ""), Err(NoModel::Layout));
        assert_eq!(kept_form(&published(1e9), ""), Err(NoModel::Number));
        assert_eq!(parts(&kept[1..]).err(), Some(NoModel::Layout));
        let short = &kept[..kept.len() - 1];
        assert_eq!(parts(short).err(), Some(NoModel::Length(short.len())));
    }
}
