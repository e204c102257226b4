//! Is this file a whole ggml speech model, and which tensors does such a file hold?
//!
//! The layout, little endian throughout: magic, eleven sizes, the mel filter
//! bank, the vocabulary, then tensors until the end of the file, each with its
//! rank, name length, type, dimensions (innermost first), name and data.
//!
//! The C library trusts all of this: a file with an unknown number of layers
//! throws through the language boundary, a truncated tensor is read as if it
//! were whole. So a file is walked here, headers only, before C sees it.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

use super::{SpeechError, not_ggml};

/// First four bytes of a file, as an integer: "ggml".
pub(super) const MAGIC: u32 = 0x6767_6d6c;
/// Points of the spectrum the mel filters weigh: 400 / 2 + 1.
pub(super) const SPECTRUM_POINTS: u32 = 201;
/// Frames of sound, of 20 ms each, that the encoder makes of what it takes at once.
pub(super) const AUDIO_CONTEXT: u32 = 1500;
/// Tokens the decoder takes at once.
pub(super) const TEXT_CONTEXT: u32 = 448;
/// Width of one attention head in every published model.
pub(super) const HEAD_WIDTH: u32 = 64;
/// Layers of the encoders the library has names for; any other number makes it
/// throw.
const ENCODER_LAYERS: [u32; 5] = [4, 6, 12, 24, 32];
/// English-only, many languages, many languages with one more.
const VOCABULARIES: std::ops::RangeInclusive<u32> = 51_864..=51_866;
/// Longest token in bytes that is believed.
const LONGEST_TOKEN: u32 = 1024;
/// The sizes after the magic and the magic itself.
pub(super) const HEADER_BYTES: u64 = 12 * 4;

/// The sizes in the head of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sizes {
    pub vocabulary: u32,
    pub audio_state: u32,
    pub audio_heads: u32,
    pub audio_layers: u32,
    pub text_heads: u32,
    pub text_layers: u32,
    pub mel_bands: u32,
    /// How the large matrices are stored: ggml's file type, without its version.
    pub file_type: u32,
}

/// How the numbers of a tensor are stored: ggml's tensor type.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Storage {
    /// The number in the file.
    pub id: u32,
    /// Values in a block.
    pub block: u64,
    /// Bytes of a block.
    pub bytes: u64,
}

pub(super) const F32: Storage = storage(0, 1, 4);
pub(super) const F16: Storage = storage(1, 1, 2);
pub(super) const Q8: Storage = storage(8, 32, 34);

const fn storage(id: u32, block: u64, bytes: u64) -> Storage {
    Storage { id, block, bytes }
}

/// ggml file type to the storage of the large matrices (ggml.h, `ggml_ftype`
/// and `ggml_type`; block sizes from ggml-common.h).
const FILE_TYPES: [(u32, Storage); 12] = [
    (0, F32),
    (1, F16),
    (2, storage(2, 32, 18)),
    (3, storage(3, 32, 20)),
    (7, Q8),
    (8, storage(6, 32, 22)),
    (9, storage(7, 32, 24)),
    (10, storage(10, 256, 84)),
    (11, storage(11, 256, 110)),
    (12, storage(12, 256, 144)),
    (13, storage(13, 256, 176)),
    (14, storage(14, 256, 210)),
];

/// One tensor a file must hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Tensor {
    pub name: String,
    /// Dimensions as written: innermost first.
    pub dims: Vec<u32>,
    pub storage: Storage,
}

impl Tensor {
    /// Bytes of its data.
    pub(super) fn bytes(&self) -> u64 {
        let values: u64 = self.dims.iter().map(|&d| u64::from(d)).product();
        values / self.storage.block * self.storage.bytes
    }
}

impl Sizes {
    fn problem(&self) -> Option<String> {
        let found = if !VOCABULARIES.contains(&self.vocabulary) {
            format!("a vocabulary of {} tokens", self.vocabulary)
        } else if !ENCODER_LAYERS.contains(&self.audio_layers) {
            format!("{} encoder layers", self.audio_layers)
        } else if !(1..=32).contains(&self.text_layers) {
            format!("{} decoder layers", self.text_layers)
        } else if !(1..=32).contains(&self.audio_heads)
            || self.audio_state != self.audio_heads * HEAD_WIDTH
            || self.text_heads != self.audio_heads
        {
            format!(
                "a width of {} with {} and {} heads",
                self.audio_state, self.audio_heads, self.text_heads
            )
        } else if self.mel_bands != 80 && self.mel_bands != 128 {
            format!("{} mel bands", self.mel_bands)
        } else if self.large().is_none() {
            format!("number format {}", self.file_type)
        } else {
            return None;
        };
        Some(format!(
            "its head claims {found}, which no speech model has"
        ))
    }

