//! Which days must not fool the clock?
//!
//! Short days, one for each thing that goes wrong; who reads them knows from
//! the doc what the right answer is.

pub mod bad_day;

use super::chance::talk;
use super::corpus::{Corpus, VOICES};
use super::spec::{Bed, BedSound, Day, Ear, Part, Said, Stop, Take};
use crate::scene::noise::NoiseKind;
use crate::scene::random::Random;
use crate::scene::spec::{Place, RoomSpec};

/// Two recorders in one room where people talk, for `length_s`: what the other
/// days are made of.
#[must_use]
pub fn plain(seed: u64, length_s: f64, corpus: &Corpus) -> Day {
    let mut random = Random::new(seed, "case");
    let parts = vec![Part {
        start_s: 0.0,
        places: (0..VOICES)
            .map(|n| Place::new("room", n as f64 - 1.5, random.between(-1.0, 1.0)))
            .collect(),
    }];
    let said = talk(&parts, length_s, corpus, &mut random);
    let takes = vec![
        take(0, Place::new("room", 0.0, 2.0), 0.0, length_s),
        take(1, Place::new("room", -2.0, -2.0), 0.0, length_s),
    ];
    Day {
        seed,
        length_s,
        parts,
        said,
        beds: Vec::new(),
        takes,
    }
}

/// A good recorder that stays where it is.
#[must_use]
pub fn take(source: usize, place: Place, start_s: f64, end_s: f64) -> Take {
    Take {
        source,
        ear: Ear::At(vec![place]),
        start_s,
        end_s,
        pace: 1.0 + [12e-6, -31e-6, 47e-6, -8e-6][source % 4],
        stops: Vec::new(),
        level_dbfs: -26.0,
        snr_db: 20.0,
        noise: NoiseKind::Pink,
        room: RoomSpec {
            critical_m: 3.0,
            rt60_s: 0.4,
        },
        stamp_s: None,
        copy_of: None,
    }
}

/// The second recorder loses 7.25 s after four minutes, and 0.3 s near the end
/// of the eighth: one clock before, between and behind.
#[must_use]
pub fn stops_inside(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 720.0, corpus);
    let stop = |at_s, lost_s| Stop { at_s, lost_s };
    day.takes[1].stops = vec![stop(240.0, 7.25), stop(470.0, 0.3)];
    day
}

/// The second recorder's file says 48 kHz and was made at `rate_hz`: 44,100 is
/// read 8.8 % fast, 48,960 (a device that runs 2 % fast) 2 % slow. A third
/// recorder is as right as the first.
#[must_use]
pub fn wrong_rate(seed: u64, rate_hz: f64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 420.0, corpus);
    day.takes[1].pace *= rate_hz / 48_000.0;
    // Two against one: who is wrong can be told.
    day.takes
        .push(take(2, Place::new("room", 2.0, 1.0), 0.0, 420.0));
    day
}

/// A third file is the first again, 12 dB down, on the same recorder.
#[must_use]
pub fn safety_copy(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 240.0, corpus);
    let mut copy = day.takes[0].clone();
    copy.copy_of = Some((0, -12.0));
    day.takes.push(copy);
    day
}

/// One song of two minutes is played early and again late; a recorder heard it
/// only the first time, the other only the second, and each heard its own talk
/// for eleven minutes around it. They share no instant.
#[must_use]
pub fn song_twice(seed: u64, corpus: &Corpus) -> Day {
    let songs_s = [400.0, 1_240.0];
    let mut day = plain(seed, 1_640.0, corpus);
    day.beds = songs_s.map(|start_s| song(seed, start_s, 120.0)).into();
    day.said.retain(|said| {
        let apart = |song_s: f64| said.start_s > song_s + 120.0 || said.start_s < song_s - 12.0;
        songs_s.into_iter().all(apart)
    });
    day.takes[0].end_s = 800.0;
    day.takes[1].start_s = 840.0;
    day
}

/// A loop of 16 s plays for five minutes and nobody speaks; the second recorder
/// starts two minutes in. Every multiple of 16 s fits.
#[must_use]
pub fn looped(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 300.0, corpus);
    day.said.clear();
    day.beds = (0..18)
        .map(|n| song(seed, 6.0 + 16.0 * f64::from(n), 16.0))
        .collect();
    day.takes[1].start_s = 120.0;
    day.takes[1].end_s = 220.0;
    day
}

