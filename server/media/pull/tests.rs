//! What stands in a pull beside its samples, and what its names may be.

use proptest::prelude::*;

use super::super::riff::read_layout;
use super::super::stored::Stored;
use super::super::{bext, error::ShownPath, ixml};
use super::Made;
use super::cues::{Cue, chunks, placed};
use super::form::Form;
use super::header::header;
use super::stamp::{Origin, Stamping};
use super::text::{Names, ascii, cut};

fn form(stored: Stored, channels: u16) -> Form {
    Form::of_decoded(stored, channels, 48_000)
}

fn body(origin: &Origin, said: &str, first: u64) -> Vec<u8> {
    let stamping = Stamping {
        origin,
        form: &form(Stored::Integer(24), 1),
        made: &Made::Copied,
        said,
        name: "Brücke, 1.WAV",
        channel: Some(2),
        first,
        frames: 100,
    };
    stamping.body()
}

fn origin(date: &str, samples: u64, ixml: Option<&str>) -> Origin {
    let mut bytes = vec![0; 602];
    bytes[320..320 + date.len()].copy_from_slice(date.as_bytes());
    bytes[338..346].copy_from_slice(&samples.to_le_bytes());
    bytes.extend_from_slice(b"A=ANALOGUE,T=microphone\r\n");
    let ixml = ixml.map(|text| ixml::read(text.as_bytes()).0);
    let has_ixml = ixml.is_some();
    Origin::of(Some(bext::read(&bytes).0), ixml, has_ixml, 48_000)
}

#[test]
fn the_time_reference_is_the_originals_and_the_first_sample() {
    // EBU Tech 3285: unsigned, 64 bits in two halves; 14:00:00 is above 2^31.
    let bytes = body(
        &origin("2026-06-20", 2_419_200_000, None),
        "I do",
        4_000_000_000,
    );
    assert_eq!(bytes[338..346], 6_419_200_000_u64.to_le_bytes());
    assert_eq!(bytes[320..338], *b"2026-06-20\0\0\0\0\0\0\0\0");
    assert_eq!(bytes[256..264], *b"sayback\0");
    assert_eq!(bytes[346..348], [2, 0]);
    assert!(bytes[348..412].iter().all(|byte| *byte == 0), "no UMID");
    assert_eq!(bytes[412..422], [0xFF, 0x7F].repeat(5)[..], "no loudness");
    assert!(bytes[422..602].iter().all(|byte| *byte == 0), "reserved");
    let (read, warnings) = bext::read(&bytes);
    assert_eq!(warnings, [""; 0]);
    assert_eq!(read.samples, Some(6_419_200_000));
    assert_eq!(
        read.history,
        "A=ANALOGUE,T=microphone\r\nA=PCM,F=48000,W=24,M=mono,T=sayback; copied bit by bit; \
         samples 4000000000 to 4000000100 of Brucke; 1.WAV; channel 2"
    );
}

#[test]
fn without_a_stamp_the_reference_is_0_and_the_history_says_so() {
    for origin in [
        Origin::default(),
        origin("", 0, None),
        origin("", u64::MAX, None),
    ] {
        let bytes = body(&origin, "I do", 5);
        let (read, _) = bext::read(&bytes);
        assert_eq!(read.samples, Some(0));
        assert!(
            read.history.ends_with("no time stamp: TimeReference is 0"),
            "{}",
            read.history
        );
        assert_eq!(origin.reference_at(5), None);
    }
    // Midnight of a day is a time.
    assert_eq!(origin("2026-06-20", 0, None).reference_at(5), Some(5));
}

#[test]
fn ixml_stands_in_where_bext_says_nothing_and_its_rate_is_minded() {
    let ixml = |rate: u32| {
        format!(
            "<BWFXML><SPEED><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1\
             </TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>0\
             </TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO><TIMESTAMP_SAMPLE_RATE>{rate}\
             </TIMESTAMP_SAMPLE_RATE></SPEED></BWFXML>"
        )
    };
    assert_eq!(
        origin("", 0, Some(&ixml(48_000))).reference_at(1),
        Some((1 << 32) + 1)
    );
    assert_eq!(
        origin("", 0, Some(&ixml(96_000))).reference_at(1),
        Some((1 << 31) + 1)
    );
    let odd = origin("", 0, Some(&ixml(44_100)));
    assert_eq!(odd.reference_at(0), Some((1_u64 << 32) * 48_000 / 44_100));
    assert!(
        odd.notes.iter().any(|note| note.contains("44100 Hz")),
        "{:?}",
        odd.notes
    );
    // Where both speak, bext does.
    assert_eq!(origin("", 7, Some(&ixml(48_000))).reference_at(0), Some(7));
    assert!(
        odd.notes
            .iter()
            .any(|note| note.contains("iXML was left out"))
    );
}

