//! Sound that was stored with loss: as ffmpeg decodes it, and at the same time.

use super::{Folder, by_ffmpeg, by_us, make, read_on, snr_db};
use sayback::media::{MediaError, Reader};
use std::path::{Path, PathBuf};

/// The bar for decoders of one standard: 60 dB apart at most.
const SNR_MIN_DB: f64 = 60.0;

/// The formats a recorder, phone or camera writes with loss.
fn lossy(folder: &Folder, channels: u16, rate: u32) -> Vec<PathBuf> {
    let source = folder.file(
        "in.wav",
        &make::plain(channels, rate, &make::talk(channels, rate, 5)),
    );
    let picture = [
        "-f",
        "lavfi",
        "-i",
        "testsrc=s=64x48:r=25:d=5",
        "-c:v",
        "mpeg4",
        "-shortest",
    ];
    let mut cases = vec![
        ("a.m4a", vec!["-c:a", "aac"]),
        ("b.mp4", [&picture[..], &["-c:a", "aac"]].concat()),
        ("c.mov", [&picture[..], &["-c:a", "aac"]].concat()),
        ("d.aac", vec!["-c:a", "aac"]),
        ("e.mp3", vec!["-c:a", "libmp3lame", "-b:a", "96k"]),
        ("f.mp3", vec!["-c:a", "libmp3lame", "-q:a", "2"]),
        ("g.mp3", vec!["-c:a", "libmp3lame", "-write_xing", "0"]),
        ("h.ogg", vec!["-c:a", "libvorbis"]),
        ("i.mkv", [&picture[..], &["-c:a", "aac"]].concat()),
        (
            "j.mp4",
            vec![
                "-c:a",
                "aac",
                "-movflags",
                "frag_keyframe+empty_moov+default_base_moof",
            ],
        ),
    ];
    if [8_000, 16_000, 48_000].contains(&rate) {
        cases.push(("k.opus", vec!["-c:a", "libopus"]));
        cases.push(("l.webm", vec!["-c:a", "libopus"]));
    }
    cases
        .into_iter()
        .map(|(name, how)| folder.encoded(&source, name, &how))
        .collect()
}

