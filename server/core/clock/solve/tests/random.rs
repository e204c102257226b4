//! Random events, measured with noise.

use proptest::prelude::*;

use super::made::*;
use super::solve;
use crate::clock::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Random recordings, measured with noise; one pair in eight says nonsense.
    #[test]
    fn random_events_are_recovered(seed in any::<u64>(), count in 4_usize..10) {
        let mut dice = Dice(seed);
        let truth: Vec<True> = (0..count).map(|_| True::new(
            dice.between(0.0, 0.5 * HOUR), dice.between(-100.0, 100.0), dice.between(HOUR, 2.0 * HOUR),
        )).collect();
        let track = no_track();
        let mut pairs = all_pairs(&truth);
        let gross = pairs.len() / 8;
        let mut left = gross;
        let keys: Vec<(usize, usize)> = pairs.keys().copied().collect();
        for (n, key) in keys.iter().enumerate() {
            let stretch = &mut pairs.get_mut(key).unwrap().stretches[0];
            // Half of the 95 % that is claimed.
            stretch.line.there_ms += 0.25 * dice.normal();
            stretch.line.ppm += 0.25 * dice.normal();
            let spread = keys.len() - n;
            if left > 0 && dice.roll() * (spread as f64) < left as f64 {
                left -= 1;
                stretch.line.there_ms += if dice.roll() < 0.5 { -1.0 } else { 1.0 } * dice.between(1_000.0, 1e6);
            }
        }
        let (placed, warnings) = solve(&members(&truth, &track), &mut pairs);
        let worst = worst(&truth, &placed, &(0..count).collect::<Vec<_>>());
        prop_assert!(worst < 2.0, "{worst} ms; {warnings:?}");
        prop_assert_eq!(pairs.values().filter(|pair| !pair.used).count(), gross - left);
        prop_assert!(placed.iter().all(|p| p.how == How::Sound && p.island == 0));
    }
}
