//! Which words does a moment get from the attempts at it?

use std::collections::HashMap;

use sayback_core::clock::Placement;
use sayback_core::moments::{Attempt, SaidWord, fuse, in_place_of, whole_names};
use sayback_core::text::{HeardText, Names};

use crate::speech::Known;
use crate::store::{AttemptRow, MomentWords, NewWord, PlacementRow, RecordingId};

/// Puts the words of several recordings together by where these lie, and names where
/// something like them was heard.
pub(in crate::jobs) struct Fuser {
    placements: HashMap<RecordingId, Placement>,
    glossary: Vec<String>,
    names: Names,
}

impl Fuser {
    pub(in crate::jobs) fn new(placements: &[PlacementRow], glossary: Vec<String>) -> Self {
        let placement = |row: &PlacementRow| (row.recording_id.clone(), row.placement.0.clone());
        Self {
            placements: placements.iter().map(placement).collect(),
            names: Names::new(&glossary),
            glossary,
        }
    }

    /// Takes up other names, and says whether they are others.
    pub(super) fn rename(&mut self, glossary: Vec<String>) -> bool {
        let other = glossary != self.glossary;
        if other {
            self.names = Names::new(&glossary);
            self.glossary = glossary;
        }
        other
    }

    /// What a window's sound is listened to with.
    pub(super) fn known(&self) -> Known<'_> {
        Known {
            glossary: &self.glossary,
            names: &self.names,
            languages: &[],
        }
    }

    /// The words of a moment; `attempts` holds at least one. They are compared on
    /// the clock that their recordings share; a recording that has no place is on
    /// one of its own.
    pub(in crate::jobs) fn words(&self, attempts: &[AttemptRow]) -> MomentWords {
        let named: Vec<Vec<NewWord>> = attempts
            .iter()
            .map(|attempt| self.named(&attempt.words))
            .collect();
        let said: Vec<Attempt> = attempts
            .iter()
            .zip(&named)
            .enumerate()
            .map(|(hearer, (attempt, words))| Attempt {
                hearer,
                score: attempt.score,
                words: self.said(attempt, words),
            })
            .collect();
        let speech_ms = attempts.iter().map(|a| a.speech_ms).max().unwrap_or(0);
        let fused = fuse(&said, speech_ms);
        let number = fused.as_ref().map_or(0, |fused| fused.from);
        let from = &attempts[number];
        let place = self.place(from);
        let mut words: Vec<NewWord> = match &fused {
            Some(fused) => fused
                .words
                .iter()
                .map(|word| {
                    // The same word of the attempt it comes from.
                    let own = said[word.attempt]
                        .words
                        .iter()
                        .position(|w| *w == word.word);
                    let own = own.and_then(|n| named[word.attempt].get(n));
                    NewWord {
                        text: word.word.text.clone(),
                        start_ms: place.file_at(word.word.start_ms).round() as i64,
                        end_ms: place.file_at(word.word.end_ms).round() as i64,
                        confidence: word.word.confidence,
                        heard: own.and_then(|own| own.heard.clone()),
                        language: own.and_then(|own| own.language.clone()),
                        ordinary: own.is_none_or(|own| own.ordinary),
                    }
                })
                .collect(),
            None => named[number].clone(),
        };
        // Votes are for single words: of a name the first can have lost.
        whole_names(words.iter_mut().map(|word| &mut word.heard));
        let (doubt, why) = fused.map_or((None, None), |f| (f.doubt, Some(f.why)));
        MomentWords {
            words_from: from.recording_id.clone(),
            model: from.model.clone(),
            words,
            doubt,
            why,
        }
    }

    /// Words with names where something like them was heard. A name that a second
    /// hearing found stays while it is one of the event's.
    fn named(&self, words: &[NewWord]) -> Vec<NewWord> {
        let mut heard: Vec<NewWord> = Vec::with_capacity(words.len());
        let mut rest = words;
        while let Some(word) = rest.first() {
            let after = rest[1..]
                .iter()
                .take_while(|word| word.heard.as_deref() == Some(""));
            let width = 1 + if word.heard.is_some() {
                after.count()
            } else {
                0
            };
            let (own, others) = rest.split_at(width);
            rest = others;
            let texts: Vec<&str> = own.iter().map(|word| word.text.as_str()).collect();
            match &word.heard {
                Some(first) if !self.names.has(&texts) => heard.extend(over(own, first)),
                _ => heard.extend_from_slice(own),
            }
        }
        if self.names.is_empty() {
            return heard;
        }
        let texts: Vec<HeardText> = heard.iter().map(Into::into).collect();
        let names = self.names.said(&texts);
        let mut named = Vec::with_capacity(heard.len());
        let mut at = 0;
        for name in names {
            let own = &heard[name.from..name.to];
            // What a second hearing found is not changed again.
            if own.iter().any(|word| word.heard.is_some()) {
                continue;
            }
            named.extend_from_slice(&heard[at..name.from]);
            let texts: Vec<&str> = own.iter().map(|word| word.text.as_str()).collect();
            let first = texts.join(" ");
            let put = over(own, &name.words.join(" "));
            let put = put.into_iter().enumerate().map(|(n, word)| NewWord {
                heard: Some(if n == 0 { first.clone() } else { String::new() }),
                ..word
            });
            named.extend(put);
            at = name.to;
        }
        named.extend_from_slice(&heard[at..]);
        named
    }

    fn said(&self, attempt: &AttemptRow, words: &[NewWord]) -> Vec<SaidWord> {
        let place = self.place(attempt);
        words
            .iter()
            .map(|word| SaidWord {
                text: word.text.clone(),
                start_ms: place.event_at(word.start_ms as f64),
                end_ms: place.event_at(word.end_ms as f64),
                confidence: word.confidence,
            })
            .collect()
    }

    fn place(&self, attempt: &AttemptRow) -> Placement {
        let place = self.placements.get(&attempt.recording_id);
        place.cloned().unwrap_or(Placement::even(0.0, 0.0))
    }
}

