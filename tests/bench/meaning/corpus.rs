//! Made-up weddings: what is said, in which order, and what was asked.

use std::collections::{BTreeMap, BTreeSet};

use sayback::core::meaning::Said;
use xtask::scene::random::Random;

const SPEECHES: &str = include_str!("speeches.txt");
const AROUND: &str = include_str!("around.txt");
const QUESTIONS: &str = include_str!("questions.txt");
const NOTHING: &str = include_str!("nothing.txt");

/// Lines of talk around each speech.
const BETWEEN: usize = 28;
/// Of ranks that are made one (Cormack, Clarke and Büttcher, *Reciprocal rank fusion*,
/// SIGIR 2009).
const FUSED: f64 = 60.0;

/// What somebody asks.
pub struct Question {
    /// Of the moments that answer it.
    pub key: String,
    /// In their words.
    pub text: String,
}

/// A moment of an event.
struct Moment {
    speaker: String,
    key: Option<String>,
    text: String,
    start_ms: i64,
}

/// A made-up wedding.
pub struct Event {
    moments: Vec<Moment>,
    spoilt: bool,
}

fn lines(of: &str) -> impl Iterator<Item = &str> {
    of.lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
}

/// What can be asked of every event.
pub fn questions() -> Vec<Question> {
    lines(QUESTIONS)
        .map(|line| {
            let (key, text) = line.split_once(": ").expect("a key");
            Question {
                key: key.into(),
                text: text.into(),
            }
        })
        .collect()
}

/// What nobody speaks of.
pub fn nothing() -> Vec<String> {
    lines(NOTHING).map(str::to_owned).collect()
}

impl Event {
    /// Of a seed, with so many of a hundred words wrong.
    pub fn new(seed: u64, percent: u32) -> Self {
        let mut random = Random::new(seed, "talk around");
        let mut event = Self {
            moments: Vec::new(),
            spoilt: percent > 0,
        };
        let (mut speaker, mut at) = (String::new(), 0);
        for line in lines(SPEECHES) {
            if let Some(name) = line.strip_prefix("== ") {
                speaker = name.split(',').next().unwrap_or_default().into();
                event.talk(&mut random, &mut at);
                continue;
            }
            let (key, text) = match line
                .strip_prefix('[')
                .and_then(|rest| rest.split_once("] "))
            {
                Some((key, text)) => (Some(key.to_owned()), text),
                None => (None, line),
            };
            event.say(&speaker, key, text.into(), &mut at);
        }
        event.spoil(&mut Random::new(seed, "words put wrong"), percent);
        event
    }

    fn talk(&mut self, random: &mut Random, at: &mut i64) {
        let all: Vec<&str> = lines(AROUND).collect();
        for _ in 0..BETWEEN {
            let text = filled(all[below(random, all.len())], random);
            let speaker = format!("guest {}", below(random, 12));
            self.say(&speaker, None, text, at);
        }
    }

    fn say(&mut self, speaker: &str, key: Option<String>, text: String, at: &mut i64) {
        let words = text.split_whitespace().count() as i64;
        self.moments.push(Moment {
            speaker: speaker.into(),
            key,
            start_ms: *at,
            text,
        });
        *at += 350 * words + 900;
    }

    /// Puts words wrong as a small model does: of ten, six are heard as the likest of
    /// some others that are said here, two are lost, two are heard twice over.
    fn spoil(&mut self, random: &mut Random, percent: u32) {
        let all: Vec<String> = self
            .moments
            .iter()
            .flat_map(|moment| moment.text.split_whitespace().map(str::to_owned))
            .collect();
        for moment in &mut self.moments {
            let mut words: Vec<String> = Vec::new();
            for word in moment.text.split_whitespace() {
                if random.unit() * 100.0 >= f64::from(percent) {
                    words.push(word.into());
                    continue;
                }
                let others = (0..40).map(|_| &all[below(random, all.len())]);
                let others: Vec<&String> = others.filter(|other| *other != word).collect();
                let near = others.iter().min_by_key(|other| distance(word, other));
                match (random.unit(), near) {
                    (x, Some(near)) if x < 0.6 => words.push((*near).clone()),
                    (x, Some(near)) if x < 0.8 => words.extend([word.into(), (*near).clone()]),
                    _ => {}
                }
            }
            moment.text = words.join(" ");
        }
    }

