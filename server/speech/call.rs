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
//! - The library's times by alignment abort the process when a pass holds less
//!   than 160 ms (`median_filter`: 7 < frames / 2, where the frames are the
//!   least of 3,000, the pass's last time mark and the sound left). So a call
//!   makes one pass only, of at least [`LEAST_FRAMES`], in which the model can't
//!   choose an earlier mark: [`choose`] takes them away. What goes from pass to
//!   pass is then ours ([`run`], [`passed`]), by the library's own rules, of which
//!   it tells only what it chose before the last token. Its other word times look
//!   at the wrong samples for all phrases but the first.
//! - Its probability that nobody speaks is that of another place than the model was
//!   taught at as soon as a prompt or a language stands before it, and it is told
//!   only when it may be too late: [`choose`] reads it itself, and ends a pass over
//!   silence or noise there and then, where the library would try six drafts.

use std::collections::HashMap;
use std::ffi::{c_int, c_void};
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};

use sayback_core::Cancel;
use sayback_core::units::ANALYSIS_RATE_HZ;
use whisper_rs::whisper_rs_sys as sys;
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperError, WhisperState};

use super::belief::SILENT;
use super::passes::{
    Encoder, FRAME_MS, MARK_FRAMES, MOST_TOKENS, most_tokens, passed, places, share,
};
use super::words::Phrase;
use super::{log, said};

/// The language reported when the library names none.
const ENGLISH: &str = "en";
/// The library's word for "find out".
pub(super) const DETECT: &str = "auto";
/// Drafts for each window at temperatures above 0: one, as more need 60 MB
/// more memory.
const DRAFTS: c_int = 1;

/// Least of a pass that the alignment takes, in frames of 10 ms.
const LEAST_FRAMES: c_int = 16;
/// The same in samples.
const FRAME_SAMPLES: usize = ANALYSIS_RATE_HZ as usize / 100;
/// A last pass with less sound than this, in frames, goes without the words
/// before it, which would confuse it (the library's own rule).
const SHORT_FRAMES: c_int = 500;
/// Drafts of a pass that know the words before it: those below temperature 0.5 (the
/// library's own rule). After another the words before are forgotten.
const KNOWING_DRAFTS: c_int = 3;
/// What a running call shares with whoever waits for it.
pub(super) struct Job {
    cancel: Cancel,
    /// Frames of the sound, where the pass began, and how far the call is.
    frames: c_int,
    from: AtomicI32,
    done: AtomicI32,
    /// The first time mark of the model.
    zero: c_int,
    /// Whether this call's one pass has begun.
    begun: AtomicBool,
    /// Drafts of the pass so far, each at a higher temperature.
    drafts: AtomicI32,
    /// Whether the pass begins such that the model tells how likely it is that nobody
    /// speaks, and that: bits of a number, not a number where it does not tell.
    tells: AtomicBool,
    no_speech: AtomicU32,
    /// The tokens of the draft so far, all but the last.
    tokens: Mutex<Vec<c_int>>,
}

impl Job {
    /// For so many samples.
    pub(super) fn new(cancel: Cancel, context: &WhisperContext, samples: usize) -> Self {
        Self {
            cancel,
            frames: c_int::try_from(samples / FRAME_SAMPLES).unwrap_or(c_int::MAX),
            from: AtomicI32::new(0),
            done: AtomicI32::new(0),
            zero: context.token_beg(),
            begun: AtomicBool::new(false),
            drafts: AtomicI32::new(0),
            tells: AtomicBool::new(false),
            no_speech: AtomicU32::new(f32::NAN.to_bits()),
            tokens: Mutex::new(Vec::new()),
        }
    }

    /// What stops it.
    pub(super) fn cancel(&self) -> &Cancel {
        &self.cancel
    }

    fn tokens(&self) -> std::sync::MutexGuard<'_, Vec<c_int>> {
        self.tokens.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How likely it is that nobody speaks in the last pass, if that is known.
    pub(super) fn no_speech(&self) -> Option<f32> {
        let told = f32::from_bits(self.no_speech.load(Ordering::Relaxed));
        (!told.is_nan()).then_some(told)
    }

