//! What did a finished pass find?

use std::ffi::c_int;

use whisper_rs::{WhisperContext, WhisperState};

use super::passes::{FRAME_MS, likeliest, share};
use super::words::{Phrase, Token};

/// What the model holds of the sound that a state took in last, before any word.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Start {
    /// How likely it is that nobody speaks, 0 to 1.
    pub nobody: Option<f32>,
    /// How likely its likeliest language is among all that it knows, 0 to 1; none where
    /// it knows only one.
    pub language: Option<f32>,
}

/// Asks for it.
///
/// The model was taught to say so right after its start and before all else, so it is
/// asked for that one token once more, which costs a hundredth of taking the sound in.
pub(super) fn start(state: &mut WhisperState, context: &WhisperContext) -> Start {
    if state.decode(&[context.token_sot()], 0, 1).is_err() {
        return Start::default();
    }
    let Ok(logits) = state.get_logits() else {
        return Start::default();
    };
    let at = |token: c_int| usize::try_from(token).ok();
    let nobody = at(context.token_nosp()).map(|nobody| share(logits, nobody));
    // Languages that it does not know have the numbers of tasks.
    let tongues = at(context.token_lang(0))
        .zip(at(context.token_translate()))
        .filter(|_| context.is_multilingual())
        .and_then(|(first, end)| logits.get(first..end));
    let language = tongues.map(likeliest);
    let number = |told: Option<f32>| told.filter(|told| !told.is_nan());
    Start {
        nobody: number(nobody),
        language: number(language),
    }
}

/// The last token of a finished pass's last phrase.
pub(super) fn closing(state: &WhisperState) -> Option<c_int> {
    let segment = state.as_iter().last()?;
    let last = segment.n_tokens().checked_sub(1)?;
    Some(segment.get_token(last)?.token_data().id)
}

/// The phrases of a finished pass.
pub(super) fn phrases(state: &WhisperState, context: &WhisperContext, start: Start) -> Vec<Phrase> {
    // By the alignment a token's time is where it ends, and the next begins.
    let mut begun = None;
    let mut phrases = Vec::new();
    for segment in state.as_iter() {
        let tokens = (0..segment.n_tokens())
            .filter_map(|index| {
                let token = segment.get_token(index)?;
                let data = token.token_data();
                // Numbers from the end of text on are not text.
                if data.id >= context.token_eot() {
                    return None;
                }
                let ended = (data.t_dtw >= 0).then_some(data.t_dtw * i64::from(FRAME_MS));
                Some(Token {
                    bytes: token.to_bytes().ok()?.to_vec(),
                    probability: data.p,
                    from_ms: std::mem::replace(&mut begun, ended),
                    to_ms: ended,
                })
            })
            .collect();
        phrases.push(Phrase {
            from_ms: segment.start_timestamp() * i64::from(FRAME_MS),
            to_ms: segment.end_timestamp() * i64::from(FRAME_MS),
            tokens,
            no_speech: start.nobody,
            language: start.language,
        });
    }
    phrases
}
