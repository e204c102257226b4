//! What an editor asks for, and where that was said.

use sayback::core::text::parts;
use xtask::scene::random::Random;

use crate::pools::{FORMS, JOINED, NEVER_WORDS, NUMBERS, SHORT, common};
use crate::sound::{Said, SaidLine, Word};

/// How a query differs from what was said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Exact,
    HalfByHand,
    HalfByCode,
    Rare,
    Name,
    Form,
    Number,
    Contraction,
    Joined,
    Pause,
    Long,
    Misspelt,
}

impl Kind {
    pub const ALL: [Self; 12] = [
        Self::Exact,
        Self::HalfByHand,
        Self::HalfByCode,
        Self::Rare,
        Self::Name,
        Self::Form,
        Self::Number,
        Self::Contraction,
        Self::Joined,
        Self::Pause,
        Self::Long,
        Self::Misspelt,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Self::Exact => "part of a line",
            Self::HalfByHand => "half-remembered, by hand",
            Self::HalfByCode => "half-remembered, by code",
            Self::Rare => "one rare word",
            Self::Name => "a name",
            Self::Form => "another form of a word",
            Self::Number => "a number",
            Self::Contraction => "contractions",
            Self::Joined => "split or joined words",
            Self::Pause => "across a pause",
            Self::Long => "20 words and more",
            Self::Misspelt => "misspelt",
        }
    }

    /// The most of a kind from one text.
    fn most(self) -> usize {
        match self {
            Self::HalfByHand => 14,
            Self::Name => 12,
            Self::Exact | Self::Misspelt => 8,
            _ => 6,
        }
    }
}

/// A query and where its answer is.
#[derive(Clone, Debug)]
pub struct Query {
    pub kind: Kind,
    pub text: String,
    /// Event clock, ms.
    pub spans: Vec<(i64, i64)>,
}

/// The queries of an event, by a seed.
pub fn of(said: &Said, seed: u64) -> Vec<Query> {
    let random = &mut Random::new(seed, "find/queries");
    let mut all = Vec::new();
    for kind in Kind::ALL {
        let mut made = match kind {
            Kind::Exact => by_line(said, random, exact),
            Kind::HalfByHand => by_hand(said),
            Kind::HalfByCode => by_line(said, random, half),
            Kind::Rare => rare(said),
            Kind::Name => names(said),
            Kind::Form => by_line(said, random, form),
            Kind::Number => numbers(said),
            Kind::Contraction => swapped(said, &SHORT, random, 2),
            Kind::Joined => swapped(said, &JOINED, random, 1),
            Kind::Pause => pauses(said),
            Kind::Long => long(said),
            Kind::Misspelt => by_line(said, random, misspelt),
        };
        made.retain(|(text, spans)| !text.is_empty() && !spans.is_empty());
        random.shuffle(&mut made);
        made.sort_by(|a, b| a.0.cmp(&b.0));
        made.dedup_by(|a, b| a.0 == b.0);
        random.shuffle(&mut made);
        made.truncate(kind.most());
        all.extend(
            made.into_iter()
                .map(|(text, spans)| Query { kind, text, spans }),
        );
    }
    all
}

type Made = (String, Vec<(i64, i64)>);

fn span(words: &[Word]) -> (i64, i64) {
    let start = words.iter().map(|word| word.start_ms).min();
    let end = words.iter().map(|word| word.end_ms).max();
    (start.unwrap_or(0), end.unwrap_or(0))
}

/// Everywhere these words are said one after another.
pub fn places(said: &Said, words: &[String]) -> Vec<(i64, i64)> {
    let windows = said
        .lines
        .iter()
        .flat_map(|line| line.words.windows(words.len().max(1)));
    windows
        .filter(|window| window.iter().map(|word| &word.normal).eq(words))
        .map(span)
        .collect()
}

/// Where words of a line are said, there and elsewhere.
fn everywhere(said: &Said, words: &[Word]) -> Vec<(i64, i64)> {
    let normal: Vec<String> = words.iter().map(|word| word.normal.clone()).collect();
    places(said, &normal)
}

fn joined(words: &[Word]) -> String {
    let written: Vec<&str> = words.iter().map(|word| word.written.as_str()).collect();
    written.join(" ")
}

