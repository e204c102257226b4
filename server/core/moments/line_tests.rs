use super::*;
use proptest::prelude::*;

const BOUNDS: Bounds = Bounds {
    from: FileMs(1_000),
    to: FileMs(5_000),
};

/// Words of 400 ms, half a second apart, from the start of the line on.
fn heard(text: &str) -> Vec<LineWord> {
    (0..)
        .zip(text.split_whitespace())
        .map(|(n, text)| LineWord {
            text: text.into(),
            start: FileMs(1_000 + 500 * n),
            end: FileMs(1_400 + 500 * n),
            confidence: 0.7,
            ..LineWord::default()
        })
        .collect()
}

fn told(words: &[LineWord]) -> Vec<(&str, i64, i64, bool)> {
    words
        .iter()
        .map(|w| (w.text.as_str(), w.start.0, w.end.0, w.by_hand))
        .collect()
}

fn right(old: &str, new: &str) -> Vec<LineWord> {
    let texts: Vec<&str> = new.split_whitespace().collect();
    reworded(&heard(old), &texts, BOUNDS)
}

#[test]
fn a_word_in_the_place_of_another_has_its_time() {
    assert_eq!(
        told(&right("ring the fairy bell", "Ring the ferry bell")),
        [
            ("Ring", 1_000, 1_400, true),
            ("the", 1_500, 1_900, false),
            ("ferry", 2_000, 2_400, true),
            ("bell", 2_500, 2_900, false),
        ]
    );
    let right = right("ring the bell", "ring a bell");
    let sure: Vec<f32> = right.iter().map(|word| word.confidence).collect();
    assert_eq!(sure, [0.7, 1.0, 0.7]);
}

#[test]
fn words_that_come_in_share_what_is_there_by_their_letters() {
    // 'ferry' stood from 2,000 to 2,400; 'a' and 'fairy' have one and five letters.
    let two = right("ring the ferry bell", "ring the my sisters bell");
    assert_eq!(
        told(&two)[2..4],
        [("my", 2_000, 2_089, true), ("sisters", 2_089, 2_400, true)]
    );
    // Nothing stood there: the pause of 100 ms is too short for two words, so the
    // word before gives up half.
    let more = right("ring bell", "ring the old bell");
    assert_eq!(
        told(&more),
        [
            ("ring", 1_000, 1_200, false),
            ("the", 1_200, 1_350, true),
            ("old", 1_350, 1_500, true),
            ("bell", 1_500, 1_900, false),
        ]
    );
    // At the end there is room.
    let end = right("ring", "ring it");
    assert_eq!(told(&end)[1], ("it", 1_400, 5_000, true));
}

#[test]
fn words_that_fall_out_leave_the_others_where_they_are() {
    let less = right("he he rang the the bell", "he rang the bell");
    assert_eq!(
        told(&less),
        [
            ("he", 1_000, 1_400, false),
            ("rang", 2_000, 2_400, false),
            ("the", 2_500, 2_900, false),
            ("bell", 3_500, 3_900, false),
        ]
    );
    assert_eq!(right("he rang", ""), []);
    assert_eq!(right("", "he rang").len(), 2);
}

#[test]
fn a_word_across_a_cut_goes_where_most_of_it_is() {
    let words = heard("ring the bell");
    for (at, left) in [(0, 0), (1_200, 0), (1_201, 1), (1_700, 1), (9_000, 3)] {
        let (one, other) = cut_at(&words, FileMs(at));
        assert_eq!((one.len(), other.len()), (left, 3 - left), "{at}");
    }
}

#[test]
fn a_name_keeps_what_was_heard_for_it_as_long_as_it_is_whole() {
    let mut words = heard("at Tarrow Landing we stood");
    words[1].heard = Some("tarot lending".into());
    words[2].heard = Some(String::new());
    for word in &mut words {
        word.language = Some("en".into());
    }
    let told = |words: &[LineWord]| -> Vec<Option<String>> {
        words.iter().map(|word| word.heard.clone()).collect()
    };
    let texts = ["at", "Tarrow", "Landing,", "we", "all", "stood"];
    let more = reworded(&words, &texts, BOUNDS);
    let whole = Some("tarot lending".to_owned());
    let kept = [None, whole, Some(String::new()), None, None, None];
    assert_eq!(told(&more), kept);
    let english = |word: &LineWord| word.language.as_deref() == Some("en");
    assert!(more.iter().all(english), "{more:?}");
    let other = reworded(&words, &["at", "Harrow", "Landing", "we", "stood"], BOUNDS);
    assert_eq!(told(&other), vec![None; 5]);
    let (_, other) = cut_at(&words, words[2].start);
    assert_eq!(told(&other), vec![None; 3]);
}

#[test]
fn what_is_wrong_with_times_is_said() {
    let with = |n: usize, start, end| {
        let mut words = heard("ring the bell");
        (words[n].start, words[n].end) = (FileMs(start), FileMs(end));
        fault(&words, BOUNDS).unwrap_or_default()
    };
    assert_eq!(with(0, 1_100, 1_400), "");
    assert!(with(0, 900, 1_400).contains("the moment starts at 1000"));
    assert!(with(1, 1_399, 1_900).contains("the word before it ends at 1400"));
    assert!(with(1, 1_500, 1_500).contains("end at 1500"));
    assert!(with(2, 2_000, 5_001).contains("the moment ends at 5000"));
    assert!(has_room(400, BOUNDS) && !has_room(401, BOUNDS));
}

fn any_words() -> impl Strategy<Value = Vec<LineWord>> {
    let word = (
        "[abAB,.]{1,4}",
        -2_000..9_000_i64,
        -50..900_i64,
        0.0..1.0_f32,
    );
    prop::collection::vec(word, 0..12).prop_map(|words| {
        let one = |(text, start, length, confidence)| LineWord {
            text,
            start: FileMs(start),
            end: FileMs(start + length),
            confidence,
            ..LineWord::default()
        };
        words.into_iter().map(one).collect()
    })
}

proptest! {
    #[test]
    fn whatever_is_written_is_in_order_and_inside(
        words in any_words(),
        texts in prop::collection::vec("[abAB,.]{1,9}", 0..20),
        from in 0..5_000_i64,
        spare in 0..4_000_i64,
    ) {
        let most = words.len().max(texts.len()) as i64;
        let bounds = Bounds { from: FileMs(from), to: FileMs(from + LEAST_MS * most + spare) };
        let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
        let right = reworded(&words, &texts, bounds);
        let now: Vec<&str> = right.iter().map(|w| w.text.as_str()).collect();
        prop_assert_eq!(now, texts.clone());
        prop_assert_eq!(fault(&right, bounds), None);
        // The same again changes nothing.
        prop_assert_eq!(&reworded(&right, &texts, bounds), &right);
    }

    #[test]
    fn words_that_are_fine_stay(words in any_words(), room in 400..5_000_i64) {
        let bounds = Bounds { from: FileMs(0), to: FileMs(room) };
        let once = settled(words, bounds);
        prop_assert_eq!(fault(&once, bounds), None);
        prop_assert_eq!(&settled(once.clone(), bounds), &once);
    }
}
