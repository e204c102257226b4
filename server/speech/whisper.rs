//! The recogniser: whisper.cpp behind the trait.
//!
//! The library asks whether to stop only between passes, and a pass of a large
//! model takes a minute. So each call runs on a thread of its own and is left
//! behind when cancelled; the next call waits for it to end.

use std::ffi::c_int;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use sayback_core::Cancel;
use sayback_core::text::is_ordinary;
use sayback_core::units::ANALYSIS_RATE_HZ;
use whisper_rs::{DtwParameters, WhisperContext, WhisperContextParameters, WhisperError};

use super::belief::{self, Again};
use super::call::{self, DETECT, Job, Parameters};
use super::loudness::Loudness;
use super::passes::{Encoder, MOST_TOKENS};
use super::recogniser::{Ask, HeardWord, Recogniser};
use super::timing;
use super::words::{self, Phrase, Spelled};
use super::{SpeechError, allocator, free_memory, ggml, heads, languages, log, needs, quantise};

/// The language of a model that knows only one.
const ENGLISH: &str = "en";
/// A window is padded to this with silence: the model was made for longer
/// ones, and the library ignores less than 100 ms.
const SHORTEST_SAMPLES: usize = ANALYSIS_RATE_HZ as usize;
/// Prompt tokens that count. The library would take half the text context.
const PROMPT_TOKENS: usize = MOST_TOKENS as usize;
/// What is heard again begins so long before the first piece of a word ends and goes on
/// so long after the last one, in ms.
const BEFORE_MS: i64 = 800;
const AFTER_MS: i64 = 300;
/// How often a waiting call looks at its flag.
const LOOK: Duration = Duration::from_millis(20);

/// A loaded speech model.
pub struct Whisper {
    /// Of all recognisers that share it.
    context: Arc<WhisperContext>,
    file: PathBuf,
    name: String,
    /// Bytes for a window.
    window: u64,
    english_only: bool,
    threads: c_int,
    parameters: Arc<Parameters>,
    left_behind: Option<JoinHandle<()>>,
}

impl Whisper {
    /// Loads a model file that [`super::ModelShelf::path`] accepted, to run on
    /// `threads` threads. Numbers of 16 bits are turned into 8 on the way.
    ///
    /// Keeps 0.56 of such a file in memory, the size of any other, and while
    /// recognising another 130 MB (tiny) to several GB (large).
    ///
    /// # Errors
    /// [`SpeechError::NotAModel`] if the file is damaged,
    /// [`SpeechError::NoRoom`] before it is loaded if it needs more than is free,
    /// [`SpeechError::Load`] if the library refuses it.
    pub fn load(file: &Path, threads: usize) -> Result<Self, SpeechError> {
        log::install();
        allocator::keep_memory_small();
        let sizes = ggml::inspect(file)?;
        needs::check(file, &sizes, free_memory::free())?;
        let mut loading = WhisperContextParameters::default();
        loading.dtw_parameters(DtwParameters {
            mode: heads::that_follow(&sizes),
            ..DtwParameters::default()
        });
        let context = if sizes.file_type == quantise::FILE_TYPE_F16 {
            let model = quantise::eight_bits(file, &sizes)?;
            WhisperContext::new_from_buffer_with_params(&model, loading)
        } else {
            WhisperContext::new_with_params(file, loading)
        }
        .map_err(|_| SpeechError::Load {
            file: file.to_owned(),
            reason: log::last_error(),
        })?;
        let threads = c_int::try_from(threads.clamp(1, 64)).unwrap_or(1);
        Ok(Self {
            context: Arc::new(context),
            file: file.to_owned(),
            window: needs::working(&sizes),
            name: file
                .file_name()
                .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            english_only: sizes.english_only(),
            threads,
            parameters: Arc::new(Parameters::new(threads)),
            left_behind: None,
        })
    }

