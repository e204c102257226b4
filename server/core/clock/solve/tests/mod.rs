//! Made-up measurements, with the truth known.

mod known;
mod made;
mod order;
mod random;
mod sure;

use std::collections::BTreeMap;

use super::solve;
use crate::clock::*;
use made::*;

#[test]
fn nobody_and_one_alone() {
    assert_eq!(solve(&[], &mut BTreeMap::new()), (vec![], vec![]));
    let track = no_track();
    let (placed, warnings) = solve(
        &members(&[True::new(7.0, 0.0, 1_000.0)], &track),
        &mut BTreeMap::new(),
    );
    assert!(warnings.is_empty());
    assert_eq!((placed[0].island, placed[0].how), (0, How::Joined));
    assert_eq!(placed[0].placement, Placement::even(0.0, 0.0));
}

#[test]
fn three_that_agree_are_placed_from_the_first_sound() {
    let (truth, track) = (three(), no_track());
    let mut pairs = all_pairs(&truth);
    let (placed, warnings) = solve(&members(&truth, &track), &mut pairs);
    assert!(warnings.is_empty(), "{warnings:?}");
    assert!(placed.iter().all(|p| p.how == How::Sound && p.island == 0));
    assert!(pairs.values().all(|pair| pair.used));
    assert!(placed[0].placement.start_ms().abs() < 1e-6);
    assert!(worst(&truth, &placed, &[0, 1, 2]) < 0.05);
    assert!(
        placed.iter().all(|p| p.uncertainty_ms.unwrap() < 3.0),
        "{placed:?}"
    );
}

#[test]
fn an_outlier_in_a_loop_is_thrown_out_and_told() {
    let mut truth = three();
    truth.push(True::new(300_000.0, 0.0, HOUR));
    let track = no_track();
    let mut pairs = all_pairs(&truth);
    pairs.get_mut(&(0, 2)).unwrap().stretches[0].line.there_ms += 184_000.0;
    let (placed, warnings) = solve(&members(&truth, &track), &mut pairs);
    assert!(worst(&truth, &placed, &[0, 1, 2, 3]) < 0.05);
    assert!(!pairs[&(0, 2)].used && pairs[&(0, 1)].used);
    assert!(
        matches!(warnings[..], [Warning::Outlier { a: 0, b: 2, by_ms }] if (by_ms - 184_000.0).abs() < 1_000.0)
    );
}

#[test]
fn what_shares_no_sound_is_an_island() {
    let mut truth = three();
    truth.push(True::new(9.0 * HOUR, 0.0, HOUR));
    truth.push(True::new(9.0 * HOUR + 5_000.0, 0.0, HOUR));
    truth.push(True::new(20.0 * HOUR, 0.0, HOUR));
    let track = no_track();
    let (placed, _) = solve(&members(&truth, &track), &mut all_pairs(&truth));
    let islands: Vec<u32> = placed.iter().map(|p| p.island).collect();
    assert_eq!(islands, [0, 0, 0, 1, 1, 2]);
    assert_eq!(placed[3].how, How::Sound);
    assert!((placed[4].placement.start_ms() - 5_000.0).abs() < 0.1);
    assert_eq!(
        (placed[5].how, placed[5].uncertainty_ms),
        (How::Unplaced, None)
    );
}

#[test]
fn a_tie_is_told_and_not_used() {
    let (truth, track) = (three()[..2].to_vec(), no_track());
    let mut pairs = all_pairs(&truth);
    pairs.get_mut(&(0, 1)).unwrap().finding = Finding::Tie;
    let (placed, warnings) = solve(&members(&truth, &track), &mut pairs);
    assert_eq!(warnings, [Warning::Tie { a: 0, b: 1 }]);
    assert!(
        placed
            .iter()
            .all(|p| p.how == How::Unplaced && p.island > 0)
    );
    assert!(!pairs[&(0, 1)].used);
}
