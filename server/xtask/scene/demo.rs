//! What happened at Tarrow Landing on the twentieth of June?
//!
//! The demo event: two letters, one of them read twice, a ceremony with vows and a
//! reading, two toasts; six minutes, four voices, five sources. Everybody and
//! every word is invented.

mod timing;

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context, Result};

use super::lines;
use super::spec::{
    ChannelSpec, Container, MicSpec, NoiseKind, PartSpec, Place, Placement, RecorderSpec, RoomSpec,
    SampleFormat, SceneSpec, Spot,
};
use super::truth::Truth;
use timing::Timing;

/// The demo's title.
pub const TITLE: &str = "Ottilie and Corin at Tarrow Landing";
/// The demo's date.
pub const DATE: &str = "2026-06-20";
/// The names that are said in it.
pub const NAMES: [&str; 8] = [
    "Ottilie",
    "Corin",
    "Tarrow Landing",
    "Jory",
    "Isaura",
    "Ambrose",
    "Aunt Zelphine",
    "Halvard Quill",
];
/// Who wears nothing: something they say, their name, their part in the day.
pub const UNWORN: [(&str, &str, &str); 2] = [
    ("\"kept this ferry\"", "Halvard Quill", "officiant"),
    ("\"little brother\"", "Jory", "brother of the bride"),
];
/// The letters as they were written, of the files in `texts/`, and what they are called.
pub const LETTERS: [(&str, &str); 2] = [
    ("letter-ottilie.txt", "Ottilie's letter"),
    ("letter-corin.txt", "Corin's letter"),
];
const SEED: u64 = 20_260_620;

/// A source of the demo, as `sayback add` takes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DemoSource {
    /// Its folder under the demo's.
    pub folder: &'static str,
    /// Its label.
    pub label: &'static str,
    /// How it is placed.
    pub placement: Placement,
    /// Who wears it.
    pub person: Option<&'static str>,
}

/// The demo's sources.
#[must_use]
pub fn demo_sources() -> [DemoSource; 5] {
    let source = |folder, label, placement, person| DemoSource {
        folder,
        label,
        placement,
        person,
    };
    [
        source(
            "worn-ottilie",
            "Worn Ottilie",
            Placement::Worn,
            Some("Ottilie Marrowby"),
        ),
        source(
            "worn-corin",
            "Worn Corin",
            Placement::Worn,
            Some("Corin Aldersea"),
        ),
        source("feed", "Feed", Placement::Feed, None),
        source("lectern", "Lectern", Placement::Stand, None),
        source("camera", "Camera", Placement::Camera, None),
    ]
}

/// Builds the demo under `folder`: a folder for each source, `texts/` with the
/// written letters, vows and reading, and `truth.json`.
///
/// # Errors
/// When the dry lines are missing or the disk fails.
pub fn build(folder: &Path) -> Result<Truth> {
    let truth = super::build(&spec()?, folder)?;
    let (from, to) = (lines::folder().join("texts"), folder.join("texts"));
    std::fs::create_dir_all(&to).with_context(|| format!("cannot make {}", to.display()))?;
    let read = std::fs::read_dir(&from).with_context(|| format!("cannot read {}", from.display()));
    for entry in read? {
        let entry = entry?;
        std::fs::copy(entry.path(), to.join(entry.file_name()))
            .with_context(|| format!("cannot copy {}", entry.path().display()))?;
    }
    Ok(truth)
}

/// The demo's spec.
///
/// # Errors
/// When the dry lines are missing.
pub fn spec() -> Result<SceneSpec> {
    let timing = Timing::of(&lines::load()?);
    let [letters_s, ceremony_s, toasts_s] = timing.ends_s;
    let parts = vec![
        part("letters", 0.0, letters_s, letters_places()),
        part("ceremony", letters_s, ceremony_s, ceremony_places()),
        part("toasts", ceremony_s, toasts_s, toasts_places()),
    ];
    let recorders = recorders(&timing);
    Ok(SceneSpec {
        seed: SEED,
        title: TITLE.to_owned(),
        date: DATE.to_owned(),
        clock_s: 14 * 3600 + 2 * 60,
        length_s: toasts_s,
        parts,
        lines: timing.lines,
        beds: timing.beds,
        recorders,
    })
}

fn part(name: &str, start_s: f64, end_s: f64, places: BTreeMap<String, Place>) -> PartSpec {
    PartSpec {
        name: name.to_owned(),
        start_s,
        end_s,
        places,
    }
}

fn places(all: &[(&str, &str, f64, f64)]) -> BTreeMap<String, Place> {
    all.iter()
        .map(|&(who, room, x, y)| (who.to_owned(), Place::new(room, x, y)))
        .collect()
}

/// In the morning everybody is somewhere else.
fn letters_places() -> BTreeMap<String, Place> {
    places(&[
        ("Ottilie", "kitchen", 0.0, 0.0),
        ("Corin", "jetty", 0.0, 0.0),
        ("Halvard", "ferry", 0.0, 0.0),
        ("Jory", "lane", 0.0, 0.0),
    ])
}

/// The couple face each other; the officiant behind them at the lectern, where
/// the reader stands too.
fn ceremony_places() -> BTreeMap<String, Place> {
    places(&[
        ("Ottilie", "boathouse", -0.4, 0.0),
        ("Corin", "boathouse", 0.4, 0.0),
        ("Halvard", "boathouse", 0.0, -0.9),
        ("Jory", "boathouse", 0.1, -1.0),
    ])
}

