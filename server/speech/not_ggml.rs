//! What is a file that is no ggml speech model, by its first bytes?
//!
//! Who gave the wrong file is helped by the name of what it is.

/// Bytes looked at.
pub(super) const LOOKED_AT: usize = 12;

/// Why a file that begins like this is not read on.
pub(super) fn reason(head: &[u8; LOOKED_AT]) -> String {
    let kind = match head {
        [b'G', b'G', b'U', b'F', ..] => Some("a GGUF file"),
        // The marks "ggjt", "ggmf" and "ggla" as integers.
        [b't', b'j', b'g', b'g', ..]
        | [b'f', b'm', b'g', b'g', ..]
        | [b'a', b'l', b'g', b'g', ..] => Some("a ggml file of a language model"),
        [b'P', b'K', 3, 4, ..] => Some("a zip archive, as PyTorch writes"),
        [0x80, 2..=5, ..] => Some("a Python pickle"),
        [0x1f, 0x8b, ..] => Some("a gzip archive"),
        [_, _, _, _, _, 0, 0, 0, b'{', ..] => Some("a safetensors file"),
        [8, _, 0x12, ..] => Some("an ONNX file"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E'] => Some("a WAV recording"),
        _ if head.iter().all(|&byte| byte == 0) => Some("empty: it begins with zeros"),
        _ => None,
    };
    match kind {
        Some(kind) => format!("it is {kind}; it does not begin with the ggml mark"),
        None => "it does not begin with the ggml mark".into(),
    }
}
