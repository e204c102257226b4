//! What people put right: what is asked, what became of it, and the history.

use serde::{Deserialize, Deserializer, Serialize};
use utoipa::ToSchema;

use super::{Moment, RecordingRef, Word};

/// A moment with its words, as somebody needs it who puts it right.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MomentDetail {
    /// The moment.
    #[serde(flatten)]
    pub moment: Moment,
    /// Word by word, at their times in the file of `words_from`.
    pub words: Vec<Word>,
    /// What speech models heard, whatever the words are now.
    pub heard: Vec<HeardText>,
}

/// What a speech model heard of a moment in one recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HeardText {
    /// The recording.
    pub recording: RecordingRef,
    /// The model.
    pub model: String,
    /// The words; empty when it heard none.
    pub text: String,
}

/// The moments that there are now in the place of one that was changed, that one
/// first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Fixed {
    /// Two after a split, or when a join is undone.
    pub moments: Vec<MomentDetail>,
}

/// A new text for a moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewText {
    /// The version of the moment that this is a change of.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Who changes it.
    #[schema(min_length = 1, max_length = 100)]
    pub by: String,
    /// All its words; empty when nothing was said.
    #[schema(max_length = 20_000)]
    pub text: String,
}

/// Another moment that is to be one with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Join {
    /// The version of the moment that this is a change of.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Who changes it.
    #[schema(min_length = 1, max_length = 100)]
    pub by: String,
    /// The other moment, next to it on the same clock; it is no more afterwards.
    pub with: String,
    /// The version of that one.
    #[serde(deserialize_with = "whole")]
    pub with_version: i64,
}

/// Where a moment is to become two: `at_word` or `at_ms`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Split {
    /// The version of the moment that this is a change of.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Who changes it.
    #[schema(min_length = 1, max_length = 100)]
    pub by: String,
    /// Before this word, counted from 0.
    #[serde(default, deserialize_with = "whole_or_none")]
    #[schema(minimum = 1)]
    pub at_word: Option<i64>,
    /// At this instant in the file of `words_from`, ms.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub at_ms: Option<i64>,
}

/// Other times for a moment or its words, in the file of `words_from`, ms; what is
/// left out stays.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTimes {
    /// The version of the moment that this is a change of.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Who changes it.
    #[schema(min_length = 1, max_length = 100)]
    pub by: String,
    /// Where the moment starts.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub start_ms: Option<i64>,
    /// Where it ends.
    #[serde(default, deserialize_with = "whole_or_none")]
    pub end_ms: Option<i64>,
    /// When words are said.
    #[serde(default)]
    pub words: Vec<NewWordTimes>,
}

/// When a word is said.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewWordTimes {
    /// Which word, counted from 0.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 0)]
    pub word: i64,
    /// Where it starts, ms.
    #[serde(deserialize_with = "whole")]
    pub start_ms: i64,
    /// Where it ends, ms.
    #[serde(deserialize_with = "whole")]
    pub end_ms: i64,
}

/// To go back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Undo {
    /// The version of the moment that this is a change of.
    #[serde(deserialize_with = "whole")]
    pub version: i64,
    /// Who changes it.
    #[schema(min_length = 1, max_length = 100)]
    pub by: String,
    /// The version to go back to.
    #[serde(deserialize_with = "whole")]
    pub to: i64,
}

/// A page of what people did to a moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChangeList {
    /// How many changes there are in all; `changes` holds one page of them.
    pub total: i64,
    /// The newest first.
    pub changes: Vec<Change>,
}

/// Something a person did.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Change {
    /// The version that the moment got by it.
    pub version: i64,
    /// `words`, `join`, `split`, `times` or `undo`.
    pub kind: String,
    /// By whom.
    pub by: String,
    /// When, RFC 3339.
    pub at: String,
    /// The moments it was about, as they were.
    pub before: Vec<Was>,
    /// And as it left them.
    pub after: Vec<Was>,
}

/// A moment at some version.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Was {
    /// The moment's id.
    pub moment: String,
    /// The version.
    pub version: i64,
    /// The text; null where nobody had listened yet.
    #[schema(required)]
    pub text: Option<String>,
    /// The recording in whose file the times are.
    pub timed_in: String,
    /// Start there, ms.
    pub start_ms: i64,
    /// End there, ms.
    pub end_ms: i64,
    /// Word by word.
    pub words: Vec<Word>,
}

/// What is listened to again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ListenAgain {
    /// Recordings in which something had been heard, by another model unless all is heard
    /// anew.
    pub recordings: u64,
}

/// A whole number, also where it is written with a point: JSON has but one kind.
#[derive(Deserialize)]
#[serde(untagged)]
enum Whole {
    Plain(i64),
    Pointed(f64),
}

/// What no number of 64 bits reaches, 2^63.
const BEYOND: f64 = 9_223_372_036_854_775_808.0;

impl Whole {
    fn number<E: serde::de::Error>(self) -> Result<i64, E> {
        let number = match self {
            Self::Plain(number) => Some(number),
            Self::Pointed(number) => {
                (number.fract() == 0.0 && number.abs() < BEYOND).then_some(number as i64)
            }
        };
        number.ok_or_else(|| E::custom("this is to be a whole number in range"))
    }
}

pub(super) fn whole<'de, D: Deserializer<'de>>(from: D) -> Result<i64, D::Error> {
    Whole::deserialize(from)?.number()
}

/// A whole number that is not below 0.
pub(super) fn whole_up<'de, D: Deserializer<'de>>(from: D) -> Result<u64, D::Error> {
    let number = Whole::deserialize(from)?.number()?;
    u64::try_from(number).map_err(|_| serde::de::Error::custom("it must be 0 or more"))
}

pub(super) fn whole_or_none<'de, D: Deserializer<'de>>(from: D) -> Result<Option<i64>, D::Error> {
    Option::<Whole>::deserialize(from)?
        .map(Whole::number)
        .transpose()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_number_may_have_a_point() {
        let read = |version: &str| -> Result<i64, serde_json::Error> {
            let text = format!(r#"{{"version": {version}, "by": "a", "text": ""}}"#);
            serde_json::from_str(&text).map(|asked: NewText| asked.version)
        };
        for (text, number) in [("7", 7), ("7.0", 7), ("-2e3", -2_000)] {
            assert_eq!(read(text).ok(), Some(number), "{text}");
        }
        for text in ["7.5", "1e300", "\"7\"", "null", "true"] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
