//! Which list of names is one?

use std::collections::HashSet;

use super::normal::normal;

/// Most names of an event.
pub const MAX_NAMES: usize = 5_000;
/// Most characters of a name.
pub const MAX_NAME_CHARS: usize = 80;

/// Why a list is no list of names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GlossaryError {
    /// More names than [`MAX_NAMES`]: this many.
    TooMany(usize),
    /// A name, counted from 1, has this many characters.
    TooLong(usize, usize),
}

impl std::fmt::Display for GlossaryError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooMany(count) => {
                write!(
                    f,
                    "there are {count} names; an event has at most {MAX_NAMES}"
                )
            }
            Self::TooLong(n, length) => write!(
                f,
                "name {n} has {length} characters; a name has at most {MAX_NAME_CHARS}"
            ),
        }
    }
}

impl std::error::Error for GlossaryError {}

/// The names of a list in its order: white space and control characters made even,
/// what nobody sees (marks of direction, soft hyphens) left out; repetitions and what
/// has neither a letter nor a digit dropped.
///
/// # Errors
/// [`GlossaryError`].
///
/// ```
/// use sayback_core::text::glossary;
/// let typed = ["  Ottilie \t Marrowby", "", "Biscuit", "Biscuit"].map(String::from);
/// assert_eq!(glossary(&typed), Ok(vec!["Ottilie Marrowby".into(), "Biscuit".into()]));
/// ```
pub fn glossary(typed: &[String]) -> Result<Vec<String>, GlossaryError> {
    let mut names: Vec<String> = Vec::new();
    let mut seen: HashSet<String> = HashSet::new();
    for (n, name) in (1..).zip(typed) {
        let name = shown_name(name);
        let length = name.chars().count();
        if length > MAX_NAME_CHARS {
            return Err(GlossaryError::TooLong(n, length));
        }
        if name.split(' ').all(|word| normal(word).is_empty()) {
            continue;
        }
        if seen.insert(name.clone()) {
            names.push(name);
        }
    }
    if names.len() > MAX_NAMES {
        return Err(GlossaryError::TooMany(names.len()));
    }
    Ok(names)
}

/// A name as it is kept: white space and control characters made even, what nobody sees
/// (marks of direction, soft hyphens) left out.
#[must_use]
pub fn shown_name(typed: &str) -> String {
    let seen_by_people: String = typed.chars().filter(|c| !is_unseen(*c)).collect();
    let parts = seen_by_people.split(|c: char| c.is_whitespace() || c.is_control());
    let words: Vec<&str> = parts.filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

/// Marks of direction and other characters without a shape; not those by which
/// letters of some scripts join or part.
fn is_unseen(c: char) -> bool {
    matches!(
        c,
        '\u{ad}'
            | '\u{200b}'
            | '\u{200e}'
            | '\u{200f}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2060}'
            | '\u{2066}'..='\u{2069}'
            | '\u{feff}'
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(names: &[&str]) -> Result<Vec<String>, GlossaryError> {
        glossary(
            &names
                .iter()
                .map(|&name| name.to_owned())
                .collect::<Vec<_>>(),
        )
    }

    #[test]
    fn names_of_all_kinds() {
        assert_eq!(of(&[]), Ok(Vec::new()));
        assert_eq!(of(&["", " \t\r\n", "\u{feff}"]), Ok(Vec::new()));
        // From right to left, with the marks that a document puts around it.
        assert_eq!(of(&["\u{202b}שרה לוי\u{202c}"]), Ok(vec!["שרה לוי".into()]));
        assert_eq!(of(&["Zoë", "Zoe"]).unwrap().len(), 2);
        assert_eq!(of(&["Jo\u{1b}ry\0"]), Ok(vec!["Jo ry".into()]));
        assert_eq!(of(&["…", "\u{7}"]), Ok(Vec::new()));
        assert_eq!(of(&[&"é".repeat(80)]).unwrap().len(), 1);
        assert_eq!(of(&[&"é".repeat(81)]), Err(GlossaryError::TooLong(1, 81)));
    }

    #[test]
    fn so_many_and_no_more() {
        let many: Vec<String> = (0..=MAX_NAMES).map(|n| format!("Name{n}")).collect();
        assert_eq!(glossary(&many[..MAX_NAMES]).unwrap().len(), MAX_NAMES);
        let refused = glossary(&many).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "there are 5001 names; an event has at most 5000"
        );
        // Repetitions are no further names.
        let same = vec!["Ione".to_owned(); 9_000];
        assert_eq!(glossary(&same).unwrap().len(), 1);
    }

    proptest! {
        #[test]
        fn a_list_that_was_taken_is_taken_as_it_is(typed in prop::collection::vec("\\PC{0,20}", 0..9)) {
            if let Ok(names) = glossary(&typed) {
                prop_assert_eq!(glossary(&names), Ok(names.clone()));
                prop_assert!(names.len() <= typed.len());
            }
        }
    }
}
