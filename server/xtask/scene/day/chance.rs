//! What might a day be like?
//!
//! Writes random days as the clock's goals name them: three to eight recorders,
//! ±100 ppm, a room, 0 dB on the worst source, a tenth of the pairs never
//! running together, people and microphones at new places for every part, two
//! houses at once in some mornings.

use super::corpus::{Corpus, VOICES};
use super::spec::{Bed, BedSound, Day, Ear, Part, Said, Take};
use crate::scene::noise::NoiseKind;
use crate::scene::random::Random;
use crate::scene::spec::{Place, RoomSpec};

/// What is left to chance, and what is not.
#[derive(Clone, Debug, PartialEq)]
pub struct Chances {
    /// Chooses everything left open.
    pub seed: u64,
    /// Length, seconds.
    pub length_s: f64,
    /// Fewest and most recorders.
    pub recorders: (usize, usize),
    /// Share of the pairs that never run at the same time.
    pub apart: f64,
    /// Chance that the day begins in two houses at once.
    pub two_houses: f64,
    /// Chance that a band plays during the last part.
    pub music: f64,
}

impl Chances {
    /// As the goals say; most days 10 to 40 minutes, every 13th seed 1 to 3 hours.
    #[must_use]
    pub fn of_seed(seed: u64) -> Self {
        let mut random = Random::new(seed, "length");
        let minutes = if seed % 13 == 7 {
            random.between(60.0, 180.0)
        } else {
            random.between(10.0, 40.0)
        };
        Self {
            seed,
            length_s: minutes * 60.0,
            recorders: (3, 8),
            apart: 0.1,
            two_houses: 0.4,
            music: 0.3,
        }
    }

    /// Writes the day.
    #[must_use]
    pub fn day(&self, corpus: &Corpus) -> Day {
        let mut random = Random::new(self.seed, "day");
        let parts = self.parts(&mut random);
        let said = talk(&parts, self.length_s, corpus, &mut random);
        let beds = self.beds(&parts, &mut random);
        let takes = self.takes(&parts, &mut random);
        Day {
            seed: self.seed,
            length_s: self.length_s,
            parts,
            said,
            beds,
            takes,
        }
    }

    fn parts(&self, random: &mut Random) -> Vec<Part> {
        let two_houses = random.unit() < self.two_houses;
        let count = 2 + random.below(3);
        (0..count)
            .map(|n| {
                let room = |speaker: usize| match (n, speaker % 2) {
                    (0, 0) if two_houses => "kitchen",
                    (0, _) if two_houses => "jetty",
                    _ => "boathouse",
                };
                Part {
                    start_s: self.length_s * n as f64 / count as f64,
                    places: (0..VOICES)
                        .map(|speaker| somewhere(room(speaker), random))
                        .collect(),
                }
            })
            .collect()
    }

    fn beds(&self, parts: &[Part], random: &mut Random) -> Vec<Bed> {
        let mut beds: Vec<Bed> = parts[1..]
            .iter()
            .map(|part| Bed {
                sound: BedSound::Applause,
                start_s: part.start_s,
                length_s: random.between(4.0, 9.0),
                place: Place::new("boathouse", 0.0, 5.0),
                level_db: 6.0,
            })
            .collect();
        if random.unit() < self.music {
            let start_s = parts.last().map_or(0.0, |part| part.start_s) + 20.0;
            let length_s = (0.6 * (self.length_s - start_s)).min(600.0);
            beds.push(Bed {
                sound: BedSound::Song(self.seed),
                start_s,
                length_s,
                place: Place::new("boathouse", -5.0, 3.0),
                level_db: random.between(-8.0, 2.0),
            });
        }
        beds
    }

