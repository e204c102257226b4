//! What words are in these samples?
//!
//! In: 16 kHz mono samples and the spans of them that hold speech. Out: words
//! with start and end in ms and a confidence from 0 to 1; on the way, model
//! files from a shelf. The spans are packed into windows of at most 30 s, so
//! silence costs nothing, and every word is placed back in the file exactly
//! where its samples came from.
//!
//! - [`ModelShelf`]: names to model files, fetched, checked, converted; also of the
//!   model that tells voices apart, which runs in core.
//! - [`pack`], [`Window`], [`Passage`]: spans to windows and back.
//! - [`Recogniser`], [`Whisper`]: a window's samples to words. What looks invented is
//!   heard again, and doubted or left out. Several share one loaded model.
//!
//! Cost: a window takes the same time whether it holds 3 s or 30 s. Memory:
//! the model, and a window for each recogniser. **Never opens a recording**, never decides what
//! is speech, and is the only room that calls foreign code.

mod allocator;
mod belief;
mod call;
mod checked;
mod convert;
mod ctranslate;
mod download;
mod edges;
mod error;
mod free_memory;
mod ggml;
mod hash;
mod heads;
mod kept;
mod languages;
mod log;
mod loudness;
mod manifest;
mod mel;
mod needs;
mod not_ggml;
mod packages;
mod passes;
mod quantise;
mod recogniser;
mod said;
mod shelf;
mod steer;
mod threads;
mod timing;
mod whisper;
mod windows;
mod words;

pub use allocator::keep_memory_small;
pub use error::SpeechError;
pub use languages::knows;
pub use manifest::{MEANING, VOICES};
pub use needs::memory_needed;
pub use recogniser::{Ask, HeardWord, Recogniser};
pub use shelf::{GetProgress, ModelInfo, ModelShelf};
pub use steer::{Known, listen};
pub use threads::{default_recognisers, default_threads};
pub use whisper::Whisper;
pub use windows::{Passage, Span, Window, WindowSpan, pack};
