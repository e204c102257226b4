//! Worked values, and whatever text there is.

use proptest::prelude::*;
use sayback_core::units::FileMs;
use unicode_width::UnicodeWidthStr;

use super::cues::{COLUMNS, LONGEST_MS};
use super::*;

/// A sheet of a lectern's second file.
pub(super) fn sheet(lines: Vec<Line>) -> Sheet {
    Sheet {
        recording: "0192-a".into(),
        file: "LECT 002.wav".into(),
        source: "Lectern".into(),
        channel: None,
        lines,
    }
}

/// A moment of one word, which takes all of it; of none, if it is empty.
pub(super) fn line(start_ms: i64, end_ms: i64, text: &str) -> Line {
    let word = Word {
        text: text.into(),
        start: FileMs(start_ms),
        end: FileMs(end_ms),
        confidence: 0.875,
    };
    Line {
        start: FileMs(start_ms),
        end: FileMs(end_ms),
        speaker: None,
        also: None,
        doubt: None,
        words: Some(if text.is_empty() { vec![] } else { vec![word] }),
    }
}

/// A moment whose words follow each other without a pause, `each_ms` long.
pub(super) fn spoken(start_ms: i64, each_ms: i64, text: &str) -> Line {
    let words: Vec<Word> = text
        .split_whitespace()
        .zip(0..)
        .map(|(text, n)| Word {
            text: text.into(),
            start: FileMs(start_ms + n * each_ms),
            end: FileMs(start_ms + (n + 1) * each_ms),
            confidence: 0.5,
        })
        .collect();
    let end = words.last().map_or(start_ms, |word| word.end.0);
    Line {
        words: Some(words),
        ..line(start_ms, end, "")
    }
}

fn three() -> Sheet {
    let mut mary = spoken(2_000, 500, "No way! -->");
    mary.speaker = Some("Mary".into());
    let mut unsure = spoken(5_000, 400, "Rope & <kettle>,");
    unsure.doubt = Some("heard on a loud\nband".into());
    let mut hole = line(9_000, 9_800, "");
    hole.words = None;
    sheet(vec![hole, unsure, mary])
}

const ABOUT: [&str; 3] = [
    "Recording: LECT 002.wav, recorder: Lectern, id: 0192-a",
    concat!(
        "Made by sayback ",
        env!("CARGO_PKG_VERSION"),
        ": words heard by a speech model unless a person corrected them"
    ),
    "Moments: 3, of which doubtful: 1, not written down yet: 1",
];

fn commented() -> String {
    ABOUT.map(|line| format!(";; {line}\n")).concat()
}

/// CTM: `F C BT DUR WORD [CONF]`.
#[test]
fn ctm_is_a_word_a_line() {
    let want = "\
LECT_002 1 2.000 0.500 No 0.50
LECT_002 1 2.500 0.500 way 0.50
;; 5.000 to 6.200: doubtful, heard on a loud band
LECT_002 1 5.000 0.400 Rope 0.50
LECT_002 1 5.400 0.400 & 0.50
LECT_002 1 5.800 0.400 kettle 0.50
;; 9.000 to 9.800: not written down yet
";
    assert_eq!(Format::Ctm.write(&three()), commented() + want);
}

/// STM: `F C S BT ET [<LABEL>] words`, sorted by columns 1, 2, then 4.
#[test]
fn stm_is_a_moment_a_line() {
    let text = Format::Stm.write(&three());
    let moments: Vec<&str> = text
        .lines()
        .filter(|line| !line.starts_with(";;"))
        .collect();
    assert_eq!(
        moments,
        [
            "LECT_002 1 Mary 2.000 3.500 <sure> No way",
            "LECT_002 1 unknown 5.000 6.200 <doubtful> Rope & kettle",
            "LECT_002 1 unknown 9.000 9.800 <unwritten> IGNORE_TIME_SEGMENT_IN_SCORING",
        ]
    );
    for label in ["sure", "doubtful", "unwritten"] {
        assert!(text.contains(&format!(";; LABEL \"{label}\" ")), "{text}");
    }
    // Words a little outside of their moment are still in it.
    let mut wide = spoken(1_000, 500, "a b");
    (wide.start, wide.end) = (FileMs(1_200), FileMs(1_800));
    let text = Format::Stm.write(&sheet(vec![wide, line(-40, 0, "")]));
    assert!(
        text.ends_with("0.000 0.001 <sure>\nLECT_002 1 unknown 1.000 2.000 <sure> a b\n"),
        "{text}"
    );
}

