//! Three ways to find a text.

use std::collections::HashMap;

use sayback_core::text::{HeardIn, HeardWord, Written, normal};

use super::At;

/// Sentences where they were found, pass by pass; a design that knows no passes has one.
pub type Design = fn(&Written, &[String]) -> Vec<Vec<At>>;

pub const ALL: [(&str, Design); 3] = [
    ("each sentence, local alignment", local),
    ("runs of three words", runs),
    ("ours", ours),
];

/// Ours.
fn ours(written: &Written, words: &[String]) -> Vec<Vec<At>> {
    let word = |(n, text): (usize, &'_ String)| (n, text.clone());
    let owned: Vec<(usize, String)> = words.iter().enumerate().map(word).collect();
    let heard: Vec<HeardWord<'_>> = owned
        .iter()
        .map(|(n, text)| HeardWord {
            text,
            confidence: 0.8,
            moment: n / 12,
            start_ms: 300 * *n as i64,
            end_ms: 300 * *n as i64 + 250,
        })
        .collect();
    let moments = vec![HeardIn::default(); words.len() / 12 + 1];
    let found = written.passes(&heard, &moments).passes.into_iter();
    let pass = |pass: sayback_core::text::Pass| {
        let said = pass.sentences.into_iter().enumerate();
        said.flat_map(|(n, said)| {
            let said = said.into_iter();
            said.flat_map(move |said| {
                let all = said.again.into_iter().chain([said.take]);
                all.map(move |take| (n, take.heard.from))
            })
        })
        .collect()
    };
    found.map(pass).collect()
}

fn normals<'a>(words: impl IntoIterator<Item = &'a String>) -> Vec<String> {
    words.into_iter().map(|word| normal(word)).collect()
}

/// Share of the best possible score that makes a hit.
fn hit() -> f32 {
    let told = std::env::var("HIT").ok();
    told.and_then(|told| told.parse().ok()).unwrap_or(0.4)
}

/// Each sentence by itself against all words: 2 for the same word, -1 for another, one
/// too many, one too few. Hits that overlap are one.
fn local(written: &Written, words: &[String]) -> Vec<Vec<At>> {
    let (heard, hit) = (normals(words), hit());
    let mut found = Vec::new();
    for (n, sentence) in written.sentences.iter().enumerate() {
        let own = normals(&sentence.words);
        let least = (hit * 2.0 * own.len() as f32).max(2.0);
        // Score and where it began, by rows of the sentence.
        let mut last = vec![(0.0_f32, 0_usize); own.len() + 1];
        let mut open: Option<(f32, usize, usize)> = None;
        for (j, word) in heard.iter().enumerate() {
            let mut row = vec![(0.0, j + 1); own.len() + 1];
            let mut best = (0.0, 0);
            for (i, other) in own.iter().enumerate() {
                let same = if word == other { 2.0 } else { -1.0 };
                let ways = [
                    (
                        last[i].0 + same,
                        if last[i].0 > 0.0 {
                            last[i].1
                        } else {
                            j.saturating_sub(i)
                        },
                    ),
                    (last[i + 1].0 - 1.0, last[i + 1].1),
                    (row[i].0 - 1.0, row[i].1),
                ];
                let way = ways
                    .into_iter()
                    .fold((0.0, j + 1), |a, b| if b.0 > a.0 { b } else { a });
                row[i + 1] = way;
                best = if way.0 > best.0 { way } else { best };
            }
            last = row;
            match open {
                Some((_, _, end)) if j > end + own.len() => {
                    found.extend(open.take().map(|o| (n, o.1)))
                }
                Some((score, ..)) if best.0 > score => open = Some((best.0, best.1, j)),
                None if best.0 >= least => open = Some((best.0, best.1, j)),
                _ => {}
            }
        }
        found.extend(open.map(|open| (n, open.1)));
    }
    vec![found]
}

/// A sentence was read where a run of three of its words was said; runs near each other
/// are one.
fn runs(written: &Written, words: &[String]) -> Vec<Vec<At>> {
    let heard = normals(words);
    let mut places: HashMap<&[String], Vec<usize>> = HashMap::new();
    for (j, three) in heard.windows(3).enumerate() {
        places.entry(three).or_default().push(j);
    }
    let mut found: Vec<At> = Vec::new();
    for (n, sentence) in written.sentences.iter().enumerate() {
        let own = normals(&sentence.words);
        let mut starts: Vec<usize> = Vec::new();
        for (i, three) in own.windows(3).enumerate() {
            let at = places.get(three).into_iter().flatten();
            starts.extend(at.map(|j| j.saturating_sub(i)));
        }
        starts.sort_unstable();
        starts.dedup_by(|next, last| next.abs_diff(*last) <= own.len());
        found.extend(starts.into_iter().map(|start| (n, start)));
    }
    vec![found]
}
