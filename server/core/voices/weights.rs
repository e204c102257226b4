//! Which bytes are the voice model?
//!
//! Published as a file of an older serialisation format: five headers, then each
//! tensor with its length before it. Which file it is is told by its hash, which the
//! caller checks; then every place in it is known, and its headers need not be
//! believed. What is kept is short: a mark, then the numbers alone.

use std::fmt;

use super::mel::BANDS;

/// Numbers in a layer's state, and in a voice.
pub(super) const WIDTH: usize = 256;
/// Layers.
pub(super) const LAYERS: usize = 3;
/// Rows of a layer's weights: four gates.
pub(super) const ROWS: usize = 4 * WIDTH;

/// Length of the published file, bytes.
pub const PUBLISHED_BYTES: usize = 17_090_379;

/// What is taken of the published file: where it starts, and how many numbers it has.
/// The recurrent layers' weights and biases, then the last layer's.
const TAKEN: [(usize, usize); 3] = [(269_883, RECURRENT), (7_731, WIDTH * WIDTH), (6_699, WIDTH)];

/// Numbers of the recurrent layers: weights of the input and of the state, layer by
/// layer, then both biases of each.
const RECURRENT: usize =
    ROWS * (BANDS + WIDTH) + (LAYERS - 1) * ROWS * 2 * WIDTH + LAYERS * 2 * ROWS;

const NUMBERS: usize = RECURRENT + WIDTH * WIDTH + WIDTH;

/// Mark and version of the kept form.
const MARK: &[u8; 8] = b"voices\0\x01";

/// Length of the kept form, bytes.
pub const KEPT_BYTES: usize = MARK.len() + NUMBERS * 4;

/// Why bytes are no voice model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoModel {
    /// Of another length than that of the one known model.
    Length(usize),
    /// The parts are not where they are in the published file, or the mark is another.
    Layout,
    /// A number in it is none.
    Number,
}

impl fmt::Display for NoModel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(found) => write!(f, "no voice model: {found} bytes long"),
            Self::Layout => f.write_str("no voice model: its parts lie elsewhere"),
            Self::Number => f.write_str("no voice model: a weight is no number"),
        }
    }
}

impl std::error::Error for NoModel {}

/// The kept form of the published file.
///
/// # Errors
/// [`NoModel`], if it is not that file by length and layout. That it is the very file
/// is for the caller to know, by its hash.
pub fn kept_form(published: &[u8]) -> Result<Vec<u8>, NoModel> {
    if published.len() != PUBLISHED_BYTES {
        return Err(NoModel::Length(published.len()));
    }
    let mut kept = Vec::with_capacity(KEPT_BYTES);
    kept.extend_from_slice(MARK);
    for (start, count) in TAKEN {
        let length = published.get(start - 8..start).ok_or(NoModel::Layout)?;
        let numbers = published
            .get(start..start + 4 * count)
            .ok_or(NoModel::Layout)?;
        if length != (count as u64).to_le_bytes() {
            return Err(NoModel::Layout);
        }
        kept.extend_from_slice(numbers);
    }
    numbers(&kept)?;
    Ok(kept)
}

/// The numbers of the kept form, in order.
pub(super) fn numbers(kept: &[u8]) -> Result<Vec<f32>, NoModel> {
    if kept.len() != KEPT_BYTES {
        return Err(NoModel::Length(kept.len()));
    }
    let body = kept.strip_prefix(MARK).ok_or(NoModel::Layout)?;
    let (numbers, _) = body.as_chunks::<4>();
    let numbers: Vec<f32> = numbers
        .iter()
        .map(|four| f32::from_le_bytes(*four))
        .collect();
    if numbers.iter().all(|number| number.is_finite()) {
        Ok(numbers)
    } else {
        Err(NoModel::Number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file with the parts at their places, each part all of one number.
    fn published() -> Vec<u8> {
        let mut bytes = vec![0xAB; PUBLISHED_BYTES];
        for ((start, count), value) in TAKEN.into_iter().zip([1.0_f32, 2.0, 3.0]) {
            bytes[start - 8..start].copy_from_slice(&(count as u64).to_le_bytes());
            for four in bytes[start..start + 4 * count].chunks_exact_mut(4) {
                four.copy_from_slice(&value.to_le_bytes());
            }
        }
        bytes
    }

    #[test]
    fn the_parts_are_taken_from_their_places() {
        let kept = kept_form(&published()).unwrap();
        assert_eq!(kept.len(), KEPT_BYTES);
        let numbers = numbers(&kept).unwrap();
        assert_eq!(numbers.len(), NUMBERS);
        let of = |value| numbers.iter().filter(|number| **number == value).count();
        assert_eq!((of(1.0), of(2.0), of(3.0)), (1_357_824, 65_536, 256));
    }

    #[test]
    fn other_files_are_refused() {
        let good = published();
        assert_eq!(kept_form(&[]), Err(NoModel::Length(0)));
        assert_eq!(
            kept_form(&good[1..]),
            Err(NoModel::Length(PUBLISHED_BYTES - 1))
        );
        let mut moved = good.clone();
        moved[7_730] = 1;
        assert_eq!(kept_form(&moved), Err(NoModel::Layout));
        let mut spoilt = good.clone();
        spoilt[7_731..7_735].copy_from_slice(&f32::NAN.to_le_bytes());
        assert_eq!(kept_form(&spoilt), Err(NoModel::Number));
        let mut kept = kept_form(&good).unwrap();
        kept[0] = b'x';
        assert_eq!(numbers(&kept), Err(NoModel::Layout));
        assert_eq!(numbers(&kept[..9]), Err(NoModel::Length(9)));
    }
}
