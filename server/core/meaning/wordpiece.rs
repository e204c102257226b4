//! Which pieces of words does the model know a text by?
//!
//! The uncased form of BERT's WordPiece (Devlin et al., *BERT*, NAACL 2019; Wu et al.,
//! arXiv 1609.08144, section 4.1): no accents, small letters, every mark of punctuation
//! a word, each word by its longest known pieces from the left.

use std::collections::HashMap;

use unicode_normalization::UnicodeNormalization;
use unicode_properties::{GeneralCategory, GeneralCategoryGroup, UnicodeGeneralCategory};

use super::weights::{NoModel, VOCABULARY};

/// A word of more characters is unknown as a whole.
const LONGEST_WORD: usize = 100;

/// The model's vocabulary.
pub(super) struct WordPiece {
    pieces: HashMap<Box<str>, u32>,
    unknown: u32,
    first: u32,
    last: u32,
}

impl WordPiece {
    /// Of a vocabulary, a piece a line.
    pub(super) fn new(vocabulary: &str) -> Result<Self, NoModel> {
        let pieces: HashMap<Box<str>, u32> =
            vocabulary.lines().map(Box::from).zip(0_u32..).collect();
        if pieces.len() != VOCABULARY {
            return Err(NoModel::Vocabulary);
        }
        let of = |piece| pieces.get(piece).copied().ok_or(NoModel::Vocabulary);
        Ok(Self {
            unknown: of("[UNK]")?,
            first: of("[CLS]")?,
            last: of("[SEP]")?,
            pieces,
        })
    }

    /// The numbers of a text's pieces between the marks of its start and end, at most
    /// `most` in all; what is beyond is not read.
    pub(super) fn numbers(&self, text: &str, most: usize) -> Vec<u32> {
        let inside = most.saturating_sub(1);
        let mut numbers = vec![self.first];
        let mut word = String::new();
        for c in normal(text) {
            if numbers.len() >= inside {
                break;
            }
            if c.is_whitespace() {
                self.add(&mut word, &mut numbers);
            } else if stands_alone(c) {
                self.add(&mut word, &mut numbers);
                word.push(c);
                self.add(&mut word, &mut numbers);
            } else {
                word.push(c);
            }
        }
        self.add(&mut word, &mut numbers);
        numbers.truncate(inside.max(1));
        numbers.push(self.last);
        numbers
    }

    /// Adds a word's pieces, and empties it.
    fn add(&self, word: &mut String, numbers: &mut Vec<u32>) {
        let known = (word.chars().count() <= LONGEST_WORD)
            .then(|| self.pieces_of(word))
            .flatten();
        match known {
            _ if word.is_empty() => {}
            Some(pieces) => numbers.extend(pieces),
            None => numbers.push(self.unknown),
        }
        word.clear();
    }

    fn pieces_of(&self, word: &str) -> Option<Vec<u32>> {
        let mut pieces = Vec::new();
        let mut rest = word;
        let mut key = String::new();
        while !rest.is_empty() {
            let ends = rest.char_indices().map(|(at, c)| at + c.len_utf8()).rev();
            let (end, number) = ends
                .filter_map(|end| {
                    key.clear();
                    key.push_str(if pieces.is_empty() { "" } else { "##" });
                    key.push_str(rest.get(..end)?);
                    Some((end, *self.pieces.get(key.as_str())?))
                })
                .next()?;
            pieces.push(number);
            rest = rest.get(end..)?;
        }
        Some(pieces)
    }
}

/// Without accents, in small letters; what is no character is left out.
fn normal(text: &str) -> impl Iterator<Item = char> {
    let kept = text.chars().filter(|c| {
        let nothing = matches!(c, '\0' | '\u{fffd}')
            || c.general_category_group() == GeneralCategoryGroup::Other;
        !nothing || c.is_whitespace()
    });
    kept.nfd()
        .filter(|c| c.general_category() != GeneralCategory::NonspacingMark)
        .flat_map(char::to_lowercase)
}

/// Punctuation, the other printable signs of ASCII, and the characters of Chinese.
fn stands_alone(c: char) -> bool {
    c.is_ascii_punctuation()
        || c.general_category_group() == GeneralCategoryGroup::Punctuation
        || matches!(c as u32,
            0x4E00..=0x9FFF | 0x3400..=0x4DBF | 0x2_0000..=0x2_A6DF | 0x2_A700..=0x2_B73F
            | 0x2_B740..=0x2_B81F | 0x2_B820..=0x2_CEAF | 0xF900..=0xFAFF | 0x2_F800..=0x2_FA1F)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The pieces of the examples among as many others as it takes.
    fn known() -> WordPiece {
        let words = [
            "[UNK]", "[CLS]", "[SEP]", "the", "boat", "##house", "##s", "un", "##want", "##ed",
            ",", "'", "cafe", "中", "s", "!", "$",
        ];
        let mut all: Vec<String> = words.map(str::to_owned).to_vec();
        all.extend((all.len()..VOCABULARY).map(|n| format!("[unused{n}]")));
        WordPiece::new(&all.join("\n")).unwrap()
    }

    fn inside(text: &str) -> Vec<u32> {
        let numbers = known().numbers(text, 64);
        assert_eq!((numbers.first(), numbers.last()), (Some(&1), Some(&2)));
        numbers[1..numbers.len() - 1].to_vec()
    }

    #[test]
    fn words_fall_into_their_longest_pieces() {
        assert_eq!(inside("The boathouses"), [3, 4, 5, 6]);
        assert_eq!(inside("unwanted"), [7, 8, 9]);
        assert_eq!(inside("boat-house"), [4, 0, 0]);
    }

    #[test]
    fn marks_accents_and_case() {
        assert_eq!(inside("the boat's CAFÉ!"), [3, 4, 11, 14, 12, 15]);
        assert_eq!(inside("cafe\u{301}\u{200d}\0"), [12]);
        assert_eq!(inside("boat中boat $"), [4, 13, 4, 16]);
        assert_eq!(inside(" \t\r\n "), [0; 0]);
    }

    #[test]
    fn what_is_too_long_is_cut() {
        let many = "the ".repeat(300_000);
        assert_eq!(known().numbers(&many, 64).len(), 64);
        assert_eq!(known().numbers(&many, 64)[63], 2);
        assert_eq!(inside(&"boat".repeat(26)), [0]);
        assert_eq!(known().numbers("the", 0), [1, 2]);
    }

    #[test]
    fn another_vocabulary_is_refused() {
        assert!(matches!(WordPiece::new("a\nb"), Err(NoModel::Vocabulary)));
    }

    proptest! {
        #[test]
        fn any_text_has_pieces(text in any::<String>(), most in 0_usize..40) {
            let numbers = known().numbers(&text, most);
            prop_assert!(numbers.len() <= most.max(2));
            prop_assert!(numbers.iter().all(|n| (*n as usize) < VOCABULARY));
        }
    }
}
