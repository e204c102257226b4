//! Published values, and every frame of a day.

use proptest::prelude::*;

use super::*;

/// Frame, drop-frame label, non-drop label at 30000/1001: OpenTimelineIO's
/// `tests/test_opentime.py`, and its version 0.18.1 run.
const AT_29_97: [(u64, &str, &str); 10] = [
    (1_799, "00:00:59;29", "00:00:59:29"),
    (1_800, "00:01:00;02", "00:01:00:00"),
    (3_597, "00:01:59;29", "00:01:59:27"),
    (3_598, "00:02:00;02", "00:01:59:28"),
    (10_789, "00:05:59;29", "00:05:59:19"),
    (10_790, "00:06:00;02", "00:05:59:20"),
    (17_981, "00:09:59;29", "00:09:59:11"),
    (17_982, "00:10:00;00", "00:09:59:12"),
    (107_891, "00:59:59;29", "00:59:56:11"),
    (107_892, "01:00:00;00", "00:59:56:12"),
];

#[test]
fn frames_at_29_97_have_their_published_labels() {
    let (drop, all) = (FrameRate::R29_97_DROP, FrameRate::R29_97);
    let more = [
        (53_946, "00:30:00;00", "00:29:58:06"),
        (2_589_407, "23:59:59;29", "23:58:33:17"),
    ];
    for (frame, dropping, counting) in AT_29_97.into_iter().chain(more) {
        assert_eq!(drop.label(frame), dropping);
        assert_eq!(all.label(frame), counting);
        assert_eq!(drop.frame_of(dropping), Ok(frame));
        assert_eq!(all.frame_of(counting), Ok(frame));
    }
    assert_eq!(drop.frames_in_a_day(), 2_589_408);
    assert_eq!(drop.label(2_589_408), "00:00:00;00");
}

/// The same source.
#[test]
fn frames_at_59_94_drop_four() {
    let rate = FrameRate::R59_94_DROP;
    for (frame, label) in [
        (3_599, "00:00:59;59"),
        (3_600, "00:01:00;04"),
        (35_964, "00:10:00;00"),
        (215_784, "01:00:00;00"),
    ] {
        assert_eq!(rate.label(frame), label);
        assert_eq!(rate.frame_of(label), Ok(frame));
    }
}

#[test]
fn labels_that_are_left_out_are_refused() {
    let rate = FrameRate::R29_97_DROP;
    for label in ["00:01:00;00", "00:01:00;01", "23:59:00;00", "00:09:00:01"] {
        assert_eq!(
            rate.frame_of(label),
            Err(TimecodeError::Dropped(label.into()))
        );
        assert!(FrameRate::R29_97.frame_of(&label.replace(';', ":")).is_ok());
    }
    for frames in 0..4 {
        let label = format!("00:01:00;{frames:02}");
        assert!(FrameRate::R59_94_DROP.frame_of(&label).is_err(), "{label}");
    }
    for label in ["00:00:00;00", "00:10:00;00", "00:20:00;01", "00:01:01;00"] {
        assert!(rate.frame_of(label).is_ok(), "{label}");
    }
}

#[test]
fn a_hundred_and_twenty_frames_have_labels_of_their_own() {
    let rate = FrameRate::new(120, 1, false).expect("a rate");
    for (frame, label) in [
        (99, "00:00:00:99"),
        (119, "00:00:00:119"),
        (120, "00:00:01:00"),
    ] {
        assert_eq!(rate.label(frame), label);
        assert_eq!(rate.frame_of(label), Ok(frame));
    }
    for label in ["00:00:00:120", "00:00:00:099", "00:00:00:1190"] {
        assert!(rate.frame_of(label).is_err(), "{label}");
    }
}

#[test]
fn what_is_no_label_is_refused() {
    for label in [
        "",
        "01:00:00",
        "01:00:00:0",
        "01:00:00:000",
        "1:00:00:00",
        "24:00:00:00",
        "00:60:00:00",
        "00:00:60:00",
        "00:00:00:25",
        "00:00:00;00",
        "00.00.00.00",
        "+1:00:00:00",
        " 1:00:00:00",
        "00:00:0０:0",
        "aa:bb:cc:dd",
        "00:00:00:-1",
    ] {
        let refused = FrameRate::R25.frame_of(label);
        assert_eq!(refused, Err(TimecodeError::Label(label.into())));
    }
}

