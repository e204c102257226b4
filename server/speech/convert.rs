//! How does a CTranslate2 speech model become the ggml file the library reads?
//!
//! The weights are the same 16-bit numbers in both: this only renames, splits
//! the stacked attention matrices and writes the tensors in the order of the
//! published ggml files, so that the result is those files byte for byte (a
//! test compares with their published SHA-1). Streams: memory is one piece of
//! 256 KiB, whatever the model's size.

use std::io::{Read, Seek, Write};

use super::ctranslate::Variables;
use super::ggml::{self, F32, Sizes, Tensor};
use super::mel;
use super::quantise::FILE_TYPE_F16;

/// The token that ends a text, in the vocabulary's printable form.
const END_OF_TEXT: &str = "<|endoftext|>";
/// Tokens the published files list; the rest are added by the library.
const LISTED_TOKENS: usize = 50_257;

/// Part `index` of `of` equal parts of a variable, outermost dimension first.
struct Source {
    variable: String,
    index: u64,
    of: u64,
}

/// Writes the ggml file of a CTranslate2 model and its vocabulary.
///
/// # Errors
/// In words: what the model file lacks, or what writing ran into.
pub(super) fn convert<R: Read + Seek>(
    model: R,
    vocabulary: &str,
    out: &mut dyn Write,
) -> Result<(), String> {
    let mut variables = Variables::open(model)?;
    let sizes = sizes(&variables)?;
    let failed = |error: std::io::Error| format!("writing failed: {error}");
    head(&sizes, out).map_err(failed)?;
    for token in tokens(&sizes, vocabulary)? {
        out.write_all(&(token.len() as u32).to_le_bytes())
            .map_err(failed)?;
        out.write_all(&token).map_err(failed)?;
    }
    for wanted in sizes.tensors() {
        tensor_head(&wanted, out).map_err(failed)?;
        tensor_data(&wanted, &mut variables, out)?;
    }
    Ok(())
}

fn sizes<R: Read + Seek>(variables: &Variables<R>) -> Result<Sizes, String> {
    let outer = |name: &str, rank: usize, at: usize| {
        let found = &variables.half(name)?.dims;
        found
            .get(at)
            .copied()
            .filter(|_| found.len() == rank)
            .ok_or_else(|| format!("its variable {name} has another shape"))
    };
    let layers = |side: &str| {
        (0..64)
            .take_while(|layer| {
                variables
                    .half(&format!("{side}/layer_{layer}/ffn/linear_0/weight"))
                    .is_ok()
            })
            .count() as u32
    };
    let state = outer("decoder/embeddings/weight", 2, 1)?;
    let heads = state / ggml::HEAD_WIDTH;
    Ok(Sizes {
        vocabulary: outer("decoder/embeddings/weight", 2, 0)?,
        audio_state: state,
        audio_heads: heads,
        audio_layers: layers("encoder"),
        text_heads: heads,
        text_layers: layers("decoder"),
        mel_bands: outer("encoder/conv1/weight", 3, 1)?,
        file_type: FILE_TYPE_F16,
    })
}

fn head(sizes: &Sizes, out: &mut dyn Write) -> std::io::Result<()> {
    let numbers = [
        ggml::MAGIC,
        sizes.vocabulary,
        ggml::AUDIO_CONTEXT,
        sizes.audio_state,
        sizes.audio_heads,
        sizes.audio_layers,
        ggml::TEXT_CONTEXT,
        sizes.audio_state,
        sizes.text_heads,
        sizes.text_layers,
        sizes.mel_bands,
        sizes.file_type,
        sizes.mel_bands,
        ggml::SPECTRUM_POINTS,
    ];
    for number in numbers {
        out.write_all(&number.to_le_bytes())?;
    }
    for weight in mel::filters(sizes.mel_bands) {
        out.write_all(&weight.to_le_bytes())?;
    }
    out.write_all(&(LISTED_TOKENS as u32).to_le_bytes())
}

/// The bytes of every listed token, from the vocabulary's printable form.
fn tokens(sizes: &Sizes, vocabulary: &str) -> Result<Vec<Vec<u8>>, String> {
    let listed: Vec<&str> = vocabulary.split('\n').take(LISTED_TOKENS).collect();
    // English-only vocabularies end their text tokens one earlier.
    let last = if sizes.english_only() {
        END_OF_TEXT
    } else {
        ""
    };
    if listed.len() != LISTED_TOKENS || listed.last() != Some(&last) {
        return Err("its vocabulary is not the one of a speech model".into());
    }
    let bytes = printable_bytes();
    listed
        .iter()
        .map(|&token| {
            if token == END_OF_TEXT {
                return Ok(token.as_bytes().to_vec());
            }
            token
                .chars()
                .map(|shown| {
                    bytes
                        .iter()
                        .position(|&c| c == shown)
                        .map(|byte| byte as u8)
                        .ok_or_else(|| format!("its vocabulary holds {token:?}"))
                })
                .collect()
        })
        .collect()
}

