//! Which languages does a model know, and which of them is spoken here?

use std::ffi::c_int;
use std::path::Path;

use sayback_core::Cancel;
use sayback_core::units::ANALYSIS_RATE_HZ;
use whisper_rs::{WhisperContext, WhisperError};

use super::windows::Passage;
use super::{Recogniser, SpeechError, ggml, log};

/// The language of a model that knows only one.
const ENGLISH: &str = "en";
/// Tokens of a vocabulary that knows many languages, beside one for each language.
const OTHER_TOKENS: u32 = 51_766;

/// Whether the model of this name knows these languages; `file` is it, where it is
/// here.
///
/// # Errors
/// [`SpeechError::Language`] for the first that it does not know;
/// [`SpeechError::NotAModel`], [`SpeechError::Io`].
pub fn knows(name: &str, file: Option<&Path>, languages: &[String]) -> Result<(), SpeechError> {
    log::install();
    let sizes = file.map(ggml::inspect).transpose()?;
    for language in languages {
        let code = !language.is_empty() && language.bytes().all(|c| c.is_ascii_lowercase());
        let id = code.then(|| whisper_rs::get_lang_id(language)).flatten();
        let known = id
            .and_then(|id| u32::try_from(id).ok())
            .is_some_and(|id| match &sizes {
                Some(sizes) if sizes.english_only() => language == ENGLISH,
                Some(sizes) => id < sizes.vocabulary.saturating_sub(OTHER_TOKENS),
                None => true,
            });
        // Names of languages are languages to the library; here only codes are.
        if !known || id.and_then(whisper_rs::get_lang_str) != Some(language) {
            return Err(SpeechError::Language {
                language: language.clone(),
                model: name.to_owned(),
            });
        }
    }
    Ok(())
}

/// A language of which the model is this sure is spoken throughout.
const THROUGHOUT: f32 = 0.9;
/// One less likely than this in a whole window is spoken nowhere in it.
const NOWHERE: f32 = 0.03;
/// A stretch is in a language of its own if the model is this sure.
const SURE: f32 = 0.7;
/// A shorter stretch is not looked at and goes with the one before it, in ms: 'yes' is
/// a word in many languages.
const SHORTEST_MS: usize = 900;

/// How likely each of `among` (all where none is named) is spoken in samples.
pub(super) fn likely(
    context: &WhisperContext,
    threads: c_int,
    samples: &[f32],
    among: &[String],
) -> Result<Vec<(String, f32)>, SpeechError> {
    let failed = |error: WhisperError| SpeechError::Recognise {
        seconds: samples.len() as f64 / f64::from(ANALYSIS_RATE_HZ),
        reason: error.to_string(),
    };
    let threads = usize::try_from(threads).unwrap_or(1);
    let mut state = context.create_state().map_err(failed)?;
    state.pcm_to_mel(samples, threads).map_err(failed)?;
    let (_, likely) = state.lang_detect(0, threads).map_err(failed)?;
    let mut languages: Vec<(String, f32)> = (0..)
        .zip(likely)
        .filter_map(|(id, likely)| Some((whisper_rs::get_lang_str(id)?.to_owned(), likely)))
        .filter(|(code, _)| among.is_empty() || among.contains(code))
        .collect();
    let all: f32 = languages.iter().map(|(_, likely)| likely).sum();
    for (_, likely) in &mut languages {
        *likely /= all.max(f32::MIN_POSITIVE);
    }
    languages.sort_by(|a, b| b.1.total_cmp(&a.1));
    tracing::trace!(
        target: "sayback::speech::belief",
        seconds = samples.len() as f64 / f64::from(ANALYSIS_RATE_HZ),
        likely = ?languages.iter().take(3).collect::<Vec<_>>(),
        "language"
    );
    Ok(languages)
}

/// Which language each span of a window is in, by codes; none where there is nothing
/// to tell apart. `among` are those that may be spoken, none for all.
///
/// Where several are named, each span is looked at. Where all may be or no span is
/// long enough, the window is, and only a doubtful one span by span.
pub(super) fn spoken(
    recogniser: &mut dyn Recogniser,
    passage: &Passage,
    among: &[String],
    cancel: &Cancel,
) -> Result<Vec<Option<String>>, SpeechError> {
    let count = passage.spans().len();
    if let [only] = among {
        return Ok(vec![Some(only.clone()); count]);
    }
    let shortest = SHORTEST_MS * ANALYSIS_RATE_HZ as usize / 1_000;
    let is_long = |place: usize| passage.sound_of(place).len() >= shortest;
    let one = count < 2 || !(0..count).any(is_long);
    let mut among = among.to_vec();
    if among.is_empty() || one {
        unless_cancelled(cancel)?;
        let window = recogniser.languages(passage.samples(), &among)?;
        let Some((likeliest, sure)) = window.first() else {
            return Ok(vec![None; count]);
        };
        if *sure >= THROUGHOUT || one {
            return Ok(vec![Some(likeliest.clone()); count]);
        }
        let here = window.iter().filter(|(_, likely)| *likely >= NOWHERE);
        among = here.map(|(code, _)| code.clone()).collect();
        if among.len() < 2 {
            return Ok(vec![Some(likeliest.clone()); count]);
        }
    }
    let mut told = Vec::with_capacity(count);
    for place in 0..count {
        let sound = passage.sound_of(place);
        let likely = if is_long(place) {
            unless_cancelled(cancel)?;
            recogniser.languages(sound, &among)?
        } else {
            Vec::new()
        };
        let weight = sound.len() as f32;
        told.push(Told { weight, likely });
    }
    Ok(decided(&told))
}

