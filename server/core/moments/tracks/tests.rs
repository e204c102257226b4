//! Made-up talk as recorders' band levels have it.

use super::*;
use crate::clock::Placement;
use crate::clock::scenes::{FRAMES_A_SECOND, Recorder, Sound as Levels, of_levels, talk};
use crate::moments::{Hearer, MomentParams, PlacedAs, group};
use crate::signal::SpeechSegment;

const PLAIN: Recorder = Recorder {
    start_s: 0.0,
    length_s: 300.0,
    ppm: 0.0,
    noise_db: -10.0,
};

/// Starts 7.3 s later, in more noise.
const LATER: Recorder = Recorder {
    start_s: 7.3,
    noise_db: -5.0,
    ..PLAIN
};

/// 48 kHz taken for 44.1 and the reverse.
const WRONG_PPM: [f64; 2] = [88_435.4, -81_250.0];

/// Likeness of all stretches of 5 s where the recorders' clocks say, and `off_ms`
/// beside; sorted.
fn likenesses(a: (&Recorder, &Track), b: (&Recorder, &Track), off_ms: f64, rate: f64) -> Vec<f32> {
    let both = [a.1, b.1];
    let tracks = Tracks(&both);
    let cells = (0..(a.1.duration_ms() / 5_000.0) as i64).map(|n| n * 5_000);
    let mut found: Vec<f32> = cells
        .filter_map(|from| {
            let there_ms = 1e3 * a.0.truth(b.0, from as f64 / 1e3) + off_ms;
            let (to, there) = (FileMs(from + 5_000), FileMs(there_ms.round() as i64));
            tracks.alike(0, FileMs(from), to, 1, there, rate)
        })
        .collect();
    found.sort_by(f32::total_cmp);
    found
}

fn at(found: &[f32], share: f64) -> f32 {
    found[(share * (found.len() - 1) as f64) as usize]
}

#[test]
fn one_talk_is_alike_where_the_clock_says_and_nowhere_else() {
    let sound = talk(320, 1);
    let (near, far) = (PLAIN.hears(&sound, 101), LATER.hears(&sound, 102));
    for (a, b) in [
        ((&PLAIN, &near), (&LATER, &far)),
        ((&LATER, &far), (&PLAIN, &near)),
    ] {
        let right = likenesses(a, b, 0.0, 1.0);
        assert!(right.len() >= 57, "{}", right.len());
        assert!(at(&right, 0.5) > 0.7 && at(&right, 0.05) > 0.4, "{right:?}");
        // A frame is the slack there is; a second, and the lag the wrong way round.
        assert!(at(&likenesses(a, b, 40.0, 1.0), 0.5) > 0.7);
        for off_ms in [1_000.0, -1_000.0, 14_600.0, -14_600.0] {
            let wrong = likenesses(a, b, off_ms, 1.0);
            assert!(at(&wrong, 0.5) < 0.2, "{off_ms}: {wrong:?}");
        }
    }
}

#[test]
fn other_talk_is_not_alike() {
    let mut all = Vec::new();
    for seed in 0..4 {
        let one = PLAIN.hears(&talk(320, 10 + seed), 1);
        let other = LATER.hears(&talk(320, 20 + seed), 2);
        all.extend(likenesses((&PLAIN, &one), (&LATER, &other), 0.0, 1.0));
    }
    all.sort_by(f32::total_cmp);
    let mean = all.iter().sum::<f32>() / all.len() as f32;
    assert!(mean < 0.1 && at(&all, 0.99) < 0.5, "{mean} {all:?}");
}

