//! In which ways may what was asked for have been written down?

use super::forms::{contracted, leading, opened, says_little};
use super::lexicon::{How, Lexicon};
use super::numbers::{digits, spelled};
use super::query::{Query, Term};
use super::quick::QuickMap;
use super::sounds::{self, Sound};

/// Words that begin as one was typed: the commonest so many, fewer for two letters.
const MOST_BEGINNINGS: usize = 60;
const MOST_OF_TWO: usize = 16;
/// The shortest word taken apart, in letters, and the shortest piece of one.
const SHORTEST_APART: usize = 6;
const SHORTEST_PIECE: usize = 3;
/// Of the words like a piece so many are tried, and of all ways to take a word apart so
/// many kept.
const MOST_PIECES: usize = 3;
const MOST_APART: usize = 6;
/// A word in more moments than this is hardly two words that were heard as one.
const RARELY: u32 = 3;
/// Words that only lead up to what is asked for weigh so little.
const LEADING_WEIGHT: f32 = 0.04;
/// A word that says so much is more than a filler.
const CONTENT: f32 = 0.2;
/// Shorter words meet by chance in what is listened to (see [`sounds::length`]).
const SHORTEST_LISTENED: f32 = 2.9;
/// Shorter names are not told by their sound alone.
const SHORTEST_NAME: f32 = 4.5;
/// The shortest words that are taken for one when joined, in letters.
const SHORTEST_JOINED: usize = 5;

/// What was asked for, with every way it may have been written down.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// The words asked for, in order.
    pub words: Vec<WantedWord>,
    /// The ways, by which words of the query they stand for.
    pub groups: Vec<Group>,
    /// Whether only the very words are wanted: some stand in quotation marks.
    pub literal: bool,
    /// Whether some words are only begun.
    pub begun: bool,
    /// Groups and ways by the first word of the way.
    pub(super) starts: QuickMap<String, Vec<(usize, usize)>>,
}

/// A word that was asked for.
#[derive(Clone, Debug)]
pub struct WantedWord {
    /// In normal form; the beginning of one if that was asked for.
    pub text: String,
    /// How much it says, 0 to 1.
    pub weight: f32,
    /// Whether it stands anywhere as it was asked for.
    pub(super) written: bool,
    pub(super) sounds: Vec<Sound>,
}

/// What some words of the query may have been written as.
#[derive(Clone, Debug)]
pub struct Group {
    /// The first word of the query.
    pub from: usize,
    /// One past the last.
    pub to: usize,
    /// The ways, the very words first.
    pub ways: Vec<Way>,
}

/// One way in which words of the query may have been written.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// The words, next to one another.
    pub words: Vec<String>,
    /// How that answers.
    pub how: How,
    /// What it is worth beside the very words, 0 to 1.
    pub worth: f32,
    /// It is in no more moments than this, as far as known.
    pub moments: u32,
}

impl WantedWord {
    /// Whether it was never written and may be a name: long enough to be told by its sound,
    /// no number, and no form of another word. Ordinary words are known to a recogniser
    /// and seldom become others; names do.
    pub(super) fn is_an_unwritten_name(&self) -> bool {
        let formed = ["ed", "ing", "s", "ly"]
            .iter()
            .any(|end| self.text.ends_with(end));
        !self.written
            && !formed
            && digits(&[&self.text]).is_none()
            && sounds::length(&self.sounds) > SHORTEST_NAME
    }

    /// Whether it says something and is long enough to be told by its sound.
    pub(super) fn is_audible(&self) -> bool {
        self.weight > 0.5 && sounds::length(&self.sounds) > SHORTEST_LISTENED
    }

    /// Whether it is more than a filler.
    pub(super) fn says_something(&self) -> bool {
        self.weight > CONTENT
    }

    /// Whether it only leads up to what is asked for.
    pub(super) fn leads(&self) -> bool {
        self.weight <= LEADING_WEIGHT
    }
}

impl Group {
    /// What the words it stands for say, in all.
    #[must_use]
    pub fn weight(&self, wanted: &Wanted) -> f32 {
        let own = wanted.words.get(self.from..self.to).unwrap_or_default();
        own.iter().map(|word| word.weight).sum()
    }

    /// In no more moments than this it may be found.
    #[must_use]
    pub fn moments(&self) -> u32 {
        let ways = self.ways.iter().map(|way| way.moments);
        ways.fold(0, u32::saturating_add)
    }
}

