use proptest::prelude::*;

use super::*;
use crate::clock::coarse_all::{Found, coarse_all};
use crate::clock::scenes::{Recorder, Sound, applause, music, of_levels, talk};
use crate::clock::{Track, TrackLevels};

const PLAIN: Recorder = Recorder {
    start_s: 0.0,
    length_s: 600.0,
    ppm: 0.0,
    noise_db: -10.0,
};

/// What is found between two recordings, which are an event; `None` if cancelled.
fn search_two(a: &Track, b: &Track, params: &ClockParams, cancel: &Cancel) -> Option<Coarse> {
    let found = coarse_all(&[a, b], &Found::new(), params, cancel, &mut |_| {})?;
    found.get(&(0, 1)).cloned()
}

fn found(a: &Track, b: &Track) -> Coarse {
    search_two(a, b, &ClockParams::default(), &Cancel::new()).unwrap()
}

fn shared(a: &Track, b: &Track) -> Vec<Support> {
    match found(a, b) {
        Coarse::Shared(supports) => supports,
        other => panic!("{other:?}"),
    }
}

/// What the fine search builds on: 40 ms everywhere on the supported stretch, and
/// 30 ppm where that is long enough (10 min) to say so.
fn is_true(support: &Support, a: &Recorder, b: &Recorder) {
    for here in [support.from_ms, support.to_ms] {
        let off = support.line.map(here) - 1e3 * a.truth(b, here / 1e3);
        assert!(off.abs() <= 40.0, "{off} ms at {here} of {support:?}");
    }
    let ppm = ((1.0 + b.ppm / 1e6) / (1.0 + a.ppm / 1e6) - 1.0) * 1e6;
    if support.to_ms - support.from_ms > 590_000.0 {
        assert!((support.line.ppm - ppm).abs() < 30.0, "{support:?}");
    }
}

/// Both recorders hear one sound.
fn pair(sound: &Sound, a: Recorder, b: Recorder) -> Vec<Support> {
    let (one, other) = (a.hears(sound, 101), b.hears(sound, 102));
    let supports = shared(&one, &other);
    if let [support] = supports.as_slice() {
        is_true(support, &a, &b);
    }
    supports
}

#[test]
fn two_recorders_of_one_talk_are_found_both_ways() {
    let sound = talk(1_300, 1);
    let a = Recorder {
        start_s: 31.7,
        length_s: 1_200.0,
        ppm: -80.0,
        noise_db: 0.0,
    };
    let b = Recorder {
        start_s: 203.3,
        length_s: 1_000.0,
        ppm: 95.0,
        ..PLAIN
    };
    let ab = pair(&sound, a, b);
    let ba = pair(&sound, b, a);
    assert_eq!((ab.len(), ba.len()), (1, 1));
    assert!(ab[0].to_ms - ab[0].from_ms > 950_000.0 && ab[0].against < ab[0].blocks / 10);
}

#[test]
fn short_overlaps_at_the_ends_and_short_clips_are_found() {
    let sound = talk(6_000, 2);
    // The long ones are only glanced at.
    for (overlap, length_s) in [20.0, 30.0, 60.0]
        .map(|s| [(s, 1_200.0), (s, 3_000.0)])
        .concat()
    {
        let a = Recorder {
            length_s,
            ppm: 60.0,
            ..PLAIN
        };
        let b = Recorder {
            start_s: length_s - overlap,
            length_s,
            ppm: -40.0,
            noise_db: -5.0,
        };
        assert_eq!(pair(&sound, a, b).len(), 1, "{overlap} s of {length_s} s");
        assert_eq!(pair(&sound, b, a).len(), 1, "{overlap} s of {length_s} s");
    }
    for (at, length_s) in [(300.2, 15.0), (1_100.9, 30.0), (2_000.0, 60.0)] {
        let clip = Recorder {
            start_s: at,
            length_s,
            ppm: 30.0,
            noise_db: -5.0,
        };
        let long = Recorder {
            length_s: 2_400.0,
            ..PLAIN
        };
        assert_eq!(pair(&sound, clip, long).len(), 1, "{length_s} s");
    }
}

