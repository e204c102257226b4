//! Which words stand on the screen together, and for how long?
//!
//! A moment is parted into cues of at most two lines and seven seconds, at the ends of
//! sentences and at pauses where that can be: of all ways to part it, the one whose
//! breaks cost least.

use sayback_core::units::FileMs;
use unicode_width::UnicodeWidthStr;

use super::{Line, Word, safe};

/// Columns of a line.
pub(super) const COLUMNS: usize = 42;
/// The longest time a cue stands.
pub(super) const LONGEST_MS: i64 = 7_000;
/// What a cue is lengthened to where nothing follows: less can't be read.
const SHORTEST_MS: i64 = 1_000;
/// A pause that one hears as one.
const PAUSE_MS: i64 = 300;
/// A pause after which something new begins.
const LONG_PAUSE_MS: i64 = 1_200;

/// What stands before words that should not be trusted.
const DOUBTFUL: &str = "[?]";
/// What stands where nobody has listened.
const UNWRITTEN: &str = "[not written down yet]";

/// What stands on the screen at once.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cue {
    /// From.
    pub start: FileMs,
    /// To; later than `start`.
    pub end: FileMs,
    /// Who speaks; one line, not empty.
    pub speaker: Option<String>,
    /// `doubtful` or `unwritten`; the text says so as well.
    pub class: Option<&'static str>,
    /// One or two lines, none empty.
    pub lines: Vec<String>,
}

/// The cues of what is said, in order of their starts.
pub(super) fn of(lines: &[Line]) -> Vec<Cue> {
    let mut cues: Vec<Cue> = lines.iter().flat_map(of_line).collect();
    cues.sort_by_key(|cue| (cue.start, cue.end));
    let starts: Vec<FileMs> = cues.iter().skip(1).map(|cue| cue.start).collect();
    for (n, cue) in cues.iter_mut().enumerate() {
        let readable = FileMs(cue.start.0 + SHORTEST_MS);
        let free = starts.get(n).map_or(readable, |next| readable.min(*next));
        cue.end = cue.end.max(free);
    }
    cues
}

fn of_line(line: &Line) -> Vec<Cue> {
    let speaker = line.speakers();
    let Some(words) = &line.words else {
        let class = Some("unwritten");
        return vec![cue(
            line.start,
            line.end,
            speaker,
            class,
            vec![UNWRITTEN.into()],
        )];
    };
    let mark = line.doubt.as_ref().map(|_| DOUBTFUL);
    // SubRip names the speaker in the text, and both are parted alike.
    let before = mark.map_or(0, |mark| mark.width() + 1)
        + speaker.as_ref().map_or(0, |name| name.width() + 2);
    let first_columns = COLUMNS.saturating_sub(before).max(COLUMNS / 2);
    let pieces = pieces(words, first_columns);
    let parted = Parted::of(&pieces, first_columns);
    let class = mark.map(|_| "doubtful");
    let cues = parted.spans().into_iter().filter_map(|(from, to)| {
        let held = &pieces[from..to];
        let mut lines = parted.lines(from, to);
        if let (Some(mark), Some(first)) = (mark, lines.first_mut()) {
            *first = format!("{mark} {first}");
        }
        let (first, last) = (held.first()?, held.last()?);
        Some(cue(first.start, last.end, speaker.clone(), class, lines))
    });
    cues.collect()
}

fn cue(
    start: FileMs,
    end: FileMs,
    speaker: Option<String>,
    class: Option<&'static str>,
    lines: Vec<String>,
) -> Cue {
    let start = start.0.max(0);
    let end = end.0.clamp(start + 1, start + LONGEST_MS);
    let (start, end) = (FileMs(start), FileMs(end));
    Cue {
        start,
        end,
        speaker,
        class,
        lines,
    }
}

/// A word, or a part of one that is wider than a line.
#[derive(Clone, Debug, PartialEq)]
struct Piece {
    text: String,
    columns: usize,
    start: FileMs,
    end: FileMs,
    /// What ends with it.
    ends: Option<End>,
}

/// The words, none wider than `widest` columns.
fn pieces(words: &[Word], widest: usize) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for word in words {
        let text = safe::line(&word.text);
        let parts = cut(&text, widest);
        let (count, mut from) = (parts.len() as i64, word.start.0);
        let length = (word.end.0 - word.start.0).max(0);
        for (part, n) in parts.into_iter().zip(1..) {
            let to = word.start.0 + length * n / count;
            pieces.push(Piece {
                columns: part.width(),
                text: part.to_owned(),
                start: FileMs(from),
                end: FileMs(to),
                ends: ends(part),
            });
            from = to;
        }
    }
    pieces
}

