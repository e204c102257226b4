//! Whose microphone stands out?
//!
//! Each microphone's level is held against what it reads when its own wearer speaks,
//! which is learnt from the event itself: levels are compared after each channel is
//! normalised to its own long-term level (Pfau, Ellis and Stolcke, ASRU 2001; Boakye
//! and Stolcke, Interspeech 2006).

use std::collections::{BTreeMap, BTreeSet};

use super::kinds::Worn;
use super::levels::{Reading, Readings};
use super::params::VoiceParams;

/// Rounds in which own levels and whose speech it is are found from each other.
const ROUNDS: usize = 8;
/// Own speech a gain is learnt from, steps: 2 s.
const FEWEST: usize = 20;
/// A microphone is surely its wearer's while it leads by so much, dB.
const LEADS_DB: f32 = 4.0;
/// And reads no less than so far below its own level, dB.
const NEAR_DB: f32 = 8.0;
/// What a microphone reads where it is far from being heard, dB below its own level.
const FAR_DB: f32 = -40.0;

/// What has been learnt about the worn microphones.
#[derive(Clone, Debug, Default)]
pub(super) struct Own {
    /// By [`Worn::gain`]: the level of the wearer's own speech, dBFS.
    levels: BTreeMap<usize, f32>,
    /// How far one microphone usually lies below its own level when the wearer of
    /// another speaks, dB: (the speaker's gain, the other's).
    across: BTreeMap<(usize, usize), f32>,
}

/// What the microphones say about one wearer in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stands {
    /// Against what the microphone reads for its own wearer, dB.
    pub own_db: f32,
    /// The same less that of the next microphone, dB; none where nobody else's heard it.
    pub leads_db: Option<f32>,
    /// How far above what the leading wearer alone brings to it, dB.
    pub beyond_db: f32,
}

impl Own {
    /// Learns the own level of each microphone.
    pub fn learn(all: &[Readings], worn: &[Worn]) -> Self {
        let gains: BTreeSet<usize> = worn.iter().map(|mic| mic.gain).collect();
        let mut own = Self::default();
        for gain in &gains {
            // To begin with: what it reads when it is loud.
            let mut levels: Vec<f32> = clear(all, worn)
                .filter(|(mic, _)| mic.gain == *gain)
                .map(|(_, reading)| reading.level_db)
                .collect();
            if let Some(level) = quantile(&mut levels, 0.95) {
                own.levels.insert(*gain, level);
            }
        }
        for _ in 0..ROUNDS {
            own.again(all, worn);
        }
        own.even_out();
        own.again(all, worn);
        own
    }

    /// One round: who leads by the levels so far, and the levels of those who lead.
    fn again(&mut self, all: &[Readings], worn: &[Worn]) {
        let mut levels: BTreeMap<usize, Vec<f32>> = BTreeMap::new();
        let mut across: BTreeMap<(usize, usize), Vec<f32>> = BTreeMap::new();
        for readings in all {
            for step in 0..readings.steps.len() {
                let Some((lead, reading)) = self.leading(readings, step, worn) else {
                    continue;
                };
                levels.entry(lead).or_default().push(reading.level_db);
                for (gain, db, clear) in self.against(readings, step, worn) {
                    if gain != lead && clear {
                        across.entry((lead, gain)).or_default().push(db);
                    }
                }
            }
        }
        for (gain, mut levels) in levels {
            if levels.len() >= FEWEST
                && let Some(level) = quantile(&mut levels, 0.7)
            {
                self.levels.insert(gain, level);
            }
        }
        let enough = across.into_iter().filter(|(_, dbs)| dbs.len() >= FEWEST);
        self.across = enough
            .filter_map(|(pair, mut dbs)| Some((pair, quantile(&mut dbs, 0.5)?)))
            .collect();
    }

    /// Two wearers weaken each other alike, since they are as far apart from both
    /// ends. Where one seems to weaken the other far less, what was taken for its own
    /// speech is somebody else's, and its own would be louder.
    fn even_out(&mut self) {
        let pairs: Vec<((usize, usize), f32)> = self.across.iter().map(|(k, v)| (*k, *v)).collect();
        for ((speaks, hears), down) in pairs {
            let back = self.across.get(&(hears, speaks)).copied();
            let Some(back) = back.filter(|back| down > -LEADS_DB && down - back > 8.0) else {
                continue;
            };
            if let Some(level) = self.levels.get_mut(&hears) {
                *level += 0.5 * (down - back);
            }
        }
    }