/// The words of `text` in the place of others.
fn over(words: &[NewWord], text: &str) -> Vec<NewWord> {
    let texts: Vec<&str> = text.split_whitespace().collect();
    let own: Vec<(i64, i64)> = words.iter().map(|w| (w.start_ms, w.end_ms)).collect();
    let confidence = words.iter().map(|word| word.confidence).fold(1.0, f32::min);
    let language = words.first().and_then(|word| word.language.clone());
    let times = in_place_of(&own, &texts).into_iter();
    let over = times.zip(&texts).map(|((start_ms, end_ms), text)| NewWord {
        text: (*text).to_owned(),
        start_ms,
        end_ms,
        confidence,
        heard: None,
        language: language.clone(),
        // Of words that were put back nothing is known.
        ordinary: true,
    });
    over.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(text: &str, n: i64, confidence: f32) -> NewWord {
        NewWord {
            text: text.into(),
            start_ms: 400 * n,
            end_ms: 400 * n + 300,
            confidence,
            ..NewWord::default()
        }
    }

    fn attempt(words: Vec<NewWord>) -> AttemptRow {
        AttemptRow {
            recording_id: "a".into(),
            model: "m".into(),
            score: 20.0,
            speech_ms: 2_000,
            words,
        }
    }

    fn fuser(names: &[&str]) -> Fuser {
        Fuser::new(&[], names.iter().map(|&name| name.to_owned()).collect())
    }

    fn told(words: &MomentWords) -> Vec<(&str, Option<&str>)> {
        let words = words.words.iter();
        words
            .map(|word| (word.text.as_str(), word.heard.as_deref()))
            .collect()
    }

    #[test]
    fn a_name_is_put_where_it_was_heard_and_what_was_heard_is_kept() {
        let words = vec![
            word("Tarou", 0, 0.4),
            word("landing.", 1, 0.5),
            word("Mar", 2, 0.4),
            word("so", 3, 0.9),
        ];
        let heard = attempt(words);
        assert_eq!(
            fuser(&[]).words(std::slice::from_ref(&heard)).words,
            heard.words
        );
        let made = fuser(&["Tarrow Landing"]).words(std::slice::from_ref(&heard));
        assert_eq!(
            told(&made)[..2],
            [("Tarrow", Some("Tarou landing.")), ("Landing.", Some(""))]
        );
        assert_eq!(made.words[1].start_ms, 400);
    }

    #[test]
    fn half_a_name_that_was_voted_in_is_no_name() {
        let ordinary = |text: &str, n, confidence| NewWord {
            ordinary: true,
            ..word(text, n, confidence)
        };
        let line = |sure: f32, first: NewWord, last: NewWord| {
            let rest = [(0, "we"), (1, "met"), (2, "at")];
            let mut words: Vec<NewWord> = rest.map(|(n, t)| ordinary(t, n, sure)).into();
            words.extend([first, last]);
            words
        };
        let [first, last] = [word("Tarou", 3, 0.2), word("landing.", 4, 0.3)];
        let best = attempt(line(0.95, first, last));
        let [first, last] = [ordinary("morning", 3, 0.95), ordinary("landing.", 4, 0.3)];
        let other = AttemptRow {
            recording_id: "b".into(),
            ..attempt(line(0.3, first, last))
        };
        let fuser = fuser(&["Tarrow Landing"]);
        let alone = fuser.words(std::slice::from_ref(&best));
        assert_eq!(told(&alone)[3], ("Tarrow", Some("Tarou landing.")));
        let both = fuser.words(&[best, other]);
        assert_eq!(told(&both)[3..], [("morning", None), ("Landing.", None)]);
    }

    #[test]
    fn several_heard_words_are_one_name_over_their_time() {
        let heard = attempt(vec![
            word("Marsa", 1, 0.4),
            word("Pan's", 2, 0.9),
            word("bowl", 3, 0.9),
        ]);
        let made = fuser(&["Marzipan"]).words(std::slice::from_ref(&heard));
        assert_eq!(
            told(&made),
            [("Marzipan's", Some("Marsa Pan's")), ("bowl", None)]
        );
        assert_eq!((made.words[0].start_ms, made.words[0].end_ms), (400, 1_100));
    }

    #[test]
    fn what_a_second_hearing_found_goes_with_its_name() {
        let mut found = [word("Orrin", 0, 0.5), word("Lodge.", 1, 0.5)];
        found[0].heard = Some("Oregon launch.".into());
        found[1].heard = Some(String::new());
        let heard = attempt(found.to_vec());
        let with = fuser(&["Orrin Lodge"]).words(std::slice::from_ref(&heard));
        assert_eq!(
            told(&with),
            [("Orrin", Some("Oregon launch.")), ("Lodge.", Some(""))]
        );
        let without = fuser(&["Zephyrine"]).words(std::slice::from_ref(&heard));
        assert_eq!(told(&without), [("Oregon", None), ("launch.", None)]);
    }
}
