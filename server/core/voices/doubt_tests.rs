//! Nobody is named for whom nothing speaks.

use super::tests::{Scene, levels, listened, talk, track};
use super::weights::WIDTH;
use super::*;
use crate::Cancel;
use crate::clock::{Placement, Track};
use crate::units::EventMs;

/// Stretches one after the other, each with the recordings that heard it; person n
/// wears recording n where there is a track for it.
fn found(heard: &[(&[usize], &Listened)], tracks: &[Track], known: &[Known]) -> Found {
    let placement = Placement::even(0.0, 0.0);
    let wearers: Vec<Vec<(EventMs, usize)>> =
        (0..tracks.len()).map(|n| vec![(EventMs(0), n)]).collect();
    let mics = tracks.iter().zip(&wearers).enumerate();
    let worn: Vec<Worn> = mics
        .map(|(n, (track, wearers))| Worn {
            recording: n,
            placement: &placement,
            island: 0,
            track,
            gain: n,
            wearers,
        })
        .collect();
    let mut start = EventMs(0);
    let mut stretches = Vec::new();
    for (heard_by, listened) in heard {
        let end = EventMs(start.0 + 100 * listened.levels_dbfs.len() as i64);
        stretches.push(Stretch {
            island: 0,
            start,
            end,
            heard_by,
            listened,
        });
        start = end;
    }
    let evidence = Evidence {
        stretches: &stretches,
        worn: &worn,
        known,
        told: &[],
    };
    turns(&evidence, &VoiceParams::default(), &Cancel::new())
}

/// Only levels, as without a voice model.
fn unheard(seconds: usize) -> Listened {
    Listened {
        levels_dbfs: vec![-25.0; 10 * seconds],
        ..Listened::default()
    }
}

fn speakers(found: &Found, stretch: usize) -> Vec<Option<Speaker>> {
    let turns = found.turns.iter().filter(|turn| turn.stretch == stretch);
    turns.map(|turn| turn.speaker).collect()
}

#[test]
fn the_only_one_who_is_known_is_not_named_unheard() {
    let voice = &listened(&[3; 4]).glances[0].voice;
    let known = Known {
        speaker: Speaker::Person(3),
        voice: Voice::of([(&voice[..], 9_000.0)]).unwrap(),
    };
    let found = found(&[(&[], &unheard(4))], &[], &[known]);
    assert_eq!(speakers(&found, 0), [None], "{:?}", found.turns);
}

#[test]
fn a_wearer_whose_microphone_was_elsewhere_is_not_named_unheard() {
    let (talks, elsewhere) = (unheard(10), unheard(5));
    let mut seconds = vec![-30.0; 10];
    seconds.extend([-80.0; 5]);
    let found = found(
        &[(&[0], &talks), (&[7], &elsewhere)],
        &[track(&seconds)],
        &[],
    );
    assert_eq!(speakers(&found, 0), [Some(Speaker::Person(0))]);
    assert_eq!(speakers(&found, 1), [None], "{:?}", found.turns);
}

#[test]
fn of_two_wearers_the_unheard_one_is_not_named_for_a_stranger() {
    // Each speaks for ten seconds; then the first microphone alone hears somebody far.
    let (talks, far) = (unheard(20), unheard(5));
    let first = [[-30.0; 10], [-50.0; 10]].concat();
    let first = [&first[..], &[-55.0; 5]].concat();
    let second = [[-50.0; 10], [-30.0; 10]].concat();
    let second = [&second[..], &[-80.0; 5]].concat();
    let tracks = [track(&first), track(&second)];
    let found = found(&[(&[0, 1], &talks), (&[0], &far)], &tracks, &[]);
    assert_eq!(speakers(&found, 1), [None], "{:?}", found.turns);
}

/// Windows of 1.6 s of a voice that is not much like itself.
fn hoarse(axis: usize, seconds: usize, first: usize) -> Listened {
    let mut heard = listened(&vec![0; seconds]);
    for (n, glance) in heard.glances.iter_mut().enumerate() {
        glance.voice = vec![0.0; WIDTH];
        glance.voice[axis] = 0.1_f32.sqrt();
        glance.voice[200] = 0.62_f32.sqrt();
        glance.voice[first + n] = 0.28_f32.sqrt();
    }
    heard
}

#[test]
fn two_files_of_one_recorder_are_one_recorder() {
    let (one, other) = (hoarse(1, 5, 20), hoarse(2, 5, 40));
    let count = |heard: &[(&[usize], &Listened)]| found(heard, &[], &[]).voices.len();
    assert_eq!(count(&[(&[0, 1], &one), (&[0, 1], &other)]), 1);
    assert_eq!(count(&[(&[0], &one), (&[0], &other)]), 2);
    assert_eq!(count(&[(&[0], &one), (&[1], &other)]), 2);
}

#[test]
fn of_three_wearers_the_one_who_speaks_too_is_named() {
    // Ten seconds each, twice; then the first and the last at once, while the second,
    // who says nothing, reads more of the last than ever of the first.
    let mut seconds = talk(&[0, 1, 2]);
    let mut mics = [
        levels(&seconds, |person| [-30.0, -50.0, -50.0][person]),
        levels(&seconds, |person| [-50.0, -30.0, -36.0][person]),
        levels(&seconds, |person| [-50.0, -36.0, -30.0][person]),
    ];
    seconds.extend([0; 10]);
    for (mic, db) in mics.iter_mut().zip([-30.0, -36.0, -31.0]) {
        mic.extend([db; 10]);
    }
    let worn: Vec<(usize, Vec<f32>)> = mics.into_iter().enumerate().collect();
    let found = Scene::new(&seconds, &worn).found(&[], &[]);
    let also: Vec<Option<Speaker>> = found
        .turns
        .iter()
        .filter_map(|t| t.also.map(Some))
        .collect();
    assert!(!also.is_empty());
    assert!(
        also.iter().all(|also| *also == Some(Speaker::Person(2))),
        "{:#?}",
        found.turns
    );
}

/// Half of a window that was told twice is still half.
#[test]
fn what_is_told_twice_covers_no_more() {
    let heard = listened(&[5; 4]);
    let stretch = Stretch {
        island: 0,
        start: EventMs(0),
        end: EventMs(4_000),
        heard_by: &[],
        listened: &heard,
    };
    let told = |from, to, person| Told {
        island: 0,
        from: EventMs(from),
        to: EventMs(to),
        speaker: Speaker::Person(person),
    };
    let whose = |told: &[Told]| {
        let evidence = Evidence {
            stretches: &[stretch],
            told,
            ..Evidence::default()
        };
        windows::windows(&evidence)[0].told
    };
    let (half, whole) = (told(0, 900, 7), told(0, 1_600, 7));
    assert_eq!(whose(&[half]), None);
    assert_eq!(whose(&[half, half]), None);
    assert_eq!(whose(&[whole]), Some(Speaker::Person(7)));
    assert_eq!(
        whose(&[told(0, 800, 7), told(800, 1_600, 7)]),
        Some(Speaker::Person(7))
    );
    // Who is told later counts.
    assert_eq!(whose(&[whole, told(0, 600, 8)]), None);
}