#[test]
fn unrelated_recordings_share_nothing() {
    let tracks: Vec<Track> = (0..7)
        .map(|n| {
            let length_s = [60.0, 300.0, 900.0][n % 3];
            let recorder = Recorder { length_s, ..PLAIN };
            recorder.hears(&talk(900, 50 + n as u64), n as u64)
        })
        .collect();
    for (n, a) in tracks.iter().enumerate() {
        for b in &tracks[n + 1..] {
            assert_eq!(found(a, b), Coarse::Nothing);
        }
    }
}

#[test]
fn applause_silence_and_swelling_noise_place_nothing() {
    let swell = |every: f32, seed| {
        let sound = (0..600 * 25).map(|n| [8.0 * (n as f32 / every).sin(); 12]);
        PLAIN.hears(&sound.collect::<Sound>(), seed)
    };
    let clapping = |seed| PLAIN.hears(&applause(600, seed), seed);
    let quiet = |seed| PLAIN.hears(&vec![[-60.0; 12]; 600 * 25], seed);
    let silence = of_levels(vec![[0; 12]; 15_000]);
    for (a, b) in [
        (clapping(1), clapping(2)),
        (quiet(1), quiet(2)),
        (swell(25.0, 1), swell(31.0, 2)),
        (swell(25.0, 1), swell(25.0, 2)),
        (silence.clone(), silence.clone()),
        (silence, PLAIN.hears(&talk(600, 3), 3)),
    ] {
        let finding = found(&a, &b);
        assert!(!matches!(finding, Coarse::Shared(_)), "{finding:?}");
    }
}

/// Two talks with one song in each, at another time.
fn with_song(seconds: usize, at: &[usize], seed: u64) -> Sound {
    let song = music(180, 180, 9);
    let mut sound = talk(seconds, seed);
    for start in at {
        for (n, frame) in song.iter().enumerate() {
            sound[start * 25 + n] = *frame;
        }
    }
    sound
}

#[test]
fn a_song_played_twice_is_a_tie_unless_talk_decides() {
    let sound = with_song(1_500, &[200, 1_000], 4);
    let long = Recorder {
        length_s: 1_500.0,
        ..PLAIN
    };
    let clip = Recorder {
        start_s: 240.0,
        length_s: 40.0,
        ..PLAIN
    };
    let finding = found(&clip.hears(&sound, 1), &long.hears(&sound, 2));
    assert!(
        matches!(&finding, Coarse::Tie(ties) if ties.len() == 2),
        "{finding:?}"
    );
    // With talk before and after, each sounds once only.
    let more = Recorder {
        start_s: 50.0,
        length_s: 700.0,
        ..PLAIN
    };
    assert_eq!(pair(&sound, more, long).len(), 1);
    assert_eq!(pair(&sound, long, long).len(), 1);
}

#[test]
fn one_song_amid_other_talk_and_loops_alone_place_nothing() {
    let long = Recorder {
        length_s: 2_400.0,
        ..PLAIN
    };
    let one = long.hears(&with_song(2_400, &[700], 5), 1);
    let other = long.hears(&with_song(2_400, &[1_500], 6), 2);
    let finding = found(&one, &other);
    assert!(!matches!(finding, Coarse::Shared(_)), "{finding:?}");

    let sound = music(900, 8, 7);
    let late = Recorder {
        start_s: 100.0,
        ..PLAIN
    };
    let finding = found(&PLAIN.hears(&sound, 1), &late.hears(&sound, 2));
    assert!(!matches!(finding, Coarse::Shared(_)), "{finding:?}");
}

