//! What is said in a made-up event, by whom, and who hears it?
//!
//! All of event number `n` comes from the seed and `n` alone, so a shelf is made one
//! event after the other and any event can be made again to ask for what is in it.

use sayback::core::signal::peaks::Peaks;
use xtask::scene::random::Random;

use super::language::{Language, Rank, made_up};

/// Words of an event: five hours of speech at 10,000 an hour.
pub const EVENT_WORDS: usize = 50_000;
/// Words of a moment.
const SHORTEST: usize = 3;
const LONGEST: usize = 25;
/// Words beyond the shortest, in the mean.
const BEYOND: f64 = 9.0;
/// How often a word is one of the event's own: names, and what no list has.
const OWN: f64 = 0.012;
/// How many such words an event draws from; few are frequent, most are said once.
const OWN_WORDS: usize = 1_500;
/// How often a moment begins with what is said at every wedding.
const STOCK: f64 = 0.05;
/// What is said at every wedding; a made-up one, at a ferry landing and its boathouse.
const STOCK_PHRASES: [&str; 24] = [
    "ladies and gentlemen please take your seats",
    "thank you all so much for coming today",
    "if I could have your attention for one moment",
    "please raise your glasses to the happy couple",
    "to have and to hold from this day forward",
    "I promise to love you every single day",
    "with this ring I give you my heart",
    "you look absolutely beautiful",
    "on behalf of both our families",
    "I have known her since we were little girls",
    "I still remember the day that you met",
    "we are gathered here beside the water",
    "can somebody bring the rings please",
    "the ferry leaves at a quarter to six",
    "dinner will be served in the boathouse",
    "could everybody move down to the landing",
    "are you ready to go",
    "one more picture with the whole family",
    "look this way and smile",
    "I do",
    "let us have a little dance",
    "who has the other microphone",
    "my mother and my father taught me that",
    "here is to many happy years together",
];

/// The people of an event.
pub const PEOPLE: usize = 6;
/// Its recorders: label, placement, who wears it.
pub const SOURCES: [(&str, &str, Option<usize>); 5] = [
    ("Lapel one", "worn", Some(0)),
    ("Lapel two", "worn", Some(1)),
    ("Desk", "feed", None),
    ("Lectern", "stand", None),
    ("Camera", "camera", None),
];
/// Its parts, of equal length.
pub const PARTS: [&str; 6] = [
    "arrival", "letters", "ceremony", "speeches", "dinner", "dancing",
];

/// A made-up event.
pub struct Event {
    /// Its number on the shelf.
    pub number: usize,
    /// What it is called; one of a title a shelf.
    pub title: String,
    /// The day, `2019-01-05`.
    pub date: String,
    /// Who speaks.
    pub people: Vec<String>,
    /// In the order of time.
    pub moments: Vec<Moment>,
    /// Where the last word ends, ms.
    pub end_ms: i64,
}

/// A stretch of speech.
pub struct Moment {
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks, by their place among the people; `None` where it is not known.
    pub person: Option<usize>,
    /// The recorders that have it, the best first, and how far it is above their noise.
    pub heard: Vec<(usize, f32)>,
    /// Its words.
    pub words: Vec<Said>,
}

/// A word of a moment.
pub struct Said {
    /// As it is shown.
    pub text: String,
    /// How rare it is; `None` for what stands in no list.
    pub rank: Option<Rank>,
    /// On the event clock, ms.
    pub start_ms: i64,
    /// On the event clock, ms, exclusive.
    pub end_ms: i64,
    /// How sure a model would be, 0 to 1.
    pub confidence: f32,
}

