//! The same instant from another source: without a gap, and where it belongs.

use serde_json::Value;

use super::stage::{RATE, Stage, Taken, alike, rms};
use crate::landing::Landing;
use crate::media::by_ffmpeg;
use crate::page::in_browser;

/// The line in which sources are changed.
const LINE: &str = "letter-corin-2";

/// Milliseconds from one change to the next.
const EVERY_MS: usize = 600;

/// How long one source takes to give way to the other, samples (15 ms).
const FADE: usize = 720;

#[test]
fn a_switch_lands_on_the_same_instant_without_a_gap() {
    let landing = Landing::new();
    in_browser(async |browser| {
        let stage = Stage::open(browser, &landing.app).await;
        let (worn, _) = landing.line_at("Corin, lapel", LINE);
        let start = worn as i64;
        let script = format!(
            "const player = await rig.player();
             const worn = rig.id['Corin, lapel'];
             player.play({{ line: 0, startMs: rig.timeline.toLine(worn, {start}), recording: worn }});
             await rig.sleep(600);
             rig.told.times = [];
             const pressed = [];
             for (let n = 0; n < 6; n += 1) {{
               pressed.push(rig.context.currentTime);
               player.nextSource();
               await rig.sleep({EVERY_MS});
             }}
             const state = player.state;
             player.stop();
             await rig.sleep(300);
             return {{ taken: rig.taken(), pressed, state, times: rig.told.times,
                 troubles: rig.told.troubles, memory: player.memory,
                 latency: rig.context.outputLatency || rig.context.baseLatency }};"
        );
        let (taken, told) = stage.recorded(&script).await;
        assert_eq!(told["troubles"], serde_json::json!([]));
        let files = [file(&landing, "Corin, lapel"), file(&landing, "Camera")];
        let played = Played::of(&taken, &files, worn);
        let pressed: Vec<usize> = told["pressed"]
            .as_array()
            .expect("times")
            .iter()
            .map(|at| (at.as_f64().expect("a time") * RATE - taken.frame) as usize)
            .collect();
        held_against_truth(&landing, &taken, &files, &played, &pressed);
        what_is_told_is_what_sounds(&landing, &taken, &played, &told);
        super::mapping::is_that_of_the_server(&stage, &landing).await;
        super::trouble::keys_do_what_they_say(&stage, &landing).await;
        stage.end("").await;
    });
}

/// The first and only file of a recorder.
fn file(landing: &Landing, label: &str) -> Vec<f32> {
    let recorder = landing.truth.recorders.iter().find(|r| r.label == label);
    by_ffmpeg(&landing.files(recorder.expect("a recorder"))[0])
}

/// Where what was recorded begins, and where in the first file that is.
struct Played {
    first: usize,
    worn_at: usize,
}

impl Played {
    fn of(taken: &Taken, files: &[Vec<f32>; 2], start_ms: f64) -> Self {
        let (first, _) = taken.sound();
        let asked = (start_ms.trunc() / 1000.0 * RATE) as usize;
        // Half a second in, well after it was faded in.
        let into = (RATE / 4.0) as usize;
        let wanted = &files[0][asked + into..asked + into + 9_600];
        let (at, like) = taken.find(wanted, first + into - 100, first + into + 100);
        assert!(like > 0.999_999, "{like} at {at}");
        Self {
            first: at - into,
            worn_at: asked,
        }
    }
}

fn held_against_truth(
    landing: &Landing,
    taken: &Taken,
    files: &[Vec<f32>; 2],
    played: &Played,
    pressed: &[usize],
) {
    let starts = ["Corin, lapel", "Camera"].map(|label| landing.line_at(label, LINE).0);
    let drift = |label: &str| {
        let recorder = landing.truth.recorders.iter().find(|r| r.label == label);
        1.0 + recorder.expect("one").drift_ppm / 1e6
    };
    // How fast one file goes in the time of another.
    let rates = [drift("Corin, lapel"), drift("Camera")];
    let mut now = 0;
    // Where the file that sounds is, less where it is in what was recorded.
    let mut beside = played.worn_at as f64 - played.first as f64;
    let mut worst = 0.0_f64;
    let mut took = Vec::new();
    for at in pressed {
        let other = 1 - now;
        // Late enough for a busy machine.
        let from = at + EVERY_MS * 48 * 2 / 3;
        let wanted = &taken.samples[from..from + 7_200];
        // The truth: as far into the line as the file that sounded before would be.
        let into = (from as f64 + beside) / RATE * 1000.0 - starts[now];
        let truth = (starts[other] + into * rates[other] / rates[now]) / 1000.0 * RATE;
        let (found, like) = best(wanted, &files[other], truth, 960);
        assert!(like > 0.999_999, "another sound: {like}");
        let error_ms = (found as f64 - truth) / RATE * 1000.0;
        assert!(error_ms.abs() < 3.0, "{error_ms} ms beside the truth");
        worst = worst.max(error_ms.abs());

        let new = found as f64 - from as f64;
        let begun = faded_as_it_should(taken, &files[now], beside, &files[other], new, *at);
        took.push((begun - *at) as f64 / RATE * 1000.0);
        (now, beside) = (other, new);
    }
    let last = pressed.last().expect("one") + EVERY_MS * 48 / 2;
    let silence = taken.longest_silence_ms(played.first + 240, last);
    assert!(silence < 5.0, "{silence} ms of zeros");
    took.sort_by(f64::total_cmp);
    let (middle, slowest) = (took[took.len() / 2], took[took.len() - 1]);
    println!(
        "{} switches: at most {worst:.2} ms beside the truth; {middle:.0} ms ({slowest:.0} at most) from the call to \
         the new source's first sample; longest run of zeros {silence:.2} ms",
        pressed.len()
    );
    // The middle one: a machine that builds beside may hold one up.
    assert!(middle < 50.0, "{middle} ms to switch");
}

