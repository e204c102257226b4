//! Which kinds of queries are asked, and what is each like?

use xtask::scene::random::Random;

use super::changes::{formed, misspelled, sounding};
use super::event::{PARTS, SOURCES, Said};
use super::queries::Expect::{self, Hits, Phrase, Whatever};
use super::queries::{
    Ask, Asked, Class, Kind, MIDDLING, Material, RARE, TRIES, normal, parameter as p,
};

/// Words that are found thousands of times.
const MOST_COMMON: usize = 12;

/// Every kind there is.
pub const KINDS: &[Kind] = &[
    kind("exact, rare", &[], Phrase, |m, r| exact(m, r, Class::Rare)),
    kind("exact, middling", &[], Phrase, |m, r| {
        exact(m, r, Class::Middling)
    }),
    kind("exact, common words only", &[], Phrase, |m, r| {
        exact(m, r, Class::Common)
    }),
    kind("words in any order", &[], Hits, any_order),
    kind("nowhere", &[], Whatever, nowhere),
    kind("typed letter by letter", &[], Whatever, typed),
    kind("mis-spelled", &[], Whatever, |m, r| {
        forgiving(m, r, misspelled)
    }),
    kind("sounds alike", &[], Whatever, |m, r| {
        forgiving(m, r, sounding)
    }),
    kind("another form", &[], Whatever, |m, r| {
        forgiving(m, r, formed)
    }),
    kind("a word left out", &[], Whatever, left_out),
    kind("one event", &[p::EVENT], Phrase, of_event),
    kind("one person", &[p::PERSON], Hits, of_person),
    kind("one source", &[p::SOURCE], Hits, of_source),
    kind("one placement", &[p::PLACEMENT], Hits, of_placement),
    kind("dates", &[p::FROM, p::TO], Phrase, of_dates),
    kind(
        "all filters",
        &[
            p::PLACEMENT,
            p::LANGUAGE,
            p::FROM,
            p::CONFIDENCE,
            p::BACKUP,
            p::BEST,
        ],
        Whatever,
        filtered,
    ),
    kind("part, by the clock", &[p::PART, p::SORT], Whatever, of_part),
    kind("with facets", &[p::FACETS], Phrase, faceted),
    kind("page at 200", &[p::OFFSET], Whatever, |m, r| {
        page(m, r, 200)
    }),
    kind("page at 5,000", &[p::OFFSET], Whatever, |m, r| {
        page(m, r, 5_000)
    }),
];

const fn kind(
    name: &'static str,
    needs: &'static [&'static str],
    expect: Expect,
    ask: fn(&Material, &mut Random) -> Option<Vec<Asked>>,
) -> Kind {
    Kind {
        name,
        needs,
        expect,
        ask,
    }
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

/// A word that is in every third moment, far behind the first page.
fn page(material: &Material, random: &mut Random, offset: usize) -> Option<Vec<Asked>> {
    let word = material.language.word(random.below(MOST_COMMON)).to_owned();
    let ask = vec![
        (p::QUERY, word.clone()),
        (p::LIMIT, "50".into()),
        (p::OFFSET, offset.to_string()),
    ];
    one(ask, word)
}
