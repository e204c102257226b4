//! Where in another hearing of a line are these words?

use super::find::Span;
use super::normal::normal;

/// Words by which a counterpart may be longer than what it stands for: two
/// short words are readily heard as three or four.
const LONGER_BY: usize = 3;

/// The words of `b` that stand where `a[span]` stands in `a`, when both are
/// hearings of one line and `b` may have heard other words there: what lies
/// between the common words next to it on either side.
///
/// `None` when the two have no word in common beside the span, when nothing
/// lies there in `b`, or much more than there is in `a`. That both are of one
/// line is for the caller to know; see [`super::group`].
///
/// Costs the product of the two lengths.
///
/// ```
/// use sayback_core::text::{Span, counterpart};
/// let a = ["he", "rang", "the", "ferry", "bell", "every", "evening"];
/// let b = ["so", "he", "rang", "the", "fairy", "bell", "every", "evening"];
/// let there = counterpart(&a, Span { from: 3, to: 5 }, &b);
/// assert_eq!(there, Some(Span { from: 4, to: 6 }));
/// ```
#[must_use]
pub fn counterpart(a: &[&str], span: Span, b: &[&str]) -> Option<Span> {
    let pairs = common(&normals(a), &normals(b));
    let wanted = span.to.checked_sub(span.from)?;
    let left = pairs.iter().rev().find(|(i, _)| *i < span.from);
    let right = pairs.iter().find(|(i, _)| *i >= span.to);
    // A span at the end of a line is bounded on one side only.
    let (from, to) = match (left, right) {
        (Some((_, left)), Some((_, right))) => (left + 1, *right),
        (Some((i, left)), None) => {
            let from = left + (span.from - i);
            (from, (from + wanted).min(b.len()))
        }
        (None, Some((i, right))) => {
            let to = right.checked_sub(i - span.to)?;
            (to.saturating_sub(wanted), to)
        }
        (None, None) => return None,
    };
    (from < to && to - from <= wanted + LONGER_BY).then_some(Span { from, to })
}

fn normals(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| normal(word)).collect()
}

/// The longest common subsequence of two texts, as pairs of positions; a word
/// without a normal form is common to nothing.
fn common(a: &[String], b: &[String]) -> Vec<(usize, usize)> {
    let same = |i: usize, j: usize| !a[i].is_empty() && a[i] == b[j];
    // longest[i][j]: of a[i..] and b[j..].
    let mut longest = vec![vec![0_usize; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            longest[i][j] = if same(i, j) {
                longest[i + 1][j + 1] + 1
            } else {
                longest[i + 1][j].max(longest[i][j + 1])
            };
        }
    }
    let (mut i, mut j, mut pairs) = (0, 0, Vec::new());
    while i < a.len() && j < b.len() {
        if same(i, j) {
            pairs.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if longest[i + 1][j] >= longest[i][j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::super::split_words;
    use super::*;

    /// The words of `b` that stand for the bracketed words of `a`.
    fn stands_for(a: &str, b: &str) -> Option<String> {
        let bracketed = a.split_whitespace().collect::<Vec<_>>();
        let from = bracketed.iter().position(|w| w.starts_with('['))?;
        let to = bracketed.iter().position(|w| w.ends_with(']'))? + 1;
        let plain = a.replace(['[', ']'], "");
        let b = split_words(b);
        let span = counterpart(&split_words(&plain), Span { from, to }, &b)?;
        Some(b[span.from..span.to].join(" "))
    }

    #[test]
    fn misheard_words_are_found_by_their_neighbours() {
        let line = "my grandfather [Ambrose] rang the ferry bell";
        for (heard, there) in [
            (
                "my grandfather and bros rang the ferry bell",
                Some("and bros"),
            ),
            ("so my grandfather Ambros rang the bell", Some("Ambros")),
            ("my grandfather rang the ferry bell", None),
            ("nobody came", None),
            ("", None),
        ] {
            assert_eq!(stands_for(line, heard).as_deref(), there, "{heard}");
        }
    }

    #[test]
    fn words_at_an_end_are_found_from_one_side() {
        assert_eq!(
            stands_for(
                "I promise to be the [second oar]",
                "I promise to be the seconder door"
            )
            .as_deref(),
            Some("seconder door")
        );
        assert_eq!(
            stands_for(
                "[Ottilie,] I promise to be kind",
                "Oddly I promise to be kind"
            )
            .as_deref(),
            Some("Oddly")
        );
        assert_eq!(stands_for("keep the [second oar]", "keep the"), None);
        assert_eq!(stands_for("[Ottilie,] I promise", "I promise"), None);
    }

    #[test]
    fn much_more_words_are_not_the_same_place() {
        let heard = "my grandfather told us every evening for forty years how he rang the bell";
        assert_eq!(
            stands_for("my grandfather [Ambrose] rang the bell", heard),
            None
        );
    }
}
