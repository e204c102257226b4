//! What is there to be told of around what was found?
//!
//! For all events of a page at once: hits of the whole shelf come from many.

use serde_json::json;
use sqlx::FromRow;

use super::statement::statements;
use super::{EventId, PersonId, PlacementRow, SourceId, Store, StoreError};

/// A part of one of several events.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct EventPart {
    /// The event.
    pub event_id: EventId,
    /// What the crew calls it.
    pub name: String,
    /// Where it starts on the event clock, ms.
    pub start_ms: i64,
    /// Where it ends, ms, exclusive.
    pub end_ms: i64,
}

/// Who wears a source from when on.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct Wearer {
    /// The source.
    pub source_id: SourceId,
    /// From this instant of the event clock on, ms; `None` from the start.
    pub from_ms: Option<i64>,
    /// Who.
    pub person_id: PersonId,
    /// What they are called.
    pub name: String,
}

/// What somebody or something is called.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct Called {
    /// The id.
    pub id: String,
    /// The name, or the label of a source.
    pub name: String,
    /// How a source is placed.
    pub placement: Option<String>,
}

statements! {
    PARTS_OF = "SELECT p.event_id, p.name, p.start_ms, p.end_ms FROM json_each(?1) i
        JOIN part p ON p.event_id = i.value ORDER BY i.key, p.n";
    WEARERS_OF = "SELECT s.id AS source_id, NULL AS from_ms, p.id AS person_id, p.name
        FROM json_each(?1) i JOIN source s ON s.event_id = i.value
            JOIN person p ON p.id = s.wearer_id
        UNION ALL
        SELECT w.source_id, w.from_ms, p.id, p.name
        FROM json_each(?1) i JOIN source s ON s.event_id = i.value
            JOIN wearing w ON w.source_id = s.id JOIN person p ON p.id = w.person_id
        ORDER BY 1, 2";
    PLACEMENTS_OF = "SELECT p.recording_id, p.island, p.pieces, p.how, p.uncertainty_ms, p.agreement,
            p.residual_ms, p.points, p.warnings
        FROM json_each(?1) i JOIN recording r ON r.event_id = i.value
            JOIN placement p ON p.recording_id = r.id";
    PEOPLE_OF = "SELECT p.id, p.name, NULL AS placement FROM json_each(?1) i
        JOIN person p ON p.id = i.value";
    SOURCES_OF = "SELECT s.id, s.label AS name, s.placement FROM json_each(?1) i
        JOIN source s ON s.id = i.value";
}

impl Store {
    /// The parts of these events.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn parts_of(&self, events: &[&EventId]) -> Result<Vec<EventPart>, StoreError> {
        Ok(sqlx::query_as(self.sql(PARTS_OF))
            .bind(json!(events).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// Who wears the sources of these events, by source and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn wearers_of(&self, events: &[&EventId]) -> Result<Vec<Wearer>, StoreError> {
        Ok(sqlx::query_as(self.sql(WEARERS_OF))
            .bind(json!(events).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// Where the recordings of these events lie.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn placements_of(
        &self,
        events: &[&EventId],
    ) -> Result<Vec<PlacementRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(PLACEMENTS_OF))
            .bind(json!(events).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// What these people are called.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn names_of(&self, people: &[String]) -> Result<Vec<Called>, StoreError> {
        Ok(sqlx::query_as(self.sql(PEOPLE_OF))
            .bind(json!(people).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// What these sources are called, and how they are placed.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn labels_of(&self, sources: &[String]) -> Result<Vec<Called>, StoreError> {
        Ok(sqlx::query_as(self.sql(SOURCES_OF))
            .bind(json!(sources).to_string())
            .fetch_all(&self.read)
            .await?)
    }
}
