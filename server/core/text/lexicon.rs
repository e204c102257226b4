//! Which words are there, and which of them may be this one, written otherwise?

use std::collections::{BTreeMap, HashMap};

use super::forms::{base, says_little};
use super::letters::{Letters, most_edits, most_slips, spelled_alike};
use super::sounds::{self, Sound, skeleton};

/// How a word or a line answers what was asked for, best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum How {
    /// The words asked for.
    Exact,
    /// Forms or spellings of them, with words between or left out.
    Close,
    /// Words that sound like them.
    SoundsAlike,
}

impl How {
    /// As answers name it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Exact => "exact",
            Self::Close => "close",
            Self::SoundsAlike => "sounds alike",
        }
    }
}

/// A word that may be the one asked for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Like<'a> {
    pub text: &'a str,
    pub how: How,
    /// How much it is worth beside the word itself, 0 to 1.
    pub worth: f32,
    /// In how many moments it is.
    pub moments: u32,
}

/// A form of the word, and one that only has an s more or less.
const FORM: f32 = 0.93;
const PLURAL: f32 = 0.96;
/// Words that sound the same, but are written otherwise, are worth so much;
const SAME_SOUND: f32 = 0.9;
/// those that are as little alike as may be, so much.
const LEAST_WORTH: f32 = 0.55;
/// Sounds less alike than this are two words. Short words meet by chance.
const LEAST_ALIKE: f32 = 0.72;
/// A word of so many sounds (see [`sounds::length`]) or fewer is short.
const SHORT: f32 = 2.7;
/// How alike short words must sound.
const SHORT_ALIKE: f32 = 0.86;
/// What a word found by its beginning can lose.
const BEGUN: f32 = 0.1;
/// A word that is written in more moments than this, and in more than one of so many, is
/// known well enough to the recogniser that others are not taken for it.
const OFTEN: u32 = 60;
const OFTEN_OF: u32 = 4_000;
/// The most words taken for one.
const MOST_LIKE: usize = 24;
/// The most words that share a key and are compared: shorter keys are chance.
const MOST_COMPARED: usize = 6_000;
const MOST_OF_MADE: usize = 500;
/// A word in more moments than this is hardly a slip of the finger.
const RARELY: u32 = 3;

/// Every word that was said, in normal form, and in how many moments.
#[derive(Clone, Debug, Default)]
pub struct Lexicon {
    terms: Vec<Term>,
    /// Of each of them, next to each other: many are looked at, few closely.
    looks: Vec<Look>,
    places: BTreeMap<Box<str>, u32>,
    /// By consonants, as they are and with any one of them left out.
    by_skeleton: HashMap<Box<str>, Vec<u32>>,
    by_base: HashMap<Box<str>, Vec<u32>>,
    moments: u32,
}

#[derive(Clone, Debug)]
struct Term {
    text: Box<str>,
    sounds: Box<[Sound]>,
    moments: u32,
}

/// What tells at a glance that a word can't be another.
#[derive(Clone, Copy, Debug)]
struct Look {
    letters: Letters,
    /// Of its sounds.
    length: f32,
    little: bool,
}

impl Lexicon {
    /// A word of `moments` moments; one that is known gets the new number.
    pub fn put(&mut self, text: &str, moments: u32) {
        if let Some(place) = self.places.get(text) {
            self.terms[*place as usize].moments = moments;
            return;
        }
        let Ok(place) = u32::try_from(self.terms.len()) else {
            return;
        };
        let sounds = sounds::sounds(text);
        for key in keys(text, &sounds) {
            self.by_skeleton.entry(key.into()).or_default().push(place);
        }
        let of_base = self.by_base.entry(base(text).into()).or_default();
        of_base.push(place);
        self.places.insert(text.into(), place);
        self.looks.push(Look {
            letters: Letters::of(text),
            length: sounds::length(&sounds),
            little: says_little(text),
        });
        self.terms.push(Term {
            text: text.into(),
            sounds: sounds.into(),
            moments,
        });
    }

    /// How many moments with words there are in all.
    pub fn set_moments(&mut self, moments: u32) {
        self.moments = moments;
    }

    /// How many words are known.
    #[must_use]
    pub fn len(&self) -> usize {
        self.terms.len()
    }