#[test]
fn a_clock_that_jumps_inside_has_two_stretches() {
    let sound = talk(1_500, 8);
    let a = Recorder {
        length_s: 1_400.0,
        ..PLAIN
    };
    // Heard 600 s, stopped for 77 s, heard another 500 s.
    let (first, second) = (
        Recorder {
            start_s: 40.0,
            ..PLAIN
        },
        Recorder {
            start_s: 717.0,
            length_s: 500.0,
            ..PLAIN
        },
    );
    let mut levels = first.hears(&sound, 1).levels().to_vec();
    levels.extend(second.hears(&sound, 2).levels());
    let supports = shared(&a.hears(&sound, 3), &of_levels(levels));
    let [before, after] = supports.as_slice() else {
        panic!("{supports:?}");
    };
    is_true(before, &a, &first);
    let later = Recorder {
        start_s: 717.0 - 600.0,
        ..second
    };
    is_true(after, &a, &later);
    // The stop itself, to a look or two.
    assert!((before.to_ms - 640_000.0).abs() < 20_000.0);
    assert!((after.from_ms - 717_000.0).abs() < 20_000.0);
}

#[test]
fn wrong_rates_are_found_and_told() {
    let sound = talk(1_000, 10);
    let fast = |ppm| Recorder {
        start_s: 100.0,
        length_s: 700.0,
        ppm,
        noise_db: -5.0,
    };
    let a = Recorder {
        length_s: 1_000.0,
        ..PLAIN
    };
    // 2 %, 0.1 %, 48 kHz taken for 44.1 and the reverse; the last lies between
    // the rates that are tried.
    let wrong = [20_000.0, -1_000.0, 88_435.4, -81_250.0, -13_800.0];
    for ppm in wrong {
        let supports = pair(&sound, a, fast(ppm));
        assert_eq!(supports.len(), 1, "{ppm} ppm: {supports:?}");
        assert!((supports[0].line.ppm - ppm).abs() < 60.0);
    }
    assert_eq!(pair(&sound, fast(20_000.0), a).len(), 1, "the other way");
}

#[test]
fn copies_lie_on_themselves() {
    let track = PLAIN.hears(&talk(600, 11), 1);
    let supports = shared(&track, &track);
    assert_eq!(supports.len(), 1);
    assert!(supports[0].line.ppm.abs() < 1.0);
    assert!((supports[0].line.map(0.0)).abs() < 1.0);
}

#[test]
fn a_cancelled_search_answers_nothing() {
    let track = PLAIN.hears(&talk(600, 12), 1);
    let cancel = Cancel::new();
    cancel.cancel();
    let answer = search_two(&track, &track, &ClockParams::default(), &cancel);
    assert_eq!(answer, None);
}

#[test]
fn recordings_of_no_length_to_speak_of_are_searched_without_harm() {
    let sound = talk(900, 13);
    for length_s in [0.0, 0.04, 0.5, 1.0, 3.9, 4.1] {
        let short = Recorder { length_s, ..PLAIN }.hears(&sound, 1);
        for other in [&PLAIN.hears(&sound, 2), &short] {
            for (a, b) in [(&short, other), (other, &short)] {
                let _ = found(a, b);
            }
        }
        if length_s < 1.5 {
            assert_eq!(found(&short, &PLAIN.hears(&sound, 2)), Coarse::Nothing);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn any_levels_at_all_are_answered(
        a in proptest::collection::vec(any::<TrackLevels>(), 0..700),
        b in proptest::collection::vec(any::<TrackLevels>(), 0..300),
        max_ppm in prop_oneof![Just(0.0), Just(250.0), Just(1e9)],
        look_ms in prop_oneof![Just(0.0), Just(10_000.0), Just(f64::NAN), Just(1e12)],
    ) {
        let params = ClockParams { max_ppm, look_ms, ..ClockParams::default() };
        let finding = search_two(&of_levels(a), &of_levels(b), &params, &Cancel::new());
        prop_assert!(finding.is_some());
    }
}
