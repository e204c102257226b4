//! What do people ask of a shelf?
//!
//! Phrases are taken from places of the shelf: from events made again, so that no
//! look at the database, and no index, chooses them.

use xtask::scene::random::Random;

use super::Options;
use super::event::{EVENT_WORDS, Event, PARTS, SOURCES, Said};
use super::language::{Language, Rank};
use super::shelf;

/// How the parameters of `GET /search` are called.
pub mod parameter {
    pub const QUERY: &str = "q";
    pub const EVENT: &str = "event";
    pub const PERSON: &str = "person";
    pub const SOURCE: &str = "source";
    pub const PLACEMENT: &str = "placement";
    pub const PART: &str = "part";
    pub const LANGUAGE: &str = "language";
    pub const FROM: &str = "from";
    pub const TO: &str = "to";
    pub const CONFIDENCE: &str = "confidence";
    pub const BACKUP: &str = "backup";
    pub const BEST: &str = "best";
    pub const SORT: &str = "sort";
    pub const FACETS: &str = "facets";
    pub const LIMIT: &str = "limit";
    pub const OFFSET: &str = "offset";
}
use parameter as p;

/// One request, as the parameters of its address.
pub type Ask = Vec<(&'static str, String)>;

/// What an answer must have.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Expect {
    /// A hit, each holding the phrase, word for word: it was said.
    Phrase,
    /// A hit.
    Hits,
    /// Nothing in particular; what was found is told.
    Whatever,
}

/// A kind of query.
pub struct Kind {
    /// As it is told and as `KINDS` names it.
    pub name: &'static str,
    /// Parameters without which it means something else.
    pub needs: &'static [&'static str],
    /// What it must find.
    pub expect: Expect,
    ask: fn(&Material, &mut Random) -> Option<Vec<Asked>>,
}

/// A request, and the phrase it is about, in normal form.
#[derive(Clone)]
pub struct Asked {
    /// Its parameters.
    pub ask: Ask,
    /// The words that were said.
    pub phrase: String,
}

/// Ranks of the rarest word of a phrase.
const COMMON: std::ops::Range<Rank> = 0..100;
const MIDDLING: std::ops::Range<Rank> = 500..5_000;
const RARE: Rank = 20_000;
/// How many events are made again for what is asked.
const EVENTS: usize = 24;
/// Tries at a phrase of the wanted kind.
const TRIES: usize = 20_000;

/// What queries are made of.
pub struct Material<'a> {
    language: &'a Language,
    events: Vec<Event>,
    /// By the number of the event.
    ids: Vec<String>,
}

/// Words that were said next to each other.
struct Place<'a> {
    event: &'a Event,
    moment: usize,
    words: &'a [Said],
}

impl Place<'_> {
    fn phrase(&self) -> String {
        normal(self.words.iter().map(|word| word.text.as_str()))
    }
}

