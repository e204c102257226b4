//! Speech in crumbs of 0.2 s, alone and by the hundred.

use sayback::core::units::FileMs;
use sayback::speech::{HeardWord, Span, Whisper, pack};

use super::{hear, sets, whisper};

/// 16 kHz samples of the whole sonnet.
fn sonnet() -> Vec<f32> {
    use sayback::media::{AnalysisStream, ChannelPick, read_analysis};
    let file = sets::sonnet().file;
    let stream = AnalysisStream::open(&file, ChannelPick::Mix).expect("a recording");
    let end = FileMs(stream.duration_ms());
    read_analysis(&file, ChannelPick::Mix, FileMs(0), end).expect("samples")
}

/// Crumbs of 0.2 s, one every `every_ms` from `from_ms` on.
fn crumbs(count: usize, from_ms: i64, every_ms: i64) -> Vec<Span> {
    (0..count as i64)
        .map(|n| Span {
            start: FileMs(from_ms + n * every_ms),
            end: FileMs(from_ms + n * every_ms + 200),
        })
        .collect()
}

/// Hears spans of the sound through the windows and puts the words in the file.
fn through_windows(
    whisper: &mut Whisper,
    sound: &[f32],
    spans: &[Span],
) -> (usize, Vec<(usize, HeardWord)>) {
    let end_ms = sound.len() as i64 / 16;
    let mut all = Vec::new();
    let windows = pack(spans, FileMs(end_ms));
    for window in &windows {
        let mut read = |from: FileMs, to: FileMs| {
            Ok::<_, ()>(sound[from.0 as usize * 16..to.0.min(end_ms) as usize * 16].to_vec())
        };
        let passage = window.assemble(&mut read).expect("samples");
        let placed = passage.place(hear(whisper, passage.samples()));
        for (span, word) in &placed {
            let holds = passage.spans().iter().any(|piece| {
                piece.span == *span && piece.from.0 <= word.start_ms && word.end_ms <= piece.to.0
            });
            assert!(holds, "{word:?} lies outside its crumb {span}");
        }
        all.extend(placed);
    }
    (windows.len(), all)
}

fn are_in_order(words: &[(usize, HeardWord)]) {
    for (_, word) in words {
        assert!(word.start_ms < word.end_ms, "{word:?}");
    }
    for pair in words.windows(2) {
        assert!(pair[0].1.end_ms <= pair[1].1.start_ms, "{pair:?}");
        assert!(pair[0].0 <= pair[1].0, "{pair:?}");
    }
}

#[test]
fn crumbs_are_heard_in_order_alone_and_by_the_hundred() {
    let mut whisper = whisper();
    let sound = sonnet();
    // One in a file that is no longer.
    let alone = through_windows(&mut whisper, &sound[80_000..83_200], &crumbs(1, 0, 200));
    assert_eq!(alone.0, 1);
    are_in_order(&alone.1);

    // Some a second apart from one another: each keeps only its surroundings.
    let (windows, words) = through_windows(&mut whisper, &sound, &crumbs(34, 1_000, 1_500));
    assert!(windows <= 2, "{windows}");
    are_in_order(&words);

    // So near that together they are the sonnet.
    let (windows, words) = through_windows(&mut whisper, &sound, &crumbs(200, 2_500, 250));
    assert!(windows <= 3, "{windows}");
    are_in_order(&words);
    assert!(words.len() > 60, "{words:?}");
}
