//! Where does a written text have its sentences?
//!
//! The rules are those of Unicode Annex 29, section 5, which know the ends of sentences
//! in many scripts and that closing quotes belong to what they close. They are bent
//! where letters need it: an abbreviation ends nothing, nor does what goes on in small
//! letters; a blank line ends everything; a line break is a blank where prose is
//! wrapped, and an end where a poem or vows stand in lines.

use unicode_segmentation::UnicodeSegmentation;

use super::super::normal::split_words;

/// Words of a sentence from which it is cut at its line breaks, then at commas: a poem
/// without a full stop would otherwise be one.
const LONG: usize = 40;
/// The shortest piece of a long sentence, words.
const SHORT: usize = 4;
/// Share of a paragraph's lines that begin with a capital where they are verse.
const VERSE: f32 = 0.8;
/// Lines with more columns than this are wrapped prose, whatever they begin with.
const VERSE_COLUMNS: usize = 72;
/// Words of a line that is short enough for a line of its own in a script that has no
/// capitals.
const SHORT_LINE: usize = 14;

/// What stands before a name and ends no sentence, in small letters.
#[rustfmt::skip]
const TITLES: &[&str] = &[
    "mr", "mrs", "ms", "mx", "dr", "st", "prof", "rev", "fr", "sr", "hon", "capt", "lt", "col",
    "sgt", "gen", "mt", "no", "nr", "vs", "cf", "e.g", "i.e", "dott", "sig", "hr", "mme", "mlle",
];

/// The sentences of a text, each on one line, in order; those in which nothing is
/// spoken are left out.
///
/// ```
/// use sayback_core::text::sentences;
/// assert_eq!(
///     sentences("Dear Corin,\n\nMr. Quill said, “Row!” and we rowed. It rained."),
///     ["Dear Corin,", "Mr. Quill said, “Row!” and we rowed.", "It rained."],
/// );
/// ```
#[must_use]
pub fn sentences(text: &str) -> Vec<String> {
    let text = text.replace("\r\n", "\n").replace(['\r', '\u{2028}'], "\n");
    let mut all = Vec::new();
    let mut lines: Vec<&str> = Vec::new();
    for line in text.split(['\n', '\u{2029}']).chain([""]) {
        let line = line.trim();
        if !line.is_empty() {
            lines.push(line);
            continue;
        }
        if is_verse(&lines) {
            lines.iter().for_each(|line| cut(&[line], &mut all));
        } else {
            cut(&lines, &mut all);
        }
        lines.clear();
    }
    all
}

/// Whether the lines of a paragraph are meant as lines.
fn is_verse(lines: &[&str]) -> bool {
    let Some((first, rest)) = lines.split_first() else {
        return false;
    };
    if rest.is_empty() || lines.iter().any(|l| l.chars().count() > VERSE_COLUMNS) {
        return false;
    }
    let cased = |line: &&&str| line.chars().any(|c| c.is_lowercase() || c.is_uppercase());
    if !cased(&first) && !rest.iter().any(|line| cased(&line)) {
        return lines.iter().all(|l| split_words(l).len() <= SHORT_LINE);
    }
    let begins = |line: &&&str| {
        let letter = line.chars().find(|c| c.is_alphanumeric());
        letter.is_some_and(|c| !c.is_lowercase())
    };
    let capitals = rest.iter().filter(begins).count() as f32;
    // Of two lines one capital may be chance; of vows each begins with one and ends.
    let enough = rest.len() > 1 || first.ends_with(['.', '!', '?', ',', ';']);
    enough && capitals >= VERSE * rest.len() as f32
}

/// Adds the sentences of a paragraph to `all`.
fn cut(lines: &[&str], all: &mut Vec<String>) {
    // Line feeds are kept apart from blanks until it is known which of them part.
    let paragraph = lines.join("\n");
    let flat = paragraph.replace('\n', " ");
    let mut from = 0;
    let mut to = 0;
    let mut pieces = flat.split_sentence_bounds().peekable();
    while let Some(piece) = pieces.next() {
        to += piece.len();
        let goes_on = pieces
            .peek()
            .is_some_and(|next| !ends(&flat[from..to], next));
        if goes_on {
            continue;
        }
        // The same bytes, whatever stands between the words.
        shorten(paragraph.get(from..to).unwrap_or(piece), all);
        from = to;
    }
}

/// Whether a sentence ends between these two.
fn ends(before: &str, after: &str) -> bool {
    let first = after.chars().find(|c| c.is_alphanumeric());
    if first.is_none() || first.is_some_and(char::is_lowercase) {
        return false;
    }
    let before = before.trim_end();
    let Some(stem) = before.strip_suffix('.') else {
        return true;
    };
    let word = stem.rsplit(char::is_whitespace).next().unwrap_or(stem);
    let word = word.trim_start_matches(|c: char| !c.is_alphanumeric());
    let initial = word.chars().count() == 1 && word.chars().all(char::is_uppercase) && word != "I";
    !initial && !TITLES.contains(&word.to_lowercase().as_str())
}