impl Wanted {
    /// What a query asks for, among the words there are.
    #[must_use]
    pub fn of(query: &Query, lexicon: &Lexicon) -> Self {
        let mut words = Vec::new();
        let mut begins = Vec::new();
        for term in &query.terms {
            match term {
                Term::Word(word) | Term::Prefix(word) => words.push(word.as_str()),
                Term::Phrase(phrase) => words.extend(phrase.iter().map(String::as_str)),
            }
            begins.resize(words.len(), matches!(term, Term::Prefix(_)));
        }
        let literal = query.literal;
        let leads = if literal { 0 } else { leading(&words) };
        let mut wanted = Self {
            literal,
            begun: begins.contains(&true),
            words: words
                .iter()
                .enumerate()
                .map(|(n, word)| WantedWord {
                    text: (*word).to_owned(),
                    weight: match n < leads {
                        true => LEADING_WEIGHT,
                        false => lexicon.weight(word),
                    },
                    written: lexicon.moments_of(word) > 0,
                    sounds: sounds::sounds(word),
                })
                .collect(),
            ..Self::default()
        };
        let mut n = 0;
        for term in &query.terms {
            let ways = match term {
                Term::Prefix(start) => beginnings(start, lexicon),
                Term::Word(word) if !literal => alone(word, lexicon),
                Term::Word(word) => vec![itself(word, lexicon)],
                Term::Phrase(phrase) if literal => vec![way(phrase, How::Exact, 1.0, lexicon)],
                // A joined word is looked for word by word.
                Term::Phrase(phrase) => {
                    for (place, word) in phrase.iter().enumerate() {
                        wanted.add(n + place, n + place + 1, alone(word, lexicon));
                    }
                    Vec::new()
                }
            };
            wanted.add(n, n + term.word_count(), ways);
            n += term.word_count();
        }
        if !literal {
            for n in 0..words.len() {
                let until = begins[n..].iter().position(|begins| *begins);
                let to = until.map_or(words.len(), |count| n + count);
                wanted.join(n, &words[n..to], lexicon);
            }
        }
        wanted
    }

    fn add(&mut self, from: usize, to: usize, ways: Vec<Way>) {
        let ways: Vec<Way> = ways.into_iter().filter(|w| !w.words.is_empty()).collect();
        if ways.is_empty() {
            return;
        }
        for (n, way) in ways.iter().enumerate() {
            let first = way.words[0].clone();
            let starts = self.starts.entry(first).or_default();
            starts.push((self.groups.len(), n));
        }
        self.groups.push(Group { from, to, ways });
    }

    /// Several words, from the `n`th of the query on, that may stand as fewer or other ones.
    fn join(&mut self, n: usize, words: &[&str], lexicon: &Lexicon) {
        if let Some((count @ 2.., number)) = digits(words) {
            let mut ways = vec![way(&[&number], How::Exact, 0.99, lexicon)];
            for said in spelled(&number) {
                if !said.iter().eq(words[..count].iter()) {
                    ways.push(way(&said, How::Exact, 0.98, lexicon));
                }
            }
            self.add(n, n + count, known(ways));
        }
        if let Some(pair) = words.get(..2) {
            let short = contracted(pair).into_iter();
            let ways = short.map(|short| way(&[short], How::Exact, 0.98, lexicon));
            self.add(n, n + 2, known(ways.collect()));
        }
        for count in 2..=3 {
            let Some(some) = words.get(..count) else {
                break;
            };
            if some.iter().all(|word| says_little(word)) {
                continue;
            }
            let joined = some.concat();
            if joined.chars().count() < SHORTEST_JOINED || joined.len() > 40 {
                continue;
            }
            let mut ways = vec![way(&[&joined], How::Exact, 0.97, lexicon)];
            // Of more words than two only the same letters count.
            if count == 2 {
                for like in lexicon.like_made(&joined) {
                    ways.push(way(&[like.text], like.how, 0.95 * like.worth, lexicon));
                }
            }
            self.add(n, n + count, known(ways));
        }
    }
}

/// Ways of which every word was said somewhere.
fn known(ways: Vec<Way>) -> Vec<Way> {
    ways.into_iter().filter(|way| way.moments > 0).collect()
}

fn way(words: &[impl AsRef<str>], how: How, worth: f32, lexicon: &Lexicon) -> Way {
    let moments = words.iter().map(|word| lexicon.moments_of(word.as_ref()));
    Way {
        moments: moments.min().unwrap_or(0),
        words: words.iter().map(|word| word.as_ref().to_owned()).collect(),
        how,
        worth,
    }
}

/// The very word; a word that is not known yet may have been said meanwhile.
fn itself(word: &str, lexicon: &Lexicon) -> Way {
    way(&[word], How::Exact, 1.0, lexicon)
}

fn beginnings(start: &str, lexicon: &Lexicon) -> Vec<Way> {
    let mut ways = vec![itself(start, lexicon)];
    let most = if start.len() > 2 {
        MOST_BEGINNINGS
    } else {
        MOST_OF_TWO
    };
    for like in lexicon.beginning(start, most) {
        if like.text != start {
            ways.push(way(&[like.text], How::Exact, like.worth, lexicon));
        }
    }
    ways
}

