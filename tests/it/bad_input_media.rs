//! Files that are not what they say: each gets an error that names the file
//! and the reason, or as much sound as is there; never a panic, never memory
//! the file does not justify.

use crate::media::{Folder, by_us, make, read_on};
use proptest::prelude::*;
use sayback::media::riff::read_layout;
use sayback::media::{
    AnalysisStream, ChannelChoice, ChannelPick, MediaError, Reader, Slice, bext, decide_channels,
    ixml, probe,
};
use std::io::Cursor;
use std::path::Path;

/// The error of opening, which must name the file.
fn refused(path: &Path) -> MediaError {
    let error = Reader::open(path)
        .err()
        .unwrap_or_else(|| panic!("{} opened", path.display()));
    let shown = format!("{:?}", path);
    assert!(
        error.to_string().starts_with(&shown),
        "{error} does not start with {shown}"
    );
    error
}

#[test]
fn what_is_no_recording_is_refused_by_name_and_reason() {
    let folder = Folder::new();
    let text = folder.file(
        "notes.wav",
        "These are notes about the boathouse.\n"
            .repeat(400)
            .as_bytes(),
    );
    assert!(matches!(refused(&text), MediaError::Unknown { .. }));
    assert!(matches!(
        refused(&folder.file("empty.wav", b"")),
        MediaError::Empty { .. }
    ));
    assert!(matches!(
        refused(&folder.path("gone.wav")),
        MediaError::Open { .. }
    ));
    std::fs::create_dir(folder.path("folder.wav")).unwrap();
    assert!(matches!(
        refused(&folder.path("folder.wav")),
        MediaError::Folder { .. }
    ));
    let pipe = folder.path("pipe.wav");
    assert!(
        std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    assert!(matches!(refused(&pipe), MediaError::NotOrdinary { .. }));
    for bytes in [
        &b"R"[..],
        b"RIFF",
        b"RIFF\0\0\0\0WAVE",
        b"RIFF\0\0\0\0AVI LIST",
        b"fLaC",
        b"OggS",
        b"ID3",
        b"\0\0\0\x18ftypmp42",
        b"\xff\xfb",
    ] {
        refused(&folder.file("short.wav", bytes));
    }
}

#[test]
fn no_permission_is_said() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    const LOCKED: &str = "SAYBACK_TEST_LOCKED_FILE";
    if let Some(path) = std::env::var_os(LOCKED) {
        let error = refused(Path::new(&path)).to_string();
        assert!(error.contains("ermission"), "{error}");
        return;
    }
    let folder = Folder::new();
    let path = folder.file("locked.wav", &make::plain(1, 8_000, &make::samples(8_000)));
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    // This program, from a place where anybody may run it.
    let program = folder.path("program");
    let itself = std::env::current_exe().unwrap();
    std::fs::hard_link(&itself, &program)
        .or_else(|_| std::fs::copy(&itself, &program).map(drop))
        .unwrap();
    let open = std::fs::Permissions::from_mode(0o755);
    std::fs::set_permissions(folder.path(""), open).unwrap();
    let mut child = std::process::Command::new(&program);
    child
        .args(["--exact", "bad_input_media::no_permission_is_said"])
        .env(LOCKED, &path)
        .current_dir(folder.path(""));
    // The superuser may read everything: somebody else asks.
    if std::fs::File::open(&path).is_ok() {
        child.uid(65_534);
    }
    let child = child.output().unwrap();
    let said = String::from_utf8_lossy(&child.stdout);
    assert!(
        child.status.success() && said.contains("1 passed"),
        "{said}"
    );
}

#[test]
fn hostile_names_are_escaped_in_messages_and_opened_all_the_same() {
    use std::os::unix::ffi::OsStrExt;
    let folder = Folder::new();
    for name in [
        &b"a\nb.wav"[..],
        b"\"quoted\".wav",
        b"it's.wav",
        b"na\xefve \xff.wav",
        b"-rf.wav",
        " \u{202e}vaw.wav".as_bytes(),
    ] {
        let name = Path::new(std::ffi::OsStr::from_bytes(name));
        let path = folder.path("").join(name);
        std::fs::write(&path, make::plain(1, 8_000, &make::samples(800))).unwrap();
        assert_eq!(by_us(&path).len(), 800);
        assert!(probe(&path).is_ok());
        std::fs::write(&path, b"no sound").unwrap();
        assert!(!refused(&path).to_string().contains('\n'));
    }
}