#[test]
fn a_description_is_ascii_and_cut_at_256() {
    for (text, want) in [
        ("I do", "I do"),
        ("Über  die\r\nBrücke – “ja”…", "Uber die Brucke - \"ja\"..."),
        ("Smørrebrød, Łódź, straße", "Smorrebrod, Lodz, strasse"),
        ("ναι at the ferry", "? at the ferry"),
        ("हाँ!", "?!"),
        ("", ""),
    ] {
        assert_eq!(ascii(text), want, "{text}");
    }
    let long = "é".repeat(300);
    assert_eq!(
        &body(&Origin::default(), &long, 0)[..257],
        &[&[b'e'; 256][..], b"s"].concat()
    );
}

#[test]
fn a_header_grows_to_rf64_where_a_size_does_not_fit() {
    let form = form(Stored::Float(32), 2); // 8 bytes a frame
    let small = header(&form, 1, &[0; 602], &[]).0;
    let overhead = (small.len() - 8) as u64;
    let fits = (u64::from(u32::MAX) - 1 - overhead) / 8;
    assert_eq!(&header(&form, fits, &[0; 602], &[]).0[..4], b"RIFF");
    for frames in [fits + 1, (5 << 30) / 8, u64::from(u32::MAX) + 9] {
        let (head, odd) = header(&form, frames, &[0; 602], &[]);
        assert!(!odd);
        assert_eq!(&head[..4], b"RF64");
        assert_eq!(head[4..8], [0xFF; 4]);
        assert_eq!(&head[12..20], b"ds64\x1C\0\0\0");
        let total = head.len() as u64 + frames * 8;
        assert_eq!(head[20..28], (total - 8).to_le_bytes());
        assert_eq!(head[28..36], (frames * 8).to_le_bytes());
        assert_eq!(head[36..44], frames.to_le_bytes());
        assert_eq!(head[head.len() - 4..], [0xFF; 4]);
    }
}

/// The header is ours, the 5 GiB behind it are holes: written by no test.
#[test]
fn ffprobe_reads_the_header_of_a_pull_above_4_gib() {
    let form = form(Stored::Integer(24), 2);
    let frames = (5_u64 << 30) / 6;
    let marks = chunks(&[]);
    let (head, _) = header(&form, frames, &body(&Origin::default(), "long", 0), &marks);
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), &head).unwrap();
    file.as_file()
        .set_len(head.len() as u64 + frames * 6)
        .unwrap();
    let layout = read_layout(&mut file.reopen().unwrap(), head.len() as u64 + frames * 6).unwrap();
    assert_eq!((layout.container, layout.data_len), ("RF64", frames * 6));
    assert_eq!(layout.warnings, [""; 0]);
    let output = std::process::Command::new(xtask::oracle::ffprobe())
        .args(["-v", "error", "-of", "csv=p=0", "-show_entries"])
        .args(["stream=codec_name,sample_rate,channels,duration_ts"])
        .arg(file.path())
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(said.trim(), format!("pcm_s24le,48000,2,{frames}"));
}

#[test]
fn cues_are_cut_to_the_pull_and_counted_from_its_first_sample() {
    let cue = |from, to, label: &str| Cue {
        from,
        to,
        label: label.into(),
        text: String::new(),
    };
    let cues = [
        cue(90, 100, "before"),
        cue(150, 160, "inside"),
        cue(95, 105, "into"),
        cue(100, 100, "at the start"),
        cue(195, 300, "out of"),
        cue(200, 210, "after"),
        cue(170, 160, "reversed"),
    ];
    let placed = placed(&cues, 100, 200);
    let bytes = chunks(&placed);
    let expected: &[(u32, &str)] = &[
        (0, "into"),
        (0, "at the start"),
        (50, "inside"),
        (70, "reversed"),
        (95, "out of"),
    ];
    assert_eq!(bytes[..4], *b"cue ");
    assert_eq!(bytes[8..12], 5_u32.to_le_bytes());
    for (n, (at, label)) in expected.iter().enumerate() {
        let point = &bytes[12 + 24 * n..][..24];
        assert_eq!(point[4..8], at.to_le_bytes(), "{label}");
        assert_eq!(point[20..24], at.to_le_bytes(), "{label}");
    }
    let list = &bytes[12 + 24 * 5..];
    assert_eq!((&list[..4], &list[8..12]), (&b"LIST"[..], &b"adtl"[..]));
    // The first label and its stretch of 5 samples.
    assert_eq!(list[12..24], *b"labl\x09\0\0\0\x01\0\0\0");
    assert_eq!(list[24..30], *b"into\0\0");
    assert_eq!(list[30..46], *b"ltxt\x15\0\0\0\x01\0\0\0\x05\0\0\0");
    assert_eq!(list[46..58], *b"rgn \0\0\0\0\0\0\xE9\xFD"); // 65001
    assert!(chunks(&[]).is_empty());
}

#[test]
fn integers_are_never_rounded_quietly() {
    let file = ShownPath::new("x.flac".as_ref());
    let mut out = Vec::new();
    let twenty = form(Stored::Integer(20), 1);
    twenty.encode(&[0.5, -1.0], &mut out, &file).unwrap();
    assert_eq!(out, [0, 0, 0x40, 0, 0, 0x80]);
    for wrong in [1.0, -1.1, 0.5 / 1_048_576.0, f64::NAN, f64::INFINITY] {
        let error = twenty.encode(&[wrong], &mut out, &file).unwrap_err();
        assert!(error.to_string().contains("20 bits"), "{error}");
    }
}

