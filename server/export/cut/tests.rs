//! Worked values.

mod any;
mod lists;

use sayback_core::timecode::FrameRate;

use super::*;
use crate::export::tests::processor_ms;

/// Ten seconds at 48 kHz, no stamp.
pub(super) fn recording(file_name: &str) -> Media {
    Media {
        id: "0192-a".into(),
        label: "Lectern".into(),
        placement: "near".into(),
        file_name: file_name.into(),
        target_url: format!("audio/{file_name}"),
        sample_rate_hz: 48_000,
        channels: 1,
        samples: 480_000,
        time_reference: None,
        online: true,
    }
}

pub(super) fn take(media: usize, from: u64, to: u64) -> Take {
    Take {
        media,
        from,
        to,
        verdict: "clean".into(),
        ..Take::default()
    }
}

pub(super) fn quote(text: &str, takes: Vec<Take>) -> Quote {
    Quote {
        text: text.into(),
        takes,
        ..Quote::default()
    }
}

fn word(text: &str, from: u64, to: u64) -> CutWord {
    CutWord {
        text: text.into(),
        from,
        to,
        person: None,
    }
}

/// Two quotes: of a lectern with a stamp at one o'clock and a lapel microphone as its
/// backup, and of a phone at another rate.
fn toasts() -> Cut {
    let lectern = Media {
        time_reference: Some(172_800_000),
        ..recording("LECT 002.wav")
    };
    let lapel = Media {
        label: "Corin, lapel".into(),
        placement: "worn".into(),
        channels: 2,
        ..recording("LAV_A.wav")
    };
    let phone = Media {
        label: "Phone".into(),
        sample_rate_hz: 44_100,
        online: false,
        ..recording("船着き場.m4a")
    };
    let first = Quote {
        person: Some("Ottilie".into()),
        note: Some("before the\nbell".into()),
        words: vec![
            word("No", 48_000, 60_000),
            CutWord {
                person: Some("Corin".into()),
                ..word("way!", 60_000, 96_000)
            },
        ],
        ..quote(
            "No way!",
            vec![
                take(0, 48_000, 96_000),
                Take {
                    ppm: 20.5,
                    ..take(1, 24_000, 72_001)
                },
            ],
        )
    };
    let second = quote(
        "Rope, \"kettle\" & <bell>",
        vec![take(2, 44_100, 88_200), take(1, 96_000, 144_000)],
    );
    Cut {
        kind: Kind::List,
        title: "Toasts, short".into(),
        event: "Boathouse".into(),
        date: Some("20 June".into()),
        rate: FrameRate::R25,
        media: vec![lectern, lapel, phone],
        quotes: vec![first, second],
    }
}

fn files(cut: &Cut, format: CutFormat) -> Vec<Written> {
    let laid = cut.laid().expect("it can be cut");
    format
        .write(&laid, &Options::of(cut))
        .expect("it can be written")
}

fn text(cut: &Cut, format: CutFormat) -> String {
    files(cut, format).remove(0).text
}

#[test]
fn quotes_follow_each_other_to_the_sample() {
    let cut = toasts();
    let laid = cut.laid().expect("it can be cut");
    assert_eq!(laid.ticks_a_second(), 7_056_000, "of 48,000 and 44,100");
    let places: Vec<(i64, u64, u64)> = laid
        .quotes()
        .iter()
        .map(|placed| (laid.ms(placed.start), placed.first_frame, placed.end_frame))
        .collect();
    assert_eq!(places, [(0, 0, 25), (1_000, 25, 50)]);
    assert_eq!(laid.length_ms(), 2_000);
}