/// The lag of `got` against `want` in frames, and the ratio at that lag.
fn aligned(want: &[f32], got: &[f32], channels: usize) -> (i64, f64) {
    let reach = 3_000_i64;
    let at = |lag: i64| {
        let skip = |samples: &[f32], frames: i64| {
            samples[(frames.max(0) as usize * channels).min(samples.len())..].to_vec()
        };
        let (want, got) = (skip(want, -lag), skip(got, lag));
        let shared = want.len().min(got.len()).min(40_000);
        snr_db(&want[..shared], &got[..shared])
    };
    // Looked for only where nought is wrong: a message says by how much.
    let nought = snr_db(&want[..want.len().min(got.len())], got);
    if nought >= SNR_MIN_DB {
        return (0, nought);
    }
    (-reach..=reach)
        .map(|lag| (lag, at(lag)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .expect("a lag")
}

fn agrees(path: &Path, channels: usize) {
    let (ours, theirs) = (by_us(path), by_ffmpeg(path));
    let (lag, snr) = aligned(&theirs, &ours, channels);
    let frames = (ours.len() / channels, theirs.len() / channels);
    println!(
        "{}: lag {lag}, {snr:.1} dB, {frames:?} frames",
        path.display()
    );
    assert_eq!(lag, 0, "{}: {frames:?} frames", path.display());
    assert!(snr >= SNR_MIN_DB, "{}: {snr:.1} dB", path.display());
    // ffmpeg keeps the padding of some containers' last packet: one packet.
    assert!(
        frames.0.abs_diff(frames.1) <= 2_048,
        "{}: {frames:?}",
        path.display()
    );
}

#[test]
fn lossy_formats_agree_with_ffmpeg_without_a_lag() {
    let folder = Folder::new();
    for (channels, rate) in [(1, 8_000), (2, 44_100), (2, 48_000)] {
        for path in lossy(&folder, channels, rate) {
            agrees(&path, usize::from(channels));
        }
    }
}

#[test]
fn a_seek_gives_what_reading_from_the_start_gives() {
    let folder = Folder::new();
    let (channels, rate) = (2_u16, 48_000);
    let source = folder.file(
        "s.wav",
        &make::plain(channels, rate, &make::talk(channels, rate, 5)),
    );
    let mut paths = lossy(&folder, channels, rate);
    for (name, codec) in [
        ("m.flac", "flac"),
        ("n.m4a", "alac"),
        ("o.mov", "pcm_s24le"),
        ("p.wav", "pcm_s24le"),
        ("q.wav", "pcm_f64le"),
    ] {
        paths.push(folder.encoded(&source, name, &["-c:a", codec]));
    }
    for path in paths {
        let whole = by_us(&path);
        let mut reader = Reader::open(&path).unwrap();
        let frames = reader.info().frames;
        // Forward, back, to the start and near the end.
        for frame in [100_000, 40_001, 0, 199_999, 17, frames - 14_000, frames] {
            reader.seek(frame).unwrap();
            let got = read_on(&mut reader);
            let want = &whole[(frame as usize * usize::from(channels)).min(whole.len())..];
            assert_eq!(got.len(), want.len(), "{} at {frame}", path.display());
            if !want.is_empty() {
                let snr = snr_db(want, &got);
                assert!(
                    snr >= SNR_MIN_DB,
                    "{} at {frame}: {snr:.1} dB",
                    path.display()
                );
            }
        }
    }
}

#[test]
fn packets_that_cannot_be_decoded_leave_silence_and_keep_the_time() {
    let folder = Folder::new();
    // Long enough that the damage is away from the ends, which are looked at
    // when a file is opened.
    let source = folder.file(
        "in.wav",
        &make::plain(1, 48_000, &make::talk(1, 48_000, 60)),
    );
    for (name, codec) in [
        ("a.mp3", "libmp3lame"),
        ("b.flac", "flac"),
        ("c.ogg", "libvorbis"),
        ("d.opus", "libopus"),
        ("e.m4a", "aac"),
    ] {
        // AAC's substituted noise depends on all that came before: without it.
        let how: &[&str] = if codec == "aac" {
            &["-aac_pns", "0"]
        } else {
            &[]
        };
        let path = folder.encoded(&source, name, &[&["-c:a", codec], how].concat());
        let whole = by_us(&path);
        let mut bytes = std::fs::read(&path).unwrap();
        let mut middle = bytes.len() * 2 / 5;
        if name == "a.mp3" {
            // An MP3 frame has no time of its own: one whose header is gone
            // was never there. Spoiled is what lies between two headers.
            middle += bytes[middle..]
                .windows(2)
                .position(|two| two == [0xFF, 0xFB])
                .unwrap()
                + 6;
        }
        let len = if name == "a.mp3" { 100 } else { 700 };
        bytes[middle..middle + len].fill(0xA5);
        let mut reader = Reader::open(&folder.file(name, &bytes)).unwrap();
        let broken = super::read_on(&mut reader);
        // Nothing in an MP3 or AAC packet tells that its inside was spoiled.
        let told = !reader.warnings().is_empty() || ["a.mp3", "e.m4a"].contains(&name);
        assert!(told, "{name}: no warning");
        assert!(
            broken.len().abs_diff(whole.len()) <= 4_800,
            "{name}: {} of {}",
            broken.len(),
            whole.len()
        );
        // The last second is where it was.
        let from = 58 * 48_000;
        let to = whole.len().min(broken.len());
        let snr = snr_db(&whole[from..to], &broken[from..to]);
        assert!(snr >= SNR_MIN_DB, "{name}: {snr:.1} dB after the hole");
    }
}

#[test]
fn a_video_without_sound_says_so() {
    let folder = Folder::new();
    for name in ["a.mp4", "b.mov", "c.mkv"] {
        let path = folder.path(name);
        super::ffmpeg(&[
            "-f",
            "lavfi",
            "-i",
            "testsrc=s=64x48:r=25:d=1",
            "-c:v",
            "mpeg4",
            path.to_str().unwrap(),
        ]);
        let error = Reader::open(&path).err().expect("no sound");
        assert!(matches!(error, MediaError::NoSound { .. }), "{error}");
        assert!(error.to_string().contains(name), "{error}");
    }
}

#[test]
fn a_codec_nobody_here_decodes_is_named() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(2, 48_000, &make::talk(2, 48_000, 1)));
    let path = folder.encoded(&source, "a.mp4", &["-c:a", "ac3"]);
    let error = Reader::open(&path).err().expect("no decoder").to_string();
    assert!(error.contains("ac-3") && error.contains("a.mp4"), "{error}");
}

#[test]
fn a_spoiled_stretch_of_packets_without_times_costs_only_itself() {
    let folder = Folder::new();
    let source = folder.file(
        "in.wav",
        &make::plain(1, 48_000, &make::talk(1, 48_000, 60)),
    );
    for (name, how) in [
        ("a.aac", &["-c:a", "aac", "-aac_pns", "0"][..]),
        ("b.mp3", &["-c:a", "libmp3lame", "-write_xing", "0"]),
    ] {
        let path = folder.encoded(&source, name, how);
        let whole = by_us(&path);
        let mut bytes = std::fs::read(&path).unwrap();
        let middle = bytes.len() * 2 / 5;
        bytes[middle..middle + 3_000].fill(0xA5);
        let mut reader = Reader::open(&folder.file(name, &bytes)).unwrap();
        let broken = read_on(&mut reader);
        // The frames that lay there are gone: as many bytes' worth, and the
        // two at its edges.
        let lost = whole.len() - broken.len();
        let most = whole.len() * 3_000 / bytes.len() + 2 * 1_152;
        assert!(lost <= most, "{name}: {lost} of {} lost", whole.len());
        // The last second is as long before the end as it was.
        let snr = snr_db(
            &whole[whole.len() - 48_000..],
            &broken[broken.len() - 48_000..],
        );
        assert!(snr >= SNR_MIN_DB, "{name}: {snr:.1} dB after it");
    }
}
