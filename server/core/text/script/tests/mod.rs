//! Written texts and what was made of them.

mod spoil;

use std::fmt::Write as _;

use proptest::prelude::*;

use super::*;
use spoil::{Chance, spoiled, talk};

const LETTER: &str = include_str!("../../../../../tests/lines/texts/letter-corin.txt");
const OTHER: &str = include_str!("../../../../../tests/lines/texts/letter-ottilie.txt");

/// Words 300 ms apart, one moment for every twelve.
fn heard(words: &[String]) -> (Vec<HeardWord<'_>>, Vec<HeardIn>) {
    let mut heard = Vec::with_capacity(words.len());
    for (n, text) in words.iter().enumerate() {
        heard.push(HeardWord {
            text,
            confidence: 0.8,
            moment: n / 12,
            start_ms: 300 * n as i64,
            end_ms: 300 * n as i64 + 250,
        });
    }
    (heard, vec![HeardIn::default(); words.len() / 12 + 1])
}

fn found(text: &str, words: &[String]) -> Passes {
    let (heard, moments) = heard(words);
    Written::new(text).passes(&heard, &moments)
}

/// The words of a text that is said as it is typed here.
fn said(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

/// `0 1* 3`: the sentences of a pass; those said more than once with a star.
fn told(pass: &Pass) -> String {
    let mut out = String::new();
    for (n, said) in pass.sentences.iter().enumerate() {
        if let Some(said) = said {
            let again = if said.again.is_empty() { "" } else { "*" };
            let _ = write!(out, "{n}{again} ");
        }
    }
    out.trim_end().to_owned()
}

fn all(passes: &Passes) -> Vec<String> {
    passes.passes.iter().map(told).collect()
}

/// Sentences of a text, as words.
fn part(text: &str, sentences: impl IntoIterator<Item = usize>) -> Vec<String> {
    let written = Written::new(text);
    let words = |n: usize| written.sentences[n].words.clone();
    sentences.into_iter().flat_map(words).collect()
}

/// Readings with so many words of other talk before, between and behind.
fn day(parts: &[Vec<String>], between: usize, chance: &mut Chance) -> Vec<String> {
    let mut words = talk(between, chance);
    for part in parts {
        words.extend(part.iter().cloned());
        words.extend(talk(between, chance));
    }
    words
}

fn whole() -> Vec<String> {
    part(LETTER, 0..10)
}

#[test]
fn a_letter_has_the_sentences_one_would_say() {
    let texts = sentences(LETTER);
    assert_eq!(texts.len(), 10, "{texts:#?}");
    assert_eq!(
        (texts[0].as_str(), texts[9].as_str()),
        ("My dear Ottilie,", "Corin")
    );
}

#[test]
fn two_passes_are_found_and_what_is_skipped_is_named() {
    let mut chance = Chance::new(1);
    let second = part(LETTER, (0..10).filter(|n| *n != 5));
    let words = day(&[whole(), second], 2_000, &mut chance);
    let passes = found(LETTER, &words);
    assert_eq!(all(&passes), ["0 1 2 3 4 5 6 7 8 9", "0 1 2 3 4 6 7 8 9"]);
    assert_eq!(passes.most_complete, Some(0));
    let first = &passes.passes[0];
    let length = whole().len();
    assert_eq!((first.heard.from, first.heard.to), (2_000, 2_000 + length));
    assert_eq!((first.completeness, first.agreement), (1.0, 1.0));
    assert_eq!(first.start_ms, 300 * 2_000);
    assert!(first.added.is_empty(), "{:?}", first.added);
}

#[test]
fn what_is_changed_left_out_and_added_is_told_word_by_word() {
    let text = "Whatever the river brings us, I want to be standing next to you when it comes. \
                I have carried a button from that coat in my pocket every day since the flood.";
    let words = said(
        "whatever the river brings us I would like to be standing next to you when it comes \
         sorry my hands i have carried a button from coat in my pocket every single day since the flood",
    );
    let passes = found(text, &words);
    let [pass] = passes.passes.as_slice() else {
        panic!("{passes:?}")
    };
    let steps = |n: usize| -> Vec<(StepKind, String, String)> {
        let written = Written::new(text);
        let take = &pass.sentences[n].as_ref().unwrap().take;
        let step = |step: &Step| {
            let own = &written.sentences[n].words[step.written.from..step.written.to];
            let other = &words[step.heard.from..step.heard.to];
            (step.kind, own.join(" "), other.join(" "))
        };
        let steps = take.steps.iter().map(step);
        steps.filter(|step| step.0 != StepKind::Kept).collect()
    };
    let told = |kind, written: &str, said: &str| (kind, written.to_owned(), said.to_owned());
    assert_eq!(steps(0), [told(StepKind::Changed, "want", "would like")]);
    assert_eq!(
        steps(1),
        [
            told(StepKind::LeftOut, "that", ""),
            told(StepKind::Added, "", "single")
        ]
    );
    let added = &pass.added;
    assert_eq!(added.len(), 1, "{added:?}");
    assert_eq!(
        words[added[0].heard.from..added[0].heard.to].join(" "),
        "sorry my hands"
    );
    assert_eq!((added[0].after, added[0].by_another), (0, false));
}

#[test]
fn words_run_together_parted_and_numbers_are_the_same_words() {
    let text =
        "Good afternoon, and welcome to our old boathouse, with the lamp lit at 31 Ferry Lane.";
    let words = said(
        "good after noon and welcome to our old boat house with the lamplit at thirty one ferry lane",
    );
    let passes = found(text, &words);
    let take = &passes.passes[0].sentences[0].as_ref().unwrap().take;
    let other: Vec<&Step> = take
        .steps
        .iter()
        .filter(|s| s.kind != StepKind::Kept)
        .collect();
    assert!(other.is_empty(), "{other:?}");
    assert!(take.agreement > 0.99, "{}", take.agreement);
}

#[test]
fn a_sentence_said_again_at_once_stays_in_its_pass() {
    let mut chance = Chance::new(3);
    let reading = part(LETTER, [0, 1, 2, 3, 3, 4, 5, 6, 7, 8, 9]);
    let passes = found(LETTER, &day(&[reading], 1_000, &mut chance));
    assert_eq!(all(&passes), ["0 1 2 3* 4 5 6 7 8 9"]);
    // Two of them, too.
    let reading = part(LETTER, [0, 1, 2, 3, 2, 3, 4, 5, 6, 7, 8, 9]);
    let passes = found(LETTER, &day(&[reading], 1_000, &mut chance));
    assert_eq!(all(&passes), ["0 1 2* 3* 4 5 6 7 8 9"]);
}

#[test]
fn who_stops_and_starts_again_reads_twice() {
    let mut chance = Chance::new(4);
    let begun = part(LETTER, 0..4);
    let again = [begun, said("no let me start over"), whole()].concat();
    let passes = found(LETTER, &day(&[again], 1_000, &mut chance));
    assert_eq!(all(&passes), ["0 1 2 3", "0 1 2 3 4 5 6 7 8 9"]);
    assert_eq!(passes.most_complete, Some(1));
}

#[test]
fn the_second_half_alone_is_a_pass_of_its_own() {
    let mut chance = Chance::new(5);
    let half = part(LETTER, 5..10);
    let passes = found(
        LETTER,
        &day(&[half.clone(), whole(), half], 800, &mut chance),
    );
    let half = "5 6 7 8 9";
    assert_eq!(all(&passes), [half, "0 1 2 3 4 5 6 7 8 9", half]);
    assert_eq!(passes.most_complete, Some(1));
    // At once behind a whole one, too.
    let both = [whole(), part(LETTER, 5..10)].concat();
    let passes = found(LETTER, &day(&[both], 800, &mut chance));
    assert_eq!(all(&passes), ["0 1 2 3 4 5 6 7 8 9", half]);
}

#[test]
fn a_sentence_that_stands_twice_is_found_twice() {
    let mut chance = Chance::new(6);
    let refrain = "And the ferry bell rang over the dark water.";
    let text = format!(
        "The kettle sang before anybody was awake. {refrain} My uncle mended his nets by \
         lamplight. {refrain} Nobody saw the heron leave the landing."
    );
    let words = day(&[part(&text, 0..5)], 500, &mut chance);
    let passes = found(&text, &words);
    assert_eq!(all(&passes), ["0 1 2 3 4"]);
    let from = |n: usize| {
        passes.passes[0].sentences[n]
            .as_ref()
            .unwrap()
            .take
            .heard
            .from
    };
    assert!((1..5).all(|n| from(n - 1) < from(n)));
    // Where it is said but once, the other is left out, not both.
    let words = day(&[part(&text, [0, 1, 2, 4])], 500, &mut chance);
    assert_eq!(all(&found(&text, &words)), ["0 1 2 4"]);
}

#[test]
fn a_break_in_the_clock_ends_a_pass_and_others_words_are_told_apart() {
    let words = [
        whole(),
        said("oh wait there is somebody at the door"),
        whole(),
    ]
    .concat();
    let (mut heard, _) = heard(&words);
    let (one, two) = (whole().len(), whole().len() + 8);
    for (n, word) in heard.iter_mut().enumerate() {
        word.moment = usize::from(n >= one) + usize::from(n >= two);
    }
    let moments = |island| {
        [(0, 1), (0, 2), (island, 1)].map(|(island, person)| HeardIn {
            island,
            person: Some(person),
        })
    };
    let written = Written::new(LETTER);
    assert_eq!(all(&written.passes(&heard, &moments(3))).len(), 2);
    // One reader in the middle of whose letter somebody else speaks.
    let halves = [
        part(LETTER, 0..5),
        said("are you all right there"),
        part(LETTER, 5..10),
    ];
    let words = halves.concat();
    let (mut heard, _) = self::heard(&words);
    let (one, two) = (halves[0].len(), halves[0].len() + 5);
    for (n, word) in heard.iter_mut().enumerate() {
        word.moment = usize::from(n >= one) + usize::from(n >= two);
    }
    let passes = written.passes(&heard, &moments(0));
    assert_eq!(all(&passes), ["0 1 2 3 4 5 6 7 8 9"]);
    let pass = &passes.passes[0];
    assert_eq!((pass.reader, pass.added.len()), (Some(1), 1));
    assert!(pass.added[0].by_another);
}

#[test]
fn common_phrases_and_another_letter_are_no_pass() {
    for seed in 1..7 {
        let mut chance = Chance::new(seed);
        let words = day(&[part(OTHER, 0..12)], 12_000, &mut chance);
        assert_eq!(all(&found(LETTER, &words)), [""; 0], "seed {seed}");
    }
    // Nor is a text that everybody says.
    let mut chance = Chance::new(7);
    let words = day(&[whole()], 2_000, &mut chance);
    assert_eq!(all(&found("I love you so much.", &words)), [""; 0]);
}

#[test]
fn other_scripts_are_found() {
    let text = "今天我们站在河边的老船屋里，风从水面吹来。我的祖父每天傍晚都会敲响渡口的钟。";
    let words: Vec<String> = super::super::normal::split_words(
        "大家好 今天我们站在河边的老船屋里风从水面吹来 对不起 我的祖父每天傍晚都会敲响渡口的钟 谢谢大家",
    )
    .into_iter()
    .map(str::to_owned)
    .collect();
    assert_eq!(all(&found(text, &words)), ["0 1"]);
    let text = "Сегодня мы стоим у старой пристани. Мой дед каждый вечер звонил в колокол.";
    let words = said("ну сегодня мы стоим у старой пристани мой дед каждый вечер звонит в колокол");
    assert_eq!(all(&found(text, &words)), ["0 1"]);
}

#[test]
fn written_words_have_the_times_they_were_said_at() {
    let text = "Ring it once for the living and once more for them.";
    // 'for the' was not heard where there is time for it.
    let words = said("ring it once living and one more for them");
    let (mut heard, moments) = heard(&words);
    for word in &mut heard[3..] {
        word.start_ms += 400;
        word.end_ms += 400;
    }
    let written = Written::new(text);
    let passes = written.passes(&heard, &moments);
    let take = &passes.passes[0].sentences[0].as_ref().unwrap().take;
    let times = take.written_times(&written.sentences[0], &heard);
    let shown: Vec<usize> = times.iter().map(|time| time.word).collect();
    assert_eq!(shown, (0..11).collect::<Vec<_>>());
    assert_eq!((times[0].start_ms, times[0].end_ms), (0, 250));
    assert_eq!((times[3].start_ms, times[4].end_ms), (850, 1_300));
    assert!(times.is_sorted_by(|a, b| a.end_ms <= b.start_ms));
    // Without that time they were not said.
    let (heard, moments) = self::heard(&words);
    let passes = written.passes(&heard, &moments);
    let take = &passes.passes[0].sentences[0].as_ref().unwrap().take;
    assert_eq!(take.written_times(&written.sentences[0], &heard).len(), 9);
}

#[test]
#[allow(clippy::disallowed_types)] // A test may look at the time.
fn hostile_texts_cost_no_more_than_others() {
    let begun = std::time::Instant::now();
    let mut chance = Chance::new(8);
    let long = talk(35_000, &mut chance);
    let words = talk(45_000, &mut chance);
    found(&long.join(" "), &words);
    let same = vec!["bell".to_owned(); 45_000];
    found(&same[..35_000].join(" "), &same);
    let two: Vec<String> = (0..45_000)
        .map(|n| ["oar", "bell"][n % 2].to_owned())
        .collect();
    found(&two[..35_000].join(" "), &two);
    // The same book read aloud.
    found(&words[..35_000].join(" "), &words);
    for nothing in ["", "— …", "\u{0}"] {
        assert_eq!(found(nothing, &words), Passes::default());
    }
    assert_eq!(found("Ring it once.", &[]), Passes::default());
    // Generous: what grows as the square of these takes minutes.
    assert!(begun.elapsed().as_secs() < 60, "{:?}", begun.elapsed());
}

/// Of the sentences read, how many are found where they were said, elsewhere, or not.
fn counted(passes: &Passes, truth: &[(usize, usize)]) -> [usize; 3] {
    let near = |n: usize, at: usize| {
        let takes = passes
            .passes
            .iter()
            .filter_map(|pass| pass.sentences[n].as_ref());
        let mut all = takes.flat_map(|said| said.again.iter().chain([&said.take]));
        all.any(|take| take.heard.from.abs_diff(at) <= 6)
    };
    let right = truth.iter().filter(|(n, at)| near(*n, *at)).count();
    let sentences = passes.passes.iter().flat_map(|pass| &pass.sentences);
    let said: usize = sentences.flatten().map(|said| 1 + said.again.len()).sum();
    [right, said.saturating_sub(right), truth.len() - right]
}

/// A reading with errors, and where its sentences begin in it.
fn read(
    sentences: &[usize],
    errors: f64,
    chance: &mut Chance,
) -> (Vec<String>, Vec<(usize, usize)>) {
    let (mut words, mut truth) = (Vec::new(), Vec::new());
    for &n in sentences {
        truth.push((n, words.len()));
        words.extend(spoiled(&part(LETTER, [n]), errors, chance));
    }
    (words, truth)
}

#[test]
fn with_three_words_in_ten_wrong_sentences_are_found_where_they_were_said() {
    let (mut sum, orders): ([usize; 3], [Vec<usize>; 3]) = (
        [0; 3],
        [
            (0..10).collect(),
            vec![0, 1, 2, 3, 4, 6, 7, 8, 9],
            (5..10).collect(),
        ],
    );
    for seed in 1..21 {
        let mut chance = Chance::new(seed);
        let (mut words, mut truth) = (talk(3_000, &mut chance), Vec::new());
        for order in &orders {
            let (own, starts) = read(order, 0.3, &mut chance);
            truth.extend(starts.into_iter().map(|(n, at)| (n, at + words.len())));
            words.extend(own);
            words.extend(talk(3_000, &mut chance));
        }
        let passes = found(LETTER, &words);
        let [right, wrong, missed] = counted(&passes, &truth);
        sum = [sum[0] + right, sum[1] + wrong, sum[2] + missed];
    }
    // A signature of one word that is misheard can't be found: 2 sentences in 24 are
    // that short.
    let share = |n: usize| sum[n] as f64 / (20 * 24) as f64;
    assert!(share(0) > 0.94 && share(1) < 0.01, "{sum:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever is written and said: spans lie in what was heard, in order, and steps
    /// name every written word once.
    #[test]
    fn answers_hold_together(
        order in proptest::collection::vec(0_usize..10, 0..14),
        errors in 0.0..0.6_f64,
        seed in 1_u64..10_000,
    ) {
        let mut chance = Chance::new(seed);
        let (own, _) = read(&order, errors, &mut chance);
        let words = [talk(60, &mut chance), own, talk(60, &mut chance)].concat();
        let written = Written::new(LETTER);
        let passes = found(LETTER, &words);
        for pass in &passes.passes {
            prop_assert_eq!(pass.sentences.len(), written.sentences.len());
            prop_assert!(pass.heard.from < pass.heard.to && pass.heard.to <= words.len());
            prop_assert!((0.0..=1.0).contains(&pass.completeness));
            let mut last = 0;
            for (n, said) in pass.sentences.iter().enumerate() {
                let Some(said) = said else { continue };
                for take in said.again.iter().chain([&said.take]) {
                    prop_assert!(pass.heard.from <= take.heard.from && take.heard.to <= pass.heard.to);
                    prop_assert!((0.0..=1.0).contains(&take.agreement), "{}", take.agreement);
                    let (mut own, mut at) = (0, take.heard.from);
                    for step in &take.steps {
                        prop_assert_eq!(step.written.from, own, "{:?}", take);
                        prop_assert_eq!(step.heard.from, at, "{:?}", take);
                        (own, at) = (step.written.to, step.heard.to);
                    }
                    prop_assert_eq!(own, written.sentences[n].words.len(), "{:?}", take);
                    prop_assert_eq!(at, take.heard.to);
                }
                prop_assert!(said.again.len() < 14);
                last = last.max(said.take.heard.from);
            }
            prop_assert!(last < pass.heard.to);
        }
    }

    #[test]
    fn any_text_and_any_words_have_an_answer(text in "\\PC{0,60}", words in proptest::collection::vec("\\PC{0,6}", 0..40)) {
        found(&text, &words);
    }
}
