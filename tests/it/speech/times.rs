//! How far are our word times from those of an aligner given the words?

use std::fs;

use sayback::speech::Recogniser;
use xtask::oracle;

use super::sets::{Line, Sample};
use super::{paths, score};

/// Distances in ms between our word borders and the aligner's, for words heard
/// right.
#[derive(Debug, Default)]
pub struct Off {
    /// Of the starts.
    pub starts: Vec<f64>,
    /// Of the ends.
    pub ends: Vec<f64>,
}

/// How far words heard right lie beyond the lines they are of, in ms; 0 inside.
pub fn beyond_lines(recogniser: &mut dyn Recogniser, sample: &Sample, lines: &[Line]) -> Vec<f64> {
    let said: Vec<Timed> = lines
        .iter()
        .flat_map(|line| {
            let words = score::plain(&line.words);
            let word = |word: &str| (word.to_owned(), line.from_ms, line.to_ms);
            words.split(' ').map(word).collect::<Vec<Timed>>()
        })
        .collect();
    let heard: Vec<Timed> = paths::ours(recogniser, &sample.file)
        .into_iter()
        .map(|word| (score::plain(&word.text), word.start_ms, word.end_ms))
        .collect();
    common(&said, &heard)
        .into_iter()
        .map(|(said_at, heard_at)| {
            let (line, word) = (&said[said_at], &heard[heard_at]);
            (line.1 - word.1).max(word.2 - line.2).max(0) as f64
        })
        .collect()
}

/// A word and its times in ms.
type Timed = (String, i64, i64);

/// Of the read passages, whose package has them aligned.
pub fn of_passages(recogniser: &mut dyn Recogniser) -> Off {
    let dir = oracle::data("pocketsphinx").join("test/data/librivox");
    let ids = fs::read_to_string(dir.join("fileids")).expect("the list of passages");
    let mut off = Off::default();
    for id in ids.lines() {
        let aligned =
            aligned(&fs::read_to_string(dir.join(format!("{id}.json"))).expect("an alignment"));
        let heard: Vec<Timed> = paths::ours(recogniser, &dir.join(format!("{id}.wav")))
            .into_iter()
            .map(|word| (score::plain(&word.text), word.start_ms, word.end_ms))
            .collect();
        for (a, b) in common(&aligned, &heard) {
            off.starts.push((aligned[a].1 - heard[b].1).abs() as f64);
            off.ends.push((aligned[a].2 - heard[b].2).abs() as f64);
        }
    }
    off
}

/// `{"w": [{"t": word, "b": start, "d": length}]}`, in seconds; words in angle
/// brackets are silence, a number in brackets a way to say it.
fn aligned(json: &str) -> Vec<Timed> {
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

/// Pairs of the longest common run of words, in order.
fn common(a: &[Timed], b: &[Timed]) -> Vec<(usize, usize)> {
    let mut best = vec![vec![0_usize; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            best[i][j] = if a[i].0 == b[j].0 {
                best[i + 1][j + 1] + 1
            } else {
                best[i + 1][j].max(best[i][j + 1])
            };
        }
    }
    let (mut i, mut j, mut pairs) = (0, 0, Vec::new());
    while i < a.len() && j < b.len() {
        if a[i].0 == b[j].0 {
            pairs.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if best[i + 1][j] >= best[i][j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    pairs
}