#[test]
fn what_can_not_be_cut_is_refused_by_name() {
    let refused = |change: fn(&mut Cut)| {
        let mut cut = toasts();
        change(&mut cut);
        cut.laid().expect_err("refused").to_string()
    };
    assert_eq!(
        refused(|cut| cut.quotes[0].takes[1].to = 24_000),
        "quote 1 (No way!): takes[1].to is where it starts, 24000: nothing lies between"
    );
    assert_eq!(
        refused(|cut| cut.quotes[0].takes[0].to = 5),
        "quote 1 (No way!): takes[0].to is 5, before it starts at 48000"
    );
    assert_eq!(
        refused(|cut| cut.quotes[0].takes[0].to = 480_001),
        "quote 1 (No way!): takes[0].to is 480001, and the recording has 480000 samples"
    );
    assert_eq!(
        refused(|cut| cut.quotes[1].takes.clear()),
        "quote 2 (Rope, \"kettle\" & <bell>): takes is empty: choose a hearing"
    );
    assert_eq!(
        refused(|cut| cut.quotes[1].takes[0].media = 3),
        "quote 2 (Rope, \"kettle\" & <bell>): takes[0].media is 3, and there are 3 recordings"
    );
    assert_eq!(
        refused(|cut| cut.quotes[0].words[1].to = 0),
        "quote 1 (No way!): words[1].to is 0, before it starts at 60000"
    );
    assert_eq!(
        refused(|cut| cut.quotes[0].takes[1].ppm = f64::NAN),
        "quote 1 (No way!): takes[1].ppm is no number"
    );
    assert_eq!(
        refused(|cut| cut.media[2].sample_rate_hz = 0),
        "recording 3 (船着き場.m4a): sample_rate_hz is 0"
    );
    assert_eq!(
        refused(|cut| cut.media[0].target_url = " ".into()),
        "recording 1 (LECT 002.wav): target_url is empty"
    );
    assert!(refused(|cut| cut.media[0].samples = u64::MAX).contains("samples is more"));
    assert!(refused(|cut| cut.media[0].time_reference = Some(u64::MAX)).contains("time_reference"));
    assert!(refused(|cut| cut.media[0].channels = 0).contains("channels is 0"));
}

#[test]
fn a_list_is_at_most_a_day_long() {
    let mut cut = toasts();
    cut.media[0].samples = 48_000 * 86_401;
    cut.quotes.truncate(1);
    cut.quotes[0].takes = vec![take(0, 0, 48_000 * 86_400)];
    let laid = cut.laid().expect("exactly a day");
    let refused = CutFormat::Edl.write(&laid, &Options::of(&cut));
    assert_eq!(refused, Err(CutError::Long), "from one o'clock it is not");
    let midnight = Options {
        start_frame: 0,
        ..Options::of(&cut)
    };
    assert!(CutFormat::Edl.write(&laid, &midnight).is_ok());
    cut.quotes[0].takes[0].to += 1;
    assert_eq!(cut.laid().expect_err("longer"), CutError::Long);
}

#[test]
fn rates_without_a_common_measure_are_refused() {
    let mut cut = toasts();
    for (media, rate) in cut.media.iter_mut().zip([767_993_u32, 767_957, 767_951]) {
        media.sample_rate_hz = rate;
    }
    assert_eq!(cut.laid().expect_err("refused"), CutError::Rates);
}

#[test]
fn captions_have_the_cuts_own_clock_and_everybody_who_speaks() {
    let vtt = text(&toasts(), CutFormat::Vtt);
    let head = "WEBVTT\n\nNOTE\nCut list: Toasts, short, event: Boathouse, 20 June\n";
    assert!(vtt.starts_with(head), "{vtt}");
    let want = "
00:00:00.000 --> 00:00:00.250
<v Ottilie>No

00:00:00.250 --> 00:00:01.000
<v Corin>way!

00:00:01.000 --> 00:00:02.000
Rope, \"kettle\" &amp; &lt;bell&gt;
";
    assert!(vtt.ends_with(want), "{vtt}");
    let srt = text(&toasts(), CutFormat::Srt);
    assert!(
        srt.starts_with("1\n00:00:00,000 --> 00:00:00,250\nOttilie: No\n\n2\n"),
        "{srt}"
    );
    let rttm = text(&toasts(), CutFormat::Rttm);
    for line in [
        "SPEAKER Toasts_short 1 0.000 0.250 <NA> <NA> Ottilie <NA> <NA>\n",
        "SPEAKER Toasts_short 1 0.250 0.750 <NA> <NA> Corin <NA> <NA>\n",
        "SPEAKER Toasts_short 1 1.000 1.000 <NA> <NA> unknown <NA> <NA>\n",
    ] {
        assert!(rttm.contains(line), "{rttm}");
    }
}

#[test]
fn a_page_tells_nothing_of_how_the_work_is_kept() {
    let mut cut = toasts();
    cut.quotes[1].person = Some("<script>alert('x')</script>".into());
    let page = text(&cut, CutFormat::Page);
    for private in [
        "LECT", "audio/", "0192", "Lectern", "lapel", "Phone", "worn", "<script", "http:",
    ] {
        assert!(!page.contains(private), "{private}");
    }
    for shown in [
        "<h1 dir=\"auto\">Toasts, short</h1>",
        "Boathouse, 20 June",
        "&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;",
        "Rope, &quot;kettle&quot; &amp; &lt;bell&gt;",
        "before the\nbell",
        "<span>2.</span> <span>at 0:01</span> <span>1.0 s</span>",
        "<footer>2 quotes, 0:02</footer>",
    ] {
        assert!(page.contains(shown), "{shown} in {page}");
    }
}

