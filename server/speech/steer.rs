//! What should the model know before it listens to this window?
//!
//! First it hears the window without being told a name: told names, it writes them
//! where nobody said them, and loses lines. Where something is a little like a name,
//! it listens once more, told of the names that may have been said there, and of the
//! second hearing only those names count that the first has something like.

use sayback_core::Cancel;
use sayback_core::moments::in_place_of;
use sayback_core::text::{HeardText, NameSaid, Names, TimedText};

use super::windows::Passage;
use super::{Ask, HeardWord, Recogniser, SpeechError, languages};

/// Most characters of names that are told: at some 2.5 a token, as names have, within
/// the 140 tokens that count.
const TOLD_CHARS: usize = 340;
/// How much of the work the first hearing is, where there are two.
const FIRST: f32 = 0.5;

/// What is known of an event before its sound is listened to.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The names as they are written, in their order.
    pub glossary: &'a [String],
    /// The same names, ready to be compared.
    pub names: &'a Names,
    /// The languages that may be spoken; none for all that the model knows.
    pub languages: &'a [String],
}

/// The words of a window where they are in the file, each with the index of its span
/// as [`Passage::place`] has it. Spans in different languages are heard apart.
///
/// # Errors
/// As [`Recogniser::recognise`].
pub fn listen(
    recogniser: &mut dyn Recogniser,
    passage: &Passage,
    known: &Known<'_>,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Vec<(usize, HeardWord)>, SpeechError> {
    let spoken = languages::spoken(recogniser, passage, known.languages, cancel)?;
    let mut parts: Vec<(Option<&str>, Vec<usize>)> = Vec::new();
    for (place, language) in spoken.iter().enumerate() {
        let language = language.as_deref();
        match parts.iter_mut().find(|(other, _)| *other == language) {
            Some((_, places)) => places.push(place),
            None => parts.push((language, vec![place])),
        }
    }
    let mut words = Vec::new();
    let count = parts.len() as f32;
    for (n, (language, places)) in parts.iter().enumerate() {
        let part = passage.part(places);
        let mut tell = |done: f32| progress((n as f32 + done) / count);
        words.extend(heard(
            recogniser, &part, *language, known, cancel, &mut tell,
        )?);
    }
    words.sort_by_key(|(_, word)| word.start_ms);
    Ok(words)
}

/// The words of a passage in one language. Only the stretches of speech where a name may
/// have been said are heard twice.
fn heard(
    recogniser: &mut dyn Recogniser,
    passage: &Passage,
    language: Option<&str>,
    known: &Known<'_>,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Vec<(usize, HeardWord)>, SpeechError> {
    let mut ask = Ask {
        language: language.map(str::to_owned),
        ..Ask::default()
    };
    let share = if known.names.is_empty() { 1.0 } else { FIRST };
    let mut before = |done: f32| progress(share * done);
    let first = recogniser.recognise(passage.samples(), &ask, cancel, &mut before)?;
    let first = passage.place(first);
    let texts: Vec<HeardText> = first.iter().map(|(_, word)| word.into()).collect();
    let asked = known.names.asked(&texts);
    if asked.names.is_empty() {
        progress(1.0);
        return Ok(first);
    }
    let spans = asked.at.iter().map(|&n| first[n].0);
    let mut places: Vec<usize> = spans
        .filter_map(|span| passage.spans().iter().position(|own| own.span == span))
        .collect();
    places.dedup();
    let part = passage.part(&places);
    ask.prompt = Some(told(known.glossary, &asked.names));
    ask.brief = true;
    let mut after = |done: f32| progress(FIRST + (1.0 - FIRST) * done);
    let second = recogniser.recognise(part.samples(), &ask, cancel, &mut after)?;
    let second = part.place(second);
    let confirmed = known.names.confirmed(&timed(&first), &timed(&second));
    Ok(named(&first, &confirmed))
}