fn unless_cancelled(cancel: &Cancel) -> Result<(), SpeechError> {
    if cancel.is_cancelled() {
        return Err(SpeechError::Cancelled);
    }
    Ok(())
}

/// What was found of a span.
struct Told {
    weight: f32,
    likely: Vec<(String, f32)>,
}

/// The language of each span: its own where that is sure, else that of the sure one
/// before it or, failing that, after it, else of all together.
fn decided(told: &[Told]) -> Vec<Option<String>> {
    let own = |one: &Told| {
        let (code, sure) = one.likely.first()?;
        (*sure >= SURE).then(|| code.clone())
    };
    let mut languages: Vec<Option<String>> = told.iter().map(own).collect();
    let mut all: Vec<(&str, f32)> = Vec::new();
    for one in told {
        for (code, likely) in &one.likely {
            match all.iter_mut().find(|(other, _)| other == code) {
                Some((_, sum)) => *sum += likely * one.weight,
                None => all.push((code, likely * one.weight)),
            }
        }
    }
    let most = all.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let most = most.map(|(code, _)| (*code).to_owned());
    for place in 0..languages.len() {
        if languages[place].is_none() {
            let before = place.checked_sub(1).and_then(|n| languages[n].clone());
            let after = || languages[place..].iter().flatten().next().cloned();
            languages[place] = before.or_else(after).or_else(|| most.clone());
        }
    }
    languages
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::steer::tests::passage;
    use crate::speech::{Ask, HeardWord};

    fn codes(list: &[&str]) -> Vec<String> {
        list.iter().map(|&code| code.to_owned()).collect()
    }

    #[test]
    fn without_the_model_only_codes_are_languages() {
        assert!(knows("base", None, &codes(&["en", "de", "yue"])).is_ok());
        for wrong in ["xx", "EN", "german", "", "e\0n", "de "] {
            let refused = knows("base", None, &codes(&["en", wrong]));
            let Err(SpeechError::Language { language, model }) = refused else {
                panic!("{wrong:?}: {refused:?}");
            };
            assert_eq!((language.as_str(), model.as_str()), (wrong, "base"));
        }
    }

    /// Is sure of the second of those it is asked among, and notes how much sound it was
    /// asked about and among how many.
    #[derive(Default)]
    struct Asked(Vec<(usize, usize)>);

    impl Recogniser for Asked {
        fn recognise(
            &mut self,
            _: &[f32],
            _: &Ask,
            _: &Cancel,
            _: &mut dyn FnMut(f32),
        ) -> Result<Vec<HeardWord>, SpeechError> {
            unreachable!("only languages are asked for")
        }

        fn languages(
            &mut self,
            samples: &[f32],
            among: &[String],
        ) -> Result<Vec<(String, f32)>, SpeechError> {
            self.0.push((samples.len() / 16, among.len()));
            Ok(vec![(among[1].clone(), 0.95)])
        }
    }

    #[test]
    fn short_spans_are_not_asked_about() {
        let told = codes(&["en", "de"]);
        let of = |spans: &[(i64, i64)]| {
            let mut asked = Asked::default();
            let passage = passage(spans);
            let spoken = spoken(&mut asked, &passage, &told, &Cancel::new()).unwrap();
            assert_eq!(spoken, vec![Some("de".to_owned()); spans.len()]);
            (asked.0, passage.samples().len() / 16)
        };
        let (asked, _) = of(&[(1_000, 1_100), (4_000, 6_000), (9_000, 9_100)]);
        assert!(matches!(asked[..], [(1_500..3_000, 2)]), "{asked:?}");
        // All of them short: the window is asked about, among those told.
        let (asked, all) = of(&[(1_000, 1_100), (4_000, 4_100)]);
        assert_eq!(asked, [(all, 2)]);
    }

    #[test]
    fn who_called_off_is_answered_before_the_next_pass_of_the_encoder() {
        let cancel = Cancel::new();
        cancel.cancel();
        let passage = passage(&[(1_000, 3_000), (5_000, 7_000)]);
        for among in [&["en", "de"][..], &[]] {
            let mut asked = Asked::default();
            let stopped = spoken(&mut asked, &passage, &codes(among), &cancel);
            assert!(
                matches!(stopped, Err(SpeechError::Cancelled)),
                "{stopped:?}"
            );
            assert_eq!(asked.0, []);
        }
    }

    #[test]
    fn a_span_of_which_little_is_known_goes_with_its_neighbours() {
        let told = |spans: &[&[(&str, f32)]]| -> Vec<String> {
            let told: Vec<Told> = spans
                .iter()
                .map(|likely| Told {
                    weight: 1.0,
                    likely: likely.iter().map(|(c, p)| ((*c).to_owned(), *p)).collect(),
                })
                .collect();
            decided(&told).into_iter().flatten().collect()
        };
        assert_eq!(
            told(&[
                &[("de", 0.6)],
                &[("en", 0.9)],
                &[],
                &[("de", 0.9)],
                &[("en", 0.65)]
            ]),
            ["en", "en", "en", "de", "de"]
        );
        assert_eq!(
            told(&[&[("de", 0.6), ("en", 0.4)], &[("en", 0.55), ("de", 0.45)]]),
            ["de", "de"]
        );
        assert!(told(&[&[]]).is_empty());
    }
}
