//! Where is what was asked for heard, though nothing is written like it?

use std::collections::HashSet;

use super::{Found, Hit, Line, Span};
use crate::text::lexicon::{How, needed_likeness, worth_of_sound};
use crate::text::quick::QuickMap;
use crate::text::sounds::{self, Sound};
use crate::text::ways::Wanted;

/// Words that say more than this are listened for,
const LISTENED: f32 = 0.5;
/// in up to so many words of the text together,
const MOST_TOGETHER: usize = 3;
/// no farther than this from the rest.
const NEARBY: usize = 6;
/// So many words are listened for,
const MOST_WORDS: usize = 24;
/// but no more than these in every moment of an event: each costs some 60 ms in ten hours.
const MOST_EVERYWHERE: usize = 6;
/// The longest line that is listened for as a whole, in sounds.
const MOST_SOUNDS: usize = 160;
/// Fillers are heard badly and remembered badly: their sounds count so much.
const FILLER: f32 = 0.6;
/// A line must sound so much like one asked for to be told as a guess, and the more so
/// the shorter that is (see [`sounds::length`]): short ones meet by chance;
const LEAST_WHOLE: f32 = 0.45;
const LEAST_SHORT: f32 = 1.2;
/// so much to be told as found, among so many moments,
const SURE_WHOLE: f32 = 0.82;
const SURE_NAME: f32 = 0.88;
const SURE_AMONG: f32 = 30.0;
/// and so much more where there are e times as many: of two words that were said nowhere,
/// some e times fewer moments sound that much more alike (seeds 12 and 13 of `bench find`).
const SURE_MORE: f32 = 0.033;
/// What sounds alike is worth so much beside what was found word by word; a guess less than
/// one of which some words were written.
const WORTH_WHOLE: f32 = 0.9;
const WORTH_GUESS: f32 = 0.6;

/// What words sound like, each worked out once.
#[derive(Debug, Default)]
pub(super) struct Ear<'a>(QuickMap<&'a str, Vec<Sound>>);