    fn large(&self) -> Option<Storage> {
        FILE_TYPES
            .iter()
            .find(|(id, _)| *id == self.file_type)
            .map(|&(_, storage)| storage)
    }

    /// Every tensor of a model of these sizes, in the order of the published
    /// files.
    ///
    /// Norms, biases and positions are f32, convolutions at most f16, the rest
    /// as the head says. The key of an attention has no bias.
    pub(super) fn tensors(&self) -> Vec<Tensor> {
        let state = self.audio_state;
        let large = self.large().unwrap_or(F16);
        let convolution = if large == F32 { F32 } else { F16 };
        let mut list = List(Vec::new());
        list.add("decoder.positional_embedding", &[state, TEXT_CONTEXT], F32);
        list.add("encoder.positional_embedding", &[state, AUDIO_CONTEXT], F32);
        list.add(
            "decoder.token_embedding.weight",
            &[state, self.vocabulary],
            large,
        );
        for layer in 0..self.text_layers {
            let block = format!("decoder.blocks.{layer}");
            list.block(&block, &["attn", "cross_attn"], state, large);
        }
        list.norm("decoder.ln", state);
        list.add(
            "encoder.conv1.weight",
            &[3, self.mel_bands, state],
            convolution,
        );
        list.add("encoder.conv1.bias", &[1, state], F32);
        list.add("encoder.conv2.weight", &[3, state, state], convolution);
        list.add("encoder.conv2.bias", &[1, state], F32);
        for layer in 0..self.audio_layers {
            let block = format!("encoder.blocks.{layer}");
            list.block(&block, &["attn"], state, large);
        }
        list.norm("encoder.ln_post", state);
        list.0
    }

    /// Whether the vocabulary is English only.
    pub(super) fn english_only(&self) -> bool {
        self.vocabulary == *VOCABULARIES.start()
    }
}

/// The tensors named so far.
struct List(Vec<Tensor>);

impl List {
    fn add(&mut self, name: &str, dims: &[u32], storage: Storage) {
        self.0.push(Tensor {
            name: name.to_owned(),
            dims: dims.to_vec(),
            storage,
        });
    }

    fn norm(&mut self, name: &str, state: u32) {
        self.add(&format!("{name}.weight"), &[state], F32);
        self.add(&format!("{name}.bias"), &[state], F32);
    }

    fn linear(&mut self, name: &str, from: u32, to: u32, large: Storage) {
        self.add(&format!("{name}.weight"), &[from, to], large);
        if !name.ends_with("key") {
            self.add(&format!("{name}.bias"), &[to], F32);
        }
    }

    fn block(&mut self, block: &str, attentions: &[&str], state: u32, large: Storage) {
        self.norm(&format!("{block}.mlp_ln"), state);
        self.linear(&format!("{block}.mlp.0"), state, 4 * state, large);
        self.linear(&format!("{block}.mlp.2"), 4 * state, state, large);
        for attention in attentions {
            self.norm(&format!("{block}.{attention}_ln"), state);
            for part in ["query", "key", "value", "out"] {
                self.linear(&format!("{block}.{attention}.{part}"), state, state, large);
            }
        }
    }
}

/// Walks a file and answers its sizes.
///
/// Reads some thousand small pieces and no tensor data. Cost: under 50 ms.
///
/// # Errors
/// [`SpeechError::NotAModel`] with what is wrong: another magic, sizes no model
/// has, a tensor missing, doubled, unknown, of another shape or cut off.
pub(super) fn inspect(file: &Path) -> Result<Sizes, SpeechError> {
    let opened = File::open(file).map_err(SpeechError::io("open", file))?;
    let meta = opened.metadata().map_err(SpeechError::io("read", file))?;
    if !meta.is_file() {
        return Err(SpeechError::not_a_model(file, "it is not a file"));
    }
    let mut walk = Walk {
        source: BufReader::new(opened),
        at: 0,
        len: meta.len(),
    };
    walk.model()
        .map_err(|reason| SpeechError::not_a_model(file, reason))
}

/// A position in a file whose claims are not believed.
struct Walk<R> {
    source: BufReader<R>,
    at: u64,
    len: u64,
}

