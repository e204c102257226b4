//! Microphones as people really wear them: close together, two at once, switched off.

use super::tests::{Scene, levels, talk, wrong_s};
use super::*;
use crate::units::EventMs;

/// Persons 0 and 1 wear a microphone, others don't.
fn wearers_or_unnamed(seconds: &[usize]) -> impl Fn(usize) -> Option<Speaker> {
    move |second| match seconds.get(second)? {
        person @ (0 | 1) => Some(Speaker::Person(*person)),
        _ => Some(Speaker::Unnamed(1)),
    }
}

#[test]
fn somebody_who_stands_by_a_wearer_is_not_the_wearer() {
    // Number 2 reads 5 dB less at the first microphone than its wearer.
    let seconds = talk(&[2, 0, 1, 2]);
    let first = levels(&seconds, |person| [-30.0, -47.0, -35.0][person]);
    let second = levels(&seconds, |person| [-46.0, -28.0, -50.0][person]);
    let found = Scene::new(&seconds, &[(0, first), (1, second)]).found(&[], &[]);
    let wrong = wrong_s(&found, wearers_or_unnamed(&seconds));
    assert!(wrong <= 4.0, "{wrong} s: {:#?}", found.turns);
}

#[test]
fn two_who_embrace_are_still_two() {
    // Each microphone reads the other person hardly less, one of them not at all less.
    let seconds = talk(&[0, 1]);
    let first = levels(&seconds, |person| [-30.0, -36.0][person]);
    let second = levels(&seconds, |person| [-32.0, -32.0][person]);
    let found = Scene::new(&seconds, &[(0, first), (1, second)]).found(&[], &[]);
    let wrong = wrong_s(&found, wearers_or_unnamed(&seconds));
    assert!(wrong <= 2.5, "{wrong} s: {:#?}", found.turns);
}

#[test]
fn whoever_wears_two_microphones_is_one_person() {
    // Number 2 stands nearer to the second.
    let seconds = talk(&[0, 2, 0, 2]);
    let first = levels(&seconds, |person| [-30.0, -60.0, -42.0][person]);
    let second = levels(&seconds, |person| [-35.0, -60.0, -38.0][person]);
    let found = Scene::new(&seconds, &[(0, first), (0, second)]).found(&[], &[]);
    let wrong = wrong_s(&found, wearers_or_unnamed(&seconds));
    assert!(wrong <= 4.0, "{wrong} s: {:#?}", found.turns);
    assert!(found.turns.iter().all(|turn| turn.also.is_none()));
}

#[test]
fn a_wearer_who_says_nothing_is_given_nothing() {
    let seconds = talk(&[1, 2]);
    let first = levels(&seconds, |person| [-30.0, -42.0, -50.0][person]);
    let second = levels(&seconds, |person| [-42.0, -27.0, -44.0][person]);
    let found = Scene::new(&seconds, &[(0, first), (1, second)]).found(&[], &[]);
    let given = |turn: &&Turn| turn.speaker == Some(Speaker::Person(0));
    assert_eq!(
        found.turns.iter().filter(given).count(),
        0,
        "{:#?}",
        found.turns
    );
}

#[test]
fn after_the_microphone_is_switched_off_the_voice_goes_on() {
    let seconds = talk(&[0, 1]);
    let all = levels(&seconds, |person| [-30.0, -44.0][person]);
    let found = Scene::new(&seconds, &[(0, all[..20].to_vec())]).found(&[], &[]);
    let wanted = |second: usize| match seconds.get(second)? {
        0 => Some(Speaker::Person(0)),
        _ => Some(Speaker::Unnamed(1)),
    };
    assert!(wrong_s(&found, wanted) <= 2.5, "{:#?}", found.turns);
    let late = found
        .turns
        .iter()
        .find(|turn| turn.start >= EventMs(21_000));
    assert_eq!(late.map(|turn| turn.why.as_str()), Some("by voice"));
}

#[test]
fn a_microphone_whose_wearer_nobody_knows_says_nothing() {
    let seconds = talk(&[5, 3]);
    let mut scene = Scene::new(&seconds, &[(0, levels(&seconds, |_| -30.0))]);
    scene.worn[0].0.clear();
    let without = Scene::new(&seconds, &[]).found(&[], &[]);
    assert_eq!(scene.found(&[], &[]), without);
}