/// Every kind there is.
pub const KINDS: &[Kind] = &[
    Kind {
        name: "exact, rare",
        needs: &[],
        expect: Expect::Phrase,
        ask: |m, r| exact(m, r, Class::Rare),
    },
    Kind {
        name: "exact, middling",
        needs: &[],
        expect: Expect::Phrase,
        ask: |m, r| exact(m, r, Class::Middling),
    },
    Kind {
        name: "exact, common words only",
        needs: &[],
        expect: Expect::Phrase,
        ask: |m, r| exact(m, r, Class::Common),
    },
    Kind {
        name: "words in any order",
        needs: &[],
        expect: Expect::Hits,
        ask: any_order,
    },
    Kind {
        name: "nowhere",
        needs: &[],
        expect: Expect::Whatever,
        ask: nowhere,
    },
    Kind {
        name: "typed letter by letter",
        needs: &[],
        expect: Expect::Whatever,
        ask: typed,
    },
    Kind {
        name: "mis-spelled",
        needs: &[],
        expect: Expect::Whatever,
        ask: |m, r| forgiving(m, r, misspelled),
    },
    Kind {
        name: "sounds alike",
        needs: &[],
        expect: Expect::Whatever,
        ask: |m, r| forgiving(m, r, sounding),
    },
    Kind {
        name: "another form",
        needs: &[],
        expect: Expect::Whatever,
        ask: |m, r| forgiving(m, r, formed),
    },
    Kind {
        name: "a word left out",
        needs: &[],
        expect: Expect::Whatever,
        ask: left_out,
    },
    Kind {
        name: "one event",
        needs: &[p::EVENT],
        expect: Expect::Phrase,
        ask: of_event,
    },
    Kind {
        name: "one person",
        needs: &[p::PERSON],
        expect: Expect::Hits,
        ask: of_person,
    },
    Kind {
        name: "one source",
        needs: &[p::SOURCE],
        expect: Expect::Hits,
        ask: of_source,
    },
    Kind {
        name: "one placement",
        needs: &[p::PLACEMENT],
        expect: Expect::Hits,
        ask: of_placement,
    },
    Kind {
        name: "dates",
        needs: &[p::FROM, p::TO],
        expect: Expect::Phrase,
        ask: of_dates,
    },
    Kind {
        name: "all filters",
        needs: &[
            p::PLACEMENT,
            p::LANGUAGE,
            p::FROM,
            p::CONFIDENCE,
            p::BACKUP,
            p::BEST,
        ],
        expect: Expect::Whatever,
        ask: filtered,
    },
    Kind {
        name: "part, by the clock",
        needs: &[p::PART, p::SORT],
        expect: Expect::Whatever,
        ask: of_part,
    },
    Kind {
        name: "with facets",
        needs: &[p::FACETS],
        expect: Expect::Phrase,
        ask: faceted,
    },
    Kind {
        name: "page at 200",
        needs: &[p::OFFSET],
        expect: Expect::Whatever,
        ask: |m, r| page(m, r, 200),
    },
    Kind {
        name: "page at 5,000",
        needs: &[p::OFFSET],
        expect: Expect::Whatever,
        ask: |m, r| page(m, r, 5_000),
    },
];

impl Kind {
    /// So many requests of this kind, always the same for a seed; fewer where the
    /// shelf has no more to ask for.
    pub fn requests(&self, material: &Material<'_>, seed: u64, count: usize) -> Vec<Asked> {
        let mut random = Random::new(seed, self.name);
        let mut requests = Vec::new();
        while requests.len() < count {
            match (self.ask)(material, &mut random) {
                Some(more) => requests.extend(more),
                None => break,
            }
        }
        requests.truncate(count);
        requests
    }
}

#[derive(Clone, Copy)]
enum Class {
    Rare,
    Middling,
    Common,
}

impl Class {
    fn holds(self, words: &[Said]) -> bool {
        let rarest = words
            .iter()
            .map(|word| word.rank.unwrap_or(Rank::MAX))
            .max();
        let rarest = rarest.unwrap_or(0);
        match self {
            Self::Rare => rarest >= RARE,
            Self::Middling => MIDDLING.contains(&rarest),
            Self::Common => COMMON.contains(&rarest),
        }
    }
}

impl<'a> Material<'a> {
    /// From events all over the shelf; `ids` are those of its events in order.
    pub fn new(options: &Options, language: &'a Language, ids: Vec<String>) -> Self {
        let count = shelf::events(options.words);
        let words = options.words / count;
        debug_assert!(words <= 2 * EVENT_WORDS);
        let every = count.div_ceil(EVENTS);
        let numbers = (0..count).step_by(every);
        Self {
            language,
            events: numbers
                .map(|n| Event::new(language, options.seed, n, words))
                .collect(),
            ids,
        }
    }

    /// 2 to 6 words in a row.
    fn place(&self, random: &mut Random, class: Class, shortest: usize) -> Option<Place<'_>> {
        for _ in 0..TRIES {
            let event = &self.events[random.below(self.events.len())];
            let moment = random.below(event.moments.len());
            let words = &event.moments[moment].words;
            let length = shortest + random.below(7 - shortest);
            if words.len() < length {
                continue;
            }
            let from = random.below(words.len() - length + 1);
            let words = &words[from..from + length];
            if class.holds(words) {
                return Some(Place {
                    event,
                    moment,
                    words,
                });
            }
        }
        None
    }

    fn id(&self, event: &Event) -> String {
        self.ids[event.number].clone()
    }
}

