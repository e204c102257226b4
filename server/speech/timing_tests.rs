use super::*;

/// Sound of a window: loud where `voice` says, by ms.
fn sound(ms: i64, voice: impl Fn(i64) -> bool) -> Loudness {
    let mut random = 1_u32;
    let samples: Vec<f32> = (0..ms * 16)
        .map(|at| {
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (random >> 8) as f32 / (1 << 23) as f32 - 1.0;
            noise * if voice(at / 16) { 0.3 } else { 0.001 }
        })
        .collect();
    Loudness::new(&samples)
}

/// A word, and where the alignment has its start and its end.
fn word(text: &str, from_ms: Option<i64>, to_ms: i64) -> Spelled {
    Spelled {
        text: text.into(),
        confidence: 1.0,
        from_ms: from_ms.map(|ms| ms + LATE_MS),
        to_ms: Some(to_ms + LATE_MS),
        rests: from_ms.is_none(),
        guessed: false,
    }
}

fn near(times: &[(i64, i64)], expected: &[(i64, i64)]) {
    let close = |a: &(i64, i64), b: &(i64, i64)| (a.0 - b.0).abs() <= 20 && (a.1 - b.1).abs() <= 20;
    assert!(
        times.len() == expected.len() && times.iter().zip(expected).all(|(a, b)| close(a, b)),
        "{times:?}, not {expected:?}"
    );
}

#[test]
fn words_begin_and_end_with_the_voice() {
    // Two words, said at 0.5 to 1.0 s and 2.0 to 2.5 s; the alignment is off by up
    // to 120 ms, and lets the second begin where the first ends.
    let loudness = sound(3_000, |ms| {
        (500..1_000).contains(&ms) || (2_000..2_500).contains(&ms)
    });
    let words = [word("ferry", None, 930), word("river", Some(930), 2_620)];
    near(&times(&words, &loudness), &[(500, 1_000), (2_000, 2_500)]);
}

#[test]
fn voice_before_the_first_word_and_after_the_last_is_theirs() {
    // A slow first word of which only the end is known, and a last one that the
    // alignment ends 300 ms early.
    let loudness = sound(3_000, |ms| {
        (200..1_600).contains(&ms) || (2_000..2_600).contains(&ms)
    });
    let words = [word("Well", None, 1_600), word("all", Some(1_600), 2_300)];
    near(&times(&words, &loudness), &[(200, 1_600), (2_000, 2_600)]);
}

#[test]
fn a_word_lies_on_the_alignments_side_of_a_pause() {
    // 'you' before the pause, or after it, by the alignment alone: three words of
    // voice on either side.
    let loudness = sound(4_000, |ms| {
        (200..1_400).contains(&ms) || (2_400..3_600).contains(&ms)
    });
    let mut before = [
        word("both", None, 500),
        word("of", Some(500), 850),
        word("you.", Some(850), 1_350),
        word("Hello", Some(1_350), 2_900),
        word("all", Some(2_900), 3_550),
    ];
    before[3].rests = true;
    let found = times(&before, &loudness);
    assert!(found[2].1 <= 1_420 && found[3].0 >= 2_380, "{found:?}");
    let after = [
        word("both", None, 700),
        word("of", Some(700), 1_350),
        word("you", Some(1_350), 2_750),
        word("Hello", Some(2_750), 3_150),
        word("all", Some(3_150), 3_550),
    ];
    let found = times(&after, &loudness);
    assert!(found[1].1 <= 1_420 && found[2].0 >= 2_380, "{found:?}");
}

#[test]
fn within_voice_the_alignment_decides() {
    let loudness = sound(2_400, |ms| (200..2_200).contains(&ms));
    let words = [word("a", None, 400), word("landing", Some(400), 2_150)];
    let found = times(&words, &loudness);
    assert!((found[1].0 - 400).abs() <= 50, "{found:?}");
}

#[test]
fn a_floor_of_noise_does_not_hide_the_voice() {
    // Voice 10 dB above a noise that never stops.
    let mut random = 7_u32;
    let samples: Vec<f32> = (0..48_000)
        .map(|at| {
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (random >> 8) as f32 / (1 << 23) as f32 - 1.0;
            noise
                * if (16_000..25_600).contains(&at) {
                    0.3
                } else {
                    0.095
                }
        })
        .collect();
    let words = [word("boathouse", None, 1_680)];
    near(&times(&words, &Loudness::new(&samples)), &[(1_000, 1_600)]);
}

#[test]
fn without_an_alignment_words_share_the_voice() {
    let loudness = sound(3_000, |ms| {
        (500..1_000).contains(&ms) || (2_000..2_500).contains(&ms)
    });
    let mut words = [word("ferry", None, 0), word("river", None, 0)];
    guess(&mut words, 0, 3_000, &loudness);
    near(&times(&words, &loudness), &[(500, 1_000), (2_000, 2_500)]);
}

proptest::proptest! {
    #[test]
    fn words_are_in_order_and_last(
        ends in proptest::collection::vec((-200..6_000_i64, proptest::option::of(-200..6_000_i64)), 0..60),
        length in 10..4_000_i64,
        quiet in 1..400_i64,
        guessed in proptest::bool::ANY,
    ) {
        let loudness = sound(length, |ms| (ms / quiet) % 2 == 0);
        let mut words: Vec<Spelled> = ends.iter().map(|&(to, from)| word("oars", from, to)).collect();
        if guessed {
            guess(&mut words, 300, 200 + length, &loudness);
        }
        let found = times(&words, &loudness);
        proptest::prop_assert_eq!(found.len(), words.len());
        let mut last = 0;
        for (start, end) in found {
            proptest::prop_assert!(last <= start && start < end);
            last = end;
        }
        proptest::prop_assert!(last <= length.max(ends.len() as i64));
    }
}
