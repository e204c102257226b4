//! An event as the product has it, kept so that another search needs no model time.
//!
//! `CACHED` (else `target/find`) holds the sound and the truth of each text, and for each
//! model the data folder of a server that has taken it in. A search works on a copy.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use tempfile::TempDir;

use crate::app::TestApp;
use crate::sound::{self, File, Said, VERSION};
use crate::text::Text;

/// Slow machines need a multiple of the recordings' length.
const LONGEST: Duration = Duration::from_secs(3 * 3600);

/// What hears the event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Sound {
    /// Worn recorders, and a camera beside them.
    Worn,
    /// A camera by itself.
    Camera,
}

impl Sound {
    pub const ALL: [Self; 2] = [Self::Worn, Self::Camera];

    /// The title of its event.
    pub fn title(self) -> &'static str {
        match self {
            Self::Worn => "worn",
            Self::Camera => "camera alone",
        }
    }
}

/// A word as the product has it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Heard {
    pub text: String,
    /// ms of the event clock.
    pub start_ms: i64,
    pub end_ms: i64,
    pub moment: String,
}

/// An event that is there to be asked.
pub struct Event {
    pub sound: Sound,
    pub id: String,
    /// All its words, in order.
    pub heard: Vec<Heard>,
}

/// A server over a copy of the cached folder.
pub struct Asked {
    pub app: TestApp,
    pub said: Said,
    pub events: Vec<Event>,
}

/// Where everything is kept.
pub fn cache() -> PathBuf {
    std::env::var_os("CACHED").map_or_else(|| xtask::root().join("target/find"), PathBuf::from)
}

fn folder_of(kind: &str, text: &Text) -> PathBuf {
    let name = text.name.replace(' ', "-");
    cache().join(kind).join(format!("{name}-{}", key(text)))
}

/// Changes with everything that a transcript depends on.
fn key(text: &Text) -> String {
    let mut text = text.clone();
    text.lines.iter_mut().for_each(|line| line.half = None);
    let json = serde_json::to_string(&text).expect("JSON");
    let hash = Sha256::digest(format!("{VERSION} {json}"));
    hash[..4].iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The server of a text; takes its sound in first where no cache has it.
pub fn open(model: &str, text: &Text) -> Asked {
    let (files, mut said) = sounding(text);
    for (line, own) in said.lines.iter_mut().zip(&text.lines) {
        line.half.clone_from(&own.half);
    }
    let kept = folder_of(model, text);
    if !kept.is_dir() {
        let started = Instant::now();
        take_in(model, &files, &kept);
        eprintln!(
            "{model}, {}: {} s of speech taken in twice in {} s",
            text.name,
            said.speech_ms / 1000,
            started.elapsed().as_secs()
        );
    }
    let data = tempfile::tempdir().expect("a folder");
    copy(&kept, data.path());
    let app = TestApp::over(data, model);
    app.wait_idle_for(LONGEST);
    let events = Sound::ALL.map(|sound| event(&app, sound)).into();
    Asked { app, said, events }
}

/// The files of a text and what is said in them, rendered where no cache has them.
fn sounding(text: &Text) -> (Vec<File>, Said) {
    let folder = folder_of("sound", text);
    let truth = folder.join("said.json");
    if let Ok(json) = fs::read(&truth) {
        return serde_json::from_slice(&json).expect("the truth");
    }
    fs::create_dir_all(&folder).expect("a folder");
    let made = sound::render(text, &folder);
    // The last step makes it whole.
    let json = serde_json::to_vec(&made).expect("JSON");
    fs::write(truth, json).expect("the truth is written");
    made
}

fn take_in(model: &str, files: &[File], kept: &Path) {
    let app = TestApp::over(tempfile::tempdir().expect("a folder"), model);
    for sound in Sound::ALL {
        let event = app.event(sound.title());
        let heard = |file: &&File| sound == Sound::Worn || file.placement == "camera";
        for file in files.iter().filter(heard) {
            let paths = std::slice::from_ref(&file.path);
            app.add(&event, &file.label, &file.placement, paths);
        }
    }
    let status = app.wait_idle_for(LONGEST);
    assert_eq!(status["problems"], serde_json::json!([]), "{status}");
    let data: TempDir = app.stop();
    // What a run that was stopped has left is made again; the last step makes it whole.
    let half = kept.with_extension("half");
    let _ = fs::remove_dir_all(&half);
    copy(data.path(), &half);
    fs::rename(half, kept).expect("a folder");
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let path = entry.expect("an entry").path();
        let to = to.join(path.file_name().expect("a name"));
        if path.is_dir() {
            copy(&path, &to);
        } else {
            fs::copy(&path, &to).expect("a copy");
        }
    }
}

/// An event and its words. Recorders start at its first instant and drift by 30 ppm
/// at most, so file time is its clock within 10 ms.
fn event(app: &TestApp, sound: Sound) -> Event {
    let title = sound.title().replace(' ', "%20");
    let detail = app.get(&format!("/events/{title}")).json();
    let recordings = detail["recordings"].as_array().expect("recordings");
    let mut heard = Vec::new();
    for recording in recordings {
        let id = recording["id"].as_str().expect("an id");
        let reply = app.get(&format!("/recordings/{id}/words")).json();
        for hearing in reply["hearings"].as_array().expect("hearings") {
            if hearing["words_from"]["id"] != id {
                continue;
            }
            for word in hearing["words"].as_array().expect("words") {
                let ms = |name: &str| word[name].as_i64().expect("a time");
                heard.push(Heard {
                    text: word["text"].as_str().expect("a word").to_owned(),
                    start_ms: ms("start_ms"),
                    end_ms: ms("end_ms"),
                    moment: hearing["moment"].as_str().expect("an id").to_owned(),
                });
            }
        }
    }
    heard.sort_by_key(|word| word.start_ms);
    Event {
        sound,
        id: detail["id"].as_str().expect("an id").to_owned(),
        heard,
    }
}
