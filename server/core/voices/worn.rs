//! Whose microphone stands out?
//!
//! Each microphone's level is held against what it reads when its own wearer speaks,
//! which is learnt from the event itself: levels are compared after each channel is
//! normalised to its own long-term level (Pfau, Ellis and Stolcke, ASRU 2001; Boakye
//! and Stolcke, Interspeech 2006).

use std::collections::BTreeMap;

use super::kinds::Worn;
use super::levels::{Reading, Readings};
use super::own;
use super::params::VoiceParams;

/// Rounds in which own levels and whose speech it is are found from each other.
const ROUNDS: usize = 8;
/// Own speech a level is learnt from, steps: 2 s.
pub(super) const FEWEST: usize = 20;
/// A microphone is surely its wearer's while it leads by so much, dB.
pub(super) const LEADS_DB: f32 = 4.0;
/// And reads no less than so far below its own level, dB.
const NEAR_DB: f32 = 8.0;
/// What a microphone reads where it is far from being heard, dB below its own level.
const FAR_DB: f32 = -40.0;

/// A microphone on somebody: [`Worn::gain`], and who wears it.
pub(super) type Mount = (usize, usize);

/// What has been learnt about the worn microphones.
#[derive(Clone, Debug, Default)]
pub(super) struct Own {
    /// The level of the wearer's own speech, dBFS.
    pub levels: BTreeMap<Mount, f32>,
    /// How far one microphone usually lies below its own level when the wearer of
    /// another speaks, dB: (the speaker's, the other's).
    pub across: BTreeMap<(Mount, Mount), f32>,
}

/// What the microphones say about one wearer in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stands {
    /// Against what the microphone reads for its own wearer, dB.
    pub own_db: f32,
    /// How much nearer it is to this wearer's speech than to that of whose microphone
    /// stands out next, dB: half-way, both bring as much to both as they usually do.
    /// None where nobody else's heard it.
    pub leads_db: Option<f32>,
    /// How far above what the leading wearer alone brings to it, dB.
    pub beyond_db: f32,
}

impl Own {
    /// Learns the own level of each microphone. `voices` are those of each step of each
    /// stretch, by numbers.
    pub fn learn(all: &[Readings], voices: &[Vec<Option<usize>>], worn: &[Worn]) -> Self {
        // To begin with: what it reads when it is loud.
        let mut levels: BTreeMap<Mount, Vec<f32>> = BTreeMap::new();
        for (mount, reading) in clear(all, worn) {
            levels.entry(mount).or_default().push(reading.level_db);
        }
        let loud = levels
            .into_iter()
            .filter_map(|(mount, mut levels)| Some((mount, quantile(&mut levels, 0.95)?)));
        let mut own = Self {
            levels: loud.collect(),
            ..Self::default()
        };
        for _ in 0..ROUNDS {
            own.again(all, worn);
        }
        own.even_out();
        own.across = own.weakened(all, worn);
        own::by_voice(&mut own, all, voices, worn);
        own
    }

    /// One round: who leads by the levels so far, and the levels of those who lead.
    fn again(&mut self, all: &[Readings], worn: &[Worn]) {
        let mut levels: BTreeMap<Mount, Vec<f32>> = BTreeMap::new();
        for readings in all {
            for step in 0..readings.steps.len() {
                if let Some((lead, reading)) = self.leading(readings, step, worn) {
                    levels.entry(lead).or_default().push(reading.level_db);
                }
            }
        }
        for (mount, mut levels) in levels {
            if levels.len() >= FEWEST
                && let Some(level) = quantile(&mut levels, 0.7)
            {
                self.levels.insert(mount, level);
            }
        }
        self.across = self.weakened(all, worn);
    }

    /// How far those who lead are weakened on their way to the others.
    fn weakened(&self, all: &[Readings], worn: &[Worn]) -> BTreeMap<(Mount, Mount), f32> {
        let mut across: BTreeMap<(Mount, Mount), Vec<f32>> = BTreeMap::new();
        for readings in all {
            for step in 0..readings.steps.len() {
                let Some((lead, _)) = self.leading(readings, step, worn) else {
                    continue;
                };
                for (mount, db, clear) in self.against(readings, step, worn) {
                    if mount != lead && clear {
                        across.entry((lead, mount)).or_default().push(db);
                    }
                }
            }
        }
        let enough = across.into_iter().filter(|(_, dbs)| dbs.len() >= FEWEST);
        enough
            .filter_map(|(pair, mut dbs)| Some((pair, quantile(&mut dbs, 0.5)?)))
            .collect()
    }

