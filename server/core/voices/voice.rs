//! Whose voice is this, and is that one the same?
//!
//! What is kept of a person's voice is biometric data: whoever stores a [`Voice`]
//! beyond the event it was learnt from needs a setting that says so, and a way to
//! delete it.

use std::fmt;

use super::params::VoiceParams;
use super::weights::WIDTH;

/// First byte of every stored voice: the form, and the model that made it.
const VERSION: u8 = 1;
const HEADER: usize = 9;

/// The middle of a voice over all that was heard of it.
#[derive(Clone, PartialEq)]
pub struct Voice {
    /// Of length 1.
    mean: Vec<f32>,
    speech_ms: u64,
}

/// Shows how much it is of, never the voice.
impl fmt::Debug for Voice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Voice of {} ms", self.speech_ms)
    }
}

/// Bytes that are no voice of this version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoVoice;

impl fmt::Display for NoVoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "not a voice of version {VERSION}")
    }
}

impl std::error::Error for NoVoice {}

impl Voice {
    /// The mean of voices, each with the ms of speech it counts as; `None` without any
    /// speech.
    #[must_use]
    pub fn of<'a>(parts: impl IntoIterator<Item = (&'a [f32], f32)>) -> Option<Self> {
        let mut sum = vec![0.0_f32; WIDTH];
        let mut speech_ms = 0.0;
        for (voice, ms) in parts {
            if ms > 0.0 && ms.is_finite() && voice.iter().all(|x| x.is_finite()) {
                sum.iter_mut().zip(voice).for_each(|(to, x)| *to += ms * x);
                speech_ms += ms;
            }
        }
        let length = sum.iter().map(|x| x * x).sum::<f32>().sqrt();
        let usable = length > 0.0 && length.is_finite();
        usable.then(|| Self {
            mean: sum.iter().map(|x| x / length).collect(),
            speech_ms: speech_ms as u64,
        })
    }

    /// How much speech it was learnt from, ms.
    #[must_use]
    pub fn speech_ms(&self) -> u64 {
        self.speech_ms
    }

    /// The voice itself, of length 1.
    pub(super) fn mean(&self) -> &[f32] {
        &self.mean
    }

    /// How alike two voices are: the cosine of the angle between them, 0 to 1.
    #[must_use]
    pub fn alike(&self, other: &Self) -> f32 {
        alike(&self.mean, &other.mean)
    }

    /// The form it is stored in: version, ms of speech, 256 numbers; little endian.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = vec![VERSION];
        bytes.extend(self.speech_ms.to_le_bytes());
        bytes.extend(self.mean.iter().flat_map(|x| x.to_le_bytes()));
        bytes
    }

    /// The voice that [`Self::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`NoVoice`], if it is none, or of a version that can't be compared.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, NoVoice> {
        let (header, body) = bytes.split_at_checked(HEADER).ok_or(NoVoice)?;
        let (version, speech) = header.split_first().ok_or(NoVoice)?;
        let speech_ms = u64::from_le_bytes(speech.try_into().map_err(|_| NoVoice)?);
        let (numbers, rest) = body.as_chunks::<4>();
        let mean: Vec<f32> = numbers
            .iter()
            .map(|four| f32::from_le_bytes(*four))
            .collect();
        let length = mean.iter().map(|x| x * x).sum::<f32>();
        let whole = *version == VERSION && rest.is_empty() && mean.len() == WIDTH;
        if whole && (length - 1.0).abs() < 1e-3 {
            Ok(Self { mean, speech_ms })
        } else {
            Err(NoVoice)
        }
    }
}

/// The voice among others that may be the same person's: which, and how alike, 0 to 1.
/// `None` where all are other people's, as far as can be told.
#[must_use]
pub fn same_voice(voice: &Voice, others: &[&Voice]) -> Option<(usize, f32)> {
    let each = others.iter().map(|other| voice.alike(other)).enumerate();
    let most = each.max_by(|a, b| a.1.total_cmp(&b.1));
    // Rooms and recorders are others: as alike as what one recorder alone heard.
    let [_, from] = VoiceParams::default().same;
    most.filter(|(_, alike)| *alike >= from)
}

/// Cosine of two voices of length 1; 0 where one is no number.
pub(super) fn alike(a: &[f32], b: &[f32]) -> f32 {
    let cosine: f32 = a.iter().zip(b).map(|(a, b)| a * b).sum();
    if cosine.is_finite() { cosine } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn axis(n: usize) -> Vec<f32> {
        (0..WIDTH).map(|k| f32::from(u8::from(k == n))).collect()
    }

    #[test]
    fn the_mean_leans_to_what_was_heard_longer() {
        let (a, b) = (axis(0), axis(1));
        let voice = Voice::of([(&a[..], 3_000.0), (&b[..], 1_000.0)]).unwrap();
        let of = |axis: &[f32]| Voice::of([(axis, 1.0)]).unwrap();
        assert_eq!(voice.speech_ms(), 4_000);
        assert!((voice.alike(&of(&a)) - 3.0 / 10f32.sqrt()).abs() < 1e-6);
        assert!((voice.alike(&of(&b)) - 1.0 / 10f32.sqrt()).abs() < 1e-6);
        assert_eq!(of(&a).alike(&of(&b)), 0.0);
    }

    #[test]
    fn no_speech_is_no_voice() {
        let (none, spoilt) = (vec![0.0; WIDTH], vec![f32::NAN; WIDTH]);
        assert_eq!(Voice::of([]), None);
        assert_eq!(Voice::of([(&none[..], 5.0), (&spoilt[..], 5.0)]), None);
        assert_eq!(Voice::of([(&axis(0)[..], f32::NAN)]), None);
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(numbers in prop::collection::vec(0.0_f32..1.0, WIDTH), ms in 1.0_f32..1e7) {
            if let Some(voice) = Voice::of([(&numbers[..], ms)]) {
                let bytes = voice.to_bytes();
                prop_assert_eq!(Voice::from_bytes(&bytes), Ok(voice));
                prop_assert_eq!(Voice::from_bytes(&bytes[1..]), Err(NoVoice));
            }
        }

        #[test]
        fn any_bytes_are_answered(bytes in prop::collection::vec(any::<u8>(), 0..1_100)) {
            let _ = Voice::from_bytes(&bytes);
        }
    }
}
