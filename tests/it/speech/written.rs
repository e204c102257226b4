//! A poem that is read aloud, found by its written text: line times against published
//! ones.

use sayback::core::text::{HeardIn, HeardWord, Written};

use super::{paths, sets, share, whisper};

#[test]
fn a_read_poem_is_found_line_by_line_where_it_was_published_to_be() {
    let lines = sets::sonnet_lines();
    let texts: Vec<&str> = lines.iter().map(|line| line.words.as_str()).collect();
    let written = Written::new(&texts.join("\n"));
    let shown: Vec<&str> = written
        .sentences
        .iter()
        .map(|one| one.text.as_str())
        .collect();
    assert_eq!(shown, texts, "a poem is cut by its lines");

    let words = paths::ours(&mut whisper(), &sets::sonnet().file);
    let heard: Vec<HeardWord<'_>> = words
        .iter()
        .map(|word| HeardWord {
            text: &word.text,
            confidence: word.confidence,
            moment: 0,
            start_ms: word.start_ms,
            end_ms: word.end_ms,
        })
        .collect();
    let found = written.passes(&heard, &[HeardIn::default()]);
    let [pass] = found.passes.as_slice() else {
        panic!("{found:#?}")
    };
    let (mut beyond, mut starts, mut ends) = (Vec::new(), Vec::new(), Vec::new());
    let mut missing = Vec::new();
    for (line, said) in lines.iter().zip(&pass.sentences) {
        let Some(said) = said else {
            missing.push(line.words.as_str());
            continue;
        };
        let take = &said.take;
        let (before, behind) = (line.from_ms - take.start_ms, take.end_ms - line.to_ms);
        beyond.push(before.max(behind).max(0) as f64);
        starts.push(before.abs() as f64);
        ends.push(behind.abs() as f64);
    }
    // The published lines share the pauses out between them, so that words begin behind
    // a line's start and end before its end.
    for (what, list) in [
        ("beyond its line", &beyond),
        ("start", &starts),
        ("end", &ends),
    ] {
        let (half, most) = (share::below(list, 0.5), share::below(list, 0.95));
        println!("{what}: median {half:.0} ms, 95 % {most:.0} ms");
    }
    println!(
        "completeness {:.2}, agreement {:.2}",
        pass.completeness, pass.agreement
    );
    // The number over the poem is one word, which may be heard otherwise.
    assert!(missing.is_empty() || missing == ["1"], "{missing:?}");
    // What the tool promises of a word's time.
    assert!(share::below(&beyond, 0.5) <= 50.0, "{beyond:?}");
    assert!(share::below(&beyond, 0.95) <= 150.0, "{beyond:?}");
}