#[test]
fn tables_hold_no_formula_and_what_is_in_them_comes_back() {
    let mut cut = toasts();
    cut.quotes[0].text = "=HYPERLINK(\"x\")".into();
    let table = text(&cut, CutFormat::Csv);
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), 2);
    assert_eq!(&rows[0][6], "'=HYPERLINK(\"x\")");
    assert_eq!(&rows[0][7], "before the\nbell");
    assert_eq!(
        &rows[0][21],
        "Corin, lapel: LAV_A.wav samples 24000 to 72001 (clean)"
    );
    assert_eq!(&rows[1][6], "Rope, \"kettle\" & <bell>");
    assert_eq!((&rows[1][12], &rows[1][19]), ("no", "start of file"));
    assert!(table.ends_with("\r\n"));
}

#[test]
fn what_reaches_out_of_a_quote_is_cut_off() {
    let mut cut = toasts();
    cut.quotes[0].words = vec![
        word("before", 0, 48_000),
        word("No", 40_000, 60_000),
        word("way!", 60_000, 100_000),
        word("after", 96_000, 97_000),
    ];
    let srt = text(&cut, CutFormat::Srt);
    let want = "1\n00:00:00,000 --> 00:00:01,000\nOttilie: No way!\n\n";
    assert!(srt.starts_with(want), "{srt}");
    let laid = cut.laid().expect("it can be cut");
    let options = Options {
        word_markers: true,
        ..Options::of(&cut)
    };
    let files = CutFormat::Markers.write(&laid, &options).expect("a table");
    let mut reader = csv::Reader::from_reader(files[0].text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    let words = rows.iter().filter(|row| &row[0] == "word");
    let words: Vec<[&str; 4]> = words
        .map(|row| [&row[3], &row[5], &row[11], &row[12]])
        .collect();
    assert_eq!(
        words,
        [
            ["0.000", "No", "48000", "60000"],
            ["0.250", "way!", "60000", "96000"]
        ]
    );
}

/// The largest numbers that are let in.
#[test]
fn no_number_that_is_let_in_is_too_large() {
    let mut cut = toasts();
    let most = 1_u64 << 51;
    for media in &mut cut.media {
        (media.samples, media.time_reference) = (most, Some(most));
    }
    for quote in &mut cut.quotes {
        quote.words = vec![
            word("late", most - 50, u64::MAX),
            word("never", u64::MAX, u64::MAX),
        ];
        for take in &mut quote.takes {
            (take.from, take.to) = (most - 48_000, most);
        }
    }
    for format in CutFormat::ALL {
        assert!(!text(&cut, format).is_empty());
    }
    cut.quotes[0].takes[0].from = 0;
    assert_eq!(cut.laid().expect_err("not one day"), CutError::Long);
}

#[test]
fn an_empty_list_is_a_file_all_the_same() {
    let mut cut = toasts();
    cut.quotes.clear();
    for format in CutFormat::ALL {
        // SubRip has nothing but its cues.
        assert_eq!(text(&cut, format).is_empty(), format == CutFormat::Srt);
    }
    assert_eq!(
        text(&cut, CutFormat::Edl),
        "TITLE: Toasts, short\r\nFCM: NON-DROP FRAME\r\n\r\n"
    );
}

#[test]
fn names_of_files_come_from_the_title() {
    let mut cut = toasts();
    cut.title = "../\u{202E}etc/\npasswd".into();
    assert_eq!(files(&cut, CutFormat::Otio)[0].name, "etc_passwd.otio");
    cut.title = "⛵".into();
    assert_eq!(files(&cut, CutFormat::Markers)[0].name, "cut.markers.csv");
}

/// 2,000 quotes of 20 words, each word with a marker.
#[test]
fn two_thousand_quotes_take_no_seconds() {
    let mut cut = toasts();
    cut.quotes.truncate(1);
    let said = (0..20).map(|n| word("said", 48_000 + n * 2_000, 49_900 + n * 2_000));
    cut.quotes[0].words = said.collect();
    cut.quotes = vec![cut.quotes[0].clone(); 2_000];
    let options = Options {
        word_markers: true,
        ..Options::of(&cut)
    };
    for format in CutFormat::ALL {
        let begun = processor_ms();
        let laid = cut.laid().expect("it can be cut");
        let files = format.write(&laid, &options).expect("it can be written");
        let took = processor_ms() - begun;
        let bytes: usize = files.iter().map(|file| file.text.len()).sum();
        println!("{}: {took:.0} ms, {bytes} bytes", format.name());
        assert!(bytes > 100_000, "{}", format.name());
        // An unoptimised build.
        assert!(took < 5_000.0, "{}: {took} ms", format.name());
    }
}