/// The couple sit; whoever speaks stands at the lectern.
fn toasts_places() -> BTreeMap<String, Place> {
    places(&[
        ("Ottilie", "boathouse", -0.4, 2.0),
        ("Corin", "boathouse", 0.4, 2.0),
        ("Halvard", "boathouse", -0.1, -0.9),
        ("Jory", "boathouse", 0.1, -0.9),
    ])
}

fn worn(person: &str, level_dbfs: f64, snr_db: f64, noise: Vec<(NoiseKind, f64)>) -> MicSpec {
    let spot = Spot::Worn {
        person: person.to_owned(),
        mouth_m: 0.24,
    };
    MicSpec {
        spot,
        level_dbfs,
        snr_db,
        noise,
        room: Some(boathouse()),
    }
}

fn fixed(place: Place, level_dbfs: f64, snr_db: f64, noise: Vec<(NoiseKind, f64)>) -> MicSpec {
    MicSpec {
        spot: Spot::Fixed(place),
        level_dbfs,
        snr_db,
        noise,
        room: Some(boathouse()),
    }
}

/// Wood and water: lively, not large.
fn boathouse() -> RoomSpec {
    RoomSpec {
        critical_m: 6.0,
        rt60_s: 0.4,
    }
}

fn recorders(timing: &Timing) -> Vec<RecorderSpec> {
    let [letters_s, _, end_s] = timing.ends_s;
    let base = |source: usize, stem: &str| {
        let source = demo_sources()[source];
        RecorderSpec {
            label: source.label.to_owned(),
            folder: source.folder.to_owned(),
            stem: stem.to_owned(),
            placement: source.placement,
            wearer: source
                .person
                .and_then(|name| name.split(' ').next())
                .map(str::to_owned),
            start_s: 0.0,
            end_s,
            drift_ppm: 0.0,
            clock_error_s: 0,
            rate_hz: 48_000,
            format: SampleFormat::Int16,
            container: Container::Wav,
            channels: Vec::new(),
            split_at_s: Vec::new(),
            safety_files_db: None,
        }
    };
    let camera = |start_s, end_s, stem: &str, place: Place, snr_db| RecorderSpec {
        start_s,
        end_s,
        drift_ppm: -57.0,
        clock_error_s: 3_593,
        container: Container::Mov,
        channels: vec![ChannelSpec::Mic(fixed(
            place,
            -30.0,
            snr_db,
            camera_noise(),
        ))],
        ..base(4, stem)
    };
    vec![
        // A safety copy 12 dB down on the right channel.
        RecorderSpec {
            end_s: end_s - 1.3,
            drift_ppm: 23.0,
            clock_error_s: -41,
            format: SampleFormat::Int24,
            container: Container::Broadcast,
            channels: vec![
                ChannelSpec::Mic(worn("Ottilie", -20.0, 34.0, vec![(NoiseKind::Pink, 1.0)])),
                ChannelSpec::Copy {
                    of: 0,
                    gain_db: -12.0,
                },
            ],
            ..base(0, "OTT_0620")
        },
        // Set too hot: flat tops wherever Corin raises his voice.
        RecorderSpec {
            start_s: 1.734_2,
            end_s: end_s - 0.4,
            drift_ppm: -38.0,
            clock_error_s: 127,
            container: Container::Broadcast,
            channels: vec![ChannelSpec::Mic(worn("Corin", -11.0, 30.0, rustle()))],
            ..base(1, "COR_0620")
        },
        RecorderSpec {
            start_s: letters_s - 2.611_3,
            end_s: end_s - 2.2,
            drift_ppm: 51.0,
            rate_hz: 44_100,
            channels: vec![ChannelSpec::Mic(desk())],
            ..base(2, "DESK")
        },
        // Split in two, as for an old file system.
        RecorderSpec {
            start_s: letters_s - 1.045_7,
            end_s: end_s - 0.9,
            drift_ppm: -24.5,
            clock_error_s: 8,
            format: SampleFormat::Float32,
            container: Container::Broadcast,
            channels: vec![ChannelSpec::Mic(fixed(
                Place::new("boathouse", 0.0, -0.55),
                -24.0,
                26.0,
                vec![(NoiseKind::Pink, 0.8), (NoiseKind::White, 0.2)],
            ))],
            split_at_s: vec![97.3],
            ..base(3, "LECT")
        },
        camera(
            1.2,
            timing.second_letter_s,
            "CLIP0031",
            Place::new("kitchen", 1.6, 0.8),
            20.0,
        ),
        camera(
            letters_s,
            end_s,
            "CLIP0032",
            Place::new("boathouse", 1.2, 4.4),
            18.0,
        ),
    ]
}

fn camera_noise() -> Vec<(NoiseKind, f64)> {
    vec![(NoiseKind::Pink, 0.7), (NoiseKind::Brown, 0.3)]
}

/// Cloth and wind on the jetty.
fn rustle() -> Vec<(NoiseKind, f64)> {
    vec![(NoiseKind::Pink, 0.5), (NoiseKind::Brown, 0.5)]
}

/// The officiant, the reader and the toasts had a hand-held microphone, and so
/// had the couple for their vows; the desk hums.
fn desk() -> MicSpec {
    let open = [
        (1, "Halvard"),
        (1, "Jory"),
        (1, "Corin"),
        (1, "Ottilie"),
        (2, "Jory"),
        (2, "Halvard"),
    ];
    MicSpec {
        spot: Spot::Desk {
            open: open
                .iter()
                .map(|&(part, who)| (part, who.to_owned()))
                .collect(),
        },
        level_dbfs: -22.0,
        snr_db: 32.0,
        noise: vec![(NoiseKind::Hum, 0.7), (NoiseKind::White, 0.3)],
        room: None,
    }
}
