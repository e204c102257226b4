//! Who is there, and who wears what?
//!
//! A person of an event is named by people, or found by voice and not named yet. What
//! their voice is like is biometric data: it stays in its event unless
//! [`Store::voices_elsewhere`] is asked, and goes when people say so.

use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::error::unknown;
use super::statement::statements;
use super::{EventId, JobKind, MomentId, NewJob, PersonId, SourceId, Store, StoreError};

/// Someone who speaks in an event.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct PersonRow {
    /// Its id.
    pub id: PersonId,
    /// The event.
    pub event_id: EventId,
    /// What they are called; 'speaker 1' until somebody names them.
    pub name: String,
    /// Their part in the day.
    pub role: Option<String>,
    /// Whether nobody has named them yet.
    pub unnamed: bool,
    /// The 1 of 'speaker 1'; `None` for everybody who was not found by voice.
    pub number: Option<u32>,
    /// Whether anything is kept of their voice.
    pub has_voice: bool,
    /// How many moments they speak in.
    pub moments: i64,
    /// How long those are together, ms.
    pub spoken_ms: i64,
}

/// Who wears a source, and from when on.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct WearingRow {
    /// The source.
    pub source_id: SourceId,
    /// From that instant of the event clock on, ms; `None` from the start.
    pub from_ms: Option<i64>,
    /// The person.
    pub person_id: PersonId,
}

/// A person's voice.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct VoiceRow {
    /// Whose.
    pub person_id: PersonId,
    /// As `core::voices::Voice::to_bytes` writes it.
    pub voice: Vec<u8>,
}

/// A named person's voice in another event.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct ElsewhereRow {
    /// What they are called there.
    pub name: String,
    /// The event's title.
    pub title: String,
    /// The voice.
    pub voice: Vec<u8>,
}

macro_rules! select_person {
    ($rest:literal) => {
        concat!(
            "SELECT p.id, p.event_id, p.name, p.role, p.unnamed, p.number,
                p.voice IS NOT NULL AS has_voice,
                (SELECT count(*) FROM moment m WHERE m.person_id = p.id) AS moments,
                (SELECT coalesce(sum(m.end_ms - m.start_ms), 0) FROM moment m
                    WHERE m.person_id = p.id) AS spoken_ms
            FROM person p ",
            $rest
        )
    };
}