    fn tell(&self, told: Option<f32>) {
        let bits = told.unwrap_or(f32::NAN).to_bits();
        self.no_speech.store(bits, Ordering::Relaxed);
    }

    fn is_silent(&self) -> bool {
        self.no_speech().is_some_and(|told| told >= SILENT)
    }

    /// How far the call is, 0 to 1.
    pub(super) fn progress(&self) -> f32 {
        let done = self.done.load(Ordering::Relaxed) as f32;
        (done / self.frames.max(1) as f32).clamp(0.0, 1.0)
    }
}

/// What a call found: the language it heard and the phrases.
pub(super) type Found = Result<(String, Vec<Phrase>), WhisperError>;

/// The parameters of each language, made once: their text leaks.
pub(super) struct Parameters {
    threads: c_int,
    made: Mutex<HashMap<&'static str, FullParams<'static, 'static>>>,
}

impl Parameters {
    pub(super) fn new(threads: c_int) -> Self {
        Self {
            threads,
            made: Mutex::default(),
        }
    }

    fn of(&self, language: &'static str) -> FullParams<'static, 'static> {
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        made.entry(language)
            .or_insert_with(|| parameters(language, self.threads))
            .clone()
    }
}

fn parameters(language: &'static str, threads: c_int) -> FullParams<'static, 'static> {
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

/// The whole of a call's foreign work, on its own thread: pass after pass, as
/// the library would make them.
pub(super) fn run(
    context: &WhisperContext,
    parameters: &Parameters,
    mut language: &'static str,
    prompt: &[c_int],
    sound: &[f32],
    encoder: Encoder,
    job: &Job,
) -> Found {
    let mut state = context.create_state()?;
    let (mut prompt, mut from) = (prompt.to_vec(), 0);
    let mut found = Vec::new();
    // The library knows how long its spectra are once it has made them.
    while !job.cancel.is_cancelled() && (from == 0 || state.n_len() - from >= LEAST_FRAMES) {
        if from > 0 && state.n_len() - from <= SHORT_FRAMES {
            prompt.clear();
        }
        // The first number of a pass is for the start alone only then; else it is asked
        // for afterwards.
        let tells = language == DETECT || (!context.is_multilingual() && prompt.is_empty());
        job.tells.store(tells, Ordering::Relaxed);
        pass(
            &mut state,
            parameters.of(language),
            &prompt,
            sound,
            from,
            encoder,
            job,
        )?;
        let mut start = said::Start::default();
        if !tells || context.is_multilingual() {
            start = said::start(&mut state, context);
        }
        if tells {
            start.nobody = job.no_speech();
        } else {
            job.tell(start.nobody);
        }
        let mut words = said::phrases(&state, context, start);
        if job.is_silent() {
            words.clear();
        }
        language = whisper_rs::get_lang_str(state.full_lang_id_from_state()).unwrap_or(ENGLISH);
        let noted = std::mem::take(&mut *job.tokens());
        let (tokens, next) = passed(noted, said::closing(&state), job.zero);
        if job.drafts.load(Ordering::Relaxed) > KNOWING_DRAFTS {
            prompt.clear();
        }
        if !words.is_empty() {
            prompt.extend(tokens);
            let old = prompt.len().saturating_sub(MOST_TOKENS as usize);
            prompt.drain(..old);
        }
        found.extend(words);
        match next {
            Some(next) => from += next,
            None => break,
        }
    }
    Ok((language.to_owned(), found))
}

/// One pass of the model over what is up to 30 s from a frame on.
fn pass(
    state: &mut WhisperState,
    mut parameters: FullParams<'static, 'static>,
    prompt: &[c_int],
    sound: &[f32],
    from: c_int,
    encoder: Encoder,
    job: &Job,
) -> Result<(), WhisperError> {
    job.begun.store(false, Ordering::Relaxed);
    job.drafts.store(0, Ordering::Relaxed);
    job.tell(None);
    job.from.store(from, Ordering::Relaxed);
    let shared = std::ptr::from_ref(job).cast_mut().cast::<c_void>();
    // SAFETY: the callbacks have the types the library asks for, and `shared`
    // points to a `Job` that outlives `full` below, which is the only call
    // that uses these parameters. None of them panics.
    #[allow(unsafe_code)]
    unsafe {
        parameters.set_abort_callback(Some(should_stop));
        parameters.set_abort_callback_user_data(shared);
        parameters.set_progress_callback(Some(note_progress));
        parameters.set_progress_callback_user_data(shared);
        parameters.set_start_encoder_callback(Some(once));
        parameters.set_start_encoder_callback_user_data(shared);
        parameters.set_filter_logits_callback(Some(choose));
        parameters.set_filter_logits_callback_user_data(shared);
    }
    let mut parameters: FullParams<'_, '_> = parameters;
    parameters.set_offset_ms(from * FRAME_MS);
    parameters.set_max_tokens(most_tokens(job.frames - from));
    if encoder == Encoder::Cut {
        parameters.set_audio_ctx(places(job.frames - from));
        // A second opinion is one draft.
        parameters.set_temperature_inc(0.0);
    }
    if !prompt.is_empty() {
        parameters.set_tokens(prompt);
    }
    state.full(parameters, sound)?;
    // That no second pass was allowed is an error to the library.
    drop(log::last_error());
    Ok(())
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
    let from = job.from.load(Ordering::Relaxed);
    let done = from + (job.frames - from) / 100 * percent.clamp(0, 100);
    job.done.fetch_max(done, Ordering::Relaxed);
}

/// Says yes to the first pass of a call and no to all others.
#[allow(unsafe_code)]
unsafe extern "C" fn once(
    _: *mut sys::whisper_context,
    _: *mut sys::whisper_state,
    shared: *mut c_void,
) -> bool {
    // SAFETY: as in `should_stop`.
    let job = unsafe { &*shared.cast_const().cast::<Job>() };
    !job.begun.swap(true, Ordering::Relaxed)
}

/// Notes what was chosen so far, and takes the time marks away that would end
/// the process (see the top). Where surely nobody speaks, the pass ends.
#[allow(unsafe_code)]
unsafe extern "C" fn choose(
    context: *mut sys::whisper_context,
    state: *mut sys::whisper_state,
    tokens: *const sys::whisper_token_data,
    count: c_int,
    logits: *mut f32,
    shared: *mut c_void,
) {
    // SAFETY: as in `should_stop`.
    let job = unsafe { &*shared.cast_const().cast::<Job>() };
    // SAFETY: the library calls with the context and state it works on.
    let tokens_known = unsafe { usize::try_from(sys::whisper_n_vocab(context)).unwrap_or(0) };
    if count == 0
        && job.drafts.fetch_add(1, Ordering::Relaxed) == 0
        && job.tells.load(Ordering::Relaxed)
    {
        // SAFETY: the logits of one token at least, of which the first is the start.
        let (first, silent) = unsafe {
            let first = sys::whisper_get_logits_from_state(state);
            (
                std::slice::from_raw_parts(first, tokens_known),
                sys::whisper_token_nosp(context),
            )
        };
        job.tell(
            usize::try_from(silent)
                .ok()
                .map(|silent| share(first, silent)),
        );
    }
    if job.is_silent() {
        // SAFETY: a logit for each token of the vocabulary.
        let (logits, end) = unsafe {
            (
                std::slice::from_raw_parts_mut(logits, tokens_known),
                sys::whisper_token_eot(context),
            )
        };
        logits.fill(f32::NEG_INFINITY);
        if let Some(end) = usize::try_from(end)
            .ok()
            .and_then(|end| logits.get_mut(end))
        {
            *end = 0.0;
        }
        return;
    }
    let mut noted = job.tokens();
    noted.clear();
    for at in 0..usize::try_from(count).unwrap_or(0) {
        // SAFETY: the library passes `count` tokens.
        noted.push(unsafe { (*tokens.add(at)).id });
    }
    // Mark 0 moves nothing on.
    for mark in 1..LEAST_FRAMES / MARK_FRAMES {
        // SAFETY: a logit for each number of the vocabulary, of which the last
        // 1,501 are the time marks.
        unsafe { *logits.add((job.zero + mark) as usize) = f32::NEG_INFINITY };
    }
}
