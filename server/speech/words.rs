//! Which words do the model's pieces spell?
//!
//! In: phrases of tokens, byte pieces with probabilities, as the model gave
//! them. Out: words, without noises in brackets and without endless
//! repetition. Pure.

/// A piece of a word.
#[derive(Clone, Debug)]
pub(super) struct Token {
    /// Its bytes; a word's first piece begins with a space.
    pub bytes: Vec<u8>,
    /// How sure the model was of it, 0 to 1.
    pub probability: f32,
    /// Where it begins in ms of the window by the model's alignment, which is where
    /// the piece before it ends; none for the first of a pass, or without one.
    pub from_ms: Option<i64>,
    /// Where it ends.
    pub to_ms: Option<i64>,
}

/// Pieces between two time marks.
#[derive(Clone, Debug)]
pub(super) struct Phrase {
    /// Start in ms of the window.
    pub from_ms: i64,
    /// End in ms of the window.
    pub to_ms: i64,
    /// In order.
    pub tokens: Vec<Token>,
    /// How likely it is by the model that nobody speaks in the pass it is of, 0 to 1;
    /// none where the pass does not tell.
    pub no_speech: Option<f32>,
    /// How likely the likeliest language is in that pass, 0 to 1; none of a model that
    /// knows only one.
    pub language: Option<f32>,
}

impl Phrase {
    /// What it says, as [`plain`] has it.
    pub(super) fn plain(&self) -> String {
        let bytes = self.tokens.iter().flat_map(|token| token.bytes.clone());
        plain(&String::from_utf8_lossy(&bytes.collect::<Vec<u8>>()))
    }
}

/// A word before it has a time of its own.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Spelled {
    /// With its punctuation.
    pub text: String,
    /// Mean probability of the pieces that hold letters or digits.
    pub confidence: f32,
    /// Where its first piece begins, by the model's alignment.
    pub from_ms: Option<i64>,
    /// Where its last sounding piece ends.
    pub to_ms: Option<i64>,
    /// Whether a sign or a phrase's border before it leaves room for a pause.
    pub rests: bool,
    /// Whether these times are no alignment's, but guessed.
    pub guessed: bool,
}

/// Languages written without spaces: every character is a word of its own, as
/// nothing else is known about where words end.
const SPACELESS: [&str; 7] = ["zh", "ja", "th", "lo", "my", "km", "yue"];
/// A bracketed remark longer than this many words is speech after all.
const LONGEST_NOISE: usize = 6;
/// Longest repeated phrase looked for, in words; a character is one in some languages.
const LONGEST_LOOP: usize = 24;
/// People say a thing three times; a fourth time in a row is the model's.
const REPEATS: usize = 3;

/// The words of a phrase, noises left out.
pub(super) fn spell(tokens: &[Token], language: &str) -> Vec<Spelled> {
    let mut groups: Vec<Vec<&Token>> = Vec::new();
    let spaceless = SPACELESS.contains(&language);
    for token in tokens {
        let begins = token.bytes.first() == Some(&b' ')
            || (spaceless && groups.last().is_none_or(|group| whole(group)));
        match groups.last_mut() {
            Some(group) if !begins => group.push(token),
            _ => groups.push(vec![token]),
        }
    }
    let rests = |n: usize| {
        let before = n.checked_sub(1).and_then(|n| groups[n].last());
        before.is_none_or(|token| !sounds(token))
    };
    let words = groups.iter().enumerate();
    let words = words.filter_map(|(n, group)| word(group, rests(n)));
    without_noises(words.collect())
}

/// Whether the bytes of a group end at the end of a character.
fn whole(group: &[&Token]) -> bool {
    let bytes: Vec<u8> = group.iter().flat_map(|token| token.bytes.clone()).collect();
    std::str::from_utf8(&bytes).is_ok()
}

/// Whether a piece is said. One that is only part of a character counts as letters.
fn sounds(token: &Token) -> bool {
    std::str::from_utf8(&token.bytes).map_or(true, |text| text.contains(char::is_alphanumeric))
}

fn word(group: &[&Token], rests: bool) -> Option<Spelled> {
    let bytes: Vec<u8> = group.iter().flat_map(|token| token.bytes.clone()).collect();
    let text = String::from_utf8_lossy(&bytes).trim().to_owned();
    let sounding = || group.iter().filter(|token| sounds(token));
    let sure: Vec<f32> = sounding().map(|token| token.probability).collect();
    let noise = !text.contains(char::is_alphanumeric) && !text.contains(['[', ']', '(', ')']);
    if noise || text.is_empty() {
        return None;
    }
    let confidence = if sure.is_empty() {
        0.0
    } else {
        sure.iter().sum::<f32>() / sure.len() as f32
    };
    Some(Spelled {
        text,
        confidence: confidence.clamp(0.0, 1.0),
        from_ms: group.first().and_then(|token| token.from_ms),
        to_ms: sounding().next_back().and_then(|token| token.to_ms),
        rests,
        guessed: false,
    })
}

