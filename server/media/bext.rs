//! What does the Broadcast Wave chunk say about when this was recorded?
//!
//! Offsets from EBU Tech 3285. In: the chunk's bytes, of any length and
//! content. Out: a [`Bext`] with what could be read, and the problems met.
//! Never fails: a stamp that cannot be read is no stamp.

use super::stamps::{clock_text, date_text};

// EBU Tech 3285: offset and length of the fields read here.
const DATE: (usize, usize) = (320, 10);
const TIME: (usize, usize) = (330, 8);
const REFERENCE_LOW: usize = 338;
const REFERENCE_HIGH: usize = 342;
const HISTORY: usize = 602;
/// Longest coding history kept, in bytes; real ones have a few lines.
const HISTORY_MAX: usize = 16 * 1024;

/// The fields of a bext chunk that say when, and what was done to the sound.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Bext {
    /// OriginationDate as `yyyy-mm-dd`, if it is a date.
    pub date: Option<String>,
    /// OriginationTime as `hh:mm:ss`, if it is a time.
    pub time: Option<String>,
    /// TimeReference: samples since midnight at the first sample. Unsigned
    /// 64 bit: 14:00:00 at 48 kHz is above 2^31.
    pub samples: Option<u64>,
    /// CodingHistory as it stands (EBU R 98), empty when there is none.
    pub history: String,
}

/// Reads a bext chunk; returns what it says and what was wrong with it.
#[must_use]
pub fn read(bytes: &[u8]) -> (Bext, Vec<String>) {
    let mut warnings = Vec::new();
    let samples = bytes
        .get(REFERENCE_LOW..REFERENCE_HIGH + 4)
        .map(|reference| {
            let mut raw = [0; 8];
            raw.copy_from_slice(reference);
            u64::from_le_bytes(raw)
        });
    if samples.is_none() {
        warnings.push(format!(
            "the bext chunk is cut short ({} bytes)",
            bytes.len()
        ));
    }
    let (date, time) = (field(bytes, DATE), field(bytes, TIME));
    let bext = Bext {
        date: date_text(&date),
        time: clock_text(&time),
        samples,
        history: field(bytes, (HISTORY, HISTORY_MAX)),
    };
    if bext.date.is_none() && !date.is_empty() {
        warnings.push("the bext date is no date".into());
    }
    if bext.time.is_none() && !time.is_empty() {
        warnings.push("the bext time is no time of day".into());
    }
    (bext, warnings)
}

/// A text field up to its first zero byte; spaces at the ends do not count.
fn field(bytes: &[u8], (at, len): (usize, usize)) -> String {
    let end = (at + len).min(bytes.len());
    let raw = bytes.get(at..end).unwrap_or_default();
    let raw = raw.split(|byte| *byte == 0).next().unwrap_or_default();
    String::from_utf8_lossy(raw).trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chunk(date: &str, time: &str, reference: u64) -> Vec<u8> {
        let mut bytes = vec![0; 602]; // EBU Tech 3285: without coding history
        bytes[320..320 + date.len()].copy_from_slice(date.as_bytes());
        bytes[330..330 + time.len()].copy_from_slice(time.as_bytes());
        bytes[338..346].copy_from_slice(&reference.to_le_bytes());
        bytes
    }

    #[test]
    fn time_reference_is_unsigned_and_64_bit() {
        // Arithmetic of EBU Tech 3285: seconds since midnight times the rate.
        for (reference, rate, seconds) in [
            (172_800_000_u64, 48_000, 3_600),
            (2_419_200_000, 48_000, 14 * 3_600), // above 2^31
            (4_147_200_000, 48_000, 86_400),
            ((1 << 32) + 3_999_336_704, 96_000, 86_399),
        ] {
            let (bext, warnings) = read(&chunk("2026-06-20", "14:00:00", reference));
            assert_eq!(bext.samples, Some(reference));
            assert_eq!(bext.samples.unwrap() / rate, seconds);
            assert!(warnings.is_empty());
        }
    }

    #[test]
    fn dates_with_other_separators_are_read_and_nonsense_is_not() {
        let (bext, _) = read(&chunk("2026:06:20", "14-03-09", 1));
        assert_eq!(bext.date.as_deref(), Some("2026-06-20"));
        assert_eq!(bext.time.as_deref(), Some("14:03:09"));
        let (bext, warnings) = read(&chunk("2026-13-40", "25:00:00", 1));
        assert_eq!((bext.date, bext.time), (None, None));
        assert_eq!(warnings.len(), 2);
    }

    #[test]
    fn every_cut_is_read_without_a_panic() {
        let whole = chunk("2026-06-20", "14:00:00", 7);
        for len in 0..whole.len() {
            let (bext, _) = read(&whole[..len]);
            assert_eq!(bext.samples.is_some(), len >= 346);
        }
    }
}
