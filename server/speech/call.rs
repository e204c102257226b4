//! One call of the C library, from parameters to phrases. The foreign code.
//!
//! What bites in whisper-rs 0.16.0 and the library below it (1.8.3):
//! - `set_abort_callback_safe` passes a pointer of another type than its
//!   callback reads; `set_progress_callback_safe` leaks. Both are set raw, on
//!   one [`Job`] per call.
//! - `set_language` leaks its text: parameters are made once for a language.
//! - The random numbers of the temperature fallback go on from call to call:
//!   every call gets a fresh state, so that a window's words do not depend on
//!   the windows before it. It costs 20 ms.
//! - The library's word times by alignment abort the process when a phrase is
//!   shorter than 160 ms, and its other ones look at the wrong samples for all
//!   phrases but the first: neither is used, see [`super::timing`].

use std::ffi::{c_int, c_void};
use std::sync::atomic::{AtomicI32, Ordering};

use sayback_core::Cancel;
use whisper_rs::whisper_rs_sys as sys;
use whisper_rs::{
    FullParams, SamplingStrategy, WhisperContext, WhisperError, WhisperSegment, WhisperState,
};

use super::words::{Phrase, Token};

/// The language reported when the library names none.
const ENGLISH: &str = "en";
/// A hint of a time mark weaker than this is none (the library's own
/// `thold_pt` and `thold_ptsum`).
const MARK_PROBABILITY: f32 = 0.01;
/// Drafts for each window at temperatures above 0: one, as more need 60 MB
/// more memory.
const DRAFTS: c_int = 1;

/// What a running call shares with whoever waits for it.
pub(super) struct Job {
    cancel: Cancel,
    percent: AtomicI32,
}

impl Job {
    pub(super) fn new(cancel: Cancel) -> Self {
        Self {
            cancel,
            percent: AtomicI32::new(0),
        }
    }

    /// How far the call is, 0 to 1.
    pub(super) fn progress(&self) -> f32 {
        self.percent.load(Ordering::Relaxed).clamp(0, 100) as f32 / 100.0
    }
}

/// What a call found: the language it heard and the phrases.
pub(super) type Found = Result<(String, Vec<Phrase>), WhisperError>;

pub(super) fn parameters(language: &'static str, threads: c_int) -> FullParams<'static, 'static> {
    let mut parameters = FullParams::new(SamplingStrategy::Greedy { best_of: DRAFTS });
    parameters.set_n_threads(threads);
    parameters.set_language(Some(language));
    parameters.set_no_context(true);
    parameters.set_suppress_blank(true);
    // Brackets, notes and other signs nobody says.
    parameters.set_suppress_nst(true);
    // Whisper's published guards: openai/whisper transcribe.py. The library
    // measures repetition by entropy instead of compression.
    parameters.set_temperature(0.0);
    parameters.set_temperature_inc(0.2);
    parameters.set_entropy_thold(2.4);
    parameters.set_logprob_thold(-1.0);
    parameters.set_no_speech_thold(0.6);
    parameters.set_print_special(false);
    parameters.set_print_progress(false);
    parameters.set_print_realtime(false);
    parameters.set_print_timestamps(false);
    parameters
}

/// The whole of a call's foreign work, on its own thread.
pub(super) fn run(
    context: &WhisperContext,
    mut parameters: FullParams<'static, 'static>,
    prompt: &[c_int],
    sound: &[f32],
    job: &Job,
) -> Found {
    let mut state = context.create_state()?;
    if job.cancel.is_cancelled() {
        return Ok((ENGLISH.into(), Vec::new()));
    }
    let shared = std::ptr::from_ref(job).cast_mut().cast::<c_void>();
    // SAFETY: the callbacks have the types the library asks for, and `shared`
    // points to a `Job` that outlives `full` below, which is the only call
    // that uses these parameters. They only load and store atomics.
    #[allow(unsafe_code)]
    unsafe {
        parameters.set_abort_callback(Some(should_stop));
        parameters.set_abort_callback_user_data(shared);
        parameters.set_progress_callback(Some(note_progress));
        parameters.set_progress_callback_user_data(shared);
    }
    let mut parameters: FullParams<'_, '_> = parameters;
    if !prompt.is_empty() {
        parameters.set_tokens(prompt);
    }
    state.full(parameters, sound)?;
    let language = whisper_rs::get_lang_str(state.full_lang_id_from_state()).unwrap_or(ENGLISH);
    Ok((language.to_owned(), phrases(&state, context)))
}

#[allow(unsafe_code)]
unsafe extern "C" fn should_stop(shared: *mut c_void) -> bool {
    // SAFETY: `run` passes a pointer to a `Job` that lives until the library
    // has returned.
    let job = unsafe { &*shared.cast_const().cast::<Job>() };
    job.cancel.is_cancelled()
}

#[allow(unsafe_code)]
unsafe extern "C" fn note_progress(
    _: *mut sys::whisper_context,
    _: *mut sys::whisper_state,
    percent: c_int,
    shared: *mut c_void,
) {
    // SAFETY: as in `should_stop`.
    let job = unsafe { &*shared.cast_const().cast::<Job>() };
    job.percent.store(percent, Ordering::Relaxed);
}

/// The phrases of a finished call.
fn phrases(state: &WhisperState, context: &WhisperContext) -> Vec<Phrase> {
    let zero = context.token_beg();
    // Hints count from where the pass began that made them.
    let mut pass_ms = 0;
    let mut phrases = Vec::new();
    for segment in state.as_iter() {
        let (from_ms, to_ms) = (segment.start_timestamp() * 10, segment.end_timestamp() * 10);
        if let Some(begun) = pass_start(&segment, zero) {
            pass_ms = begun;
        }
        let tokens = (0..segment.n_tokens())
            .filter_map(|index| {
                let token = segment.get_token(index)?;
                let data = token.token_data();
                // Numbers from the end of text on are not text.
                if data.id >= context.token_eot() {
                    return None;
                }
                let sure = data.pt > MARK_PROBABILITY && data.ptsum > MARK_PROBABILITY;
                Some(Token {
                    bytes: token.to_bytes().ok()?.to_vec(),
                    probability: data.p,
                    mark_ms: sure.then(|| pass_ms + 20 * i64::from(data.tid - zero)),
                })
            })
            .collect();
        phrases.push(Phrase {
            from_ms,
            to_ms,
            tokens,
        });
    }
    phrases
}

/// Where the pass of a phrase began, if one of its own time marks tells.
fn pass_start(segment: &WhisperSegment<'_>, zero: c_int) -> Option<i64> {
    let mark = |index| {
        let id = segment.get_token(index)?.token_id();
        (id >= zero).then(|| 20 * i64::from(id - zero))
    };
    let last = segment.n_tokens() - 1;
    mark(0)
        .map(|first| segment.start_timestamp() * 10 - first)
        .or_else(|| mark(last).map(|end| segment.end_timestamp() * 10 - end))
}
