//! Which words follow each other in English, and how often?
//!
//! Counts of single words and of pairs of words, of the package `symspellpy`. A word
//! follows by the counts of pairs as far as these go (the most frequent 242,342 of
//! them), and by its own count where they end: the plain back-off of S. Katz, *IEEE
//! Trans. ASSP* 35 (1987), without discounts.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use xtask::oracle;
use xtask::scene::random::Random;

/// Where words and pairs are counted; both are lists of words and a count.
const WORDS: &str = "symspellpy/frequency_dictionary_en_82_765.txt";
const PAIRS: &str = "symspellpy/frequency_bigramdictionary_en_243_342.txt";

/// Pairs were counted in a longer text than words. These words are hardly ever
/// followed by a pair that is not in the list, so their ratio says how much longer.
const FREQUENT: usize = 100;
/// The most of a word's followers that is left to pairs.
const BY_PAIRS: f64 = 0.95;

/// A word, by its rank: 0 is the most frequent.
pub type Rank = usize;

/// English, as far as counts of words and pairs of words go.
pub struct Language {
    words: Vec<String>,
    counts: Chances,
    followers: HashMap<Rank, Followers>,
}

struct Followers {
    words: Vec<Rank>,
    counts: Chances,
    /// How often one of them follows, 0 to 1.
    share: f64,
}

/// Counts, each added to those before it.
struct Chances(Vec<u64>);

impl Chances {
    fn of(counts: impl Iterator<Item = u64>) -> Self {
        let mut sum = 0;
        Self(
            counts
                .map(|count| {
                    sum += count;
                    sum
                })
                .collect(),
        )
    }

    fn all(&self) -> u64 {
        self.0.last().copied().unwrap_or(0)
    }

    /// One of them, each as often as its count says; `at` is from 0 to 1.
    fn at(&self, at: f64) -> usize {
        let at = (at * self.all() as f64) as u64;
        let found = self.0.partition_point(|sum| *sum <= at);
        found.min(self.0.len().saturating_sub(1))
    }
}

impl Language {
    /// Reads the counts from the pinned package.
    pub fn load() -> Self {
        let folder = oracle::data("symspellpy");
        Self::of(&rows(&folder.join(WORDS), 2), &rows(&folder.join(PAIRS), 3))
    }

    fn of(words: &[Vec<String>], pairs: &[Vec<String>]) -> Self {
        let mut counted: Vec<(&str, u64)> =
            words.iter().map(|row| (&*row[0], count(row))).collect();
        counted.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        let ranks: HashMap<&str, Rank> = counted.iter().map(|row| row.0).zip(0..).collect();
        let mut after: HashMap<Rank, Vec<(Rank, u64)>> = HashMap::new();
        for row in pairs {
            if let (Some(first), Some(second)) = (ranks.get(&*row[0]), ranks.get(&*row[1])) {
                after.entry(*first).or_default().push((*second, count(row)));
            }
        }
        let ratio = |rank: Rank, pairs: &[(Rank, u64)]| {
            let all: u64 = pairs.iter().map(|pair| pair.1).sum();
            all as f64 / counted[rank].1 as f64
        };
        let longer = after
            .iter()
            .filter(|(rank, _)| **rank < FREQUENT)
            .map(|(rank, pairs)| ratio(*rank, pairs))
            .fold(1.0, f64::max);
        let followers = after
            .into_iter()
            .map(|(rank, pairs)| {
                let followers = Followers {
                    share: (ratio(rank, &pairs) / longer).min(BY_PAIRS),
                    words: pairs.iter().map(|pair| pair.0).collect(),
                    counts: Chances::of(pairs.iter().map(|pair| pair.1)),
                };
                (rank, followers)
            })
            .collect();
        Self {
            counts: Chances::of(counted.iter().map(|row| row.1)),
            words: counted.iter().map(|row| row.0.to_owned()).collect(),
            followers,
        }
    }

    /// The word of that rank, in lower case.
    pub fn word(&self, rank: Rank) -> &str {
        &self.words[rank]
    }

    /// Any word.
    pub fn any(&self, random: &mut Random) -> Rank {
        self.counts.at(random.unit())
    }

    /// A word that follows.
    pub fn after(&self, before: Rank, random: &mut Random) -> Rank {
        let chance = random.unit();
        match self.followers.get(&before) {
            Some(after) if chance < after.share => {
                after.words[after.counts.at(chance / after.share)]
            }
            _ => self.any(random),
        }
    }
}

fn rows(path: &Path, columns: usize) -> Vec<Vec<String>> {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<Vec<String>> = text
        .trim_start_matches('\u{feff}')
        .lines()
        .map(|line| line.split_whitespace().map(str::to_owned).collect())
        .filter(|row: &Vec<String>| row.len() == columns)
        .collect();
    assert!(
        rows.len() > 80_000,
        "{}: {} rows",
        path.display(),
        rows.len()
    );
    rows
}

fn count(row: &[String]) -> u64 {
    row.last()
        .and_then(|count| count.parse().ok())
        .unwrap_or_else(|| panic!("no count in {row:?}"))
}

/// Makes up a name or another word that stands in no list: three or four syllables.
pub fn made_up(random: &mut Random) -> String {
    const STARTS: [&str; 24] = [
        "b", "br", "c", "d", "dr", "f", "g", "h", "j", "k", "l", "m", "n", "p", "r", "s", "st",
        "t", "tr", "th", "v", "w", "y", "z",
    ];
    const VOWELS: [&str; 8] = ["a", "e", "i", "o", "u", "ae", "ou", "ie"];
    const ENDS: [&str; 10] = ["", "n", "r", "l", "s", "th", "ck", "nd", "m", "x"];
    let mut word = String::new();
    for _ in 0..2 + random.below(2) {
        word.push_str(STARTS[random.below(STARTS.len())]);
        word.push_str(VOWELS[random.below(VOWELS.len())]);
    }
    word.push_str(ENDS[random.below(ENDS.len())]);
    word
}
