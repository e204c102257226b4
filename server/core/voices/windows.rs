//! Which windows of 1.6 s are surely whose, and whose might the others be?

use super::cluster::usable;
use super::kinds::{Evidence, Speaker, Stretch, Told};
use super::listen::{Glance, STEP_MS};
use super::params::VoiceParams;
use super::worn::Stances;
use crate::units::EventMs;

/// A window must be so much speech to say anything about a voice.
const VOICED: f32 = 0.4;
/// What is told must cover so much of a window.
const TOLD: f32 = 0.9;

/// One window.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window<'a> {
    /// Its voice, and how much of it is speech.
    pub glance: &'a Glance,
    /// Who surely speaks.
    pub sure: Option<Speaker>,
}

impl Window<'_> {
    /// The speech it counts as, ms: its neighbours have half of it, too.
    pub fn speech_ms(&self) -> f32 {
        let length = self.glance.to_ms.saturating_sub(self.glance.from_ms);
        0.5 * self.glance.voiced.clamp(0.0, 1.0) * length.clamp(0, 1_600) as f32
    }
}

/// The windows of all stretches that have a voice, in order of time by island.
pub(super) fn windows<'a>(
    evidence: &Evidence<'a>,
    stances: &[Stances],
    params: &VoiceParams,
) -> Vec<Window<'a>> {
    let mut order: Vec<usize> = (0..evidence.stretches.len()).collect();
    order.sort_by_key(|n| {
        let stretch = evidence.stretches.get(*n);
        stretch.map(|stretch| (stretch.island, stretch.start))
    });
    let mut all = Vec::new();
    for number in order {
        let (Some(stretch), Some(stances)) = (evidence.stretches.get(number), stances.get(number))
        else {
            continue;
        };
        for glance in &stretch.listened.glances {
            if glance.voiced < VOICED || !usable(&glance.voice) {
                continue;
            }
            let told = told_of(stretch, glance, evidence.told);
            all.push(Window {
                glance,
                sure: told.or_else(|| worn(stances, glance, params)),
            });
        }
    }
    all
}

/// Who speaks at a time because a person said so.
pub(super) fn told_at(stretch: &Stretch, at: EventMs, told: &[Told]) -> Option<Speaker> {
    let here = told
        .iter()
        .rev()
        .find(|told| told.island == stretch.island && (told.from..told.to).contains(&at));
    here.map(|told| told.speaker)
}

fn told_of(stretch: &Stretch, glance: &Glance, told: &[Told]) -> Option<Speaker> {
    let at = |ms: i64| EventMs(stretch.start.0.saturating_add(ms));
    let length = glance.to_ms.saturating_sub(glance.from_ms).max(1) as f32;
    let middle = glance.from_ms.midpoint(glance.to_ms);
    let speaker = told_at(stretch, at(middle), told)?;
    let covered: i64 = told
        .iter()
        .filter(|told| told.island == stretch.island && told.speaker == speaker)
        .map(|told| {
            let from = told.from.max(at(glance.from_ms));
            told.to
                .min(at(glance.to_ms))
                .0
                .saturating_sub(from.0)
                .max(0)
        })
        .fold(0, i64::saturating_add);
    (covered as f32 >= TOLD * length).then_some(speaker)
}

/// Who speaks because the microphones say so, throughout.
fn worn(stances: &Stances, glance: &Glance, params: &VoiceParams) -> Option<Speaker> {
    let step = |ms: i64| usize::try_from(ms / STEP_MS).unwrap_or(0);
    let (from, to) = (
        step(glance.from_ms),
        step(glance.to_ms).min(stances.steps.len()),
    );
    let rows: Vec<Vec<f32>> = (from..to).map(|n| stances.log_odds(n, params)).collect();
    let count = rows.len().max(1) as f32;
    let speaks = |wearer: usize| {
        let of = |row: &Vec<f32>| row.get(wearer).copied().unwrap_or(0.0);
        let mean = rows.iter().map(of).sum::<f32>() / count;
        let against = rows.iter().filter(|row| of(row) < 0.0).count() as f32;
        mean >= params.worn_sure && against < 0.2 * count
    };
    let mut sure = (0..stances.wearers.len()).filter(|wearer| speaks(*wearer));
    match (sure.next(), sure.next()) {
        (Some(wearer), None) => stances.wearers.get(wearer).map(|n| Speaker::Person(*n)),
        _ => None,
    }
}
