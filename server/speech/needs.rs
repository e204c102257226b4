//! How much memory does a model need?
//!
//! Told by the sizes in its head, before anything is loaded. The library ends
//! the process where it gets no memory, so what does not fit is refused here.

use std::path::Path;

use super::ggml::{self, AUDIO_CONTEXT, SPECTRUM_POINTS, Sizes, TEXT_CONTEXT};
use super::passes::MOST_TOKENS;
use super::{SpeechError, quantise};

/// Bytes of a float.
const F32: u64 = 4;
/// Keys and values of the attention are 16-bit floats, one of each.
const PAIR: u64 = 2 * 2;
/// The library makes contexts a multiple of this.
const ROUND: u64 = 256;
/// Numbers for each frame and unit of width that are there at once in the
/// encoder. This and the next are fitted to the peaks of tiny.en and base.
const ENCODER_WIDTHS: f64 = 4.5;
/// Samples, spectra, vocabulary, work space of the threads; some 15 MB of it are
/// for passes with more tokens than the 30 s that were measured.
const SMALL_THINGS: u64 = 50_000_000;

/// The most memory in bytes that a model file takes while it is loaded and
/// recognises a window, its weights included; 8 to 13 percent more than measured
/// with tiny.en and base.
/// Reads only the heads of its tensors.
///
/// # Errors
/// [`SpeechError::NotAModel`], [`SpeechError::Io`].
pub fn memory_needed(file: &Path) -> Result<u64, SpeechError> {
    Ok(needed(&ggml::inspect(file)?))
}

/// Refuses a model that needs more than is `free`, in bytes; none if that is
/// not known.
pub(super) fn check(file: &Path, sizes: &Sizes, free: Option<u64>) -> Result<(), SpeechError> {
    let needs = needed(sizes);
    match free {
        Some(free) if free < needs => Err(no_room(file, needs, free)),
        _ => Ok(()),
    }
}

/// [`memory_needed`] of a model of these sizes.
pub(super) fn needed(sizes: &Sizes) -> u64 {
    // What was turned to 8 bits is there twice until the library has copied it.
    let (held, loading) = if sizes.file_type == quantise::FILE_TYPE_F16 {
        let held = weights(&quantise::turned(sizes));
        (held, held)
    } else {
        (weights(sizes), 0)
    };
    held + loading.max(working(sizes)) + SMALL_THINGS
}

/// Refuses another recogniser of a loaded model beside `others` where they can't all
/// have a window in what is `free`, in bytes. The first was asked about by [`check`].
pub(super) fn check_beside(
    file: &Path,
    window: u64,
    others: usize,
    free: Option<u64>,
) -> Result<(), SpeechError> {
    // Those that rest have theirs yet to take.
    let needs = window.saturating_mul((others as u64).saturating_add(1));
    match free {
        Some(free) if others > 0 && free < needs => Err(no_room(file, needs, free)),
        _ => Ok(()),
    }
}

fn no_room(file: &Path, needs: u64, free: u64) -> SpeechError {
    SpeechError::NoRoom {
        file: file.to_owned(),
        needs_mb: needs.div_ceil(1_000_000),
        free_mb: free / 1_000_000,
    }
}

/// Bytes of all tensors.
fn weights(sizes: &Sizes) -> u64 {
    sizes.tensors().iter().map(|tensor| tensor.bytes()).sum()
}

/// Bytes of what the library keeps for a window.
pub(super) fn working(sizes: &Sizes) -> u64 {
    let width = u64::from(sizes.audio_state);
    let layers = u64::from(sizes.text_layers);
    let frames = u64::from(AUDIO_CONTEXT);
    let heads = u64::from(sizes.audio_heads);
    let tokens = u64::from(MOST_TOKENS.unsigned_abs());
    let (sound, text) = (
        frames.next_multiple_of(ROUND),
        u64::from(TEXT_CONTEXT).next_multiple_of(ROUND),
    );
    let attention = PAIR * width * (layers * (text + sound) + sound);
    // Two convolutions over the spectrum, which has two frames for each of the
    // encoder's.
    let convolution = F32 * 2 * frames * (2 * width + u64::from(SPECTRUM_POINTS));
    let encoder = F32 * frames * (frames * heads + (ENCODER_WIDTHS * width as f64) as u64);
    let cross = F32 * frames * width;
    // The alignment decodes a pass at once: a number for each word of the
    // vocabulary, twice, and for each frame by each head of each layer.
    let scores = frames * heads * layers;
    let decoder = F32 * tokens * (2 * u64::from(sizes.vocabulary) + scores);
    attention + convolution + encoder + cross + decoder
}

#[cfg(test)]
#[path = "needs_tests.rs"]
mod tests;
