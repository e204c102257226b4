//! From stretches of recordings to words, and from words to lines of the truth.

use sayback::core::Cancel;
use sayback::core::units::FileMs;
use sayback::media::read_analysis;
use sayback::speech::{Ask, HeardWord, Recogniser, Span, pack};
use xtask::scene::Truth;

use crate::event::Recording;

/// What the model wrote down of each span, in the order of the spans.
pub fn listen(
    recogniser: &mut dyn Recogniser,
    recording: &Recording,
    spans: &[Span],
) -> Vec<Vec<HeardWord>> {
    let mut words = vec![Vec::new(); spans.len()];
    for window in pack(spans, FileMs(recording.duration_ms as i64)) {
        let passage = window
            .assemble(&mut |from, to| read_analysis(&recording.path, recording.pick, from, to))
            .expect("the window's samples");
        let heard = recogniser
            .recognise(
                passage.samples(),
                &Ask::default(),
                &Cancel::new(),
                &mut |_| {},
            )
            .expect("words");
        for (span, word) in passage.place(heard) {
            words[span].push(word);
        }
    }
    words
}

/// A word, where it was heard.
#[derive(Clone, Debug)]
pub struct Timed {
    pub text: String,
    /// The recording it was heard in.
    pub recording: usize,
    /// Where in its file, ms.
    pub file: (f64, f64),
    /// When that really was, event ms.
    pub start_ms: f64,
    pub end_ms: f64,
}

impl Timed {
    /// A word of a recording, at its file time.
    pub fn of(
        text: String,
        recording: usize,
        start_ms: f64,
        end_ms: f64,
        recordings: &[Recording],
    ) -> Self {
        let truth = &recordings[recording].truth;
        Self {
            text,
            recording,
            file: (start_ms, end_ms),
            start_ms: truth.event_at(start_ms),
            end_ms: truth.event_at(end_ms),
        }
    }
}

/// The words of each line of the truth: every word belongs to the line it is
/// nearest to.
pub fn by_line(truth: &Truth, words: &[Timed]) -> Vec<Vec<Timed>> {
    let mut lines = vec![Vec::new(); truth.lines.len()];
    for word in words {
        let middle = word.start_ms.midpoint(word.end_ms);
        let far = |n: &usize| {
            let line = &truth.lines[*n];
            (line.start_ms - middle).max(middle - line.end_ms).max(0.0)
        };
        let nearest = (0..truth.lines.len()).min_by(|x, y| far(x).total_cmp(&far(y)));
        if let Some(line) = nearest {
            lines[line].push(word.clone());
        }
    }
    for line in &mut lines {
        line.sort_by(|x, y| x.start_ms.total_cmp(&y.start_ms));
    }
    lines
}

/// Words with spaces between.
pub fn text(words: &[Timed]) -> String {
    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    texts.join(" ")
}
