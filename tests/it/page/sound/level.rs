//! Sources made equally loud, held against ffmpeg's figures of the same stretch.

use std::path::Path;

use serde_json::Value;

use super::stage::{Stage, Taken, made, talk};
use crate::media::{Folder, by_ffmpeg, ffmpeg};
use crate::page::in_browser;

/// What is played, ms.
const STRETCH: (usize, usize) = (1000, 5000);

/// Integrated loudness and true peak by ffmpeg's `ebur128`.
fn by_ebur128(file: &Path) -> (f64, f64) {
    let output = std::process::Command::new(xtask::oracle::ffmpeg())
        .args(["-hide_banner", "-nostats", "-i"])
        .arg(file)
        .args(["-af", "ebur128=peak=true", "-f", "null", "-"])
        .output()
        .expect("ffmpeg starts");
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    let summary = text.rsplit_once("Summary:").expect("a summary").1;
    let number = |name: &str| -> f64 {
        let rest = summary.split_once(name).expect(name).1;
        rest.split_whitespace()
            .next()
            .expect("a number")
            .parse()
            .expect("a number")
    };
    (number("I:"), number("Peak:"))
}

/// Cuts a stretch out of a file.
fn cut(from: &Path, to: &Path, (start, end): (usize, usize)) {
    let trim = format!(
        "atrim={}:{},asetpts=PTS-STARTPTS",
        start as f64 / 1000.0,
        end as f64 / 1000.0
    );
    let [from, to] = [from, to].map(|path| path.to_str().expect("a plain name"));
    ffmpeg(&["-i", from, "-af", &trim, "-c:a", "pcm_s16le", to]);
}

/// Writes samples as they are.
fn write(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for sample in samples {
        writer.write_sample(*sample).expect("a sample");
    }
    writer.finalize().expect("a whole file");
}

#[test]
fn matched_sources_have_the_gain_that_ebur128_asks_for() {
    let folder = Folder::new();
    let names = ["plain", "quiet", "hot", "burst"];
    let files = names.map(|name| folder.path(&format!("{name}.wav")));
    talk(&files[0], "volume=-4dB");
    talk(&files[1], "volume=-30dB");
    talk(&files[2], "volume=14dB");
    made(
        &files[3],
        "0.03*sin(2*PI*1000*t)+if(between(t,2,2.004),0.9*sin(2*PI*997*t),0)",
        48_000,
        8.0,
    );
    let listed: Vec<(&str, &Path)> = names
        .iter()
        .copied()
        .zip(files.iter().map(|f| f.as_path()))
        .collect();
    let app = super::stage::heard(&listed);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        for (name, file) in &listed {
            let stretch = folder.path("stretch.wav");
            cut(file, &stretch, STRETCH);
            let (loudness, peak) = by_ebur128(&stretch);
            let (taken, told) = stage.recorded(&script(name, true)).await;
            let gain = told["state"]["gainDb"].as_f64().expect("a gain");
            let wanted = [
                (-23.0 - loudness, None),
                (12.0, Some("boost")),
                (-1.0 - peak, Some("peak")),
            ];
            let (expected, limited) = wanted
                .into_iter()
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .expect("three");
            println!(
                "{name}: {loudness} LUFS, {peak} dBTP by ffmpeg; gain {gain:.2} dB, {limited:?}"
            );
            // ffmpeg tells tenths; true peaks of two meters differ by up to 0.2 dB.
            assert!(
                (gain - expected).abs() < 0.25,
                "{name}: {gain} for {expected}"
            );
            assert_eq!(told["state"]["limited"].as_str(), limited, "{name}");
            let (got, original) = aligned(&taken, &by_ffmpeg(file));
            let real = 20.0 * ratio(&got, &original).log10();
            assert!(
                (real - gain).abs() < 0.01,
                "{name}: {real} dB sound, {gain} dB are told"
            );
            assert!(got.iter().all(|s| s.abs() <= 1.0));
            let out = folder.path("out.wav");
            write(&out, &got);
            let (after, peak) = by_ebur128(&out);
            // Tenths, and two meters again.
            assert!(peak <= -0.75, "{name}: {peak} dBTP");
            if limited.is_none() {
                assert!((after + 23.0).abs() <= 0.2, "{name}: {after} LUFS");
            }
            // Without it every sample is the file's.
            let (taken, told) = stage.recorded(&script(name, false)).await;
            assert_eq!(told["state"]["gainDb"], 0);
            let (got, original) = aligned(&taken, &by_ffmpeg(file));
            assert_eq!(got, original, "{name}: as it is");
        }
        stage.end("").await;
    });
}

