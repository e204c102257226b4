//! Whatever a list holds.

use proptest::prelude::*;
use sayback_core::timecode::FrameRate;

use super::*;

fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![
        ".{0,40}",
        "[-=+@,;:\"'<>&{} \r\n\t\u{0}\u{202E}\u{2028}愿🎉*0-9]{0,40}",
        Just("* FROM CLIP NAME:  x".to_owned()),
        Just("001  X A C 0 1 2 3".to_owned()),
        Just("M2 X 0 00:00:00:00".to_owned()),
    ]
}

fn any_cut() -> impl Strategy<Value = Cut> {
    let hz = proptest::sample::select(&[8_000_u32, 44_100, 48_000, 96_000][..]);
    let media = (
        any_text(),
        any_text(),
        hz,
        1u16..9,
        proptest::option::of(0u64..4_147_200_000),
        any::<bool>(),
    );
    let media = media.prop_map(
        |(label, file_name, hz, channels, time_reference, online)| Media {
            label,
            sample_rate_hz: hz,
            channels,
            time_reference,
            online,
            ..recording(&file_name)
        },
    );
    let takes =
        proptest::collection::vec((0usize..3, 0u64..400_000, 1u64..80_000, -90.0..90.0), 1..4);
    let takes = takes.prop_map(|takes| {
        let each = takes.into_iter().map(|(media, from, length, ppm)| Take {
            ppm,
            ..take(media, from, from + length)
        });
        each.collect::<Vec<Take>>()
    });
    let words = proptest::collection::vec(
        (
            any_text(),
            0u64..480_000,
            0u64..40_000,
            proptest::option::of(any_text()),
        ),
        0..6,
    );
    let words = words.prop_map(|words| {
        let each = words
            .into_iter()
            .map(|(text, from, length, person)| CutWord {
                person,
                ..word(&text, from, from + length)
            });
        each.collect::<Vec<CutWord>>()
    });
    let optional = || proptest::option::of(any_text());
    let quotes = (any_text(), optional(), optional(), words, takes).prop_map(
        |(text, person, note, words, takes)| Quote {
            person,
            note,
            words,
            ..quote(&text, takes)
        },
    );
    (
        any_text(),
        proptest::sample::select(&FrameRate::ALL[..]),
        proptest::collection::vec(media, 3),
        proptest::collection::vec(quotes, 0..8),
    )
        .prop_map(|(title, rate, media, quotes)| Cut {
            title,
            rate,
            media,
            quotes,
            ..toasts()
        })
}

proptest! {
    /// Record positions are within half a frame of the exact clock, unless a quote is
    /// shorter than a frame; each edge of the source is less than a frame off.
    #[test]
    fn frames_keep_to_the_exact_clock(cut in any_cut()) {
        let laid = cut.laid().expect("it can be cut");
        let second = laid.ticks_a_second() as f64;
        let rate = cut.rate.per_second();
        let mut short = false;
        for placed in laid.quotes() {
            let (start, end) = (placed.start as f64 / second * rate, placed.end as f64 / second * rate);
            short |= end - start < 1.0;
            if short {
                continue;
            }
            prop_assert!((placed.first_frame as f64 - start).abs() <= 0.5 + 1e-6);
            prop_assert!((placed.end_frame as f64 - end).abs() <= 0.5 + 1e-6);
            let frames = placed.end_frame - placed.first_frame;
            let (first, after) = laid.source_frames(placed.media, placed.take, frames);
            prop_assert_eq!(after - first, frames);
            let hz = f64::from(placed.media.sample_rate_hz);
            let begins = placed.media.time_reference.unwrap_or(0);
            let frame = |sample: u64| (begins + sample) as f64 / hz * rate;
            prop_assert!((first as f64 - frame(placed.take.from)).abs() < 1.0 + 1e-6);
            prop_assert!((after as f64 - frame(placed.take.to)).abs() < 1.0 + 1e-6);
        }
    }

    #[test]
    fn whatever_is_in_a_list_an_edit_decision_list_is_lines(cut in any_cut(), words: bool, per_source: bool) {
        let laid = cut.laid().expect("it can be cut");
        let options = Options { word_markers: words, per_source, ..Options::of(&cut) };
        for list in CutFormat::Edl.write(&laid, &options).expect("lists") {
            let mut before = 0;
            for (n, line) in list.text.split_terminator("\r\n").enumerate() {
                prop_assert!(!line.contains(char::is_control), "{:?}", line);
                match n {
                    0 => prop_assert!(line.starts_with("TITLE: ")),
                    1 => prop_assert!(line.starts_with("FCM: ")),
                    2 => prop_assert_eq!(line, ""),
                    _ if line.starts_with("* ") => {}
                    _ => {
                        let fields: Vec<&str> = line.split_whitespace().collect();
                        prop_assert_eq!(fields.len(), 8, "{}", line);
                        let frames = |at: usize| cut.rate.frame_of(fields[at]).expect("a label");
                        let (record_in, record_out) = (frames(6), frames(7));
                        prop_assert!(before <= record_in && record_in < record_out);
                        let day = cut.rate.frames_in_a_day();
                        prop_assert_eq!((frames(5) + day - frames(4)) % day, record_out - record_in);
                        before = record_out;
                    }
                }
            }
        }
    }

    #[test]
    fn whatever_is_in_a_list_tables_and_timelines_are_read(cut in any_cut(), words: bool) {
        let laid = cut.laid().expect("it can be cut");
        let options = Options { word_markers: words, ..Options::of(&cut) };
        for format in CutFormat::ALL {
            for file in format.write(&laid, &options).expect("a file") {
                prop_assert!(!file.name.contains(['/', '\\', '\0']) && !file.name.starts_with('.'));
                match format {
                    CutFormat::Otio => {
                        let read: serde_json::Value = serde_json::from_str(&file.text).expect("JSON");
                        let clips = read["tracks"]["children"][0]["children"].as_array().map(Vec::len);
                        prop_assert_eq!(clips, Some(cut.quotes.len()));
                    }
                    CutFormat::Csv | CutFormat::Markers => {
                        let mut reader = csv::Reader::from_reader(file.text.as_bytes());
                        let rows = reader.records().filter_map(Result::ok).filter(|row| !row.iter().any(|c| {
                            c.starts_with(['=', '+', '@']) || (c.starts_with('-') && c.parse::<f64>().is_err())
                        }));
                        let rows = rows.count();
                        prop_assert!(rows == cut.quotes.len() || (words && rows > cut.quotes.len()));
                    }
                    CutFormat::Page => {
                        prop_assert_eq!(file.text.matches("<li id=").count(), cut.quotes.len());
                        prop_assert!(!file.text.contains("<script"));
                    }
                    _ => {}
                }
            }
        }
    }
}
