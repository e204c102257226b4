//! When in its window was each word said?
//!
//! The model marks phrases in steps of 20 ms and hints, word by word, where it
//! would have put a mark. Between those, a phrase's voiced time is shared out
//! by how long the words take to say, and the borders move to the quietest
//! instant nearby. (The library's own word times do the same, but look at the
//! wrong samples for every phrase that does not begin at 0.) Pure.

use super::words::Spelled;

/// One frame of loudness.
const FRAME_MS: i64 = 10;
/// How far a border may move to a quieter place.
const SEARCH_MS: i64 = 80;
/// No word is shorter.
pub(super) const SHORTEST_MS: i64 = 20;
/// A frame is voiced when its amplitude is above this share of a loud frame's.
const VOICED: f32 = 0.06;

/// Loudness of a window over time.
pub(super) struct Loudness {
    /// Mean amplitude of each frame.
    frames: Vec<f32>,
    /// Amplitude above which a frame holds voice.
    voiced: f32,
}

impl Loudness {
    /// Of samples at 16 kHz.
    pub(super) fn new(samples: &[f32]) -> Self {
        let per_frame = 16 * FRAME_MS as usize;
        let frames: Vec<f32> = samples
            .chunks(per_frame)
            .map(|chunk| chunk.iter().map(|s| s.abs()).sum::<f32>() / chunk.len() as f32)
            .collect();
        let mut sorted = frames.clone();
        sorted.sort_by(f32::total_cmp);
        let at = |share: f32| {
            sorted
                .get((sorted.len() as f32 * share) as usize)
                .copied()
                .unwrap_or(0.0)
        };
        // Loud is what a twentieth of the window exceeds; the floor what a
        // twentieth stays below.
        let (floor, loud) = (at(0.05), at(0.95));
        Self {
            frames,
            voiced: floor + (loud - floor) * VOICED,
        }
    }

    fn end_ms(&self) -> i64 {
        self.frames.len() as i64 * FRAME_MS
    }

    fn at(&self, ms: i64) -> f32 {
        let frame = (ms / FRAME_MS).max(0) as usize;
        self.frames.get(frame).copied().unwrap_or(0.0)
    }

    fn is_voiced(&self, ms: i64) -> bool {
        self.at(ms) > self.voiced
    }
}

/// Start and end of every word of a phrase in ms of the window: in order, not
/// overlapping, inside `[from_ms, to_ms)` as far as there is room.
pub(super) fn times(
    words: &[Spelled],
    from_ms: i64,
    to_ms: i64,
    loudness: &Loudness,
) -> Vec<(i64, i64)> {
    if words.is_empty() {
        return Vec::new();
    }
    let end = loudness.end_ms().max(SHORTEST_MS);
    let from = from_ms.clamp(0, end - SHORTEST_MS);
    let to = to_ms.clamp(from + SHORTEST_MS, end);
    let borders = borders(words, from, to, loudness);
    let mut times = Vec::with_capacity(words.len());
    for pair in borders.windows(2) {
        times.push(trimmed(pair[0], pair[1], loudness));
    }
    times
}

/// The instants between the words, and the two ends: one more than words.
fn borders(words: &[Spelled], from: i64, to: i64, loudness: &Loudness) -> Vec<i64> {
    let count = words.len();
    let mut fixed: Vec<(usize, i64)> = vec![(0, from)];
    for (index, word) in words.iter().enumerate().skip(1) {
        if let (Some(mark), Some(&(_, last))) = (word.mark_ms, fixed.last())
            && mark > last
            && mark < to
        {
            fixed.push((index, mark));
        }
    }
    fixed.push((count, to));
    let mut borders = vec![from; count + 1];
    for pair in fixed.windows(2) {
        let ((first, start), (next, end)) = (pair[0], pair[1]);
        share(
            &words[first..next],
            start,
            end,
            loudness,
            &mut borders[first..=next],
        );
    }
    for index in 1..count {
        let low = borders[index - 1] + SHORTEST_MS;
        let high = borders[index + 1] - SHORTEST_MS;
        borders[index] = quietest(borders[index], low, high, loudness);
    }
    // Where words crowd, each still gets its least; the last may leave the
    // phrase for it.
    for index in 1..=count {
        borders[index] = borders[index].max(borders[index - 1] + 1);
    }
    borders
}