#[test]
fn clocks_far_apart_are_laid_side_by_side() {
    let sound = talk(340, 2);
    for ppm in WRONG_PPM {
        let wrong = Recorder { ppm, ..LATER };
        let (a, b) = (PLAIN.hears(&sound, 101), wrong.hears(&sound, 102));
        let rate = 1.0 + ppm / 1e6;
        let there = likenesses((&PLAIN, &a), (&wrong, &b), 0.0, rate);
        assert!(at(&there, 0.5) > 0.6, "{ppm}: {there:?}");
        let back = likenesses((&wrong, &b), (&PLAIN, &a), 0.0, 1.0 / rate);
        assert!(at(&back, 0.5) > 0.6, "{ppm}: {back:?}");
    }
}

#[test]
fn only_what_both_have_is_compared() {
    let sound = talk(60, 3);
    let whole = Recorder {
        length_s: 60.0,
        ..PLAIN
    };
    let part = Recorder {
        start_s: 10.0,
        length_s: 20.0,
        ..PLAIN
    };
    let both = [&whole.hears(&sound, 1), &part.hears(&sound, 2)];
    let tracks = Tracks(&both);
    // Stretches of the whole one, and where they lie in the part.
    let alike = |from: i64, to: i64| {
        let there = FileMs(from - 10_000);
        tracks.alike(0, FileMs(from), FileMs(to), 1, there, 1.0)
    };
    let back = |from: i64, to: i64| {
        let there = FileMs(from + 10_000);
        tracks.alike(1, FileMs(from), FileMs(to), 0, there, 1.0)
    };
    // Over its start, its end, and all around it.
    for (from, to) in [(5_000, 15_000), (25_000, 35_000), (0, 60_000)] {
        assert!(alike(from, to).is_some_and(|r| r > 0.6), "{from}");
    }
    assert!(back(-5_000, 5_000).is_some_and(|r| r > 0.6));
    assert!(back(15_000, 40_000).is_some_and(|r| r > 0.6));
    // A second is the least.
    assert!(alike(5_000, 11_100).is_some());
    for (from, to) in [(5_000, 10_900), (29_100, 35_000), (40_000, 50_000)] {
        assert_eq!(alike(from, to), None, "{from}");
    }
    for (from, to) in [(-9_000, -2_000), (70_000, 80_000), (5_000, 5_000)] {
        assert_eq!(alike(from, to), None, "{from}");
        assert_eq!(back(from, to), None, "{from}");
    }
    assert_eq!(
        tracks.alike(0, FileMs(0), FileMs(5_000), 2, FileMs(0), 1.0),
        None
    );
}

#[test]
fn silence_is_like_nothing() {
    let silence = of_levels(vec![[0; TRACK_BANDS]; 500]);
    let both = [&silence, &PLAIN.hears(&talk(300, 4), 1)];
    for (a, b) in [(0, 0), (0, 1), (1, 0)] {
        let alike = Tracks(&both).alike(a, FileMs(0), FileMs(5_000), b, FileMs(0), 1.0);
        assert_eq!(alike, Some(0.0));
    }
}

#[test]
fn the_quietest_fifth_of_a_second_is_found() {
    // Loud but for frames 40 to 44 and the last one.
    let level = |n: usize| {
        [if (40..45).contains(&n) || n == 99 {
            60
        } else {
            160
        }; TRACK_BANDS]
    };
    let track = of_levels((0..100).map(level).collect());
    let tracks = [&track];
    let quietest = |from, to| Tracks(&tracks).quietest(0, FileMs(from), FileMs(to));
    // 1,600 to 1,800 ms.
    assert_eq!(quietest(0, 4_000), Some(FileMs(1_700)));
    assert_eq!(quietest(1_600, 1_800), Some(FileMs(1_700)));
    // Four of the five frames are the most there is.
    assert_eq!(quietest(0, 1_760), Some(FileMs(1_660)));
    // At the end the last frame, before the start and behind the end nothing.
    assert_eq!(quietest(2_000, 9_000), Some(FileMs(3_900)));
    assert_eq!(quietest(-5_000, 1_000), Some(FileMs(100)));
    for (from, to) in [(0, 190 - 40), (4_000, 9_000), (-3_000, 0), (500, 500)] {
        assert_eq!(quietest(from, to), None, "{from}");
    }
    assert_eq!(Tracks(&tracks).quietest(1, FileMs(0), FileMs(4_000)), None);
}

