//! Who is there, and what do their voices sound like?

use std::collections::BTreeMap;

use super::cluster::cluster;
use super::kinds::{Evidence, Known, Speaker};
use super::params::VoiceParams;
use super::voice::Voice;
use super::windows::Window;

/// Speech of 2 s that is surely somebody's makes an old voice of theirs unnecessary.
const LEARNT_MS: u64 = 2_000;

/// Everybody who may speak, with the voice as far as it is known.
#[derive(Clone, Debug, Default)]
pub(super) struct People {
    /// By speaker; no voice for a wearer who was never surely heard.
    pub voices: BTreeMap<Speaker, Option<Voice>>,
}

impl People {
    /// Learns voices: first of those who are sure, then of groups of windows among
    /// the others.
    pub fn learn(
        evidence: &Evidence,
        windows: &[Window],
        wearers: &[usize],
        params: &VoiceParams,
    ) -> Self {
        let mut people = Self::default();
        for wearer in wearers {
            people.voices.insert(Speaker::Person(*wearer), None);
        }
        people.sure(windows);
        for known in evidence.known {
            let here = people.voices.entry(known.speaker).or_default();
            let learnt = here
                .as_ref()
                .is_some_and(|voice| voice.speech_ms() >= LEARNT_MS);
            if !learnt {
                *here = Some(known.voice.clone());
            }
        }
        people.others(windows, params);
        people
    }

    fn sure(&mut self, windows: &[Window]) {
        let mut parts: BTreeMap<Speaker, Vec<(&[f32], f32)>> = BTreeMap::new();
        for window in windows {
            if let Some(speaker) = window.sure {
                let part = (&window.glance.voice[..], window.speech_ms());
                parts.entry(speaker).or_default().push(part);
            }
        }
        for (speaker, parts) in parts {
            self.voices.insert(speaker, Voice::of(parts));
        }
    }

    /// Groups what is nobody's yet. A group that sounds like somebody known is theirs.
    fn others(&mut self, windows: &[Window], params: &VoiceParams) {
        let open: Vec<&Window> = windows.iter().filter(|w| w.sure.is_none()).collect();
        let voices: Vec<&[f32]> = open.iter().map(|w| &w.glance.voice[..]).collect();
        let mut groups: BTreeMap<usize, Vec<(&[f32], f32)>> = BTreeMap::new();
        for (group, window) in cluster(&voices, params.cluster).into_iter().zip(&open) {
            let part = (&window.glance.voice[..], window.speech_ms());
            groups.entry(group).or_default().push(part);
        }
        let mut found: Vec<Voice> = Vec::new();
        for parts in groups.into_values() {
            let speech_ms: f32 = parts.iter().map(|(_, ms)| ms).sum();
            found.extend(Voice::of(parts).filter(|_| speech_ms >= params.least_ms));
        }
        self.number(found, params);
    }

    /// Gives each group its name: that of the known voice it is most alike, each
    /// unnamed one once, the most alike pairs first; the next number for the others.
    fn number(&mut self, found: Vec<Voice>, params: &VoiceParams) {
        let mut pairs: Vec<(f32, usize, Speaker)> = Vec::new();
        for (n, group) in found.iter().enumerate() {
            for (speaker, voice) in &self.voices {
                let alike = voice.as_ref().map_or(0.0, |voice| voice.alike(group));
                if alike >= params.same {
                    pairs.push((alike, n, *speaker));
                }
            }
        }
        pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut named: BTreeMap<usize, Speaker> = BTreeMap::new();
        let mut taken: Vec<Speaker> = Vec::new();
        for (_, n, speaker) in pairs {
            let again = matches!(speaker, Speaker::Unnamed(_)) && taken.contains(&speaker);
            if !again && !named.contains_key(&n) {
                named.insert(n, speaker);
                taken.push(speaker);
            }
        }
        let numbers = self.voices.keys().filter_map(|speaker| match speaker {
            Speaker::Unnamed(number) => Some(*number),
            Speaker::Person(_) => None,
        });
        let mut next = numbers.max().unwrap_or(0);
        for (n, group) in found.into_iter().enumerate() {
            match named.get(&n) {
                Some(Speaker::Person(_)) => {}
                Some(speaker) => {
                    self.voices.insert(*speaker, Some(group));
                }
                None => {
                    next = next.saturating_add(1);
                    self.voices.insert(Speaker::Unnamed(next), Some(group));
                }
            }
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