fn alone(word: &str, lexicon: &Lexicon) -> Vec<Way> {
    let mut ways = vec![itself(word, lexicon)];
    for like in lexicon.like(word) {
        ways.push(way(&[like.text], like.how, like.worth, lexicon));
    }
    let mut more: Vec<Way> = Vec::new();
    for long in opened(word) {
        more.push(way(&long, How::Exact, 0.98, lexicon));
    }
    if let Some((_, number)) = digits(&[word]) {
        more.push(way(&[number], How::Exact, 0.99, lexicon));
    }
    for said in spelled(word) {
        more.push(way(&said, How::Exact, 0.98, lexicon));
    }
    more.extend(apart(word, lexicon));
    ways.extend(known(more));
    ways
}

/// A word as two.
fn apart(word: &str, lexicon: &Lexicon) -> Vec<Way> {
    if !word.is_ascii() || word.len() < SHORTEST_APART {
        return Vec::new();
    }
    let mut ways = Vec::new();
    for at in SHORTEST_PIECE - 1..=word.len() - (SHORTEST_PIECE - 1) {
        let (left, right) = word.split_at(at);
        if lexicon.moments_of(left) > 0 && lexicon.moments_of(right) > 0 {
            ways.push(way(&[left, right], How::Exact, 0.96, lexicon));
        }
    }
    if ways.is_empty() && lexicon.moments_of(word) <= RARELY {
        for at in SHORTEST_PIECE..=word.len() - SHORTEST_PIECE {
            let (left, right) = word.split_at(at);
            let (lefts, rights) = (pieces(left, lexicon), pieces(right, lexicon));
            for (left, a) in &lefts {
                for (right, b) in &rights {
                    let worth = 0.93 * a * b;
                    ways.push(way(&[*left, *right], How::SoundsAlike, worth, lexicon));
                }
            }
        }
        ways.sort_by(|a, b| b.worth.total_cmp(&a.worth).then(a.words.cmp(&b.words)));
        ways.dedup_by(|a, b| a.words == b.words);
    }
    ways.truncate(MOST_APART);
    ways
}

/// Words that a piece of one may be, and what they are worth.
fn pieces<'a>(piece: &'a str, lexicon: &'a Lexicon) -> Vec<(&'a str, f32)> {
    if lexicon.moments_of(piece) > 0 {
        return vec![(piece, 1.0)];
    }
    let like = lexicon.like_made(piece).into_iter().take(MOST_PIECES);
    like.map(|like| (like.text, like.worth)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lexicon(words: &str) -> Lexicon {
        let mut lexicon = Lexicon::default();
        for word in words.split(' ') {
            lexicon.put(word, 2);
        }
        lexicon.set_moments(200);
        lexicon
    }

    fn ways(query: &str, known: &str) -> Vec<(usize, usize, String)> {
        let wanted = Wanted::of(&Query::parse(query), &lexicon(known));
        let mut all = Vec::new();
        for group in &wanted.groups {
            let ways = group.ways.iter();
            all.extend(ways.map(|way| (group.from, group.to, way.words.join(" "))));
        }
        all
    }

    fn has(query: &str, known: &str, from: usize, to: usize, want: &str) -> bool {
        ways(query, known).contains(&(from, to, want.to_owned()))
    }

    #[test]
    fn a_line_is_looked_for_in_every_way_it_may_stand() {
        assert!(has("lamp lit", "lamplate", 0, 2, "lamplate"));
        assert!(has("lamplate", "lamp lit", 0, 1, "lamp lit"));
        assert!(has("boathouse", "boat house", 0, 1, "boat house"));
        assert!(has("boat house", "boathouse", 0, 2, "boathouse"));
        assert!(has("twenty one lamps", "21 lamps", 0, 2, "21"));
        assert!(has("21 lamps", "twenty one lamps", 0, 1, "twenty one"));
        assert!(has("I will", "ill", 0, 2, "ill"));
        assert!(has("I'll", "i will", 0, 1, "i will"));
        assert!(has("ott*", "ottilie", 0, 1, "ottilie"));
    }

    #[test]
    fn quotation_marks_ask_for_the_very_words() {
        assert_eq!(
            ways("\"the kettles\"", "the kettle kettles"),
            [(0, 2, "the kettles".to_owned())]
        );
    }

    #[test]
    fn what_leads_up_weighs_little() {
        let lexicon = lexicon("kettle bit about the");
        let wanted = Wanted::of(&Query::parse("the bit about the kettle"), &lexicon);
        let weights: Vec<f32> = wanted.words.iter().map(|word| word.weight).collect();
        assert!(
            weights[..3].iter().all(|w| *w == LEADING_WEIGHT),
            "{weights:?}"
        );
        assert!(weights[4] > 0.8, "{weights:?}");
    }

    proptest! {
        #[test]
        fn any_query_is_wanted(query in "\\PC{0,60}") {
            let wanted = Wanted::of(&Query::parse(&query), &lexicon("kettle the 21 i will"));
            for group in &wanted.groups {
                prop_assert!(group.from < group.to && group.to <= wanted.words.len());
                prop_assert!(group.ways.iter().all(|way| way.worth > 0.0 && way.worth <= 1.0));
            }
        }
    }
}
