use super::*;

const fn sizes(width: u32, audio_layers: u32, text_layers: u32, mel_bands: u32) -> Sizes {
    Sizes {
        vocabulary: if mel_bands == 128 { 51_866 } else { 51_865 },
        audio_state: width,
        audio_heads: width / 64,
        audio_layers,
        text_heads: width / 64,
        text_layers,
        mel_bands,
        file_type: 1,
    }
}

/// The published sizes of the models for many languages.
const PUBLISHED: [(&str, Sizes); 6] = [
    ("tiny", sizes(384, 4, 4, 80)),
    ("base", sizes(512, 6, 6, 80)),
    ("small", sizes(768, 12, 12, 80)),
    ("large-v3-turbo", sizes(1280, 32, 4, 128)),
    ("medium", sizes(1024, 24, 24, 80)),
    ("large-v3", sizes(1280, 32, 32, 128)),
];

/// Shown by `cargo test --lib speech::needs -- --nocapture`.
#[test]
fn a_published_model_needs_more_than_its_weights_and_less_than_four_times_them() {
    for (name, sizes) in PUBLISHED {
        let eight = quantise::turned(&sizes);
        let (file, needs) = (weights(&sizes), needed(&sizes));
        println!(
            "{name}: {} MB to load and to use, {} MB to use; file of {} MB",
            needs / 1_000_000,
            needed(&eight) / 1_000_000,
            file / 1_000_000,
        );
        assert!(needs > weights(&eight) && needs < 4 * file, "{name}");
        // Loading a turned model holds it twice.
        assert!(needs >= needed(&eight), "{name}");
        assert!(needs >= 2 * weights(&eight), "{name}");
        let whole = Sizes {
            file_type: 0,
            ..sizes
        };
        assert!(
            needed(&whole) > 2 * file,
            "{name}: 32 bits stay as they are"
        );
    }
}

#[test]
fn what_does_not_fit_is_refused_with_both_numbers() {
    let (file, large) = (Path::new("ggml-large-v3.bin"), PUBLISHED[5].1);
    let needs = needed(&large);
    for free in [0, 1_000_000_000, needs - 1] {
        let refused = check(file, &large, Some(free)).expect_err("no room");
        let text = refused.to_string();
        let (needs_mb, free_mb) = (needs.div_ceil(1_000_000), free / 1_000_000);
        for part in [
            "ggml-large-v3.bin",
            "smaller model",
            &format!("{needs_mb} MB"),
            &format!("{free_mb} MB"),
        ] {
            assert!(text.contains(part), "{part}: {text}");
        }
    }
    assert!(check(file, &large, Some(needs)).is_ok());
    assert!(check(file, &large, None).is_ok(), "nothing is known");
}

#[test]
fn another_recogniser_needs_a_window_for_each() {
    let file = Path::new("ggml-tiny.en.bin");
    assert!(
        check_beside(file, 100_000_000, 0, Some(0)).is_ok(),
        "the first"
    );
    assert!(check_beside(file, 100_000_000, 2, Some(300_000_000)).is_ok());
    let refused = check_beside(file, 100_000_000, 2, Some(299_000_000)).expect_err("no room");
    assert!(refused.to_string().contains("300 MB"), "{refused}");
    assert!(
        check_beside(file, u64::MAX, usize::MAX, Some(u64::MAX)).is_ok(),
        "no overflow"
    );
    assert!(check_beside(file, 1, 1, None).is_ok(), "nothing is known");
}
