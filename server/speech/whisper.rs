//! The recogniser: whisper.cpp behind the trait. The only foreign code here.
//!
//! What bites in whisper-rs 0.16.0 and the library below it (1.8.3):
//! - `set_abort_callback_safe` passes a pointer of another type than its
//!   callback reads; `set_progress_callback_safe` leaks. Both are set raw, on
//!   one [`Job`] per call.
//! - The library asks whether to stop only between passes, and a pass of a
//!   large model takes a minute. So each call runs on a thread of its own and
//!   is left behind when cancelled; the next call waits for it to end.
//! - `tokenize` believes a negative count; it gets room for a token a byte.
//! - `set_language` leaks its text, so parameters are kept for each language.
//! - The random numbers of the temperature fallback go on from call to call:
//!   every call gets a fresh state, so that a window's words do not depend on
//!   the windows before it. It costs 20 ms.

use std::collections::HashMap;
use std::ffi::{c_int, c_void};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI32, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use sayback_core::Cancel;
use sayback_core::units::ANALYSIS_RATE_HZ;
use whisper_rs::whisper_rs_sys as sys;
use whisper_rs::{
    FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters, WhisperError,
    WhisperSegment, WhisperState,
};

use super::recogniser::{Ask, HeardWord, Recogniser};
use super::timing::{self, Loudness};
use super::words::{self, Phrase, Token};
use super::{SpeechError, ggml, log, memory};

/// The language of a model that knows only one.
const ENGLISH: &str = "en";
/// The library's word for "find out".
const DETECT: &str = "auto";
/// A window is padded to this with silence: the model was made for longer
/// ones, and the library ignores less than 100 ms.
const SHORTEST_SAMPLES: usize = ANALYSIS_RATE_HZ as usize;
/// Prompt tokens that count: half the text context, less one.
const PROMPT_TOKENS: usize = ggml::TEXT_CONTEXT as usize / 2 - 1;
/// How often a waiting call looks at its flag.
const LOOK: Duration = Duration::from_millis(20);
/// A hint of a time mark weaker than this is none (the library's own
/// `thold_pt` and `thold_ptsum`).
const MARK_PROBABILITY: f32 = 0.01;

/// Drafts for each window at temperatures above 0: one, as more need 60 MB
/// more memory.
const DRAFTS: c_int = 1;

/// A loaded speech model.
pub struct Whisper {
    context: Arc<WhisperContext>,
    name: String,
    english_only: bool,
    threads: c_int,
    parameters: HashMap<&'static str, FullParams<'static, 'static>>,
    left_behind: Option<JoinHandle<()>>,
}

/// What a running call shares with whoever waits for it.
struct Job {
    cancel: Cancel,
    percent: AtomicI32,
}

/// What a call found: the language it heard and the phrases.
type Found = Result<(String, Vec<Phrase>), WhisperError>;

impl Whisper {
    /// Loads a model file that [`super::ModelShelf::path`] accepted, to run on
    /// `threads` threads.
    ///
    /// Keeps the file's size in memory, and while recognising another 130 MB
    /// (tiny) to several GB (large).
    ///
    /// # Errors
    /// [`SpeechError::NotAModel`] if the file is damaged,
    /// [`SpeechError::Load`] if the library refuses it.
    pub fn load(file: &Path, threads: usize) -> Result<Self, SpeechError> {
        log::install();
        memory::give_back_large_blocks();
        let sizes = ggml::inspect(file)?;
        let context = WhisperContext::new_with_params(file, WhisperContextParameters::default())
            .map_err(|_| SpeechError::Load {
                file: file.to_owned(),
                reason: log::last_error(),
            })?;
        Ok(Self {
            context: Arc::new(context),
            name: file
                .file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            english_only: sizes.english_only(),
            threads: c_int::try_from(threads.clamp(1, 64)).unwrap_or(1),
            parameters: HashMap::new(),
            left_behind: None,
        })
    }

    /// The library's own text for a language this model knows.
    fn language(&self, asked: Option<&str>) -> Result<&'static str, SpeechError> {
        let Some(language) = asked else {
            return Ok(if self.english_only { ENGLISH } else { DETECT });
        };
        let id = if language.chars().all(|c| c.is_ascii_lowercase()) {
            whisper_rs::get_lang_id(language)
        } else {
            None
        };
        // Token numbers of the languages lie before the one of the first task.
        id.filter(|&id| {
            if self.english_only {
                language == ENGLISH
            } else {
                self.context.token_lang(id) < self.context.token_translate()
            }
        })
        .and_then(whisper_rs::get_lang_str)
        .ok_or_else(|| SpeechError::Language {
            language: language.into(),
            model: self.name.clone(),
        })
    }

    fn parameters(&mut self, language: &'static str) -> FullParams<'static, 'static> {
        let threads = self.threads;
        self.parameters
            .entry(language)
            .or_insert_with(|| parameters(language, threads))
            .clone()
    }

    /// Tokens of the prompt's end.
    fn prompt(&self, ask: &Ask) -> Vec<c_int> {
        let text = ask.prompt.as_deref().unwrap_or_default().replace('\0', " ");
        let tokens = if text.trim().is_empty() {
            Vec::new()
        } else {
            // Never more tokens than bytes.
            self.context
                .tokenize(&format!(" {}", text.trim()), text.len() + 2)
                .unwrap_or_default()
        };
        let skip = tokens.len().saturating_sub(PROMPT_TOKENS);
        tokens[skip..].to_vec()
    }

    fn wait_for_left_behind(&mut self) {
        if let Some(thread) = self.left_behind.take() {
            // A panic there has no words to lose.
            let _ = thread.join();
        }
    }
}

