//! What might some event sound like?
//!
//! Writes random scenes: any length, some recorders, chance by seed. The dry
//! lines come in random order; when they are used up they come again at
//! another speed, so that no two stretches are the same sound.

use std::collections::BTreeMap;

use anyhow::{Result, ensure};

use super::lines::{self, DryLine};
use super::random::Random;
use super::spec::{
    BedKind, BedSpec, ChannelSpec, Container, LineSpec, MicSpec, NoiseKind, PartSpec, Place,
    Placement, RecorderSpec, RoomSpec, SampleFormat, SceneSpec, Spot,
};

/// What a random scene should be like. Ranges are (least, most).
#[derive(Clone, Debug, PartialEq)]
pub struct Shuffled {
    /// Chooses everything left open.
    pub seed: u64,
    /// Length of the event in seconds.
    pub length_s: f64,
    /// How many recorders.
    pub recorders: (usize, usize),
    /// Drifts, in parts in a million, either way.
    pub drift_ppm: (f64, f64),
    /// Signal-to-noise ratio of each recorder, in dB.
    pub snr_db: (f64, f64),
    /// Speech level of each recorder, in dBFS.
    pub level_dbfs: (f64, f64),
    /// Backgrounds to choose from.
    pub noise: Vec<NoiseKind>,
    /// Whether the room is heard.
    pub reverberant: bool,
    /// Share of the pairs of recorders that never run at the same time, 0 to 0.5.
    pub apart: f64,
    /// Seconds of silence between lines.
    pub pause_s: (f64, f64),
    /// Bursts of applause.
    pub applause: usize,
    /// Whether a band plays during the middle fifth of the event.
    pub music: bool,
    /// Sample rates to choose from.
    pub rates_hz: Vec<u32>,
    /// Formats to choose from.
    pub formats: Vec<SampleFormat>,
}

impl Shuffled {
    /// Three to eight recorders, up to 100 ppm, 0 to 30 dB, a room, no
    /// applause and no music, at 48 and 44.1 kHz.
    #[must_use]
    pub fn new(seed: u64, length_s: f64) -> Self {
        Self {
            seed,
            length_s,
            recorders: (3, 8),
            drift_ppm: (0.0, 100.0),
            snr_db: (0.0, 30.0),
            level_dbfs: (-32.0, -20.0),
            noise: vec![NoiseKind::Pink, NoiseKind::Brown, NoiseKind::Hum],
            reverberant: true,
            apart: 0.0,
            pause_s: (0.4, 4.0),
            applause: 0,
            music: false,
            rates_hz: vec![48_000, 44_100],
            formats: vec![
                SampleFormat::Int16,
                SampleFormat::Int24,
                SampleFormat::Float32,
            ],
        }
    }

    /// One recorder at 16 kHz that sees everything at `snr_db` in `noise`,
    /// dry, for measuring speech detection.
    #[must_use]
    pub fn detection(seed: u64, length_s: f64, noise: NoiseKind, snr_db: f64) -> Self {
        Self {
            recorders: (1, 1),
            drift_ppm: (0.0, 0.0),
            snr_db: (snr_db, snr_db),
            level_dbfs: (-26.0, -26.0),
            noise: vec![noise],
            reverberant: false,
            rates_hz: vec![16_000],
            formats: vec![SampleFormat::Int16],
            ..Self::new(seed, length_s)
        }
    }

    /// Writes the spec.
    ///
    /// # Errors
    /// When the dry lines are missing or a list to choose from is empty.
    pub fn spec(&self) -> Result<SceneSpec> {
        ensure!(
            !(self.noise.is_empty() || self.rates_hz.is_empty() || self.formats.is_empty()),
            "a scene needs kinds of noise, rates and formats to choose from"
        );
        ensure!(
            self.recorders.0 >= 1 && self.recorders.0 <= self.recorders.1,
            "no recorders"
        );
        let list = lines::list()?;
        let dry = lines::load()?;
        let mut random = Random::new(self.seed, "shuffled");
        let mut places = BTreeMap::new();
        for person in &list.people {
            let place = Place::new("room", random.between(-3.0, 3.0), random.between(-2.0, 2.0));
            places.insert(person.name.clone(), place);
        }
        let part = PartSpec {
            name: "all".into(),
            start_s: 0.0,
            end_s: self.length_s,
            places,
        };
        let people: Vec<&str> = list
            .people
            .iter()
            .map(|person| person.name.as_str())
            .collect();
        Ok(SceneSpec {
            seed: self.seed,
            title: format!("Scene {}", self.seed),
            date: "2026-06-20".into(),
            clock_s: 10 * 3600,
            length_s: self.length_s,
            parts: vec![part],
            lines: self.lines(&dry, &mut random),
            beds: self.beds(&mut random),
            recorders: self.recorders(&people, &mut random),
        })
    }

