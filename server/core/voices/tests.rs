//! Made-up levels and made-up voices whose speakers are known.

use proptest::prelude::*;

use super::weights::WIDTH;
use super::*;
use crate::Cancel;
use crate::clock::{FRAME_MS, Placement, TRACK_BANDS, Track};
use crate::units::EventMs;

/// A voice of its own for each number: an axis, a common part as real voices have,
/// and a little that changes from window to window.
fn voice(person: usize, window: usize) -> Vec<f32> {
    let mut voice = vec![0.0_f32; WIDTH];
    voice[person % 50] = 0.75;
    voice[200] = 0.55;
    voice[60 + window % 40] = 0.35;
    let length = voice.iter().map(|x| x * x).sum::<f32>().sqrt();
    voice.iter_mut().for_each(|x| *x /= length);
    voice
}

/// Who speaks in each second.
pub(super) fn listened(seconds: &[usize]) -> Listened {
    let length_ms = seconds.len() as i64 * 1_000;
    let starts = (0..)
        .map(|n| n * 800)
        .take_while(|from| from + 1_600 <= length_ms);
    let glance = |(n, from_ms): (usize, i64)| Glance {
        from_ms,
        to_ms: from_ms + 1_600,
        voiced: 1.0,
        voice: voice(seconds[(from_ms as usize + 800) / 1_000], n),
    };
    Listened {
        glances: starts.enumerate().map(glance).collect(),
        levels_dbfs: vec![-25.0; seconds.len() * 10],
    }
}

/// A track whose levels, dBFS in all bands together, are those of its seconds.
pub(super) fn track(seconds: &[f32]) -> Track {
    let mut bytes = vec![1, TRACK_BANDS as u8];
    let frames = seconds.len() * 25;
    bytes.extend(((frames as f64 * FRAME_MS) as u64 * 16).to_le_bytes());
    for frame in 0..frames {
        // A twelfth of the power in each band; every tenth frame is a pause.
        let db = if frame % 10 == 0 {
            -85.0
        } else {
            seconds[frame / 25]
        };
        let step = ((db - 10.8 + 120.0) * 2.0).round().clamp(0.0, 255.0);
        bytes.extend([step as u8; TRACK_BANDS]);
    }
    Track::from_bytes(&bytes).unwrap()
}

/// One stretch; each worn recording by its wearer and its levels.
pub(super) struct Scene {
    pub listened: Listened,
    pub worn: Vec<(Vec<(EventMs, usize)>, Track)>,
    end: EventMs,
}

impl Scene {
    pub fn new(seconds: &[usize], worn: &[(usize, Vec<f32>)]) -> Self {
        Self {
            listened: listened(seconds),
            worn: worn
                .iter()
                .map(|(wearer, levels)| (vec![(EventMs(0), *wearer)], track(levels)))
                .collect(),
            end: EventMs(seconds.len() as i64 * 1_000),
        }
    }

    pub fn found(&self, known: &[Known], told: &[Told]) -> Found {
        let placement = Placement::even(0.0, 0.0);
        let heard_by: Vec<usize> = (0..self.worn.len()).collect();
        let mics = self.worn.iter().enumerate();
        let worn: Vec<Worn> = mics
            .map(|(recording, (wearers, track))| Worn {
                recording,
                placement: &placement,
                island: 0,
                track,
                gain: recording,
                wearers,
            })
            .collect();
        let stretch = Stretch {
            island: 0,
            start: EventMs(0),
            end: self.end,
            heard_by: &heard_by,
            listened: &self.listened,
        };
        let evidence = Evidence {
            stretches: &[stretch],
            worn: &worn,
            known,
            told,
        };
        let found = turns(&evidence, &VoiceParams::default(), &Cancel::new());
        filled(&found, &[stretch]);
        found
    }
}

