//! Small scenes by hand, and what holds of any scene.

use super::*;
use crate::clock::Placement;
use crate::moments::PlacedAs;
use crate::signal::SpeechSegment;
use crate::units::{FileMs, SILENCE_DBFS};
use proptest::prelude::*;

/// Places by name: recorders of one letter share all sound.
struct Places<'a>(&'a str);

impl Sound for Places<'_> {
    fn excess_db(&self, _: usize, from: FileMs, to: FileMs) -> f32 {
        if from < to { 10.0 } else { 0.0 }
    }

    fn level_dbfs(&self, _: usize, from: FileMs, to: FileMs) -> f32 {
        if from < to { -40.0 } else { SILENCE_DBFS }
    }

    fn alike(&self, a: usize, _: FileMs, _: FileMs, b: usize, _: FileMs, _: f64) -> Option<f32> {
        let place = |n: usize| self.0.as_bytes().get(n);
        Some(if place(a) == place(b) { 0.8 } else { 0.0 })
    }

    fn quietest(&self, _: usize, from: FileMs, to: FileMs) -> Option<FileMs> {
        Some(FileMs(from.0.midpoint(to.0)))
    }
}

fn segment(start: i64, end: i64, snr_db: f32) -> SpeechSegment {
    SpeechSegment {
        start: FileMs(start),
        end: FileMs(end),
        level_dbfs: -30.0,
        snr_db,
        clipped: 0.0,
        reverb: 0.2,
    }
}

fn hearer<'a>(
    source: usize,
    placement: &'a Placement,
    segments: &'a [SpeechSegment],
) -> Hearer<'a> {
    Hearer {
        placement,
        island: 0,
        source,
        placed_as: PlacedAs::Worn,
        duration_ms: 3_600_000,
        segments,
    }
}

fn bounds(moments: &[Moment]) -> Vec<(i64, i64)> {
    moments.iter().map(|m| (m.start.0, m.end.0)).collect()
}

fn who(moment: &Moment) -> Vec<usize> {
    moment.hearings.iter().map(|h| h.hearer).collect()
}

#[test]
fn a_noisy_camera_does_not_glue_sentences() {
    let (near, far) = (Placement::even(0.0, 0.0), Placement::even(-5_000.0, 0.0));
    let worn = [
        segment(1_000, 4_000, 30.0),
        segment(4_900, 8_000, 30.0),
        segment(11_000, 14_000, 30.0),
    ];
    let camera = [segment(5_900, 19_200, 4.0)];
    let hearers = [hearer(0, &near, &worn), hearer(1, &far, &camera)];
    let params = MomentParams {
        // The camera has nothing of its own in the pauses.
        heard_db: 12.0,
        ..MomentParams::default()
    };
    let moments = group(&hearers, &[], &params, &Places("aa"));
    assert_eq!(
        bounds(&moments),
        [(1_000, 4_000), (4_900, 8_000), (11_000, 14_000)]
    );
    for moment in &moments {
        assert_eq!(who(moment), [0, 1]);
        let there = &moment.hearings[1];
        assert_eq!(there.start.0, moment.start.0 + 5_000);
        assert!(there.heard && there.snr_db == 4.0);
    }
}

#[test]
fn two_places_at_once_are_two_moments() {
    let zero = Placement::even(0.0, 0.0);
    let one = [segment(1_000, 6_000, 25.0)];
    let other = [segment(2_000, 7_000, 20.0)];
    let hearers = [hearer(0, &zero, &one), hearer(1, &zero, &other)];
    let apart = group(&hearers, &[], &MomentParams::default(), &Places("ab"));
    assert_eq!(bounds(&apart), [(1_000, 6_000), (2_000, 7_000)]);
    assert!(apart.iter().all(|moment| moment.hearings.len() == 1));
    let same = group(&hearers, &[], &MomentParams::default(), &Places("aa"));
    assert_eq!(bounds(&same), [(1_000, 7_000)]);
    assert_eq!(who(&same[0]), [0, 1]);
}

#[test]
fn a_recorder_below_its_noise_is_listed_as_not_heard() {
    let zero = Placement::even(0.0, 0.0);
    let near = [segment(1_000, 6_000, 25.0), segment(9_000, 13_000, 25.0)];
    let far = [segment(1_000, 6_000, 3.0)];
    let hearers = [hearer(0, &zero, &near), hearer(1, &zero, &far)];
    let params = MomentParams {
        heard_db: 12.0,
        ..MomentParams::default()
    };
    let moments = group(&hearers, &[], &params, &Places("aa"));
    let second = &moments[1].hearings[1];
    assert_eq!((second.hearer, second.heard), (1, false));
    assert_eq!(second.why, ["not above its own noise here"]);
}

