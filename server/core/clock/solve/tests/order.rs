//! Does it matter in which order recordings come?

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::made::*;
use super::solve;
use crate::clock::*;

fn islands(placed: &[Placed]) -> Vec<u32> {
    placed.iter().map(|p| p.island).collect()
}

#[test]
fn a_stray_that_came_first_does_not_keep_the_event_clock() {
    let mut truth = vec![True::new(90.0 * HOUR, 0.0, HOUR)];
    let track = no_track();
    let (mut placed, _) = solve(&members(&truth, &track), &mut BTreeMap::new());
    assert_eq!((placed[0].island, placed[0].how), (0, How::Joined));
    for (n, expected) in [&[1, 2][..], &[1, 0, 0], &[1, 0, 0, 0]].iter().enumerate() {
        truth.push(three()[n].clone());
        let members = lain(members(&truth, &track), &placed);
        placed = solve(&members, &mut all_pairs(&truth)).0;
        assert_eq!(islands(&placed), *expected);
        assert_eq!(
            (placed[0].how, placed[0].uncertainty_ms),
            (How::Unplaced, None)
        );
    }
    assert!(placed[1..].iter().all(|p| p.how == How::Sound));
}

#[test]
fn one_that_was_alone_keeps_its_zero_when_others_join_it() {
    let (truth, track) = (three(), no_track());
    // The second was there first, and begins later than the first.
    let (old, _) = solve(&members(&truth[1..2], &track), &mut BTreeMap::new());
    let mut members = members(&truth, &track);
    members[1].before = lain(vec![members[1].clone()], &old)[0].before.clone();
    let (placed, _) = solve(&members, &mut all_pairs(&truth));
    assert_eq!(islands(&placed), [0, 0, 0]);
    assert!(placed[1].placement.start_ms().abs() < 1e-6);
    assert!((placed[0].placement.start_ms() + 600_000.0).abs() < 50.0);
}

#[test]
fn what_a_person_put_beside_a_lone_recording_stays_beside_it() {
    let truth = [True::new(0.0, 0.0, HOUR), True::new(0.0, 0.0, HOUR)];
    let track = no_track();
    let (old, _) = solve(&members(&truth[..1], &track), &mut BTreeMap::new());
    let fixes = [
        Fix::Start { event_ms: 5_000.0 },
        Fix::Same {
            file_ms: 0.0,
            other: 0,
            other_file_ms: 5_000.0,
        },
    ];
    for fix in fixes {
        let mut all = lain(members(&truth[..1], &track), &old);
        all.push(members(&truth, &track).remove(1));
        all[1].fix = Some(fix);
        // And when three others come that share sound.
        for others in [0, 3, 3] {
            let mut truth = truth.to_vec();
            truth.extend(three()[..others].iter().cloned());
            all.truncate(2);
            all.extend(members(&truth, &track).drain(2..));
            let mut pairs = all_pairs(&truth);
            pairs.retain(|(a, _), _| *a >= 2);
            let (placed, _) = solve(&all, &mut pairs);
            assert_eq!(islands(&placed)[..2], [0, 0], "{fix:?} {others}");
            assert!(placed[0].placement.start_ms().abs() < 1e-6);
            assert!((placed[1].placement.start_ms() - 5_000.0).abs() < 0.1);
            all = lain(all, &placed);
        }
    }
}

#[test]
fn three_thousand_loose_files_are_each_alone() {
    let truth = vec![True::new(0.0, 0.0, 60_000.0); 3_000];
    let track = no_track();
    let mut members = members(&truth, &track);
    for (n, member) in members.iter_mut().enumerate() {
        member.source = n / 10;
    }
    let (placed, warnings) = solve(&members, &mut BTreeMap::new());
    assert!(warnings.is_empty());
    assert_eq!(islands(&placed), (1..=3_000).collect::<Vec<u32>>());
    for place in placed {
        assert_eq!((place.how, place.uncertainty_ms), (How::Unplaced, None));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Six recordings of two hours of an event, or of another day.
    #[test]
    fn one_by_one_is_all_at_once(seed in any::<u64>()) {
        let mut dice = Dice(seed);
        let truth: Vec<True> = (0..6).map(|n| {
            let day = if dice.roll() < 0.2 { f64::from(n + 1) * 24.0 * HOUR } else { 0.0 };
            True::new(
                day + dice.between(0.0, 2.0 * HOUR),
                dice.between(-100.0, 100.0),
                dice.between(0.2 * HOUR, 1.5 * HOUR),
            )
        }).collect();
        let track = no_track();
        let (at_once, _) = solve(&members(&truth, &track), &mut all_pairs(&truth));
        let mut placed: Vec<Placed> = Vec::new();
        for count in 1..=truth.len() {
            let all = lain(members(&truth[..count], &track), &placed);
            let (new, _) = solve(&all, &mut all_pairs(&truth[..count]));
            for (n, old) in placed.iter().enumerate() {
                if old.how == How::Sound && old.island == 0 {
                    for at in [0.0, truth[n].length] {
                        let moved = new[n].placement.event_at(at) - old.placement.event_at(at);
                        prop_assert!(moved.abs() < 1e-6, "{n}: {moved}");
                    }
                }
            }
            placed = new;
        }
        let mut sizes: BTreeMap<u32, usize> = BTreeMap::new();
        for place in &at_once {
            *sizes.entry(place.island).or_default() += 1;
        }
        let several = sizes.values().filter(|size| **size > 1).count();
        for a in 0..6 {
            prop_assert_eq!(placed[a].how, at_once[a].how);
            if several == 1 {
                prop_assert_eq!(placed[a].island == 0, at_once[a].island == 0);
            }
            for b in 0..6 {
                let together = at_once[a].island == at_once[b].island;
                prop_assert_eq!(placed[a].island == placed[b].island, together);
                for at in [0.0, truth[a].length].into_iter().filter(|_| together) {
                    let across = |p: &[Placed]| p[b].placement.file_at(p[a].placement.event_at(at));
                    let off = across(&placed) - across(&at_once);
                    prop_assert!(off.abs() < 1.0, "{a} {b} at {at}: {off}");
                }
            }
        }
    }
}
