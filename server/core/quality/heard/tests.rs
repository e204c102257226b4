//! Faults that are put into a voice are told, and a voice alone has none.

use proptest::prelude::*;

use super::*;
use crate::quality::Meter;
use crate::signal::sounds;

const RATE: usize = 16_000;

/// Twenty seconds: pauses of 4 s around 12 s of voice, noise 40 dB below it.
fn talk(seed: u64) -> Vec<f32> {
    let mut samples: Vec<f32> = sounds::white(seed)
        .take(20 * RATE)
        .map(|s| s * 0.001)
        .collect();
    for (sample, voice) in samples[4 * RATE..16 * RATE]
        .iter_mut()
        .zip(sounds::voice(seed))
    {
        *sample += 0.5 * voice;
    }
    samples
}

fn measures(samples: &[f32]) -> Measures {
    let mut meter = Meter::new(1, RATE as u32).expect("a meter");
    meter.push(samples);
    let track = meter.finish();
    let speech = [(FileMs(4_000), FileMs(16_000))];
    let heard = Heard::new(&track, &speech);
    let kept = Track::from_bytes(&track.to_bytes()).expect("a track");
    let found = heard
        .measures(FileMs(4_000), FileMs(16_000))
        .expect("measures");
    let again = Heard::new(&kept, &speech).measures(FileMs(4_000), FileMs(16_000));
    assert_eq!(
        again.map(|m| m.snr_db),
        Some(found.snr_db),
        "what is kept says the same"
    );
    found
}

/// Voices differ; whatever is told of one of these is an error of ours.
#[test]
fn a_voice_alone_has_no_fault() {
    for seed in 1..6 {
        let m = measures(&talk(seed));
        assert!(m.snr_db.is_some_and(|snr| snr > 20.0), "{m:?}");
        assert_eq!((m.hum, m.dropouts, m.silent), (None, 0, 0.0), "{m:?}");
        assert!(
            m.clipped == 0.0 && m.flat < 0.001 && m.bursts < 1.0,
            "{m:?}"
        );
        assert!(m.rumble_db < -3.0 && m.noise_rise_db < 3.0, "{m:?}");
    }
}

#[test]
fn hum_is_told_at_its_level() {
    let below = |mains: u32, peak: f64| {
        let mut samples = talk(2);
        for (n, sample) in samples.iter_mut().enumerate() {
            let turn = std::f64::consts::TAU * f64::from(mains) * n as f64 / RATE as f64;
            *sample += (peak * (turn.sin() + (3.0 * turn).sin())) as f32;
        }
        let (found, below_db) = measures(&samples).hum.expect("hum");
        assert_eq!(found, mains);
        below_db
    };
    let loud = below(50, 0.05);
    // The voice is louder than its telephone band alone.
    let telephone = measures(&talk(2)).voice_dbfs - 20.0 * 0.05_f32.log10();
    assert!(
        (telephone..telephone + 6.0).contains(&loud),
        "{loud}, {telephone}"
    );
    // Of faint hum the voice may hide one of the two lines.
    for (mains, peak, hidden) in [(50, 0.01, 0.0), (60, 0.01, 0.0), (50, 0.002, 3.0)] {
        let expected = loud + 20.0 * (0.05_f64 / peak).log10() as f32;
        let found = below(mains, peak);
        let near = expected - 1.0..expected + 1.0 + hidden;
        assert!(
            near.contains(&found),
            "{mains} Hz at {peak}: {found}, {expected}"
        );
    }
}

#[test]
fn what_tears_a_voice_is_told_from_what_closes_between_words() {
    let mut torn = talk(3);
    for at in [5, 7, 9, 12] {
        // Where the voice is loudest in that second.
        let window = &torn[at * RATE..(at + 1) * RATE];
        let loudest = (0..window.len()).max_by(|a, b| window[*a].total_cmp(&window[*b]));
        let from = at * RATE + loudest.expect("a sample");
        torn[from..from + RATE / 20].fill(0.0);
    }
    let m = measures(&torn);
    assert_eq!(m.dropouts, 4, "{m:?}");
    // Four times 50 ms of 12 s.
    assert!((0.015..0.018).contains(&m.silent), "{m:?}");

    // A gate: nothing but zeros wherever it is quiet for 100 ms.
    let mut gated = talk(3);
    for row in gated.chunks_mut(RATE / 10) {
        if row.iter().all(|sample| sample.abs() < 0.02) {
            row.fill(0.0);
        }
    }
    assert_eq!(measures(&gated).dropouts, 0);
    let nothing = measures(&vec![0.0; 20 * RATE]);
    assert_eq!((nothing.dropouts, nothing.silent), (0, 1.0));
}

