//! From probabilities to turns, with reasons.

use super::decide::Heard;
use super::kinds::{Speaker, Stretch, Turn};
use super::listen::STEP_MS;
use super::params::VoiceParams;
use crate::units::EventMs;

/// Somebody else speaks too where their microphone reads so much more than the leading
/// wearer alone brings to it, dB, and is so near its own level, dB.
const BEYOND_DB: f32 = 6.0;
const NEAR_DB: f32 = -7.0;

/// A run of steps with the same speakers.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Run {
    from: usize,
    to: usize,
    state: usize,
    also: Option<usize>,
}

/// The turns of one stretch: they fill it, in order.
pub(super) fn of(
    number: usize,
    stretch: &Stretch,
    heard: &Heard,
    params: &VoiceParams,
) -> Vec<Turn> {
    let least = usize::try_from(params.turn_ms / STEP_MS).unwrap_or(0);
    let runs = joined(runs(heard), least);
    let count = runs.len();
    let at = |step: usize| EventMs(stretch.start.0.saturating_add(step as i64 * STEP_MS));
    let turn = |(n, run): (usize, Run)| {
        let end = if n + 1 == count {
            stretch.end
        } else {
            at(run.to)
        };
        let speaker = heard.speakers.get(run.state).copied().flatten();
        Turn {
            stretch: number,
            start: at(run.from),
            end,
            speaker,
            also: run.also.map(Speaker::Person),
            certainty: certainty(heard, &run, params),
            why: why(heard, &run, speaker),
        }
    };
    let turns = runs.into_iter().enumerate().map(turn);
    turns.filter(|turn| turn.end > turn.start).collect()
}

fn runs(heard: &Heard) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (step, row) in heard.probable.iter().enumerate() {
        let each = row.iter().enumerate();
        let state = each.max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(n, _)| n);
        let also = also(heard, step, state);
        match runs.last_mut() {
            Some(run) if run.state == state && run.also == also => run.to = step + 1,
            _ => runs.push(Run {
                from: step,
                to: step + 1,
                state,
                also,
            }),
        }
    }
    runs
}

/// The wearer who speaks beside the one who was found, if one does: the one who stands
/// out most, since others may hear that one too.
fn also(heard: &Heard, step: usize, state: usize) -> Option<usize> {
    let told = heard.told.get(step).copied().flatten();
    let speaker = heard.speakers.get(state).copied().flatten();
    let row = heard.stances.steps.get(step).filter(|_| told.is_none())?;
    let wearers = heard.stances.wearers.iter().zip(row);
    let near = wearers.filter_map(|(wearer, stands)| {
        let stands = stands.as_ref()?;
        let speaks = stands.own_db > NEAR_DB && stands.beyond_db > BEYOND_DB;
        (speaks && speaker != Some(Speaker::Person(*wearer))).then_some((stands.beyond_db, *wearer))
    });
    let most = near.max_by(|a, b| a.0.total_cmp(&b.0));
    // The one who was found must be heard too: by the own microphone.
    let found = heard.stances.wearers.iter().zip(row);
    let mut own = found.filter(|(wearer, _)| speaker == Some(Speaker::Person(**wearer)));
    let clear = own.any(|(_, stands)| stands.as_ref().is_some_and(|s| s.own_db > NEAR_DB));
    most.filter(|_| clear).map(|(_, wearer)| wearer)
}

/// Runs that are too short go to the one before, or after at the start.
fn joined(runs: Vec<Run>, least: usize) -> Vec<Run> {
    let mut joined: Vec<Run> = Vec::new();
    for run in runs {
        match joined.last_mut() {
            Some(last) if run.to - run.from < least => last.to = run.to,
            Some(last) if last.state == run.state && last.also == run.also => last.to = run.to,
            Some(last) if last.to - last.from < least => {
                *last = Run {
                    from: last.from,
                    ..run
                };
            }
            _ => joined.push(run),
        }
    }
    joined
}

/// The mean probability of the speaker over the steps that are no pauses, tempered.
fn certainty(heard: &Heard, run: &Run, params: &VoiceParams) -> f32 {
    let spoken = |step: &usize| heard.pauses.get(*step) == Some(&false);
    let probable = |step: usize| {
        let row = heard.probable.get(step)?;
        row.get(run.state).copied()
    };
    let mut steps: Vec<f32> = (run.from..run.to)
        .filter(spoken)
        .filter_map(probable)
        .collect();
    if steps.is_empty() {
        steps = (run.from..run.to).filter_map(probable).collect();
    }
    let tempered = |p: &f32| {
        let odds = (p.clamp(1e-6, 1.0 - 1e-6) / (1.0 - p.clamp(1e-6, 1.0 - 1e-6))).ln();
        1.0 / (1.0 + (-params.temper * odds).exp())
    };
    let all_told = (run.from..run.to).all(|step| heard.told.get(step).is_some_and(Option::is_some));
    if all_told {
        return 1.0;
    }
    let mean = steps.iter().map(tempered).sum::<f32>() / steps.len().max(1) as f32;
    mean.clamp(0.0, 1.0)
}

fn why(heard: &Heard, run: &Run, speaker: Option<Speaker>) -> String {
    let told = (run.from..run.to).filter(|step| heard.told.get(*step).is_some_and(Option::is_some));
    if 2 * told.count() > run.to - run.from {
        return "said by a person".to_owned();
    }
    let Some(speaker) = speaker else {
        return "like no voice that is known".to_owned();
    };
    let Speaker::Person(person) = speaker else {
        return "by voice".to_owned();
    };
    let Some(place) = heard.stances.wearers.iter().position(|w| *w == person) else {
        return "by voice".to_owned();
    };
    let steps = || (run.from..run.to).filter(|step| heard.pauses.get(*step) == Some(&false));
    let stands = |step: usize| *heard.stances.steps.get(step)?.get(place)?;
    let odds = steps().filter_map(|step| heard.stances.odds.get(step)?.get(place).copied());
    if mean(odds).is_none_or(|odds| odds <= 0.0) {
        return "by voice, not by the worn microphone".to_owned();
    }
    match mean(
        steps()
            .filter_map(stands)
            .filter_map(|stands| stands.leads_db),
    ) {
        Some(db) if db >= 1.0 => format!("worn microphone {db:.0} dB above the others"),
        Some(_) => "worn microphone at its wearer's level, and by voice".to_owned(),
        None => "the only worn microphone, at its wearer's level".to_owned(),
    }
}

fn mean(values: impl Iterator<Item = f32>) -> Option<f32> {
    let (mut sum, mut count) = (0.0, 0.0);
    for value in values {
        sum += value;
        count += 1.0;
    }
    (count > 0.0).then(|| sum / count)
}
