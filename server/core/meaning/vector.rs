//! A direction in 384 dimensions, and the bytes it is kept in.

use std::fmt;

use super::weights::WIDTH;

/// Bytes a kept direction takes: a scale, then a signed byte a number.
pub const KEPT_VECTOR_BYTES: usize = 4 + WIDTH;

/// What a text means: where it points. Length 1, or 0 for none.
#[derive(Clone, Debug, PartialEq)]
pub struct Meaning(Box<[f32]>);

/// Bytes that are no kept direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoMeaning;

impl fmt::Display for NoMeaning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "no direction of {KEPT_VECTOR_BYTES} bytes")
    }
}

impl std::error::Error for NoMeaning {}

impl Meaning {
    /// The direction of these numbers; missing ones count as 0, and what is no number
    /// points nowhere.
    #[must_use]
    pub fn towards(numbers: &[f32]) -> Self {
        let mut all: Vec<f32> = numbers.iter().copied().take(WIDTH).collect();
        all.resize(WIDTH, 0.0);
        let length = all.iter().map(|x| x * x).sum::<f32>().sqrt();
        let usable = length.is_finite() && length > 0.0;
        all.iter_mut()
            .for_each(|x| *x = if usable { *x / length } else { 0.0 });
        Self(all.into())
    }

    /// Its numbers.
    #[must_use]
    pub fn numbers(&self) -> &[f32] {
        &self.0
    }

    /// The cosine between two, -1 to 1; 0 with one that points nowhere.
    #[must_use]
    pub fn likeness(&self, other: &Self) -> f32 {
        self.0.iter().zip(&other.0).map(|(a, b)| a * b).sum()
    }

    /// The form it is kept in: the largest number over 127 (f32), then every number over
    /// that, rounded to a byte; little endian. Likeness moves by less than 0.002.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let most = self.0.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
        let scale = most / 127.0;
        let mut bytes = scale.to_le_bytes().to_vec();
        let over = |x: &f32| if scale > 0.0 { x / scale } else { 0.0 };
        bytes.extend(
            self.0
                .iter()
                .flat_map(|x| (over(x).round() as i8).to_le_bytes()),
        );
        bytes
    }

    /// What [`Self::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`NoMeaning`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, NoMeaning> {
        let (scale, numbers) = split(bytes)?;
        let numbers: Vec<f32> = numbers
            .iter()
            .map(|x| f32::from(*x as i8) * scale)
            .collect();
        Ok(Self::towards(&numbers))
    }

    /// The form a question takes to be compared with very many kept ones.
    #[must_use]
    pub fn to_question(&self) -> Question {
        let bytes = self.to_bytes();
        let (scale, numbers) = split(&bytes).unwrap_or((0.0, &[]));
        Question {
            numbers: numbers.iter().map(|x| i16::from(*x as i8)).collect(),
            scale,
        }
    }
}

/// A direction to be compared with very many kept ones.
#[derive(Clone, Debug)]
pub struct Question {
    numbers: Vec<i16>,
    scale: f32,
}

impl Question {
    /// The likeness to a kept direction, within 0.004; `None` for bytes that are none.
    #[must_use]
    pub fn likeness(&self, kept: &[u8]) -> Option<f32> {
        let (scale, numbers) = split(kept).ok()?;
        let products = self.numbers.iter().zip(numbers);
        let sum: i32 = products
            .map(|(a, b)| i32::from(*a) * i32::from(*b as i8))
            .sum();
        let likeness = sum as f32 * scale * self.scale;
        likeness.is_finite().then_some(likeness)
    }
}

fn split(bytes: &[u8]) -> Result<(f32, &[u8]), NoMeaning> {
    let (scale, numbers) = bytes.split_first_chunk::<4>().ok_or(NoMeaning)?;
    if numbers.len() == WIDTH {
        Ok((f32::from_le_bytes(*scale), numbers))
    } else {
        Err(NoMeaning)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn some() -> impl Strategy<Value = Meaning> {
        prop::collection::vec(-1.0_f32..1.0, WIDTH).prop_map(|numbers| Meaning::towards(&numbers))
    }

    #[test]
    fn nothing_points_nowhere() {
        for numbers in [&[][..], &[f32::NAN; 3], &[f32::MAX; WIDTH]] {
            let none = Meaning::towards(numbers);
            assert_eq!(none.likeness(&none), 0.0);
            assert_eq!(Meaning::from_bytes(&none.to_bytes()), Ok(none.clone()));
            assert_eq!(none.to_question().likeness(&none.to_bytes()), Some(0.0));
        }
    }

    proptest! {
        #[test]
        fn what_is_kept_points_the_same_way(one in some(), other in some()) {
            let kept = one.to_bytes();
            prop_assert_eq!(kept.len(), KEPT_VECTOR_BYTES);
            let again = Meaning::from_bytes(&kept).unwrap();
            prop_assert!(again.likeness(&one) > 0.999);
            let exact = one.likeness(&other);
            prop_assert!((again.likeness(&other) - exact).abs() < 0.002);
            let quick = other.to_question().likeness(&kept).unwrap();
            prop_assert!((quick - exact).abs() < 0.004);
        }

        #[test]
        fn any_bytes_are_answered(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            let _ = Meaning::from_bytes(&bytes);
            let _ = Meaning::towards(&[1.0]).to_question().likeness(&bytes);
        }
    }
}
