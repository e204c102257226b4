//! What must hold for any bytes at all?
//!
//! The readers of the media room, taken in by path, and what each promises.
//! Panics are what the fuzzer looks for; the assertions here are the rest.

use std::io::Cursor;

#[path = "../media/bext.rs"]
pub mod bext;
#[path = "../media/boxes.rs"]
pub mod boxes;
#[path = "../media/ixml.rs"]
pub mod ixml;
#[path = "../media/riff/mod.rs"]
pub mod riff;
#[path = "../media/stamps.rs"]
pub mod stamps;

/// The samples lie inside the file, and no more is read than there is.
pub fn wav(bytes: &[u8]) {
    let Ok(layout) = riff::read_layout(&mut Cursor::new(bytes), bytes.len() as u64) else {
        return;
    };
    let end = layout.data_start.checked_add(layout.data_len);
    assert!(end.is_some_and(|end| end <= bytes.len() as u64));
    assert!(layout.data_len >= u64::from(layout.format.block_align));
    for chunk in [layout.bext, layout.ixml].into_iter().flatten() {
        assert!(chunk.len() <= bytes.len());
        bext(&chunk);
        ixml(&chunk);
    }
}

/// A date is a date and a time a time.
pub fn bext(bytes: &[u8]) {
    let (bext, _) = bext::read(bytes);
    assert!(
        bext.date
            .is_none_or(|date| date.parse::<jiff::civil::Date>().is_ok())
    );
    assert!(
        bext.time
            .is_none_or(|time| time.parse::<jiff::civil::Time>().is_ok())
    );
}

/// Nothing that somebody could divide by is zero.
pub fn ixml(bytes: &[u8]) {
    let (ixml, _) = ixml::read(bytes);
    assert_ne!(ixml.rate_hz, Some(0));
    let rate = ixml
        .frame_rate
        .as_deref()
        .map(|rate| rate.trim_end_matches(" DF"));
    assert!(rate.is_none_or(|rate| !rate.is_empty() && !rate.ends_with("/0") && rate != "0"));
}

/// The walk ends, and tables are no larger than the file.
pub fn boxes(bytes: &[u8]) {
    if let Ok(Some(movie)) = boxes::read_movie(&mut Cursor::new(bytes), bytes.len() as u64) {
        assert!(movie.tracks.len() * 8 <= bytes.len());
        assert!(
            movie
                .tracks
                .iter()
                .all(|track| track.edits.len() * 12 <= bytes.len())
        );
    }
}