    /// Whether none is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.terms.is_empty()
    }

    /// In how many moments this word is, as far as known.
    #[must_use]
    pub fn moments_of(&self, text: &str) -> u32 {
        self.term(text).map_or(0, |term| term.moments)
    }

    /// How much a word says, from .1 for one that stands everywhere to 1 for a rare
    /// one: its inverse document frequency (Spärck Jones, 1972), over that of a word
    /// said once. A word never said counts as rare.
    pub(super) fn weight(&self, text: &str) -> f32 {
        let all = self.moments.max(20) as f32 + 1.0;
        let own = self.moments_of(text).max(1) as f32;
        let weight = (all / (own + 0.5)).ln() / (all / 1.5).ln();
        if says_little(text) {
            weight.clamp(0.08, 0.16)
        } else {
            // Somebody asks for it, so it is not nothing.
            weight.clamp(0.3, 1.0)
        }
    }

    fn term(&self, text: &str) -> Option<&Term> {
        self.terms.get(*self.places.get(text)? as usize)
    }

    /// Words that begin so, those of most moments first.
    pub(super) fn beginning(&self, start: &str, most: usize) -> Vec<Like<'_>> {
        let from = (std::ops::Bound::Included(start), std::ops::Bound::Unbounded);
        let mut all: Vec<Like> = self
            .places
            .range::<str, _>(from)
            .take_while(|(text, _)| text.starts_with(start))
            .filter_map(|(_, place)| self.terms.get(*place as usize))
            .map(|term| Like {
                text: &term.text,
                how: How::Exact,
                worth: 1.0 - BEGUN * (1.0 - start.len() as f32 / term.text.len().max(1) as f32),
                moments: term.moments,
            })
            .collect();
        all.sort_by(|a, b| b.moments.cmp(&a.moments).then(a.text.cmp(b.text)));
        all.truncate(most);
        all
    }

    /// Other words that may be this one, the likeliest first.
    pub(super) fn like(&self, word: &str) -> Vec<Like<'_>> {
        // What was said often is hardly a slip.
        let slipped = self.moments_of(word) <= RARELY;
        self.compared(word, MOST_COMPARED, slipped)
    }

    /// The same for a piece of a word or for two words made one, which nobody typed so: not
    /// looking far.
    pub(super) fn like_made(&self, made: &str) -> Vec<Like<'_>> {
        self.compared(made, MOST_OF_MADE, false)
    }

    fn compared(&self, word: &str, most: usize, slipped: bool) -> Vec<Like<'_>> {
        let own = sounds::sounds(word);
        let own_base = base(word);
        let length = sounds::length(&own);
        let letters = Letters::of(word);
        let mut found: Vec<Like> = Vec::new();
        let forms = self.by_base.get(own_base.as_str());
        let forms = forms.map_or(&[][..], Vec::as_slice);
        for place in forms {
            let term = &self.terms[*place as usize];
            if &*term.text != word {
                let plural = is_plural(word, &term.text) || is_plural(&term.text, word);
                let worth = if plural { PLURAL } else { FORM };
                found.push(like(term, How::Close, worth));
            }
        }
        if says_little(word) || self.moments_of(word) > OFTEN.max(self.moments / OFTEN_OF) {
            return found;
        }
        let mut seen = vec![0_u64; self.terms.len() / 64 + 1];
        let mut new = |place: u32| {
            let (bits, bit) = (&mut seen[place as usize / 64], 1 << (place % 64));
            let new = *bits & bit == 0;
            *bits |= bit;
            new
        };
        forms.iter().for_each(|place| _ = new(*place));
        let own = Heard {
            sounds: &own,
            length,
        };
        let mut compare = |place: u32, most_wrong: fn(u32) -> u32| {
            let look = self.looks[place as usize];
            let most = most_wrong(letters.count.max(look.letters.count));
            let spelled = most > 0 && letters.least_edits(look.letters) <= most;
            if look.little || !spelled && !own.may_be(look.length) || !new(place) {
                return;
            }
            let term = &self.terms[place as usize];
            if &*term.text == word {
                return;
            }
            let spelled = spelled
                .then(|| spelled_alike(word, &term.text, most))
                .flatten();
            let best = match (spelled, own.sounds_alike(&term.sounds, look.length)) {
                (Some((edits, a)), Some(b)) if edits > 1 && b > a => (How::SoundsAlike, b),
                (Some((_, a)), b) => (How::Close, a.max(b.unwrap_or(0.0))),
                (None, Some(b)) => (How::SoundsAlike, b),
                (None, None) => return,
            };
            found.push(like(term, best.0, best.1));
        };
        for key in keys(word, own.sounds) {
            let places = self.by_skeleton.get(key.as_str()).into_iter().flatten();
            places
                .take(most)
                .for_each(|place| compare(*place, most_edits));
        }
        if slipped {
            // A slip of the finger can make other consonants, and so other keys.
            for (place, look) in (0..).zip(&self.looks) {
                let most = most_slips(letters.count.max(look.letters.count));
                if letters.least_edits(look.letters) <= most {
                    compare(place, most_slips);
                }
            }
        }
        found.sort_by(|a, b| b.worth.total_cmp(&a.worth).then(a.text.cmp(b.text)));
        found.truncate(MOST_LIKE);
        found
    }
}

fn like(term: &Term, how: How, worth: f32) -> Like<'_> {
    Like {
        text: &term.text,
        how,
        worth,
        moments: term.moments,
    }
}

