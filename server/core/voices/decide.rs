//! From evidence to turns.

use super::cluster::usable;
use super::groups::Groups;
use super::kinds::{Evidence, Found, Speaker, Stretch, Told};
use super::levels::{self, Readings};
use super::listen::{Glance, PAUSE_DB, STEP_MS, loud_dbfs};
use super::params::VoiceParams;
use super::path::posterior;
use super::people::People;
use super::turns::of as turns_of;
use super::voice::alike;
use super::windows::{told_at, told_in, windows};
use super::worn::{Own, Stances, Stands};
use crate::Cancel;
use crate::units::{EventMs, SILENCE_DBFS};

/// Log-odds of what a person said.
const TOLD: f32 = 60.0;
/// A pause says little about who speaks.
const IN_PAUSE: f32 = 0.2;
/// Steps between windows: what a window says is shared out over these.
const WINDOW_STEPS: f32 = 8.0;
/// A window is a speaker's from this probability on, for learning voices again.
const THEIRS: f32 = 0.8;

/// Who spoke, all day.
///
/// First what sounds alike is grouped. The group that is loudest at a worn microphone is
/// its wearer, and where the microphones are sure of a wearer, the voice is learnt.
/// Everything else goes by voice among those who are known; groups like none of them are
/// unnamed speakers. Last, both kinds of evidence together decide step by step, where a
/// change of speaker costs little in a pause and more inside speech. What people said
/// ([`Evidence::told`]) stands as they said it.
///
/// The outcome depends on nothing but the arguments. Empty turns come back when it was
/// cancelled.
#[must_use]
pub fn turns(evidence: &Evidence, params: &VoiceParams, cancel: &Cancel) -> Found {
    let read = |stretch: &Stretch| levels::read(stretch, evidence.worn);
    let readings: Vec<Readings> = evidence.stretches.iter().map(read).collect();
    let windows = windows(evidence);
    if cancel.is_cancelled() {
        return Found::default();
    }
    let groups = Groups::new(evidence, &windows, params.cluster);
    let own = Own::learn(&readings, &groups.steps, evidence.worn);
    let stances: Vec<Stances> = readings
        .iter()
        .map(|readings| own.stands(readings, evidence.worn, params))
        .collect();
    if cancel.is_cancelled() {
        return Found::default();
    }
    let mut people = People::learn(evidence, &windows, &groups, &stances, params);
    let hear = |people: &People, number: usize| {
        let (stretch, stances) = (evidence.stretches.get(number)?, stances.get(number)?);
        Some(Heard::new(evidence, stretch, stances, people, params))
    };
    let mut theirs = Vec::new();
    for (number, stretch) in evidence.stretches.iter().enumerate() {
        if cancel.is_cancelled() {
            return Found::default();
        }
        if let Some(heard) = hear(&people, number) {
            theirs.extend(heard.windows(stretch));
        }
    }
    people.again(evidence, &theirs);
    let mut found = Vec::new();
    for (number, stretch) in evidence.stretches.iter().enumerate() {
        if cancel.is_cancelled() {
            return Found::default();
        }
        if let Some(heard) = hear(&people, number) {
            found.extend(turns_of(number, stretch, &heard, params));
        }
    }
    Found {
        turns: found,
        voices: people.known(),
    }
}

/// What is heard in one stretch, step by step.
pub(super) struct Heard<'a> {
    /// The states: all of whom anything here can tell, the unknown speaker last.
    pub speakers: Vec<Option<Speaker>>,
    /// Probability of each in each step.
    pub probable: Vec<Vec<f32>>,
    /// What the microphones say.
    pub stances: &'a Stances,
    /// Who speaks because a person said so.
    pub told: Vec<Option<Speaker>>,
    /// Which steps are pauses.
    pub pauses: Vec<bool>,
}

impl<'a> Heard<'a> {
    fn new(
        evidence: &Evidence,
        stretch: &Stretch,
        stances: &'a Stances,
        people: &People,
        params: &VoiceParams,
    ) -> Self {
        let steps = levels::steps(stretch);
        let told = told_in(stretch, evidence.told);
        let mut heard = Self {
            speakers: speakers(stretch, stances, &told, people),
            pauses: pauses(stretch, steps),
            told: (0..steps as i64)
                .map(|step| {
                    let middle = (step * STEP_MS + STEP_MS / 2).saturating_add(stretch.start.0);
                    told_at(EventMs(middle), &told)
                })
                .collect(),
            probable: Vec::new(),
            stances,
        };
        let says = heard.says(stretch, people, params);
        let mut prior = vec![0.0; heard.speakers.len()];
        if let Some(unknown) = prior.last_mut() {
            *unknown = params.unknown;
        }
        let change: Vec<f32> = (0..steps).map(|step| heard.change(step, params)).collect();
        heard.probable = posterior(&says, &prior, &change);
        heard
    }