/// A text in parts of at most so many columns; nothing of an empty one.
fn cut(text: &str, columns: usize) -> Vec<&str> {
    let (mut parts, mut from, mut width) = (Vec::new(), 0, 0);
    for (at, c) in text.char_indices() {
        let own = c.encode_utf8(&mut [0; 4]).width();
        if width + own > columns {
            parts.push(&text[from..at]);
            (from, width) = (at, 0);
        }
        width += own;
    }
    if from < text.len() {
        parts.push(&text[from..]);
    }
    parts
}

/// The best way to part pieces into cues.
struct Parted<'a> {
    pieces: &'a [Piece],
    first_columns: usize,
    /// Columns of all pieces before each, and a blank after each of them.
    before: Vec<usize>,
    /// For each end, where the last cue before it starts.
    starts: Vec<usize>,
}

impl<'a> Parted<'a> {
    fn of(pieces: &'a [Piece], first_columns: usize) -> Self {
        let mut before = vec![0];
        before.extend(pieces.iter().scan(0, |sum, piece| {
            *sum += piece.columns + 1;
            Some(*sum)
        }));
        let mut parted = Self {
            pieces,
            first_columns,
            before,
            starts: vec![0],
        };
        let mut costs = vec![0.0_f64];
        // Where a second line that ends before `to` may start at the earliest.
        let mut second = 0;
        for to in 1..=pieces.len() {
            while parted.columns(second, to) > COLUMNS {
                second += 1;
            }
            let (mut start, mut least) = (to - 1, f64::INFINITY);
            let mut inside = 0.0;
            for from in (0..to).rev() {
                if from + 1 < to {
                    inside += joining(&pieces[from], &pieces[from + 1]);
                    if !parted.fits(from, second, to) {
                        break;
                    }
                }
                let cost = costs[from] + inside + parted.breaking(to) + parted.own(from, to);
                if cost < least {
                    (start, least) = (from, cost);
                }
            }
            parted.starts.push(start);
            costs.push(least);
        }
        parted
    }

    /// From and to of each cue.
    fn spans(&self) -> Vec<(usize, usize)> {
        let (mut spans, mut to) = (Vec::new(), self.pieces.len());
        while to > 0 {
            spans.push((self.starts[to], to));
            to = self.starts[to];
        }
        spans.reverse();
        spans
    }

    /// Whether a cue can hold these pieces, its second line from `second` on.
    fn fits(&self, from: usize, second: usize, to: usize) -> bool {
        self.lasts(from, to) <= LONGEST_MS
            && (self.columns(from, to) <= self.first_columns
                || self.columns(from, second.max(from + 1)) <= self.first_columns)
    }

    fn columns(&self, from: usize, to: usize) -> usize {
        (self.before[to] - self.before[from]).saturating_sub(1)
    }

    fn lasts(&self, from: usize, to: usize) -> i64 {
        self.pieces[to - 1].end.0 - self.pieces[from].start.0
    }

    /// Where the second line of a cue starts: after punctuation and near the middle
    /// where that can be; `None` for a cue of one line.
    fn second(&self, from: usize, to: usize) -> Option<usize> {
        if self.columns(from, to) <= self.first_columns {
            return None;
        }
        let cost = |at: &usize| {
            let uneven = self.columns(from, *at).abs_diff(self.columns(*at, to));
            // What a break elsewhere is worth, in columns.
            uneven
                + match self.pieces[at - 1].ends {
                    Some(End::Sentence) => 0,
                    Some(End::Clause) => 12,
                    None => 24,
                }
        };
        (from + 1..to)
            .filter(|at| self.columns(from, *at) <= self.first_columns)
            .filter(|at| self.columns(*at, to) <= COLUMNS)
            .min_by_key(cost)
    }

    fn lines(&self, from: usize, to: usize) -> Vec<String> {
        let text = |from: usize, to: usize| {
            let texts: Vec<&str> = self.pieces[from..to]
                .iter()
                .map(|p| p.text.as_str())
                .collect();
            texts.join(" ")
        };
        match self.second(from, to) {
            Some(at) => vec![text(from, at), text(at, to)],
            None => vec![text(from, to)],
        }
    }

    /// What a break before piece `at` costs.
    fn breaking(&self, at: usize) -> f64 {
        let (Some(before), Some(after)) = (self.pieces.get(at - 1), self.pieces.get(at)) else {
            return 0.0;
        };
        let pause = after.start.0 - before.end.0;
        match before.ends {
            Some(End::Sentence) => 0.0,
            _ if pause >= LONG_PAUSE_MS => 0.0,
            Some(End::Clause) if pause >= PAUSE_MS => 0.5,
            Some(End::Clause) => 1.0,
            None if pause >= PAUSE_MS => 1.2,
            None => 3.0,
        }
    }

