//! Who is there, and what do their voices sound like?

use std::collections::BTreeMap;

use super::groups::Groups;
use super::kinds::{Evidence, Known, Speaker};
use super::params::VoiceParams;
use super::voice::Voice;
use super::windows::{Window, by_worn};
use super::worn::Stances;

/// Speech of 2 s that is surely somebody's makes an old voice of theirs unnecessary.
const LEARNT_MS: u64 = 2_000;
/// A voice is a wearer's when so much of its time, where their microphone ran, is
/// surely theirs.
const THEIRS: f32 = 0.5;

/// So many unnamed speakers are found at once, those who speak longest.
const MOST_NEW: usize = 60;

/// Parts of a voice: windows, with the ms of speech each counts as.
type Parts<'a> = Vec<(&'a [f32], f32)>;

/// Everybody who may speak, with the voice as far as it is known.
#[derive(Clone, Debug, Default)]
pub(super) struct People {
    /// By speaker; no voice for a wearer who was never surely heard.
    pub voices: BTreeMap<Speaker, Option<Voice>>,
}

/// What one group of windows is made of.
#[derive(Default)]
struct Mixed<'a> {
    /// Windows that are somebody's.
    sure: BTreeMap<Speaker, Parts<'a>>,
    /// By wearer: speech while their microphone ran, ms.
    ran_ms: BTreeMap<usize, f32>,
    /// Windows that no microphone speaks against, nor surely for.
    even: Parts<'a>,
    /// Windows that are no wearer's.
    nobodys: Parts<'a>,
}

impl People {
    /// Learns voices: of those whose microphone or whose editor says so, then of the
    /// groups that are left.
    pub fn learn(
        evidence: &Evidence,
        windows: &[Window],
        groups: &Groups,
        stances: &[Stances],
        params: &VoiceParams,
    ) -> Self {
        let mut people = Self::default();
        for wearer in stances.iter().flat_map(|stances| &stances.wearers) {
            people.voices.entry(Speaker::Person(*wearer)).or_default();
        }
        for told in evidence.told {
            people.voices.entry(told.speaker).or_default();
        }
        let mut parts: BTreeMap<Speaker, Parts> = BTreeMap::new();
        let mut open: Vec<Parts> = Vec::new();
        for mixed in mixed(windows, groups, stances, params) {
            open.extend(mixed.shared(&mut parts));
        }
        for (speaker, parts) in parts {
            people.voices.insert(speaker, Voice::of(parts));
        }
        for known in evidence.known {
            let here = people.voices.entry(known.speaker).or_default();
            let learnt = here
                .as_ref()
                .is_some_and(|voice| voice.speech_ms() >= LEARNT_MS);
            if !learnt {
                *here = Some(known.voice.clone());
            }
        }
        people.join(open, heard_by_several(evidence), params);
        people
    }

    /// Finds out whose voices the others are, the longest first: somebody's who is
    /// known, one of those before, or a new one.
    fn join(&mut self, open: Vec<Parts>, several: bool, params: &VoiceParams) {
        let mut order: Vec<(f32, usize, Parts)> = open
            .into_iter()
            .enumerate()
            .map(|(n, parts)| (speech_ms(&parts), n, parts))
            .filter(|(ms, _, _)| *ms >= params.least_ms)
            .collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut new: Vec<(usize, Voice, Parts)> = Vec::new();
        let mut again: BTreeMap<Speaker, Parts> = BTreeMap::new();
        for (ms, n, parts) in order {
            let room = new.len() < MOST_NEW;
            let Some(voice) = Voice::of(parts.iter().copied()) else {
                continue;
            };
            let enough = params.same_from(ms, several);
            let known = self
                .most_alike(&voice)
                .filter(|(_, alike)| *alike >= enough);
            let before = new.iter_mut().map(|(first, theirs, parts)| {
                let alike = theirs.alike(&voice);
                (first, theirs, parts, alike)
            });
            let before = before
                .max_by(|a, b| a.3.total_cmp(&b.3))
                .filter(|(.., alike)| *alike >= enough);
            let nearer = known.is_some_and(|(_, alike)| {
                before.as_ref().is_none_or(|(.., other)| alike >= *other)
            });
            match (known.filter(|_| nearer), before) {
                (Some((speaker, _)), _) => again.entry(speaker).or_default().extend(parts),
                (None, Some((first, theirs, all, _))) => {
                    all.extend(parts);
                    *first = n.min(*first);
                    *theirs = Voice::of(all.iter().copied()).unwrap_or(voice);
                }
                (None, None) if room => new.push((n, voice, parts)),
                // So much is said by nobody who can be told from others.
                (None, None) => {}
            }
        }
        self.number(new);
        for (speaker, parts) in again {
            if matches!(speaker, Speaker::Unnamed(_)) {
                self.voices.insert(speaker, Voice::of(parts));
            }
        }
    }