fn script(name: &str, matched: bool) -> String {
    let (start, end) = STRETCH;
    format!(
        "const player = window.player ??= await rig.player();
         player.setMatch({matched});
         rig.clear();
         player.play({{ recording: rig.id['{name}'], startMs: {start}, endMs: {end} }});
         await rig.until(() => player.state.ms > {start} + 1000);
         const state = player.state;
         await rig.ended(player);
         return {{ taken: rig.taken(), state }};"
    )
}

/// What was recorded of the stretch and what the file has there, without the fade-in.
fn aligned(taken: &Taken, file: &[f32]) -> (Vec<f32>, Vec<f32>) {
    let (start, end) = (STRETCH.0 * 48, STRETCH.1 * 48);
    let (first, _) = taken.sound();
    // A tone is alike at each cycle: the first sample is known well enough.
    let (at, _) = taken.find(&file[start + 240..start + 9_600], first + 230, first + 280);
    let length = end - start - 240;
    let got = taken.samples[at..at + length].to_vec();
    (got, file[start + 240..end].to_vec())
}

/// The factor between two sounds by least squares.
fn ratio(got: &[f32], original: &[f32]) -> f64 {
    let sum = |a: &[f32], b: &[f32]| -> f64 {
        a.iter()
            .zip(b)
            .map(|(a, b)| f64::from(*a) * f64::from(*b))
            .sum()
    };
    sum(got, original) / sum(original, original)
}

#[test]
fn a_change_of_gain_is_a_short_ramp() {
    let folder = Folder::new();
    let file = folder.path("tone.wav");
    made(&file, "0.02*sin(2*PI*1000*t)", 48_000, 8.0);
    let app = super::stage::heard(&[("tone", &file)]);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let (taken, told) = stage
            .recorded(
                "const player = await rig.player();
                 player.play({ recording: rig.id.tone, startMs: 1000, endMs: 5000 });
                 await rig.sleep(800);
                 player.setMatch(true);
                 await rig.sleep(800);
                 const state = player.state;
                 player.setMatch(false);
                 await rig.ended(player);
                 return { taken: rig.taken(), state };",
            )
            .await;
        let gain = told["state"]["gainDb"].as_f64().expect("a gain");
        assert!(gain > 6.0, "{gain}");
        let factor = 10.0_f64.powf(gain / 20.0);
        let (got, original) = aligned(&taken, &by_ffmpeg(&file));
        // Crests only: near zero a factor can't be told.
        let factors: Vec<(usize, f64)> = got
            .iter()
            .zip(&original)
            .enumerate()
            .filter(|(_, (_, original))| original.abs() > 0.01)
            .map(|(n, (got, original))| (n, f64::from(*got) / f64::from(*original)))
            .collect();
        let at = |level: f64| factors.iter().position(|(_, f)| (f - level).abs() > 0.002);
        let left = factors[at(1.0).expect("it changes")].0;
        let there = factors
            .iter()
            .find(|(_, f)| (f - factor).abs() < 0.002)
            .expect("it arrives")
            .0;
        println!(
            "from 0 to {gain:.2} dB within {:.1} ms",
            (there - left) as f64 / 48.0
        );
        assert!((there - left) as f64 / 48.0 < 21.0);
        let steepest = factors
            .windows(2)
            .map(|two| (two[1].1 - two[0].1).abs() / (two[1].0 - two[0].0) as f64)
            .fold(0.0, f64::max);
        assert!(
            steepest < 1.5 * (factor - 1.0) / 960.0,
            "a step of {steepest}"
        );
        assert_eq!(factors[factors.len() - 1].1, 1.0, "as it is at the end");
        stage.end("").await;
    });
}

