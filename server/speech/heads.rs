//! Which attention heads say where in the sound a word is?

use std::ffi::c_int;

use whisper_rs::whisper_rs_sys::whisper_ahead;
use whisper_rs::{DtwMode, DtwModelPreset};

use super::ggml;

/// Half of the eight heads of tiny.en that are known to follow the sound: the times
/// are as good, and the process stays some 10 MB smaller.
static TINY_EN: [whisper_ahead; 4] = [head(2, 0), head(2, 5), head(3, 0), head(3, 2)];

const fn head(n_text_layer: c_int, n_head: c_int) -> whisper_ahead {
    whisper_ahead {
        n_text_layer,
        n_head,
    }
}

/// Which attention heads of a model of these sizes follow the sound, as published
/// with the models (openai/whisper, `__init__.py`).
///
/// The two older large models look alike; the heads are the second's. Other models
/// have none known, and their words are timed by sound and length alone.
pub(super) fn that_follow(sizes: &ggml::Sizes) -> DtwMode<'static> {
    let english = sizes.english_only();
    let preset = match (sizes.text_layers, sizes.audio_layers, sizes.mel_bands) {
        (4, 4, 80) if english => return DtwMode::Custom { aheads: &TINY_EN },
        (4, 4, 80) => DtwModelPreset::Tiny,
        (6, 6, 80) if english => DtwModelPreset::BaseEn,
        (6, 6, 80) => DtwModelPreset::Base,
        (12, 12, 80) if english => DtwModelPreset::SmallEn,
        (12, 12, 80) => DtwModelPreset::Small,
        (24, 24, 80) if english => DtwModelPreset::MediumEn,
        (24, 24, 80) => DtwModelPreset::Medium,
        (32, 32, 80) => DtwModelPreset::LargeV2,
        (32, 32, 128) => DtwModelPreset::LargeV3,
        (4, 32, 128) => DtwModelPreset::LargeV3Turbo,
        _ => return DtwMode::None,
    };
    DtwMode::ModelPreset {
        model_preset: preset,
    }
}