    fn most_alike(&self, voice: &Voice) -> Option<(Speaker, f32)> {
        let known = self.voices.iter();
        let alike =
            known.filter_map(|(speaker, known)| Some((*speaker, known.as_ref()?.alike(voice))));
        alike.max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Gives the new ones numbers that nobody had, in the order of their first words.
    fn number(&mut self, mut new: Vec<(usize, Voice, Parts)>) {
        let numbers = self.voices.keys().filter_map(|speaker| match speaker {
            Speaker::Unnamed(number) => Some(*number),
            Speaker::Person(_) => None,
        });
        let mut next = numbers.max().unwrap_or(0);
        new.sort_by_key(|(first, ..)| *first);
        for (_, voice, _) in new {
            next = next.saturating_add(1);
            self.voices.insert(Speaker::Unnamed(next), Some(voice));
        }
    }

    /// Learns the voices of the unnamed again from the windows that were found to be
    /// theirs, and forgets new ones of whom nothing is left.
    pub fn again(&mut self, evidence: &Evidence, theirs: &[(Speaker, &[f32], f32)]) {
        let unnamed: Vec<Speaker> = self
            .voices
            .keys()
            .filter(|speaker| matches!(speaker, Speaker::Unnamed(_)))
            .copied()
            .collect();
        for speaker in unnamed {
            let parts = theirs.iter().filter(|(of, _, _)| *of == speaker);
            match Voice::of(parts.map(|(_, voice, ms)| (*voice, *ms))) {
                Some(voice) => {
                    self.voices.insert(speaker, Some(voice));
                }
                None if evidence.known.iter().any(|known| known.speaker == speaker) => {}
                None if evidence.told.iter().any(|told| told.speaker == speaker) => {}
                None => {
                    self.voices.remove(&speaker);
                }
            }
        }
    }

    /// To be known the next time.
    pub fn known(&self) -> Vec<Known> {
        let voices = self.voices.iter();
        voices
            .filter_map(|(speaker, voice)| {
                Some(Known {
                    speaker: *speaker,
                    voice: voice.clone()?,
                })
            })
            .collect()
    }
}

/// Whether more than one recorder was there: two files heard one stretch, while those
/// of one recorder follow each other.
fn heard_by_several(evidence: &Evidence) -> bool {
    evidence.stretches.iter().any(|stretch| {
        let mut heard = stretch.heard_by.iter();
        let first = heard.next();
        heard.any(|other| Some(other) != first)
    })
}

fn speech_ms(parts: &Parts) -> f32 {
    parts.iter().map(|(_, ms)| ms).sum()
}

/// What each group is made of, in order.
fn mixed<'a>(
    windows: &[Window<'a>],
    groups: &Groups,
    stances: &[Stances],
    params: &VoiceParams,
) -> Vec<Mixed<'a>> {
    let count = groups.of.iter().max().map_or(0, |most| most + 1);
    let mut mixed: Vec<Mixed> = (0..count).map(|_| Mixed::default()).collect();
    for (window, group) in windows.iter().zip(&groups.of) {
        let (Some(mixed), Some(stances)) = (mixed.get_mut(*group), stances.get(window.stretch))
        else {
            continue;
        };
        let part = (&window.glance.voice[..], window.speech_ms());
        if let Some(speaker) = window.told {
            mixed.sure.entry(speaker).or_default().push(part);
            continue;
        }
        let worn = by_worn(stances, window.glance);
        for (wearer, _) in &worn {
            *mixed.ran_ms.entry(*wearer).or_default() += part.1;
        }
        let mut sure = worn.iter().filter(|(_, odds)| *odds >= params.worn_sure);
        match (sure.next(), sure.next()) {
            (Some((wearer, _)), None) => {
                let speaker = Speaker::Person(*wearer);
                mixed.sure.entry(speaker).or_default().push(part);
            }
            _ if !worn.is_empty() && worn.iter().all(|(_, odds)| *odds < 0.0) => {
                mixed.nobodys.push(part);
            }
            _ => mixed.even.push(part),
        }
    }
    mixed
}

impl<'a> Mixed<'a> {
    /// Gives the windows to those whose voice it is; what is left is a group of its own.
    fn shared(mut self, parts: &mut BTreeMap<Speaker, Parts<'a>>) -> Vec<Parts<'a>> {
        let ran = |speaker: &Speaker| match speaker {
            Speaker::Person(wearer) => self.ran_ms.get(wearer).copied().unwrap_or(0.0),
            Speaker::Unnamed(_) => 0.0,
        };
        let wears = |speaker: &Speaker| ran(speaker) > 0.0;
        let mut owners: Vec<(f32, Speaker)> = Vec::new();
        let mut left: Parts = Vec::new();
        for (speaker, theirs) in &self.sure {
            let theirs_ms = speech_ms(theirs);
            if theirs_ms >= THEIRS * ran(speaker) {
                owners.push((theirs_ms, *speaker));
            }
        }
        for (speaker, theirs) in std::mem::take(&mut self.sure) {
            if owners.iter().any(|(_, owner)| *owner == speaker) {
                parts.entry(speaker).or_default().extend(theirs);
            } else {
                left.extend(theirs);
            }
        }
        match owners.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((_, owner)) => {
                let theirs = parts.entry(*owner).or_default();
                theirs.append(&mut self.even);
                if !wears(owner) {
                    theirs.append(&mut self.nobodys);
                    return vec![left];
                }
                vec![left, std::mem::take(&mut self.nobodys)]
            }
            None => {
                left.append(&mut self.even);
                left.append(&mut self.nobodys);
                vec![left]
            }
        }
    }
}
