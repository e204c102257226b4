use super::*;
use crate::voices::weights::KEPT_BYTES;

/// Small numbers without a pattern.
fn noise(seed: u64) -> impl FnMut() -> f32 {
    let mut state = seed;
    move || {
        // Knuth's constants (MMIX).
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f32 / (1 << 24) as f32 - 0.5
    }
}

fn kept() -> Vec<u8> {
    let mut noise = noise(7);
    let mut bytes = b"voices\0\x01".to_vec();
    while bytes.len() < KEPT_BYTES {
        bytes.extend((noise() * 0.3).to_le_bytes());
    }
    bytes
}

fn window(seed: u64, frames: usize) -> Vec<MelFrame> {
    let mut noise = noise(seed);
    (0..frames)
        .map(|_| std::array::from_fn(|_| noise() + 0.5))
        .collect()
}

/// The published formulas, one number after the other, in double precision.
fn naive(kept: &[u8], window: &[MelFrame]) -> Vec<f64> {
    let numbers: Vec<f64> = numbers(kept)
        .unwrap()
        .iter()
        .map(|x| f64::from(*x))
        .collect();
    let inputs = [BANDS, WIDTH, WIDTH];
    let mut series: Vec<Vec<f64>> = (0..FRAMES)
        .map(|n| {
            window[n % window.len()]
                .iter()
                .map(|x| f64::from(*x))
                .collect()
        })
        .collect();
    let mut at = 0;
    let weights: usize = inputs.iter().map(|inputs| ROWS * (inputs + WIDTH)).sum();
    for (layer, inputs) in inputs.into_iter().enumerate() {
        let of_input = &numbers[at..at + ROWS * inputs];
        let of_state = &numbers[at + ROWS * inputs..at + ROWS * (inputs + WIDTH)];
        at += ROWS * (inputs + WIDTH);
        let bias = &numbers[weights + layer * 2 * ROWS..weights + (layer + 1) * 2 * ROWS];
        let (mut h, mut c) = (vec![0.0; WIDTH], vec![0.0; WIDTH]);
        for x in &mut series {
            let gate = |row: usize| {
                let input: f64 = (0..inputs).map(|n| of_input[row * inputs + n] * x[n]).sum();
                let state: f64 = (0..WIDTH).map(|n| of_state[row * WIDTH + n] * h[n]).sum();
                input + state + bias[row] + bias[ROWS + row]
            };
            let sigma = |x: f64| 1.0 / (1.0 + (-x).exp());
            let gates: Vec<f64> = (0..ROWS).map(gate).collect();
            for n in 0..WIDTH {
                c[n] =
                    sigma(gates[WIDTH + n]) * c[n] + sigma(gates[n]) * gates[2 * WIDTH + n].tanh();
                h[n] = sigma(gates[3 * WIDTH + n]) * c[n].tanh();
            }
            x.clone_from(&h);
        }
    }
    let last = &numbers[weights + 6 * ROWS..];
    let h = series.last().unwrap();
    let voice: Vec<f64> = (0..WIDTH)
        .map(|row| {
            let sum: f64 = (0..WIDTH).map(|n| last[row * WIDTH + n] * h[n]).sum();
            (sum + last[WIDTH * WIDTH + row]).max(0.0)
        })
        .collect();
    let length = voice.iter().map(|x| x * x).sum::<f64>().sqrt();
    voice.iter().map(|x| x / length).collect()
}

#[test]
fn eight_at_once_are_what_the_formulas_say() {
    let kept = kept();
    let encoder = Encoder::from_bytes(&kept).unwrap();
    let windows: Vec<Vec<MelFrame>> = (0..3)
        .map(|n| window(n + 1, 160 - 50 * n as usize))
        .collect();
    let lent: Vec<&[MelFrame]> = windows.iter().map(Vec::as_slice).collect();
    let voices = encoder.voices(&lent);
    assert_eq!(voices.len(), 3);
    for (voice, window) in voices.iter().zip(&windows) {
        let wanted = naive(&kept, window);
        let alike: f64 = voice
            .iter()
            .zip(&wanted)
            .map(|(a, b)| f64::from(*a) * b)
            .sum();
        assert!(alike > 0.9999, "{alike}");
    }
}

#[test]
fn what_no_window_holds_is_no_voice_but_no_harm() {
    let encoder = Encoder::from_bytes(&kept()).unwrap();
    assert!(encoder.voices(&[]).is_empty());
    let empty: &[MelFrame] = &[];
    assert_eq!(encoder.voices(&[empty])[0].len(), WIDTH);
}

#[test]
fn the_quick_tangent_is_near() {
    for n in -100..=100 {
        let x = n as f32 * 0.1;
        assert!((tanh(x) - x.tanh()).abs() < 3e-4, "{x}");
    }
}