#[test]
fn what_is_heard_without_a_segment_has_the_level_it_has() {
    let zero = Placement::even(0.0, 0.0);
    let near = [segment(1_000, 6_000, 25.0), segment(9_000, 13_000, 25.0)];
    let far = [segment(1_000, 6_000, 9.5)];
    let hearers = [hearer(0, &zero, &near), hearer(1, &zero, &far)];
    let moments = group(&hearers, &[], &MomentParams::default(), &Places("aa"));
    let [found, heard] = [0, 1].map(|n| &moments[n].hearings[1]);
    assert_eq!((heard.hearer, heard.heard), (1, true));
    assert_eq!(heard.level_dbfs, -40.0);
    let why = heard.why.join(", ");
    assert!(!why.contains("faint"), "{why}");
    // The same ratio, and all of it missed: that costs 12 dB, and nothing else does.
    let lost = found.score - heard.score;
    assert!((lost - 12.0).abs() < 0.1, "{found:?} {heard:?}");
}

#[test]
fn nearly_as_good_stays_with_the_recording_before() {
    let zero = Placement::even(0.0, 0.0);
    let line = |n: i64, snr_db| segment(n * 6_000, n * 6_000 + 4_000, snr_db);
    let one = [line(0, 18.0), line(1, 15.0), line(2, 18.0), line(3, 5.0)];
    let other = [line(0, 10.0), line(1, 16.0), line(2, 10.0), line(3, 16.0)];
    let hearers = [hearer(0, &zero, &one), hearer(1, &zero, &other)];
    let moments = group(&hearers, &[], &MomentParams::default(), &Places("aa"));
    let first: Vec<usize> = moments.iter().map(|m| m.hearings[0].hearer).collect();
    assert_eq!(first, [0, 0, 0, 1]);
    let why = moments[1].hearings[0].why.join(", ");
    assert!(why.contains("lines around it"), "{why}");
}

#[test]
fn speech_without_pauses_is_cut_all_the_same() {
    let zero = Placement::even(0.0, 0.0);
    let long = [segment(0, 100_000, 25.0)];
    let hearers = [hearer(0, &zero, &long)];
    let moments = group(&hearers, &[], &MomentParams::default(), &Places("a"));
    assert!(moments.len() >= 5);
    assert!(moments.iter().all(|m| m.end.0 - m.start.0 <= 20_000));
    assert!(moments.windows(2).all(|two| two[0].end == two[1].start));
}

#[test]
fn moments_with_words_stay_and_new_recordings_join_them() {
    let (zero, moved) = (Placement::even(0.0, 0.0), Placement::even(200.0, 0.0));
    let old = [segment(1_000, 5_000, 15.0)];
    let new = [segment(1_000, 4_800, 30.0), segment(9_000, 11_000, 30.0)];
    let kept = |key, from, start, end| Kept {
        key,
        from,
        from_start: FileMs(start),
        from_end: FileMs(end),
        covers: (FileMs(start), FileMs(end)),
        by_hand: false,
    };
    let hearers = [hearer(0, &moved, &old), hearer(1, &zero, &new)];
    let moments = group(
        &hearers,
        &[kept(7, 0, 1_000, 5_000)],
        &MomentParams::default(),
        &Places("aa"),
    );
    // Anchored to its own sound, wherever that is now.
    assert_eq!(bounds(&moments), [(1_200, 5_200), (9_000, 11_000)]);
    assert_eq!(moments[0].kept, [7]);
    assert_eq!(who(&moments[0]), [1, 0], "the new one is better");

    // Both had words before they came together: one survives, the better heard.
    let both = [
        kept(7, 0, 1_000, 5_000),
        kept(8, 1, 1_000, 4_800),
        kept(9, 4, 0, 9),
    ];
    let moments = group(&hearers, &both, &MomentParams::default(), &Places("aa"));
    assert_eq!(moments[0].kept, [8, 7]);
    assert_eq!(moments[0].start, EventMs(1_000));
    // But not at two places.
    let moments = group(&hearers, &both, &MomentParams::default(), &Places("ab"));
    let keys: Vec<_> = moments.iter().map(|m| m.kept.clone()).collect();
    assert_eq!(keys, [vec![8], vec![7], vec![]]);
}

#[test]
fn what_a_person_made_stays_as_it_is() {
    let zero = Placement::even(0.0, 0.0);
    let old = [segment(1_000, 9_000, 15.0)];
    let new = [segment(1_000, 9_000, 30.0)];
    let hearers = [hearer(0, &zero, &old), hearer(1, &zero, &new)];
    let made = |key, from, start, end, covers_to| Kept {
        key,
        from,
        from_start: FileMs(start),
        from_end: FileMs(end),
        covers: (FileMs(start), FileMs(covers_to)),
        by_hand: true,
    };
    let found = |kept: &[Kept]| group(&hearers, kept, &MomentParams::default(), &Places("aa"));
    // Two that a person made are two, however much they overlap; one that nobody made
    // becomes theirs, though the better recorder has it.
    let heard = Kept {
        by_hand: false,
        ..made(9, 1, 1_000, 9_000, 9_000)
    };
    let moments = found(&[
        made(3, 0, 1_000, 5_000, 5_000),
        made(4, 0, 4_000, 9_000, 9_000),
        heard,
    ]);
    assert_eq!(bounds(&moments), [(1_000, 5_000), (4_000, 9_000)]);
    assert_eq!((&moments[0].kept[..1], moments[1].kept[0]), (&[3][..], 4));
    assert_eq!(who(&moments[0]), [1, 0]);
    // What was cut off by hand is no speech of its own; what it does not stand for is.
    let moments = found(&[made(3, 0, 1_000, 4_000, 9_000)]);
    assert_eq!(bounds(&moments), [(1_000, 4_000)]);
    let moments = found(&[made(3, 0, 1_000, 4_000, 4_000)]);
    assert_eq!(bounds(&moments), [(1_000, 4_000), (4_200, 9_000)]);
}