#[test]
fn dropping_is_for_29_97_and_59_94_alone() {
    for rate in [
        "23.976df",
        "24df",
        "25df",
        "30df",
        "50df",
        "60df",
        "24000/1001df",
    ] {
        let refused = rate.parse::<FrameRate>();
        assert_eq!(refused, Err(TimecodeError::Drop(rate.into())));
    }
    for rate in [
        "", "0", "1/0", "25/", "-25", "25.0", "1000", "x/y", "1/2", "df", "29.97 d",
    ] {
        assert_eq!(
            rate.parse::<FrameRate>(),
            Err(TimecodeError::Rate(rate.into()))
        );
    }
    for (written, rate) in [
        ("29.97 DF", FrameRate::R29_97_DROP),
        ("29.97ndf", FrameRate::R29_97),
        ("30000/1001 df", FrameRate::R29_97_DROP),
        ("60000/1001", FrameRate::R59_94),
        ("48000/2002", FrameRate::R23_976),
        (" 50/2 ", FrameRate::R25),
        ("23.98", FrameRate::R23_976),
    ] {
        assert_eq!(written.parse(), Ok(rate), "{written}");
    }
    for rate in FrameRate::ALL {
        assert_eq!(rate.to_string().parse(), Ok(rate));
    }
}

#[test]
fn every_frame_of_a_day_has_one_label() {
    for rate in FrameRate::ALL {
        // Without dropping, labels only count; four are dropped as two are.
        let step = match (rate, rate.is_drop()) {
            (FrameRate::R29_97_DROP, _) => 1,
            (_, true) => 7,
            (_, false) => 997,
        };
        let mut before = String::new();
        for frame in (0..rate.frames_in_a_day()).step_by(step) {
            let label = rate.label(frame);
            assert!(before < label, "{before} then {label} at {rate}");
            assert_eq!(rate.frame_of(&label), Ok(frame), "{label} at {rate}");
            before = label;
        }
        assert_eq!(rate.label(rate.frames_in_a_day()), rate.label(0));
    }
}

/// At 48 kHz a frame lasts 2,002 samples of 23.976, 1,601.6 of 29.97 and 1,920 of 25.
#[test]
fn frames_begin_at_whole_samples() {
    for (rate, frame, sample) in [
        (FrameRate::R23_976, 1, 2_002),
        (FrameRate::R29_97, 1, 1_602),
        (FrameRate::R29_97, 5, 8_008),
        (FrameRate::R25, 1, 1_920),
        (FrameRate::R29_97_DROP, 107_892, 172_799_828),
    ] {
        assert_eq!(rate.sample_of(frame, 48_000), sample);
        assert_eq!(rate.frame_at(sample, 48_000), frame);
        assert_eq!(rate.frame_at(sample - 1, 48_000), frame - 1);
    }
    assert_eq!(FrameRate::R25.frame_at(7, 0), 0);
}

/// Samples at 30,000 Hz make a frame of 30000/1001 exactly 1,001 samples.
#[test]
fn time_of_day_by_a_stamp() {
    for (frame, _, label) in AT_29_97 {
        let samples = frame * 1_001;
        let code = of_day(samples, 30_000, 0, FrameRate::R29_97);
        assert_eq!(code.as_deref(), Some(label));
    }
    let noon = 48_000 * 43_200;
    let code = |samples, ms| of_day(samples, 48_000, ms, FrameRate::R25);
    assert_eq!(code(noon, 1_040).as_deref(), Some("12:00:01:01"));
    assert_eq!(code(noon, 1_039).as_deref(), Some("12:00:01:00"));
    assert_eq!(code(noon * 2, 0).as_deref(), Some("00:00:00:00"));
    assert!(code(u64::MAX, i64::MAX).is_some());
    assert_eq!(code(0, -1), None);
    assert_eq!(of_day(0, 0, 0, FrameRate::R25), None);
}

