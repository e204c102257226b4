//! Which thing does this id name?
//!
//! An id of one kind can't be given where another kind is asked for.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

macro_rules! text_id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(
            Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type,
        )]
        #[serde(transparent)]
        #[sqlx(transparent)]
        pub struct $name(pub String);

        impl $name {
            /// The id as it goes over the wire.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<&str> for $name {
            fn from(id: &str) -> Self {
                Self(id.to_owned())
            }
        }

        impl From<String> for $name {
            fn from(id: String) -> Self {
                Self(id)
            }
        }
    };
}

text_id!(
    /// Names an event: a UUIDv7, so ids sort by age.
    EventId
);
text_id!(
    /// Names a person of an event: a UUIDv7.
    PersonId
);
text_id!(
    /// Names a source of an event: a UUIDv7.
    SourceId
);
text_id!(
    /// Names one added path or upload: a UUIDv7.
    IntakeId
);
text_id!(
    /// Names a moment: a UUIDv7.
    MomentId
);
text_id!(
    /// Names a written text of an event: a UUIDv7.
    ScriptId
);
text_id!(
    /// Names a cut list of an event: a UUIDv7.
    CutId
);
text_id!(
    /// Names a quote of a cut list: a UUIDv7.
    QuoteId
);
text_id!(
    /// Names a recording by its sound: see [`RecordingId::of`].
    RecordingId
);

macro_rules! fresh {
    ($($name:ident),+) => {$(
        impl $name {
            /// A new id that nothing else has.
            #[must_use]
            pub fn fresh() -> Self {
                Self(uuid::Uuid::now_v7().to_string())
            }
        }
    )+};
}
fresh!(
    EventId, PersonId, SourceId, IntakeId, MomentId, ScriptId, CutId, QuoteId
);

impl RecordingId {
    /// The id of the recording that holds `pick` ('mix' or a channel number) of
    /// the file with this content hash in this event: 'r' and the first 16
    /// hexadecimal digits of BLAKE3 over the three, each ended by a zero byte.
    ///
    /// ```
    /// use sayback::store::{EventId, RecordingId};
    /// let event = EventId::from("e");
    /// let one = RecordingId::of(&event, "aa", "mix");
    /// assert_eq!(one, RecordingId::of(&event, "aa", "mix"));
    /// assert_ne!(one, RecordingId::of(&event, "aa", "1"));
    /// assert_eq!(one.as_str().len(), 17);
    /// ```
    #[must_use]
    pub fn of(event: &EventId, content_hash: &str, pick: &str) -> Self {
        let mut hasher = blake3::Hasher::new();
        for part in [event.as_str(), content_hash, pick] {
            hasher.update(part.as_bytes()).update(&[0]);
        }
        Self(format!("r{}", &hasher.finalize().to_hex().as_str()[..16]))
    }
}

macro_rules! number_id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, sqlx::Type)]
        #[sqlx(transparent)]
        pub struct $name(pub i64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = std::num::ParseIntError;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }

        impl Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
    };
}

number_id!(
    /// Names a segment; a string of digits on the wire.
    SegmentId
);
number_id!(
    /// Names a job of the queue; a string of digits on the wire.
    JobId
);
