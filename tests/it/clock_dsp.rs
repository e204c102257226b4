//! Do lags and lines come out as numpy and scipy have them, on the same numbers?

use std::path::Path;
use std::process::Command;

use sayback_core::clock::{FINE_WINDOW, FineLags, LagPoint, Slope, lag_line};
use xtask::oracle;
use xtask::scene::random::Random;

fn roll(random: &mut Random) -> f64 {
    random.between(-1.0, 1.0)
}

/// What the oracle prints for files of these bytes: numbers, a line each.
fn asked(what: &str, files: &[Vec<u8>]) -> Vec<Vec<f64>> {
    let work = tempfile::tempdir().expect("a folder to work in");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/lags.py");
    let mut command = Command::new(oracle::python());
    command.arg(script).arg(what);
    for (n, bytes) in files.iter().enumerate() {
        let path = work.path().join(n.to_string());
        std::fs::write(&path, bytes).expect("room on the disk");
        command.arg(path);
    }
    let answer = command.output().expect("python runs");
    let said = String::from_utf8_lossy(&answer.stdout).into_owned();
    assert!(
        answer.status.success(),
        "{}",
        String::from_utf8_lossy(&answer.stderr)
    );
    let numbers = |line: &str| {
        let each = line.split(' ').map(|x| x.parse().expect("a number"));
        each.collect::<Vec<f64>>()
    };
    let lines: Vec<Vec<f64>> = said.lines().map(numbers).collect();
    assert_eq!(lines.len(), files.len());
    lines
}

/// Coloured noise in bursts, and the same `late` samples later through a room of six
/// echoes, each with noise of its own.
fn stretches(seed: u64, late: f64, noise: f64) -> (Vec<f32>, Vec<f32>) {
    let mut random = Random::new(seed, "stretches");
    let mut low = 0.0;
    let far = FINE_WINDOW + 12_000;
    let said: Vec<f64> = (0..far)
        .map(|n| {
            low += 0.4 * (roll(&mut random) - low);
            low * f64::from(u8::from((n / 3_000) % 3 != 0))
        })
        .collect();
    let echoes: Vec<(f64, f64)> = (0..6)
        .map(|n| {
            (
                40.0 + 90.0 * f64::from(n) * (1.0 + roll(&mut random).abs()),
                0.5 * roll(&mut random),
            )
        })
        .collect();
    // A cubic between samples: the oracle hears the same samples, so its faults
    // are on both sides.
    let at = |x: f64| {
        let n = x.floor();
        let (f, n) = (x - n, n as usize);
        let (a, b, c, d) = (said[n - 1], said[n], said[n + 1], said[n + 2]);
        b + 0.5 * f * (c - a + f * (2.0 * a - 5.0 * b + 4.0 * c - d + f * (3.0 * (b - c) + d - a)))
    };
    let mut heard = |late: f64, wet: f64| -> Vec<f32> {
        (0..FINE_WINDOW)
            .map(|n| {
                let now = n as f64 + 6_000.0 - late;
                let wet: f64 = echoes
                    .iter()
                    .map(|(by, size)| wet * size * at(now - by))
                    .sum();
                (at(now) + wet + noise * roll(&mut random)) as f32
            })
            .collect()
    };
    (heard(0.0, 0.3), heard(late, 1.0))
}

#[test]
fn lags_are_those_of_numpy_and_the_true_ones() {
    type Heard = (Vec<f32>, Vec<f32>);
    let cases: Vec<(f64, Heard)> = (0..12)
        .map(|n| {
            let late = Random::new(n, "late").between(-2_000.0, 2_000.0);
            let noise = [0.0, 0.05, 0.15][n as usize % 3];
            (late, stretches(n, late, noise))
        })
        .collect();
    let files: Vec<Vec<u8>> = cases
        .iter()
        .map(|(_, (a, b))| a.iter().chain(b).flat_map(|x| x.to_le_bytes()).collect())
        .collect();
    let mut lags = FineLags::new();
    for ((late, (a, b)), theirs) in cases.iter().zip(asked("lags", &files)) {
        let (a, b) = (lags.spectrum(a).unwrap(), lags.spectrum(b).unwrap());
        let ours = lags.lag(&a, &b).unwrap();
        // A tenth of a sample: 6 µs, two thousandths of the 2 ms that are promised.
        let tenth = 0.1 / 16.0;
        assert!(
            (ours.lag_ms - theirs[0]).abs() < tenth,
            "{ours:?} {theirs:?}"
        );
        assert!(
            (ours.lag_ms - late / 16.0).abs() < 2.0 * tenth,
            "{ours:?} {late}"
        );
        assert!(
            (theirs[1] - late / 16.0).abs() < 2.0 * tenth,
            "{theirs:?} {late}"
        );
        assert!(ours.clear > 6.0, "{ours:?}");
    }
}

#[test]
fn lines_are_those_of_textbook_estimators() {
    let mut cases = Vec::new();
    for seed in 0..20 {
        let mut random = Random::new(seed, "lines");
        let ppm = 60.0 * roll(&mut random);
        let points: Vec<LagPoint> = (0..40)
            .map(|n| {
                let at_ms = 90_000.0 * f64::from(n);
                // One in five is another sound.
                let lag_ms = if n % 5 == 3 {
                    200.0 * roll(&mut random)
                } else {
                    4.0 + at_ms * ppm / 1e6 + 0.3 * f64::from(random.normal())
                };
                LagPoint {
                    at_ms,
                    lag_ms,
                    weight: 1.0,
                }
            })
            .collect();
        cases.push((ppm, points));
    }
    let bytes = |points: &Vec<LagPoint>| -> Vec<u8> {
        let numbers = points.iter().flat_map(|p| [p.at_ms, p.lag_ms]);
        numbers.flat_map(f64::to_le_bytes).collect()
    };
    let files: Vec<Vec<u8>> = cases.iter().map(|(_, points)| bytes(points)).collect();
    let mut inside = 0;
    for ((ppm, points), theirs) in cases.iter().zip(asked("lines", &files)) {
        let ours = lag_line(
            points,
            Slope {
                ppm: 0.0,
                sigma_ppm: 85.0,
            },
        )
        .unwrap();
        let [_, low, high, tukey] = theirs[..] else {
            panic!("{theirs:?}")
        };
        assert!((low..=high).contains(&ours.ppm), "{ours:?} {theirs:?}");
        // The same estimator, but for its scale and the choice of points: 32 good
        // points of 0.3 ms over an hour leave 0.05 ppm to chance (one deviation of
        // least squares), and two ways to weigh the same points differ by less.
        assert!((ours.ppm - tukey).abs() < 0.05, "{ours:?} {theirs:?}");
        // Half a ppm over an hour is the goal.
        assert!((ours.ppm - ppm).abs() < 0.5, "{ours:?} {ppm}");
        inside += u32::from((ours.ppm - ppm).abs() <= ours.ppm_95);
    }
    // 95 % of 20 are 19; 17 or more happen in 98 of 100 such draws (binomial).
    assert!(inside >= 17, "{inside}");
}
