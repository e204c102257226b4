//! Is every line where the truth says, and did the clocks run as it says?

use xtask::scene::Shuffled;
use xtask::scene::hearings::frames_a_dry_sample;
use xtask::scene::lines::{self, DryLine};
use xtask::scene::measure::{self, Ruler};
use xtask::scene::spec::NoiseKind;
use xtask::scene::truth::{HearingTruth, RecorderTruth, Truth};

use super::{Built, demo};

/// Dry samples compared at a time: 0.4 s.
const WINDOW: usize = 6_400;

/// One measurement: seconds of event time at which a stretch reaches the
/// microphone, the same by the file's own clock, and frames by which the truth
/// is off.
struct Found {
    event_s: f64,
    file_s: f64,
    off_frames: f64,
}

/// Measures the stretches of `hearing` in `samples`: `clean` ones finely,
/// near where the truth says, others anywhere within 30 ms of it.
fn measure_line(
    truth: &Truth,
    take: &RecorderTruth,
    hearing: &HearingTruth,
    dry: &DryLine,
    samples: &[f32],
    clean: bool,
) -> Vec<Found> {
    let line = &truth.lines[hearing.line];
    let step = frames_a_dry_sample(take.rate_hz, take.drift_ppm, line.speed);
    let rate = f64::from(take.rate_hz);
    let ruler = Ruler::new(take.rate_hz);
    let mut found = Vec::new();
    for (n, window) in dry.samples.chunks_exact(WINDOW).enumerate() {
        let first = n * WINDOW;
        let sounding = dry.spans_s.iter().any(|&(start, end)| {
            start * 16_000.0 <= first as f64 + 800.0
                && end * 16_000.0 >= (first + WINDOW) as f64 - 800.0
        });
        let told = hearing.origin_frame + first as f64 * step;
        // 30 ms before and after.
        let (from, to) = (
            told - 0.03 * rate,
            told + WINDOW as f64 * step + 0.03 * rate,
        );
        if !sounding || from < 0.0 || to > samples.len() as f64 {
            continue;
        }
        let heard = &samples[from as usize..to as usize];
        let lag_s = if clean {
            ruler.fine_lag_s(window, heard, (told - from.floor()) / rate)
        } else {
            ruler.lag_s(window, heard)
        };
        let lag_s = lag_s.expect("a lag");
        // Within a stretch the clock drifts: compare at its mean time.
        let centre = measure::centre(window);
        let measured = from.floor() + (lag_s + centre / 16_000.0) * rate;
        let event_ms =
            line.origin_ms + hearing.delay_ms + (first as f64 + centre) / 16.0 / line.speed;
        found.push(Found {
            event_s: event_ms / 1000.0,
            file_s: measured / rate,
            off_frames: measured - (told + centre * step),
        });
    }
    found
}

