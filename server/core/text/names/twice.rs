//! What does a second hearing, which knew the names, say about the first?
//!
//! A recogniser that is told names writes them where they are said, and also where
//! they are not, and it loses other words. So only names are taken from it, and only
//! where the first hearing has something like them at the same time.

use super::{ALIKE, HeardText, MOST_WORDS, NameSaid, Names, alike, needed, stretches};
use crate::text::normal::normal;
use crate::text::sounds::likeness;

/// How much less alike than by sound alone a name must be to be asked about.
const ASKED: f32 = 0.2;
/// How much less alike a name that the second hearing wrote may be to what the first
/// did.
const TWICE: f32 = 0.24;
/// Ordinary words that are surer than this are not asked about.
const CERTAIN: f32 = 0.85;
/// Ordinary words that the first hearing was this sure of stay.
const STAYS: f32 = 0.5;
/// Words of two hearings that lie this much beside each other are at the same time,
/// ms: twice what a word's time is off by.
const BESIDE_MS: i64 = 200;

/// What a second hearing is to be asked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// Names that may have been said, the likeliest first.
    pub names: Vec<usize>,
    /// The first words of the stretches where they may have been, in order.
    pub at: Vec<usize>,
}

/// A word and when it was heard.
#[derive(Clone, Copy, Debug)]
pub struct TimedText<'a> {
    /// The word.
    pub heard: HeardText<'a>,
    /// Start, ms.
    pub start_ms: i64,
    /// End, ms, exclusive.
    pub end_ms: i64,
}

