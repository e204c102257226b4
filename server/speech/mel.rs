//! The filter bank every 80-band model carries in its file.
//!
//! Triangles on the Slaney mel scale from 0 Hz to half of 16 kHz over a
//! 400-point spectrum, each scaled to unit area (M. Slaney, Auditory Toolbox,
//! Interval Research 1998-010). Computed in f64 and rounded to f32 twice, as
//! the bank in the published files was, so that the bytes come out equal.

use sayback_core::units::ANALYSIS_RATE_HZ;

use super::ggml::SPECTRUM_POINTS;

/// Below this the scale is linear, above it logarithmic, in Hz.
const BREAK_HZ: f64 = 1000.0;
/// Hz in a mel below the break.
const LINEAR_HZ: f64 = 200.0 / 3.0;
/// Mels at the break.
const BREAK_MEL: f64 = BREAK_HZ / LINEAR_HZ;
/// The frequency grows by 6.4 in this many mels above the break.
const LOG_MELS: f64 = 27.0;

/// The highest frequency, in Hz.
const TOP_HZ: f64 = ANALYSIS_RATE_HZ as f64 / 2.0;

fn hertz(mel: f64) -> f64 {
    if mel < BREAK_MEL {
        LINEAR_HZ * mel
    } else {
        BREAK_HZ * ((6.4_f64.ln() / LOG_MELS) * (mel - BREAK_MEL)).exp()
    }
}

/// The frequencies in Hz between which the triangles stand: filter n rises
/// from edge n to n + 1 and falls to n + 2.
fn edges(bands: u32) -> Vec<f64> {
    let top_mel = BREAK_MEL + (TOP_HZ / BREAK_HZ).ln() / (6.4_f64.ln() / LOG_MELS);
    let step = top_mel / f64::from(bands + 1);
    (0..bands + 2)
        .map(|edge| {
            if edge > bands {
                top_mel
            } else {
                f64::from(edge) * step
            }
        })
        .map(hertz)
        .collect()
}

/// Weights of `bands` filters, one after the other, each
/// [`SPECTRUM_POINTS`] long.
pub(super) fn filters(bands: u32) -> Vec<f32> {
    let point_hz = TOP_HZ / f64::from(SPECTRUM_POINTS - 1);
    let mut weights = Vec::with_capacity((bands * SPECTRUM_POINTS) as usize);
    for edge in edges(bands).windows(3) {
        let (low, middle, high) = (edge[0], edge[1], edge[2]);
        let area = 2.0 / (high - low);
        for point in 0..SPECTRUM_POINTS {
            let hz = f64::from(point) * point_hz;
            let rising = (hz - low) / (middle - low);
            let falling = (high - hz) / (high - middle);
            let weight = rising.min(falling).max(0.0) as f32;
            weights.push((f64::from(weight) * area) as f32);
        }
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_filter_has_unit_area() {
        let weights = filters(80);
        assert_eq!(weights.len(), 80 * SPECTRUM_POINTS as usize);
        let edges = edges(80);
        for (index, band) in weights.chunks(SPECTRUM_POINTS as usize).enumerate() {
            let area = band.iter().map(|&w| f64::from(w)).sum::<f64>() * 40.0;
            // Each kink costs the trapezoid sum at most an eighth of its change
            // of slope times the square of the step; together h² / 2w².
            let half_width = edges[index + 1] - edges[index];
            let bound = (40.0 / half_width).powi(2) / 2.0;
            assert!((area - 1.0).abs() <= bound, "{index}: {area}");
        }
    }

    #[test]
    fn the_linear_part_steps_evenly() {
        assert!((hertz(3.0) - 200.0).abs() < 1e-9);
        assert!((hertz(15.0) - 1000.0).abs() < 1e-9);
        assert!((hertz(42.0) - 6400.0).abs() < 1e-6);
    }
}