#[test]
fn gains_of_a_long_play_never_pass_the_ceiling_of_either_side() {
    let folder = Folder::new();
    let file = folder.path("tone.wav");
    made(&file, "0.02*sin(2*PI*1000*t)", 48_000, 2.0);
    let app = super::stage::heard(&[("tone", &file)]);
    in_browser(async |browser| {
        let stage = Stage::open(browser, &app).await;
        let told = stage
            .flow(
                "const { Gains, WINDOW_MS } = await import('/page/sound/gains.js');
                 const { matchGain } = await import('/page/sound/level.js');
                 // Windows of random loudness and peak; one that nobody measured.
                 let seed = 11;
                 const random = () => (seed = (seed * 48271) % 2147483647) / 2147483647;
                 const peaks = Array.from({ length: 12 }, () => -30 + 30 * random());
                 const ask = async (id, startMs, endMs) => {
                   const number = Math.round((startMs + endMs) / 2 / WINDOW_MS - 0.5);
                   if (number === 7) throw new Error('not measured');
                   return { integrated_lufs: -32, true_peak_dbtp: peaks[number] ?? -20 };
                 };
                 const stretches = new Gains(ask).stretches('x', 0, null);
                 const early = stretches.apply(new Float32Array(10).fill(1), 0, 1, 1);
                 for (let ms = 0; ms < 12 * WINDOW_MS; ms += WINDOW_MS) await stretches.ready(ms);
                 const samples = new Float32Array(11 * WINDOW_MS).fill(1);
                 const all = stretches.apply(samples, 0, 1, 1);
                 const most = peaks.map((peak, n) => n === 7 ? 0 :
                   matchGain({ integrated_lufs: -32, true_peak_dbtp: peak }).gainDb);
                 let above = 0;
                 let step = 0;
                 samples.forEach((factor, ms) => {
                   const window = Math.floor(ms / WINDOW_MS);
                   if (20 * Math.log10(factor) > most[window] + 1e-4) above += 1;
                   const next = samples[ms + 1] ?? factor;
                   step = Math.max(step, Math.abs(next - factor));
                 });
                 const middles = most.slice(0, 11).map((gain, n) =>
                   Math.abs(20 * Math.log10(samples[n * WINDOW_MS + WINDOW_MS / 2]) - gain));
                 const fixed = [
                   matchGain(null), matchGain({ integrated_lufs: null, true_peak_dbtp: -80 }),
                   matchGain({ integrated_lufs: -60, true_peak_dbtp: -40 }),
                   matchGain({ integrated_lufs: -30, true_peak_dbtp: -3 }),
                   matchGain({ integrated_lufs: -10, true_peak_dbtp: 1 }),
                   matchGain({ integrated_lufs: -20, true_peak_dbtp: -9 }, 2),
                 ].map(({ gainDb, limited }) => [Math.round(gainDb * 100) / 100, limited]);
                 return { early, all, above, step, off: Math.max(...middles), fixed };",
            )
            .await;
        assert_eq!(
            (&told["early"], &told["all"]),
            (&false.into(), &true.into())
        );
        assert_eq!(told["above"], 0, "louder than a window allows");
        let number = |name: &str| told[name].as_f64().expect("a number");
        assert!(number("off") < 1e-3, "{}", told["off"]);
        // From −30 to +12 dB in 20 steps of a ms.
        assert!(number("step") < 4.0 / 20.0 + 0.01, "{}", told["step"]);
        let fixed: Value = serde_json::json!([
            [0, null],
            [0, null],
            [12, "boost"],
            [2, "peak"],
            [-13, null],
            [0.01, null]
        ]);
        assert_eq!(told["fixed"], fixed);
        stage.end("").await;
    });
}