    /// Another recogniser of the same loaded model, to work at the same time. It keeps
    /// nothing of its own in memory but while it recognises.
    ///
    /// # Errors
    /// [`SpeechError::NoRoom`] if its windows and those of `others` need more than is
    /// free.
    pub fn another(&self, others: usize) -> Result<Self, SpeechError> {
        needs::check_beside(&self.file, self.window, others, free_memory::free())?;
        Ok(Self {
            context: Arc::clone(&self.context),
            file: self.file.clone(),
            name: self.name.clone(),
            window: self.window,
            english_only: self.english_only,
            threads: self.threads,
            parameters: Arc::clone(&self.parameters),
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

    /// Tokens of the prompt's end.
    fn prompt(&self, ask: &Ask) -> Vec<c_int> {
        let text = ask.prompt.as_deref().unwrap_or_default().replace('\0', " ");
        let tokens = if text.trim().is_empty() {
            Vec::new()
        } else {
            // Never more tokens than bytes; `tokenize` believes a negative count
            // when there is too little room.
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
        let parameters = Arc::clone(&self.parameters);
        let prompt = self.prompt(ask);
        let encoder = if ask.brief {
            Encoder::Cut
        } else {
            Encoder::Whole
        };
        let job = Arc::new(Job::new(cancel.clone(), &self.context, sound.len()));
        let (send, receive) = mpsc::channel();
        let (context, shared) = (Arc::clone(&self.context), Arc::clone(&job));
        let thread = thread::Builder::new()
            .name("speech".into())
            .spawn(move || {
                // Nobody listens any more after a cancel.
                let found = listen(
                    &context,
                    &parameters,
                    language,
                    &prompt,
                    &sound,
                    encoder,
                    &shared,
                );
                let told = |error| format!("{error} ({})", log::last_error());
                let _ = send.send(found.map_err(told));
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
                    progress(job.progress());
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
        let found = found.map_err(failed)?;
        progress(1.0);
        Ok(heard(&self.context, &found, &loudness, window_ms))
    }

    fn languages(
        &mut self,
        samples: &[f32],
        among: &[String],
    ) -> Result<Vec<(String, f32)>, SpeechError> {
        for language in among {
            self.language(Some(language))?;
        }
        if self.english_only || among.len() == 1 {
            return Ok(Vec::new());
        }
        self.wait_for_left_behind();
        languages::likely(&self.context, self.threads, &clean(samples), among)
    }
}

/// What was heard of a window.
struct Heard {
    language: String,
    phrases: Vec<Phrase>,
    /// Runs of phrases that were heard again, and what came of it.
    again: Vec<(Range<usize>, Again)>,
}

/// Hears a window, and once more by itself what should be ([`belief`]). On its own
/// thread.
fn listen(
    context: &WhisperContext,
    parameters: &Parameters,
    language: &'static str,
    prompt: &[c_int],
    sound: &[f32],
    encoder: Encoder,
    job: &Job,
) -> Result<Heard, WhisperError> {
    let (language, phrases) =
        call::run(context, parameters, language, prompt, sound, encoder, job)?;
    let mut again = Vec::new();
    for run in belief::suspects(&phrases) {
        if job.cancel().is_cancelled() {
            break;
        }
        let own = stretch(&phrases[run.clone()], sound);
        let job = Job::new(job.cancel().clone(), context, own.len());
        let known = whisper_rs::get_lang_id(&language)
            .and_then(whisper_rs::get_lang_str)
            .unwrap_or(ENGLISH);
        let (_, found) = call::run(context, parameters, known, &[], &own, Encoder::Cut, &job)?;
        let words = found
            .iter()
            .flat_map(|phrase| words::spell(&phrase.tokens, &language));
        let heard = Again {
            words: words
                .map(|word| words::plain(&word.text))
                .filter(|word| !word.is_empty())
                .collect(),
            no_speech: job.no_speech(),
        };
        again.push((run, heard));
    }
    for (n, phrase) in phrases.iter().enumerate() {
        let second = again.iter().find(|(run, _)| run.contains(&n));
        belief::tell(phrase, &language, second.map(|(_, again)| again));
    }
    Ok(Heard {
        language,
        phrases,
        again,
    })
}

/// The sound of some phrases: from their first word to their last, by the alignment,
/// and a little more.
fn stretch(phrases: &[Phrase], sound: &[f32]) -> Vec<f32> {
    let ends = || {
        let tokens = phrases.iter().flat_map(|phrase| &phrase.tokens);
        tokens.filter_map(|token| token.to_ms)
    };
    let first = phrases.first().map_or(0, |phrase| phrase.from_ms);
    let last = phrases.last().map_or(0, |phrase| phrase.to_ms);
    let from = ends().next().map_or(first, |end| end - BEFORE_MS);
    let to = ends().next_back().unwrap_or(last) + AFTER_MS;
    let sample = |ms: i64| {
        let at = usize::try_from(ms).unwrap_or(0) * (ANALYSIS_RATE_HZ as usize / 1000);
        at.min(sound.len())
    };
    let from = sample(from);
    clean(&sound[from..sample(to).max(from)])
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

/// Words with times, in order, inside the window.
fn heard(
    context: &WhisperContext,
    found: &Heard,
    loudness: &Loudness,
    window_ms: i64,
) -> Vec<HeardWord> {
    // Words that are common in its language have a piece of their own.
    let one_piece = |word: &str| {
        let pieces = context.tokenize(&format!(" {word}"), word.len() + 2);
        pieces.is_ok_and(|pieces| pieces.len() == 1)
    };
    let spell = |phrase: &Phrase| {
        let mut words = words::spell(&phrase.tokens, &found.language);
        if words.iter().any(|word| word.to_ms.is_none()) {
            timing::guess(&mut words, phrase.from_ms, phrase.to_ms, loudness);
        }
        belief::weigh(&mut words, phrase.language);
        words
    };
    let mut spelled: Vec<Spelled> = Vec::new();
    let mut done = 0;
    for (run, again) in &found.again {
        spelled.extend(found.phrases[done..run.start].iter().flat_map(spell));
        let own = &found.phrases[run.clone()];
        let mut words: Vec<Spelled> = own.iter().flat_map(spell).collect();
        let silent = own.iter().filter_map(|phrase| phrase.no_speech);
        belief::settle(&mut words, silent.reduce(f32::max), again);
        spelled.extend(words);
        done = run.end;
    }
    spelled.extend(found.phrases[done..].iter().flat_map(spell));
    let times = timing::times(&spelled, loudness);
    let mut all: Vec<HeardWord> = spelled
        .into_iter()
        .zip(times)
        .map(|(word, (start_ms, end_ms))| HeardWord {
            ordinary: is_ordinary(&word.text, &one_piece),
            text: word.text,
            start_ms,
            end_ms,
            confidence: word.confidence,
            language: Some(found.language.clone()),
            heard: None,
        })
        .collect();
    let texts: Vec<&str> = all.iter().map(|word| word.text.as_str()).collect();
    let mut keep = words::unlooped(&texts).into_iter();
    all.retain(|_| keep.next().unwrap_or(true));
    // What finds no room in the window was not said in it.
    all.retain(|word| word.end_ms <= window_ms);
    all
}