#[test]
fn webvtt_escapes_and_marks() {
    let want = "
00:00:02.000 --> 00:00:03.500
<v Mary>No way! --&gt;

00:00:05.000 --> 00:00:06.200
<c.doubtful>[?] Rope &amp; &lt;kettle&gt;,</c>

00:00:09.000 --> 00:00:10.000
<c.unwritten>[not written down yet]</c>
";
    let head = format!("WEBVTT\n\nNOTE\n{}\n", ABOUT.join("\n"));
    assert_eq!(Format::Vtt.write(&three()), head + want);
}

/// SubRip: counter from 1, a comma before the milliseconds, a blank line; the speaker
/// stands in the text.
#[test]
fn subrip_says_all_in_its_text() {
    let want = "\
1
00:00:02,000 --> 00:00:03,500
Mary: No way! --›

2
00:00:05,000 --> 00:00:06,200
[?] Rope & ‹kettle›,

3
00:00:09,000 --> 00:00:10,000
[not written down yet]

";
    assert_eq!(Format::Srt.write(&three()), want);
}

#[test]
fn plain_text_is_for_people() {
    let mut sheet = three();
    let mut later = line(12_000, 12_500, "");
    later.words = None;
    sheet.lines.push(later);
    sheet.lines.push(line(3_600_000, 3_600_500, "Aye"));
    let want = "\
00:00:02.000  Mary: No way! -->
00:00:05.000  Rope & <kettle>,  [doubtful: heard on a loud band]
00:00:09.000  [2 moments not written down yet]
01:00:00.000  Aye
";
    assert_eq!(Format::Text.write(&sheet), want);
}

#[test]
fn nothing_is_said_of_nothing() {
    let empty = sheet(Vec::new());
    assert_eq!(Format::Text.write(&empty), "");
    assert_eq!(Format::Srt.write(&empty), "");
    assert!(Format::Vtt.write(&empty).starts_with("WEBVTT\n\nNOTE\n"));
    for format in [Format::Ctm, Format::Stm] {
        assert!(
            format
                .write(&empty)
                .lines()
                .all(|line| line.starts_with(";;"))
        );
    }
}

#[test]
fn a_token_is_one_word_without_its_punctuation() {
    for (word, want) in [
        ("bicycle,", Some("bicycle")),
        ("“It’s", Some("It’s")),
        ("well-known…", Some("well-known")),
        ("ice cream", Some("ice-cream")),
        ("5%", Some("5%")),
        ("&", Some("&")),
        ("{a/b}", Some("a/b")),
        ("(laughs)", Some("laughs")),
        ("a;;b", Some("ab")),
        (
            "IGNORE_TIME_SEGMENT_IN_SCORING",
            Some("IGNORE-TIME-SEGMENT-IN-SCORING"),
        ),
        ("हिन्दी।", Some("हिन्दी")),
        ("—", None),
        ("♪", None),
        ("🎉", None),
        ("@", None),
        ("", None),
    ] {
        let text = Format::Ctm.write(&sheet(vec![line(1_000, 1_250, word)]));
        let words: Vec<&str> = text
            .lines()
            .filter(|line| !line.starts_with(";;"))
            .collect();
        let want: Vec<String> = want
            .map(|token| format!("LECT_002 1 1.000 0.250 {token} 0.88"))
            .into_iter()
            .collect();
        assert_eq!(words, want, "{word:?}");
    }
}