/// Where `wanted` lies in a file, near a place.
fn best(wanted: &[f32], file: &[f32], near: f64, around: usize) -> (usize, f64) {
    let near = near as usize;
    (near - around..near + around)
        .map(|at| (at, alike(wanted, &file[at..at + wanted.len()])))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .expect("somewhere")
}

/// Between a call and the new source alone there is the one, then both in straight lines
/// that add up to one, sample by sample; the first sample that is not the old source's.
fn faded_as_it_should(
    taken: &Taken,
    old: &[f32],
    old_beside: f64,
    new: &[f32],
    new_beside: f64,
    called: usize,
) -> usize {
    let of = |file: &[f32], beside: f64, at: usize| file[(at as f64 + beside) as usize];
    let begun = (called..)
        .find(|n| (taken.samples[*n] - of(old, old_beside, *n)).abs() > 1e-6)
        .expect("it changes");
    // The first sample of a fade is of the old alone, the second may be alike.
    let expected = |start: usize, n: usize| {
        let share = ((n - start) as f32 / FADE as f32).min(1.0);
        of(old, old_beside, n) * (1.0 - share) + of(new, new_beside, n) * share
    };
    let off = |start: usize| {
        let stretch = start..start + FADE + 2_400;
        let worst = stretch.map(|n| (taken.samples[n] - expected(start, n)).abs());
        worst.fold(0.0_f32, f32::max)
    };
    let worst = (begun - 8..=begun).map(off).fold(f32::MAX, f32::min);
    assert!(worst < 1e-3, "the fade is {worst} beside what it should be");
    // No 20 ms are far weaker than the weaker source is there: two unlike sounds lose 3 dB
    // in the middle of straight lines.
    for start in (called..begun + 4_800).step_by(480) {
        let stretch = start..start + 960;
        let level = |file: &[f32], beside: f64| {
            rms(&stretch
                .clone()
                .map(|n| of(file, beside, n))
                .collect::<Vec<_>>())
        };
        let least = level(old, old_beside).min(level(new, new_beside));
        let got = rms(&taken.samples[stretch.clone()]);
        assert!(got > least * 0.5, "{got} where each has {least}");
    }
    begun
}

/// The place that is told is where the sound is, by the clock of the machine.
fn what_is_told_is_what_sounds(landing: &Landing, taken: &Taken, played: &Played, told: &Value) {
    let times: Vec<[f64; 3]> = serde_json::from_value(told["times"].clone()).expect("times");
    assert!(times.len() > 30, "{} pictures", times.len());
    let latency_ms = told["latency"].as_f64().expect("a latency") * 1000.0;
    let id = told["state"]["recording"].as_str().expect("a recording");
    assert!(
        told["state"]["sources"]
            .as_array()
            .is_some_and(|all| all.len() == 2 && all.iter().any(|s| s["recording"] == id))
    );
    let clock = landing
        .app
        .get(&format!("/events/{}/clock", landing.event))
        .json();
    let worn = clock["recordings"].as_array().expect("recordings").iter();
    let worn = worn
        .clone()
        .find(|r| r["source"]["label"] == "Corin, lapel")
        .expect("it");
    let start = worn["start_exact_ms"].as_f64().expect("a start");
    let mut beside: Vec<f64> = times
        .iter()
        .map(|[_, context_s, ms]| {
            // What sounds at that time, on the event clock: drift is below 0.1 ms here.
            let at = context_s * RATE - taken.frame;
            let sounds = start + (at - played.first as f64 + played.worn_at as f64) / RATE * 1000.0;
            // What is made now is heard later.
            sounds - latency_ms - ms
        })
        .collect();
    beside.sort_by(f64::total_cmp);
    let (low, middle, high) = (
        beside[beside.len() / 20],
        beside[beside.len() / 2],
        beside[beside.len() * 19 / 20],
    );
    println!(
        "what is told, less what is heard: median {middle:.1} ms, 90 % from {low:.1} to {high:.1} ms"
    );
    assert!(low > -40.0 && high < 40.0, "{low} to {high} ms");
    let [first, last] = [times[0], times[times.len() - 1]];
    let real = last[0] - first[0];
    let ran = last[2] - first[2];
    assert!((ran - real).abs() < 60.0, "{ran} ms in {real}");
    assert!(
        times.windows(2).all(|two| two[1][2] >= two[0][2] - 12.0),
        "it goes on"
    );
}
