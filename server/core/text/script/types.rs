//! Which words are the same, how alike are others, and how much does each tell?

use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;

use super::super::letters::Letters;
use super::super::normal::parts;
use super::super::numbers::usually_spelled;
use super::super::quick::QuickMap;
use super::super::same::word_likeness;
use super::super::sounds::{Sound, length, likeness, most_alike, sounds};
use super::{HeardIn, HeardWord, Written};

/// How likely a word is heard as written where the text is read: what word error rates
/// of a difficult recording leave.
const HEARD_RIGHT: f32 = 0.7;
/// The most that one word can tell.
const MOST: f32 = 8.0;
/// A sequence of two words that is said this often is one of the text's passes; what
/// goes beyond is a common phrase.
const PASSES: u32 = 3;

/// A spoken word of the text or of what was heard: a word as it is shown may have
/// several.
#[derive(Clone, Copy, Debug)]
pub(super) struct Token {
    /// What it is, in [`Read::types`].
    pub kind: u32,
    /// The word as it is shown that it is of.
    pub word: u32,
}

/// What a word looks and sounds like.
struct Type {
    text: String,
    letters: Letters,
    /// With their length; most words are never compared by sound.
    sounds: OnceCell<(Vec<Sound>, f32)>,
}

/// Text and speech as tokens of common types.
pub(super) struct Read {
    /// Of the text; words count through all sentences.
    pub text: Vec<Token>,
    /// The sentence of each token of the text.
    pub sentence: Vec<u32>,
    /// Of what was heard.
    pub heard: Vec<Token>,
    /// How sure the recogniser is of each of them.
    pub confidence: Vec<f32>,
    /// Whether another clock begins with it.
    pub new_island: Vec<bool>,
    /// What hearing each token of the text tells, by itself.
    pub weight: Vec<f32>,
    /// The same where the token before was heard before it.
    pub weight_after: Vec<f32>,
    /// The type of each token of the text and the next run together.
    pub text_pair: Vec<u32>,
    /// The same of what was heard.
    pub heard_pair: Vec<u32>,
    types: Vec<Type>,
    alike: RefCell<QuickMap<u64, f32>>,
}

impl Read {
    pub(super) fn of(written: &Written, heard: &[HeardWord<'_>], moments: &[HeardIn]) -> Self {
        let mut kinds = Kinds::default();
        let (mut text, mut sentence) = (Vec::new(), Vec::new());
        let mut word = 0;
        for (n, one) in (0..).zip(&written.sentences) {
            for shown in &one.words {
                for kind in kinds.of_word(shown) {
                    text.push(Token { kind, word });
                    sentence.push(n);
                }
                word += 1;
            }
        }
        let mut read = Self {
            text,
            sentence,
            heard: Vec::with_capacity(heard.len()),
            confidence: Vec::with_capacity(heard.len()),
            new_island: Vec::with_capacity(heard.len()),
            weight: Vec::new(),
            weight_after: Vec::new(),
            text_pair: Vec::new(),
            heard_pair: Vec::new(),
            types: Vec::new(),
            alike: RefCell::default(),
        };
        let mut island = None;
        for (n, one) in (0..).zip(heard) {
            let own = moments.get(one.moment).map(|moment| moment.island);
            let mut begins = island != own;
            island = own;
            for kind in kinds.of_word(one.text) {
                read.heard.push(Token { kind, word: n });
                // What is not a number is not sure either.
                let sure = if one.confidence >= 0.0 {
                    one.confidence.min(1.0)
                } else {
                    0.0
                };
                read.confidence.push(sure);
                read.new_island.push(std::mem::take(&mut begins));
            }
        }
        read.weigh(kinds.types.len());
        read.text_pair = kinds.pairs(&read.text);
        read.heard_pair = kinds.pairs(&read.heard);
        read.types = kinds.types;
        read
    }

    /// What each token of the text tells, by how common it is in what was heard.
    fn weigh(&mut self, kinds: usize) {
        let mut counts = vec![0_u32; kinds];
        for token in &self.heard {
            counts[token.kind as usize] += 1;
        }
        let pair = |two: &[Token]| (two[0].kind, two[1].kind);
        let mut pairs: HashMap<(u32, u32), u32> =
            self.text.windows(2).map(|two| (pair(two), 0)).collect();
        for two in self.heard.windows(2) {
            if let Some(count) = pairs.get_mut(&pair(two)) {
                *count += 1;
            }
        }
        let all = self.heard.len() as f32;
        let tells = |chance: f32| (HEARD_RIGHT / chance).ln().clamp(0.1, MOST);
        for (n, token) in self.text.iter().enumerate() {
            let count = counts[token.kind as usize] as f32;
            // Smoothed as by 200 words of other speech: in a short recording every word
            // looks rare.
            let chance = (count + 1.0) / (all + 200.0);
            self.weight.push(tells(chance));
            let follows = n.checked_sub(1).map_or(0.0, |before| {
                let before = self.text[before].kind;
                let together = pairs.get(&(before, token.kind)).copied().unwrap_or(0);
                let together = together.saturating_sub(PASSES) as f32;
                together / (counts[before as usize] as f32).max(1.0)
            });
            self.weight_after.push(tells(chance.max(follows)));
        }
    }

    /// How alike two types are, 0 to 1, by sound or by letters.
    pub(super) fn alike(&self, a: u32, b: u32) -> f32 {
        if a == b {
            return 1.0;
        }
        let key = u64::from(a.min(b)) << 32 | u64::from(a.max(b));
        let Some((one, other)) = self.types.get(a as usize).zip(self.types.get(b as usize)) else {
            return 0.0;
        };
        if !one.may_be_alike(other) {
            return 0.0;
        }
        if let Some(known) = self.alike.borrow().get(&key) {
            return *known;
        }
        let likeness = one.alike(other);
        self.alike.borrow_mut().insert(key, likeness);
        likeness
    }

    /// Whether two types are as long as each other, more or less.
    pub(super) fn as_long(&self, a: u32, b: u32) -> bool {
        let length = |kind: u32| {
            self.types
                .get(kind as usize)
                .map_or(0, |one| one.text.len())
        };
        length(a).abs_diff(length(b)) <= 2
    }
}

impl Type {
    fn of(text: String) -> Self {
        Self {
            letters: Letters::of(&text),
            text,
            sounds: OnceCell::new(),
        }
    }

