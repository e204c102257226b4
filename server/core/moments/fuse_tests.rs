use super::super::words::tests::said;
use super::*;
use proptest::prelude::*;

fn attempt(text: &str, confidence: f32, score: f32) -> Attempt {
    Attempt {
        hearer: 0,
        words: said(text, confidence),
        score,
    }
}

fn text(fused: &Fused) -> String {
    let words: Vec<&str> = fused.words.iter().map(|w| w.word.text.as_str()).collect();
    words.join(" ")
}

#[test]
fn one_attempt_is_itself() {
    assert_eq!(fuse(&[], 1_000), None);
    let fused = fuse(&[attempt("He rang the bell", 0.9, 20.0)], 2_000).unwrap();
    assert_eq!(text(&fused), "He rang the bell");
    assert_eq!((fused.from, fused.doubt), (0, None));
}

#[test]
fn the_surer_text_wins_where_they_have_nothing_in_common() {
    let attempts = [
        attempt("thank you for watching this", 0.5, 25.0),
        attempt("he rang the ferry bell every evening", 0.9, 12.0),
    ];
    let fused = fuse(&attempts, 3_500).unwrap();
    assert_eq!(fused.from, 1);
    assert_eq!(text(&fused), "he rang the ferry bell every evening");
}

#[test]
fn three_are_a_majority() {
    let attempts = [
        attempt("you rode back for me with one oar", 0.8, 20.0),
        attempt("you rowed back for me with one or", 0.7, 15.0),
        attempt("you rowed back for me with one oar", 0.6, 10.0),
    ];
    let fused = fuse(&attempts, 4_000).unwrap();
    assert_eq!(text(&fused), "you rowed back for me with one oar");
    assert_eq!(fused.from, 0);
    assert!(fused.why.contains("1 from others"), "{}", fused.why);
}

#[test]
fn a_missed_word_is_put_in_and_an_invented_one_left_out() {
    let mut base = attempt("he rang the ferry bell every evening", 0.9, 20.0);
    let other = base.clone();
    base.words.remove(3);
    let mut invented = base.words[5].clone();
    (invented.text, invented.confidence) = ("uh".into(), 0.1);
    invented.start_ms += 450.0;
    invented.end_ms += 350.0;
    base.words.push(invented);
    let mut other = other;
    for word in &mut other.words {
        word.confidence = 0.7;
    }
    let fused = fuse(&[base, other], 3_500).unwrap();
    assert_eq!(text(&fused), "he rang the ferry bell every evening");
}

#[test]
fn what_is_put_in_leaves_the_word_after_it_alone() {
    let base = attempt("he rang ferry bell every evening", 0.9, 20.0);
    // Its 'the' was heard where the base has 'ferry'.
    let other = attempt("he rang the ferry bell every evening", 0.7, 15.0);
    let fused = fuse(&[base, other], 3_500).unwrap();
    assert_eq!(text(&fused), "he rang ferry bell every evening");
}

#[test]
fn what_stays_weak_is_doubted() {
    let attempts = [attempt("a b c d", 0.2, 1.0), attempt("e f g h", 0.3, 1.0)];
    let fused = fuse(&attempts, 2_000).unwrap();
    assert!(fused.doubt.is_some());
}

proptest! {
    #[test]
    fn every_word_comes_from_an_attempt(
        all in prop::collection::vec(
            prop::collection::vec(("[abc]{1,3}", -1e4..1e4_f64, 0.0..900.0_f64, -0.5..1.5_f32), 0..9),
            0..4),
        speech_ms in -5..60_000_i64,
    ) {
        let attempts: Vec<Attempt> = all
            .iter()
            .map(|words| Attempt {
                hearer: 3,
                score: f32::NAN,
                words: words
                    .iter()
                    .map(|(text, start_ms, length, confidence)| SaidWord {
                        text: text.clone(),
                        start_ms: *start_ms,
                        end_ms: start_ms + length,
                        confidence: *confidence,
                    })
                    .collect(),
            })
            .collect();
        let fused = fuse(&attempts, speech_ms);
        prop_assert_eq!(fused.is_none(), attempts.is_empty());
        if let Some(fused) = fused {
            for word in &fused.words {
                prop_assert!(attempts[word.attempt].words.contains(&word.word));
            }
            if attempts.len() == 1 {
                prop_assert_eq!(fused.words.len(), attempts[0].words.len());
            }
        }
    }

    #[test]
    fn words_of_two_attempts_do_not_lie_on_each_other(
        all in prop::collection::vec(
            prop::collection::vec(("[abc]{1,2}", 0.0..300.0_f64, 1.0..600.0_f64, 0.0..1.0_f32), 0..9),
            2..4),
    ) {
        let attempts: Vec<Attempt> = all
            .into_iter()
            .map(|words| {
                let mut at = 0.0;
                let words = words.into_iter().map(|(text, pause, length, confidence)| {
                    let start_ms = at + pause;
                    at = start_ms + length;
                    SaidWord { text, start_ms, end_ms: at, confidence }
                });
                Attempt { hearer: 0, score: 10.0, words: words.collect() }
            })
            .collect();
        let words = fuse(&attempts, 3_000).unwrap().words;
        for (n, one) in words.iter().enumerate() {
            for other in &words[n + 1..] {
                let (a, b) = (&one.word, &other.word);
                let common = a.end_ms.min(b.end_ms) - a.start_ms.max(b.start_ms);
                let longer = (a.end_ms - a.start_ms).max(b.end_ms - b.start_ms);
                prop_assert!(common <= OVERLAP * longer, "{a:?} and {b:?}");
            }
        }
    }

    #[test]
    fn attempts_that_agree_change_nothing(words in prop::collection::vec("[abc]{1,3}", 1..9)) {
        let line = attempt(&words.join(" "), 0.8, 10.0);
        let fused = fuse(&[line.clone(), line.clone(), line.clone()], 3_000).unwrap();
        prop_assert_eq!(&fused.words, &own(&line, 0));
    }
}