fn any_rate() -> impl Strategy<Value = FrameRate> {
    let fraction = (1u32..4_000_000, 1u32..40_000)
        .prop_filter_map("a rate", |(a, b)| FrameRate::new(a, b, false).ok());
    prop_oneof![3 => proptest::sample::select(&FrameRate::ALL[..]), 1 => fraction]
}

/// A frame of 30000/1001 is 1001/30 ms.
#[test]
fn frames_are_exact_in_ms() {
    let rate = FrameRate::R29_97;
    assert_eq!(rate.ms_of(1), 33.0 + 11_000.0 / 30_000.0);
    assert_eq!(rate.ms_of(30), 1_001.0);
    assert_eq!(rate.ms_of(-30), -1_001.0);
    assert_eq!(FrameRate::R25.ms_of(2), 80.0);
    // Labels are dropped, frames are not.
    assert_eq!(FrameRate::R29_97_DROP.ms_of(1_800), rate.ms_of(1_800));
}

#[test]
fn a_fraction_says_the_same_rate() {
    for rate in FrameRate::ALL {
        assert_eq!(rate.exact().parse(), Ok(rate));
    }
}

proptest! {
    /// Of any rate and any sum of frames, however it is put together.
    #[test]
    fn frames_add_up_in_ms(
        frames in 1_u32..=120,
        parts in prop::collection::vec(-5_000_i64..5_000, 0..40),
    ) {
        for (over, seconds) in [(frames, 1), (frames * 1000, 1001)] {
            let Ok(rate) = FrameRate::new(over, seconds, false) else { continue };
            let sum: i64 = parts.iter().sum();
            let exact = sum as f64 * 1000.0 * f64::from(seconds) / f64::from(over);
            prop_assert!((rate.ms_of(sum) - exact).abs() < 1e-6 * exact.abs().max(1.0));
        }
    }

    #[test]
    fn a_label_is_the_frame_and_back(rate in any_rate(), frame: u64) {
        let of_day = frame % rate.frames_in_a_day();
        prop_assert_eq!(rate.frame_of(&rate.label(frame)), Ok(of_day));
    }

    #[test]
    fn any_text_is_a_label_or_refused(
        rate in any_rate(),
        text in "[0-2][0-9]:[0-6][0-9]:[0-6][0-9][:;.][0-9]{2,3}|.{0,12}",
    ) {
        if let Ok(frame) = rate.frame_of(&text) {
            prop_assert!(frame < rate.frames_in_a_day());
            prop_assert_eq!(rate.label(frame).replace(';', ":"), text.replace(';', ":"));
        }
    }

    #[test]
    fn a_frame_sounds_from_its_first_sample(
        rate in any_rate(),
        frame in 0u64..10_000_000,
        hz in 8_000u32..768_000,
    ) {
        let sample = rate.sample_of(frame, hz);
        prop_assert_eq!(rate.frame_at(sample, hz), frame);
        prop_assert!(sample == 0 || rate.frame_at(sample - 1, hz) == frame - 1);
        prop_assert_eq!(rate.nearest(u128::from(sample), u64::from(hz)), frame);
    }

    #[test]
    fn the_nearest_frame_is_at_most_half_a_frame_away(
        rate in any_rate(),
        ticks in 0u128..1 << 70,
        second in 1u64..1 << 53,
    ) {
        let (frames, seconds) = rate.fraction();
        let low = u128::from(second) * u128::from(seconds);
        let up = 2 * ticks * u128::from(frames);
        let found = u128::from(rate.nearest(ticks, second));
        prop_assume!(found < u128::from(u64::MAX));
        prop_assert!((2 * found * low).abs_diff(up) <= low);
    }

    #[test]
    fn nothing_written_ends_the_program(text in ".{0,16}", samples: u64, hz: u32, ms: i64) {
        if let Ok(rate) = text.parse::<FrameRate>() {
            prop_assert_eq!(rate.to_string().parse(), Ok(rate));
        }
        for rate in FrameRate::ALL {
            let code = of_day(samples, hz, ms, rate);
            prop_assert_eq!(code.is_some(), hz > 0 && ms >= 0);
            prop_assert!(code.is_none_or(|code| rate.frame_of(&code).is_ok()));
        }
    }
}
