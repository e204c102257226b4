//! A recorder that was switched on in the middle of a line.

use std::path::Path;

use serde_json::{Value, json};

use super::{Desk, id};
use crate::app::TestApp;
use crate::queue::desk::{Ears, quick};

fn write(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec).expect("a file");
    for sample in samples {
        wav.write_sample((sample * 32_000.0) as i16).expect("room");
    }
    wav.finalize().expect("a whole file");
}

/// A letter with pauses, and what a camera has of it from the middle of its first line
/// on.
fn desk(cards: &Path) -> Desk {
    let lines = xtask::scene::lines::load().expect("lines");
    let letter: Vec<&[f32]> = lines
        .iter()
        .filter(|line| line.entry.id.starts_with("letter-ottilie"))
        .map(|line| &line.samples[..])
        .take(4)
        .collect();
    let mut near = vec![0.0; 8_000];
    for line in &letter {
        near.extend(*line);
        near.extend(vec![0.0; 32_000]);
    }
    let begun = 8_000 + letter[0].len() / 2;
    let far: Vec<f32> = near[begun..].iter().map(|sample| 0.3 * sample).collect();
    let [near_file, far_file] = ["near.wav", "far.wav"].map(|name| cards.join(name));
    write(&near_file, &near);
    write(&far_file, &far);
    let app = TestApp::working(quick(&Ears::default()));
    let event = app.event("Tarrow Landing");
    app.add(&event, "Lectern", "stand", &[near_file]);
    app.add(&event, "Camera", "camera", &[far_file]);
    let status = app.wait_idle();
    assert_eq!(status["problems"], json!([]), "{status}");
    Desk { app, event }
}

/// Else the half that is not in its file is lost when its half is put right.
#[test]
fn whoever_puts_half_a_line_right_is_shown_all_of_it() {
    let cards = tempfile::tempdir().expect("a folder");
    let desk = desk(cards.path());
    let detail = desk.app.get(&format!("/events/{}", desk.event)).json();
    let recordings = detail["recordings"].as_array().expect("recordings");
    let camera = recordings.iter().find(|r| r["source"]["label"] == "Camera");
    let camera = id(camera.expect("the camera"));
    let transcript = desk.app.get(&format!("/recordings/{camera}/words")).json();
    let hearings = transcript["hearings"].as_array().expect("hearings");
    let listed = desk.sayback(&["fix", "list", camera]);
    listed.says(0, &[]);
    let mut parts = 0;
    for hearing in hearings.iter().filter(|hearing| hearing["heard"] == true) {
        let own = hearing["text"].as_str().expect("a text");
        let moment = desk.moment(hearing["moment"].as_str().expect("an id"));
        let all = moment["text"].as_str().expect("a text");
        assert_eq!(
            hearing["whole"],
            Value::from(own == all),
            "{own:?}, {all:?}"
        );
        let name = format!("{}@{}  ", id(&moment), moment["version"]);
        let line = listed.out.lines().find(|line| line.starts_with(&name));
        assert!(
            line.is_some_and(|line| line.ends_with(all)),
            "{all}: {}",
            listed.out
        );
        if own != all {
            assert!(all.ends_with(own), "{own:?}, {all:?}");
            parts += 1;
        }
    }
    assert_eq!(parts, 1, "{transcript}");
}