#[test]
fn names_are_safe_unique_and_of_any_script() {
    let mut names = Names::default();
    for (wanted, want) in [
        ("001 I do", "001 I do.wav"),
        ("001 i DO", "001 i DO-2.wav"),
        ("../../etc/passwd", "etc_passwd.wav"),
        ("C:\\new\r\nline\0?*", "C_new line.wav"),
        ("ναι, στη γέφυρα", "ναι_ στη γέφυρα.wav"),
        ("हाँ", "हाँ.wav"),
        ("con", "con_.wav"),
        ("nul.take", "nul_.take.wav"),
        ("", "untitled.wav"),
        ("...", "untitled-2.wav"),
        ("a.", "a.wav"),
        ("Bru\u{308}cke", "Br\u{FC}cke.wav"),
        ("Br\u{FC}cke", "Br\u{FC}cke-2.wav"),
    ] {
        assert_eq!(names.give(wanted, "wav"), want, "{wanted:?}");
    }
    let given = names.give("lost", "wav");
    names.take_back("lost", "wav", &given);
    assert_eq!(names.give("lost", "wav"), "lost.wav");
    // A list of that name in two formats.
    assert_eq!(names.give("lost", "otio"), "lost.otio");
    let mut names = Names::default();
    for n in 1..2_000 {
        let name = names.give(&"é".repeat(200), "wav");
        assert!(name.len() <= 120 && name.starts_with('é'), "{n}: {name}");
    }
}

fn any_stored() -> impl Strategy<Value = Stored> {
    prop_oneof![
        (1_u16..=32).prop_map(Stored::Integer),
        Just(Stored::Float(32)),
        Just(Stored::Float(64)),
        Just(Stored::Lossy("AAC")),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn our_own_reader_finds_what_a_header_promises(
        stored in any_stored(), channels in 1_u16..=8, frames in 1_u64..500,
        said in any::<String>(), label in any::<String>(), text in any::<String>(),
    ) {
        let form = form(stored, channels);
        let cue = Cue { from: 0, to: frames, label, text };
        let marks = chunks(&placed(std::slice::from_ref(&cue), 0, frames));
        let origin = Origin::default();
        let stamping = Stamping {
            origin: &origin, form: &form, made: &Made::Copied, said: &said, name: &said,
            channel: None, first: 3, frames,
        };
        let (mut file, odd) = header(&form, frames, &stamping.body(), &marks);
        let start = file.len() as u64;
        let data = frames * form.frame_bytes();
        file.resize(file.len() + data as usize + usize::from(odd), 0);
        prop_assert_eq!(file.len() % 2, 0);
        let len = file.len() as u64;
        let layout = read_layout(&mut std::io::Cursor::new(file), len).unwrap();
        prop_assert_eq!(layout.warnings, Vec::<String>::new());
        prop_assert_eq!((layout.data_start, layout.data_len), (start, data));
        prop_assert_eq!(layout.format.valid_bits, form.valid_bits);
        prop_assert_eq!(layout.format.bits, form.bits);
        prop_assert_eq!(Form::of_wav(&layout.format, false), form);
        let bytes = layout.bext.unwrap();
        prop_assert!(bytes.is_ascii() || bytes[..412].is_ascii() && bytes[422..].is_ascii());
    }

    #[test]
    fn no_name_is_unsafe(wanted in prop::collection::vec(any::<String>(), 1..20)) {
        let mut names = Names::default();
        let mut given = std::collections::HashSet::new();
        for wanted in wanted {
            let name = names.give(&wanted, "wav");
            prop_assert!(name.len() <= 120);
            prop_assert!(!name.starts_with(['.', ' ', '-']) && name.ends_with(".wav"));
            prop_assert!(!name.contains("..") && !name.contains(['/', '\\', ':', '\0', '\n']));
            prop_assert!(given.insert(name.to_lowercase()));
        }
    }

    #[test]
    fn any_text_is_cut_between_characters(text in any::<String>(), bytes in 0_usize..40) {
        let part = cut(&text, bytes);
        prop_assert!(part.len() <= bytes && text.starts_with(part));
        prop_assert!(part.len() + 4 > bytes.min(text.len()));
        prop_assert!(ascii(&text).bytes().all(|byte| (b' '..=b'~').contains(&byte)));
    }

    #[test]
    fn an_integer_comes_back_as_the_bytes_it_was(bits in 1_u16..=32, value in any::<i32>()) {
        let value = value >> (32 - bits);
        let sample = f64::from(value) / 2_f64.powi(i32::from(bits) - 1);
        let form = form(Stored::Integer(bits), 1);
        let mut out = Vec::new();
        form.encode(&[sample], &mut out, &ShownPath::new("x".as_ref())).unwrap();
        let mut wide = [0; 4];
        wide[4 - out.len()..].copy_from_slice(&out);
        if out.len() == 1 { wide[3] ^= 0x80; }
        prop_assert_eq!(i32::from_le_bytes(wide) >> (32 - bits), value);
    }
}