fn segments() -> impl Strategy<Value = Vec<SpeechSegment>> {
    // Frames are 10 ms: of less, whole milliseconds of two clocks may leave nothing.
    prop::collection::vec((0..3_000_i64, 10..25_000_i64, -10.0..40.0_f32), 0..12).prop_map(|all| {
        let mut at = 0;
        all.into_iter()
            .map(|(gap, length, snr_db)| {
                let start = at + gap + 1;
                at = start + length;
                segment(start, at, snr_db)
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn each_stretch_is_somewhere_once(
        all in prop::collection::vec(
            (segments(), -20_000.0..20_000.0_f64, -100.0..100.0_f64, 0..2_u32), 0..5),
        places in "[ab]{5}",
        kept in prop::collection::vec((0..6_usize, 0..90_000_i64, 0..9_000_i64), 0..4),
    ) {
        let placements: Vec<Placement> =
            all.iter().map(|(_, start, ppm, _)| Placement::even(*start, *ppm)).collect();
        let hearers: Vec<Hearer> = all
            .iter()
            .zip(&placements)
            .enumerate()
            .map(|(n, ((segments, _, _, island), placement))| Hearer {
                island: *island,
                ..hearer(n, placement, segments)
            })
            .collect();
        let kept: Vec<Kept> = kept
            .iter()
            .enumerate()
            .map(|(key, &(from, start, length))| Kept {
                key,
                from,
                from_start: FileMs(start),
                from_end: FileMs(start + length),
                covers: (FileMs(start), FileMs(start + length)),
                by_hand: key % 2 == 1,
            })
            .collect();
        let params = MomentParams::default();
        let sound = Places(&places);
        let moments = group(&hearers, &kept, &params, &sound);
        prop_assert_eq!(&moments, &group(&hearers, &kept, &params, &sound));
        let place = |hearer: usize| (hearers[hearer].island, places.as_bytes()[hearer]);
        for moment in &moments {
            prop_assert!(moment.start < moment.end);
            let first = &moment.hearings[0];
            prop_assert!(first.heard);
            prop_assert!(!moment.kept.is_empty() || moment.end.0 - moment.start.0 <= params.long_ms);
            for hearing in &moment.hearings {
                prop_assert_eq!(place(hearing.hearer), place(first.hearer));
                prop_assert!(hearing.start < hearing.end);
                prop_assert!(hearing.end.0 <= hearers[hearing.hearer].duration_ms);
            }
            let unheard = moment.hearings.iter().skip_while(|h| h.heard);
            prop_assert!(unheard.into_iter().all(|h| !h.heard));
        }
        // Moments of one place do not overlap, but where they were so before.
        for (n, moment) in moments.iter().enumerate() {
            for other in &moments[n + 1..] {
                let here = place(moment.hearings[0].hearer) == place(other.hearings[0].hearer);
                let new = moment.kept.is_empty() || other.kept.is_empty();
                if here && new {
                    prop_assert!(moment.end <= other.start || other.end <= moment.start);
                }
            }
        }
        // Every segment is in a moment that its recording has heard, if that ran for long
        // enough to count.
        let ran = |hearer: &&Hearer| hearer.duration_ms >= 500;
        for (n, hearer) in hearers.iter().enumerate().filter(|(_, hearer)| ran(hearer)) {
            for segment in hearer.segments {
                let found = moments.iter().any(|moment| moment.hearings.iter().any(|h| {
                    h.hearer == n && h.start < segment.end && segment.start < h.end
                }));
                prop_assert!(found, "{n}: {segment:?}");
            }
        }
        // What has words is there once, but what no hearer has.
        for kept in kept.iter().filter(|k| k.from < hearers.len() && k.from_start < k.from_end && k.from_end.0 > 0) {
            let with: Vec<&Moment> = moments.iter().filter(|m| m.kept.contains(&kept.key)).collect();
            prop_assert_eq!(with.len(), 1);
            if with[0].kept[0] == kept.key {
                let start = hearers[kept.from].placement.to_event(kept.from_start);
                prop_assert_eq!(with[0].start, start);
            }
        }
    }
}