/// The character each byte is shown as in a byte-level vocabulary: printable
/// Latin-1 as itself, the others in order from U+0100.
fn printable_bytes() -> [char; 256] {
    let mut shown = ['\0'; 256];
    let mut next = 0x100;
    for byte in 0..=255_u8 {
        let itself = matches!(byte, 0x21..=0x7e | 0xa1..=0xac | 0xae..=0xff);
        shown[usize::from(byte)] = if itself {
            char::from(byte)
        } else {
            next += 1;
            char::from_u32(next - 1).unwrap_or('\0')
        };
    }
    shown
}

fn tensor_head(tensor: &Tensor, out: &mut dyn Write) -> std::io::Result<()> {
    let rank = tensor.dims.len() as u32;
    for number in [rank, tensor.name.len() as u32, tensor.storage.id] {
        out.write_all(&number.to_le_bytes())?;
    }
    for dim in &tensor.dims {
        out.write_all(&dim.to_le_bytes())?;
    }
    out.write_all(tensor.name.as_bytes())
}

fn tensor_data<R: Read + Seek>(
    tensor: &Tensor,
    variables: &mut Variables<R>,
    out: &mut dyn Write,
) -> Result<(), String> {
    let source = source(&tensor.name)?;
    let values: u64 = tensor.dims.iter().map(|&dim| u64::from(dim)).product();
    if variables.half(&source.variable)?.values() != values * source.of {
        return Err(format!(
            "its variable {} has another shape",
            source.variable
        ));
    }
    let from = values * source.index;
    variables.values(&source.variable, from, from + values, |piece| {
        if tensor.storage == F32 {
            let wide: Vec<u8> = piece
                .chunks_exact(2)
                .flat_map(|half| single(u16::from_le_bytes([half[0], half[1]])).to_le_bytes())
                .collect();
            out.write_all(&wide)
        } else {
            out.write_all(piece)
        }
        .map_err(|error| format!("writing failed: {error}"))
    })
}

/// Which part of which variable holds a tensor.
fn source(tensor: &str) -> Result<Source, String> {
    let whole = |variable: &str| Source {
        variable: variable.to_owned(),
        index: 0,
        of: 1,
    };
    let known = match tensor {
        "decoder.token_embedding.weight" => Some(whole("decoder/embeddings/weight")),
        "decoder.positional_embedding" => Some(whole("decoder/position_encodings/encodings")),
        "encoder.positional_embedding" => Some(whole("encoder/position_encodings/encodings")),
        "decoder.ln.weight" => Some(whole("decoder/layer_norm/gamma")),
        "decoder.ln.bias" => Some(whole("decoder/layer_norm/beta")),
        "encoder.ln_post.weight" => Some(whole("encoder/layer_norm/gamma")),
        "encoder.ln_post.bias" => Some(whole("encoder/layer_norm/beta")),
        _ if tensor.starts_with("encoder.conv") => Some(whole(&tensor.replace('.', "/"))),
        _ => in_block(tensor),
    };
    known.ok_or_else(|| format!("no variable is known for the tensor {tensor}"))
}

/// The same for a tensor named `SIDE.blocks.LAYER.PART.….(weight|bias)`.
fn in_block(tensor: &str) -> Option<Source> {
    let (side, rest) = tensor.split_once(".blocks.")?;
    let (layer, rest) = rest.split_once('.')?;
    let (part, ending) = rest.rsplit_once('.')?;
    // Self attention stacks query, key and value; cross attention key and value.
    let (place, index, of) = match part {
        "attn.query" => ("self_attention/linear_0", 0, 3),
        "attn.key" => ("self_attention/linear_0", 1, 3),
        "attn.value" => ("self_attention/linear_0", 2, 3),
        "attn.out" => ("self_attention/linear_1", 0, 1),
        "cross_attn.query" => ("attention/linear_0", 0, 1),
        "cross_attn.key" => ("attention/linear_1", 0, 2),
        "cross_attn.value" => ("attention/linear_1", 1, 2),
        "cross_attn.out" => ("attention/linear_2", 0, 1),
        "mlp.0" => ("ffn/linear_0", 0, 1),
        "mlp.2" => ("ffn/linear_1", 0, 1),
        "attn_ln" => ("self_attention/layer_norm", 0, 1),
        "cross_attn_ln" => ("attention/layer_norm", 0, 1),
        "mlp_ln" => ("ffn/layer_norm", 0, 1),
        _ => return None,
    };
    let ending = match (part.ends_with("ln"), ending) {
        (true, "weight") => "gamma",
        (true, _) => "beta",
        (false, ending) => ending,
    };
    Some(Source {
        variable: format!("{side}/layer_{layer}/{place}/{ending}"),
        index,
        of,
    })
}

/// A 16-bit float (IEEE 754 binary16) as a 32-bit one; exact.
fn single(half: u16) -> f32 {
    let sign = if half & 0x8000 == 0 { 1.0 } else { -1.0 };
    let exponent = i32::from(half >> 10 & 0x1f);
    let fraction = f32::from(half & 0x3ff);
    let size = match exponent {
        0 => fraction * 2_f32.powi(-24),
        31 if fraction == 0.0 => f32::INFINITY,
        31 => f32::NAN,
        _ => (1024.0 + fraction) * 2_f32.powi(exponent - 25),
    };
    sign * size
}