    /// Each microphone's reading against its own level, in one step: gain, dB, clear.
    fn against<'a>(
        &'a self,
        readings: &'a Readings,
        step: usize,
        worn: &'a [Worn],
    ) -> impl Iterator<Item = (usize, f32, bool)> + 'a {
        let row = readings.steps.get(step).map_or(&[][..], Vec::as_slice);
        let pairs = readings.mics.iter().zip(row);
        pairs.filter_map(move |(mic, reading)| {
            let (mic, reading) = (worn.get(*mic)?, reading.as_ref()?);
            let own = self.levels.get(&mic.gain)?;
            Some((mic.gain, reading.level_db - own, reading.clear))
        })
    }

    /// The gain of the microphone that leads those of all other wearers clearly.
    fn leading(&self, readings: &Readings, step: usize, worn: &[Worn]) -> Option<(usize, Reading)> {
        let row = readings.steps.get(step)?;
        let mics = readings.mics.iter().zip(&readings.wearers).zip(row);
        let heard: Vec<(usize, usize, f32, Reading)> = mics
            .filter_map(|((mic, wearer), reading)| {
                let (mic, reading) = (worn.get(*mic)?, (*reading)?);
                let own = self.levels.get(&mic.gain)?;
                Some((mic.gain, *wearer, reading.level_db - own, reading))
            })
            .collect();
        let clear = heard.iter().filter(|(_, _, _, reading)| reading.clear);
        let (gain, wearer, db, reading) = *clear.max_by(|a, b| a.2.total_cmp(&b.2))?;
        let others = heard.iter().filter(|(_, of, _, _)| *of != wearer);
        let next = others.map(|(_, _, db, _)| *db).fold(FAR_DB, f32::max);
        // Far below its own level it is somebody else's speech, whoever leads.
        (db - next > LEADS_DB && db > -NEAR_DB).then_some((gain, reading))
    }

    /// What the microphones say about each wearer, step by step; wearers in order,
    /// none where the wearer's microphones did not run.
    pub fn stands(&self, readings: &Readings, worn: &[Worn]) -> Stances {
        let mut wearers = readings.wearers.clone();
        wearers.sort_unstable();
        wearers.dedup();
        let count = readings.steps.len();
        let row = |step: usize| -> Vec<Option<Stands>> {
            wearers
                .iter()
                .map(|wearer| self.stance(readings, step, worn, *wearer))
                .collect()
        };
        Stances {
            steps: (0..count).map(row).collect(),
            wearers,
        }
    }

    fn stance(
        &self,
        readings: &Readings,
        step: usize,
        worn: &[Worn],
        wearer: usize,
    ) -> Option<Stands> {
        // Level and gain of the loudest.
        let mut mine: Option<(f32, usize)> = None;
        let mut others: Option<(f32, usize)> = None;
        let row = readings.steps.get(step)?;
        for ((mic, of), reading) in readings.mics.iter().zip(&readings.wearers).zip(row) {
            let (Some(mic), Some(reading)) = (worn.get(*mic), reading) else {
                continue;
            };
            let Some(own) = self.levels.get(&mic.gain) else {
                continue;
            };
            let db = (reading.level_db - own).max(FAR_DB);
            let best = if *of == wearer {
                &mut mine
            } else {
                &mut others
            };
            if best.is_none_or(|(most, _)| db > most) {
                *best = Some((db, mic.gain));
            }
        }
        let (own_db, gain) = mine?;
        let usual = others.and_then(|(_, lead)| self.across.get(&(lead, gain)));
        Some(Stands {
            own_db,
            leads_db: others.map(|(db, _)| own_db - db),
            beyond_db: others.map_or(0.0, |(db, _)| own_db - db - usual.copied().unwrap_or(-12.0)),
        })
    }
}

/// What the microphones say during a stretch.
#[derive(Clone, Debug, Default)]
pub(super) struct Stances {
    /// Whose microphones heard it.
    pub wearers: Vec<usize>,
    /// By step, one for each of them.
    pub steps: Vec<Vec<Option<Stands>>>,
}

impl Stances {
    /// Log-odds that a wearer speaks rather than somebody without a microphone, for
    /// each wearer, averaged over half a second.
    pub fn log_odds(&self, step: usize, params: &VoiceParams) -> Vec<f32> {
        let near = step.saturating_sub(2)..(step + 3).min(self.steps.len());
        let near = self.steps.get(near).unwrap_or_default();
        (0..self.wearers.len())
            .map(|wearer| {
                let here: Vec<Stands> = near.iter().filter_map(|row| *row.get(wearer)?).collect();
                params.worn_log_odds(&here)
            })
            .collect()
    }
}

/// All readings that stand out of the noise.
fn clear<'a>(
    all: &'a [Readings],
    worn: &'a [Worn<'a>],
) -> impl Iterator<Item = (&'a Worn<'a>, Reading)> {
    all.iter().flat_map(move |readings| {
        let rows = readings.steps.iter();
        rows.flat_map(move |row| {
            let pairs = readings.mics.iter().zip(row);
            pairs.filter_map(move |(mic, reading)| {
                let reading = (*reading).filter(|reading| reading.clear)?;
                Some((worn.get(*mic)?, reading))
            })
        })
    })
}

/// The value that a share of the others stay below.
fn quantile(values: &mut [f32], share: f32) -> Option<f32> {
    let last = values.len().checked_sub(1)?;
    let at = (last as f32 * share).round() as usize;
    let (_, value, _) = values.select_nth_unstable_by(at.min(last), f32::total_cmp);
    Some(*value)
}