fn content(words: &[Word]) -> usize {
    words.iter().filter(|word| !common(&word.normal)).count()
}

/// One query of each line, where the line has one.
fn by_line(
    said: &Said,
    random: &mut Random,
    make: fn(&Said, &SaidLine, &mut Random) -> Option<Made>,
) -> Vec<Made> {
    let lines = said.lines.iter();
    lines.filter_map(|line| make(said, line, random)).collect()
}

/// A stretch of a line with so many words at least that carry something.
fn stretch<'a>(
    line: &'a SaidLine,
    count: usize,
    carrying: usize,
    random: &mut Random,
) -> Option<&'a [Word]> {
    let windows: Vec<&[Word]> = line
        .words
        .windows(count)
        .filter(|window| content(window) >= carrying)
        .collect();
    (!windows.is_empty()).then(|| windows[random.below(windows.len())])
}

fn exact(said: &Said, line: &SaidLine, random: &mut Random) -> Option<Made> {
    let words = stretch(line, 3 + random.below(4), 1, random)?;
    Some((joined(words), everywhere(said, words)))
}

/// A stretch without some of its words, and another word in place of one.
fn half(_: &Said, line: &SaidLine, random: &mut Random) -> Option<Made> {
    let words = stretch(line, 7 + random.below(4), 4, random)?;
    let carrying: Vec<usize> = (0..words.len())
        .filter(|&n| !common(&words[n].normal))
        .collect();
    let wrong = carrying[random.below(carrying.len())];
    let kept = |n: usize, random: &mut Random| !common(&words[n].normal) || random.unit() < 0.5;
    let mut query = Vec::new();
    for (n, word) in words.iter().enumerate() {
        if n == wrong {
            query.push(NEVER_WORDS[random.below(NEVER_WORDS.len())].to_owned());
        } else if kept(n, random) {
            query.push(word.written.clone());
        }
    }
    Some((query.join(" "), vec![span(words)]))
}

fn by_hand(said: &Said) -> Vec<Made> {
    let mut made = Vec::new();
    for (n, line) in said.lines.iter().enumerate() {
        let Some(half) = &line.half else { continue };
        let mut words = line.words.clone();
        if line.goes_on {
            words.extend(said.lines[n + 1].words.clone());
        }
        made.push((half.clone(), vec![span(&words)]));
    }
    made
}

fn rare(said: &Said) -> Vec<Made> {
    let names: Vec<String> = said
        .names
        .iter()
        .flat_map(|name| name_parts(name))
        .collect();
    let words = said.lines.iter().flat_map(|line| &line.words);
    words
        .filter(|word| word.normal.len() >= 5 && !common(&word.normal))
        .filter(|word| !names.contains(&word.normal))
        .map(|word| {
            (
                word.written.to_lowercase(),
                places(said, std::slice::from_ref(&word.normal)),
            )
        })
        .filter(|(_, spans)| spans.len() == 1)
        .collect()
}

fn name_parts(name: &str) -> Vec<String> {
    name.split(' ').flat_map(parts).collect()
}

fn names(said: &Said) -> Vec<Made> {
    let names = said.names.iter();
    names
        .map(|name| {
            let own = name_parts(name);
            let mut spans = places(said, &own);
            // The s of a genitive or of a family.
            let mut more = own.clone();
            if let Some(last) = more.last_mut() {
                last.push('s');
                spans.extend(places(said, &more));
            }
            (name.clone(), spans)
        })
        .collect()
}

/// Words around one of a line.
fn around(line: &SaidLine, from: usize, to: usize, by: usize) -> (usize, usize) {
    (from.saturating_sub(by), (to + by).min(line.words.len()))
}

fn form(said: &Said, line: &SaidLine, random: &mut Random) -> Option<Made> {
    let (at, forms) = line.words.iter().enumerate().find_map(|(n, word)| {
        let forms = FORMS
            .iter()
            .find(|set| set.contains(&word.normal.as_str()))?;
        Some((n, forms))
    })?;
    let own = &line.words[at].normal;
    let others: Vec<&&str> = forms.iter().filter(|form| *form != own).collect();
    let (from, to) = around(line, at, at + 1, 1 + random.below(2));
    let mut query: Vec<String> = line.words[from..to]
        .iter()
        .map(|word| word.written.clone())
        .collect();
    query[at - from] = (*others[random.below(others.len())]).to_string();
    Some((query.join(" "), everywhere(said, &line.words[from..to])))
}

