//! The page's arithmetic of clocks beside the server's.

use sayback::core::clock::{Piece, Placement};
use serde_json::{Value, json};

use super::stage::{Stage, made};
use crate::landing::Landing;
use crate::media::Folder;
use crate::page::in_browser;

/// Where the server says a word is in each file, the page finds from the event clock.
pub async fn is_that_of_the_server(stage: &Stage, landing: &Landing) {
    let mut places = Vec::new();
    for query in ["ferry bell", "kettle", "the"] {
        let path = format!("/search?q={}", query.replace(' ', "%20"));
        let answer = landing.app.get(&path).json();
        for hit in answer["hits"].as_array().expect("hits") {
            for heard in hit["heard_on"].as_array().expect("hearings") {
                for at in ["start_ms", "end_ms"] {
                    places.push(json!([heard["recording"]["id"], hit[at], heard[at]]));
                }
            }
        }
    }
    assert!(places.len() >= 12, "{places:?}");
    let script = format!(
        "const places = {};
         return places.map(([id, line, file]) => [
           rig.timeline.toFile(id, line) - file,
           rig.timeline.toLine(id, file) - line,
           rig.timeline.at(0, line).some(({{ recording, fileMs }}) =>
             recording === id && Math.abs(fileMs - file) <= 1.01),
         ]);",
        Value::from(places)
    );
    let found: Vec<(f64, f64, bool)> =
        serde_json::from_value(stage.flow(&script).await).expect("three of each");
    let worst = found
        .iter()
        .map(|(a, b, _)| a.abs().max(b.abs()))
        .fold(0.0, f64::max);
    println!(
        "{} places: at most {worst:.2} ms from the server's, which are whole ms",
        found.len()
    );
    // Each of two numbers was rounded to a millisecond.
    assert!(worst <= 1.01, "{worst} ms from the server's");
    assert!(found.iter().all(|(_, _, runs)| *runs), "{found:?}");
}

/// Numbers without pattern, always the same.
struct Random(u64);

impl Random {
    fn below(&mut self, limit: f64) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64 * limit
    }
}

fn placement(random: &mut Random) -> Placement {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut from_ms = 0.0;
    let mut event_ms = random.below(1e7) - 5e6;
    for _ in 0..1 + random.below(5.0) as usize {
        let ppm = random.below(400.0) - 200.0;
        pieces.push(Piece {
            from_ms,
            event_ms,
            ppm,
        });
        let lasts = 1.0 + random.below(1e6);
        from_ms += lasts;
        // Half of the pieces follow at once.
        let stood = (random.below(4e3) - 2e3).max(0.0);
        event_ms += lasts / (1.0 + ppm / 1e6) + stood;
    }
    Placement::of_pieces(pieces).expect("they are in order")
}

#[test]
fn instants_are_mapped_as_the_server_maps_them() {
    let folder = Folder::new();
    let file = folder.path("tone.wav");
    made(&file, "0.02*sin(2*PI*1000*t)", 48_000, 1.0);
    let app = super::stage::heard(&[("tone", &file)]);
    let mut random = Random(5);
    let mut cases = Vec::new();
    let mut recordings = Vec::new();
    for n in 0..60 {
        let placement = placement(&mut random);
        let last = placement.pieces().last().expect("one").from_ms;
        let length = last + 1.0 + random.below(1e6);
        let pieces: Vec<Value> = placement
            .pieces()
            .iter()
            .map(|p| json!({"from_ms": p.from_ms, "start_ms": p.event_ms, "rate_ppm": p.ppm}))
            .collect();
        recordings.push(json!({
            "recording": {"id": format!("r{n}"), "file": "x"}, "source": {"label": "x"},
            "island": n % 3, "pieces": pieces, "end_ms": null, "length": length,
        }));
        for _ in 0..40 {
            let file_ms = random.below(length * 1.2) - length * 0.1;
            let line_ms = placement.event_at(file_ms) + random.below(3e3);
            cases.push(json!([
                format!("r{n}"),
                file_ms,
                placement.event_at(file_ms),
                line_ms,
                placement.file_at(line_ms)
            ]));
        }
    }
    let script = format!(
        "const {{ Timeline }} = await import('/page/timeline.js');
         const recordings = {};
         const lengths = recordings.map(({{ recording, length }}) => ({{ id: recording.id, duration_ms: length }}));
         recordings.push({{ recording: {{ id: 'alone', file: 'y' }}, source: {{}}, island: null, pieces: [], end_ms: null }});
         lengths.push({{ id: 'alone', duration_ms: 5000 }});
         const timeline = new Timeline({{ recordings }}, lengths);
         let worst = 0;
         let wrong = 0;
         for (const [id, file, line, lineMs, fileMs] of {}) {{
           worst = Math.max(worst, Math.abs(timeline.toLine(id, file) - line));
           worst = Math.max(worst, Math.abs(timeline.toFile(id, lineMs) - fileMs));
           const runs = timeline.at(timeline.lineOf(id), lineMs).some(({{ recording }}) => recording === id);
           const length = lengths.find((one) => one.id === id).duration_ms;
           // It runs where the instant leads to a sample and back to itself.
           const back = Math.abs(timeline.toLine(id, fileMs) - lineMs) < 1e-3;
           if (runs !== (back && fileMs >= 0 && fileMs < length)) wrong += 1;
         }}
         const alone = [timeline.lineOf('alone'), timeline.toFile('alone', 1234.5),
           timeline.at('file:alone', 4999).length, timeline.at('file:alone', 5000).length,
           timeline.at(0, 100).some(({{ recording }}) => recording === 'alone'), timeline.lines().length];
         return {{ worst, wrong, alone }};",
        Value::from(recordings),
        Value::from(cases)
    );
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let told = stage.flow(&script).await;
        assert!(told["worst"].as_f64().expect("a number") < 1e-6, "{told}");
        assert_eq!(told["wrong"], 0, "{told}");
        assert_eq!(told["alone"], json!(["file:alone", 1234.5, 1, 0, false, 4]));
        stage.end("").await;
    });
}
