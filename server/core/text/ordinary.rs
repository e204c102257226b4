//! Is this an ordinary word?

/// Shortest word that an ending is taken off to.
const SHORTEST: usize = 3;
/// Endings that make a form of a word, and what they may stand in the place of. They
/// are English; in other languages they make few words of none.
const ENDINGS: [(&str, &str); 6] = [
    ("s", ""),
    ("es", ""),
    ("ed", ""),
    ("ed", "e"),
    ("ing", ""),
    ("ing", "e"),
];

/// Whether a word as it is written is ordinary, where `known` says so of words in small
/// letters: by itself, without an ending that makes a form of it, up to its apostrophe,
/// and in all its parts where it has hyphens. What has no letter is none.
///
/// ```
/// use sayback_core::text::is_ordinary;
/// let known = |word: &str| ["kettle", "row", "do", "self", "made"].contains(&word);
/// assert!(is_ordinary("Kettles,", &known) && is_ordinary("self-made", &known));
/// assert!(!is_ordinary("Ottilie's", &known));
/// ```
#[must_use]
pub fn is_ordinary(word: &str, known: &dyn Fn(&str) -> bool) -> bool {
    let mut parts = word
        .split('-')
        .map(|part| part.trim_matches(|c: char| !c.is_alphanumeric()))
        .filter(|part| !part.is_empty())
        .peekable();
    parts.peek().is_some()
        && parts.all(|part| {
            let stem = part.split(['\'', '’']).next().unwrap_or(part);
            form(&stem.to_lowercase(), known)
        })
}

fn form(word: &str, known: &dyn Fn(&str) -> bool) -> bool {
    known(word)
        || ENDINGS.iter().any(|(ending, instead)| {
            let stem = word.strip_suffix(ending);
            stem.is_some_and(|stem| {
                stem.len() + instead.len() >= SHORTEST && known(&format!("{stem}{instead}"))
            })
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinary_words_in_their_forms() {
        let list = [
            "marry", "kettle", "row", "make", "don", "i", "well", "known",
        ];
        let known = |word: &str| list.contains(&word);
        for word in [
            "Marry",
            "“kettles",
            "rowed.",
            "Making",
            "don't",
            "I’m",
            "well-known",
            "-row-",
        ] {
            assert!(is_ordinary(word, &known), "{word}");
        }
        for word in [
            "Ottilie",
            "Mary",
            "Kettley",
            "",
            "s",
            "ing",
            "…",
            "well-Osric",
            "'",
        ] {
            assert!(!is_ordinary(word, &known), "{word}");
        }
    }
}
