//! A day on which everything goes wrong that may.

use std::collections::BTreeSet;

use super::{another_event, take};
use crate::scene::day::corpus::{Corpus, VOICES};
use crate::scene::day::spec::{Bed, BedSound, Day, Ear, Part, Said, Stop};
use crate::scene::spec::Place;

/// A good recorder in the room; the next take is another.
pub const GOOD: usize = 0;
/// Of another event.
pub const ELSEWHERE: usize = 2;
/// In the room; it stopped inside its file, see [`STOP`].
pub const STOPS: usize = 3;
/// In the room; it runs 2 % fast, and its header says what it should be.
pub const WRONG_RATE: usize = 4;
/// In an empty room.
pub const CELLAR: usize = 5;
/// In a house of its own; ten seconds of the room's applause are heard there.
pub const APPLAUSE: usize = 6;
/// In the room, the first two minutes.
pub const EARLY: usize = 7;
/// In the room, from a minute after the last one ended.
pub const LATE: usize = 8;
/// One second of talk.
pub const SECOND_IN_TALK: usize = 9;
/// One second before anybody spoke.
pub const SECOND_BEFORE: usize = 10;
/// The first once more, 12 dB softer.
pub const SOFTER: usize = 11;
/// How many there are.
pub const TAKES: usize = 12;

/// When, and what of the event it missed.
pub const STOP: Stop = Stop {
    at_s: 190.0,
    lost_s: 7.25,
};

/// Five minutes of talk, and in their middle applause.
#[must_use]
pub fn day(seed: u64, corpus: &Corpus) -> Day {
    let mut day = another_event(seed, corpus);
    // They say other things there: the same synthetic sentence would be the same
    // sound, as when a recording is played back.
    let here: BTreeSet<usize> = said_in_room(&day).map(|said| said.utterance).collect();
    day.said
        .retain(|said| said.speaker < VOICES || !here.contains(&said.utterance));
    let in_room = |x, y| Place::new("room", x, y);
    let add = |day: &mut Day, source, place, start_s, end_s| {
        day.takes.push(take(source, place, start_s, end_s));
    };
    add(&mut day, 3, in_room(2.0, 1.0), 0.0, 300.0);
    day.takes[STOPS].stops = vec![STOP];
    add(&mut day, 4, in_room(1.0, -2.0), 0.0, 300.0);
    day.takes[WRONG_RATE].pace *= 48_960.0 / 48_000.0;
    add(&mut day, 5, Place::new("cellar", 0.0, 0.0), 0.0, 300.0);
    let house = Place::new("house", 0.0, 2.0);
    add(&mut day, 6, house.clone(), 0.0, 300.0);
    day.takes[APPLAUSE].ear = Ear::At(vec![house.clone(), in_room(0.0, 8.0), house]);
    let part = day.parts.remove(0);
    day.parts = [0.0, 149.0, 162.0]
        .map(|start_s| Part {
            start_s,
            ..part.clone()
        })
        .into();
    day.beds = vec![Bed {
        sound: BedSound::Applause,
        start_s: 150.0,
        length_s: 10.0,
        place: in_room(0.0, 1.0),
        level_db: 8.0,
    }];
    day.said
        .retain(|said| said.start_s < 135.0 || said.start_s > 165.0);
    add(&mut day, 7, in_room(-2.0, 1.0), 0.0, 120.0);
    add(&mut day, 8, in_room(-1.0, 2.0), 180.0, 300.0);
    add(&mut day, 9, in_room(1.0, 1.0), 100.0, 101.0);
    add(&mut day, 9, in_room(1.0, 1.0), 0.0, 1.0);
    let mut softer = day.takes[GOOD].clone();
    softer.copy_of = Some((GOOD, -12.0));
    day.takes.push(softer);
    day
}

fn said_in_room(day: &Day) -> impl Iterator<Item = &Said> {
    day.said.iter().filter(|said| said.speaker < VOICES)
}
