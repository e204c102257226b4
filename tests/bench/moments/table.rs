//! The figures of one event.

use std::collections::BTreeMap;
use std::path::Path;

use sayback::core::clock::How;
use sayback::speech::{Recogniser, Span};
use xtask::scene::Truth;

use crate::event::{Recording, placed, recordings};
use crate::fused::{self, Fused};
use crate::said::{Timed, by_line, listen, text};
use crate::score::{Errors, errors};
use crate::times;

type Utterance = (String, String, String);

/// Measures an event and prints it.
pub fn print(title: &str, folder: &Path, truth: &Truth, model: &mut dyn Recogniser) {
    let recordings = recordings(folder, truth);
    let placed = placed(&recordings);
    let fused = fused::run(&recordings, &placed, model);
    let lines: f64 = truth.lines.iter().map(|l| l.end_ms - l.start_ms).sum();
    let distinct: i64 = fused.moments.iter().map(|m| m.end.0 - m.start.0).sum();
    let every: i64 = recordings
        .iter()
        .flat_map(|r| &r.segments)
        .map(|s| s.end.0 - s.start.0)
        .sum();
    println!(
        "\n{title}: {} lines, {} recordings, {} moments",
        truth.lines.len(),
        recordings.len(),
        fused.moments.len()
    );
    let seconds = |ms: f64| ms / 1000.0;
    println!(
        "speech said {:.1} s, in moments {:.1} s; model sound {:.1} s ({:.2} of what was said, {:.2} of the moments; first choices alone {:.2}); every source by itself {:.1} s ({:.2})",
        seconds(lines),
        seconds(distinct as f64),
        seconds(fused.model_ms as f64),
        fused.model_ms as f64 / lines,
        fused.model_ms as f64 / distinct as f64,
        fused.first_ms as f64 / lines,
        seconds(every as f64),
        every as f64 / lines,
    );
    let unplaced = placed.iter().filter(|p| p.how == How::Unplaced).count();
    println!(
        "{unplaced} recordings not placed, {} moments tried twice, {} doubted",
        fused.twice, fused.doubted
    );
    word_errors(truth, &recordings, &fused, model);
    times::print(truth, &recordings, &placed, &fused);
}

fn word_errors(truth: &Truth, recordings: &[Recording], fused: &Fused, model: &mut dyn Recogniser) {
    // Of each source, its words on the event clock, by the truth.
    let mut sources: BTreeMap<String, Vec<Timed>> = BTreeMap::new();
    let alone = std::env::var_os("FUSED").is_none();
    for (n, recording) in recordings.iter().enumerate().filter(|_| alone) {
        let spans: Vec<Span> = recording
            .segments
            .iter()
            .map(|s| Span {
                start: s.start,
                end: s.end,
            })
            .collect();
        let words = listen(model, recording, &spans).into_iter().flatten();
        sources
            .entry(recording.label.clone())
            .or_default()
            .extend(words.map(|word| {
                let (start, end) = (word.start_ms as f64, word.end_ms as f64);
                Timed::of(word.text, n, start, end, recordings)
            }));
    }
    let mut rows: Vec<(String, Errors, Vec<Utterance>)> = Vec::new();
    let mut every = Vec::new();
    for (label, words) in &sources {
        let all = utterances(truth, words);
        // By itself it answers for what reached it.
        let reached: Vec<usize> = truth
            .recorders
            .iter()
            .filter(|recorder| recorder.label == *label)
            .flat_map(|recorder| recorder.hearings.iter().map(|hearing| hearing.line))
            .collect();
        every.extend(reached.iter().map(|&line| {
            let (name, said, heard) = all[line].clone();
            (format!("{}-{name}", label.replace(' ', "-")), said, heard)
        }));
        rows.push((label.clone(), errors(&all), all));
    }
    every.sort();
    every.dedup();
    let words: Vec<Timed> = fused.words.concat();
    let together = utterances(truth, &words);
    println!("{:<34}{:>7}{:>9}  (S D I)", "word errors", "words", "%");
    if alone {
        row("every source by itself, pooled", errors(&every));
    }
    rows.sort_by_key(|(_, errors, _)| errors.total());
    for (label, errors, _) in &rows {
        row(&format!("  {label} alone, all lines"), *errors);
    }
    row("fused", errors(&together));
    let best: Vec<Utterance> = (0..truth.lines.len())
        .filter_map(|line| {
            rows.iter()
                .map(|(_, _, all)| all[line].clone())
                .min_by_key(|one| errors(std::slice::from_ref(one)).total())
        })
        .collect();
    if alone {
        row("best source of each line (oracle)", errors(&best));
    }
    if std::env::var_os("SHOW").is_some() {
        for one in &together {
            if errors(std::slice::from_ref(one)).total() > 0 {
                println!("{}\n  said  {}\n  heard {}", one.0, one.1, one.2);
            }
        }
    }
}

fn utterances(truth: &Truth, words: &[Timed]) -> Vec<Utterance> {
    let lines = by_line(truth, words);
    let all = truth.lines.iter().zip(lines).enumerate();
    all.map(|(n, (line, words))| (format!("line-{n}"), line.text.clone(), text(&words)))
        .collect()
}

fn row(title: &str, errors: Errors) {
    println!(
        "{title:<34}{:>7}{:>9.1}  ({} {} {})",
        errors.words,
        errors.percent(),
        errors.substituted,
        errors.deleted,
        errors.inserted
    );
}
