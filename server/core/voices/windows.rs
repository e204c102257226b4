//! What do windows of 1.6 s say before anybody knows whose voices these are?

use super::cluster::usable;
use super::kinds::{Evidence, Speaker, Stretch, Told};
use super::listen::{Glance, STEP_MS};
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
    /// The stretch it is of.
    pub stretch: usize,
    /// Who speaks because a person said so.
    pub told: Option<Speaker>,
}

impl Window<'_> {
    /// The speech it counts as, ms: its neighbours have half of it, too.
    pub fn speech_ms(&self) -> f32 {
        let length = self.glance.to_ms.saturating_sub(self.glance.from_ms);
        0.5 * self.glance.voiced.clamp(0.0, 1.0) * length.clamp(0, 1_600) as f32
    }
}

/// The windows of all stretches that have a voice, in order of time by island.
pub(super) fn windows<'a>(evidence: &Evidence<'a>) -> Vec<Window<'a>> {
    let mut order: Vec<usize> = (0..evidence.stretches.len()).collect();
    order.sort_by_key(|n| {
        let stretch = evidence.stretches.get(*n);
        stretch.map(|stretch| (stretch.island, stretch.start))
    });
    let mut all = Vec::new();
    for number in order {
        let Some(stretch) = evidence.stretches.get(number) else {
            continue;
        };
        let told = told_in(stretch, evidence.told);
        for glance in &stretch.listened.glances {
            if glance.voiced >= VOICED && usable(&glance.voice) {
                all.push(Window {
                    glance,
                    stretch: number,
                    told: told_of(stretch, glance, &told),
                });
            }
        }
    }
    all
}

/// What was said about a stretch, as far as it lies in it.
pub(super) fn told_in(stretch: &Stretch, told: &[Told]) -> Vec<Told> {
    let here = |told: &&Told| {
        told.island == stretch.island && told.from < stretch.end && stretch.start < told.to
    };
    told.iter().filter(here).copied().collect()
}

/// Who speaks at a time because a person said so.
pub(super) fn told_at(at: EventMs, told: &[Told]) -> Option<Speaker> {
    let here = told.iter().rev();
    let mut here = here.filter(|told| (told.from..told.to).contains(&at));
    here.next().map(|told| told.speaker)
}

/// Who was told to speak in most of a window, where that is one.
fn told_of(stretch: &Stretch, glance: &Glance, told: &[Told]) -> Option<Speaker> {
    let at = |ms: i64| EventMs(stretch.start.0.saturating_add(ms));
    let (from, to) = (at(glance.from_ms), at(glance.to_ms));
    let middle = at(glance.from_ms.midpoint(glance.to_ms));
    let speaker = told_at(middle, told)?;
    // Between two of these what is told does not change.
    let mut bounds: Vec<EventMs> = told.iter().flat_map(|told| [told.from, told.to]).collect();
    bounds.extend([from, to]);
    bounds.retain(|bound| (from..=to).contains(bound));
    bounds.sort_unstable();
    let parts = bounds.iter().zip(bounds.iter().skip(1));
    let covered = parts
        .filter(|(start, _)| told_at(**start, told) == Some(speaker))
        .map(|(start, end)| end.0.saturating_sub(start.0))
        .fold(0, i64::saturating_add);
    let length = to.0.saturating_sub(from.0).max(1) as f32;
    (covered as f32 >= TOLD * length).then_some(speaker)
}

/// What the worn microphones say about a window: the mean log-odds of each wearer
/// there, by their place in the list of wearers.
pub(super) fn by_worn(stances: &Stances, glance: &Glance) -> Vec<(usize, f32)> {
    let step = |ms: i64| usize::try_from(ms / STEP_MS).unwrap_or(0);
    let end = step(glance.to_ms).min(stances.steps.len());
    let from = step(glance.from_ms).min(end);
    let mut sums = vec![(0.0, 0.0); stances.wearers.len()];
    for n in from..end {
        let row = stances.steps.get(n).map_or(&[][..], Vec::as_slice);
        let odds = stances.odds.get(n).map_or(&[][..], Vec::as_slice);
        for ((sum, stands), odds) in sums.iter_mut().zip(row).zip(odds) {
            if stands.is_some() {
                *sum = (sum.0 + odds, sum.1 + 1.0);
            }
        }
    }
    let each = stances.wearers.iter().zip(sums);
    let ran = each.filter(|(_, (_, count))| 2.0 * count > (end - from) as f32);
    ran.map(|(wearer, (sum, count))| (*wearer, sum / count))
        .collect()
}