    /// Log-likelihood of each speaker in each step, against an unknown one's.
    fn says(&self, stretch: &Stretch, people: &People, params: &VoiceParams) -> Vec<Vec<f32>> {
        let steps = self.pauses.len();
        let mut says = vec![vec![0.0; self.speakers.len()]; steps];
        for glance in &stretch.listened.glances {
            self.by_voice(glance, people, params, &mut says);
        }
        for (step, row) in says.iter_mut().enumerate() {
            self.by_worn(step, row, params);
            if self.pauses.get(step) == Some(&true) {
                row.iter_mut().for_each(|said| *said *= IN_PAUSE);
            }
            let Some(told) = self.told.get(step).copied().flatten() else {
                continue;
            };
            for (said, speaker) in row.iter_mut().zip(&self.speakers) {
                *said = if *speaker == Some(told) { TOLD } else { 0.0 };
            }
        }
        says
    }

    fn by_voice(
        &self,
        glance: &Glance,
        people: &People,
        params: &VoiceParams,
        says: &mut [Vec<f32>],
    ) {
        if !usable(&glance.voice) {
            return;
        }
        let voiced = glance.voiced.clamp(0.0, 1.0);
        let odds: Vec<f32> = self
            .speakers
            .iter()
            .map(|speaker| {
                let voice = speaker.and_then(|speaker| people.voices.get(&speaker)?.as_ref());
                voice.map_or(0.0, |voice| {
                    let alike = alike(voice.mean(), &glance.voice);
                    params.voice_log_odds(alike) * voiced / WINDOW_STEPS
                })
            })
            .collect();
        let step = |ms: i64| usize::try_from(ms / STEP_MS).unwrap_or(0).min(says.len());
        let (from, to) = (step(glance.from_ms), step(glance.to_ms));
        for row in says.get_mut(from..to).unwrap_or_default() {
            row.iter_mut()
                .zip(&odds)
                .for_each(|(said, odds)| *said += odds);
        }
    }

    fn by_worn(&self, step: usize, row: &mut [f32], params: &VoiceParams) {
        let odds = self.stances.odds.get(step).map_or(&[][..], Vec::as_slice);
        for (wearer, odds) in self.stances.wearers.iter().zip(odds) {
            let state = Some(Speaker::Person(*wearer));
            if let Some(place) = self.speakers.iter().position(|s| *s == state)
                && let Some(said) = row.get_mut(place)
            {
                *said += params.worn_weight * odds;
            }
        }
    }

    /// Log-odds of a change after a step.
    fn change(&self, step: usize, params: &VoiceParams) -> f32 {
        let told = |step: usize| self.told.get(step).copied().flatten();
        let pause = |step: usize| self.pauses.get(step).copied().unwrap_or(true);
        if told(step) != told(step + 1) {
            0.0
        } else if pause(step) || pause(step + 1) {
            params.change_in_pause
        } else {
            params.change
        }
    }

    /// The windows that are one speaker's throughout.
    fn windows<'b>(&self, stretch: &Stretch<'b>) -> Vec<(Speaker, &'b [f32], f32)> {
        let glances = stretch.listened.glances.iter();
        let whose = |glance: &'b Glance| {
            let step = |ms: i64| usize::try_from(ms / STEP_MS).unwrap_or(0);
            let end = step(glance.to_ms).min(self.probable.len());
            let rows = self.probable.get(step(glance.from_ms)..end)?;
            let middle = rows.get(rows.len() / 2)?;
            let place = middle.iter().position(|p| *p >= THEIRS)?;
            let speaker = self.speakers.get(place).copied().flatten()?;
            let whole = rows
                .iter()
                .all(|row| row.get(place).is_some_and(|p| *p >= THEIRS));
            let ms = 0.5 * glance.voiced * (rows.len() as i64 * STEP_MS) as f32;
            (whole && usable(&glance.voice)).then_some((speaker, &glance.voice[..], ms))
        };
        glances.filter_map(whose).collect()
    }
}

/// Those of whom something in a stretch can tell whether they speak, then the unknown
/// speaker. Whoever else is known would be named for no other reason.
fn speakers(
    stretch: &Stretch,
    stances: &Stances,
    told: &[Told],
    people: &People,
) -> Vec<Option<Speaker>> {
    let mut glances = stretch.listened.glances.iter();
    let voices = glances.any(|glance| glance.voiced > 0.0 && usable(&glance.voice));
    let wears = |speaker: Speaker| {
        let place = |wearer: &usize| Speaker::Person(*wearer) == speaker;
        let place = stances.wearers.iter().position(place);
        let ran =
            |row: &[Option<Stands>], place: usize| row.get(place).is_some_and(Option::is_some);
        place.is_some_and(|place| stances.steps.iter().any(|row| ran(row, place)))
    };
    let all = people.voices.iter().filter(|(speaker, voice)| {
        voices && voice.is_some()
            || wears(**speaker)
            || told.iter().any(|told| told.speaker == **speaker)
    });
    let each = all.map(|(speaker, _)| Some(*speaker));
    each.chain([None]).collect()
}

/// Which steps of a stretch are pauses; all where nothing was listened to.
fn pauses(stretch: &Stretch, steps: usize) -> Vec<bool> {
    let levels = &stretch.listened.levels_dbfs;
    let loud = loud_dbfs(levels);
    let level = |step: usize| levels.get(step).copied().unwrap_or(SILENCE_DBFS);
    (0..steps)
        .map(|step| level(step) <= (loud - PAUSE_DB).max(SILENCE_DBFS))
        .collect()
}