#[test]
fn levels_are_the_tracks_own() {
    let track = of_levels(
        (0..1_000)
            .map(|n| [if n < 500 { 80 } else { 140 }; 12])
            .collect(),
    );
    let tracks = [&track];
    let sound = Tracks(&tracks);
    // Twelve bands of -50 dB: 10·log10(12) more together.
    let (from, to) = (FileMs(20_000), FileMs(40_000));
    assert!((sound.level_dbfs(0, from, to) + 50.0 - 10.79).abs() < 0.3);
    assert!((sound.excess_db(0, from, to) - 30.0).abs() < 0.5);
    assert_eq!(
        sound.level_dbfs(0, FileMs(40_000), FileMs(41_000)),
        SILENCE_DBFS
    );
    assert_eq!(sound.level_dbfs(1, from, to), SILENCE_DBFS);
    assert_eq!(sound.excess_db(1, from, to), 0.0);
}

/// What a detector finds in talk, at a recorder's times.
fn segments(sound: &Levels, recorder: &Recorder, snr_db: f32) -> Vec<SpeechSegment> {
    let speaks = |n: usize| sound[n].iter().sum::<f32>() > -20.0 * TRACK_BANDS as f32;
    let mut found: Vec<(usize, usize)> = Vec::new();
    for n in (0..sound.len()).filter(|&n| speaks(n)) {
        match found.last_mut() {
            Some(last) if n <= last.1 + 8 => last.1 = n + 1,
            _ => found.push((n, n + 1)),
        }
    }
    let file = |frame: usize| {
        let at_s = frame as f64 / FRAMES_A_SECOND as f64;
        1e3 * (at_s - recorder.start_s) * (1.0 + recorder.ppm / 1e6)
    };
    let length_ms = 1e3 * recorder.length_s * (1.0 + recorder.ppm / 1e6);
    found
        .into_iter()
        .map(|(start, end)| (file(start), file(end)))
        .filter(|(start, end)| *start > 0.0 && *end < length_ms)
        .map(|(start, end)| SpeechSegment {
            start: FileMs(start as i64),
            end: FileMs(end as i64),
            level_dbfs: -30.0,
            snr_db,
            clipped: 0.0,
            reverb: 0.2,
        })
        .collect()
}

#[test]
fn a_recorder_of_a_wrong_rate_shares_the_moments_of_the_others() {
    let sound = talk(340, 5);
    for ppm in WRONG_PPM {
        let wrong = Recorder { ppm, ..LATER };
        let tracks = [&PLAIN.hears(&sound, 101), &wrong.hears(&sound, 102)];
        let speech = [
            segments(&sound, &PLAIN, 25.0),
            segments(&sound, &wrong, 20.0),
        ];
        let placements = [Placement::even(0.0, 0.0), Placement::even(7_300.0, ppm)];
        let hearers: Vec<Hearer> = (0..2)
            .map(|n| Hearer {
                placement: &placements[n],
                island: 0,
                source: n,
                placed_as: PlacedAs::Worn,
                duration_ms: tracks[n].duration_ms() as i64,
                segments: &speech[n],
            })
            .collect();
        let moments = group(&hearers, &[], &MomentParams::default(), &Tracks(&tracks));
        let shared = |from, to| {
            moments
                .iter()
                .filter(|moment| moment.start.0 > from && moment.end.0 < to)
                .map(|moment| moment.hearings.iter().filter(|h| h.heard).count())
                .collect::<Vec<_>>()
        };
        let counts = shared(8_000, 299_000);
        assert!(counts.len() > 20, "{counts:?}");
        assert!(counts.iter().all(|&count| count == 2), "{ppm}: {counts:?}");
        assert!(moments.windows(2).all(|two| two[0].end <= two[1].start));
    }
}
