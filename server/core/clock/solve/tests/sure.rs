//! How sure is it, and who is contradicted?

use super::made::*;
use super::solve;
use crate::clock::*;

/// The members with where a solve of the same put them.
fn again<'a>(truth: &[True], track: &'a Track) -> Vec<Member<'a>> {
    let (old, _) = solve(&members(truth, track), &mut all_pairs(truth));
    lain(members(truth, track), &old)
}

fn doubts(placed: &[Placed]) -> Vec<f64> {
    placed.iter().map(|p| p.uncertainty_ms.unwrap()).collect()
}

/// What a clock of any crystal may be off over an hour (60 ppm, 95 %), ms.
const UNKNOWN_RATE_MS: f64 = 1.96 * 60.0 * 3.6;

#[test]
fn a_fix_far_from_the_sound_leaves_everybody_an_honest_interval() {
    let (truth, track) = (three(), no_track());
    let mut members = again(&truth, &track);
    members[2].fix = Some(Fix::Start {
        event_ms: 1_300_000.0,
    });
    let (placed, _) = solve(&members, &mut all_pairs(&truth));
    let ms = doubts(&placed);
    assert!(ms[0] < 3.0 && ms[1] < 3.0, "{ms:?}");
    // Its start is what was said, its rate is not known.
    assert!((ms[2] - UNKNOWN_RATE_MS).abs() < 1.0, "{ms:?}");

    // A first solve: the heaviest is put away from the others by two fixes.
    let mut members = super::made::members(&truth, &track);
    for (n, event_ms) in [(0, 0.0), (1, 900_000.0)] {
        members[n].fix = Some(Fix::Start { event_ms });
    }
    let (placed, _) = solve(&members, &mut all_pairs(&truth));
    assert!(doubts(&placed).iter().all(|ms| *ms < 500.0), "{placed:?}");
    assert!(doubts(&placed).iter().filter(|ms| **ms < 3.0).count() >= 2);
}

#[test]
fn what_lies_on_the_clock_from_before_only_claims_nothing() {
    // The recorder that joined them was deleted.
    let (truth, track) = (three()[..2].to_vec(), no_track());
    let members = again(&truth, &track);
    let (placed, _) = solve(&members, &mut Default::default());
    for (new, member) in placed.iter().zip(&members) {
        assert_eq!((new.how, new.island), (How::Sound, 0));
        let before = &member.before.as_ref().unwrap().placement;
        assert!((new.placement.start_ms() - before.start_ms()).abs() < 1e-6);
    }
    assert!(placed[0].uncertainty_ms.is_some());
    assert_eq!(placed[1].uncertainty_ms, None);
}

#[test]
fn a_file_that_shares_nothing_changes_no_interval() {
    let (mut truth, track) = (three(), no_track());
    let noisy = |truth: &[True]| {
        let mut pairs = all_pairs(truth);
        pairs.get_mut(&(0, 2)).unwrap().stretches[0].line.there_ms += 12.0;
        doubts(&solve(&members(truth, &track), &mut pairs).0[..3])
    };
    let without = noisy(&truth);
    assert!(without.iter().all(|ms| *ms < 60.0), "{without:?}");
    for k in 1..4 {
        truth.push(True::new(f64::from(k) * 20.0 * HOUR, 0.0, HOUR));
        for (with, without) in noisy(&truth).iter().zip(&without) {
            assert!((with - without).abs() < 1e-6, "{with} {without}");
        }
    }
}