    fn lines(&self, dry: &[DryLine], random: &mut Random) -> Vec<LineSpec> {
        let mut lines = Vec::new();
        let mut order: Vec<usize> = Vec::new();
        let mut round = 0;
        let mut at_s = random.between(1.0, 3.0);
        loop {
            if order.is_empty() {
                order = (0..dry.len()).collect();
                random.shuffle(&mut order);
                round += 1;
            }
            let Some(line) = order.pop() else {
                return lines;
            };
            let speed = if round == 1 {
                1.0
            } else {
                random.between(0.9, 1.1)
            };
            let end_s = at_s + dry[line].length_s() / speed;
            if end_s + 1.0 > self.length_s {
                return lines;
            }
            lines.push(LineSpec {
                line,
                speaker: dry[line].entry.speaker.clone(),
                part: 0,
                start_s: at_s,
                speed,
                effort_db: random.between(-2.0, 2.0),
            });
            at_s = end_s + random.between(self.pause_s.0, self.pause_s.1);
        }
    }

    fn beds(&self, random: &mut Random) -> Vec<BedSpec> {
        let mut beds: Vec<BedSpec> = (0..self.applause)
            .map(|_| {
                let start_s = random.between(0.0, (self.length_s - 8.0).max(0.0));
                let end_s = start_s + random.between(3.0, 7.0);
                let place = Place::new("room", 0.0, 4.0);
                BedSpec {
                    kind: BedKind::Applause,
                    start_s,
                    end_s,
                    place,
                    level_db: 8.0,
                }
            })
            .collect();
        if self.music {
            beds.push(BedSpec {
                kind: BedKind::Music,
                start_s: 0.4 * self.length_s,
                end_s: 0.6 * self.length_s,
                place: Place::new("room", -4.0, 3.0),
                level_db: 0.0,
            });
        }
        beds
    }

    fn recorders(&self, people: &[&str], random: &mut Random) -> Vec<RecorderSpec> {
        let (least, most) = self.recorders;
        let count = least + random.below(most - least + 1);
        let (early, late) = self.apart_counts(count);
        let mut recorders: Vec<RecorderSpec> = (0..count)
            .map(|n| {
                let mut recorder = self.recorder(n, people, random);
                // Those apart stop before, or start after, the middle.
                let ragged = 0.05 * self.length_s.min(1200.0);
                recorder.start_s = random.between(0.0, ragged);
                recorder.end_s = self.length_s - random.between(0.0, ragged);
                let middle = 0.5 * self.length_s;
                if n < early {
                    recorder.end_s = middle - random.between(0.0, ragged);
                } else if n < early + late {
                    recorder.start_s = middle + random.between(0.0, ragged);
                }
                recorder
            })
            .collect();
        // The event begins with its first recorder.
        let first = recorders
            .iter_mut()
            .min_by(|a, b| a.start_s.total_cmp(&b.start_s));
        if let Some(first) = first {
            first.start_s = 0.0;
        }
        random.shuffle(&mut recorders);
        recorders
    }

    /// How many recorders run only early and only late, so that the share of
    /// pairs between them comes nearest to `apart` and one still sees all.
    fn apart_counts(&self, count: usize) -> (usize, usize) {
        let pairs = (count * count.saturating_sub(1) / 2).max(1) as f64;
        let miss =
            |&(early, late): &(usize, usize)| ((early * late) as f64 / pairs - self.apart).abs();
        let choices =
            (0..count).flat_map(|early| (0..count - early).map(move |late| (early, late)));
        let apart = choices.filter(|&(early, late)| (early == 0) == (late == 0));
        apart
            .min_by(|a, b| miss(a).total_cmp(&miss(b)))
            .unwrap_or((0, 0))
    }

    fn recorder(&self, n: usize, people: &[&str], random: &mut Random) -> RecorderSpec {
        let wearer = people
            .get(n / 2)
            .filter(|_| n.is_multiple_of(2) && self.recorders.1 > 1);
        let drift_ppm = random.between(self.drift_ppm.0, self.drift_ppm.1)
            * if random.unit() < 0.5 { -1.0 } else { 1.0 };
        let place = Place::new("room", random.between(-5.0, 5.0), random.between(-4.0, 8.0));
        let spot = match wearer {
            Some(person) => Spot::Worn {
                person: (*person).to_owned(),
                mouth_m: random.between(0.2, 0.3),
            },
            None => Spot::Fixed(place),
        };
        let room = RoomSpec {
            critical_m: 3.0,
            rt60_s: random.between(0.3, 0.9),
        };
        let mic = MicSpec {
            spot,
            level_dbfs: random.between(self.level_dbfs.0, self.level_dbfs.1),
            snr_db: random.between(self.snr_db.0, self.snr_db.1),
            noise: vec![(self.noise[random.below(self.noise.len())], 1.0)],
            room: self.reverberant.then_some(room),
        };
        let name = match wearer {
            Some(person) => format!("worn-{}", person.to_lowercase()),
            None => format!("room-{n}"),
        };
        RecorderSpec {
            label: name.clone(),
            folder: name,
            stem: format!("REC{:04}", random.below(10_000)),
            placement: if wearer.is_some() {
                Placement::Worn
            } else {
                Placement::Ambient
            },
            wearer: wearer.map(|person| (*person).to_owned()),
            start_s: 0.0,
            end_s: self.length_s,
            drift_ppm,
            clock_error_s: random.between(-3600.0, 3600.0) as i64,
            rate_hz: self.rates_hz[random.below(self.rates_hz.len())],
            format: self.formats[random.below(self.formats.len())],
            container: if n % 3 == 2 {
                Container::Wav
            } else {
                Container::Broadcast
            },
            channels: vec![ChannelSpec::Mic(mic)],
            split_at_s: Vec::new(),
            safety_files_db: None,
        }
    }
}