    /// Two wearers weaken each other alike, since they are as far apart from both
    /// ends. Where one seems to weaken the other far less, what was taken for its own
    /// speech is somebody else's, and its own would be louder.
    fn even_out(&mut self) {
        let pairs: Vec<((Mount, Mount), f32)> = self.across.iter().map(|(k, v)| (*k, *v)).collect();
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

    /// Each microphone's reading against its own level, in one step: dB, clear.
    fn against<'a>(
        &'a self,
        readings: &'a Readings,
        step: usize,
        worn: &'a [Worn],
    ) -> impl Iterator<Item = (Mount, f32, bool)> + 'a {
        mounted(readings, step, worn).filter_map(|(mount, reading)| {
            let own = self.levels.get(&mount)?;
            Some((mount, reading.level_db - own, reading.clear))
        })
    }

    /// The microphone that leads those of all other wearers clearly.
    pub fn leading(
        &self,
        readings: &Readings,
        step: usize,
        worn: &[Worn],
    ) -> Option<(Mount, Reading)> {
        let heard = || {
            mounted(readings, step, worn).filter_map(|(mount, reading)| {
                Some((mount, reading.level_db - self.levels.get(&mount)?, reading))
            })
        };
        let clear = heard().filter(|(_, _, reading)| reading.clear);
        let (mount, db, reading) = clear.max_by(|a, b| a.1.total_cmp(&b.1))?;
        let others = heard().filter(|(other, _, _)| other.1 != mount.1);
        let next = others.map(|(_, db, _)| db).fold(FAR_DB, f32::max);
        // Far below its own level it is somebody else's speech, whoever leads.
        (db - next > LEADS_DB && db > -NEAR_DB).then_some((mount, reading))
    }

    /// What the microphones say about each wearer, step by step; wearers in order,
    /// none where the wearer's microphones did not run.
    pub fn stands(&self, readings: &Readings, worn: &[Worn], params: &VoiceParams) -> Stances {
        let mut wearers = readings.wearers.clone();
        wearers.sort_unstable();
        wearers.dedup();
        let count = readings.steps.len();
        let row = |step: usize| {
            let bodies = self.bodies(readings, step, worn);
            let stands = |wearer: &usize| self.stance(&bodies, *wearer);
            wearers.iter().map(stands).collect()
        };
        let steps: Vec<Vec<Option<Stands>>> = (0..count).map(row).collect();
        let odds = |stands: &Option<Stands>| {
            let stands = stands.as_ref();
            stands.map_or(0.0, |stands| params.worn_log_odds(stands))
        };
        Stances {
            odds: steps
                .iter()
                .map(|row| row.iter().map(odds).collect())
                .collect(),
            steps,
            wearers,
        }
    }

    /// Those whose microphones ran. Of somebody with two both count: whoever stands
    /// nearer to one of them is farther from the other.
    fn bodies(&self, readings: &Readings, step: usize, worn: &[Worn]) -> Vec<Body> {
        let mut bodies: Vec<Body> = Vec::new();
        for (mount, db, _) in self.against(readings, step, worn) {
            let db = db.max(FAR_DB);
            match bodies.iter_mut().find(|body| body.mount.1 == mount.1) {
                Some(body) => {
                    if db > body.most_db {
                        (body.most_db, body.mount) = (db, mount);
                    }
                    body.sum_db += db;
                    body.count += 1.0;
                }
                None => bodies.push(Body {
                    mount,
                    most_db: db,
                    sum_db: db,
                    count: 1.0,
                }),
            }
        }
        bodies
    }

    fn stance(&self, bodies: &[Body], wearer: usize) -> Option<Stands> {
        let mine = bodies.iter().find(|body| body.mount.1 == wearer)?;
        let others = bodies.iter().filter(|body| body.mount.1 != wearer);
        let next = others.max_by(|a, b| a.own_db().total_cmp(&b.own_db()));
        let (own_db, mount) = (mine.own_db(), mine.mount);
        let others = next.map(|next| (next.own_db(), next.mount));
        let weakened = |speaks: Mount, hears: Mount| self.across.get(&(speaks, hears)).copied();
        let Some((db, lead)) = others else {
            return Some(Stands {
                own_db,
                leads_db: None,
                beyond_db: 0.0,
            });
        };
        // Half-way between what either's speech brings to both.
        let (there, back) = (weakened(mount, lead), weakened(lead, mount));
        let even_db = there
            .zip(back)
            .map_or(0.0, |(there, back)| 0.5 * (back - there));
        Some(Stands {
            own_db,
            leads_db: Some(own_db - db - even_db),
            beyond_db: own_db - db - back.unwrap_or(-12.0),
        })
    }
}

/// A wearer in one step.
struct Body {
    /// The microphone that reads most against its own level, and how much.
    mount: Mount,
    most_db: f32,
    sum_db: f32,
    count: f32,
}

impl Body {
    /// Against the own level, dB: the mean over the microphones.
    fn own_db(&self) -> f32 {
        self.sum_db / self.count
    }
}

/// What the microphones say during a stretch.
#[derive(Clone, Debug, Default)]
pub(super) struct Stances {
    /// Whose microphones heard it.
    pub wearers: Vec<usize>,
    /// By step, one for each of them.
    pub steps: Vec<Vec<Option<Stands>>>,
    /// By step, for each of them: log-odds that they speak rather than somebody
    /// without a microphone; 0 where theirs did not run.
    pub odds: Vec<Vec<f32>>,
}

/// The microphones in a step, and what they read.
pub(super) fn mounted<'a>(
    readings: &'a Readings,
    step: usize,
    worn: &'a [Worn],
) -> impl Iterator<Item = (Mount, Reading)> + 'a {
    let row = readings.steps.get(step).map_or(&[][..], Vec::as_slice);
    let mics = readings.mics.iter().zip(&readings.wearers).zip(row);
    mics.filter_map(move |((mic, wearer), reading)| {
        let mic = worn.get(*mic)?;
        Some(((mic.gain, *wearer), (*reading)?))
    })
}

/// All readings that stand out of the noise.
fn clear<'a>(all: &'a [Readings], worn: &'a [Worn]) -> impl Iterator<Item = (Mount, Reading)> + 'a {
    all.iter().flat_map(move |readings| {
        let steps = 0..readings.steps.len();
        let each = steps.flat_map(move |step| mounted(readings, step, worn));
        each.filter(|(_, reading)| reading.clear)
    })
}

/// The value that a share of the others stay below.
pub(super) fn quantile(values: &mut [f32], share: f32) -> Option<f32> {
    let last = values.len().checked_sub(1)?;
    let at = (last as f32 * share).round() as usize;
    let (_, value, _) = values.select_nth_unstable_by(at.min(last), f32::total_cmp);
    Some(*value)
}