#[test]
fn a_person_a_frame_off_is_told_once() {
    let mut truth = three();
    truth.push(True::new(300_000.0, 0.0, HOUR));
    let track = no_track();
    let mut members = again(&truth, &track);
    let starts: Vec<f64> = members
        .iter()
        .map(|m| m.before.as_ref().unwrap().placement.start_ms())
        .collect();
    let mut told = |off_ms: f64, fine: bool| {
        members[3].fix = Some(Fix::Start {
            event_ms: starts[3] + off_ms,
        });
        let mut pairs = all_pairs(&truth);
        if !fine {
            pairs.retain(|key, _| *key == (0, 1) || *key == (0, 3) || *key == (1, 2));
            pairs.get_mut(&(0, 3)).unwrap().stretches[0].fine = None;
        }
        let (placed, warnings) = solve(&members, &mut pairs);
        assert!(warnings.is_empty(), "{warnings:?}");
        let said = placed.iter().flat_map(|p| p.warnings.clone());
        said.map(|w| match w {
            Warning::FixDisagrees { member: 3, by_ms } => by_ms,
            other => panic!("{other:?}"),
        })
        .collect::<Vec<f64>>()
    };
    for off in [40.0, -60.0, 120.0, 2_000.0, -100_000.0] {
        let by = told(off, true);
        assert!(by.len() == 1 && (by[0] + off).abs() < 2.0, "{off}: {by:?}");
    }
    for off in [0.0, 20.0, -30.0] {
        assert_eq!(told(off, true), [], "{off}");
    }
    // The search alone knows no more than a frame or two.
    assert_eq!(told(60.0, false), []);
    assert_eq!(told(2_000.0, false).len(), 1);
    // Beside another, who may move.
    members[3].fix = Some(Fix::Same {
        file_ms: 1_000_000.0 + 50.0,
        other: 0,
        other_file_ms: truth[3].line_to(&truth[0]).map(1_000_000.0),
    });
    let (placed, _) = solve(&members, &mut all_pairs(&truth));
    assert!(
        matches!(placed[3].warnings[..], [Warning::FixDisagrees { member: 3, by_ms }]
            if (by_ms - 50.0).abs() < 2.0),
        "{placed:?}"
    );
}

#[test]
fn what_could_not_be_heard_is_told_in_every_solve() {
    let (truth, track) = (three(), no_track());
    let mut pairs = all_pairs(&truth);
    for key in [(0, 1), (1, 2)] {
        pairs.get_mut(&key).unwrap().mute = (key.0 == 1, key.1 == 1);
    }
    for _ in 0..2 {
        let (placed, _) = solve(&members(&truth, &track), &mut pairs);
        assert_eq!(placed[1].warnings, [Warning::Unreadable { member: 1 }]);
        assert!(placed[0].warnings.is_empty() && placed[2].warnings.is_empty());
    }
}

#[test]
fn copies_lie_at_exactly_one_place() {
    let mut truth = three();
    truth.push(truth[1].clone());
    let track = no_track();
    let mut pairs = all_pairs(&truth);
    let copy = &mut pairs.get_mut(&(1, 3)).unwrap().stretches[0];
    copy.line.there_ms += 0.004;
    copy.line.ppm += 0.01;
    let fine = copy.fine.as_mut().unwrap();
    (fine.residual_ms, fine.agreement, fine.alike, fine.gain_db) = (0.004, 1.0, 0.99, -12.0);
    let only_copy = pairs[&(1, 3)].clone();
    // The copy was measured against one other, and not quite as the first was.
    pairs.remove(&(0, 3));
    pairs.get_mut(&(2, 3)).unwrap().stretches[0].line.there_ms += 0.3;
    let (placed, _) = solve(&members(&truth, &track), &mut pairs);
    assert_eq!(placed[1].placement, placed[3].placement);
    assert_eq!((placed[1].how, placed[3].how), (How::Sound, How::Sound));
    assert_eq!(
        placed[3].warnings,
        [Warning::Copy {
            member: 3,
            of: 1,
            gain_db: -12.0
        }]
    );
    assert!(pairs[&(1, 3)].used);

    // Two copies of one file are one recording of an event: nothing shared a room.
    let two = [truth[1].clone(), truth[3].clone()];
    let mut pairs = [((0, 1), only_copy.clone())].into();
    let (placed, _) = solve(&members(&two, &track), &mut pairs);
    assert_eq!(placed[0].placement, placed[1].placement);
    assert!(placed.iter().all(|p| (p.how, p.island) == (How::Joined, 0)));

    // A copy of the second piece of a take.
    let pieces = [truth[0].clone(), truth[1].clone(), truth[1].clone()];
    let mut members = members(&pieces, &track);
    (members[0].take, members[1].take) = (Some((7, 1)), Some((7, 2)));
    let mut pairs = [((1, 2), only_copy)].into();
    let (placed, _) = solve(&members, &mut pairs);
    assert_eq!(placed[1].placement, placed[2].placement);
    let after = placed[1].placement.start_ms() - placed[0].placement.event_at(HOUR);
    assert!(after.abs() < 1e-6, "{after}");
}
