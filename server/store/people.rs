//! Who speaks in an event, and who wears what?

use sayback_core::units::EventMs;
use serde_json::json;
use sqlx::FromRow;

use super::error::unknown;
use super::statement::statements;
use super::{EventId, JobKind, MomentId, NewJob, PersonId, SourceId, Store, StoreError};

/// Somebody who speaks in an event.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct PersonRow {
    /// Their id.
    pub id: PersonId,
    /// The event.
    pub event_id: EventId,
    /// Their name; 'speaker 3' where nobody has named them.
    pub name: String,
    /// What they are at the event.
    pub role: Option<String>,
    /// Whether they were found by their voice and nobody has named them yet.
    pub unnamed: bool,
    /// Whether something is kept of what their voice is like.
    pub has_voice: bool,
    /// Moments in which they speak.
    pub moments: i64,
    /// How long they speak, ms.
    pub speech_ms: i64,
}

/// Who wears a source from an instant on.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct WearingRow {
    /// The source.
    pub source_id: SourceId,
    /// From here on the event clock, ms; `None` from the beginning.
    pub from_ms: Option<i64>,
    /// Who; `None` says nobody.
    pub person_id: Option<PersonId>,
    /// Their name.
    pub name: Option<String>,
}

/// Who wears a source from an instant on, by name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewWearing {
    /// From here on the event clock; `None` from the beginning.
    pub from: Option<EventMs>,
    /// Who; `None` says nobody.
    pub name: Option<String>,
}

/// Somebody who speaks in a moment.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct SpokenRow {
    /// The moment.
    pub moment_id: MomentId,
    /// 1 for who speaks most.
    pub n: i64,
    /// Who.
    pub person_id: PersonId,
    /// Their name.
    pub name: String,
    /// From here on the clock of the moment's island, ms.
    pub start_ms: i64,
    /// To here, ms, exclusive.
    pub end_ms: i64,
    /// How sure that is, 0 to 1.
    pub certainty: f32,
    /// What that rests on, in words.
    pub why: String,
    /// Whether a person said so.
    pub by_hand: bool,
}

macro_rules! select_person {
    ($rest:literal) => {
        concat!(
            "SELECT p.id, p.event_id, p.name, p.role, p.unnamed, p.voice IS NOT NULL AS has_voice,
                (SELECT count(DISTINCT s.moment_id) FROM spoken s WHERE s.person_id = p.id)
                    AS moments,
                (SELECT coalesce(sum(s.end_ms - s.start_ms), 0) FROM spoken s
                    WHERE s.person_id = p.id) AS speech_ms
            FROM person p ",
            $rest
        )
    };
}

