//! An event as a whole, to be drawn.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, Person};

/// All moments of an event's clock, without their words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Outline {
    /// The event.
    pub event: EventRef,
    /// Who is there.
    pub people: Vec<Person>,
    /// Its recordings by id.
    pub recordings: Vec<String>,
    /// The moments.
    pub moments: OutlineMoments,
}

/// Moments in order of time, a list for each thing that is known of them: the `n`th of
/// every list is of the same moment.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OutlineMoments {
    /// Its id.
    pub id: Vec<String>,
    /// Start on the event clock, ms.
    pub start_ms: Vec<i64>,
    /// End on the event clock, ms, exclusive.
    pub end_ms: Vec<i64>,
    /// Who speaks, by their place in `people`; null where that is not known.
    pub person: Vec<Option<usize>>,
    /// How sure that is, 0 to 1, in hundredths; null until it was looked for.
    pub certainty: Vec<Option<f64>>,
    /// The recording of its best hearing, by its place in `recordings`; null without any.
    pub best: Vec<Option<usize>>,
    /// How many sources have it clean or usable: 0, 1, or 2 for two and more, who have a
    /// backup; null where no words were heard, so that it needs none.
    pub good: Vec<Option<usize>>,
    /// Whether its words should not be trusted as they are, or there are none.
    pub doubtful: Vec<bool>,
}
