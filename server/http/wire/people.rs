//! Who speaks, and who wears what.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, Person};

/// The people of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PersonList {
    /// The event.
    pub event: EventRef,
    /// Those with a name first.
    pub people: Vec<PersonDetail>,
}

/// Someone who speaks in an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PersonDetail {
    /// The person's id.
    pub id: String,
    /// What they are called; `speaker 1` until somebody names them.
    pub name: String,
    /// Their part in the day.
    #[schema(required)]
    pub role: Option<String>,
    /// Whether nobody has named them yet.
    pub unnamed: bool,
    /// How many moments they speak in.
    pub moments: i64,
    /// How long those are together, ms.
    pub spoken_ms: i64,
    /// Whether anything is kept of their voice.
    pub has_voice: bool,
    /// What they wear.
    pub wears: Vec<Worn>,
    /// Who of another event they may be; null unless that is turned on.
    #[schema(required)]
    pub perhaps: Option<Perhaps>,
}

/// A source that somebody wears.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Worn {
    /// The source's id.
    pub source: String,
    /// What the crew calls it.
    pub label: String,
    /// From which instant of the event clock on, ms; null for the start.
    #[schema(required)]
    pub from_ms: Option<i64>,
}

/// A person of another event whose voice is alike: a guess.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Perhaps {
    /// What they are called there.
    pub name: String,
    /// The title of that event.
    pub event: String,
    /// How alike the voices are, 0 to 1.
    pub alike: f32,
}

/// A new person.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct NewPerson {
    /// What they are called.
    #[schema(pattern = "\\S", max_length = 80)]
    pub name: String,
    /// Their part in the day.
    #[serde(default)]
    #[schema(max_length = 80)]
    pub role: Option<String>,
}

/// What changes of a person; what is left out stays.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct PersonChange {
    /// What they are called; it names everything an unnamed speaker said.
    #[schema(pattern = "\\S", max_length = 80)]
    pub name: Option<String>,
    /// Their part in the day; empty for none.
    #[schema(max_length = 80)]
    pub role: Option<String>,
}

/// Whom a person is, in truth.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct Merge {
    /// The id of the one who stays.
    pub into: String,
    /// Who says so.
    #[schema(pattern = "\\S", max_length = 80)]
    pub by: String,
}

/// Who wears a source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Wearers {
    /// By time; nobody where it is empty.
    #[schema(max_items = 200)]
    pub wearers: Vec<Wearer>,
}

/// Somebody who wears a source.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Wearer {
    /// The person's id.
    pub person: String,
    /// From which instant of the event clock on, ms; left out or null for the start.
    #[serde(default)]
    #[schema(required)]
    pub from_ms: Option<i64>,
}

/// Who speaks in a moment.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct ToldSpeaker {
    /// The person's id; null takes back what was said.
    #[schema(required)]
    pub person: Option<String>,
    /// Who says so.
    #[schema(pattern = "\\S", max_length = 80)]
    pub by: String,
}

/// Who speaks in a moment, as far as it is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MomentSpeaker {
    /// The moment's id.
    pub moment: String,
    /// Who; null where it is not known.
    #[schema(required)]
    pub person: Option<super::Speaker>,
    /// Who speaks at the same time.
    #[schema(required)]
    pub also: Option<Person>,
}

/// What may be done with voices beyond their own event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct VoiceRules {
    /// Whether people of one event are looked for among those of others, by voice.
    pub across_events: bool,
}
