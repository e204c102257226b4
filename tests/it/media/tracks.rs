//! Files with more in them than one sound track from the first moment on.

use super::{Folder, by_us, ffmpeg, make, read_on, snr_db};
use sayback::media::{Reader, probe};
use std::path::{Path, PathBuf};

const RATE: u32 = 48_000;

/// A WAV file of five seconds, and its samples.
fn sound(folder: &Folder, name: &str, channels: u16) -> (PathBuf, Vec<f32>) {
    let talk = make::talk(channels, RATE, 5);
    let left = talk.iter().skip(usize::from(channels) - 1);
    let one: Vec<i16> = left.step_by(usize::from(channels)).copied().collect();
    let path = folder.file(name, &make::plain(1, RATE, &one));
    let samples = by_us(&path);
    (path, samples)
}

/// What ffmpeg makes of files.
fn made(folder: &Folder, from: &[&Path], how: &[&str], name: &str) -> PathBuf {
    let to = folder.path(name);
    let mut all: Vec<&str> = Vec::new();
    for path in from {
        all.extend(["-i", path.to_str().unwrap()]);
    }
    all.extend_from_slice(how);
    all.push(to.to_str().unwrap());
    ffmpeg(&all);
    to
}

fn warned(reader: &Reader, of: &str) -> bool {
    reader.warnings().iter().any(|warning| warning.contains(of))
}

#[test]
fn of_two_sound_tracks_the_first_is_read_and_the_other_named() {
    let folder = Folder::new();
    let (first, want) = sound(&folder, "first.wav", 1);
    let (second, other) = sound(&folder, "second.wav", 2);
    assert!(snr_db(&want, &other) < 10.0, "the two differ");
    let both = ["-map", "0", "-map", "1", "-c:a"];
    for (name, codec) in [("a.mov", "pcm_s16le"), ("b.mka", "pcm_s16le")] {
        let how = [&both[..], &[codec]].concat();
        let path = made(&folder, &[&first, &second], &how, name);
        let mut reader = Reader::open(&path).unwrap();
        assert_eq!(read_on(&mut reader), want, "{name}");
        assert!(warned(&reader, "2 sound tracks"), "{:?}", reader.warnings());
    }
    let alone = made(&folder, &[&first], &["-c:a", "pcm_s16le"], "c.mov");
    assert_eq!(Reader::open(&alone).unwrap().warnings(), [""; 0]);
}

#[test]
fn a_track_nobody_here_decodes_does_not_hide_one_that_is() {
    let folder = Folder::new();
    let (first, _) = sound(&folder, "first.wav", 1);
    let (second, want) = sound(&folder, "second.wav", 2);
    let how = ["-map", "0", "-map", "1", "-c:a:0", "ac3", "-c:a:1", "alac"];
    let path = made(&folder, &[&first, &second], &how, "a.mp4");
    let mut reader = Reader::open(&path).unwrap();
    assert_eq!(read_on(&mut reader), want);
    assert!(warned(&reader, "2 sound tracks"), "{:?}", reader.warnings());
}

#[test]
fn a_minute_of_pictures_before_the_sound_does_not_hide_it() {
    let folder = Folder::new();
    let (source, want) = sound(&folder, "in.wav", 1);
    let picture = "testsrc=s=64x48:r=25:d=66";
    for name in ["a.mkv", "b.mov"] {
        let to = folder.path(name);
        ffmpeg(&[
            "-f",
            "lavfi",
            "-i",
            picture,
            "-itsoffset",
            "60",
            "-i",
            source.to_str().unwrap(),
            "-c:v",
            "mpeg4",
            "-c:a",
            "pcm_s16le",
            to.to_str().unwrap(),
        ]);
        let facts = probe(&to).unwrap();
        let got = by_us(&to);
        assert_eq!(got.len() as u64, facts.frames, "{name}");
        let start = 60 * RATE as usize;
        assert!(got[..start].iter().all(|sample| *sample == 0.0), "{name}");
        assert!(got[start..][..want.len()] == want, "{name}");
        // A seek into the silence, and one past it, find the same.
        let mut reader = Reader::open(&to).unwrap();
        for from in [start + 1_000, start - 1_000, 5] {
            reader.seek(from as u64).unwrap();
            // No listing of millions of samples where it fails.
            assert!(read_on(&mut reader) == got[from..], "{name} at {from}");
        }
    }
}
