//! A model file of any size that takes no room on the disk: the heads of its
//! tensors, and holes where their numbers would be.

use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

/// Sizes of the published large model (openai/whisper, `large-v3`).
const VOCABULARY: u32 = 51_866;
const WIDTH: u32 = 1280;
const HEADS: u32 = 20;
const LAYERS: u32 = 32;
const BANDS: u32 = 128;
const SPECTRUM: u32 = 201;
/// ggml's numbers of the two formats.
const F32: u32 = 0;
const F16: u32 = 1;

struct Holes(File);

impl Holes {
    fn numbers(&mut self, numbers: &[u32]) {
        let bytes: Vec<u8> = numbers.iter().flat_map(|n| n.to_le_bytes()).collect();
        self.0.write_all(&bytes).expect("a write");
    }

    fn hole(&mut self, bytes: u64) {
        let bytes = i64::try_from(bytes).expect("a length");
        self.0.seek(SeekFrom::Current(bytes)).expect("a seek");
    }

    fn tensor(&mut self, name: &str, dims: &[u32], format: u32) {
        self.numbers(&[dims.len() as u32, name.len() as u32, format]);
        self.numbers(dims);
        self.0.write_all(name.as_bytes()).expect("a write");
        let values: u64 = dims.iter().map(|&dim| u64::from(dim)).product();
        self.hole(values * if format == F16 { 2 } else { 4 });
    }

    fn norm(&mut self, name: &str) {
        self.tensor(&format!("{name}.weight"), &[WIDTH], F32);
        self.tensor(&format!("{name}.bias"), &[WIDTH], F32);
    }

    fn linear(&mut self, name: &str, from: u32, to: u32) {
        self.tensor(&format!("{name}.weight"), &[from, to], F16);
        if !name.ends_with("key") {
            self.tensor(&format!("{name}.bias"), &[to], F32);
        }
    }

    fn block(&mut self, block: &str, attentions: &[&str]) {
        self.norm(&format!("{block}.mlp_ln"));
        self.linear(&format!("{block}.mlp.0"), WIDTH, 4 * WIDTH);
        self.linear(&format!("{block}.mlp.2"), 4 * WIDTH, WIDTH);
        for attention in attentions {
            self.norm(&format!("{block}.{attention}_ln"));
            for part in ["query", "key", "value", "out"] {
                self.linear(&format!("{block}.{attention}.{part}"), WIDTH, WIDTH);
            }
        }
    }
}

/// Writes a file as large as the published one: 3.1 GB.
pub fn large(path: &Path) {
    let mut file = Holes(File::create(path).expect("a file"));
    file.0.write_all(b"lmgg").expect("a write");
    file.numbers(&[VOCABULARY, 1500, WIDTH, HEADS, LAYERS]);
    file.numbers(&[448, WIDTH, HEADS, LAYERS, BANDS, F16]);
    file.numbers(&[BANDS, SPECTRUM]);
    file.hole(u64::from(4 * BANDS * SPECTRUM));
    file.numbers(&[0]);
    file.tensor("decoder.positional_embedding", &[WIDTH, 448], F32);
    file.tensor("encoder.positional_embedding", &[WIDTH, 1500], F32);
    file.tensor("decoder.token_embedding.weight", &[WIDTH, VOCABULARY], F16);
    for layer in 0..LAYERS {
        file.block(&format!("decoder.blocks.{layer}"), &["attn", "cross_attn"]);
        file.block(&format!("encoder.blocks.{layer}"), &["attn"]);
    }
    file.norm("decoder.ln");
    file.norm("encoder.ln_post");
    file.tensor("encoder.conv1.weight", &[3, BANDS, WIDTH], F16);
    file.tensor("encoder.conv1.bias", &[1, WIDTH], F32);
    file.tensor("encoder.conv2.weight", &[3, WIDTH, WIDTH], F16);
    file.tensor("encoder.conv2.bias", &[1, WIDTH], F32);
    let end = file.0.stream_position().expect("a place");
    file.0.set_len(end).expect("a length");
}
