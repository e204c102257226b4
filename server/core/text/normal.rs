//! When are two written words the same word?

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;
use unicode_segmentation::UnicodeSegmentation;

/// The most characters of a word's normal form that count; longer words are
/// equal when these are.
pub const MAX_WORD_CHARS: usize = 64;

/// The normal form of one spoken word: lower case, compatibility forms and
/// accents folded, apostrophes and all other punctuation gone. Empty when
/// nothing in `word` is spoken.
///
/// Marks that only decorate a letter (accents, Hebrew points, Arabic vowel
/// signs) are dropped; marks that *are* letters, such as the vowel signs of
/// Indic scripts or the voicing marks of kana, stay. At most
/// [`MAX_WORD_CHARS`] characters. Applying it twice changes nothing.
///
/// ```
/// use sayback_core::text::normal;
/// assert_eq!(normal("Don’t,"), "dont");
/// assert_eq!(normal("CAFÉ"), "cafe");
/// assert_eq!(normal("Straße"), "strasse");
/// assert_eq!(normal("—"), "");
/// ```
#[must_use]
pub fn normal(word: &str) -> String {
    if word.is_ascii() {
        return word
            .chars()
            .filter(char::is_ascii_alphanumeric)
            .take(MAX_WORD_CHARS)
            .map(|c| c.to_ascii_lowercase())
            .collect();
    }
    let folded: String = word
        .nfkd()
        .flat_map(char::to_lowercase)
        .flat_map(fold)
        // Some letters fall apart only once they are lower case.
        .nfkd()
        .filter(|&c| is_kept(c))
        .take(MAX_WORD_CHARS)
        .nfc()
        .collect();
    if folded.chars().any(char::is_alphanumeric) {
        folded
    } else {
        String::new()
    }
}

/// The normal forms of the parts of a word as shown: what hyphens, dashes and
/// slashes join is searched part by part, since one recogniser writes
/// `half-remembered` where the next writes two words. Empty when nothing in
/// `word` is spoken.
///
/// ```
/// use sayback_core::text::parts;
/// assert_eq!(parts("half-remembered,"), ["half", "remembered"]);
/// assert_eq!(parts("don't"), ["dont"]);
/// assert!(parts("—").is_empty());
/// ```
#[must_use]
pub fn parts(word: &str) -> Vec<String> {
    word.split(is_joint)
        .map(normal)
        .filter(|part| !part.is_empty())
        .collect()
}

fn is_joint(c: char) -> bool {
    matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '/')
}

/// What is spoken in words, a token for each part, joined by single spaces.
///
/// ```
/// use sayback_core::text::tokens;
/// assert_eq!(tokens(["Don't", "—", "café-bar,", "now!"]), "dont cafe bar now");
/// ```
#[must_use]
pub fn tokens<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    let tokens: Vec<String> = words.into_iter().flat_map(parts).collect();
    tokens.join(" ")
}

/// The words of a text as it is shown, in order: what white space separates,
/// except pieces in which nothing is spoken (a lone dash, dots).
///
/// Scripts written without spaces (Chinese, Japanese, Thai and its neighbours)
/// are cut at the word boundaries of Unicode Annex 29, which for most of them
/// means one character a word: a quoted run of them still finds what it names.
///
/// ```
/// use sayback_core::text::split_words;
/// assert_eq!(split_words("The kettle – it's on!"), ["The", "kettle", "it's", "on!"]);
/// ```
#[must_use]
pub fn split_words(text: &str) -> Vec<&str> {
    let mut words = Vec::new();
    for piece in text.split_whitespace() {
        if piece.is_ascii() || !piece.chars().any(is_unspaced) {
            if is_spoken(piece) {
                words.push(piece);
            }
        } else {
            words.extend(piece.unicode_words().filter(|word| is_spoken(word)));
        }
    }
    words
}

fn is_spoken(piece: &str) -> bool {
    piece.chars().any(|c| c.is_ascii_alphanumeric())
        || (!piece.is_ascii() && !normal(piece).is_empty())
}

/// Letters that neither lower-casing nor decomposition brings to a form people
/// type: full case folding of ß and ς (Unicode `CaseFolding.txt`, status F and
/// C), and the Latin letters with a stroke or a ligature.
fn fold(c: char) -> impl Iterator<Item = char> {
    let folded: &'static [char] = match c {
        'ß' => &['s', 's'],
        'ς' => &['σ'],
        'ı' => &['i'],
        'ø' => &['o'],
        'ł' => &['l'],
        'đ' | 'ð' => &['d'],
        'ħ' => &['h'],
        'æ' => &['a', 'e'],
        'œ' => &['o', 'e'],
        'þ' => &['t', 'h'],
        _ => &[],
    };
    let itself = folded.is_empty().then_some(c);
    folded.iter().copied().chain(itself)
}

/// Whether a decomposed, lower-case character is part of the normal form.
fn is_kept(c: char) -> bool {
    let decorates = matches!(c,
        '\u{0300}'..='\u{036F}'       // accents
        | '\u{1AB0}'..='\u{1AFF}'
        | '\u{1DC0}'..='\u{1DFF}'
        | '\u{20D0}'..='\u{20FF}'
        | '\u{FE20}'..='\u{FE2F}'
        | '\u{0591}'..='\u{05C7}'     // Hebrew points
        | '\u{0610}'..='\u{061A}'     // Arabic vowel signs and marks
        | '\u{064B}'..='\u{065F}'
        | '\u{0670}'
        | '\u{06D6}'..='\u{06ED}'
        | '\u{0640}'                  // Arabic stretching bar
    );
    // Apostrophes that Unicode counts among the letters.
    let apostrophe = matches!(
        c,
        '\u{02B9}'..='\u{02BF}' | '\u{02C8}' | '\u{02EE}' | '\u{A78B}' | '\u{A78C}'
    );
    !decorates && !apostrophe && (c.is_alphanumeric() || is_combining_mark(c))
}