/// Three hours at 150 words a minute.
#[test]
fn three_hours_of_talk_take_no_seconds() {
    let words =
        "He rang the ferry bell every evening, and the kettle sang: all of it! ".repeat(1_929);
    let sheet = sheet(vec![spoken(0, 400, &words)]);
    assert!(
        sheet.lines[0]
            .words
            .as_ref()
            .is_some_and(|words| words.len() >= 27_000)
    );
    for format in Format::ALL {
        let begun = processor_ms();
        let text = format.write(&sheet);
        let took = processor_ms() - begun;
        println!("{}: {took:.0} ms", format.name());
        // A line a moment, whatever is said in it.
        let least = if format == Format::Rttm { 100 } else { 100_000 };
        assert!(text.len() > least, "{}", format.name());
        // An unoptimised build.
        assert!(took < 1_000.0, "{}: {took} ms", format.name());
    }
}

/// Processor time of this thread: what other programs do meanwhile is not counted.
pub(super) fn processor_ms() -> f64 {
    // Documentation/scheduler/sched-stats.rst: first the time on the processor, ns.
    let stat = std::fs::read_to_string("/proc/thread-self/schedstat").expect("a thread");
    let spent = stat.split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
    spent.expect("nanoseconds") / 1e6
}

fn any_word() -> impl Strategy<Value = Word> {
    let text = prop_oneof![
        "[a-z']{1,12}[.,?!]?",
        ".{0,12}",
        "[-><&;{}@/()\\\\ \n\r\t\u{0}\u{202E}\u{5D0}-\u{5D4}🎉\u{301}\u{2028}]{0,60}",
        Just("-->".to_owned()),
        Just("<v Mary>".to_owned()),
        Just("&amp;".to_owned()),
        Just("NOTE".to_owned()),
        Just("12".to_owned()),
    ];
    (text, -50i64..20_000, -5i64..12_000, any::<f32>()).prop_map(
        |(text, start, length, confidence)| {
            let (start, end) = (FileMs(start), FileMs(start + length));
            Word {
                text,
                start,
                end,
                confidence,
            }
        },
    )
}

fn any_line() -> impl Strategy<Value = Line> {
    let name = proptest::option::of(".{0,60}");
    let words = proptest::option::weighted(0.9, proptest::collection::vec(any_word(), 0..12));
    (0i64..20_000, 0i64..20_000, name.clone(), name, words).prop_map(
        |(start, length, speaker, doubt, words)| Line {
            start: FileMs(start),
            end: FileMs(start + length),
            also: speaker.clone(),
            speaker,
            doubt,
            words,
        },
    )
}

fn any_sheet() -> impl Strategy<Value = Sheet> {
    (
        ".{0,12}",
        ".{0,12}",
        proptest::collection::vec(any_line(), 0..6),
    )
        .prop_map(|(file, source, lines)| Sheet {
            file,
            source,
            ..sheet(lines)
        })
}

/// From and to of each cue of a file, ms, and its lines of text; panics at whatever the
/// form does not allow.
fn read(blocks: &str, numbered: bool, point: char) -> Vec<(i64, i64, Vec<String>)> {
    let ms = |text: &str| {
        let (rest, ms) = text.split_once(point).expect("milliseconds");
        assert_eq!(ms.len(), 3, "{text}");
        let parts: Vec<i64> = rest
            .split(':')
            .map(|part| part.parse().expect("a number"))
            .collect();
        let [hours, minutes, seconds] = parts[..] else {
            panic!("{text}")
        };
        assert!(minutes < 60 && seconds < 60, "{text}");
        ((hours * 60 + minutes) * 60 + seconds) * 1000 + ms.parse::<i64>().expect("a number")
    };
    let blocks = blocks.split("\n\n").filter(|block| !block.is_empty());
    let cue = |(n, block): (usize, &str)| {
        let mut lines = block.trim_matches('\n').split('\n');
        if numbered {
            assert_eq!(lines.next(), Some(&*(n + 1).to_string()));
        }
        let (start, end) = lines
            .next()
            .and_then(|line| line.split_once(" --> "))
            .expect("times");
        (ms(start), ms(end), lines.map(str::to_owned).collect())
    };
    blocks.enumerate().map(cue).collect()
}