impl Names {
    /// Names that may have been said where words were heard that are not alike enough
    /// to say so.
    #[must_use]
    pub fn asked(&self, heard: &[HeardText<'_>]) -> Asked {
        if self.is_empty() {
            return Asked::default();
        }
        let certain = self.said(heard);
        let written = self.written(heard);
        let mut asked: Vec<(f32, usize, usize)> = Vec::new();
        for from in 0..heard.len() {
            for to in from + 1..=heard.len().min(from + MOST_WORDS) {
                if certain.iter().any(|name| name.from < to && from < name.to) {
                    continue;
                }
                for mut stretch in stretches(heard, from, to) {
                    let itself = self.spelled.contains_key(&stretch.normal);
                    if itself || stretch.ordinary && stretch.confidence > CERTAIN {
                        continue;
                    }
                    // Ordinary words are only put to the question here.
                    stretch.ordinary = false;
                    for place in self.like(&stretch) {
                        if self.takes_in(&written, from, to, place) {
                            continue;
                        }
                        let name = &self.list[place];
                        let needed = needed(&stretch, name).unwrap_or(ALIKE) + self.crowd - ASKED;
                        if let Some(alike) = alike(&stretch, name, needed) {
                            asked.push((alike - needed, place, from));
                        }
                    }
                }
            }
        }
        asked.sort_by(|(a, x, _), (b, y, _)| b.total_cmp(a).then(x.cmp(y)));
        let mut all = Asked::default();
        for (_, name, from) in asked {
            if !all.names.contains(&name) {
                all.names.push(name);
            }
            all.at.push(from);
        }
        all.at.sort_unstable();
        all.at.dedup();
        all
    }

    /// Names that the second hearing wrote where the first has something like them; the
    /// positions are of the first's words.
    #[must_use]
    pub fn confirmed(&self, first: &[TimedText<'_>], second: &[TimedText<'_>]) -> Vec<NameSaid> {
        let told: Vec<HeardText> = second.iter().map(|word| word.heard).collect();
        let heard: Vec<HeardText> = first.iter().map(|word| word.heard).collect();
        let mut found: Vec<NameSaid> = Vec::new();
        for from in 0..told.len() {
            for to in from + 1..=told.len().min(from + MOST_WORDS) {
                let names = stretches(&told, from, to).into_iter();
                let names = names.filter_map(|stretch| {
                    let place = self.itself(&stretch)?;
                    Some((place, stretch))
                });
                for (place, written) in names {
                    let start_ms = second[from].start_ms - BESIDE_MS;
                    let end_ms = second[to - 1].end_ms + BESIDE_MS;
                    let within = |n: &usize| {
                        let word = &first[*n];
                        let middle = (word.start_ms + word.end_ms) / 2;
                        (start_ms..end_ms).contains(&middle)
                    };
                    let there: Vec<usize> = (0..first.len()).filter(within).collect();
                    let name = self.nearest(&heard, &there, place);
                    found.extend(name.map(|mut name| {
                        // An ending that the second hearing wrote is the name's.
                        if let Some(last) = name.words.last_mut()
                            && !written.ending.is_empty()
                            && !last.contains(written.ending)
                        {
                            let tail = last.trim_end_matches(|c: char| !c.is_alphanumeric()).len();
                            last.insert_str(tail, written.ending);
                        }
                        name
                    }));
                }
            }
        }
        found.sort_by(|a, b| b.likeness.total_cmp(&a.likeness).then(a.from.cmp(&b.from)));
        let mut apart: Vec<NameSaid> = Vec::new();
        for name in found {
            if apart
                .iter()
                .all(|one| name.to <= one.from || one.to <= name.from)
            {
                apart.push(name);
            }
        }
        apart.sort_by_key(|name| name.from);
        apart
    }

    /// Where the words are names as they stand: from, to, normal form.
    fn written(&self, heard: &[HeardText<'_>]) -> Vec<(usize, usize, String)> {
        let mut written = Vec::new();
        for from in 0..heard.len() {
            for to in from + 1..=heard.len().min(from + MOST_WORDS) {
                let names = stretches(heard, from, to).into_iter();
                let mut names = names.filter(|s| self.spelled.contains_key(&s.normal));
                written.extend(names.next().map(|stretch| (from, to, stretch.normal)));
            }
        }
        written
    }

    /// Whether a stretch heard for a name has another name in it, or this one and words
    /// beside it; a part of this name may be there.
    fn takes_in(
        &self,
        written: &[(usize, usize, String)],
        from: usize,
        to: usize,
        place: usize,
    ) -> bool {
        let whole: String = self.list[place]
            .words
            .iter()
            .map(|word| normal(word))
            .collect();
        written.iter().any(|(start, end, part)| {
            let common = *start < to && from < *end;
            common && (part.len() >= whole.len() || !whole.contains(part.as_str()))
        })
    }

    /// The stretch of the words `there` that is most like a name, if it is at all.
    fn nearest(&self, heard: &[HeardText<'_>], there: &[usize], place: usize) -> Option<NameSaid> {
        let (first, last) = (*there.first()?, *there.last()?);
        let name = &self.list[place];
        let written = self.written(heard);
        let mut best: Option<NameSaid> = None;
        for from in first..=last {
            for to in from + 1..=(last + 1).min(from + MOST_WORDS) {
                if self.takes_in(&written, from, to, place) {
                    continue;
                }
                for stretch in stretches(heard, from, to) {
                    let known = self.spelled.contains_key(&stretch.normal);
                    if known || stretch.ordinary && stretch.confidence >= STAYS {
                        continue;
                    }
                    let needed = needed(&stretch, name).unwrap_or(ALIKE) + self.crowd - TWICE;
                    let alike = likeness(&stretch.sounds, &name.sounds);
                    let better = best.as_ref().is_none_or(|best| alike > best.likeness);
                    if alike >= needed && better {
                        best = Some(self.put(&stretch, place, alike, false));
                    }
                }
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(list: &[&str]) -> Names {
        Names::new(&list.iter().map(|&name| name.to_owned()).collect::<Vec<_>>())
    }

    /// Words of half a second each from `at` half seconds on.
    fn timed<'a>(words: &[(&'a str, f32, bool)], at: i64) -> Vec<TimedText<'a>> {
        (at..)
            .zip(words)
            .map(|(n, (text, confidence, ordinary))| TimedText {
                heard: HeardText {
                    text,
                    confidence: *confidence,
                    ordinary: *ordinary,
                },
                start_ms: 500 * n,
                end_ms: 500 * n + 450,
            })
            .collect()
    }

    #[test]
    fn a_name_is_taken_where_something_like_it_was_heard() {
        let names = names(&["Ottilie", "Zephyrine"]);
        let first = timed(
            &[
                ("for", 0.9, true),
                ("idyllic", 0.45, true),
                ("and", 0.9, true),
                ("sea.", 0.4, true),
            ],
            0,
        );
        let second = timed(
            &[
                ("For", 0.9, true),
                ("Ottilie,", 0.8, false),
                ("and", 0.9, true),
                ("Zephyrine.", 0.5, false),
            ],
            0,
        );
        let found = names.confirmed(&first, &second);
        let found: Vec<_> = found
            .iter()
            .map(|one| (one.from, one.to, one.words.concat()))
            .collect();
        assert_eq!(found, [(1, 2, "Ottilie".to_owned())]);
        // At another time it is no evidence.
        let late = timed(&[("Ottilie", 0.8, false)], 7);
        assert_eq!(names.confirmed(&first, &late), []);
    }

    #[test]
    fn a_name_that_is_there_takes_no_words_beside_it() {
        let names = names(&["Corin", "Corin Quill", "Jory"]);
        let first = timed(
            &[
                ("Corin", 0.5, false),
                ("came", 0.4, true),
                ("to", 0.4, true),
                ("Jory.", 0.4, false),
            ],
            0,
        );
        let second = timed(
            &[
                ("Corin", 0.9, false),
                ("to", 0.9, true),
                ("Jory.", 0.9, false),
            ],
            0,
        );
        assert_eq!(names.confirmed(&first, &second), []);
        let heard: Vec<HeardText> = first.iter().map(|word| word.heard).collect();
        assert_eq!(names.asked(&heard[..1]), Asked::default());
        // A longer name may be begun by a shorter one.
        let begun = timed(&[("Corin", 0.5, false), ("quell", 0.4, false)], 0);
        let whole = timed(&[("Corin", 0.9, false), ("Quill", 0.9, false)], 0);
        let found = names.confirmed(&begun, &whole);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].from, found[0].to), (0, 2));
    }

    #[test]
    fn certain_ordinary_words_stay() {
        let names = names(&["Bea", "Mary"]);
        let first = timed(
            &[
                ("Be", 0.99, true),
                ("kind,", 0.97, true),
                ("marry", 0.95, true),
            ],
            0,
        );
        let second = timed(
            &[
                ("Bea", 0.9, false),
                ("kind", 0.2, true),
                ("Mary", 0.9, false),
            ],
            0,
        );
        assert_eq!(names.confirmed(&first, &second), []);
    }

    #[test]
    fn what_is_a_little_like_a_name_is_asked_about() {
        let names = names(&["Ottilie", "Penhallow", "Tarrow Landing"]);
        let heard = |words: &[(&'static str, f32, bool)]| -> (Vec<usize>, Vec<usize>) {
            let heard: Vec<HeardText> = words
                .iter()
                .map(|(text, confidence, ordinary)| HeardText {
                    text,
                    confidence: *confidence,
                    ordinary: *ordinary,
                })
                .collect();
            let asked = names.asked(&heard);
            (asked.names, asked.at)
        };
        let nothing = (Vec::new(), Vec::new());
        assert_eq!(
            heard(&[("for", 0.9, true), ("idle", 0.5, true), ("he", 0.5, true)]),
            (vec![0], vec![1])
        );
        // Nothing is asked about what is certain, as a name or as a word.
        assert_eq!(
            heard(&[("Tarou", 0.4, false), ("landing", 0.5, true)]),
            nothing
        );
        assert_eq!(heard(&[("idle", 0.99, true), ("lamp", 0.9, true)]), nothing);
    }
}