/// Adds a sentence to `all`, in pieces where it is too long to be looked for as one.
fn shorten(sentence: &str, all: &mut Vec<String>) {
    let words = split_words(sentence).len();
    if words == 0 {
        return;
    }
    let mut pieces = vec![sentence.to_owned()];
    if words > LONG {
        let lines: Vec<String> = sentence.lines().map(str::to_owned).collect();
        pieces = lines.iter().flat_map(|line| clauses(line)).collect();
    }
    let mut open = String::new();
    for piece in pieces {
        if !open.is_empty() {
            open.push(' ');
        }
        open.push_str(piece.trim());
        if words <= LONG || split_words(&open).len() >= SHORT {
            push(&open, all);
            open.clear();
        }
    }
    push(&open, all);
}

/// A line that is too long by itself, cut at its commas and then by count.
fn clauses(line: &str) -> Vec<String> {
    if split_words(line).len() <= LONG {
        return vec![line.to_owned()];
    }
    let mut clauses: Vec<String> = Vec::new();
    let mut open: Vec<&str> = Vec::new();
    for word in line.split_whitespace() {
        open.push(word);
        let ends = word.ends_with([',', ';', ':', '–', '—', '、', '，', '،']);
        if open.len() >= LONG || ends && open.len() >= LONG / 3 {
            clauses.push(open.join(" "));
            open.clear();
        }
    }
    clauses.push(open.join(" "));
    clauses
        .into_iter()
        .flat_map(|clause| unspaced(&clause))
        .collect()
}

/// A clause of a script without blanks, cut by count.
fn unspaced(clause: &str) -> Vec<String> {
    let words = split_words(clause);
    if words.len() <= 2 * LONG || clause.split_whitespace().count() > LONG {
        return vec![clause.to_owned()];
    }
    words.chunks(LONG).map(|words| words.concat()).collect()
}

fn push(sentence: &str, all: &mut Vec<String>) {
    let words: Vec<&str> = sentence.split_whitespace().collect();
    let sentence = words.join(" ");
    if !split_words(&sentence).is_empty() {
        all.push(sentence);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::tokens;
    use proptest::prelude::*;

    #[test]
    fn abbreviations_initials_and_small_letters_end_nothing() {
        for (text, want) in [
            (
                "Mrs. Aldersea came. She sang.",
                vec!["Mrs. Aldersea came.", "She sang."],
            ),
            (
                "J. R. Quill rowed us at 5.30 p.m. to St. Tarrow.",
                vec!["J. R. Quill rowed us at 5.30 p.m. to St. Tarrow."],
            ),
            (
                "“Why?” she asked. “Because!”",
                vec!["“Why?” she asked.", "“Because!”"],
            ),
            (
                "And so do I. You know it... don't you?",
                vec!["And so do I.", "You know it... don't you?"],
            ),
            ("No end", vec!["No end"]),
            (
                "He said \"I will.\" Then he did.",
                vec!["He said \"I will.\"", "Then he did."],
            ),
        ] {
            assert_eq!(sentences(text), want);
        }
    }

    #[test]
    fn wrapped_prose_is_joined_and_verse_is_not() {
        let prose = "I have been looking\nfor that lost oar\never since. I love\nthat you sing.";
        assert_eq!(
            sentences(prose),
            [
                "I have been looking for that lost oar ever since.",
                "I love that you sing."
            ]
        );
        let verse =
            "The river keeps the weight\nAnd asks for nothing\nBut the morning\n\nLove, be like it";
        assert_eq!(
            sentences(verse),
            [
                "The river keeps the weight",
                "And asks for nothing",
                "But the morning",
                "Love, be like it"
            ]
        );
        // A poem that goes on in small letters and ends its sentences is cut by them.
        let poem =
            "It keeps a silver spoon,\nand the straw hat\nof a man. And when\nwe are old, keep us.";
        assert_eq!(
            sentences(poem),
            [
                "It keeps a silver spoon, and the straw hat of a man.",
                "And when we are old, keep us."
            ]
        );
    }

    #[test]
    fn other_scripts_have_sentences() {
        assert_eq!(
            sentences("我愿意。你呢？我们走吧！"),
            ["我愿意。", "你呢？", "我们走吧！"]
        );
        assert_eq!(sentences("هل تحبني؟ نعم أحبك."), ["هل تحبني؟", "نعم أحبك."]);
        assert_eq!(sentences("मैं आऊँगा। तुम भी आना।"), ["मैं आऊँगा।", "तुम भी आना।"]);
        // No capitals, short lines: lines are meant.
        assert_eq!(
            sentences("川は流れる\n舟は行く"),
            ["川は流れる", "舟は行く"]
        );
    }

    #[test]
    fn a_text_without_an_end_is_cut_all_the_same() {
        let long = "and the boat went on ".repeat(60);
        let cut = sentences(&long);
        assert!(cut.len() >= 7, "{}", cut.len());
        assert!(
            cut.iter().all(|one| split_words(one).len() <= LONG + SHORT),
            "{cut:?}"
        );
        let signs = "愿".repeat(300);
        let cut = sentences(&signs);
        assert!(
            cut.len() > 5 && cut.iter().all(|one| split_words(one).len() <= LONG),
            "{cut:?}"
        );
    }

    proptest! {
        #[test]
        fn no_word_is_lost_and_none_is_made(text in "([A-Za-zäß愿川,;:\"“”'.!?…-]|[ \n]|\r\n|Mr\\. |[\\p{L}\\p{N}]){0,120}") {
            let of = |text: &str| tokens(split_words(text)).replace(' ', "");
            prop_assert_eq!(of(&sentences(&text).join(" ")), of(&text));
        }
    }
}
