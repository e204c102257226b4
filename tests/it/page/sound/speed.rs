//! Faster and slower: the length changes, the pitch stays.

use super::stage::{RATE, Stage, Taken, made, rms};
use crate::media::{Folder, by_ffmpeg};
use crate::page::in_browser;

/// Cycles a second by the crossings of zero, of sound that is one tone.
fn pitch(samples: &[f32]) -> f64 {
    let crossings: Vec<f64> = samples
        .windows(2)
        .enumerate()
        .filter(|(_, two)| two[0] < 0.0 && two[1] >= 0.0)
        .map(|(n, two)| n as f64 + f64::from(two[0] / (two[0] - two[1])))
        .collect();
    let span = crossings[crossings.len() - 1] - crossings[0];
    (crossings.len() - 1) as f64 * RATE / span
}

#[test]
fn speed_changes_the_length_and_not_the_pitch() {
    let folder = Folder::new();
    let file = folder.path("tone.wav");
    made(&file, "0.5*sin(2*PI*440*t)", 48_000, 8.0);
    let app = super::stage::heard(&[("Tone", &file)]);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        for speed in [0.5, 0.75, 1.5, 2.0] {
            let script = format!(
                "const player = window.player ??= await rig.player();
                 rig.clear();
                 player.setSpeed({speed});
                 player.play({{ recording: rig.id.Tone, startMs: 1000, endMs: 5000 }});
                 await rig.ended(player);
                 return {{ taken: rig.taken(), troubles: rig.told.troubles }};"
            );
            let (taken, told) = stage.recorded(&script).await;
            assert_eq!(told["troubles"], serde_json::json!([]));
            let length = lasts_and_sounds_even(&taken);
            let wanted = 4.0 / speed;
            let (first, last) = taken.sound();
            let hz = pitch(&taken.samples[first + 2_400..last - 2_400]);
            println!("speed {speed}: {length:.3} s for {wanted:.3} s, {hz:.3} Hz for 440 Hz");
            assert!(
                (length / wanted - 1.0).abs() < 0.01,
                "{length} for {wanted} s"
            );
            assert!((hz - 440.0).abs() < 2.0, "{hz} Hz");
        }
        stage.end("").await;
    });
}

/// Seconds it lasts; a tone has no holes or bumps.
fn lasts_and_sounds_even(taken: &Taken) -> f64 {
    let (first, last) = taken.sound();
    for start in (first + 2_400..last - 2_400).step_by(480) {
        let level = rms(&taken.samples[start..start + 480]);
        let even = 0.5 / 2.0_f64.sqrt();
        assert!((level / even - 1.0).abs() < 0.1, "{level} for {even}");
    }
    (last - first) as f64 / RATE
}

#[test]
fn stretching_is_the_same_however_it_is_asked_for() {
    let folder = Folder::new();
    let file = folder.path("talk.wav");
    super::stage::talk(&file, "anull");
    let app = super::stage::heard(&[("Lectern", &file)]);
    let sound = by_ffmpeg(&file);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let told = stage
            .flow(
                "const { Stretch } = await import('/page/sound/stretch.js');
                 const { readWav } = await import('/page/sound/wav.js');
                 const url = `/api/v1/recordings/${rig.id.Lectern}/slice?start_ms=0&end_ms=600000`;
                 const { samples } = readWav(await (await fetch(url)).arrayBuffer());
                 const read = (from, to) => {
                   const out = new Float32Array(to - from);
                   for (let n = Math.max(0, from); n < Math.min(to, samples.length); n += 1) {
                     out[n - from] = samples[n];
                   }
                   return out;
                 };
                 let seed = 7;
                 const random = () => (seed = (seed * 48271) % 2147483647) / 2147483647;
                 let differ = 0;
                 let above = 0;
                 for (let round = 0; round < 12; round += 1) {
                   const speed = 0.5 + 1.5 * random();
                   const start = Math.floor(random() * 48000);
                   const whole = new Stretch(48000, speed, start).next(read, 48000);
                   const parts = new Stretch(48000, speed, start);
                   for (let at = 0; at < 48000; ) {
                     // Now and then nothing is there yet.
                     if (random() < 0.2) parts.next(() => null, 100000);
                     const some = parts.next(read, Math.min(48000 - at, 1 + Math.floor(random() * 5000)));
                     for (const sample of some) {
                       if (sample !== whole[at]) differ += 1;
                       if (Math.abs(sample) > 1) above += 1;
                       at += 1;
                     }
                   }
                 }
                 const cost = {};
                 for (const speed of [0.5, 0.75, 1.5, 2]) {
                   const stretch = new Stretch(48000, speed, 0);
                   const blocks = Math.floor(samples.length / speed / 9600);
                   const before = performance.now();
                   for (let n = 0; n < blocks; n += 1) stretch.next(read, 9600);
                   cost[speed] = (performance.now() - before) / (blocks * 200);
                 }
                 return { length: samples.length, differ, above, cost };",
            )
            .await;
        // Slices are of whole milliseconds.
        let length = told["length"].as_u64().expect("a number") as usize;
        assert!(
            length <= sound.len() && length + 48 > sound.len(),
            "{length}"
        );
        assert_eq!(
            told["differ"], 0,
            "samples differ by how they were asked for"
        );
        assert_eq!(told["above"], 0);
        for speed in ["0.5", "0.75", "1.5", "2"] {
            let cost = told["cost"][speed].as_f64().expect("a share");
            println!("speed {speed}: {:.2} % of the time it lasts", cost * 100.0);
        }
        stage.end("").await;
    });
}