#[test]
fn samples_that_are_no_number_become_silence_with_a_warning() {
    let folder = Folder::new();
    let samples = [0.5, f32::NAN, f32::INFINITY, -0.5, f32::NEG_INFINITY, 0.25];
    let path = folder.file("nan.wav", &make::float(1, 16_000, &samples));
    let mut reader = Reader::open(&path).unwrap();
    assert_eq!(read_on(&mut reader), [0.5, 0.0, 0.0, -0.5, 0.0, 0.25]);
    assert!(
        reader
            .warnings()
            .iter()
            .any(|warning| warning.starts_with("3 samples")),
        "{:?}",
        reader.warnings()
    );
    // Sixty-four bits that do not fit thirty-two are infinite there.
    let body: Vec<u8> = [1e300_f64, 0.5]
        .iter()
        .flat_map(|s| s.to_le_bytes())
        .collect();
    let chunks = [
        make::chunk(b"fmt ", &make::fmt(3, 1, 16_000, 64)),
        make::chunk(b"data", &body),
    ];
    assert_eq!(
        by_us(&folder.file("f64.wav", &make::riff(b"RIFF", &chunks))),
        [0.0, 0.5]
    );
}

#[test]
fn headers_that_lie_are_refused_or_corrected() {
    let folder = Folder::new();
    let data = make::chunk(b"data", &vec![0; 48_000]);
    let with = |fmt: Vec<u8>| {
        folder.file(
            "lie.wav",
            &make::riff(b"RIFF", &[make::chunk(b"fmt ", &fmt), data.clone()]),
        )
    };
    for (fmt, reason) in [
        (make::fmt(1, 0, 48_000, 16), "0 channels"),
        (make::fmt(1, 1, 0, 16), "0 Hz"),
        (make::fmt(1, 1, 48_000, 0), "impossible"),
        (make::fmt(1, 1, 48_000, u16::MAX), "impossible"),
        (make::fmt(1, 1, 4_000, 16), "4000 Hz"),
        (make::fmt(1, 1, 4_000_000, 16), "4000000 Hz"),
        (make::fmt(1, 9, 48_000, 16), "9 channels"),
        (make::fmt(1, u16::MAX, 48_000, 32), ""),
        // The library takes this for eight channels.
        (make::extensible(1, 40, 48_000, 16), "40 channels"),
        (make::fmt(0x1234, 1, 48_000, 16), "0x1234"),
        (make::fmt(1, 1, 48_000, 48), "48 bits"),
        (vec![1, 0], "too short"),
    ] {
        let error = refused(&with(fmt)).to_string();
        assert!(error.contains(reason), "{error} does not say {reason:?}");
    }
    // A frame size that does not fit the rest is computed anew.
    let mut fmt = make::fmt(1, 2, 48_000, 16);
    fmt[12] = 3;
    let path = with(fmt);
    assert_eq!(by_us(&path).len(), 24_000);
    assert_eq!(probe(&path).unwrap().warnings.len(), 1);
}

#[test]
fn a_wav_cut_at_any_byte_gives_a_part_or_a_reason() {
    let folder = Folder::new();
    let ixml = "<BWFXML><SPEED><TIMECODE_RATE>25/1</TIMECODE_RATE></SPEED></BWFXML>";
    let whole = make::riff(
        b"RF64",
        &[
            make::chunk(b"ds64", &[0; 28]),
            make::bext("2026-06-20", "14:00:00", 1),
            make::chunk(b"iXML", ixml.as_bytes()),
            make::chunk(b"fmt ", &make::extensible(1, 2, 48_000, 24)),
            make::chunk(b"data", &[5; 600]),
            make::chunk(b"LIST", &[b'x'; 50]),
        ],
    );
    let mut opened = 0;
    for len in 0..whole.len() {
        let path = folder.file("cut.wav", &whole[..len]);
        match Reader::open(&path) {
            Ok(mut reader) => {
                assert_eq!(read_on(&mut reader).len() as u64, reader.info().frames * 2);
                opened += 1;
            }
            Err(_) => drop(refused(&path)),
        }
    }
    // From the first whole frame on.
    let first = whole.windows(4).position(|id| id == b"data").unwrap() + 8 + 6;
    assert_eq!(opened, whole.len() - first);
}