/// Shares out the voiced frames between two instants by the words' lengths.
fn share(words: &[Spelled], start: i64, end: i64, loudness: &Loudness, borders: &mut [i64]) {
    let frames: Vec<i64> = (start..end).step_by(FRAME_MS as usize).collect();
    let voiced: Vec<i64> = frames
        .iter()
        .copied()
        .filter(|&ms| loudness.is_voiced(ms))
        .collect();
    // With next to nothing voiced there is no pause to leave out.
    let counted = if voiced.len() * 3 < frames.len() {
        &frames
    } else {
        &voiced
    };
    let total: f32 = words.iter().map(|word| spoken_length(&word.text)).sum();
    let mut done = 0.0;
    for (index, word) in words.iter().enumerate() {
        borders[index] = if index == 0 {
            start
        } else {
            let at = (done / total * counted.len() as f32) as usize;
            counted.get(at).copied().unwrap_or(end)
        };
        done += spoken_length(&word.text);
    }
    borders[words.len()] = end;
}

/// How long a word takes to say, in letters.
fn spoken_length(text: &str) -> f32 {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count() as f32;
    let digits = text.chars().filter(char::is_ascii_digit).count() as f32;
    // A digit is a word of its own; no word takes no time.
    letters + 3.0 * digits + 0.5
}

/// The quietest frame near an instant, between two others.
fn quietest(near: i64, low: i64, high: i64, loudness: &Loudness) -> i64 {
    let low = low.max(near - SEARCH_MS);
    let high = high.min(near + SEARCH_MS);
    let candidates = (low..=high).step_by(FRAME_MS as usize);
    candidates
        .min_by(|&a, &b| {
            let cost =
                |ms: i64| loudness.at(ms) + loudness.voiced * (ms - near).abs() as f32 / 400.0;
            cost(a).total_cmp(&cost(b))
        })
        .unwrap_or(near)
}

/// A word without the silence before and after it.
fn trimmed(start: i64, end: i64, loudness: &Loudness) -> (i64, i64) {
    let mut frames = (start..end)
        .step_by(FRAME_MS as usize)
        .filter(|&ms| loudness.is_voiced(ms));
    let Some(first) = frames.next() else {
        return (start, end);
    };
    let last = frames.last().unwrap_or(first) + FRAME_MS;
    let first = first.min(end - SHORTEST_MS).max(start);
    (first, last.max(first + SHORTEST_MS).min(end).max(first + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten-millisecond frames of a window: loud where `voice` says.
    fn sound(ms: i64, voice: impl Fn(i64) -> bool) -> Loudness {
        let samples: Vec<f32> = (0..ms * 16)
            .map(|at| if voice(at / 16) { 0.3 } else { 0.001 })
            .collect();
        Loudness::new(&samples)
    }

    fn words(list: &[(&str, Option<i64>)]) -> Vec<Spelled> {
        let word = |&(text, mark_ms): &(&str, Option<i64>)| Spelled {
            text: text.into(),
            confidence: 1.0,
            mark_ms,
        };
        list.iter().map(word).collect()
    }

    #[test]
    fn a_pause_lies_between_words() {
        // Two words of the same length, said at 0.5 to 1.0 s and 2.0 to 2.5 s.
        let loudness = sound(3_000, |ms| {
            (500..1_000).contains(&ms) || (2_000..2_500).contains(&ms)
        });
        let times = times(
            &words(&[("ferry", None), ("river", None)]),
            0,
            3_000,
            &loudness,
        );
        assert_eq!(times, [(500, 1_000), (2_000, 2_500)]);
    }

    #[test]
    fn a_hint_moves_the_border() {
        let loudness = sound(2_000, |ms| ms > 0);
        let hinted = times(
            &words(&[("a", None), ("landing", Some(1_400))]),
            0,
            2_000,
            &loudness,
        );
        assert!((hinted[1].0 - 1_400).abs() <= SEARCH_MS, "{hinted:?}");
        // A hint before the word's own phrase is none.
        let early = times(
            &words(&[("a", None), ("landing", Some(-20))]),
            0,
            2_000,
            &loudness,
        );
        assert!(early[1].0 < 700, "{early:?}");
    }

    proptest::proptest! {
        #[test]
        fn words_are_in_order_and_last(
            count in 1..40_usize,
            from in -500..4_000_i64,
            length in -200..4_000_i64,
            marks in proptest::collection::vec(proptest::option::of(-100..6_000_i64), 40),
            quiet in 1..400_i64,
        ) {
            let loudness = sound(4_000, |ms| (ms / quiet) % 2 == 0);
            let list: Vec<_> = marks.iter().take(count).map(|&mark| ("oars", mark)).collect();
            let mut last = 0;
            for (start, end) in times(&words(&list), from, from + length, &loudness) {
                proptest::prop_assert!(last <= start && start < end);
                last = end;
            }
            proptest::prop_assert!(last <= 4_000 + count as i64 * SHORTEST_MS);
        }
    }
}