statements! {
    PEOPLE = select_person!("WHERE p.event_id = ?1 ORDER BY p.unnamed, p.number, p.id");
    PERSON = select_person!("WHERE p.id = ?1");
    ADD = "INSERT INTO person (id, event_id, name, role) VALUES (?1, ?2, ?3, ?4)";
    /// Whoever gets a name is no unnamed speaker any more.
    CHANGE = "UPDATE person SET name = coalesce(?2, name),
            role = CASE WHEN ?3 IS NULL THEN role WHEN ?3 = '' THEN NULL ELSE ?3 END,
            number = CASE WHEN ?2 IS NULL THEN number END,
            unnamed = CASE WHEN ?2 IS NULL THEN unnamed ELSE 0 END
        WHERE id = ?1";
    DELETE = "DELETE FROM person WHERE id = ?1";
    NOT_SPEAKING = "UPDATE moment SET certainty = NULL, person_why = NULL, also_id = NULL
        WHERE person_id = ?1";
    WEARERS = "SELECT s.id AS source_id, NULL AS from_ms, s.wearer_id AS person_id
        FROM source s WHERE s.event_id = ?1 AND s.wearer_id IS NOT NULL
        UNION ALL
        SELECT w.source_id, w.from_ms, w.person_id
        FROM source s JOIN wearing w ON w.source_id = s.id WHERE s.event_id = ?1
        ORDER BY 1, 2";
    FIRST_WEARER = "UPDATE source SET wearer_id = ?2 WHERE id = ?1";
    FORGET_WEARERS = "DELETE FROM wearing WHERE source_id = ?1";
    WEARS = "INSERT INTO wearing (source_id, from_ms, person_id)
        SELECT ?1, value ->> 0, value ->> 1 FROM json_each(?2) WHERE true
        ON CONFLICT (source_id, from_ms) DO UPDATE SET person_id = excluded.person_id";
    /// What the one who is no more had becomes the other's; where both speak at once it
    /// was one voice.
    MERGE_MOMENTS = "UPDATE moment SET person_id = CASE person_id WHEN ?1 THEN ?2 ELSE person_id END,
            also_id = CASE also_id WHEN ?1 THEN ?2 ELSE also_id END
        WHERE person_id = ?1 OR also_id = ?1";
    ONE_VOICE = "UPDATE moment SET also_id = NULL WHERE person_id = ?1 AND also_id = ?1";
    MERGE_TOLD = "UPDATE telling SET person_id = ?2 WHERE person_id = ?1";
    MERGE_WORN = "UPDATE source SET wearer_id = ?2 WHERE wearer_id = ?1";
    MERGE_WEARING = "UPDATE wearing SET person_id = ?2 WHERE person_id = ?1";
    /// Whoever says that two are one says it of every moment of the one.
    TELL_ALL = "INSERT INTO telling (recording_id, start_ms, end_ms, person_id, by, at_ms)
        SELECT h.recording_id, h.start_ms, h.end_ms, ?2, ?3, ?4
        FROM moment m JOIN hearing h ON h.moment_id = m.id
        WHERE m.person_id = ?1 AND m.certainty < 1 AND h.n = (SELECT min(n) FROM hearing
            WHERE moment_id = m.id AND heard = 1)";
    TELL = "INSERT INTO telling (recording_id, start_ms, end_ms, person_id, by, at_ms)
        SELECT h.recording_id, h.start_ms, h.end_ms, ?2, ?3, ?4
        FROM hearing h WHERE h.moment_id = ?1 AND h.heard = 1 ORDER BY h.n LIMIT 1
        RETURNING id";
    TOLD = "UPDATE moment SET person_id = ?2, also_id = NULL, certainty = 1,
            person_why = 'said by ' || ?3
        WHERE id = ?1";
    UNTELL = "DELETE FROM telling WHERE id IN (
            SELECT t.id FROM hearing h JOIN telling t ON t.recording_id = h.recording_id
            WHERE h.moment_id = ?1 AND t.start_ms < h.end_ms AND t.end_ms > h.start_ms)
        RETURNING person_id";
    /// Whoever was known by nothing else has a voice no more: it was another's.
    UNLEARN = "UPDATE person SET voice = NULL WHERE id IN (SELECT value FROM json_each(?1))
        AND NOT EXISTS (SELECT 1 FROM moment m WHERE m.person_id = person.id)
        AND NOT EXISTS (SELECT 1 FROM telling t WHERE t.person_id = person.id)";
    UNTOLD = "UPDATE moment SET person_id = NULL, also_id = NULL, certainty = NULL,
            person_why = NULL
        WHERE id = ?1";
    EVENT_OF_MOMENT = "SELECT event_id FROM moment WHERE id = ?1";
    EVENT_OF_SOURCE = "SELECT event_id FROM source WHERE id = ?1";
    VOICES = "SELECT id AS person_id, voice FROM person
        WHERE event_id = ?1 AND voice IS NOT NULL ORDER BY id";
    ELSEWHERE = "SELECT p.name, e.title, p.voice FROM person p JOIN event e ON e.id = p.event_id
        WHERE p.event_id <> ?1 AND p.unnamed = 0 AND p.voice IS NOT NULL ORDER BY p.id DESC";
    FORGET_VOICES = "UPDATE person SET voice = NULL WHERE event_id = ?1";
    FORGET_LISTENED = "DELETE FROM listened WHERE recording_id IN
        (SELECT id FROM recording WHERE event_id = ?1)";
}

impl Store {
    /// The people of an event: those with a name first.
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

    /// Adds a person to an event.
    ///
    /// # Errors
    /// [`StoreError::Exists`] if one is called so; [`StoreError::Unknown`] event;
    /// [`StoreError::Invalid`] for a blank name.
    pub async fn add_person(
        &self,
        event: &EventId,
        name: &str,
        role: Option<&str>,
    ) -> Result<PersonRow, StoreError> {
        let id = PersonId::fresh();
        sqlx::query(self.sql(ADD))
            .bind(&id)
            .bind(event)
            .bind(name.trim())
            .bind(role)
            .execute(&self.write)
            .await
            .map_err(unknown("event", event))?;
        self.person(&id).await
    }

    /// Gives a person another name or role (an empty one for none). A name makes an
    /// unnamed speaker a person.
    ///
    /// # Errors
    /// [`StoreError::Exists`], [`StoreError::Unknown`], [`StoreError::Invalid`].
    pub async fn change_person(
        &self,
        id: &PersonId,
        name: Option<&str>,
        role: Option<&str>,
    ) -> Result<PersonRow, StoreError> {
        sqlx::query(self.sql(CHANGE))
            .bind(id)
            .bind(name.map(str::trim))
            .bind(role)
            .execute(&self.write)
            .await?;
        self.person(id).await
    }

