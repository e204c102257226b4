//! A small event with words in it: three lines, heard by two recorders.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use xtask::scene::spec::{
    ChannelSpec, Container, LineSpec, MicSpec, NoiseKind, PartSpec, Place, Placement, RecorderSpec,
    RoomSpec, SampleFormat, SceneSpec, Spot,
};
use xtask::scene::{self, Truth, lines};

use crate::app::TestApp;

/// What is said, by the names of the dry lines.
const SAID: [&str; 3] = ["letter-corin-2", "letter-ottilie-1", "vows-corin-1"];

/// Seconds between two lines.
const PAUSE_S: f64 = 1.5;

/// An ingested event.
pub struct Landing {
    /// The server.
    pub app: TestApp,
    /// The event's id.
    pub event: String,
    /// What is really in the files.
    pub truth: Truth,
    folder: tempfile::TempDir,
}

impl Landing {
    /// Builds the recordings, adds them, and waits until their words are there.
    pub fn new() -> Self {
        Self::saying(&SAID)
    }

    /// The same where other lines are said, by the names of the dry lines.
    pub fn saying(said: &[&str]) -> Self {
        // The model is asked for first: its absence has the clearest message.
        xtask::oracle::model(crate::app::MODEL);
        let folder = tempfile::tempdir().expect("a folder");
        let truth = scene::build(&spec(said), folder.path()).expect("a scene");
        let app = TestApp::start();
        let event = app.event("Tarrow Landing");
        for recorder in &truth.recorders {
            let files = files(folder.path(), recorder);
            app.add(&event, &recorder.label, recorder.placement.as_str(), &files);
        }
        let status = app.wait_idle();
        assert_eq!(status["problems"], serde_json::json!([]), "{status}");
        Self {
            app,
            event,
            truth,
            folder,
        }
    }

    /// The files of a recorder.
    pub fn files(&self, recorder: &scene::truth::RecorderTruth) -> Vec<PathBuf> {
        files(self.folder.path(), recorder)
    }

    /// Where a recorder's file has a line, ms from the file's start.
    pub fn line_at(&self, recorder: &str, line: &str) -> (f64, f64) {
        let number = self
            .truth
            .lines
            .iter()
            .position(|l| l.id == line)
            .expect("a line");
        let recorder = self
            .truth
            .recorders
            .iter()
            .find(|r| r.label == recorder)
            .expect("one");
        let heard = recorder
            .hearings
            .iter()
            .find(|h| h.line == number)
            .expect("it was heard");
        (heard.start_ms, heard.end_ms)
    }
}

/// The recordings of the event, added nowhere.
pub fn recordings(folder: &Path) -> Truth {
    xtask::oracle::model(crate::app::MODEL);
    scene::build(&spec(&SAID), folder).expect("a scene")
}

/// The files of a recorder in a folder.
pub fn files(folder: &Path, recorder: &scene::truth::RecorderTruth) -> Vec<PathBuf> {
    recorder
        .files
        .iter()
        .map(|file| folder.join(&file.path))
        .collect()
}

fn spec(names: &[&str]) -> SceneSpec {
    let dry = lines::load().expect("the dry lines");
    let mut said = Vec::new();
    let mut at_s = 1.0;
    for id in names {
        let line = dry
            .iter()
            .position(|line| line.entry.id == *id)
            .expect("a dry line");
        said.push(LineSpec {
            line,
            speaker: dry[line].entry.speaker.clone(),
            part: 0,
            start_s: at_s,
            speed: 1.0,
            effort_db: 0.0,
        });
        at_s += dry[line].length_s() + PAUSE_S;
    }
    let places = BTreeMap::from([
        ("Corin".to_owned(), Place::new("boathouse", 0.0, 0.0)),
        ("Ottilie".to_owned(), Place::new("boathouse", 0.6, 0.0)),
    ]);
    SceneSpec {
        seed: 11,
        title: "Tarrow Landing".into(),
        date: "2026-06-20".into(),
        clock_s: 14 * 3600,
        length_s: at_s + 1.0,
        parts: vec![PartSpec {
            name: "letters".into(),
            start_s: 0.0,
            end_s: at_s + 1.0,
            places,
        }],
        lines: said,
        beds: Vec::new(),
        recorders: vec![
            recorder("Corin, lapel", Placement::Worn, Container::Broadcast, at_s),
            recorder("Camera", Placement::Camera, Container::Mov, at_s),
        ],
    }
}

fn recorder(label: &str, placement: Placement, container: Container, end_s: f64) -> RecorderSpec {
    let worn = placement == Placement::Worn;
    let spot = if worn {
        Spot::Worn {
            person: "Corin".into(),
            mouth_m: 0.25,
        }
    } else {
        Spot::Fixed(Place::new("boathouse", 3.0, 2.0))
    };
    let mic = MicSpec {
        spot,
        level_dbfs: -26.0,
        snr_db: if worn { 32.0 } else { 17.0 },
        noise: vec![(NoiseKind::Pink, 1.0)],
        room: (!worn).then_some(RoomSpec {
            critical_m: 3.0,
            rt60_s: 0.4,
        }),
    };
    RecorderSpec {
        label: label.into(),
        folder: placement.as_str().into(),
        stem: "REC".into(),
        placement,
        wearer: worn.then(|| "Corin".into()),
        start_s: if worn { 0.0 } else { 0.5 },
        end_s: end_s + 1.0,
        drift_ppm: if worn { 20.0 } else { -30.0 },
        clock_error_s: 0,
        rate_hz: 48_000,
        format: SampleFormat::Int16,
        container,
        channels: vec![ChannelSpec::Mic(mic)],
        split_at_s: Vec::new(),
        safety_files_db: None,
    }
}