/// Words as they are typed.
fn normal<'a>(words: impl Iterator<Item = &'a str>) -> String {
    sayback::core::text::tokens(words)
}

/// Words next to each other, in this order.
fn quoted(phrase: &str) -> String {
    format!("\"{phrase}\"")
}

/// What somebody has typed so far.
fn unfinished(text: &str) -> String {
    format!("{text}*")
}

fn one(ask: Ask, phrase: String) -> Option<Vec<Asked>> {
    Some(vec![Asked { ask, phrase }])
}

fn exact(material: &Material, random: &mut Random, class: Class) -> Option<Vec<Asked>> {
    let phrase = material.place(random, class, 2)?.phrase();
    one(vec![(p::QUERY, quoted(&phrase))], phrase)
}

fn any_order(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Middling, 2)?;
    let mut words: Vec<&Said> = place.words.iter().collect();
    random.shuffle(&mut words);
    let text = normal(words.iter().map(|word| word.text.as_str()));
    one(vec![(p::QUERY, text)], place.phrase())
}

fn nowhere(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let language = material.language;
    let length = 3 + random.below(4);
    let words: Vec<&str> = (0..length)
        .map(|_| language.word(MIDDLING.start + random.below(RARE - MIDDLING.start)))
        .collect();
    let phrase = words.join(" ");
    one(vec![(p::QUERY, quoted(&phrase))], phrase)
}

fn typed(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let phrase = material.place(random, Class::Middling, 2)?.phrase();
    let ends = phrase
        .char_indices()
        .map(|(at, letter)| at + letter.len_utf8());
    let begun = ends.skip(1).map(|end| &phrase[..end]);
    // A blank at the end changes nothing.
    let begun = begun.filter(|text| !text.ends_with(' '));
    let ask = |text: &str| Asked {
        ask: vec![(p::QUERY, unfinished(text))],
        phrase: phrase.clone(),
    };
    Some(begun.map(ask).collect())
}

/// A phrase of which one word of four letters or more is written otherwise.
fn forgiving(
    material: &Material,
    random: &mut Random,
    change: fn(&str, &mut Random) -> Option<String>,
) -> Option<Vec<Asked>> {
    for _ in 0..TRIES {
        let place = material.place(random, Class::Middling, 3)?;
        let phrase = place.phrase();
        let mut words: Vec<String> = phrase.split(' ').map(str::to_owned).collect();
        let long: Vec<usize> = (0..words.len()).filter(|n| words[*n].len() > 3).collect();
        if long.is_empty() {
            continue;
        }
        let n = long[random.below(long.len())];
        if let Some(other) = change(&words[n], random) {
            words[n] = other;
            return one(vec![(p::QUERY, words.join(" "))], phrase);
        }
    }
    None
}

/// One letter too many, too few, another, or two in the wrong order.
fn misspelled(word: &str, random: &mut Random) -> Option<String> {
    let mut letters: Vec<char> = word.chars().collect();
    let at = 1 + random.below(letters.len() - 2);
    let other = char::from(b'a' + random.below(26) as u8);
    match random.below(4) {
        0 => letters.insert(at, other),
        1 => drop(letters.remove(at)),
        2 => letters[at] = other,
        _ => letters.swap(at, at + 1),
    }
    let written: String = letters.into_iter().collect();
    (written != word).then_some(written)
}

/// Spellings of one sound.
fn sounding(word: &str, random: &mut Random) -> Option<String> {
    const ALIKE: [(&str, &str); 16] = [
        ("ph", "f"),
        ("ck", "k"),
        ("ight", "ite"),
        ("ee", "ea"),
        ("ea", "ee"),
        ("c", "k"),
        ("tion", "shun"),
        ("ough", "uff"),
        ("ai", "ay"),
        ("oo", "u"),
        ("wh", "w"),
        ("kn", "n"),
        ("x", "cks"),
        ("s", "z"),
        ("er", "ur"),
        ("ll", "l"),
    ];
    let start = random.below(ALIKE.len());
    let turned = ALIKE.iter().cycle().skip(start).take(ALIKE.len());
    let mut fit = turned.filter(|(is, _)| word.contains(is));
    fit.next().map(|(is, other)| word.replacen(is, other, 1))
}

