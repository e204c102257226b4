//! What every recogniser of speech is asked, and answers.

use sayback_core::Cancel;
use sayback_core::text::HeardText;

use super::SpeechError;

/// A word heard in a window.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HeardWord {
    /// The word as it would be written, with its punctuation.
    pub text: String,
    /// Start in ms: in the window, or in the file once placed. Right
    /// to about 50 ms, 19 of 20 to 150 ms, where the model has an alignment.
    pub start_ms: i64,
    /// End in ms, exclusive; always after the start.
    pub end_ms: i64,
    /// How sure the model is of the text, 0 to 1: the mean probability of the
    /// word's pieces, less where the word did not come again when it was heard once
    /// more.
    pub confidence: f32,
    /// The language it was heard in, as ISO 639-1 has it.
    pub language: Option<String>,
    /// What was heard at first where this is (a word of) a name that a second hearing
    /// found: all of it on the name's first word, '' on those after it.
    pub heard: Option<String>,
    /// Whether it is an ordinary word of its language: one that the model writes in one
    /// piece.
    pub ordinary: bool,
}

impl<'a> From<&'a HeardWord> for HeardText<'a> {
    fn from(word: &'a HeardWord) -> Self {
        Self {
            text: &word.text,
            confidence: word.confidence,
            ordinary: word.ordinary,
        }
    }
}

/// What is known before listening.
#[derive(Clone, Debug, Default)]
pub struct Ask {
    /// Language code (ISO 639-1) of what is said; none to have it detected in
    /// every window, which costs a second pass of the encoder.
    pub language: Option<String>,
    /// Text to lean towards, such as names; the last 140 tokens count.
    pub prompt: Option<String>,
    /// Whether it is to cost no more than there is sound, at the price of some words.
    pub brief: bool,
}

/// Something that turns samples into words. One window at a time.
pub trait Recogniser: Send {
    /// The words in `samples`: 16 kHz mono, full scale 1.0, at most 30 s.
    ///
    /// Words come in order, do not overlap and lie inside the window.
    /// `progress` gets 0 to 1.
    ///
    /// # Errors
    /// [`SpeechError::Cancelled`] within a second of `cancel`;
    /// [`SpeechError::Language`]; [`SpeechError::Recognise`].
    fn recognise(
        &mut self,
        samples: &[f32],
        ask: &Ask,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError>;

    /// How likely each of `among` is what is spoken in `samples`, the likeliest first,
    /// together 1; of all languages it knows where none is named. None where there is
    /// nothing to tell apart. It costs a pass of the encoder.
    ///
    /// # Errors
    /// [`SpeechError::Language`], [`SpeechError::Recognise`].
    fn languages(
        &mut self,
        samples: &[f32],
        among: &[String],
    ) -> Result<Vec<(String, f32)>, SpeechError> {
        let _ = (samples, among);
        Ok(Vec::new())
    }
}