statements! {
    PEOPLE = select_person!("WHERE p.event_id = ?1 ORDER BY p.unnamed, p.id");
    PERSON = select_person!("WHERE p.id = ?1");
    NEW_PERSON = "INSERT INTO person (id, event_id, name, role) VALUES (?1, ?2, ?3, ?4)";
    /// What is left out stays; a name makes somebody named.
    CHANGE_PERSON = "UPDATE person SET name = coalesce(?2, name),
            unnamed = CASE WHEN ?2 IS NULL THEN unnamed ELSE 0 END,
            role = CASE WHEN ?3 THEN ?4 ELSE role END
        WHERE id = ?1 RETURNING id";
    DROP_PERSON = "DELETE FROM person WHERE id = ?1 RETURNING event_id";
    FORGET_VOICES = "UPDATE person SET voice = NULL WHERE event_id = ?1 AND voice IS NOT NULL";
    /// Of somebody who turns out to be another.
    IS_ANOTHER_SOURCES = "UPDATE source SET wearer_id = ?2 WHERE wearer_id = ?1";
    IS_ANOTHER_WEARINGS = "UPDATE wearing SET person_id = ?2 WHERE person_id = ?1";
    IS_ANOTHER_SPOKEN = "UPDATE spoken SET person_id = ?2 WHERE person_id = ?1";
    ONE_EVENT = "SELECT count(DISTINCT event_id) = 1 AND count(*) = 2 FROM person
        WHERE id IN (?1, ?2)";
    WEARINGS = "SELECT s.id AS source_id, NULL AS from_ms, s.wearer_id AS person_id, p.name
        FROM source s JOIN person p ON p.id = s.wearer_id WHERE s.event_id = ?1
        UNION ALL
        SELECT w.source_id, w.from_ms, w.person_id, p.name
        FROM source s JOIN wearing w ON w.source_id = s.id LEFT JOIN person p ON p.id = w.person_id
        WHERE s.event_id = ?1
        ORDER BY source_id, from_ms";
    FORGET_WEARINGS = "DELETE FROM wearing WHERE source_id = ?1";
    SET_WEARER = "UPDATE source SET wearer_id = ?2 WHERE id = ?1 RETURNING event_id";
    WEARING = "INSERT INTO wearing (source_id, from_ms, person_id) VALUES (?1, ?2, ?3)";
    SPOKEN = "SELECT s.moment_id, s.n, s.person_id, p.name, s.start_ms, s.end_ms, s.certainty,
            s.why, s.by_hand
        FROM json_each(?1) i JOIN spoken s ON s.moment_id = i.value
        JOIN person p ON p.id = s.person_id ORDER BY i.key, s.n";
    SPOKEN_OF_EVENT = "SELECT s.moment_id, s.n, s.person_id, p.name, s.start_ms, s.end_ms,
            s.certainty, s.why, s.by_hand
        FROM moment m JOIN spoken s ON s.moment_id = m.id JOIN person p ON p.id = s.person_id
        WHERE m.event_id = ?1 ORDER BY m.island, s.start_ms, s.moment_id, s.n";
    FORGET_SPOKEN = "DELETE FROM spoken WHERE moment_id = ?1";
    SAY = "INSERT INTO spoken (moment_id, n, person_id, start_ms, end_ms, certainty, why, by_hand)
        SELECT m.id, ?2, ?3, m.start_ms, m.end_ms, 1, ?4, 1 FROM moment m WHERE m.id = ?1";
    EVENT_OF_MOMENT = "SELECT event_id FROM moment WHERE id = ?1";
}