    /// As the program is told.
    pub fn said(&self) -> Vec<Said<'_>> {
        self.moments
            .iter()
            .map(|moment| Said {
                island: 0,
                start_ms: moment.start_ms,
                end_ms: moment.start_ms + 350 * moment.text.split_whitespace().count() as i64,
                speaker: Some(&moment.speaker),
                text: &moment.text,
            })
            .collect()
    }

    /// Whether that moment answers a question.
    pub fn answers(&self, moment: usize, question: &Question) -> bool {
        self.moments[moment].key.as_deref() == Some(&question.key)
    }

    /// The place of the first right moment.
    pub fn rank(&self, question: &Question, order: &[usize]) -> Option<usize> {
        order.iter().position(|n| self.answers(*n, question))
    }

    /// Holds that there is enough of it, and that no question shares a word that carries
    /// meaning with what answers it.
    pub fn check(&self, questions: &[Question]) {
        assert!(self.moments.len() > 400 && questions.len() >= 60);
        for question in questions {
            let right = self
                .moments
                .iter()
                .filter(|one| one.key.as_ref() == Some(&question.key));
            let right: Vec<&str> = right.map(|one| one.text.as_str()).collect();
            assert!(!right.is_empty(), "nothing is said of {}", question.key);
            let shared: Vec<String> = carrying(&question.text)
                .intersection(&carrying(&right.join(" ")))
                .cloned()
                .collect();
            // A word that was put wrong may become one that was asked for.
            assert!(
                shared.is_empty() || self.spoilt,
                "{}: {shared:?}",
                question.text
            );
        }
    }
}

/// One order of two.
pub fn both(words: &[usize], meaning: &[usize]) -> Vec<usize> {
    let mut sums: BTreeMap<usize, f64> = BTreeMap::new();
    for order in [words, meaning] {
        for (place, n) in order.iter().enumerate() {
            *sums.entry(*n).or_default() += 1.0 / (FUSED + place as f64 + 1.0);
        }
    }
    let mut all: Vec<(usize, f64)> = sums.into_iter().collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    all.into_iter().map(|(n, _)| n).collect()
}

fn below(random: &mut Random, end: usize) -> usize {
    ((random.unit() * end as f64) as usize).min(end - 1)
}

/// A line with one of each `{a|b}` chosen.
fn filled(line: &str, random: &mut Random) -> String {
    let mut text = String::new();
    for part in line.split('{') {
        let Some((choices, rest)) = part.split_once('}') else {
            text.push_str(part);
            continue;
        };
        let choices: Vec<&str> = choices.split('|').collect();
        text.push_str(choices[below(random, choices.len())]);
        text.push_str(rest);
    }
    text
}

/// Words without those that say nothing of what it is about, and without endings.
fn carrying(text: &str) -> BTreeSet<String> {
    const SAY_NOTHING: &str = "a an the and or but if of in on at to for from with by as is are was \
        were be been am i you he she it we they him her his its our your their my me him us them \
        this that these those who what which how when where whether not no never do does did so \
        than then there here have has had will would can could should may might about between \
        after before into out over up down off all some any each every other one more most very \
        somebody everyone although";
    let nothing: BTreeSet<&str> = SAY_NOTHING.split_whitespace().collect();
    let lower = text.to_lowercase();
    lower
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty() && !nothing.contains(word))
        .map(|word| {
            let ends = ["ing", "ed", "es", "s", "ly"].iter();
            let stems = ends.filter_map(|end| word.strip_suffix(*end));
            let mut stems = stems.filter(|stem| stem.len() >= 3);
            stems.next().unwrap_or(word).to_owned()
        })
        .collect()
}

/// Changes of letters from one word to another (Levenshtein, 1966).
fn distance(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (n, a) in one.chars().enumerate() {
        let mut before = row[0];
        row[0] = n + 1;
        for (m, b) in other.iter().enumerate() {
            let here = (before + usize::from(a != *b))
                .min(row[m] + 1)
                .min(row[m + 1] + 1);
            before = row[m + 1];
            row[m + 1] = here;
        }
    }
    row[other.len()]
}