/// Two places: the recorders share nothing but ten seconds of applause, heard
/// in both (as through an open door).
#[must_use]
pub fn applause_only(seed: u64, corpus: &Corpus) -> Day {
    let mut day = two_houses(seed, corpus);
    let clap = |room: &str| Bed {
        sound: BedSound::Applause,
        start_s: 150.0,
        length_s: 10.0,
        place: Place::new(room, 0.0, 1.0),
        level_db: 8.0,
    };
    day.beds = vec![clap("room")];
    // The second hears the first's room for that moment alone.
    day.parts = vec![
        day.parts[0].clone(),
        Part {
            start_s: 149.0,
            ..day.parts[0].clone()
        },
        Part {
            start_s: 162.0,
            ..day.parts[0].clone()
        },
    ];
    day.said
        .retain(|said| said.start_s < 135.0 || said.start_s > 165.0);
    let (house, room) = (Place::new("house", 0.0, 2.0), Place::new("room", 0.0, 8.0));
    day.takes[1].ear = Ear::At(vec![house.clone(), room, house]);
    day
}

/// Bride and groom in different houses at the same time, a recorder in each:
/// nothing is shared.
#[must_use]
pub fn two_houses(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 300.0, corpus);
    for place in &mut day.parts[0].places[..VOICES / 2] {
        place.room = "house".to_owned();
    }
    let mut random = Random::new(seed, "houses");
    day.said = talk(&day.parts, 300.0, corpus, &mut random);
    day.takes[1].ear = Ear::At(vec![Place::new("house", 0.0, 2.0)]);
    day
}

/// A third recorder is of another event; nothing of it was heard here.
#[must_use]
pub fn another_event(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 300.0, corpus);
    let other = plain(seed + 1_000, 300.0, corpus);
    // The others' talk, in a room of its own, by the same voices.
    let count = day.parts[0].places.len();
    let away = other.parts[0].places.iter().map(|place| Place {
        room: "elsewhere".to_owned(),
        ..place.clone()
    });
    day.parts[0].places.extend(away);
    day.said.extend(other.said.iter().map(|said| Said {
        speaker: said.speaker + count,
        speed: said.speed * 1.01,
        ..*said
    }));
    day.said.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    day.takes
        .push(take(2, Place::new("elsewhere", 0.0, 2.0), 0.0, 300.0));
    day
}

/// A third recorder ran for an hour in an empty room.
#[must_use]
pub fn silent_hour(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 300.0, corpus);
    day.takes
        .push(take(2, Place::new("cellar", 0.0, 0.0), 0.0, 3600.0));
    day
}

/// Beside two good recorders, files of one second: one while somebody speaks,
/// one before anybody did.
#[must_use]
pub fn one_second(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 240.0, corpus);
    for at_s in [100.0, 0.0] {
        let place = Place::new("room", 1.0, 1.0);
        day.takes.push(take(2, place, at_s, at_s + 1.0));
    }
    day
}

/// Beside two good recorders, `count` files of `length_s` all through the talk, as
/// of a camera that was switched on for a moment.
#[must_use]
pub fn clips(seed: u64, count: usize, length_s: f64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 400.0, corpus);
    for n in 0..count {
        let place = Place::new("room", 1.0, 1.0);
        let at_s = 10.0 + n as f64 * 370.0 / count as f64;
        day.takes.push(take(2, place, at_s, at_s + length_s));
    }
    day
}

/// The second recorder starts a minute after the first has ended; a third ran
/// through: one clock, and a negative overlap.
#[must_use]
pub fn after_one_another(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 480.0, corpus);
    day.takes[0].end_s = 210.0;
    day.takes[1].start_s = 270.0;
    day.takes
        .push(take(2, Place::new("room", 1.0, -2.0), 0.0, 480.0));
    day
}

/// Stamps that lie: the second recorder says it started 37 minutes after the
/// first, which is not so.
#[must_use]
pub fn lying_stamps(seed: u64, corpus: &Corpus) -> Day {
    let mut day = plain(seed, 240.0, corpus);
    // One source, so that its stamps are compared.
    day.takes[1].source = 0;
    day.takes[0].stamp_s = Some(0.0);
    day.takes[1].stamp_s = Some(2_220.0);
    day
}

fn song(seed: u64, start_s: f64, length_s: f64) -> Bed {
    Bed {
        sound: BedSound::Song(seed),
        start_s,
        length_s,
        place: Place::new("room", -3.0, 3.0),
        level_db: 0.0,
    }
}