    fn takes(&self, parts: &[Part], random: &mut Random) -> Vec<Take> {
        let (least, most) = self.recorders;
        let count = least + random.below(most - least + 1);
        let (early, late) = self.apart_counts(count, random);
        let worst = random.below(count);
        let mut takes: Vec<Take> = (0..count)
            .map(|n| {
                let ear = ear(n, parts, random);
                let ragged = 0.06 * self.length_s;
                let middle = random.between(0.45, 0.55) * self.length_s;
                let (mut start_s, mut end_s) = (
                    random.between(0.0, ragged),
                    self.length_s - random.between(0.0, ragged),
                );
                if n < early {
                    end_s = middle - ragged;
                } else if n < early + late {
                    start_s = middle + ragged;
                }
                Take {
                    source: n,
                    ear,
                    start_s,
                    end_s,
                    pace: 1.0 + random.between(-100.0, 100.0) * 1e-6,
                    stops: Vec::new(),
                    level_dbfs: random.between(-34.0, -20.0),
                    snr_db: if n == worst {
                        0.0
                    } else {
                        random.between(3.0, 30.0)
                    },
                    noise: [NoiseKind::Pink, NoiseKind::Brown, NoiseKind::Hum][random.below(3)],
                    room: RoomSpec {
                        critical_m: random.between(1.5, 4.0),
                        rt60_s: random.between(0.3, 0.9),
                    },
                    // Each recorder's wall clock is wrong by up to an hour.
                    stamp_s: Some(start_s + random.between(-3600.0, 3600.0).round()),
                    copy_of: None,
                }
            })
            .collect();
        random.shuffle(&mut takes);
        takes
    }

    /// How many recorders run only early and only late, so that on average the
    /// wanted share of the pairs never meets, and one recorder sees all.
    fn apart_counts(&self, count: usize, random: &mut Random) -> (usize, usize) {
        let pairs = (count * (count - 1) / 2) as f64;
        let wanted = self.apart * pairs;
        let (fewer, more) = match wanted {
            w if w < 1.0 => ((0, 0), (1, 1)),
            w if w < 2.0 => ((1, 1), (1, 2)),
            _ => ((1, 2), (1, 3)),
        };
        let size = |(early, late): (usize, usize)| (early * late) as f64;
        let share = (wanted - size(fewer)) / (size(more) - size(fewer));
        if random.unit() < share { more } else { fewer }
    }
}

fn somewhere(room: &str, random: &mut Random) -> Place {
    Place::new(room, random.between(-4.0, 4.0), random.between(-3.0, 3.0))
}

/// Every other recorder is worn; the others are carried to a new place for
/// every part, in a room where somebody is.
fn ear(number: usize, parts: &[Part], random: &mut Random) -> Ear {
    if number % 2 == 1 && number / 2 < VOICES {
        return Ear::Worn {
            speaker: number / 2,
            mouth_m: random.between(0.2, 0.3),
        };
    }
    let places = parts.iter().map(|part| {
        let with = random.below(part.places.len());
        somewhere(&part.places[with].room, random)
    });
    Ear::At(places.collect())
}

/// In each room of each part somebody talks, mostly; voices in random order,
/// each utterance at a pace of its own.
#[must_use]
pub fn talk(parts: &[Part], length_s: f64, corpus: &Corpus, random: &mut Random) -> Vec<Said> {
    let each = corpus.len() / VOICES;
    let mut order: Vec<Vec<usize>> = vec![Vec::new(); VOICES];
    let mut said = Vec::new();
    for (n, part) in parts.iter().enumerate() {
        let end_s = parts.get(n + 1).map_or(length_s, |next| next.start_s);
        let mut rooms: Vec<&str> = part
            .places
            .iter()
            .map(|place| place.room.as_str())
            .collect();
        rooms.sort_unstable();
        rooms.dedup();
        for room in rooms {
            let present: Vec<usize> = (0..VOICES)
                .filter(|&speaker| part.places[speaker].room == room)
                .collect();
            let mut at_s = part.start_s + random.between(0.5, 4.0);
            loop {
                let speaker = present[random.below(present.len())];
                if order[speaker].is_empty() {
                    order[speaker] = (0..each).collect();
                    random.shuffle(&mut order[speaker]);
                }
                let Some(turn) = order[speaker].pop() else {
                    break;
                };
                let utterance = turn * VOICES + speaker;
                let speed = random.between(0.92, 1.08);
                let until_s = at_s + corpus.get(utterance).length_s() / speed;
                if until_s > end_s {
                    break;
                }
                said.push(Said {
                    utterance,
                    speaker,
                    start_s: at_s,
                    speed,
                    effort_db: random.between(-3.0, 3.0),
                });
                at_s = until_s + pause_s(random);
            }
        }
    }
    said.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    said
}

/// Breath mostly, sometimes a look at the river.
fn pause_s(random: &mut Random) -> f64 {
    match random.unit() {
        chance if chance < 0.03 => random.between(20.0, 60.0),
        chance if chance < 0.15 => random.between(3.0, 12.0),
        _ => random.between(0.3, 2.5),
    }
}