/// Promise, promised, promises, promising.
fn formed(word: &str, random: &mut Random) -> Option<String> {
    const ENDS: [&str; 3] = ["ing", "ed", "s"];
    if let Some(end) = ENDS.iter().find(|end| word.ends_with(**end)) {
        let stem = &word[..word.len() - end.len()];
        return (stem.len() > 2).then(|| stem.to_owned());
    }
    let stem = word.strip_suffix('e').unwrap_or(word);
    Some(match random.below(3) {
        0 => format!("{word}s"),
        1 => format!("{stem}ed"),
        _ => format!("{stem}ing"),
    })
}

fn left_out(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Middling, 4)?;
    let phrase = place.phrase();
    let mut words: Vec<&str> = phrase.split(' ').collect();
    if words.len() > 2 {
        words.remove(1 + random.below(words.len() - 2));
    }
    // Quoted, so that it asks for words in this order.
    one(vec![(p::QUERY, quoted(&words.join(" ")))], phrase)
}

fn of_event(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Common, 2)?;
    let phrase = place.phrase();
    let event = material.id(place.event);
    one(vec![(p::QUERY, quoted(&phrase)), (p::EVENT, event)], phrase)
}

fn of_person(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    for _ in 0..TRIES {
        let place = material.place(random, Class::Middling, 2)?;
        if let Some(person) = place.event.moments[place.moment].person {
            let name = place.event.people[person].clone();
            let phrase = place.phrase();
            return one(vec![(p::QUERY, quoted(&phrase)), (p::PERSON, name)], phrase);
        }
    }
    None
}

fn of_source(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Middling, 2)?;
    let (source, _) = place.event.moments[place.moment].heard[0];
    let ask = vec![
        (p::QUERY, quoted(&place.phrase())),
        (p::SOURCE, SOURCES[source].0.to_owned()),
    ];
    one(ask, place.phrase())
}

fn of_placement(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Common, 2)?;
    let (source, _) = place.event.moments[place.moment].heard[0];
    let ask = vec![
        (p::QUERY, quoted(&place.phrase())),
        (p::PLACEMENT, SOURCES[source].1.to_owned()),
    ];
    one(ask, place.phrase())
}

fn of_dates(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Common, 2)?;
    let phrase = place.phrase();
    let day = place.event.date.clone();
    let ask = vec![
        (p::QUERY, quoted(&phrase)),
        (p::FROM, day.clone()),
        (p::TO, day),
    ];
    one(ask, phrase)
}

fn filtered(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Middling, 2)?;
    let (source, _) = place.event.moments[place.moment].heard[0];
    let ask = vec![
        (p::QUERY, quoted(&place.phrase())),
        (p::PLACEMENT, SOURCES[source].1.to_owned()),
        (p::LANGUAGE, "en".into()),
        (p::FROM, "2019-01-01".into()),
        (p::CONFIDENCE, "0.5".into()),
        (p::BACKUP, "true".into()),
        (p::BEST, "true".into()),
    ];
    one(ask, place.phrase())
}

fn of_part(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let place = material.place(random, Class::Middling, 2)?;
    let ask = vec![
        (p::QUERY, quoted(&place.phrase())),
        (p::PART, PARTS[random.below(PARTS.len())].to_owned()),
        (p::SORT, "clock".into()),
    ];
    one(ask, place.phrase())
}

fn faceted(material: &Material, random: &mut Random) -> Option<Vec<Asked>> {
    let phrase = material.place(random, Class::Middling, 2)?.phrase();
    let ask = vec![(p::QUERY, quoted(&phrase)), (p::FACETS, "true".into())];
    one(ask, phrase)
}

fn page(material: &Material, random: &mut Random, offset: usize) -> Option<Vec<Asked>> {
    let phrase = material.place(random, Class::Common, 2)?;
    // Two words: what is found thousands of times.
    let phrase = normal(phrase.words[..2].iter().map(|word| word.text.as_str()));
    let ask = vec![
        (p::QUERY, quoted(&phrase)),
        (p::LIMIT, "50".into()),
        (p::OFFSET, offset.to_string()),
    ];
    one(ask, phrase)
}