fn cues_are_in_order(cues: &[(i64, i64, Vec<String>)]) {
    for pair in cues.windows(2) {
        assert!(pair[0].0 <= pair[1].0, "{pair:?}");
    }
    for (start, end, lines) in cues {
        assert!(start < end && end - start <= LONGEST_MS, "{start} {end}");
        assert!(
            lines.len() <= 2 && lines.iter().all(|line| !line.trim().is_empty()),
            "{lines:?}"
        );
        assert!(!lines.concat().contains("-->"), "{lines:?}");
    }
}

proptest! {
    #[test]
    fn whatever_is_said_webvtt_holds_it(sheet in any_sheet()) {
        let text = Format::Vtt.write(&sheet);
        let (head, cues) = text.split_once("\n\nNOTE\n").expect("a header");
        prop_assert_eq!(head, "WEBVTT");
        let (about, cues) = cues.split_once("\n\n").unwrap_or((cues, ""));
        prop_assert!(!about.contains("-->"));
        prop_assert_eq!(about.trim_end().split('\n').count(), 3);
        cues_are_in_order(&read(cues, false, '.'));
    }

    #[test]
    fn whatever_is_said_subrip_holds_it(sheet in any_sheet()) {
        let text = Format::Srt.write(&sheet);
        prop_assert!(!text.contains(['<', '{', '\\']), "{}", text);
        let cues = read(&text, true, ',');
        cues_are_in_order(&cues);
        for (_, _, lines) in cues {
            // A name may be long; the second line has none.
            prop_assert!(lines.get(1).is_none_or(|line| line.width() <= COLUMNS), "{:?}", lines);
        }
    }

    #[test]
    fn whatever_is_said_a_scorer_reads_it(sheet in any_sheet()) {
        let number = |text: &str| text.parse::<f64>().expect("a number");
        let data = |text: &str| -> Vec<Vec<String>> {
            let lines = text.lines().filter(|line| !line.starts_with(";;"));
            lines.map(|line| line.split(' ').map(str::to_owned).collect()).collect()
        };
        let spoken = data(&Format::Ctm.write(&sheet));
        let mut before = 0.0;
        for fields in &spoken {
            let [_, channel, begin, length, word, sure] = &fields[..] else { panic!("{fields:?}") };
            prop_assert_eq!(channel, "1");
            prop_assert!(number(begin) >= before && number(length) > 0.0);
            prop_assert!((0.0..=1.0).contains(&number(sure)));
            prop_assert!(!word.contains(['{', '}', '@', '<', '>', '(', ')', ';', '\\']), "{}", word);
            prop_assert!(!word.contains(char::is_whitespace) && !word.is_empty());
            before = number(begin);
        }
        let moments = data(&Format::Stm.write(&sheet));
        prop_assert_eq!(moments.len(), sheet.lines.len());
        let mut before = 0.0;
        for fields in &moments {
            prop_assert!(fields.len() >= 6 && number(&fields[3]) < number(&fields[4]), "{:?}", fields);
            prop_assert!(number(&fields[3]) >= before);
            before = number(&fields[3]);
        }
        let said: usize = moments.iter().filter(|m| m[5] != "<unwritten>").map(|m| m.len() - 6).sum();
        prop_assert_eq!(said, spoken.len(), "the same words in both");
    }

    #[test]
    fn whatever_is_said_a_moment_is_a_line(sheet in any_sheet()) {
        let text = Format::Text.write(&sheet);
        prop_assert!(text.lines().count() <= sheet.lines.len());
        for line in text.lines() {
            prop_assert!(!line.contains(char::is_control) && line.is_char_boundary(14), "{:?}", line);
            prop_assert_eq!(&line[12..14], "  ");
        }
    }
}