/// Whether a character belongs to a script written without spaces.
fn is_unspaced(c: char) -> bool {
    matches!(c,
        '\u{0E00}'..='\u{0EFF}'       // Thai, Lao
        | '\u{1000}'..='\u{109F}'     // Myanmar
        | '\u{1780}'..='\u{17FF}'     // Khmer
        | '\u{3040}'..='\u{30FF}'     // kana
        | '\u{3400}'..='\u{4DBF}'     // Han
        | '\u{4E00}'..='\u{9FFF}'
        | '\u{F900}'..='\u{FAFF}'
        | '\u{20000}'..='\u{323AF}'
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn spellings_of_one_word_meet() {
        for spelling in [
            "don't",
            "dont",
            "don’t",
            "DON'T",
            "Donʼt.",
            "“don‘t”",
            "ＤＯＮ＇Ｔ",
        ] {
            assert_eq!(normal(spelling), "dont", "{spelling}");
        }
        for (shown, want) in [
            ("Zoë", "zoe"),
            ("ZOE\u{308}", "zoe"),
            ("naïve", "naive"),
            ("Søren", "soren"),
            ("Łódź", "lodz"),
            ("œuvre", "oeuvre"),
            ("ﬁnd", "find"),
            ("İstanbul", "istanbul"),
            ("Ὀδυσσεύς", "οδυσσευσ"),
            ("ёлка", "елка"),
            ("well-known", "wellknown"),
            ("10th,", "10th"),
            ("m²", "m2"),
        ] {
            assert_eq!(normal(shown), want, "{shown}");
        }
    }

    #[test]
    fn other_scripts_keep_their_letters() {
        // Hebrew and Arabic with and without points are one word.
        assert_eq!(normal("שָׁלוֹם"), normal("שלום"));
        assert_eq!(normal("سَلَام"), normal("سلام"));
        assert_eq!(normal("ســلام"), normal("سلام"));
        // Indic vowel signs and the virama are letters: these two words differ.
        assert_eq!(normal("हिन्दी"), "हिन्दी");
        assert_ne!(normal("कि"), normal("की"));
        // Voiced kana are other sounds; half width is only another shape.
        assert_ne!(normal("か"), normal("が"));
        assert_eq!(normal("ｶﾞ"), normal("ガ"));
        assert_eq!(normal("한국"), "한국");
        assert_eq!(normal("กิ่ง"), "กิ่ง");
    }

    #[test]
    fn what_is_not_spoken_has_no_normal_form() {
        for nothing in [
            "", "-", "—", "...", "?!", "♪", "🎉", "'", "ʼ", "\u{301}", "\u{200D}", "*",
        ] {
            assert_eq!(normal(nothing), "", "{nothing:?}");
            assert!(split_words(nothing).is_empty(), "{nothing:?}");
        }
    }

    #[test]
    fn joined_words_are_looked_at_part_by_part() {
        assert_eq!(parts("Twenty-one"), ["twenty", "one"]);
        assert_eq!(parts("mother‑in‑law’s"), ["mother", "in", "laws"]);
        assert_eq!(parts("and/or"), ["and", "or"]);
        assert_eq!(parts("-ish"), ["ish"]);
        assert_eq!(parts("10:30"), ["1030"]);
    }

    #[test]
    fn unspaced_scripts_are_cut_into_words() {
        assert_eq!(split_words("我愿意。"), ["我", "愿", "意"]);
        assert_eq!(split_words("OK 我们 go"), ["OK", "我", "们", "go"]);
    }

    proptest! {
        #[test]
        fn normal_form_is_stable_bounded_and_bare(word in any::<String>()) {
            let once = normal(&word);
            prop_assert_eq!(&normal(&once), &once);
            prop_assert!(once.chars().count() <= MAX_WORD_CHARS);
            prop_assert!(!once.contains(|c: char| c.is_whitespace() || c.is_ascii_punctuation()));
        }

        #[test]
        fn parts_are_whole_and_say_what_the_word_says(word in "(\\PC|[-—/a'é]){0,9}") {
            for part in parts(&word) {
                prop_assert_eq!(&parts(&part), std::slice::from_ref(&part));
            }
            prop_assert_eq!(parts(&word).is_empty(), normal(&word).is_empty());
        }

        #[test]
        fn case_and_composition_do_not_matter(word in "[a-zA-Zà-öÀ-Ö'’]{0,20}") {
            let want = normal(&word);
            prop_assert_eq!(&normal(&word.to_uppercase()), &want);
            prop_assert_eq!(&normal(&word.nfd().collect::<String>()), &want);
            prop_assert_eq!(&normal(&word.nfc().collect::<String>()), &want);
        }

        #[test]
        fn every_word_is_spoken_and_in_order(text in any::<String>()) {
            let mut from = 0;
            for word in split_words(&text) {
                prop_assert!(!normal(word).is_empty());
                let at = text[from..].find(word);
                prop_assert!(at.is_some());
                from += at.unwrap_or(0) + word.len();
            }
        }

        #[test]
        fn ascii_takes_the_same_road(word in "[ -~]{0,80}") {
            // A trailing accent forces the general road and adds nothing.
            prop_assert_eq!(normal(&format!("{word}\u{301}")), normal(&word));
        }
    }
}