/// Turns fill their stretches, in order.
fn filled(found: &Found, stretches: &[Stretch]) {
    for (number, stretch) in stretches.iter().enumerate() {
        let turns: Vec<&Turn> = found.turns.iter().filter(|t| t.stretch == number).collect();
        if stretch.end > stretch.start {
            assert_eq!(turns.first().map(|t| t.start), Some(stretch.start));
            assert_eq!(turns.last().map(|t| t.end), Some(stretch.end));
        } else {
            assert!(turns.is_empty());
        }
        assert!(
            turns
                .iter()
                .all(|t| t.start < t.end && (0.0..=1.0).contains(&t.certainty))
        );
        assert!(turns.windows(2).all(|two| two[0].end == two[1].start));
    }
}

/// Seconds for which the speaker is not the wanted one.
pub(super) fn wrong_s(found: &Found, wanted: impl Fn(usize) -> Option<Speaker>) -> f64 {
    let wrong = |turn: &Turn| {
        let steps = (turn.start.0..turn.end.0).step_by(100);
        steps
            .filter(|ms| wanted(*ms as usize / 1_000) != turn.speaker)
            .count()
    };
    found.turns.iter().map(wrong).sum::<usize>() as f64 / 10.0
}

/// Ten seconds each of the people, in turn, twice.
pub(super) fn talk(people: &[usize]) -> Vec<usize> {
    let once = people.iter().flat_map(|person| vec![*person; 10]);
    once.clone().chain(once).collect()
}

/// What the microphone of `wearer` reads: so loud for each speaker.
pub(super) fn levels(seconds: &[usize], db: impl Fn(usize) -> f32) -> Vec<f32> {
    seconds.iter().map(|person| db(*person)).collect()
}

#[test]
fn worn_microphones_tell_two_wearers_and_somebody_else_apart() {
    // Persons 0 and 1 wear one, 12 dB apart at each, at gains that differ by 9 dB;
    // number 2 stands to one side and wears none.
    let seconds = talk(&[0, 1, 2]);
    let first = levels(&seconds, |person| [-30.0, -42.0, -46.0][person]);
    let second = levels(&seconds, |person| [-51.0, -39.0, -54.0][person]);
    let found = Scene::new(&seconds, &[(0, first), (1, second)]).found(&[], &[]);
    let wanted = |second: usize| match seconds[second] {
        2 => Some(Speaker::Unnamed(1)),
        person => Some(Speaker::Person(person)),
    };
    assert!(wrong_s(&found, wanted) <= 2.5, "{:#?}", found.turns);
    assert!(
        found.turns[0].why.starts_with("worn microphone 12 dB"),
        "{}",
        found.turns[0].why
    );
    assert!(found.turns[0].certainty > 0.8);
    assert_eq!(found.voices.len(), 3);
}

#[test]
fn without_microphones_speakers_are_numbered_as_they_appear() {
    let seconds = talk(&[5, 3]);
    let scene = Scene::new(&seconds, &[]);
    let found = scene.found(&[], &[]);
    let wanted = |second: usize| Some(Speaker::Unnamed(if seconds[second] == 5 { 1 } else { 2 }));
    assert!(wrong_s(&found, wanted) <= 2.5, "{:#?}", found.turns);
    // Run again with somebody else before them: they keep their numbers.
    let mut more = vec![9; 10];
    more.extend(&seconds);
    let again = Scene::new(&more, &[]).found(&found.voices, &[]);
    let wanted = |second: usize| {
        let number = match more[second] {
            5 => 1,
            3 => 2,
            _ => 3,
        };
        Some(Speaker::Unnamed(number))
    };
    assert!(wrong_s(&again, wanted) <= 2.5, "{:#?}", again.turns);
}

