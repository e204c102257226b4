use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;

/// A file whose every sample says where it is; 16 kHz, exact in f32 up to
/// 17 minutes.
fn numbered(from: FileMs, to: FileMs, file_end: i64) -> Vec<f32> {
    let to = to.0.min(file_end);
    ((from.0 * PER_MS)..(to * PER_MS))
        .map(|sample| sample as f32)
        .collect()
}

fn assemble(window: &Window, file_end: i64) -> Passage {
    window
        .assemble(&mut |from, to| {
            assert!(
                from.0 >= 0 && from < to && to.0 - from.0 <= WINDOW_MS,
                "{from:?} {to:?}"
            );
            Ok::<_, ()>(numbered(from, to, file_end))
        })
        .unwrap_or_else(|()| unreachable!())
}

/// Ordered spans apart from one another, and the end of their file.
fn files() -> impl Strategy<Value = (Vec<Span>, i64)> {
    let gap = prop_oneof![0..50_i64, 50..1_500_i64, 1_500..60_000_i64];
    let length = prop_oneof![1..300_i64, 300..8_000_i64, 8_000..60_000_i64];
    (prop::collection::vec((gap, length), 0..8), 0..3_000_i64).prop_map(|(list, tail)| {
        let mut at = 0;
        let spans = list
            .into_iter()
            .map(|(gap, length)| {
                let start = at + gap;
                at = start + length;
                Span {
                    start: FileMs(start),
                    end: FileMs(at),
                }
            })
            .collect();
        (spans, at + tail)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn every_sample_says_where_it_came_from((spans, file_end) in files()) {
        for window in pack(&spans, FileMs(file_end)) {
            let passage = assemble(&window, file_end);
            prop_assert!(passage.samples().len() as i64 <= WINDOW_MS * PER_MS);
            prop_assert!(!passage.samples().is_empty());
            let mut at_ms = 0;
            for span in passage.spans() {
                prop_assert_eq!(span.at_ms, at_ms);
                let first = (span.at_ms * PER_MS) as usize;
                let count = ((span.to.0 - span.from.0) * PER_MS) as usize;
                for (offset, &sample) in passage.samples()[first..first + count].iter().enumerate() {
                    prop_assert_eq!(sample as i64, span.from.0 * PER_MS + offset as i64);
                }
                at_ms += span.to.0 - span.from.0;
            }
            prop_assert_eq!(passage.samples().len() as i64, at_ms * PER_MS);
        }
    }

    #[test]
    fn every_instant_of_a_span_is_heard_once((spans, file_end) in files()) {
        let mut heard: BTreeMap<usize, Vec<(i64, i64)>> = BTreeMap::new();
        let mut last = 0;
        for window in pack(&spans, FileMs(file_end)) {
            for span in assemble(&window, file_end).spans() {
                // In order, and nothing twice, the kept gaps included.
                prop_assert!(span.from.0 >= last && span.from < span.to);
                last = span.to.0;
                heard.entry(span.span).or_default().push((span.from.0, span.to.0));
            }
        }
        prop_assert!(last <= file_end);
        prop_assert_eq!(heard.len(), spans.len());
        for (index, pieces) in heard {
            prop_assert!(pieces[0].0 <= spans[index].start.0);
            prop_assert!(pieces.last().unwrap().1 >= spans[index].end.0);
            for pair in pieces.windows(2) {
                prop_assert_eq!(pair[0].1, pair[1].0);
            }
        }
    }

    #[test]
    fn words_come_back_to_their_samples((spans, file_end) in files(), at in 0.0..1.0_f64, length in 1..900_i64) {
        for window in pack(&spans, FileMs(file_end)) {
            let passage = assemble(&window, file_end);
            let total = passage.samples().len() as i64 / PER_MS;
            let start_ms = ((total - 1) as f64 * at) as i64;
            let word = HeardWord {
                text: "oar".into(),
                start_ms,
                end_ms: (start_ms + length).min(total),
                confidence: 1.0,
                ..HeardWord::default()
            };
            let middle = (word.start_ms + word.end_ms) / 2;
            let (span, placed) = passage.placed(word.clone()).unwrap();
            let piece = passage.spans().iter().rfind(|piece| piece.at_ms <= middle).unwrap();
            prop_assert_eq!(span, piece.span);
            prop_assert!(placed.start_ms < placed.end_ms);
            prop_assert!(piece.from.0 <= placed.start_ms && placed.end_ms <= piece.to.0);
            // Inside one piece nothing is shortened.
            if word.start_ms >= piece.at_ms && word.end_ms - piece.at_ms <= piece.to.0 - piece.from.0 {
                let sample = passage.samples()[(word.start_ms * PER_MS) as usize];
                prop_assert_eq!(placed.start_ms * PER_MS, sample as i64);
                prop_assert_eq!(placed.end_ms - placed.start_ms, word.end_ms - word.start_ms);
            }
        }
    }
}

fn span(start: i64, end: i64) -> Span {
    Span {
        start: FileMs(start),
        end: FileMs(end),
    }
}

#[test]
fn no_speech_needs_no_window() {
    assert!(pack(&[], FileMs(3_600_000)).is_empty());
    assert!(pack(&[span(5, 5), span(9, 3), span(100, 200)], FileMs(50)).is_empty());
}

#[test]
fn overlapping_spans_are_heard_once() {
    let windows = pack(&[span(2_000, 5_000), span(1_000, 3_000)], FileMs(6_000));
    let passage = assemble(&windows[0], 6_000);
    let found: Vec<_> = passage
        .spans()
        .iter()
        .map(|s| (s.span, s.from.0, s.to.0))
        .collect();
    assert_eq!(found, [(1, 800, 3_000), (0, 3_000, 5_200)]);
}

#[test]
fn long_gaps_leave_only_their_edges() {
    let windows = pack(
        &[span(10_000, 12_000), span(60_000, 61_000)],
        FileMs(90_000),
    );
    let passage = assemble(&windows[0], 90_000);
    let found: Vec<_> = passage
        .spans()
        .iter()
        .map(|s| (s.from.0, s.to.0, s.at_ms))
        .collect();
    assert_eq!(found, [(9_800, 12_200, 0), (59_800, 61_200, 2_400)]);
}

#[test]
fn a_long_span_is_cut_where_it_is_quiet() {
    // One minute of steady sound with 300 ms pauses at 21.5 s and 41.0 s.
    let pauses = [(21_500, 21_800), (41_000, 41_300)];
    let mut read = |from: FileMs, to: FileMs| {
        let sample = |ms: i64| {
            if pauses.iter().any(|&(a, b)| (a..b).contains(&ms)) {
                0.001
            } else {
                0.3
            }
        };
        Ok::<_, ()>(
            (from.0 * PER_MS..to.0 * PER_MS)
                .map(|at| sample(at / PER_MS))
                .collect(),
        )
    };
    let cuts: Vec<i64> = pack(&[span(0, 60_000)], FileMs(60_000))
        .iter()
        .map(|window| window.assemble(&mut read).unwrap().spans()[0].to.0)
        .collect();
    assert_eq!(cuts.len(), 3);
    assert!(
        (21_600..=21_700).contains(&cuts[0]) && (41_100..=41_200).contains(&cuts[1]),
        "{cuts:?}"
    );
}

#[test]
fn a_window_closes_at_its_widest_gap() {
    // The third line would fit with the first two; the pause before it is the
    // better border for the fourth, which does not fit.
    let spans = [
        span(0, 12_000),
        span(12_300, 21_000),
        span(24_000, 27_000),
        span(27_300, 34_000),
    ];
    let windows = pack(&spans, FileMs(60_000));
    let spans: Vec<Vec<usize>> = windows
        .iter()
        .map(|window| {
            assemble(window, 60_000)
                .spans()
                .iter()
                .map(|s| s.span)
                .collect()
        })
        .collect();
    assert_eq!(spans, [vec![0, 1], vec![2, 3]]);
}

#[test]
fn wide_gaps_alone_make_no_more_windows() {
    // Six lines of 4.5 s fit, with 200 ms on either side; closing at each wide gap
    // would take three.
    let mut at = 0;
    let lines: Vec<Span> = (1..=12)
        .map(|n| {
            let start = at;
            at += 4_500 + if n % 4 == 0 { 9_000 } else { 2_000 };
            span(start, start + 4_500)
        })
        .collect();
    let held = |window: &Window| window.holds().count();
    let windows = pack(&lines, FileMs(at));
    assert_eq!(windows.iter().map(held).collect::<Vec<_>>(), [6, 6]);
}

#[test]
fn one_more_window_spares_closing_inside_sentences() {
    // Five blocks of 23 s: four windows would hold them, but close inside three.
    let lines: Vec<Span> = (0..55)
        .map(|n| {
            let start = n / 11 * 31_500 + n % 11 * 2_050;
            span(start, start + 2_000)
        })
        .collect();
    let held = |window: &Window| window.holds().count();
    let windows = pack(&lines, FileMs(200_000));
    assert_eq!(windows.iter().map(held).collect::<Vec<_>>(), [11; 5]);
}

#[test]
fn what_is_missing_at_the_end_of_the_file_is_silence() {
    let windows = pack(&[span(0, 2_000)], FileMs(2_000));
    let passage = windows[0]
        .assemble(&mut |_, _| Ok::<_, ()>(vec![0.5; 100]))
        .unwrap();
    assert_eq!(passage.samples().len(), 32_000);
    assert_eq!((passage.samples()[99], passage.samples()[100]), (0.5, 0.0));
}

#[test]
fn a_failing_read_is_passed_on() {
    let windows = pack(&[span(0, 2_000)], FileMs(2_000));
    assert_eq!(windows[0].assemble(&mut |_, _| Err("gone")), Err("gone"));
}

/// A speaker who never stops: nothing grows with the length but the list of
/// windows, and every instant is heard once.
#[test]
fn three_hours_without_a_pause_are_cut_in_reading() {
    let end = 3 * 3_600_000;
    let windows = pack(&[span(0, end)], FileMs(end));
    assert_eq!(windows.len() as i64, (end + PART_MS - 1) / PART_MS);
    let held: usize = windows.iter().map(|w| w.pieces.capacity()).sum();
    assert!(held <= 8 * windows.len(), "{held}");
    let mut asked_ms = 0;
    let mut heard_to = 0;
    for window in &windows {
        let passage = window
            .assemble(&mut |from, to| {
                let length = to.0 - from.0;
                assert!(from.0 >= 0 && (1..=WINDOW_MS).contains(&length));
                asked_ms += length;
                Ok::<_, ()>(vec![0.25; (length * PER_MS) as usize])
            })
            .unwrap();
        assert!(passage.samples().len() as i64 <= WINDOW_MS * PER_MS);
        let [only] = passage.spans() else {
            panic!("{:?}", passage.spans());
        };
        assert_eq!(only.from.0, heard_to);
        heard_to = only.to.0;
    }
    assert_eq!(heard_to, end);
    // Beside every instant once, the surroundings of each border, twice.
    assert_eq!(
        asked_ms,
        end + 2 * 2 * REACH_MS * (windows.len() as i64 - 1)
    );
}
