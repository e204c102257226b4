//! Sound that no recorder should give, and some do: clipped, from a telephone,
//! stuck, broken, noise alone.

use sayback::core::units::FileMs;
use sayback::media::{ChannelPick, probe, read_analysis};
use sayback::speech::HeardWord;
use xtask::oracle;

use super::{hear, score, sets, whisper, window};

/// 16 kHz.
const SECOND: usize = 16_000;

/// Words in order, none without length, all in a window of so many samples.
fn are_sound(what: &str, words: &[HeardWord], samples: usize) {
    let mut last = 0;
    for word in words {
        assert!(
            last <= word.start_ms && word.start_ms < word.end_ms,
            "{what}: {word:?}"
        );
        assert!((0.0..=1.0).contains(&word.confidence), "{what}: {word:?}");
        last = word.end_ms;
    }
    assert!(last <= samples as i64 / 16, "{what}: {words:?}");
}

fn square(hz: usize) -> impl Fn(usize) -> f32 {
    move |n| {
        if (n * 2 * hz / SECOND).is_multiple_of(2) {
            1.0
        } else {
            -1.0
        }
    }
}

#[test]
fn sound_that_is_no_speech_gives_only_words_with_sound_times() {
    let mut whisper = whisper();
    // xorshift32 (Marsaglia 2003).
    let mut state = 0x5eed_u32;
    let mut noise = move |_: usize| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        f64::from(state) as f32 / 2.0_f32.powi(31) - 1.0
    };
    let of = |seconds: usize, wave: &mut dyn FnMut(usize) -> f32| -> Vec<f32> {
        (0..seconds * SECOND).map(wave).collect()
    };
    let cases = [
        ("noise", of(30, &mut noise)),
        ("a square wave", of(12, &mut square(110))),
        ("direct current", of(8, &mut |_| 1.0)),
        (
            "no numbers",
            of(5, &mut |n| {
                if n % 2 == 0 {
                    f32::NAN
                } else {
                    f32::NEG_INFINITY
                }
            }),
        ),
        (
            "far beyond full scale",
            of(5, &mut |n| square(220)(n) * f32::MAX),
        ),
    ];
    for (what, samples) in cases {
        let words = hear(&mut whisper, &samples);
        are_sound(what, &words, samples.len());
    }
}

/// Driven ten times too loud, as a wrong gain does it, most words stay: three of four.
/// With every sample at full scale, one way or the other, still more than half do.
#[test]
fn speech_clipped_to_square_waves_is_heard() {
    let mut whisper = whisper();
    let clear = window();
    let said = score::plain(&sets::sonnet().words);
    let said: Vec<&str> = said.split_whitespace().collect();
    let square = |s: &f32| if *s < 0.0 { -1.0 } else { 1.0 };
    let hot = |s: &f32| (s * 10.0).clamp(-1.0, 1.0);
    let cases: [(&str, Vec<f32>, f32); 2] = [
        ("clipped", clear.iter().map(square).collect(), 0.5),
        ("hot", clear.iter().map(hot).collect(), 0.75),
    ];
    for (what, samples, least) in cases {
        let words = hear(&mut whisper, &samples);
        are_sound(what, &words, samples.len());
        let heard = plain(&words);
        let known = heard.iter().filter(|word| said.contains(&word.as_str()));
        let known = known.count();
        assert!(
            heard.len() > 40 && known as f32 >= least * heard.len() as f32,
            "{what}: {known} of {heard:?}"
        );
    }
}

fn plain(words: &[HeardWord]) -> Vec<String> {
    words.iter().map(|word| score::plain(&word.text)).collect()
}

/// Prompts of a telephone exchange, 8 kHz, one after the other with pauses; their
/// files are named by what they say.
#[test]
fn telephone_sound_is_heard() {
    let folder = oracle::data("asterisk-core-sounds-en-wav");
    let prompts = folder.join("usr/share/asterisk/sounds/en_US_f_Allison");
    let mut sound = Vec::new();
    for name in [
        "please-try-again",
        "one-moment-please",
        "telephone-number",
        "goodbye",
    ] {
        let file = prompts.join(format!("{name}.wav"));
        let about = probe(&file).expect("a recording");
        assert_eq!(about.rate_hz, 8_000);
        let end = FileMs(about.duration_ms);
        sound.extend(read_analysis(&file, ChannelPick::Mix, FileMs(0), end).expect("samples"));
        sound.resize(sound.len() + SECOND, 0.0);
    }
    let words = hear(&mut whisper(), &sound);
    are_sound("telephone", &words, sound.len());
    let heard = plain(&words).join(" ");
    for said in [
        "please try again",
        "one moment please",
        "telephone number",
        "goodbye",
    ] {
        assert!(heard.contains(said), "{said}: {heard}");
    }
}