#[test]
fn what_people_say_stands_and_teaches() {
    let seconds = talk(&[5, 3]);
    let told = Told {
        island: 0,
        from: EventMs(0),
        to: EventMs(10_000),
        speaker: Speaker::Person(7),
    };
    let found = Scene::new(&seconds, &[]).found(&[], &[told]);
    assert_eq!(found.turns[0].speaker, Some(Speaker::Person(7)));
    assert_eq!(found.turns[0].end, EventMs(10_000));
    assert_eq!(found.turns[0].certainty, 1.0);
    assert_eq!(found.turns[0].why, "said by a person");
    // The same voice 20 s later is theirs too, and nobody else's.
    let wanted = |second: usize| {
        Some(if seconds[second] == 5 {
            Speaker::Person(7)
        } else {
            Speaker::Unnamed(1)
        })
    };
    assert!(wrong_s(&found, wanted) <= 2.5, "{:#?}", found.turns);
}

#[test]
fn one_microphone_alone_knows_its_wearer_by_level() {
    let seconds = talk(&[0, 2]);
    let only = levels(&seconds, |person| if person == 0 { -30.0 } else { -50.0 });
    let found = Scene::new(&seconds, &[(0, only)]).found(&[], &[]);
    let wanted = |second: usize| match seconds[second] {
        0 => Some(Speaker::Person(0)),
        _ => Some(Speaker::Unnamed(1)),
    };
    assert!(wrong_s(&found, wanted) <= 2.5, "{:#?}", found.turns);
}

#[test]
fn both_at_once_are_both_named() {
    // The last ten seconds: both microphones read what their own wearers bring.
    let mut seconds = talk(&[0, 1]);
    let mut first = levels(&seconds, |person| [-30.0, -42.0][person]);
    let mut second = levels(&seconds, |person| [-42.0, -30.0][person]);
    seconds.extend([0; 10]);
    first.extend([-30.0; 10]);
    second.extend([-31.0; 10]);
    let found = Scene::new(&seconds, &[(0, first), (1, second)]).found(&[], &[]);
    let both = |turn: &Turn| turn.also.is_some() && turn.speaker.is_some();
    let ms: i64 = found
        .turns
        .iter()
        .filter(|t| both(t))
        .map(|t| t.end.0 - t.start.0)
        .sum();
    assert!((8_000..=11_000).contains(&ms), "{ms}: {:#?}", found.turns);
    assert!(found.turns.iter().all(|t| t.start.0 >= 39_000 || !both(t)));
}

#[test]
fn a_recorder_that_changes_hands_names_the_new_wearer() {
    let seconds = [vec![0; 10], vec![2; 10], vec![1; 10], vec![2; 10]].concat();
    let level = |person: usize| if person == 2 { -50.0 } else { -30.0 };
    let mut scene = Scene::new(&seconds, &[(0, levels(&seconds, level))]);
    scene.worn[0].0.push((EventMs(15_000), 1));
    let stretch = |from: usize, to: usize, listened| Stretch {
        island: 0,
        start: EventMs(from as i64 * 1_000),
        end: EventMs(to as i64 * 1_000),
        heard_by: &[0],
        listened,
    };
    let (early, late) = (listened(&seconds[..20]), listened(&seconds[20..]));
    let placement = Placement::even(0.0, 0.0);
    let worn = Worn {
        recording: 0,
        placement: &placement,
        island: 0,
        track: &scene.worn[0].1,
        gain: 0,
        wearers: &scene.worn[0].0,
    };
    let evidence = Evidence {
        stretches: &[stretch(0, 20, &early), stretch(20, 40, &late)],
        worn: &[worn],
        ..Evidence::default()
    };
    let found = turns(&evidence, &VoiceParams::default(), &Cancel::new());
    let at = |ms: i64| {
        found
            .turns
            .iter()
            .find(|t| (t.start.0..t.end.0).contains(&ms))
    };
    assert_eq!(at(5_000).and_then(|t| t.speaker), Some(Speaker::Person(0)));
    assert_eq!(at(25_000).and_then(|t| t.speaker), Some(Speaker::Person(1)));
}