    /// What a cue costs by itself; one that can't be read in its time costs more.
    fn own(&self, from: usize, to: usize) -> f64 {
        let short = self.lasts(from, to) < SHORTEST_MS;
        1.0 + if short { 1.0 } else { 0.0 }
    }
}

/// What it costs to keep two pieces in one cue.
fn joining(before: &Piece, after: &Piece) -> f64 {
    let pause = after.start.0 - before.end.0;
    let over = if pause >= LONG_PAUSE_MS { 4.0 } else { 0.0 };
    let end = before.ends == Some(End::Sentence);
    over + if end { 1.2 } else { 0.0 }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Sentence,
    Clause,
}

/// What ends with a word.
fn ends(word: &str) -> Option<End> {
    let word = word.trim_end_matches(['"', '\'', '”', '’', '»', ')', ']', '」', '』']);
    match word.chars().next_back()? {
        '.' | '?' | '!' | '…' | '。' | '？' | '！' | '؟' | '।' => Some(End::Sentence),
        ',' | ';' | ':' | '–' | '—' | '、' | '，' | '،' => Some(End::Clause),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::tests::{line, spoken};

    fn texts(line: Line) -> Vec<String> {
        let cues = of(&[line]);
        cues.into_iter().map(|cue| cue.lines.join(" / ")).collect()
    }

    #[test]
    fn a_long_moment_is_parted_at_the_ends_of_sentences() {
        let said = "He rang the ferry bell every evening. The kettle, she said, will not stop \
                    singing until somebody takes it from the fire. Nobody did.";
        assert_eq!(
            texts(spoken(1_000, 300, said)),
            [
                "He rang the ferry bell every evening.",
                "The kettle, she said,",
                "will not stop singing until somebody / takes it from the fire. Nobody did.",
            ]
        );
    }

    #[test]
    fn a_pause_parts_what_punctuation_does_not() {
        let mut line = spoken(0, 300, "one two three four five six");
        for word in line.words.iter_mut().flatten().skip(3) {
            (word.start.0, word.end.0) = (word.start.0 + 1_500, word.end.0 + 1_500);
        }
        assert_eq!(texts(line), ["one two three", "four five six"]);
    }

    #[test]
    fn a_doubtful_moment_is_marked_in_every_cue_and_fits_all_the_same() {
        let said = "and then the boat went round the point again with both oars lost to the tide";
        let mut line = spoken(0, 300, said);
        line.doubt = Some("two attempts differ".into());
        line.speaker = Some("Ottilie".into());
        let cues = of(&[line]);
        assert!(cues.len() > 1, "{cues:?}");
        for cue in cues {
            assert_eq!(cue.class, Some("doubtful"));
            assert!(cue.lines[0].starts_with("[?] "), "{cue:?}");
            let widths: Vec<usize> = cue.lines.iter().map(|line| line.width()).collect();
            assert!(widths[0] + "Ottilie: ".len() <= COLUMNS, "{cue:?}");
            assert!(widths.iter().all(|width| *width <= COLUMNS), "{cue:?}");
        }
    }

    #[test]
    fn what_nobody_has_listened_to_is_a_hole_that_is_seen() {
        let mut hole = line(2_000, 40_000, "");
        hole.words = None;
        let cues = of(&[hole, line(0, 500, "Yes."), line(600, 900, "")]);
        assert_eq!(cues.len(), 2, "nothing was heard in one: {cues:?}");
        assert_eq!(cues[0].lines, ["Yes."]);
        assert_eq!(cues[1].lines, [UNWRITTEN]);
        assert_eq!((cues[1].start, cues[1].end), (FileMs(2_000), FileMs(9_000)));
    }

    #[test]
    fn a_short_cue_is_lengthened_as_far_as_the_next() {
        let cues = of(&[line(0, 200, "Yes."), line(700, 900, "No.")]);
        assert_eq!((cues[0].start, cues[0].end), (FileMs(0), FileMs(700)));
        assert_eq!((cues[1].start, cues[1].end), (FileMs(700), FileMs(1_700)));
    }

    #[test]
    fn a_word_wider_than_a_line_is_cut() {
        let cues = texts(line(0, 4_000, &"x".repeat(100)));
        let [first, rest] = ["x".repeat(42), "x".repeat(16)];
        assert_eq!(cues, [format!("{first} / {first}"), rest]);
        // Two columns each.
        let cues = texts(line(0, 4_000, &"愿".repeat(30)));
        assert_eq!(cues.join("").replace([' ', '/'], ""), "愿".repeat(30));
    }
}
