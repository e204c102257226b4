//! Which of the event's names was said where these words were heard?
//!
//! A recogniser that does not know a name writes what it sounds like. Stretches of
//! one to three heard words are compared with the names by sound; how alike they
//! must be depends on what speaks for a name (a capital inside a sentence, an unsure
//! word, one that is in no dictionary) and against it. An ordinary word that was
//! heard with certainty stays: nobody's 'marry' becomes 'Mary'.

mod twice;

use std::collections::HashMap;

use super::normal::normal;
use super::sounds::{Sound, length, likeness, most_alike, skeleton, sounds};

pub use twice::{Asked, TimedText};

/// Most words of a name that is put in by sound, and of what is heard for it.
const MOST_WORDS: usize = 3;
/// How many names a stretch is compared with: of thousands that are alike, the first.
const MOST_COMPARED: usize = 256;
/// A word that is surer than this is what was said, if it is an ordinary one.
const SURE: f32 = 0.4;
/// Two names that fit as well as each other but for this: the first is taken.
const CLEARLY: f32 = 0.02;

/// How alike a heard stretch and a name must be, 0 to 1, before the evidence for and
/// against is weighed. This and the weights in [`needed`] were chosen on one made-up
/// event and are measured on others (`cargo xtask bench names`).
const ALIKE: f32 = 0.76;

/// Among more names than this some are like ordinary words by chance: with each
/// doubling of their number a name must be more alike by [`CROWDED`].
const CROWD: usize = 100;
const CROWDED: f32 = 0.025;

/// A word as it was heard.
#[derive(Clone, Copy, Debug)]
pub struct HeardText<'a> {
    /// As it is shown.
    pub text: &'a str,
    /// How sure the recogniser is of it, 0 to 1.
    pub confidence: f32,
    /// Whether it is an ordinary word of its language.
    pub ordinary: bool,
}

/// A name where other words were heard.
#[derive(Clone, Debug, PartialEq)]
pub struct NameSaid {
    /// The first of the heard words.
    pub from: usize,
    /// One past the last.
    pub to: usize,
    /// Which name, by its place in the list.
    pub name: usize,
    /// What to write instead, with the ending and the punctuation of the heard words.
    pub words: Vec<String>,
    /// How alike the two sound, 0 to 1.
    pub likeness: f32,
}

/// The names of an event, ready to be compared with what is heard.
#[derive(Clone, Debug, Default)]
pub struct Names {
    list: Vec<Name>,
    /// How much more alike names must be because there are many.
    crowd: f32,
    /// Places in the list by [`skeleton`], whole or with one consonant left out.
    kinds: HashMap<String, Vec<u32>>,
    /// Places in the list by normal form, words run together.
    spelled: HashMap<String, Vec<u32>>,
}

#[derive(Clone, Debug)]
struct Name {
    words: Vec<String>,
    sounds: Vec<Sound>,
    length: f32,
}

/// A stretch of heard words without its punctuation.
struct Stretch {
    from: usize,
    to: usize,
    /// As it is shown.
    text: String,
    /// What stands before the first word and after the last.
    lead: String,
    tail: String,
    /// An ending that is not the name's.
    ending: &'static str,
    /// Normal form, words run together.
    normal: String,
    sounds: Vec<Sound>,
    length: f32,
    /// Of its least sure word.
    confidence: f32,
    /// Whether it is written like a name inside a sentence.
    capital: bool,
    ordinary: bool,
}