#[test]
fn every_other_format_cut_anywhere_gives_a_part_or_a_reason() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(1, 48_000, &make::talk(1, 48_000, 1)));
    for (name, codec) in [
        ("a.flac", "flac"),
        ("b.mp3", "libmp3lame"),
        ("c.m4a", "aac"),
        ("d.ogg", "libvorbis"),
        ("e.opus", "libopus"),
        ("f.mov", "pcm_s16le"),
        ("g.mkv", "aac"),
        ("h.aiff", "pcm_s16be"),
        ("i.m4a", "alac"),
    ] {
        let whole = std::fs::read(folder.encoded(&source, name, &["-c:a", codec])).unwrap();
        let steps = (0..64).chain((1..40).map(|n| whole.len() * n / 40));
        for len in steps {
            let path = folder.file(name, &whole[..len.min(whole.len())]);
            match Reader::open(&path) {
                Ok(mut reader) => {
                    assert!(read_on(&mut reader).iter().all(|sample| sample.is_finite()))
                }
                Err(_) => drop(refused(&path)),
            }
        }
    }
}

#[test]
fn a_compressed_file_cut_in_half_says_how_much_is_left() {
    let folder = Folder::new();
    let source = folder.file(
        "in.wav",
        &make::plain(1, 48_000, &make::talk(1, 48_000, 20)),
    );
    for (name, codec) in [
        ("a.flac", "flac"),
        ("b.mp3", "libmp3lame"),
        ("c.ogg", "libvorbis"),
    ] {
        let whole = std::fs::read(folder.encoded(&source, name, &["-c:a", codec])).unwrap();
        let path = folder.file(name, &whole[..whole.len() / 2]);
        let facts = probe(&path).unwrap();
        let left = by_us(&path).len() as u64;
        assert_eq!(facts.frames, left, "{name}");
        assert!(
            (5_000..15_000).contains(&facts.duration_ms),
            "{name}: {}",
            facts.duration_ms
        );
        // Ogg tells its length only at its end, so it has promised nothing.
        let warned = facts
            .warnings
            .iter()
            .any(|warning| warning.contains("cut short"));
        assert!(warned || name == "c.ogg", "{name}: {:?}", facts.warnings);
    }
    let whole = std::fs::read(folder.encoded(&source, "d.m4a", &["-c:a", "aac"])).unwrap();
    let error = refused(&folder.file("d.m4a", &whole[..whole.len() / 2])).to_string();
    assert!(error.contains("index"), "{error}");
}

#[test]
fn every_way_in_refuses_alike() {
    let folder = Folder::new();
    let path = folder.file("notes.wav", b"no sound here, only text");
    let (start, end) = (
        sayback::core::units::FileMs(0),
        sayback::core::units::FileMs(1),
    );
    let errors = [
        probe(&path).err(),
        decide_channels(&path, ChannelChoice::Auto).err(),
        AnalysisStream::open(&path, ChannelPick::Mix).err(),
        Slice::open(&path, None, start, end).err(),
    ];
    for error in errors {
        assert!(
            matches!(error, Some(MediaError::Unknown { .. })),
            "{error:?}"
        );
    }
}

#[test]
fn a_flac_that_claims_a_year_is_counted() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(1, 48_000, &make::talk(1, 48_000, 2)));
    let path = folder.encoded(&source, "a.flac", &["-c:a", "flac"]);
    let mut bytes = std::fs::read(&path).unwrap();
    // STREAMINFO: 36 bits of total samples end at byte 26 of the file.
    bytes[21] |= 0x0F;
    bytes[22..26].fill(0xFF);
    std::fs::write(&path, bytes).unwrap();
    assert_eq!(probe(&path).unwrap().duration_ms, 2_000);
}

