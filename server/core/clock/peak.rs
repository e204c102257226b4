//! Where is the top of a peak that is known in steps?

/// The top of the parabola through three values a step apart: how far from the
/// middle one, in steps, and how high. Without a top between its neighbours it is
/// the middle one.
pub(super) fn top(left: f32, middle: f32, right: f32) -> (f32, f32) {
    let bend = left - 2.0 * middle + right;
    if bend >= 0.0 || bend.is_nan() {
        return (0.0, middle);
    }
    let shift = (0.5 * (left - right) / bend).clamp(-0.5, 0.5);
    (shift, middle - 0.25 * (left - right) * shift)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_top_of_a_parabola_is_where_it_was_put() {
        for at in [-0.5, -0.2, 0.0, 0.31_f32] {
            let value = |x: f32| 5.0 - 3.0 * (x - at).powi(2);
            let (shift, height) = top(value(-1.0), value(0.0), value(1.0));
            assert!((shift - at).abs() < 1e-6 && (height - 5.0).abs() < 1e-6);
        }
        for (left, middle, right) in [(1.0, 1.0, 1.0), (2.0, 0.0, 3.0), (f32::NAN, 1.0, 0.0)] {
            assert_eq!(top(left, middle, right), (0.0, middle));
        }
    }
}
