//! For tests: bursts of noise in a room, heard by recorders whose clocks and places
//! are known.

use super::scenes::Chance;
use super::*;
use crate::units::FileMs;

const RATE: f64 = 16_000.0;

/// Noise that a voice's band goes through, in syllables: low-passed twice, switched
/// on and off every 150 to 300 ms.
pub fn voice(seed: u64, seconds: usize) -> Vec<f32> {
    let mut chance = Chance::new(seed);
    let (mut one, mut two, mut left, mut loud) = (0.0_f32, 0.0_f32, 0_i32, 0.0_f32);
    let mut syllable = Chance::new(seed ^ 77);
    (0..seconds * 16_000)
        .map(|_| {
            left -= 1;
            if left <= 0 {
                left = 2_400 + ((syllable.roll() + 1.0) * 1_200.0) as i32;
                loud = (syllable.roll() + 0.4).max(0.02);
            }
            one += 0.5 * (chance.roll() - one);
            two += 0.5 * (one - two);
            two * loud
        })
        .collect()
}

/// One place in the room: when it speaks (seconds of the event, up to), and its way
/// to each recorder, ms.
pub struct Speaker {
    pub says: Vec<f32>,
    pub delay_ms: Vec<f64>,
    pub from_s: usize,
}

/// Recorders that start at `start_ms` of the event and run `ppm` fast.
pub struct Room {
    pub speakers: Vec<Speaker>,
    pub start_ms: Vec<f64>,
    pub ppm: Vec<f64>,
    pub length_ms: Vec<f64>,
    pub noise: f32,
    pub reads: usize,
    pub echo: Vec<(f64, f32)>,
}

impl Samples for Room {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        self.reads += 1;
        let end = (to.0 as f64).min(self.length_ms[member]);
        let count = ((end - from.0 as f64).max(0.0) * RATE / 1000.0) as usize;
        let step = 1.0 / (1.0 + self.ppm[member] / 1e6);
        let mut out = vec![0.0; count];
        for speaker in &self.speakers {
            let first =
                self.start_ms[member] + from.0 as f64 * step - speaker.from_s as f64 * 1_000.0;
            for (late, size) in &self.echo {
                let begin = (first - speaker.delay_ms[member] - late * (1.0 + member as f64))
                    * RATE
                    / 1000.0;
                let heard = stretched(&speaker.says, begin, (step - 1.0) * 1e6, count);
                for (to, x) in out.iter_mut().zip(heard) {
                    *to += size * x;
                }
            }
        }
        let mut chance = Chance::new(from.0.unsigned_abs() * 31 + member as u64);
        for x in &mut out {
            *x += self.noise * chance.roll();
        }
        out
    }
}

/// The recorders, each with the band levels given for it.
pub fn members_with<'a>(
    room: &Room,
    tracks: impl IntoIterator<Item = &'a Track>,
) -> Vec<Member<'a>> {
    let one = |(n, track)| Member {
        track,
        duration_ms: room.length_ms[n],
        source: n,
        file: n,
        take: None,
        stamps: Vec::new(),
        fix: None,
        before: None,
        speech: &[],
    };
    let all = room.length_ms.len();
    tracks.into_iter().take(all).enumerate().map(one).collect()
}

/// The recorders, where nothing looks at band levels.
pub fn members<'a>(room: &Room, track: &'a Track) -> Vec<Member<'a>> {
    members_with(room, std::iter::repeat(track))
}

/// Two recorders in a room with echoes, and a quarter of an hour of one voice.
pub fn two(noise: f32) -> Room {
    Room {
        speakers: vec![Speaker {
            says: voice(5, 900),
            delay_ms: vec![3.0, 11.0],
            from_s: 0,
        }],
        start_ms: vec![0.0, -12_345.678],
        ppm: vec![15.0, -62.0],
        length_ms: vec![890_000.0, 880_000.0],
        noise,
        reads: 0,
        echo: vec![(0.0, 1.0), (13.0, 0.6), (29.0, -0.5), (47.0, 0.4)],
    }
}
