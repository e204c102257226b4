//! Which voice is the wearer's own, and how loud is it at their microphone?
//!
//! Somebody without a microphone who stands by a wearer is heard best by that wearer's,
//! a few dB below the wearer. Voices tell the two apart: the own one is the loudest.

use std::collections::BTreeMap;

use super::kinds::Worn;
use super::levels::Readings;
use super::worn::{FEWEST, LEADS_DB, Mount, Own, mounted, quantile};

/// A wearer who was not heard is taken to be so much louder than whoever was, dB:
/// mouths of others are that much farther away (common practice, no source).
const UNHEARD_DB: f32 = 10.0;
/// Two wearers stand so close that each is heard by both microphones while no level
/// falls by more, dB: at the microphone that takes the second, and at the other.
const CLOSE_DB: [f32; 2] = [6.0, 12.0];

/// Levels at one microphone, dBFS: of each voice; and of each voice while the
/// microphone of a wearer leads.
#[derive(Default)]
struct Heard {
    voices: BTreeMap<usize, f32>,
    led: BTreeMap<(usize, usize), f32>,
}

/// Learns own levels again, now that it is known which voice speaks in each step.
pub(super) fn by_voice(
    own: &mut Own,
    all: &[Readings],
    voices: &[Vec<Option<usize>>],
    worn: &[Worn],
) {
    let heard = heard(own, all, voices, worn);
    let owners = owners(&heard);
    for (mount, owner) in &owners {
        own.levels.insert(*mount, owner.level);
    }
    own.across.clear();
    for (speaks, owner) in &owners {
        for (mount, here) in heard.iter().filter(|(mount, _)| *mount != speaks) {
            let level = owner.voice.and_then(|voice| here.voices.get(&voice));
            let level = match owner.led {
                Some(led) => here.led.get(&led),
                None => level,
            };
            if let Some((level, theirs)) = level.zip(own.levels.get(mount)) {
                own.across.insert((*speaks, *mount), level - theirs);
            }
        }
    }
}

/// Whose a microphone is.
struct Owner {
    level: f32,
    /// None where the wearer was not heard.
    voice: Option<usize>,
    /// The voice and the leading wearer, where two wearers sound alike.
    led: Option<(usize, usize)>,
}

/// The owner of each microphone that heard a voice.
fn owners(heard: &BTreeMap<Mount, Heard>) -> BTreeMap<Mount, Owner> {
    let loudest = |heard: &Heard| {
        let most = heard.voices.iter().max_by(|a, b| a.1.total_cmp(b.1));
        most.map(|(voice, level)| (*voice, *level))
    };
    let first: BTreeMap<Mount, (usize, f32)> = heard
        .iter()
        .filter_map(|(mount, heard)| Some((*mount, loudest(heard)?)))
        .collect();
    let mut owners = BTreeMap::new();
    for (mount, (voice, level)) in &first {
        let Some(mine) = heard.get(mount) else {
            continue;
        };
        let same =
            |(other, (theirs, _)): &(&Mount, &(usize, f32))| other.1 != mount.1 && theirs == voice;
        let rivals = first.iter().filter(same);
        let rival = rivals
            .filter_map(|(other, _)| Some((other.1, heard.get(other)?)))
            .max_by(|a, b| stands_out(a.1, *voice).total_cmp(&stands_out(b.1, *voice)));
        let owner = match rival {
            None => Owner::of(*voice, *level),
            Some((wearer, rival)) => alike(mine, rival, *voice, [mount.1, wearer])
                .or_else(|| second(mine, rival, *voice))
                .unwrap_or(Owner {
                    level: level + UNHEARD_DB,
                    voice: None,
                    led: None,
                }),
        };
        owners.insert(*mount, owner);
    }
    owners
}

impl Owner {
    fn of(voice: usize, level: f32) -> Self {
        Self {
            level,
            voice: Some(voice),
            led: None,
        }
    }
}

