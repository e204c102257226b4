//! What did a finished pass find?

use std::ffi::c_int;

use whisper_rs::{WhisperContext, WhisperState};

use super::passes::{FRAME_MS, share};
use super::words::{Phrase, Token};

/// How likely the model holds it that nobody speaks in the sound that a state took in
/// last, 0 to 1.
///
/// The model was taught to say so right after its start and before all else, so it is
/// asked for that one token once more, which costs a hundredth of taking the sound in.
pub(super) fn nobody(state: &mut WhisperState, context: &WhisperContext) -> Option<f32> {
    state.decode(&[context.token_sot()], 0, 1).ok()?;
    let nobody = usize::try_from(context.token_nosp()).ok()?;
    let told = share(state.get_logits().ok()?, nobody);
    (!told.is_nan()).then_some(told)
}

/// The last token of a finished pass's last phrase.
pub(super) fn closing(state: &WhisperState) -> Option<c_int> {
    let segment = state.as_iter().last()?;
    let last = segment.n_tokens().checked_sub(1)?;
    Some(segment.get_token(last)?.token_data().id)
}

/// The phrases of a finished pass.
pub(super) fn phrases(
    state: &WhisperState,
    context: &WhisperContext,
    no_speech: Option<f32>,
) -> Vec<Phrase> {
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
            no_speech,
        });
    }
    phrases
}