fn measure_take(built: &Built, take: &RecorderTruth, dry: &[DryLine], clean: bool) -> Vec<Found> {
    let channels = built.take(take);
    take.hearings
        .iter()
        .filter(|hearing| hearing.snr_db >= 6.0)
        // In a room a line at another speed is another sound than the dry one.
        .filter(|hearing| clean || built.truth.lines[hearing.line].speed == 1.0)
        .flat_map(|hearing| {
            let id = &built.truth.lines[hearing.line].id;
            let dry = dry
                .iter()
                .find(|dry| dry.entry.id == *id)
                .expect("the dry line");
            measure_line(
                &built.truth,
                take,
                hearing,
                dry,
                &channels[hearing.channel],
                clean,
            )
        })
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Offset (ms) and drift (ppm) by a line through what was measured.
fn fitted(found: &[Found], truth: &RecorderTruth) -> (f64, f64) {
    let points: Vec<(f64, f64)> = found.iter().map(|f| (f.event_s, f.file_s)).collect();
    let (at_zero, slope) = measure::line(&points);
    (
        -at_zero / slope * 1000.0 - truth.start_ms,
        (slope - 1.0) * 1e6 - truth.drift_ppm,
    )
}

/// Without a room and in faint noise the measure is good to hundredths of a
/// sample, so the truth has to be.
#[test]
fn in_clean_scenes_every_line_is_where_the_truth_says() {
    let dry = lines::load().expect("dry lines");
    for seed in [11, 12] {
        let spec = Shuffled {
            recorders: (3, 3),
            snr_db: (60.0, 60.0),
            noise: vec![NoiseKind::Pink],
            reverberant: false,
            drift_ppm: (20.0, 100.0),
            ..Shuffled::new(seed, 90.0)
        };
        let built = Built::new(&spec.spec().expect("a spec"));
        for take in &built.truth.recorders {
            let found = measure_take(&built, take, &dry, true);
            assert!(
                found.len() > 50,
                "{}: {} stretches",
                take.label,
                found.len()
            );
            for stretch in &found {
                assert!(
                    stretch.off_frames.abs() < 0.25,
                    "{} seed {seed}: {:.3} frames off at {:.1} s",
                    take.label,
                    stretch.off_frames,
                    stretch.file_s
                );
            }
            let (offset_ms, ppm) = fitted(&found, take);
            assert!(
                offset_ms.abs() < 0.01,
                "{}: offset {offset_ms:.4} ms off",
                take.label
            );
            assert!(ppm.abs() < 0.1, "{}: drift {ppm:.4} ppm off", take.label);
        }
    }
}

/// In the demo the room bends single measurements; the bars for a clock solved
/// from sound (0.5 ppm and 1 ms) hold for its truth with much to spare.
#[test]
fn the_demo_is_placed_as_the_truth_says() {
    let dry = lines::load().expect("dry lines");
    let built = demo();
    for take in &built.truth.recorders {
        let found = measure_take(built, take, &dry, false);
        assert!(
            found.len() > 40,
            "{}: {} stretches",
            take.label,
            found.len()
        );
        let middle = median(found.iter().map(|f| f.off_frames).collect());
        assert!(middle.abs() < 0.5, "{}: {middle:.3} frames off", take.label);
        // Reflections may win single stretches; they are at least 4 ms late.
        let near: Vec<Found> = found
            .into_iter()
            .filter(|f| f.off_frames.abs() < 48.0)
            .collect();
        let (offset_ms, ppm) = fitted(&near, take);
        assert!(
            offset_ms.abs() < 0.1,
            "{}: offset {offset_ms:.4} ms off",
            take.label
        );
        assert!(ppm.abs() < 0.5, "{}: drift {ppm:.4} ppm off", take.label);
    }
}

/// A line said again faster is found at its own speed.
#[test]
fn lines_said_again_are_other_sounds() {
    let spec = Shuffled {
        recorders: (1, 1),
        pause_s: (0.1, 0.2),
        ..Shuffled::new(3, 600.0)
    };
    let spec = spec.spec().expect("a spec");
    let mut uses = std::collections::BTreeMap::new();
    for line in &spec.lines {
        uses.entry(line.line)
            .or_insert_with(Vec::new)
            .push(line.speed);
    }
    assert!(
        uses.values().any(|speeds| speeds.len() > 1),
        "ten minutes use lines twice"
    );
    for speeds in uses.values() {
        assert_eq!(speeds[0], 1.0);
        assert!(
            speeds[1..]
                .iter()
                .all(|speed| (0.9..1.1).contains(speed) && *speed != 1.0)
        );
    }
}

/// The two directions of a take's clock are inverse to each other.
#[test]
fn the_clock_of_a_take_runs_both_ways() {
    for take in &demo().truth.recorders {
        for event_ms in [0.0, 1_234.5, 300_000.0] {
            assert!((take.event_ms(take.file_ms(event_ms)) - event_ms).abs() < 1e-6);
        }
        let last = take.hearings.last().expect("it hears something");
        let line = &demo().truth.lines[last.line];
        let told = take.file_ms(line.start_ms + last.delay_ms);
        assert!(
            (told - last.start_ms).abs() < 1e-6,
            "{told} {}",
            last.start_ms
        );
    }
}