fn numbers(said: &Said) -> Vec<Made> {
    let mut made = Vec::new();
    for line in &said.lines {
        for (words, digits) in NUMBERS {
            let own = name_parts(words);
            let windows = line.words.windows(own.len());
            for (at, window) in windows.enumerate() {
                if !window.iter().map(|word| &word.normal).eq(&own) {
                    continue;
                }
                let end = (at + own.len() + 2).min(line.words.len());
                let after = joined(&line.words[at + own.len()..end]);
                if after.is_empty() {
                    continue;
                }
                let spans = everywhere(said, &line.words[at..end]);
                made.push((format!("{digits} {after}"), spans.clone()));
                made.push((format!("{words} {after}"), spans));
            }
        }
    }
    made
}

/// Stretches with words of one column, asked for with those of the other.
fn swapped(said: &Said, pairs: &[(&str, &str)], random: &mut Random, by: usize) -> Vec<Made> {
    let mut made = Vec::new();
    let both = pairs.iter().flat_map(|&(a, b)| [(a, b), (b, a)]);
    for (is, asked) in both {
        let own = name_parts(is);
        for line in &said.lines {
            let windows = line.words.windows(own.len());
            for (at, window) in windows.enumerate() {
                if !window.iter().map(|word| &word.normal).eq(&own) {
                    continue;
                }
                let (from, to) = around(line, at, at + own.len(), by + random.below(2));
                let sides = [&line.words[from..at], &line.words[at + own.len()..to]];
                let query = [joined(sides[0]), asked.to_owned(), joined(sides[1])].join(" ");
                let carrying = content(sides[0]) + content(sides[1]);
                // Nothing but contractions is asked of no search.
                if carrying > 0 || !common(&own[0]) {
                    made.push((
                        query.trim().to_owned(),
                        everywhere(said, &line.words[from..to]),
                    ));
                }
            }
        }
    }
    made
}

fn pauses(said: &Said) -> Vec<Made> {
    let pairs = said.lines.iter().zip(said.lines.iter().skip(1));
    pairs
        .filter(|(line, _)| line.goes_on)
        .map(|(line, next)| {
            let before = &line.words[line.words.len().saturating_sub(4)..];
            let after = &next.words[..next.words.len().min(4)];
            let words = [before, after].concat();
            (joined(&words), vec![span(&words)])
        })
        .collect()
}

fn long(said: &Said) -> Vec<Made> {
    let lines = said.lines.iter().filter(|line| line.words.len() >= 20);
    lines
        .map(|line| (joined(&line.words), vec![span(&line.words)]))
        .collect()
}

/// Two to four words, the longest of them misspelt.
fn misspelt(said: &Said, line: &SaidLine, random: &mut Random) -> Option<Made> {
    let words = stretch(line, 2 + random.below(3), 1, random)?;
    let at = (0..words.len()).max_by_key(|&n| words[n].normal.len())?;
    if words[at].normal.len() < 6 {
        return None;
    }
    let mut query: Vec<String> = words.iter().map(|word| word.written.clone()).collect();
    query[at] = wrong(&words[at].normal, random);
    Some((query.join(" "), everywhere(said, words)))
}

/// A word with one slip: two letters exchanged, one left out, one twice, or another
/// vowel.
fn wrong(word: &str, random: &mut Random) -> String {
    let mut letters: Vec<char> = word.chars().collect();
    let at = 1 + random.below(letters.len() - 2);
    match random.below(4) {
        0 if letters[at] != letters[at + 1] => letters.swap(at, at + 1),
        1 => letters.insert(at, letters[at]),
        2 => {
            let vowels = ['a', 'e', 'i', 'o', 'u'];
            match letters.iter().skip(1).position(|c| vowels.contains(c)) {
                Some(n) if letters[n + 1] != 'e' => letters[n + 1] = 'e',
                Some(n) => letters[n + 1] = 'a',
                None => drop(letters.remove(at)),
            }
        }
        _ => drop(letters.remove(at)),
    }
    letters.into_iter().collect()
}