#[test]
fn clipping_wind_knocks_and_an_offset_are_told() {
    let clean = talk(4);
    let peak = clean.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
    let cut: Vec<f32> = clean
        .iter()
        .map(|s| s.clamp(-0.4 * peak, 0.4 * peak))
        .collect();
    let m = measures(&cut);
    let truth = cut_samples(&cut, 0.4 * peak) as f32 / (12 * RATE) as f32;
    assert!((m.flat / truth - 1.0).abs() < 0.1, "{truth} {m:?}");
    assert_eq!(m.clipped, 0.0);
    let loud: Vec<f32> = clean
        .iter()
        .map(|s| (s * 2.5 / peak).clamp(-1.0, 1.0))
        .collect();
    let m = measures(&loud);
    let truth = cut_samples(&loud, 1.0) as f32 / (12 * RATE) as f32;
    assert!((m.clipped / truth - 1.0).abs() < 0.1, "{truth} {m:?}");
    assert_eq!(m.flat, 0.0);

    let gusts = |n: usize| (std::f32::consts::TAU * 35.0 * n as f32 / RATE as f32).sin();
    let windy: Vec<f32> = clean
        .iter()
        .enumerate()
        .map(|(n, s)| s + 0.4 * gusts(n))
        .collect();
    assert!(measures(&windy).rumble_db > 3.0);

    let mut knocked = clean.clone();
    for at in (0..20 * RATE).step_by(RATE / 4) {
        for (sample, burst) in knocked[at..at + 400]
            .iter_mut()
            .zip(sounds::white(at as u64))
        {
            *sample += 0.2 * burst;
        }
    }
    assert!(measures(&knocked).bursts > 4.0);

    let off: Vec<f32> = clean.iter().map(|s| s + 0.1).collect();
    let offset = measures(&off).offset_dbfs.expect("an offset");
    assert!((offset + 20.0).abs() < 2.0, "{offset}");
}

/// Samples of runs of three or more that stand at a height.
fn cut_samples(samples: &[f32], height: f32) -> usize {
    let runs = samples.chunk_by(|a, b| a == b && a.abs() >= height * 0.999_99);
    let cut = runs.filter(|run| run.len() >= 3 && run[0].abs() >= height * 0.999_99);
    cut.map(<[f32]>::len).sum()
}

/// Half of it is noise: what comes and goes is less.
#[test]
fn noise_and_a_room_fill_the_dips() {
    let dry = talk(5);
    let noisy: Vec<f32> = dry
        .iter()
        .zip(sounds::white(6))
        .map(|(s, n)| s + 0.1 * n)
        .collect();
    let mut ringing = dry.clone();
    for at in 1_600..ringing.len() {
        // Falls by 6 dB each tenth of a second.
        ringing[at] += 0.5 * ringing[at - 1_600];
    }
    let of = |samples: &[f32]| measures(samples).modulation.expect("long enough").words;
    let found = [of(&dry), of(&noisy), of(&ringing)];
    assert!(
        found[0] > 1.3 * found[1] && found[0] > 1.3 * found[2],
        "{found:?}"
    );
}

#[test]
fn without_pauses_there_is_no_noise_to_tell() {
    let mut meter = Meter::new(1, RATE as u32).expect("a meter");
    meter.push(&talk(1));
    let track = meter.finish();
    let heard = Heard::new(&track, &[(FileMs(0), FileMs(20_000))]);
    let m = heard.measures(FileMs(0), FileMs(20_000)).expect("measures");
    assert_eq!(m.snr_db, None);
    for (from, to) in [
        (20_000, 30_000),
        (5, 5),
        (i64::MIN, i64::MIN),
        (i64::MAX, i64::MAX),
    ] {
        let (from, to) = (FileMs(from), FileMs(to));
        let found = heard.measures(from, to);
        assert!(found.is_none() || from == to, "{found:?}");
    }
}

proptest! {
    #[test]
    fn anything_can_be_measured(
        samples in prop::collection::vec(prop::num::f32::ANY, 0..20_000),
        from in -5_000_i64..5_000,
        length in -10_i64..9_000,
        speech in prop::collection::vec((-100_i64..3_000, 0_i64..900), 0..4),
    ) {
        let mut meter = Meter::new(1, 8_000).expect("a meter");
        meter.push(&samples);
        let track = meter.finish();
        let speech: Vec<_> = speech.iter()
            .map(|(start, length)| (FileMs(*start), FileMs(start + length))).collect();
        let heard = Heard::new(&track, &speech);
        if let Some(m) = heard.measures(FileMs(from), FileMs(from + length)) {
            prop_assert!(m.snr_db.is_none_or(|snr| (-30.0..=60.0).contains(&snr)));
            prop_assert!(m.modulation.is_none_or(|m| (0.0..=2.001).contains(&m.all)));
            prop_assert!((0.0..=1.0).contains(&m.silent) && (0.0..=1.0).contains(&m.clipped));
        }
    }
}