    /// Makes two people one: what `id` said and wore is `into`'s from now on.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Unfit`] for one and the same, or people
    /// of two events.
    pub async fn merge_people(
        &self,
        id: &PersonId,
        into: &PersonId,
        by: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let (gone, stays) = (self.person(id).await?, self.person(into).await?);
        if gone.id == stays.id || gone.event_id != stays.event_id {
            return Err(StoreError::Unfit {
                field: "into",
                reason: "name another person of the same event".into(),
            });
        }
        let mut transaction = self.begin().await?;
        sqlx::query(self.sql(TELL_ALL))
            .bind(id)
            .bind(into)
            .bind(by)
            .bind(now_ms)
            .execute(&mut *transaction)
            .await?;
        for statement in [MERGE_MOMENTS, MERGE_TOLD, MERGE_WORN, MERGE_WEARING] {
            sqlx::query(self.sql(statement))
                .bind(id)
                .bind(into)
                .execute(&mut *transaction)
                .await?;
        }
        for (statement, whose) in [(ONE_VOICE, into), (DELETE, id)] {
            sqlx::query(self.sql(statement))
                .bind(whose)
                .execute(&mut *transaction)
                .await?;
        }
        self.look_for_speakers(&mut transaction, &gone.event_id)
            .await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Takes a person away; what they said is nobody's until who speaks is found again.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn delete_person(&self, id: &PersonId) -> Result<EventId, StoreError> {
        let row = self.person(id).await?;
        let mut transaction = self.begin().await?;
        for statement in [NOT_SPEAKING, DELETE] {
            sqlx::query(self.sql(statement))
                .bind(id)
                .execute(&mut *transaction)
                .await?;
        }
        self.look_for_speakers(&mut transaction, &row.event_id)
            .await?;
        transaction.commit().await?;
        Ok(row.event_id)
    }

    /// Who wears the sources of an event, by source and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn wearers(&self, event: &EventId) -> Result<Vec<WearingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(WEARERS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Says who wears a source: from the start, and whom from which instant of the
    /// event clock on.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] source or person.
    pub async fn set_wearers(
        &self,
        source: &SourceId,
        first: Option<&PersonId>,
        later: &[(i64, PersonId)],
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let event: EventId = sqlx::query_scalar(self.sql(EVENT_OF_SOURCE))
            .bind(source)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("source", source))?;
        sqlx::query(self.sql(FIRST_WEARER))
            .bind(source)
            .bind(first)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(FORGET_WEARERS))
            .bind(source)
            .execute(&mut *transaction)
            .await?;
        let later: Vec<_> = later.iter().map(|(at, who)| json!([at, who])).collect();
        sqlx::query(self.sql(WEARS))
            .bind(source)
            .bind(json!(later).to_string())
            .execute(&mut *transaction)
            .await?;
        self.look_for_speakers(&mut transaction, &event).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Writes down what a person says about who speaks in a moment; `None` takes back
    /// what was said about it. The rest learns from it.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] moment; [`StoreError::Unfit`] if it was not heard.
    pub async fn tell_speaker(
        &self,
        moment: &MomentId,
        speaker: Option<&PersonId>,
        by: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let event: EventId = sqlx::query_scalar(self.sql(EVENT_OF_MOMENT))
            .bind(moment)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("moment", moment))?;
        match speaker {
            Some(speaker) => {
                let told: Option<i64> = sqlx::query_scalar(self.sql(TELL))
                    .bind(moment)
                    .bind(speaker)
                    .bind(by)
                    .bind(now_ms)
                    .fetch_optional(&mut *transaction)
                    .await?;
                told.ok_or_else(|| StoreError::Unfit {
                    field: "person",
                    reason: "no recording has heard that moment".into(),
                })?;
                sqlx::query(self.sql(TOLD))
                    .bind(moment)
                    .bind(speaker)
                    .bind(by)
                    .execute(&mut *transaction)
                    .await?;
            }
            None => {
                let told: Vec<PersonId> = sqlx::query_scalar(self.sql(UNTELL))
                    .bind(moment)
                    .fetch_all(&mut *transaction)
                    .await?;
                sqlx::query(self.sql(UNTOLD))
                    .bind(moment)
                    .execute(&mut *transaction)
                    .await?;
                sqlx::query(self.sql(UNLEARN))
                    .bind(json!(told).to_string())
                    .execute(&mut *transaction)
                    .await?;
            }
        }
        self.look_for_speakers(&mut transaction, &event).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Has who speaks in an event found again.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event.
    pub async fn find_speakers(&self, event: &EventId) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        self.look_for_speakers(&mut transaction, event).await?;
        transaction.commit().await.map_err(unknown("event", event))
    }

    pub(super) async fn look_for_speakers(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<(), StoreError> {
        let voices = NewJob::of_event(JobKind::Voices, event);
        self.queue_again(transaction, voices).await
    }

    /// The voices of the people of an event, as far as they are kept.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn voices(&self, event: &EventId) -> Result<Vec<VoiceRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(VOICES))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// The voices of people with a name in other events, the newest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn voices_elsewhere(&self, event: &EventId) -> Result<Vec<ElsewhereRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(ELSEWHERE))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Forgets everything that is kept of voices in an event; who spoke stays.
    ///
    /// # Errors
    /// [`StoreError::DiskFull`].
    pub async fn forget_voices(&self, event: &EventId) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        for statement in [FORGET_VOICES, FORGET_LISTENED] {
            sqlx::query(self.sql(statement))
                .bind(event)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(())
    }
}