fn timed(words: &[(usize, HeardWord)]) -> Vec<TimedText<'_>> {
    let timed = words.iter().map(|(_, word)| TimedText {
        heard: word.into(),
        start_ms: word.start_ms,
        end_ms: word.end_ms,
    });
    timed.collect()
}

/// The names to tell, those that matter most last, as the end of a prompt counts most.
fn told(glossary: &[String], asked: &[usize]) -> String {
    let mut names: Vec<&str> = Vec::new();
    let mut room = TOLD_CHARS;
    let order = asked.iter().copied().chain(0..glossary.len());
    for name in order.filter_map(|place| glossary.get(place)) {
        let length = name.chars().count() + 2;
        if length > room {
            break;
        }
        if !names.contains(&name.as_str()) {
            room -= length;
            names.push(name);
        }
    }
    names.reverse();
    format!("{}.", names.join(", "))
}

/// The first hearing's words with the names that the second confirms.
fn named(first: &[(usize, HeardWord)], names: &[NameSaid]) -> Vec<(usize, HeardWord)> {
    let mut words = Vec::with_capacity(first.len());
    let mut at = 0;
    for name in names {
        words.extend_from_slice(&first[at..name.from]);
        at = name.to;
        let own = &first[name.from..name.to];
        let Some((span, one)) = own.first() else {
            continue;
        };
        let texts: Vec<&str> = own.iter().map(|(_, word)| word.text.as_str()).collect();
        let times: Vec<(i64, i64)> = own.iter().map(|(_, w)| (w.start_ms, w.end_ms)).collect();
        let times = in_place_of(&times, &name.words);
        let confidence = own
            .iter()
            .map(|(_, word)| word.confidence)
            .fold(1.0, f32::min);
        for (n, (text, (start_ms, end_ms))) in name.words.iter().zip(times).enumerate() {
            let word = HeardWord {
                text: text.clone(),
                start_ms,
                end_ms,
                confidence,
                ordinary: false,
                language: one.language.clone(),
                heard: Some(if n == 0 {
                    texts.join(" ")
                } else {
                    String::new()
                }),
            };
            words.push((*span, word));
        }
    }
    words.extend_from_slice(&first[at..]);
    words
}

#[cfg(test)]
pub(super) mod tests {
    use sayback_core::units::FileMs;

    use super::*;
    use crate::speech::{Span, pack};