#[test]
fn nothing_is_nobody() {
    let found = turns(
        &Evidence::default(),
        &VoiceParams::default(),
        &Cancel::new(),
    );
    assert_eq!(found, Found::default());
    let silent = Scene {
        listened: Listened::default(),
        worn: Vec::new(),
        end: EventMs(3_000),
    };
    let found = silent.found(&[], &[]);
    assert_eq!(found.turns.len(), 1);
    assert_eq!(found.turns[0].speaker, None);
}

#[test]
fn what_is_cancelled_finds_nothing() {
    let heard = listened(&[5; 4]);
    let stretch = Stretch {
        island: 0,
        start: EventMs(0),
        end: EventMs(4_000),
        heard_by: &[],
        listened: &heard,
    };
    let evidence = Evidence {
        stretches: &[stretch],
        ..Evidence::default()
    };
    let cancel = Cancel::new();
    let found = || turns(&evidence, &VoiceParams::default(), &cancel);
    assert!(!found().turns.is_empty());
    cancel.cancel();
    assert_eq!(found(), Found::default());
}

/// Any number, also those that are none.
fn number() -> impl Strategy<Value = f32> {
    prop_oneof![Just(f32::NAN), Just(f32::INFINITY), -200.0_f32..50.0]
}

fn glance() -> impl Strategy<Value = Glance> {
    (any::<i16>(), any::<i16>(), number(), 0..4usize, 0..9usize).prop_map(
        |(from, to, voiced, person, n)| Glance {
            from_ms: i64::from(from),
            to_ms: i64::from(to),
            voiced,
            voice: if n == 0 {
                vec![f32::NAN; WIDTH]
            } else {
                voice(person, n)
            },
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn anything_gives_turns_in_order(
        glances in prop::collection::vec(glance(), 0..20),
        levels_dbfs in prop::collection::vec(number(), 0..200),
        bounds in prop::collection::vec((-20_000_i64..20_000, -500_i64..20_000), 0..4),
        mics in prop::collection::vec((0..3usize, prop::collection::vec(-120.0_f32..0.0, 1..30), -9e3_f64..9e3), 0..4),
        told in prop::collection::vec((-20_000_i64..20_000, -500_i64..9_000, 0..3usize), 0..3),
    ) {
        let listened = Listened { glances, levels_dbfs };
        let tracks: Vec<Track> = mics.iter().map(|(_, levels, _)| track(levels)).collect();
        let placements: Vec<Placement> = mics.iter().map(|mic| Placement::even(mic.2, 30.0)).collect();
        let wearers: Vec<Vec<(EventMs, usize)>> = mics.iter().map(|mic| vec![(EventMs(0), mic.0)]).collect();
        let heard_by: Vec<usize> = (0..mics.len()).collect();
        let stretches: Vec<Stretch> = bounds
            .iter()
            .map(|(start, length)| Stretch {
                island: 0,
                start: EventMs(*start),
                end: EventMs(start + length),
                heard_by: &heard_by,
                listened: &listened,
            })
            .collect();
        let worn: Vec<Worn> = (0..mics.len())
            .map(|n| Worn {
                recording: n,
                placement: &placements[n],
                island: 0,
                track: &tracks[n],
                gain: n,
                wearers: &wearers[n],
            })
            .collect();
        let told: Vec<Told> = told
            .iter()
            .map(|(from, length, person)| Told {
                island: 0,
                from: EventMs(*from),
                to: EventMs(from + length),
                speaker: Speaker::Person(*person),
            })
            .collect();
        let evidence = Evidence { stretches: &stretches, worn: &worn, known: &[], told: &told };
        let found = turns(&evidence, &VoiceParams::default(), &Cancel::new());
        filled(&found, &stretches);
        // The same again, with what was found known.
        let again = Evidence { known: &found.voices, ..evidence };
        filled(&turns(&again, &VoiceParams::default(), &Cancel::new()), &stretches);
    }
}