/// The second of two wearers whose microphones hear the same voice best: it is the
/// first's, or they stand close together.
fn second(mine: &Heard, rival: &Heard, voice: usize) -> Option<Owner> {
    if stands_out(mine, voice) >= stands_out(rival, voice) {
        return Some(Owner::of(voice, *mine.voices.get(&voice)?));
    }
    close(mine, rival, voice)
}

/// The own level of one of two wearers who only sound alike: each microphone is louder
/// while it leads.
fn alike(mine: &Heard, rival: &Heard, voice: usize, [wearer, other]: [usize; 2]) -> Option<Owner> {
    let level = mine.led.get(&(voice, wearer))?;
    let falls = |heard: &Heard, wearer: usize, other: usize| {
        let levels = heard
            .led
            .get(&(voice, wearer))
            .zip(heard.led.get(&(voice, other)));
        levels.is_some_and(|(own, other)| own - other >= LEADS_DB)
    };
    let both = falls(mine, wearer, other) && falls(rival, other, wearer);
    both.then_some(Owner {
        level: *level,
        voice: Some(voice),
        led: Some((voice, wearer)),
    })
}

/// The own level of a wearer who stands so close to another, whose voice this is, that
/// the own microphone hears both alike.
fn close(mine: &Heard, rival: &Heard, voice: usize) -> Option<Owner> {
    let others = mine.voices.iter().filter(|(other, _)| **other != voice);
    let (next, level) = others.max_by(|a, b| a.1.total_cmp(b.1))?;
    let down = |heard: &Heard| Some(heard.voices.get(&voice)? - heard.voices.get(next)?);
    let [here, there] = CLOSE_DB;
    (down(mine)? <= here && down(rival)? <= there).then(|| Owner::of(*next, *level))
}

/// How far a voice stands above the next other voice, dB.
fn stands_out(heard: &Heard, voice: usize) -> f32 {
    let others = heard.voices.iter().filter(|(of, _)| **of != voice);
    let next = others.map(|(_, level)| *level).reduce(f32::max);
    let level = heard.voices.get(&voice);
    level.zip(next).map_or(0.0, |(level, next)| level - next)
}

fn heard(
    own: &Own,
    all: &[Readings],
    voices: &[Vec<Option<usize>>],
    worn: &[Worn],
) -> BTreeMap<Mount, Heard> {
    type Levels<Key> = BTreeMap<Mount, BTreeMap<Key, Vec<f32>>>;
    let (mut of_voices, mut led): (Levels<usize>, Levels<(usize, usize)>) = Default::default();
    for (readings, voices) in all.iter().zip(voices) {
        for (step, voice) in voices.iter().enumerate() {
            let Some(voice) = *voice else { continue };
            let lead = own.leading(readings, step, worn);
            for (mount, reading) in mounted(readings, step, worn) {
                if reading.clear {
                    let levels = of_voices.entry(mount).or_default();
                    levels.entry(voice).or_default().push(reading.level_db);
                }
                if let Some((lead, _)) = lead {
                    let levels = led.entry(mount).or_default();
                    levels
                        .entry((voice, lead.1))
                        .or_default()
                        .push(reading.level_db);
                }
            }
        }
    }
    let mut heard: BTreeMap<Mount, Heard> = BTreeMap::new();
    for (mount, levels) in of_voices {
        heard.entry(mount).or_default().voices = middle(levels);
    }
    for (mount, levels) in led {
        heard.entry(mount).or_default().led = middle(levels);
    }
    heard
}

/// The level of each that was heard for long enough.
fn middle<Key: Ord>(levels: BTreeMap<Key, Vec<f32>>) -> BTreeMap<Key, f32> {
    let enough = levels
        .into_iter()
        .filter(|(_, levels)| levels.len() >= FEWEST);
    enough
        .filter_map(|(key, mut levels)| Some((key, quantile(&mut levels, 0.6)?)))
        .collect()
}
