//! What `auto` decides about channels whose making is known.

use super::{Folder, make};
use ChannelPick::{Mix, Only};
use sayback::media::{ChannelChoice, ChannelDecision, ChannelPick, decide_channels};

const RATE: u32 = 48_000;
const SECONDS: usize = 12;

/// A made-up talker: coloured noise that swells and rests like syllables.
fn talker(seed: u32) -> Vec<f32> {
    let mut noise = hiss(seed, 1.0).into_iter();
    let (mut low, mut n) = (0.0_f32, 0.0_f32);
    std::iter::from_fn(move || {
        low += 0.25 * (noise.next()? - low);
        n += 1.0;
        let rate = 3.0 + (seed % 5) as f32 * 0.4;
        let swell = (n / RATE as f32 * rate * std::f32::consts::TAU + seed as f32)
            .sin()
            .max(0.0);
        Some(low * swell * 0.4)
    })
    .collect()
}

fn hiss(seed: u32, level: f32) -> Vec<f32> {
    let mut state = seed.wrapping_mul(2_654_435_761) | 1;
    let next = move || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state as f32 / u32::MAX as f32 * 2.0 - 1.0) * level
    };
    std::iter::repeat_with(next)
        .take(RATE as usize * SECONDS)
        .collect()
}

fn late(samples: &[f32], frames: usize) -> Vec<f32> {
    let mut late = vec![0.0; frames];
    late.extend_from_slice(&samples[..samples.len() - frames]);
    late
}

fn sum(parts: &[(&[f32], f32)]) -> Vec<f32> {
    (0..parts[0].0.len())
        .map(|n| parts.iter().map(|(samples, gain)| samples[n] * gain).sum())
        .collect()
}

fn decide(channels: &[Vec<f32>]) -> ChannelDecision {
    let folder = Folder::new();
    let frames = channels[0].len();
    let woven: Vec<f32> = (0..frames)
        .flat_map(|n| channels.iter().map(move |channel| channel[n]))
        .collect();
    let path = folder.file("in.wav", &make::float(channels.len() as u16, RATE, &woven));
    let decision = decide_channels(&path, ChannelChoice::Auto).unwrap();
    println!("{:?}: {}", decision.picks, decision.explanation);
    decision
}

/// Two microphones 17 cm apart before two talkers, each with its own noise of
/// the room.
fn pair() -> Vec<Vec<f32>> {
    let (a, b) = (talker(1), talker(2));
    let (room_left, room_right) = (hiss(31, 0.01), hiss(32, 0.01));
    vec![
        sum(&[(&a, 0.5), (&late(&b, 20), 0.4), (&room_left, 1.0)]),
        sum(&[(&late(&a, 22), 0.4), (&b, 0.5), (&room_right, 1.0)]),
    ]
}

#[test]
fn two_unrelated_microphones_are_kept_apart() {
    let decision = decide(&[talker(3), talker(4)]);
    assert_eq!(decision.picks, [Only(1), Only(2)]);
    assert!(
        decision.explanation.contains("stands alone"),
        "{}",
        decision.explanation
    );
}

#[test]
fn two_worn_microphones_that_hear_each_other_are_kept_apart() {
    // 1.5 m apart: the other is heard 15 dB down and 4.4 ms later.
    let (a, b) = (talker(5), talker(6));
    let cross = |own: &[f32], other: &[f32], noise| {
        sum(&[
            (own, 1.0),
            (&late(other, 210), 0.18),
            (&hiss(noise, 0.003), 1.0),
        ])
    };
    let decision = decide(&[cross(&a, &b, 41), cross(&b, &a, 42)]);
    assert_eq!(decision.picks, [Only(1), Only(2)]);
}

#[test]
fn a_stereo_pair_is_mixed() {
    let decision = decide(&pair());
    assert_eq!(decision.picks, [Mix]);
    assert!(
        decision.explanation.contains("stereo pair"),
        "{}",
        decision.explanation
    );
}