impl<R: Read + Seek> Walk<R> {
    fn model(&mut self) -> Result<Sizes, String> {
        if self.len < HEADER_BYTES {
            return Err(format!("it has only {} bytes", self.len));
        }
        let magic = self.number()?;
        if magic != MAGIC {
            let mut head = [0; not_ggml::LOOKED_AT];
            head[..4].copy_from_slice(&magic.to_le_bytes());
            self.fill(&mut head[4..])?;
            return Err(not_ggml::reason(&head));
        }
        let sizes = self.sizes()?;
        self.filters(&sizes)?;
        self.vocabulary(&sizes)?;

        let mut missing: BTreeMap<String, Tensor> = sizes
            .tensors()
            .into_iter()
            .map(|tensor| (tensor.name.clone(), tensor))
            .collect();
        while self.at < self.len {
            self.tensor(&mut missing)?;
        }
        match missing.keys().next() {
            None => Ok(sizes),
            Some(name) => Err(format!(
                "it ends before the tensor {name} ({} of its tensors are missing)",
                missing.len()
            )),
        }
    }

    fn sizes(&mut self) -> Result<Sizes, String> {
        let mut read = [0; 11];
        for value in &mut read {
            *value = self.number()?;
        }
        let [
            vocabulary,
            audio_context,
            audio_state,
            audio_heads,
            audio_layers,
            text_context,
            text_state,
            text_heads,
            text_layers,
            mel_bands,
            file_type,
        ] = read;
        let sizes = Sizes {
            vocabulary,
            audio_state,
            audio_heads,
            audio_layers,
            text_heads,
            text_layers,
            mel_bands,
            // ggml.h, GGML_QNT_VERSION_FACTOR: thousands hold the version.
            file_type: file_type % 1000,
        };
        if (audio_context, text_context) != (AUDIO_CONTEXT, TEXT_CONTEXT)
            || text_state != audio_state
        {
            return Err("its head claims sizes no speech model has".into());
        }
        sizes.problem().map_or(Ok(sizes), Err)
    }

    fn filters(&mut self, sizes: &Sizes) -> Result<(), String> {
        let (bands, points) = (self.number()?, self.number()?);
        if (bands, points) != (sizes.mel_bands, SPECTRUM_POINTS) {
            return Err(format!("its mel filter bank is {bands} by {points}"));
        }
        self.skip(
            4 * u64::from(bands) * u64::from(points),
            "the mel filter bank",
        )
    }

    fn vocabulary(&mut self, sizes: &Sizes) -> Result<(), String> {
        let tokens = self.number()?;
        if tokens > sizes.vocabulary {
            return Err(format!("its vocabulary lists {tokens} tokens"));
        }
        for token in 0..tokens {
            let bytes = self.number()?;
            if bytes > LONGEST_TOKEN {
                return Err(format!("token {token} of its vocabulary has {bytes} bytes"));
            }
            self.skip(u64::from(bytes), "the vocabulary")?;
        }
        Ok(())
    }

    fn tensor(&mut self, missing: &mut BTreeMap<String, Tensor>) -> Result<(), String> {
        let (rank, name_bytes, kind) = (self.number()?, self.number()?, self.number()?);
        if !(1..=3).contains(&rank) || !(1..=64).contains(&name_bytes) {
            return Err(format!("it is damaged near byte {}", self.at));
        }
        let mut dims = vec![0; rank as usize];
        for dim in &mut dims {
            *dim = self.number()?;
        }
        let mut name = vec![0; name_bytes as usize];
        self.fill(&mut name)?;
        let name = String::from_utf8_lossy(&name).into_owned();
        let Some(tensor) = missing.remove(&name) else {
            return Err(format!(
                "it holds a tensor {name:?} that does not belong, or twice"
            ));
        };
        if tensor.dims != dims || tensor.storage.id != kind {
            return Err(format!(
                "its tensor {name} has another shape or number format"
            ));
        }
        self.skip(tensor.bytes(), &name)
    }

    fn number(&mut self) -> Result<u32, String> {
        let mut bytes = [0; 4];
        self.fill(&mut bytes)?;
        Ok(u32::from_le_bytes(bytes))
    }

    fn fill(&mut self, buffer: &mut [u8]) -> Result<(), String> {
        self.source
            .read_exact(buffer)
            .map_err(|error| format!("it ends or fails at byte {}: {error}", self.at))?;
        self.at += buffer.len() as u64;
        Ok(())
    }

    fn skip(&mut self, bytes: u64, what: &str) -> Result<(), String> {
        if self.len.saturating_sub(self.at) < bytes {
            return Err(format!("it is cut off inside {what}"));
        }
        let step = i64::try_from(bytes).map_err(|error| error.to_string())?;
        self.source
            .seek_relative(step)
            .map_err(|error| format!("it fails at byte {}: {error}", self.at))?;
        self.at += bytes;
        Ok(())
    }
}

#[cfg(test)]
#[path = "ggml_tests.rs"]
pub(super) mod tests;