    /// Says one thing untold, another when told, and notes what it was told.
    #[derive(Debug, Default)]
    struct Twice {
        untold: Vec<(&'static str, f32)>,
        told: Vec<(&'static str, f32)>,
        prompts: Vec<Option<String>>,
        lengths_ms: Vec<usize>,
    }

    /// Silence in which there is speech in these stretches of the file.
    pub(in crate::speech) fn passage(spans: &[(i64, i64)]) -> Passage {
        let span = |&(start, end)| Span {
            start: FileMs(start),
            end: FileMs(end),
        };
        let spans: Vec<Span> = spans.iter().map(span).collect();
        let windows = pack(&spans, FileMs(20_000));
        let mut read = |from: FileMs, to: FileMs| {
            Ok::<_, ()>(vec![0.0; 16 * usize::try_from(to.0 - from.0).unwrap()])
        };
        windows[0].assemble(&mut read).unwrap()
    }

    impl Recogniser for Twice {
        fn recognise(
            &mut self,
            samples: &[f32],
            ask: &Ask,
            _cancel: &Cancel,
            progress: &mut dyn FnMut(f32),
        ) -> Result<Vec<HeardWord>, SpeechError> {
            self.prompts.push(ask.prompt.clone());
            self.lengths_ms.push(samples.len() / 16);
            progress(1.0);
            let said = if ask.prompt.is_some() {
                &self.told
            } else {
                &self.untold
            };
            let word = |(n, (text, confidence)): (i64, &(&str, f32))| HeardWord {
                text: (*text).to_owned(),
                start_ms: 500 * n,
                end_ms: 500 * n + 450,
                confidence: *confidence,
                ordinary: *confidence > 0.6,
                ..HeardWord::default()
            };
            Ok((0..).zip(said).map(word).collect())
        }
    }

    fn told_twice(twice: &mut Twice, glossary: &[&str]) -> Vec<(String, Option<String>)> {
        let glossary: Vec<String> = glossary.iter().map(|&name| name.to_owned()).collect();
        let known = Known {
            glossary: &glossary,
            names: &Names::new(&glossary),
            languages: &[],
        };
        let mut last = 0.0;
        let passage = passage(&[(0, 1_900), (4_000, 6_000), (8_000, 19_000)]);
        let words = listen(twice, &passage, &known, &Cancel::new(), &mut |done| {
            last = done
        });
        let words = words.unwrap();
        assert_eq!(last, 1.0);
        words
            .into_iter()
            .map(|(_, word)| (word.text, word.heard))
            .collect()
    }

    #[test]
    fn names_come_from_the_second_hearing_and_all_else_from_the_first() {
        let mut twice = Twice {
            untold: vec![
                ("for", 0.9),
                ("idyllic", 0.45),
                ("we", 0.9),
                ("walked", 0.9),
            ],
            told: vec![
                ("For", 0.9),
                ("Ottilie,", 0.5),
                ("Zephyrine,", 0.9),
                ("walk", 0.9),
            ],
            ..Twice::default()
        };
        let words = told_twice(&mut twice, &["Zephyrine", "Ottilie"]);
        let plain: Vec<&str> = words.iter().map(|(text, _)| text.as_str()).collect();
        assert_eq!(plain, ["for", "Ottilie", "we", "walked"]);
        assert_eq!(words[1].1.as_deref(), Some("idyllic"));
        assert_eq!(twice.prompts[1].as_deref(), Some("Zephyrine, Ottilie."));
        // Only the stretch that it may be in is heard again, of 15 s of speech.
        assert!((1_900..2_500).contains(&twice.lengths_ms[1]), "{twice:?}");
    }

    #[test]
    fn the_words_of_a_name_are_where_the_words_were_that_they_replace() {
        let word = |text: &str, start_ms, end_ms| HeardWord {
            text: text.into(),
            start_ms,
            end_ms,
            ..HeardWord::default()
        };
        let first = [
            (0, word("Oregon", 100, 300)),
            (0, word("launch.", 900, 1_500)),
        ];
        let name = |words: &[&str]| NameSaid {
            from: 0,
            to: 2,
            name: 0,
            words: words.iter().map(|&word| word.to_owned()).collect(),
            likeness: 0.8,
        };
        let times = |words: &[&str]| -> Vec<(i64, i64)> {
            let named = named(&first, &[name(words)]).into_iter();
            named
                .map(|(_, word)| (word.start_ms, word.end_ms))
                .collect()
        };
        assert_eq!(times(&["Orrin", "Lodge."]), [(100, 300), (900, 1_500)]);
        // Where there are not as many, longer words take longer.
        let three = times(&["A", "Orrin", "Landing"]);
        let lengths: Vec<i64> = three.iter().map(|(from, to)| to - from).collect();
        assert!(
            lengths[0] < lengths[1] && lengths[1] < lengths[2],
            "{three:?}"
        );
    }

    #[test]
    fn without_a_likely_name_nothing_is_heard_twice() {
        for glossary in [&[][..], &["Brambleforth"]] {
            let mut twice = Twice {
                untold: vec![("for", 0.9), ("idle", 0.5), ("he", 0.5)],
                ..Twice::default()
            };
            assert_eq!(told_twice(&mut twice, glossary).len(), 3);
            assert_eq!(twice.prompts, [None]);
        }
    }

    #[test]
    fn what_is_told_has_room_in_the_prompt() {
        let glossary: Vec<String> = (0..5_000).map(|n| format!("Name number {n}")).collect();
        let told = told(&glossary, &[4_000, 7]);
        assert!(told.chars().count() <= TOLD_CHARS + 1);
        assert!(
            told.ends_with("Name number 0, Name number 7, Name number 4000."),
            "{told}"
        );
    }
}
