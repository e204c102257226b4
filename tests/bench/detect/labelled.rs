//! Real recordings with labels: excerpts of meetings, a telephone talk, read
//! passages.

use std::path::{Path, PathBuf};

use super::case::{Case, HOP, bridge, frames_of_spans};

/// The labelled meeting excerpts and the telephone sample; `root` is the
/// unpacked source distribution of `pyannote.audio` 4.0.7.
pub fn meetings(root: &Path) -> Vec<Case> {
    let data = root.join("tests/data");
    let mut labels = String::new();
    for part in ["train", "development", "test"] {
        labels += &read_text(&data.join(format!("debug.{part}.rttm")));
    }
    let mut names: Vec<String> = labels
        .lines()
        .filter_map(|line| line.split_whitespace().nth(1).map(str::to_owned))
        .collect();
    names.sort();
    names.dedup();
    let mut cases: Vec<Case> = names
        .iter()
        .map(|name| {
            let path = wav_named(&data, name);
            labelled("meetings", &path, &rttm_spans(&labels, name))
        })
        .collect();
    let sample = root.join("src/pyannote/audio/sample");
    let labels = read_text(&sample.join("sample.rttm"));
    cases.push(labelled(
        "telephone",
        &sample.join("sample.wav"),
        &rttm_spans(&labels, "sample"),
    ));
    cases
}

/// The read passages with aligned words; `root` is the unpacked source
/// distribution of `pocketsphinx` 5.1.1.
pub fn passages(root: &Path) -> Vec<Case> {
    let folder = root.join("test/data/librivox");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "wav"))
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| {
            let words: serde_json::Value =
                serde_json::from_str(&read_text(&path.with_extension("json")))
                    .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            let spans: Vec<(f64, f64)> = words["w"]
                .as_array()
                .into_iter()
                .flatten()
                .filter(|word| !word["t"].as_str().unwrap_or("<").starts_with(['<', '[']))
                .filter_map(|word| {
                    let from = word["b"].as_f64()?;
                    Some((from, from + word["d"].as_f64()?))
                })
                .collect();
            let mut case = labelled("read passages", path, &spans);
            bridge(&mut case.truth);
            case
        })
        .collect()
}

fn labelled(set: &str, path: &Path, spans: &[(f64, f64)]) -> Case {
    let samples = read_wav(path);
    let truth = frames_of_spans(spans, samples.len() / HOP);
    Case::new(set, samples, truth)
}

/// Start and end in seconds of the SPEAKER lines of one file.
fn rttm_spans(labels: &str, name: &str) -> Vec<(f64, f64)> {
    labels
        .lines()
        .filter_map(|line| {
            let fields: Vec<&str> = line.split_whitespace().collect();
            if fields.first() != Some(&"SPEAKER") || fields.get(1) != Some(&name) {
                return None;
            }
            let from: f64 = fields.get(3)?.parse().ok()?;
            let length: f64 = fields.get(4)?.parse().ok()?;
            Some((from, from + length))
        })
        .collect()
}

/// The WAV called `name`, whose labels may spell it without its accent.
fn wav_named(folder: &Path, name: &str) -> PathBuf {
    let plain = folder.join(format!("{name}.wav"));
    if plain.is_file() {
        return plain;
    }
    let accented = name.replacen('n', "ñ", 1);
    folder.join(format!("{accented}.wav"))
}

/// Samples of a mono 16 kHz WAV of 16-bit integers or 32-bit floats.
pub fn read_wav(path: &Path) -> Vec<f32> {
    let mut reader =
        hound::WavReader::open(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let form = reader.spec();
    assert_eq!(
        (form.channels, form.sample_rate),
        (1, 16_000),
        "{}: wants 16 kHz mono",
        path.display()
    );
    let samples: Result<Vec<f32>, hound::Error> = match form.sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().collect(),
        hound::SampleFormat::Int => reader
            .samples::<i16>()
            .map(|sample| sample.map(|s| f32::from(s) / 32_768.0))
            .collect(),
    };
    samples.unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn read_text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}