/// Leaves out remarks in brackets: [music], (applause).
fn without_noises(words: Vec<Spelled>) -> Vec<Spelled> {
    let mut kept = Vec::with_capacity(words.len());
    let mut at = 0;
    while at < words.len() {
        let closing = match words[at].text.chars().next() {
            Some('[') => Some(']'),
            Some('(') => Some(')'),
            _ => None,
        };
        let end = closing.and_then(|closing| {
            let within = &words[at..words.len().min(at + LONGEST_NOISE)];
            within.iter().position(|word| word.text.contains(closing))
        });
        match end {
            Some(end) => at += end + 1,
            None => {
                if words[at].text.contains(char::is_alphanumeric) {
                    kept.push(words[at].clone());
                }
                at += 1;
            }
        }
    }
    kept
}

/// What is said of a text: its words without signs, in small letters.
pub(super) fn plain(text: &str) -> String {
    let said = |word: &str| -> String {
        word.chars()
            .filter(|c| c.is_alphanumeric())
            .flat_map(char::to_lowercase)
            .collect()
    };
    let words: Vec<String> = text
        .split_whitespace()
        .map(said)
        .filter(|word| !word.is_empty())
        .collect();
    words.join(" ")
}

/// Which words to keep so that no phrase of up to [`LONGEST_LOOP`] words comes
/// more than [`REPEATS`] times in a row.
///
/// A model that lost its way repeats itself, and is sure of it.
pub(super) fn unlooped(words: &[&str]) -> Vec<bool> {
    let plain: Vec<String> = words.iter().map(|word| plain(word)).collect();
    let mut keep = vec![true; words.len()];
    for size in 1..=LONGEST_LOOP {
        let mut at = 0;
        while at + size * (REPEATS + 1) <= plain.len() {
            let phrase = &plain[at..at + size];
            let times = plain[at..]
                .chunks_exact(size)
                .take_while(|next| *next == phrase)
                .count();
            if times > REPEATS {
                keep[at + size * REPEATS..at + size * times].fill(false);
                at += size * times;
            } else {
                at += 1;
            }
        }
    }
    keep
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tokens(pieces: &[&str]) -> Vec<Token> {
        let token = |piece: &&str| Token {
            bytes: piece.as_bytes().to_vec(),
            probability: 0.5,
            from_ms: None,
            to_ms: None,
        };
        pieces.iter().map(token).collect()
    }

    fn texts(pieces: &[&str], language: &str) -> Vec<String> {
        spell(&tokens(pieces), language)
            .into_iter()
            .map(|word| word.text)
            .collect()
    }

    #[test]
    fn pieces_join_at_spaces() {
        assert_eq!(
            texts(
                &[
                    " I", " heard", " Mr", ".", " Oak", "wood", "'s", " self", "-", "made",
                    " boat", "."
                ],
                "en"
            ),
            ["I", "heard", "Mr.", "Oakwood's", "self-made", "boat."]
        );
    }

    #[test]
    fn the_first_piece_needs_no_space() {
        assert_eq!(texts(&["Hel", "lo", " there"], "en"), ["Hello", "there"]);
    }

    #[test]
    fn noises_and_lone_punctuation_are_no_words() {
        assert_eq!(
            texts(
                &[
                    " [", "MUSIC", "]", " Wel", "come", " -", " all", " (", "app", "lause", " and",
                    " cheers", ")", " ♪"
                ],
                "en"
            ),
            ["Welcome", "all"]
        );
    }

    #[test]
    fn a_bracket_that_never_closes_is_speech() {
        assert_eq!(
            texts(&[" (", "to", " my", " mother"], "en"),
            ["(to", "my", "mother"]
        );
    }

    #[test]
    fn characters_split_over_pieces_come_whole() {
        let mut split = tokens(&[" ", ""]);
        split[0].bytes = vec![b' ', 0xc3];
        split[1].bytes = vec![0xa9];
        assert_eq!(spell(&split, "fr")[0].text, "é");
        assert_eq!(texts(&["船", "着", "き場"], "ja"), ["船", "着", "き場"]);
    }

    #[test]
    fn confidence_is_the_mean_of_the_sounding_pieces() {
        let mut list = tokens(&[" ferry", "man", "."]);
        list[0].probability = 0.9;
        list[1].probability = 0.5;
        list[2].probability = 0.1;
        assert!((spell(&list, "en")[0].confidence - 0.7).abs() < 1e-6);
    }

    #[test]
    fn three_times_is_speech_and_more_is_a_loop() {
        let kept = |text: &str| {
            let words: Vec<&str> = text.split(' ').collect();
            let keep = unlooped(&words);
            words
                .iter()
                .zip(keep)
                .filter(|(_, keep)| *keep)
                .map(|(word, _)| *word)
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(kept("hip hip hip hooray"), "hip hip hip hooray");
        assert_eq!(kept("so so, So so. so well"), "so so, So well");
        assert_eq!(kept("a b a b a b a b a b c"), "a b a b a b c");
        let cream = "ア イ ス ク リ ーム を 作 る と";
        assert_eq!(kept(&[cream; 9].join(" ")).split(' ').count(), 10 * REPEATS);
    }
}
