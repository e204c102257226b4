//! What an editor may ask for and nobody said.

use std::collections::BTreeSet;

use sayback::core::text::parts;
use xtask::scene::random::Random;

use crate::pools::{NEVER, NEVER_LINES, NEVER_WORDS, common};
use crate::sound::Said;
use crate::text::Text;

/// What a decoy is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Line,
    Name,
    Common,
    Elsewhere,
}

impl Kind {
    pub const ALL: [Self; 4] = [Self::Line, Self::Name, Self::Common, Self::Elsewhere];

    pub fn name(self) -> &'static str {
        match self {
            Self::Line => "lines nobody said",
            Self::Name => "names nobody said",
            Self::Common => "common words of a line, others new",
            Self::Elsewhere => "lines of another event",
        }
    }
}

/// The most of a kind for one event.
const MOST: usize = 12;

/// Queries without an answer.
pub fn of(text: &Text, said: &Said, all: &[Text]) -> Vec<(Kind, String)> {
    let random = &mut Random::new(text.seed, "find/decoys");
    let words: BTreeSet<&str> = said
        .lines
        .iter()
        .flat_map(|line| &line.words)
        .map(|word| word.normal.as_str())
        .collect();
    let unsaid = |query: &String| carrying(query).iter().all(|w| !words.contains(w.as_str()));
    let mut decoys = Vec::new();
    for kind in Kind::ALL {
        let mut made: Vec<String> = match kind {
            Kind::Line => NEVER_LINES.map(str::to_owned).to_vec(),
            Kind::Name => NEVER.map(str::to_owned).to_vec(),
            Kind::Common => frames(said, random),
            Kind::Elsewhere => elsewhere(text, all, random),
        };
        match kind {
            Kind::Elsewhere => made.retain(|query| !together(query, said)),
            // One slip from a word that is said would be that word misspelt.
            Kind::Name => made.retain(|query| unsaid(query) && !slip(query, &words)),
            Kind::Line | Kind::Common => made.retain(unsaid),
        }
        random.shuffle(&mut made);
        made.truncate(MOST);
        decoys.extend(made.into_iter().map(|query| (kind, query)));
    }
    decoys
}

/// The words of a query that are not common.
fn carrying(query: &str) -> Vec<String> {
    let words = query.split(' ').flat_map(parts);
    words.filter(|word| !common(word)).collect()
}

/// Stretches of lines in which every word that is not common became another.
fn frames(said: &Said, random: &mut Random) -> Vec<String> {
    let mut made = Vec::new();
    for line in &said.lines {
        let windows: Vec<_> = line
            .words
            .windows(6)
            .filter(|window| {
                (1..=3).contains(&window.iter().filter(|w| !common(&w.normal)).count())
            })
            .collect();
        if windows.is_empty() {
            continue;
        }
        let words: Vec<&str> = windows[random.below(windows.len())]
            .iter()
            .map(|word| match common(&word.normal) {
                true => word.written.as_str(),
                false => NEVER_WORDS[random.below(NEVER_WORDS.len())],
            })
            .collect();
        made.push(words.join(" "));
    }
    made
}

/// Stretches of what is said at other events.
fn elsewhere(text: &Text, all: &[Text], random: &mut Random) -> Vec<String> {
    let others = all.iter().filter(|other| other.name != text.name);
    let mut made = Vec::new();
    for line in others.flat_map(|other| &other.lines) {
        let words: Vec<&str> = line.text.split(' ').collect();
        let count = 4 + random.below(3);
        if words.len() < count {
            continue;
        }
        let from = random.below(words.len() - count + 1);
        let query = words[from..from + count].join(" ");
        let query = query.trim_matches(|c: char| !c.is_alphanumeric());
        if carrying(query).len() >= 2 {
            made.push(query.to_owned());
        }
    }
    made
}

/// Whether any two of its words that are not common are said in one line, or most of
/// them anywhere.
fn together(query: &str, said: &Said) -> bool {
    let wanted = carrying(query);
    let within = |line: &crate::sound::SaidLine| {
        let has = |wanted: &&String| line.words.iter().any(|word| word.normal == **wanted);
        wanted.iter().filter(has).count()
    };
    let anywhere = |wanted: &&String| {
        let mut words = said.lines.iter().flat_map(|line| &line.words);
        words.any(|word| word.normal == **wanted)
    };
    said.lines.iter().any(|line| within(line) >= 2)
        || 2 * wanted.iter().filter(anywhere).count() > wanted.len()
}

/// Whether a word that is said is one letter away.
fn slip(query: &str, words: &BTreeSet<&str>) -> bool {
    let name: Vec<char> = query.to_lowercase().chars().collect();
    words.iter().any(|word| {
        let word: Vec<char> = word.chars().collect();
        let same = name.iter().zip(&word).take_while(|(a, b)| a == b).count();
        let (a, b) = (&name[same..], &word[same..]);
        let rest = |from_a: usize, from_b: usize| {
            a.len() >= from_a && b.len() >= from_b && a[from_a..] == b[from_b..]
        };
        rest(0, 0) || rest(1, 1) || rest(1, 0) || rest(0, 1)
    })
}
