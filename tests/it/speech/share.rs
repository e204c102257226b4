//! What do most of some numbers not exceed?

/// The least of some numbers that a share of them, 0 to 1, does not exceed; 0 of none.
pub fn below(list: &[f64], share: f64) -> f64 {
    let mut list = list.to_vec();
    list.sort_by(f64::total_cmp);
    let held = (list.len() as f64 * share).ceil() as usize;
    list.get(held.saturating_sub(1)).copied().unwrap_or(0.0)
}

#[test]
fn at_least_that_share_is_not_above_it() {
    let list: Vec<f64> = (1..=30).rev().map(f64::from).collect();
    // 28 of 30 are 93 %.
    assert_eq!(
        [below(&list, 0.5), below(&list, 0.95), below(&list, 1.0)],
        [15.0, 29.0, 30.0]
    );
    assert_eq!(
        [below(&[7.0], 0.95), below(&[7.0], 0.0), below(&[], 0.5)],
        [7.0, 7.0, 0.0]
    );
}