impl Store {
    /// The people of an event: those with names first, each kind in the order in which
    /// they came.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn people(&self, event: &EventId) -> Result<Vec<PersonRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(PEOPLE))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// One person.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn person(&self, id: &PersonId) -> Result<PersonRow, StoreError> {
        sqlx::query_as(self.sql(PERSON))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("person", id))
    }

    /// Adds somebody to an event.
    ///
    /// # Errors
    /// [`StoreError::Exists`] where somebody has the name; [`StoreError::Unknown`] event.
    pub async fn new_person(
        &self,
        event: &EventId,
        name: &str,
        role: Option<&str>,
    ) -> Result<PersonRow, StoreError> {
        let id = PersonId::fresh();
        sqlx::query(self.sql(NEW_PERSON))
            .bind(&id)
            .bind(event)
            .bind(name)
            .bind(role)
            .execute(&self.write)
            .await
            .map_err(unknown("event", event))?;
        self.person(&id).await
    }

    /// Gives somebody a name or a role; what is `None` stays as it is, and a role of
    /// `Some(None)` is taken away.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Exists`] where somebody else has the name.
    pub async fn change_person(
        &self,
        id: &PersonId,
        name: Option<&str>,
        role: Option<Option<&str>>,
    ) -> Result<PersonRow, StoreError> {
        let _: PersonId = sqlx::query_scalar(self.sql(CHANGE_PERSON))
            .bind(id)
            .bind(name)
            .bind(role.is_some())
            .bind(role.flatten())
            .fetch_one(&self.write)
            .await
            .map_err(unknown("person", id))?;
        self.person(id).await
    }

    /// Makes one person of two: all that `id` said and wore is `into`'s.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Unfit`] where they are of two events, or one.
    pub async fn merge_people(&self, id: &PersonId, into: &PersonId) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let fits: bool = sqlx::query_scalar(self.sql(ONE_EVENT))
            .bind(id)
            .bind(into)
            .fetch_one(&mut *transaction)
            .await?;
        if !fits {
            return Err(StoreError::Unfit {
                field: "into",
                reason: "it must be another person of the same event".into(),
            });
        }
        for statement in [IS_ANOTHER_SOURCES, IS_ANOTHER_WEARINGS, IS_ANOTHER_SPOKEN] {
            sqlx::query(self.sql(statement))
                .bind(id)
                .bind(into)
                .execute(&mut *transaction)
                .await?;
        }
        let event: EventId = sqlx::query_scalar(self.sql(DROP_PERSON))
            .bind(id)
            .fetch_one(&mut *transaction)
            .await?;
        let voices = NewJob::of_event(JobKind::Voices, &event);
        self.queue_again(&mut transaction, voices).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Takes somebody out of an event, and has it found out anew who speaks.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn drop_person(&self, id: &PersonId) -> Result<EventId, StoreError> {
        let mut transaction = self.begin().await?;
        let event: EventId = sqlx::query_scalar(self.sql(DROP_PERSON))
            .bind(id)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("person", id))?;
        let voices = NewJob::of_event(JobKind::Voices, &event);
        self.queue_again(&mut transaction, voices).await?;
        transaction.commit().await?;
        Ok(event)
    }

    /// Forgets what the voices of an event are like.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn forget_voices(&self, event: &EventId) -> Result<(), StoreError> {
        sqlx::query(self.sql(FORGET_VOICES))
            .bind(event)
            .execute(&self.write)
            .await?;
        Ok(())
    }

    /// Who wears the sources of an event, each source's in order of time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn wearings(&self, event: &EventId) -> Result<Vec<WearingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(WEARINGS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Says who wears a source from when on, in place of what was said before, and has
    /// it found out anew who speaks. Whoever is not there yet is added.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] source; [`StoreError::Invalid`] name.
    pub async fn set_wearings(
        &self,
        source: &SourceId,
        wearings: &[NewWearing],
    ) -> Result<EventId, StoreError> {
        let event = self.source(source).await?.event_id;
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(FORGET_WEARINGS))
            .bind(source)
            .execute(&mut *transaction)
            .await?;
        let mut first = None;
        for wearing in wearings {
            let person = match &wearing.name {
                Some(name) => Some(self.ensure_person(&mut transaction, &event, name).await?),
                None => None,
            };
            let Some(from) = wearing.from else {
                first = person;
                continue;
            };
            sqlx::query(self.sql(WEARING))
                .bind(source)
                .bind(from.0)
                .bind(person)
                .execute(&mut *transaction)
                .await?;
        }
        let _: EventId = sqlx::query_scalar(self.sql(SET_WEARER))
            .bind(source)
            .bind(first)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("source", source))?;
        let voices = NewJob::of_event(JobKind::Voices, &event);
        self.queue_again(&mut transaction, voices).await?;
        transaction.commit().await?;
        Ok(event)
    }

    /// Who speaks in moments, those of the first moment first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn spoken(&self, moments: &[MomentId]) -> Result<Vec<SpokenRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(SPOKEN))
            .bind(json!(moments).to_string())
            .fetch_all(&self.read)
            .await?)
    }

    /// Who speaks in an event, by island and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn spoken_of_event(&self, event: &EventId) -> Result<Vec<SpokenRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(SPOKEN_OF_EVENT))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Says who speaks in a moment, the one who speaks most first, and has the rest of
    /// the event learn from it; nobody takes back what was said. Whoever is not there yet
    /// is added.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] moment; [`StoreError::Invalid`] name.
    pub async fn say_who(
        &self,
        moment: &MomentId,
        names: &[String],
        by: &str,
    ) -> Result<EventId, StoreError> {
        let mut transaction = self.begin().await?;
        let event: EventId = sqlx::query_scalar(self.sql(EVENT_OF_MOMENT))
            .bind(moment)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("moment", moment))?;
        sqlx::query(self.sql(FORGET_SPOKEN))
            .bind(moment)
            .execute(&mut *transaction)
            .await?;
        for (n, name) in (1_i64..).zip(names) {
            let person = self.ensure_person(&mut transaction, &event, name).await?;
            sqlx::query(self.sql(SAY))
                .bind(moment)
                .bind(n)
                .bind(person)
                .bind(format!("said by {by}"))
                .execute(&mut *transaction)
                .await?;
        }
        let voices = NewJob::of_event(JobKind::Voices, &event);
        self.queue_again(&mut transaction, voices).await?;
        transaction.commit().await?;
        Ok(event)
    }
}
