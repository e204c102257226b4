//! How far are our word times from those of an aligner given the words?

use sayback::speech::Recogniser;

use super::sets::{self, Line, Sample};
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
    let mut off = Off::default();
    for (file, aligned) in sets::aligned_passages() {
        let heard: Vec<Timed> = paths::ours(recogniser, &file)
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
