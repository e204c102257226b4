//! What was listened to, as bytes: so that nobody has to listen twice.

use std::fmt;

use super::listen::{Glance, Listened, levels};
use super::weights::WIDTH;

/// First byte: the form, and the model that listened.
const VERSION: u8 = 1;
/// Largest counts that are believed: half a day of steps.
const MOST: usize = 500_000;

/// Bytes that are nothing listened to, or of another version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotListened;

impl fmt::Display for NotListened {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "nothing listened to by version {VERSION}")
    }
}

impl std::error::Error for NotListened {}

impl Listened {
    /// What can be said of samples (mono, 16 kHz) without a voice model: their levels.
    #[must_use]
    pub fn without_voices(samples: &[f32]) -> Self {
        Self {
            glances: Vec::new(),
            levels_dbfs: levels(samples),
        }
    }

    /// The form it is kept in: version, number of levels, levels, glances; little
    /// endian.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = vec![VERSION];
        let count = u32::try_from(self.levels_dbfs.len()).unwrap_or(0);
        bytes.extend(count.to_le_bytes());
        let levels = self.levels_dbfs.iter().take(count as usize);
        bytes.extend(levels.flat_map(|level| level.to_le_bytes()));
        for glance in self.glances.iter().filter(|g| g.voice.len() == WIDTH) {
            bytes.extend(glance.from_ms.to_le_bytes());
            bytes.extend(glance.to_ms.to_le_bytes());
            bytes.extend(glance.voiced.to_le_bytes());
            bytes.extend(glance.voice.iter().flat_map(|x| x.to_le_bytes()));
        }
        bytes
    }

    /// What [`Self::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`NotListened`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, NotListened> {
        let mut reader = Reader(bytes);
        if reader.take::<1>()? != [VERSION] {
            return Err(NotListened);
        }
        let count = u32::from_le_bytes(reader.take()?) as usize;
        if count > MOST || count * 4 > reader.0.len() {
            return Err(NotListened);
        }
        let mut listened = Self::default();
        for _ in 0..count {
            listened.levels_dbfs.push(reader.number()?);
        }
        while !reader.0.is_empty() {
            let from_ms = i64::from_le_bytes(reader.take()?);
            let to_ms = i64::from_le_bytes(reader.take()?);
            let voiced = reader.number()?;
            let voice: Result<Vec<f32>, _> = (0..WIDTH).map(|_| reader.number()).collect();
            listened.glances.push(Glance {
                from_ms,
                to_ms,
                voiced,
                voice: voice?,
            });
        }
        Ok(listened)
    }
}

struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], NotListened> {
        let (first, rest) = self.0.split_first_chunk::<N>().ok_or(NotListened)?;
        self.0 = rest;
        Ok(*first)
    }

    fn number(&mut self) -> Result<f32, NotListened> {
        let number = f32::from_le_bytes(self.take()?);
        if number.is_finite() {
            Ok(number)
        } else {
            Err(NotListened)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn levels_come_without_a_model() {
        let listened = Listened::without_voices(&[0.1; 4_000]);
        assert_eq!(listened.levels_dbfs.len(), 3);
        assert!((listened.levels_dbfs[0] + 20.0).abs() < 0.01);
        assert!(listened.glances.is_empty());
    }

    proptest! {
        #[test]
        fn what_is_kept_is_the_same(
            levels_dbfs in prop::collection::vec(-120.0_f32..0.0, 0..40),
            froms in prop::collection::vec(-1_000_i64..100_000, 0..5),
            number in 0.0_f32..1.0,
        ) {
            let glances = froms.iter().map(|from| Glance {
                from_ms: *from,
                to_ms: from + 1_600,
                voiced: number,
                voice: vec![number; WIDTH],
            });
            let listened = Listened { glances: glances.collect(), levels_dbfs };
            prop_assert_eq!(Listened::from_bytes(&listened.to_bytes()), Ok(listened));
        }

        #[test]
        fn any_bytes_are_answered(bytes in prop::collection::vec(any::<u8>(), 0..3_000)) {
            let _ = Listened::from_bytes(&bytes);
        }
    }
}