impl Event {
    /// Event `number` of the shelf of `seed`, of about so many words.
    pub fn new(language: &Language, seed: u64, number: usize, words: usize) -> Self {
        let mut random = Random::new(seed, &format!("event {number}"));
        let own: Vec<String> = (0..OWN_WORDS).map(|_| made_up(&mut random)).collect();
        let people = (0..PEOPLE).map(|n| named(&own[n], n)).collect();
        let mut event = Self {
            number,
            title: format!("Boathouse {number:04}"),
            date: date(number),
            people,
            moments: Vec::new(),
            end_ms: 60_000,
        };
        let mut left = words;
        while left > 0 {
            let texts = said(language, &own, left, &mut random);
            left -= texts.len().min(left);
            event.end_ms += 300 + (random.unit().powi(3) * 4_000.0) as i64;
            let moment = moment(event.end_ms, texts, &mut random);
            event.end_ms = moment.end_ms;
            event.moments.push(moment);
        }
        event
    }

    /// Search never looks at waves.
    pub fn peaks(&self, _source: usize, _begins_ms: i64, _length_ms: i64) -> Peaks {
        Peaks::default()
    }
}

/// The words of a moment, at most `left`, as they are shown.
fn said(
    language: &Language,
    own: &[String],
    left: usize,
    random: &mut Random,
) -> Vec<(String, Option<Rank>)> {
    let length = SHORTEST + (-BEYOND * (1.0 - random.unit()).ln()) as usize;
    let length = length.min(LONGEST).min(left.max(1));
    let mut texts: Vec<(String, Option<Rank>)> = Vec::with_capacity(length);
    if random.unit() < STOCK {
        let phrase = STOCK_PHRASES[random.below(STOCK_PHRASES.len())];
        // Ranks of these are not known, but no phrase is taken for a rare one.
        texts.extend(phrase.split(' ').map(|word| (word.to_owned(), Some(0))));
    }
    let mut before = None;
    while texts.len() < length {
        if random.unit() < OWN {
            // Zipf by the inverse of a uniform number: the n-th about 1/n as often.
            let n = (own.len() as f64).powf(random.unit()) as usize - 1;
            texts.push((capital(&own[n.min(own.len() - 1)]), None));
            continue;
        }
        let rank = match before {
            Some(before) => language.after(before, random),
            None => language.any(random),
        };
        before = Some(rank);
        let word = language.word(rank);
        let shown = if word == "i" { "I" } else { word };
        texts.push((shown.to_owned(), Some(rank)));
    }
    let last = texts.len() - 1;
    texts[0].0 = capital(&texts[0].0);
    texts[last].0.push('.');
    if last > 8 {
        texts[last / 2].0.push(',');
    }
    texts
}

fn moment(start_ms: i64, texts: Vec<(String, Option<Rank>)>, random: &mut Random) -> Moment {
    let mut at = start_ms;
    let words: Vec<Said> = texts
        .into_iter()
        .map(|(text, rank)| {
            let length = 90 + 42 * text.len() as i64 + random.below(80) as i64;
            let word = Said {
                text,
                rank,
                start_ms: at,
                end_ms: at + length,
                confidence: (1.0 - 0.7 * random.unit().powi(3)) as f32,
            };
            at += length + random.below(60) as i64;
            word
        })
        .collect();
    let mut sources: Vec<usize> = (0..SOURCES.len()).collect();
    random.shuffle(&mut sources);
    sources.truncate(2 + random.below(4));
    let mut snr = 30.0 * random.unit() as f32 + 8.0;
    let heard = sources
        .into_iter()
        .map(|source| {
            let one = (source, snr);
            snr *= 0.8;
            one
        })
        .collect();
    Moment {
        start_ms,
        end_ms: words.last().map_or(start_ms, |word| word.end_ms) + 50,
        person: (random.unit() < 0.9).then(|| random.below(PEOPLE)),
        heard,
        words,
    }
}

/// Every Saturday from 5 January 2019 on.
fn date(number: usize) -> String {
    let first = jiff::civil::date(2019, 1, 5);
    let weeks = i64::try_from(number % 2_000).expect("few weeks");
    let day = first.checked_add(jiff::Span::new().weeks(weeks));
    day.expect("a day within the calendar").to_string()
}

fn named(word: &str, n: usize) -> String {
    format!("{} {}", capital(word), char::from(b'A' + n as u8))
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
