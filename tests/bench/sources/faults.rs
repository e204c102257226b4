//! What goes wrong with a recorder: faults put into its files, with their strength.

use std::path::Path;

use sayback::media::{AnalysisStream, ChannelPick};
use xtask::scene::random::Random;

/// A fault, as it is put in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    None,
    /// Mains of this frequency, and its lines against the loud voice, dB.
    Hum(f64, f64),
    /// So many dB above full scale, and made quieter afterwards, dB.
    Clip(f64, f64),
    /// Nothing above 3.4 kHz.
    Telephone,
    /// Gusts below 80 Hz against the loud voice, dB.
    Wind(f64),
    /// Torn so often a second.
    Dropouts(f64),
    /// Bursts of noise a second, and their peak against the loud voice, dB.
    Rustle(f64, f64),
    /// Steady noise against the loud voice, dB.
    Noise(f64),
}

impl Fault {
    /// What happens to the recorders of an event: about half have nothing.
    pub fn chosen(random: &mut Random) -> Self {
        match random.below(14) {
            0 => Self::Hum([50.0, 60.0][random.below(2)], random.between(-30.0, 0.0)),
            1 | 2 => Self::Clip(random.between(3.0, 24.0), random.between(-12.0, 0.0)),
            3 => Self::Telephone,
            4 => Self::Wind(random.between(-15.0, 15.0)),
            5 => Self::Dropouts(random.between(0.3, 3.0)),
            6 => Self::Rustle(random.between(1.0, 6.0), random.between(-15.0, 6.0)),
            7 => Self::Noise(random.between(-25.0, 5.0)),
            _ => Self::None,
        }
    }
}

/// Puts a fault into a WAV file.
pub fn spoil(path: &Path, fault: Fault, random: &mut Random) {
    if fault == Fault::None {
        return;
    }
    let mut stream = AnalysisStream::open(path, ChannelPick::Mix).expect("a recording");
    assert_eq!(stream.told_channels(), 1, "{}", path.display());
    let rate_hz = stream.info().rate_hz;
    let mut samples: Vec<f64> = Vec::new();
    let mut block = vec![0.0; 16_000];
    while stream
        .read_and_tell(&mut block, &mut |frames| {
            samples.extend(frames.iter().map(|sample| f64::from(*sample)));
        })
        .expect("samples")
        > 0
    {}
    put_in(&mut samples, f64::from(rate_hz), fault, random);
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, form).expect("a file to write");
    for sample in samples {
        let rounded = (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0);
        writer
            .write_sample(rounded as i16)
            .expect("room on the disk");
    }
    writer.finalize().expect("room on the disk");
}

/// Puts a fault into samples.
pub fn put_in(samples: &mut [f64], rate: f64, fault: Fault, random: &mut Random) {
    let loud = loud_rms(samples, rate);
    let of = |db: f64| 10_f64.powf(db / 20.0);
    match fault {
        Fault::None => {}
        Fault::Hum(mains, db) => {
            // Lines fall by 6 dB each.
            let lines: Vec<(f64, f64)> = (1..=5)
                .map(|n| (mains * f64::from(n), 0.5_f64.powi(n - 1)))
                .collect();
            let rms = (lines.iter().map(|(_, peak)| peak * peak / 2.0).sum::<f64>()).sqrt();
            let scale = loud * of(db) / rms;
            for (n, sample) in samples.iter_mut().enumerate() {
                let at = std::f64::consts::TAU * n as f64 / rate;
                let wave: f64 = lines.iter().map(|(hz, peak)| peak * (hz * at).sin()).sum();
                *sample += scale * wave;
            }
        }
        Fault::Clip(above, after) => {
            let peak = samples
                .iter()
                .fold(0.0_f64, |most, s| most.max(s.abs()))
                .max(1e-6);
            for sample in samples.iter_mut() {
                *sample = (*sample / peak * of(above)).clamp(-1.0, 1.0) * of(after);
            }
        }
        Fault::Telephone => {
            // As steep as what an 8 kHz codec leaves.
            for _ in 0..6 {
                low_pass(samples, rate, 3_400.0, &[0.541, 1.307]);
            }
        }
        Fault::Wind(db) => {
            let mut gusts: Vec<f64> = (0..samples.len())
                .map(|_| f64::from(random.normal()))
                .collect();
            low_pass(&mut gusts, rate, 60.0, &[0.541, 1.307]);
            let power = gusts.iter().map(|s| s * s).sum::<f64>() / gusts.len().max(1) as f64;
            let scale = loud * of(db) / power.sqrt().max(1e-12);
            for (n, (sample, gust)) in samples.iter_mut().zip(gusts).enumerate() {
                // Swells over some seconds.
                let swell = 0.5 + 0.5 * (std::f64::consts::TAU * n as f64 / rate / 3.7).sin();
                *sample += scale * swell * gust;
            }
        }
        Fault::Dropouts(often) => each(samples.len(), rate, often, random, |at, random| {
            let length = (rate * random.between(0.02, 0.2)) as usize;
            for sample in samples.iter_mut().skip(at).take(length) {
                *sample = 0.0;
            }
        }),
        Fault::Rustle(often, db) => each(samples.len(), rate, often, random, |at, random| {
            let length = (rate * random.between(0.01, 0.08)) as usize;
            let height = loud * of(db);
            for (n, sample) in samples.iter_mut().skip(at).take(length).enumerate() {
                let fall = 1.0 - n as f64 / length as f64;
                *sample += height * fall * f64::from(random.normal());
            }
        }),
        Fault::Noise(db) => {
            for sample in samples.iter_mut() {
                *sample += loud * of(db) * f64::from(random.normal());
            }
        }
    }
}

/// At random instants, so often a second.
fn each(
    count: usize,
    rate: f64,
    often: f64,
    random: &mut Random,
    mut there: impl FnMut(usize, &mut Random),
) {
    let mut at = 0.0;
    loop {
        at += rate / often * random.between(0.3, 1.7);
        if at >= count as f64 {
            return;
        }
        there(at as usize, random);
    }
}

/// RMS of the loudest tenth of all 50 ms: of the voice.
fn loud_rms(samples: &[f64], rate: f64) -> f64 {
    let frame = (rate / 20.0) as usize;
    let mut powers: Vec<f64> = samples
        .chunks(frame.max(1))
        .map(|frame| frame.iter().map(|s| s * s).sum::<f64>() / frame.len() as f64)
        .collect();
    powers.sort_by(|a, b| b.total_cmp(a));
    let loud = &powers[..(powers.len() / 10).max(1).min(powers.len())];
    (loud.iter().sum::<f64>() / loud.len().max(1) as f64).sqrt()
}

/// Second-order sections of a Butterworth low pass (R. Bristow-Johnson, 'Cookbook
/// formulae for audio EQ biquad filter coefficients').
fn low_pass(samples: &mut [f64], rate: f64, hz: f64, qualities: &[f64]) {
    for quality in qualities {
        let turn = std::f64::consts::TAU * hz / rate;
        let (sin, cos) = turn.sin_cos();
        let alpha = sin / (2.0 * quality);
        let a0 = 1.0 + alpha;
        let (b0, b1) = ((1.0 - cos) / 2.0 / a0, (1.0 - cos) / a0);
        let (a1, a2) = (-2.0 * cos / a0, (1.0 - alpha) / a0);
        let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
        for sample in samples.iter_mut() {
            let y = b0 * (*sample + x2) + b1 * x1 - a1 * y1 - a2 * y2;
            (x2, x1) = (x1, *sample);
            (y2, y1) = (y1, y);
            *sample = y;
        }
    }
}
