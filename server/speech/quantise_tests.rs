use proptest::prelude::*;

use super::super::ggml::tests::{FILE, SMALL};
use super::*;

/// 16 bits of a value that they hold exactly.
fn half(value: f32) -> [u8; 2] {
    let bits = value.abs().to_bits();
    let sign = if value < 0.0 { 0x8000 } else { 0 };
    let size = if bits == 0 {
        0
    } else {
        (bits >> 13) - (112 << 10)
    };
    (sign | size as u16).to_le_bytes()
}

#[test]
fn a_turned_file_is_a_whole_model() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("small.bin");
    std::fs::write(&file, &FILE.0).expect("a file");
    let turned = eight_bits(&file, &SMALL).expect("a model");
    assert!(turned.len() < FILE.0.len());
    std::fs::write(&file, &turned).expect("a file");
    let sizes = ggml::inspect(&file).expect("a whole model");
    let file_type = FILE_TYPE_Q8;
    assert_eq!(sizes, Sizes { file_type, ..SMALL });
}

#[test]
fn a_file_that_shrank_meanwhile_is_an_error() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("small.bin");
    for end in [3, 40_000, FILE.0.len() - 1] {
        std::fs::write(&file, &FILE.0[..end]).expect("a file");
        let refused = eight_bits(&file, &SMALL);
        assert!(matches!(refused, Err(SpeechError::Io { .. })), "{end}");
    }
}

proptest! {
    /// ggml-quants.c, `quantize_row_q8_0_ref`: the scale of a block is a 127th of
    /// its largest size, each weight the nearest multiple.
    #[test]
    fn a_weight_is_off_by_half_a_step(whole in prop::collection::vec(-1024_i16..=1024, 128)) {
        let weights: Vec<f32> = whole.iter().map(|&w| f32::from(w) / 256.0).collect();
        let halves: Vec<u8> = weights.iter().flat_map(|&w| half(w)).collect();
        let mut turned = Vec::new();
        turn_rows(&halves, 64, &mut turned);
        prop_assert_eq!(turned.len(), 4 * Q8.bytes as usize);
        for (block, weights) in turned.chunks(Q8.bytes as usize).zip(weights.chunks(32)) {
            let largest = weights.iter().fold(0.0_f32, |most, w| most.max(w.abs()));
            let step = largest / 127.0;
            for (&eighth, &weight) in block[2..].iter().zip(weights) {
                let back = f32::from(eighth.cast_signed()) * step;
                prop_assert!((back - weight).abs() <= step * 0.5001, "{back} for {weight}");
            }
            let mut scale = 0.0_f32;
            let bits = u16::from_le_bytes([block[0], block[1]]);
            let exponent = i32::from(bits >> 10);
            if exponent > 0 {
                scale = f32::from(1024 + (bits & 0x3ff)) * 2.0_f32.powi(exponent - 25);
            }
            prop_assert!((scale - step).abs() <= step / 2048.0 + 1e-6, "{scale} for {step}");
        }
    }
}