    fn sounds(&self) -> &(Vec<Sound>, f32) {
        self.sounds.get_or_init(|| {
            let sounds = sounds(&self.text);
            let length = length(&sounds);
            (sounds, length)
        })
    }

    /// Whether it is worth looking closely: hardly any two words sound alike that share
    /// less than half of the letters of the shorter.
    fn may_be_alike(&self, other: &Self) -> bool {
        let (a, b) = (self.text.len(), other.text.len());
        a.max(b) <= 2 * a.min(b) + 2 && self.letters.share_half(other.letters)
    }

    fn alike(&self, other: &Self) -> f32 {
        let by_letters = word_likeness(&self.text, &other.text);
        let ((a, a_length), (b, b_length)) = (self.sounds(), other.sounds());
        let possible =
            !a.is_empty() && !b.is_empty() && most_alike(*a_length, *b_length) > by_letters;
        match possible {
            true => by_letters.max(likeness(a, b)),
            false => by_letters,
        }
    }
}

/// The types met so far.
#[derive(Default)]
struct Kinds {
    types: Vec<Type>,
    by_text: HashMap<String, u32>,
    /// Words as they are shown, whose types are known.
    by_word: HashMap<String, Vec<u32>>,
}

impl Kinds {
    fn of_word(&mut self, shown: &str) -> Vec<u32> {
        if let Some(known) = self.by_word.get(shown) {
            return known.clone();
        }
        let tokens = parts(shown)
            .into_iter()
            .flat_map(|part| match usually_spelled(&part) {
                Some(words) => words,
                None => vec![part],
            });
        let tokens: Vec<String> = tokens.collect();
        let kinds: Vec<u32> = tokens
            .into_iter()
            .map(|token| self.of_text(token))
            .collect();
        self.by_word.insert(shown.to_owned(), kinds.clone());
        kinds
    }

    fn of_text(&mut self, text: String) -> u32 {
        if let Some(known) = self.by_text.get(&text) {
            return *known;
        }
        let kind = u32::try_from(self.types.len()).unwrap_or(u32::MAX);
        self.types.push(Type::of(text.clone()));
        self.by_text.insert(text, kind);
        kind
    }

    /// Each token and the next run together; the last by itself.
    fn pairs(&mut self, tokens: &[Token]) -> Vec<u32> {
        let mut known: HashMap<(u32, u32), u32> = HashMap::new();
        let mut pairs: Vec<u32> = Vec::with_capacity(tokens.len());
        for two in tokens.windows(2) {
            let key = (two[0].kind, two[1].kind);
            let kind = match known.get(&key) {
                Some(kind) => *kind,
                None => {
                    let text = |kind: u32| self.types[kind as usize].text.as_str();
                    let joined = format!("{}{}", text(key.0), text(key.1));
                    let kind = self.of_text(joined);
                    known.insert(key, kind);
                    kind
                }
            };
            pairs.push(kind);
        }
        pairs.extend(tokens.last().map(|token| token.kind));
        pairs
    }
}
