use std::io::Cursor;
use std::sync::LazyLock;

use proptest::prelude::*;

use super::*;

pub(in super::super) const SMALL: Sizes = Sizes {
    vocabulary: 51_864,
    audio_state: 64,
    audio_heads: 1,
    audio_layers: 4,
    text_heads: 1,
    text_layers: 1,
    mel_bands: 80,
    file_type: 1,
};

/// A whole file of the smallest sizes, all weights zero, and where its tensors
/// begin.
pub(in super::super) static FILE: LazyLock<(Vec<u8>, usize)> = LazyLock::new(|| {
    let mut bytes = Vec::new();
    let number = |bytes: &mut Vec<u8>, number: u32| bytes.extend(number.to_le_bytes());
    let head = [
        MAGIC,
        51_864,
        1500,
        64,
        1,
        4,
        448,
        64,
        1,
        1,
        80,
        1,
        80,
        SPECTRUM_POINTS,
    ];
    for value in head {
        number(&mut bytes, value);
    }
    bytes.resize(bytes.len() + 4 * 80 * SPECTRUM_POINTS as usize, 0);
    number(&mut bytes, 2);
    for token in ["oar", "rowlock"] {
        number(&mut bytes, token.len() as u32);
        bytes.extend(token.as_bytes());
    }
    let tensors = bytes.len();
    for tensor in SMALL.tensors() {
        number(&mut bytes, tensor.dims.len() as u32);
        number(&mut bytes, tensor.name.len() as u32);
        number(&mut bytes, tensor.storage.id);
        for &dim in &tensor.dims {
            number(&mut bytes, dim);
        }
        bytes.extend(tensor.name.as_bytes());
        bytes.resize(bytes.len() + tensor.bytes() as usize, 0);
    }
    (bytes, tensors)
});

fn walk(bytes: &[u8]) -> Result<Sizes, String> {
    Walk {
        source: BufReader::new(Cursor::new(bytes)),
        at: 0,
        len: bytes.len() as u64,
    }
    .model()
}

#[test]
fn a_whole_file_tells_its_sizes() {
    assert_eq!(walk(&FILE.0), Ok(SMALL));
}

#[test]
fn what_follows_the_last_tensor_is_refused() {
    let mut longer = FILE.0.clone();
    longer.push(0);
    assert!(walk(&longer).is_err());
    // A tensor twice.
    let mut twice = FILE.0.clone();
    let last = 12 + 4 + "encoder.ln_post.bias".len() + 4 * 64;
    twice.extend_from_within(twice.len() - last..);
    let refused = walk(&twice).unwrap_err();
    assert!(refused.contains("encoder.ln_post.bias"), "{refused}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn a_cut_off_file_is_refused(share in 0.0..1.0_f64) {
        let (bytes, _) = &*FILE;
        let end = (bytes.len() as f64 * share) as usize;
        prop_assert!(walk(&bytes[..end]).is_err());
    }

    #[test]
    fn a_changed_head_never_breaks_the_reader(
        changes in prop::collection::vec((0..14_usize, any::<u32>()), 1..4),
    ) {
        // Enough of the file for the first tensors.
        let (bytes, tensors) = &*FILE;
        let mut changed = bytes[..tensors + 200_000].to_vec();
        for (at, value) in changes {
            changed[at * 4..at * 4 + 4].copy_from_slice(&value.to_le_bytes());
        }
        prop_assert!(walk(&changed).is_err());
    }

    #[test]
    fn a_changed_tensor_head_is_refused_or_harmless(at in 0..300_usize, byte in any::<u8>()) {
        let (bytes, tensors) = &*FILE;
        // The first tensor's head is 48 bytes; behind it are weights.
        let place = tensors + at;
        let mut changed = bytes.clone();
        let same = changed[place] == byte;
        changed[place] = byte;
        let harmless = same || at >= 12 + 8 + "decoder.positional_embedding".len();
        prop_assert_eq!(walk(&changed).is_ok(), harmless);
    }

    #[test]
    fn any_bytes_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let mut marked = MAGIC.to_le_bytes().to_vec();
        marked.extend(bytes);
        prop_assert!(walk(&marked).is_err());
    }
}