impl<'a> Ear<'a> {
    fn learn(&mut self, words: &[&'a str]) {
        for word in words {
            self.0.entry(word).or_insert_with(|| sounds::sounds(word));
        }
    }

    fn of(&self, word: &str) -> &[Sound] {
        self.0.get(word).map_or(&[], Vec::as_slice)
    }

    /// Runs of words that sound like something: first word, one past the last, how alike.
    fn runs(&mut self, words: &[&'a str], wanted: &[Sound]) -> Vec<(usize, usize, f32)> {
        let length = sounds::length(wanted);
        let least = needed_likeness(length);
        self.learn(words);
        let mut found = Vec::new();
        let mut run: Vec<Sound> = Vec::new();
        for at in 0..words.len() {
            run.clear();
            let last = words.len().min(at + MOST_TOGETHER);
            for (end, word) in (at + 1..).zip(&words[at..last]) {
                run.extend(self.of(word));
                let own = sounds::length(&run);
                if sounds::most_alike(length, own) < least {
                    if own > length {
                        break;
                    }
                    continue;
                }
                if let Some(alike) = sounds::alike_at_least(wanted, &run, least) {
                    found.push((at, end, alike));
                }
            }
        }
        found
    }
}

impl Wanted {
    /// Listens for words that nothing is written like, near those that were found.
    pub(super) fn listen(&self, line: &Line<'_>, total: f32, hits: &mut Vec<Hit>) {
        let first = hits.iter().map(|hit| hit.at).min().unwrap_or(0);
        let last = hits.iter().map(|hit| hit.end).max();
        let from = first.saturating_sub(NEARBY);
        let to = last.map_or(line.tokens.len(), |last| {
            (last + NEARBY).min(line.tokens.len())
        });
        let lacking = self.words.iter().enumerate().filter(|(n, word)| {
            let found = hits.iter().any(|hit| hit.from <= *n && *n < hit.to);
            !found && !self.literal && word.weight > LISTENED && !word.sounds.is_empty()
        });
        let lacking: Vec<usize> = lacking.map(|(n, _)| n).take(MOST_WORDS).collect();
        if lacking.is_empty() || to - from > 4 * super::FAR {
            return;
        }
        let mut ear = Ear::default();
        for n in lacking {
            let word = &self.words[n];
            for (at, end, alike) in ear.runs(&line.tokens[from..to], &word.sounds) {
                let worth = worth_of_sound(alike);
                hits.push(Hit {
                    worth,
                    from: n,
                    to: n + 1,
                    at: from + at,
                    end: from + end,
                    gain: worth * word.weight / total,
                    how: How::SoundsAlike,
                });
            }
        }
    }

    /// Whether there is anything in it that can be listened for.
    #[must_use]
    pub fn is_audible(&self) -> bool {
        !self.literal && self.words.iter().any(|word| word.is_audible())
    }
}

/// Listens to all lines of an event for what is written in none of them.
#[derive(Debug)]
pub struct Listener<'w, 'a> {
    /// Words that are written nowhere here, and what they say.
    unwritten: Vec<(&'w [Sound], f32)>,
    whole: Vec<Sounding>,
    total: f32,
    /// How much a line must sound like it to be told as found.
    sure: f32,
    ear: Ear<'a>,
    /// What is asked for up to each sound of the line at hand, and where that began.
    above: Vec<(f32, usize)>,
}

/// A sound of what is asked for.
#[derive(Clone, Copy, Debug)]
struct Sounding {
    sound: Sound,
    share: f32,
}

impl<'w, 'a> Listener<'w, 'a> {
    /// Listens for what is wanted in these lines.
    #[must_use]
    pub fn new(wanted: &'w Wanted, lines: &[Line<'a>]) -> Self {
        let asked = wanted.words.iter().filter(|word| word.is_audible());
        let mut lacking: HashSet<&str> = asked.map(|word| word.text.as_str()).collect();
        for line in lines {
            for token in &line.tokens {
                lacking.remove(token);
            }
        }
        let unwritten = wanted.words.iter();
        let unwritten = unwritten.filter(|word| lacking.contains(word.text.as_str()));
        let unwritten = unwritten.take(MOST_EVERYWHERE);
        let whole = wanted.words.iter().flat_map(|word| {
            let share = if word.says_something() { 1.0 } else { FILLER };
            let own = word.sounds.iter();
            own.map(move |sound| Sounding {
                sound: *sound,
                share: if word.leads() { 0.0 } else { share },
            })
        });
        let whole: Vec<Sounding> = whole.filter(|one| one.share > 0.0).collect();
        let total = whole
            .iter()
            .map(|one| one.share * sounds::length(&[one.sound]));
        let mut content = wanted.words.iter().filter(|word| word.says_something());
        let least = match (content.next(), content.next()) {
            (Some(_), Some(_)) => SURE_WHOLE,
            (Some(only), None) if only.is_an_unwritten_name() => SURE_NAME,
            _ => f32::INFINITY,
        };
        let more = (lines.len() as f32 / SURE_AMONG).max(1.0).ln();
        Self {
            sure: least + SURE_MORE * more,
            unwritten: unwritten.map(|word| (&*word.sounds, word.weight)).collect(),
            total: total.sum(),
            whole,
            ear: Ear::default(),
            above: Vec::new(),
        }
    }

    /// How much of the words that are written nowhere may be heard in a line, 0 for none.
    pub fn words(&mut self, line: &Line<'a>) -> f32 {
        let mut heard = 0.0;
        for (sounds, weight) in &self.unwritten {
            let runs = self.ear.runs(&line.tokens, sounds).into_iter();
            heard += weight * runs.map(|(_, _, alike)| alike).fold(0.0, f32::max);
        }
        heard
    }

    /// The stretch of a line that sounds most like all of what is asked for, wherever its
    /// words begin and end: a guess, if it is anything. Costs the sounds of both
    /// multiplied.
    ///
    /// The least cost of an alignment in which the line may begin and end anywhere
    /// (Sellers, 1980), over the length of what is asked for.
    pub fn whole(&mut self, line: &Line<'a>) -> Option<Found> {
        if self.whole.is_empty() || self.whole.len() > MOST_SOUNDS {
            return None;
        }
        self.ear.learn(&line.tokens);
        let mut said: Vec<(Sound, usize)> = Vec::new();
        for (n, token) in line.tokens.iter().enumerate() {
            said.extend(self.ear.of(token).iter().map(|sound| (*sound, n)));
        }
        self.above.clear();
        self.above.extend((0..=said.len()).map(|at| (0.0, at)));
        for asked in &self.whole {
            let out = asked.share * sounds::omission(asked.sound);
            let mut diagonal = self.above[0];
            self.above[0].0 += out;
            let mut before = self.above[0];
            for (above, (sound, _)) in self.above[1..].iter_mut().zip(&said) {
                let changed = diagonal.0 + asked.share * sounds::exchange(asked.sound, *sound);
                let left_out = above.0 + out;
                let put_in = before.0 + asked.share * sounds::omission(*sound);
                before = if changed <= left_out && changed <= put_in {
                    (changed, diagonal.1)
                } else if left_out <= put_in {
                    (left_out, above.1)
                } else {
                    (put_in, before.1)
                };
                diagonal = std::mem::replace(above, before);
            }
        }
        let ends = self.above.iter().enumerate().skip(1);
        let (end, best) = ends.min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
        let alike = 1.0 - best.0 / self.total;
        let (from, to) = (said.get(best.1)?.1, said.get(end - 1)?.1);
        if alike < LEAST_WHOLE + LEAST_SHORT / self.total || from > to {
            return None;
        }
        let sure = alike >= self.sure;
        Some(Found {
            matched: vec![Span {
                from: *line.word.get(from)?,
                to: line.word.get(to)? + 1,
            }],
            score: alike * if sure { WORTH_WHOLE } else { WORTH_GUESS },
            how: How::SoundsAlike,
            sure,
        })
    }
}
