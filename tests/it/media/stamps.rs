//! When was it recorded?

use super::{Folder, make};
use sayback::media::{Stamp, StampKind, probe};

fn stamp(stamps: &[Stamp], kind: StampKind) -> Option<&Stamp> {
    stamps.iter().find(|stamp| stamp.kind == kind)
}

#[test]
fn a_bext_written_by_ffmpeg_is_read() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(1, 48_000, &make::samples(48_000)));
    // 14:00:00 at 48 kHz is above 2^31: read as unsigned (EBU Tech 3285).
    let path = folder.encoded(
        &source,
        "out.wav",
        &[
            "-write_bext",
            "1",
            "-metadata",
            "origination_date=2026-06-20",
            "-metadata",
            "origination_time=14:00:00",
            "-metadata",
            "time_reference=2419200000",
        ],
    );
    let stamps = probe(&path).unwrap().stamps;
    let bext = stamp(&stamps, StampKind::Bext).expect("a bext stamp");
    assert_eq!(bext.at, "2026-06-20T14:00:00");
    assert_eq!(
        (bext.samples, bext.rate_hz),
        (Some(2_419_200_000), Some(48_000))
    );
    assert_eq!(bext.frame_rate, None, "a frame rate is never made up");
}

#[test]
fn bext_and_ixml_are_both_kept_and_the_file_time_is_last() {
    let folder = Folder::new();
    let ixml = "<?xml version=\"1.0\" encoding=\"UTF-8\"?><BWFXML><IXML_VERSION>1.5</IXML_VERSION><SPEED>\
        <MASTER_SPEED>30000/1001</MASTER_SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE>\
        <TIMECODE_FLAG>DF</TIMECODE_FLAG><FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE>\
        <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>\
        <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>\
        <TIMESTAMP_SAMPLE_RATE>96000</TIMESTAMP_SAMPLE_RATE></SPEED></BWFXML>";
    let path = folder.file(
        "both.wav",
        &make::riff(
            b"RIFF",
            &[
                make::bext("2026-06-20", "12:25:39", 4_294_967_295),
                make::chunk(b"fmt ", &make::fmt(1, 1, 96_000, 16)),
                make::chunk(b"data", &make::bytes_of(&make::samples(96))),
                make::chunk(b"iXML", ixml.as_bytes()),
            ],
        ),
    );
    let stamps = probe(&path).unwrap().stamps;
    let kinds: Vec<StampKind> = stamps.iter().map(|stamp| stamp.kind).collect();
    assert_eq!(
        kinds,
        [StampKind::Bext, StampKind::Ixml, StampKind::FileTime]
    );
    assert_eq!(stamps[0].samples, Some(4_294_967_295));
    // iXML: HI 1, LO 0 is 2^32 samples, not "10".
    assert_eq!(
        (stamps[1].samples, stamps[1].rate_hz),
        (Some(1 << 32), Some(96_000))
    );
    assert_eq!(stamps[1].frame_rate.as_deref(), Some("30000/1001 DF"));
    assert!(stamps[2].at.ends_with('Z'), "{}", stamps[2].at);
}

#[test]
fn a_movie_tells_its_creation_time() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(1, 48_000, &make::samples(48_000)));
    for name in ["a.m4a", "b.mov"] {
        let how = [
            "-c:a",
            "aac",
            "-metadata",
            "creation_time=2026-06-20T14:03:09Z",
        ];
        let stamps = probe(&folder.encoded(&source, name, &how)).unwrap().stamps;
        let container = stamp(&stamps, StampKind::Container).expect("a container stamp");
        assert_eq!(container.at, "2026-06-20T14:03:09Z", "{name}");
        // Without the option ffmpeg writes 0, which is no time.
        let none = probe(&folder.encoded(&source, name, &["-c:a", "aac"]))
            .unwrap()
            .stamps;
        assert_eq!(stamp(&none, StampKind::Container), None, "{name}");
    }
}