fn is_plural(of: &str, word: &str) -> bool {
    matches!(word.strip_prefix(of), Some("s" | "es"))
}

/// What a word is looked up by: its consonants by kind and, where there are more than
/// two, without any one of them. A word of other letters by its own.
fn keys(text: &str, sounds: &[Sound]) -> Vec<String> {
    if sounds.is_empty() {
        // Other scripts: as written, without any one letter.
        let letters: Vec<char> = text.chars().take(12).collect();
        let mut keys = vec![text.to_owned()];
        if letters.len() > 3 {
            keys.extend((0..letters.len()).map(|out| without(&letters, out)));
        }
        return keys;
    }
    let whole: Vec<char> = skeleton(sounds).chars().collect();
    let mut keys = vec![whole.iter().collect::<String>()];
    if whole.len() > 2 {
        keys.extend((0..whole.len()).map(|out| without(&whole, out)));
    }
    keys.sort();
    keys.dedup();
    keys
}

fn without(letters: &[char], out: usize) -> String {
    let kept = letters.iter().enumerate().filter(|(n, _)| *n != out);
    kept.map(|(_, letter)| letter).collect()
}

/// What a word sounds like that others are compared with.
struct Heard<'a> {
    sounds: &'a [Sound],
    length: f32,
}

impl Heard<'_> {
    /// Whether one of such a length can sound like it.
    fn may_be(&self, length: f32) -> bool {
        let least = needed_likeness(self.length.min(length));
        length > 0.0 && self.length > 0.0 && sounds::most_alike(self.length, length) >= least
    }

    fn sounds_alike(&self, other: &[Sound], length: f32) -> Option<f32> {
        if !self.may_be(length) {
            return None;
        }
        let least = needed_likeness(self.length.min(length));
        sounds::alike_at_least(self.sounds, other, least).map(worth_of_sound)
    }
}

/// How alike stretches of sound must be, the shorter of which has this length.
pub(super) fn needed_likeness(length: f32) -> f32 {
    if length <= SHORT {
        SHORT_ALIKE
    } else {
        LEAST_ALIKE
    }
}

/// What is worth a stretch that sounds so alike.
pub(super) fn worth_of_sound(alike: f32) -> f32 {
    let share = ((alike - LEAST_ALIKE) / (1.0 - LEAST_ALIKE)).clamp(0.0, 1.0);
    LEAST_WORTH + (SAME_SOUND - LEAST_WORTH) * share
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lexicon() -> Lexicon {
        let mut lexicon = Lexicon::default();
        for (text, moments) in [
            ("kettle", 3),
            ("kettles", 1),
            ("cattle", 1),
            ("promised", 2),
            ("otterly", 1),
            ("lamplate", 1),
            ("the", 90),
            ("ferry", 5),
            ("thanked", 1),
            ("хлеб", 1),
            ("хлебы", 1),
        ] {
            lexicon.put(text, moments);
        }
        lexicon.set_moments(100);
        lexicon
    }

    fn like(word: &str) -> Vec<(String, How)> {
        let lexicon = lexicon();
        let like = lexicon.like(word).into_iter();
        like.map(|like| (like.text.to_owned(), like.how)).collect()
    }

    #[test]
    fn words_are_found_by_form_spelling_and_sound() {
        let has = |word: &str, want: &str, how: How| {
            let like = like(word);
            assert!(like.contains(&(want.to_owned(), how)), "{word}: {like:?}");
        };
        has("promise", "promised", How::Close);
        has("kettle", "kettles", How::Close);
        has("kettel", "kettle", How::Close);
        has("ketle", "kettle", How::Close);
        // Other consonants, so other keys.
        has("ottrely", "otterly", How::Close);
        has("ferfy", "ferry", How::Close);
        has("ottilie", "otterly", How::SoundsAlike);
        has("lamplit", "lamplate", How::SoundsAlike);
        has("хлебу", "хлебы", How::Close);
        assert!(like("boathouse").is_empty(), "{:?}", like("boathouse"));
        assert!(like("th").iter().all(|(text, _)| text != "the"));
    }

    #[test]
    fn rare_words_weigh_more() {
        let lexicon = lexicon();
        assert!(lexicon.weight("the") < 0.2);
        assert!(lexicon.weight("ferry") < lexicon.weight("otterly"));
        assert_eq!(lexicon.weight("otterly"), lexicon.weight("never said"));
    }

    #[test]
    fn words_begin_as_typed() {
        let lexicon = lexicon();
        let begin = |start, most| {
            let like = lexicon.beginning(start, most).into_iter();
            like.map(|like| like.text).collect::<Vec<_>>()
        };
        assert_eq!(begin("kett", 9), ["kettle", "kettles"]);
        assert_eq!(begin("kett", 1), ["kettle"]);
        assert!(begin("x", 9).is_empty());
    }
}