/// A file with everything in it, to be spoiled.
fn seed_file() -> Vec<u8> {
    let ixml = "<BWFXML><SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>7</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED></BWFXML>";
    make::riff(
        b"RF64",
        &[
            make::chunk(
                b"ds64",
                &[[0; 24].as_slice(), &[1, 0, 0, 0], b"bext", &[9; 8]].concat(),
            ),
            make::bext("2026-06-20", "14:00:00", 2_419_200_000),
            make::chunk(b"iXML", ixml.as_bytes()),
            make::chunk(b"JUNK", &[0; 5]),
            make::chunk(b"fmt ", &make::extensible(1, 2, 48_000, 24)),
            make::chunk(b"data", &[5; 60]),
            make::chunk(b"LIST", &[b'x'; 9]),
        ],
    )
}

/// What is read of an iXML chunk.
const IXML_FIELDS: [&str; 8] = [
    "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI",
    "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO",
    "TIMESTAMP_SAMPLE_RATE",
    "FILE_SAMPLE_RATE",
    "TIMECODE_RATE",
    "TIMECODE_FLAG",
    "BWF_ORIGINATION_DATE",
    "BWF_ORIGINATION_TIME",
];

/// What a walk over any bytes must keep.
fn holds_for_any_bytes(bytes: &[u8]) {
    if let Ok(layout) = read_layout(&mut Cursor::new(bytes), bytes.len() as u64) {
        let end = layout
            .data_start
            .checked_add(layout.data_len)
            .expect("no overflow");
        assert!(end <= bytes.len() as u64, "samples past the end");
        assert!(layout.data_len >= u64::from(layout.format.block_align));
        for chunk in [&layout.bext, &layout.ixml].into_iter().flatten() {
            assert!(chunk.len() <= bytes.len(), "more than there is");
            let _ = bext::read(chunk);
            let _ = ixml::read(chunk);
        }
        assert!(layout.warnings.len() <= bytes.len() / 8 + 8);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn spoiled_wav_headers_never_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
        cut_it in any::<bool>(),
    ) {
        let mut bytes = seed_file();
        for (place, value) in changes {
            let place = place.index(bytes.len());
            bytes[place] = value;
        }
        if cut_it {
            bytes.truncate(cut.index(bytes.len()));
        }
        holds_for_any_bytes(&bytes);
    }

    #[test]
    fn spoiled_sizes_and_chunk_orders_never_panic(
        chunks in prop::collection::vec((0_usize..7, prop::option::of(any::<u32>()), prop::collection::vec(any::<u8>(), 0..48)), 0..9),
        id in 0_usize..3,
    ) {
        let ids = [b"ds64", b"fmt ", b"data", b"bext", b"iXML", b"JUNK", b"\0\xffa "];
        let chunks: Vec<Vec<u8>> = chunks.into_iter().map(|(id, size, body)| {
            let mut chunk = make::chunk(ids[id], &body);
            if let Some(size) = size {
                chunk[4..8].copy_from_slice(&size.to_le_bytes());
            }
            chunk
        }).collect();
        holds_for_any_bytes(&make::riff([b"RIFF", b"RF64", b"BW64"][id], &chunks));
    }

    #[test]
    fn any_bytes_are_a_bext_chunk(bytes in prop::collection::vec(any::<u8>(), 0..700)) {
        let _ = bext::read(&bytes);
    }

    #[test]
    fn any_fields_are_an_ixml_chunk(
        fields in prop::collection::vec((0..IXML_FIELDS.len(), "[0-9]{0,22}|[0-9]{1,6}/[0-9]{1,6}|[-<>/A-Z_0-9&;:\"' ]{0,24}|\\PC{0,8}"), 0..10),
        bytes in prop::collection::vec(any::<u8>(), 0..80),
    ) {
        let _ = ixml::read(&bytes);
        let fields: String = fields.iter().map(|(n, body)| {
            let name = IXML_FIELDS[*n];
            format!("<{name}>{body}</{name}>")
        }).collect();
        for parent in ["SPEED", "BEXT"] {
            let text = format!("<BWFXML><{parent}>{fields}</{parent}></BWFXML>");
            let (read, _) = ixml::read(text.as_bytes());
            prop_assert!(read.rate_hz != Some(0));
            prop_assert!(read.frame_rate.is_none_or(|rate| !rate.starts_with('0')));
        }
    }
}
