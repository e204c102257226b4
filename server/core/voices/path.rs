//! Who speaks in each step, given what each step says and that speakers seldom change?
//!
//! A hidden Markov model with one state for each speaker: the forward-backward
//! recursion (Baum et al. 1970; Rabiner, *Proc. IEEE* 77(2), 1989), scaled so that
//! probabilities of a step sum to 1.

/// The probability of each state in each step. `says` has a row of log-likelihoods for
/// each step, all of one length; `change` the log-odds that the state changes between
/// a step and the next, to each other state alike. What is no number counts as 0.
pub(super) fn posterior(says: &[Vec<f32>], prior: &[f32], change: &[f32]) -> Vec<Vec<f32>> {
    let states = prior.len();
    if states == 0 {
        return vec![Vec::new(); says.len()];
    }
    let rows: Vec<Vec<f64>> = says.iter().map(|row| likelihoods(row, states)).collect();
    let start = likelihoods(prior, states);
    let odds =
        |step: usize| f64::from(change.get(step).copied().unwrap_or(0.0).clamp(-30.0, 0.0)).exp();
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(rows.len());
    for (step, row) in rows.iter().enumerate() {
        let before = match forward.last() {
            Some(before) => moved(before, odds(step - 1)),
            None => start.clone(),
        };
        forward.push(scaled(before.iter().zip(row).map(|(a, b)| a * b).collect()));
    }
    let mut backward = vec![1.0; states];
    let mut result = vec![Vec::new(); rows.len()];
    for step in (0..rows.len()).rev() {
        let both = forward[step].iter().zip(&backward).map(|(a, b)| a * b);
        result[step] = scaled(both.collect())
            .into_iter()
            .map(|p| p as f32)
            .collect();
        let seen: Vec<f64> = rows[step]
            .iter()
            .zip(&backward)
            .map(|(a, b)| a * b)
            .collect();
        backward = scaled(moved(&seen, step.checked_sub(1).map_or(1.0, odds)));
    }
    result
}

/// A row of log-likelihoods as likelihoods, the greatest 1; none is quite impossible.
fn likelihoods(row: &[f32], states: usize) -> Vec<f64> {
    let number = |n: usize| {
        let said = row.get(n).copied().unwrap_or(0.0);
        if said.is_finite() {
            f64::from(said)
        } else {
            0.0
        }
    };
    let most = (0..states).map(number).fold(f64::NEG_INFINITY, f64::max);
    (0..states)
        .map(|n| (number(n) - most).max(-200.0).exp())
        .collect()
}

/// One step on: stay, or change to any other state, with `odds` against staying.
fn moved(from: &[f64], odds: f64) -> Vec<f64> {
    let others = from.len().saturating_sub(1).max(1) as f64;
    let (stay, change) = (1.0 / (1.0 + odds), odds / (1.0 + odds) / others);
    let all: f64 = from.iter().sum();
    from.iter()
        .map(|p| p * stay + (all - p).max(0.0) * change)
        .collect()
}

fn scaled(mut row: Vec<f64>) -> Vec<f64> {
    let sum: f64 = row.iter().sum();
    if sum > 0.0 && sum.is_finite() {
        row.iter_mut().for_each(|p| *p /= sum);
    } else {
        let even = 1.0 / row.len().max(1) as f64;
        row.fill(even);
    }
    row
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The sum over all paths, by the definition.
    fn naive(says: &[Vec<f32>], prior: &[f32], change: &[f32]) -> Vec<Vec<f64>> {
        let (steps, states) = (says.len(), prior.len());
        let mut sums = vec![vec![0.0; states]; steps];
        for path in 0..states.pow(steps as u32) {
            let at = |step: usize| path / states.pow(step as u32) % states;
            let mut p = f64::from(prior[at(0)]).exp();
            for step in 0..steps {
                p *= f64::from(says[step][at(step)]).exp();
                if step > 0 {
                    let odds = f64::from(change[step - 1]).exp();
                    let others = (states - 1).max(1) as f64;
                    p *= if at(step) == at(step - 1) {
                        1.0
                    } else {
                        odds / others
                    } / (1.0 + odds);
                }
            }
            (0..steps).for_each(|step| sums[step][at(step)] += p);
        }
        for row in &mut sums {
            let all: f64 = row.iter().sum();
            row.iter_mut().for_each(|p| *p /= all);
        }
        sums
    }

    proptest! {
        #[test]
        fn it_is_the_sum_over_all_paths(
            says in prop::collection::vec(prop::collection::vec(-3.0_f32..3.0, 3), 1..6),
            prior in prop::collection::vec(-1.0_f32..1.0, 3),
            change in prop::collection::vec(-5.0_f32..0.0, 6),
        ) {
            let found = posterior(&says, &prior, &change);
            for (row, wanted) in found.iter().zip(naive(&says, &prior, &change)) {
                for (p, wanted) in row.iter().zip(wanted) {
                    prop_assert!((f64::from(*p) - wanted).abs() < 1e-5);
                }
            }
        }
    }

    #[test]
    fn anything_at_all_is_a_distribution() {
        let says = vec![vec![f32::NAN, f32::INFINITY], vec![-1e30, 1e30], Vec::new()];
        for row in posterior(&says, &[f32::NAN, 0.0], &[f32::NAN]) {
            assert!((row.iter().sum::<f32>() - 1.0).abs() < 1e-5, "{row:?}");
        }
        assert!(posterior(&says, &[], &[])[2].is_empty());
    }
}