impl Names {
    /// Makes names ready. What is in letters other than English ones is found only as
    /// it is spelled.
    #[must_use]
    pub fn new(names: &[String]) -> Self {
        let mut ready = Self {
            crowd: CROWDED * (names.len() as f32 / CROWD as f32).log2().max(0.0),
            ..Self::default()
        };
        for name in names {
            let words: Vec<String> = name.split_whitespace().map(str::to_owned).collect();
            let plain: Vec<String> = words.iter().map(|word| normal(word)).collect();
            let sounds: Vec<Sound> = plain.iter().flat_map(|word| sounds(word)).collect();
            let place = u32::try_from(ready.list.len()).unwrap_or(u32::MAX);
            ready.spelled.entry(plain.concat()).or_default().push(place);
            if words.len() <= MOST_WORDS && !sounds.is_empty() {
                for key in keys(&skeleton(&sounds)) {
                    ready.kinds.entry(key).or_default().push(place);
                }
            }
            ready.list.push(Name {
                length: length(&sounds),
                words,
                sounds,
            });
        }
        ready
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Whether these words, with an ending or without, are one of them.
    #[must_use]
    pub fn has(&self, words: &[&str]) -> bool {
        let plain: String = words.iter().map(|word| normal(word)).collect();
        let stem = plain.strip_suffix('s');
        self.spelled.contains_key(&plain)
            || stem.is_some_and(|stem| self.spelled.contains_key(stem))
    }

    /// The names that were said where other words were heard, in order and apart from
    /// one another.
    ///
    /// ```
    /// use sayback_core::text::{HeardText, Names};
    /// let names = Names::new(&["Ottilie".to_owned(), "Mary".to_owned()]);
    /// let heard = |text: &'static str, confidence, ordinary| HeardText { text, confidence, ordinary };
    /// let said = names.said(&[heard("ask", 0.9, true), heard("Otterly,", 0.4, false)]);
    /// assert_eq!(said[0].words, ["Ottilie,"]);
    /// assert!(names.said(&[heard("they", 0.9, true), heard("marry", 0.9, true)]).is_empty());
    /// ```
    #[must_use]
    pub fn said(&self, heard: &[HeardText<'_>]) -> Vec<NameSaid> {
        if self.is_empty() {
            return Vec::new();
        }
        let mut found: Vec<(f32, NameSaid)> = Vec::new();
        for from in 0..heard.len() {
            for to in from + 1..=heard.len().min(from + MOST_WORDS) {
                for stretch in stretches(heard, from, to) {
                    found.extend(self.named(&stretch));
                }
            }
        }
        // The best first; of equals the longer, then the earlier.
        found.sort_by(|(a, x), (b, y)| {
            let width = |said: &NameSaid| said.to - said.from;
            b.total_cmp(a)
                .then(width(y).cmp(&width(x)))
                .then(x.from.cmp(&y.from))
        });
        let mut said: Vec<NameSaid> = Vec::new();
        for (_, one) in found {
            if said
                .iter()
                .all(|other| one.to <= other.from || other.to <= one.from)
            {
                said.push(one);
            }
        }
        said.retain(|one| {
            let heard = heard[one.from..one.to].iter().map(|word| word.text);
            !one.words.is_empty() && !heard.eq(one.words.iter().map(String::as_str))
        });
        said.sort_by_key(|one| one.from);
        said
    }

    /// The name a stretch is heard for, and how much more it is like it than it needs
    /// to be.
    fn named(&self, stretch: &Stretch) -> Option<(f32, NameSaid)> {
        if let Some(place) = self.itself(stretch) {
            // Nothing else is looked for there. How it is spelled is the list's matter,
            // but for an ordinary word.
            let kept = stretch.ordinary;
            return Some((1.0, self.put(stretch, place, 1.0, kept)));
        }
        let mut best: Option<(f32, usize, f32)> = None;
        for place in self.like(stretch) {
            let name = &self.list[place];
            let Some(needed) = needed(stretch, name) else {
                break;
            };
            let needed = needed + self.crowd;
            let Some(alike) = alike(stretch, name, needed) else {
                continue;
            };
            let margin = alike - needed;
            let better = best.is_none_or(|(most, first, _)| {
                margin > most + CLEARLY || (margin >= most - CLEARLY && place < first)
            });
            if better {
                best = Some((margin, place, alike));
            }
        }
        best.map(|(margin, place, alike)| (margin, self.put(stretch, place, alike, false)))
    }

    /// The name that a stretch is: of several that are spelled alike but for accents or
    /// capitals, the one that stands there, else the first.
    fn itself(&self, stretch: &Stretch) -> Option<usize> {
        let places = self.spelled.get(&stretch.normal)?;
        let written = |place: &&u32| {
            let words = self.put(stretch, **place as usize, 1.0, false).words;
            words.join(" ") == stretch.text
        };
        let mut first = places.iter().take(MOST_COMPARED);
        let place = first.find(written).or_else(|| places.first());
        place.map(|place| *place as usize)
    }

    /// The first names whose consonants are of the kinds of a stretch's, but for one.
    fn like(&self, stretch: &Stretch) -> Vec<usize> {
        // What is certain needs no look at the names.
        if stretch.sounds.is_empty() || is_certain(stretch) {
            return Vec::new();
        }
        let keys = keys(&skeleton(&stretch.sounds));
        let places = keys.iter().filter_map(|key| self.kinds.get(key)).flatten();
        let mut places: Vec<usize> = places.map(|place| *place as usize).collect();
        places.sort_unstable();
        places.dedup();
        places.truncate(MOST_COMPARED);
        places
    }

    fn put(&self, stretch: &Stretch, name: usize, alike: f32, kept: bool) -> NameSaid {
        let mut words = self.list[name].words.clone();
        if let Some(first) = words.first_mut() {
            first.insert_str(0, &stretch.lead);
        }
        if let Some(last) = words.last_mut() {
            last.push_str(stretch.ending);
            last.push_str(&stretch.tail);
        }
        NameSaid {
            from: stretch.from,
            to: stretch.to,
            name,
            words: if kept { Vec::new() } else { words },
            likeness: alike,
        }
    }
}

/// Whether it is what was said: ordinary words, heard with certainty.
fn is_certain(stretch: &Stretch) -> bool {
    stretch.ordinary && !stretch.capital && stretch.confidence >= SURE
}

/// How alike the two are, if as much as is needed.
fn alike(stretch: &Stretch, name: &Name, needed: f32) -> Option<f32> {
    if most_alike(stretch.length, name.length) < needed {
        return None;
    }
    let alike = likeness(&stretch.sounds, &name.sounds);
    (alike >= needed).then_some(alike)
}

/// How alike the two must be; `None` where nothing could be enough.
fn needed(stretch: &Stretch, name: &Name) -> Option<f32> {
    if is_certain(stretch) {
        return None;
    }
    let mut needed = ALIKE;
    if stretch.capital {
        needed -= 0.03;
    }
    if stretch.ordinary {
        needed += 0.1;
    }
    // Short names are like many words by chance.
    needed += 0.06 * (4.0 - name.length).clamp(-1.0, 2.5);
    if stretch.to - stretch.from != name.words.len() {
        needed += 0.03;
    }
    Some(needed)
}

/// A skeleton, and it with each of its consonants left out.
fn keys(skeleton: &str) -> Vec<String> {
    let mut keys = vec![skeleton.to_owned()];
    if skeleton.len() > 2 {
        for at in 0..skeleton.len() {
            let mut shorter = skeleton.to_owned();
            shorter.remove(at);
            keys.push(shorter);
        }
    }
    keys.sort();
    keys.dedup();
    keys.retain(|key| !key.is_empty());
    keys
}

/// The ways to read heard words as a name: as they are, and without an ending.
fn stretches(heard: &[HeardText<'_>], from: usize, to: usize) -> Vec<Stretch> {
    let words = &heard[from..to];
    let (last, before) = match words.split_last() {
        Some((last, before)) => (last, before),
        None => return Vec::new(),
    };
    // A name does not go on behind a comma or the end of a sentence.
    if before
        .iter()
        .any(|word| word.text.ends_with([',', '.', '?', '!', ';', ':']))
    {
        return Vec::new();
    }
    let begins = |c: char| c.is_alphanumeric();
    let Some(first) = words.first() else {
        return Vec::new();
    };
    let lead = first.text.find(begins).map_or("", |at| &first.text[..at]);
    let trimmed = last
        .text
        .trim_end_matches(|c: char| !c.is_alphanumeric() && c != '\'' && c != '’');
    let tail = &last.text[trimmed.len()..];
    let plain: Vec<String> = words.iter().map(|word| normal(word.text)).collect();
    if plain.iter().any(String::is_empty) {
        return Vec::new();
    }
    let opens = from == 0 || heard[from - 1].text.ends_with(['.', '?', '!']);
    let upper = |word: &HeardText<'_>| {
        word.text
            .chars()
            .find(|c| c.is_alphanumeric())
            .is_some_and(char::is_uppercase)
    };
    // A capital at the beginning of a sentence says nothing; of several words one more
    // must have it.
    let mut inside = words.iter().skip(usize::from(opens));
    let capital = inside.any(|word| upper(word) && normal(word.text) != "i");
    let confidence = words
        .iter()
        .map(|word| sure(word.confidence))
        .fold(1.0, f32::min);
    let ordinary = words.iter().all(|word| word.ordinary);
    let texts: Vec<&str> = words.iter().map(|word| word.text).collect();
    let make = |plain: &[String], ending: &'static str, tail: &str| {
        let sounds: Vec<Sound> = plain.iter().flat_map(|word| sounds(word)).collect();
        Stretch {
            from,
            to,
            text: texts.join(" "),
            lead: lead.to_owned(),
            tail: tail.to_owned(),
            ending,
            normal: plain.concat(),
            length: length(&sounds),
            sounds,
            confidence,
            capital,
            ordinary,
        }
    };
    let mut all = vec![make(
        &plain,
        "",
        &last.text[trimmed.trim_end_matches(['\'', '’']).len()..],
    )];
    let ending = ["'s", "’s", "s'", "s’", "s"]
        .into_iter()
        .find(|ending| trimmed.ends_with(ending));
    if let Some(ending) = ending
        && let Some(stem) = plain.last().and_then(|word| word.strip_suffix('s'))
        && stem.len() > 1
    {
        let mut short = plain.clone();
        if let Some(last) = short.last_mut() {
            *last = stem.to_owned();
        }
        all.push(make(&short, ending, tail));
    }
    all
}

fn sure(confidence: f32) -> f32 {
    if confidence.is_finite() {
        confidence.clamp(0.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests;