#[test]
fn a_pair_that_mostly_hears_its_own_noise_is_still_a_pair() {
    // The talkers stop after a quarter; what is left are two noises.
    let speaks = |samples: Vec<f32>| {
        let end = samples.len() / 4;
        let gate = move |(n, sample)| if n < end { sample } else { 0.0 };
        samples
            .into_iter()
            .enumerate()
            .map(gate)
            .collect::<Vec<f32>>()
    };
    let (a, b) = (speaks(talker(1)), speaks(talker(2)));
    let decision = decide(&[
        sum(&[(&a, 0.5), (&late(&b, 20), 0.4), (&hiss(31, 0.01), 1.0)]),
        sum(&[(&late(&a, 22), 0.4), (&b, 0.5), (&hiss(32, 0.01), 1.0)]),
    ]);
    assert_eq!(decision.picks, [Mix]);
}

#[test]
fn twice_the_same_is_kept_once() {
    let one = talker(7);
    assert_eq!(decide(&[one.clone(), one.clone()]).picks, [Only(1)]);
    let turned = sum(&[(&one, -1.0)]);
    let decision = decide(&[one, turned]);
    assert_eq!(decision.picks, [Only(1)], "a mix would cancel");
    assert!(
        decision.explanation.contains("turned over"),
        "{}",
        decision.explanation
    );
}

#[test]
fn a_safety_copy_is_used_only_when_the_loud_one_clips() {
    let copies = |gain: f32| {
        let one = talker(8);
        let loud: Vec<f32> = sum(&[(&one, gain), (&hiss(51, 1e-4), 1.0)])
            .iter()
            .map(|s| s.clamp(-1.0, 1.0))
            .collect();
        [loud, sum(&[(&one, gain * 0.355), (&hiss(52, 1e-4), 1.0)])] // 9 dB down
    };
    let decision = decide(&copies(1.0));
    assert_eq!(decision.picks, [Only(1)]);
    assert!(
        decision.explanation.contains("9 dB quieter"),
        "{}",
        decision.explanation
    );
    let decision = decide(&copies(6.0));
    assert_eq!(decision.picks, [Only(2)]);
    assert!(
        decision.explanation.contains("clips"),
        "{}",
        decision.explanation
    );
}

#[test]
fn a_dead_channel_is_left_out() {
    let decision = decide(&[hiss(61, 1e-5), talker(9)]);
    assert_eq!(decision.picks, [Only(2)]);
    assert!(
        decision.explanation.contains("channel 1 is dead"),
        "{}",
        decision.explanation
    );
    assert_eq!(
        decide(&[vec![0.0; RATE as usize], vec![0.0; RATE as usize]]).picks,
        [Mix]
    );
}

#[test]
fn more_channels_fall_into_groups() {
    let [left, right] = <[_; 2]>::try_from(pair()).unwrap();
    let louder = sum(&[(&right, 1.5)]);
    let decision = decide(&[left, louder, talker(10), hiss(71, 1e-6), talker(11)]);
    assert_eq!(decision.picks, [Only(2), Only(3), Only(5)]);
    let all = decision.explanation;
    assert!(
        all.contains("channel 4 is dead") && all.contains("channels 1 and 2 are a stereo pair"),
        "{all}"
    );
}

#[test]
fn what_is_asked_for_is_done() {
    let folder = Folder::new();
    let path = folder.file("in.wav", &make::plain(2, 8_000, &make::samples(16_000)));
    let picks = |choice: &str| {
        decide_channels(&path, choice.parse().unwrap()).map(|decision| decision.picks)
    };
    assert_eq!(picks("mix").unwrap(), [Mix]);
    assert_eq!(picks("split").unwrap(), [Only(1), Only(2)]);
    assert_eq!(picks("2").unwrap(), [Only(2)]);
    assert!(
        picks("3")
            .unwrap_err()
            .to_string()
            .contains("no channel 3; it has 2")
    );
    for wrong in ["0", "9", "+1", "01", "left", ""] {
        assert!(wrong.parse::<ChannelChoice>().is_err(), "{wrong}");
        assert!(wrong.parse::<ChannelPick>().is_err(), "{wrong}");
    }
}
