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
    let (mut missing, mut words_beyond) = (Vec::new(), Vec::new());
    for (line, said) in lines.iter().zip(&pass.sentences) {
        let Some(said) = said else {
            missing.push(line.words.as_str());
            continue;
        };
        let take = &said.take;
        let off = |start_ms: i64, end_ms: i64| {
            (line.from_ms - start_ms).max(end_ms - line.to_ms).max(0) as f64
        };
        beyond.push(off(take.start_ms, take.end_ms));
        let own = &heard[take.heard.from..take.heard.to];
        words_beyond.extend(own.iter().map(|word| off(word.start_ms, word.end_ms)));
        starts.push((line.from_ms - take.start_ms).abs() as f64);
        ends.push((take.end_ms - line.to_ms).abs() as f64);
    }
    // The published lines share the pauses out between them, so that words begin behind
    // a line's start and end before its end.
    for (what, list) in [
        ("a line beyond its published one", &beyond),
        ("a word beyond its published line", &words_beyond),
        ("from the published start", &starts),
        ("from the published end", &ends),
    ] {
        let (half, most) = (share::below(list, 0.5), share::below(list, 0.95));
        println!(
            "{what}: median {half:.0} ms, 95 % {most:.0} ms, of {}",
            list.len()
        );
    }
    println!(
        "completeness {:.2}, agreement {:.2}",
        pass.completeness, pass.agreement
    );
    // The number over the poem is one word, which may be heard otherwise.
    assert!(missing.is_empty() || missing == ["1"], "{missing:?}");
    assert!(words_beyond.len() > 100, "{words_beyond:?}");
    // What the tool promises of a word's time, here of words by the line they were put in.
    assert!(share::below(&beyond, 0.5) <= 50.0, "{beyond:?}");
    assert!(
        share::below(&words_beyond, 0.95) <= 150.0,
        "{words_beyond:?}"
    );
}