impl Drop for Whisper {
    fn drop(&mut self) {
        // The process must not end under running foreign code.
        self.wait_for_left_behind();
    }
}

impl std::fmt::Debug for Whisper {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Whisper")
            .field("model", &self.name)
            .field("threads", &self.threads)
            .finish_non_exhaustive()
    }
}

impl Recogniser for Whisper {
    fn recognise(
        &mut self,
        samples: &[f32],
        ask: &Ask,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError> {
        let language = self.language(ask.language.as_deref())?;
        if cancel.is_cancelled() {
            return Err(SpeechError::Cancelled);
        }
        if samples.is_empty() {
            return Ok(Vec::new());
        }
        self.wait_for_left_behind();
        let seconds = samples.len() as f64 / f64::from(ANALYSIS_RATE_HZ);
        let failed = |reason: String| SpeechError::Recognise { seconds, reason };

        let sound = clean(samples);
        let loudness = Loudness::new(&sound[..samples.len()]);
        let window_ms = (samples.len() as i64 * 1000 / i64::from(ANALYSIS_RATE_HZ)).max(1);
        let parameters = self.parameters(language);
        let prompt = self.prompt(ask);
        let job = Arc::new(Job {
            cancel: cancel.clone(),
            percent: AtomicI32::new(0),
        });
        let (send, receive) = mpsc::channel();
        let (context, shared) = (Arc::clone(&self.context), Arc::clone(&job));
        let thread = thread::Builder::new()
            .name("speech".into())
            .spawn(move || {
                // Nobody listens any more after a cancel.
                let _ = send.send(run(&context, parameters, &prompt, &sound, &shared));
            })
            .map_err(|error| failed(error.to_string()))?;
        self.left_behind = Some(thread);

        let found = loop {
            match receive.recv_timeout(LOOK) {
                Ok(found) => break found,
                Err(RecvTimeoutError::Timeout) if cancel.is_cancelled() => {
                    return Err(SpeechError::Cancelled);
                }
                Err(RecvTimeoutError::Timeout) => {
                    progress(job.percent.load(Ordering::Relaxed).clamp(0, 100) as f32 / 100.0);
                }
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(failed("its thread ended without an answer".into()));
                }
            }
        };
        self.wait_for_left_behind();
        if cancel.is_cancelled() {
            return Err(SpeechError::Cancelled);
        }
        let (language, phrases) =
            found.map_err(|error| failed(format!("{error} ({})", log::last_error())))?;
        progress(1.0);
        Ok(heard(&phrases, &language, &loudness, window_ms))
    }
}

/// Samples without the values the model cannot take, padded to the least.
fn clean(samples: &[f32]) -> Vec<f32> {
    let mut sound: Vec<f32> = samples
        .iter()
        .map(|&s| {
            if s.is_finite() {
                s.clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
        .collect();
    if sound.len() < SHORTEST_SAMPLES {
        sound.resize(SHORTEST_SAMPLES, 0.0);
    }
    sound
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

/// The whole of a call's foreign work, on its own thread.
fn run(
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

/// Words with times, in order, inside the window.
fn heard(
    phrases: &[Phrase],
    language: &str,
    loudness: &Loudness,
    window_ms: i64,
) -> Vec<HeardWord> {
    let mut all: Vec<HeardWord> = Vec::new();
    for phrase in phrases {
        let spelled = words::spell(&phrase.tokens, language);
        let begun = all.last().map_or(0, |word| word.end_ms);
        let times = timing::times(&spelled, phrase.from_ms.max(begun), phrase.to_ms, loudness);
        all.extend(
            spelled
                .into_iter()
                .zip(times)
                .map(|(word, (start_ms, end_ms))| HeardWord {
                    text: word.text,
                    start_ms,
                    end_ms,
                    confidence: word.confidence,
                }),
        );
    }
    let texts: Vec<&str> = all.iter().map(|word| word.text.as_str()).collect();
    let mut keep = words::unlooped(&texts).into_iter();
    all.retain(|_| keep.next().unwrap_or(true));
    // Words crowded at the end move back into the window; what finds no room
    // there was not said in it.
    let mut limit = window_ms;
    for word in all.iter_mut().rev() {
        word.end_ms = word.end_ms.min(limit);
        word.start_ms = word.start_ms.min(word.end_ms - 1);
        limit = word.start_ms;
    }
    all.retain(|word| word.start_ms >= 0);
    all
}
