//! Who speaks in the moments of an event: what that is judged by, and the outcome.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use sqlx::{FromRow, Sqlite, Transaction};

use super::statement::statements;
use super::{EventId, Lease, MomentId, PersonId, RecordingId, Store, StoreError};

/// A moment with who has heard it: one row for each that did, the best first.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct SpeechRow {
    /// The moment.
    pub moment_id: MomentId,
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on it, ms.
    pub start_ms: i64,
    /// End on it, ms, exclusive.
    pub end_ms: i64,
    /// A recording that heard it.
    pub recording_id: RecordingId,
    /// Where it starts in that file, ms.
    pub file_start_ms: i64,
    /// Where it ends there, ms, exclusive.
    pub file_end_ms: i64,
    /// Who speaks, as was found last.
    pub person_id: Option<PersonId>,
}

/// What a person said about who speaks in a stretch of a file.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct TellingRow {
    /// The recording.
    pub recording_id: RecordingId,
    /// Start in its file, ms.
    pub start_ms: i64,
    /// End in its file, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks.
    pub person_id: PersonId,
}

/// What was heard of voices in a stretch of a file.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct ListenedRow {
    /// The recording.
    pub recording_id: RecordingId,
    /// Start in its file, ms.
    pub start_ms: i64,
    /// End in its file, ms, exclusive.
    pub end_ms: i64,
    /// As `core::voices::Listened::to_bytes` writes it.
    pub body: Vec<u8>,
}

/// Somebody to be told of as a speaker.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SpeakerRef {
    /// A person of the event.
    Person(PersonId),
    /// The unnamed one of that number, who may be new.
    Unnamed(u32),
}

/// Who speaks from an instant of a moment on.
#[derive(Clone, Debug, PartialEq)]
pub struct Speaks {
    /// From when on, on the clock of the moment, ms; the first counts from its start.
    pub from_ms: i64,
    /// Who; `None` where that is not known.
    pub speaker: Option<SpeakerRef>,
    /// Who speaks at the same time.
    pub also: Option<SpeakerRef>,
    /// How sure, 0 to 1.
    pub certainty: f32,
    /// Why.
    pub why: String,
}

/// Who speaks in an event.
#[derive(Clone, Debug, Default)]
pub struct Spoken {
    /// By moment, in order of time.
    pub moments: Vec<(MomentId, Vec<Speaks>)>,
    /// What voices are like.
    pub voices: Vec<(SpeakerRef, Vec<u8>)>,
    /// What [`Store::speech_seen`] said before all of this was read.
    pub seen: String,
}

statements! {
    SPEECH = "SELECT m.id AS moment_id, m.island, m.start_ms, m.end_ms, h.recording_id,
            h.start_ms AS file_start_ms, h.end_ms AS file_end_ms, m.person_id
        FROM moment m JOIN hearing h ON h.moment_id = m.id AND h.heard = 1
        WHERE m.event_id = ?1 ORDER BY m.island, m.start_ms, m.id, h.n";
    TELLINGS = "SELECT t.recording_id, t.start_ms, t.end_ms, t.person_id
        FROM recording r JOIN telling t ON t.recording_id = r.id
        WHERE r.event_id = ?1 ORDER BY t.id";
    LISTENED = "SELECT l.recording_id, l.start_ms, l.end_ms, l.body
        FROM recording r JOIN listened l ON l.recording_id = r.id WHERE r.event_id = ?1";
    KEEP_LISTENED = "INSERT INTO listened (recording_id, start_ms, end_ms, body)
        VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO UPDATE SET body = excluded.body";
    /// Whatever was heard of what is no hearing any more.
    FORGET_OTHERS = "DELETE FROM listened
        WHERE recording_id IN (SELECT id FROM recording WHERE event_id = ?1)
            AND NOT EXISTS (SELECT 1 FROM hearing h WHERE h.recording_id = listened.recording_id
                AND h.start_ms = listened.start_ms AND h.end_ms = listened.end_ms)";
    /// Everything that who speaks is judged by, as far as people or other steps change
    /// it: when this is another text, it is judged once more.
    SEEN = "SELECT (SELECT coalesce(json_group_array(json_array(id, version, start_ms, end_ms)), '')
                FROM (SELECT * FROM moment WHERE event_id = ?1 ORDER BY id))
            || (SELECT coalesce(json_group_array(json_array(id, unnamed)), '')
                FROM (SELECT * FROM person WHERE event_id = ?1 ORDER BY id))
            || (SELECT coalesce(json_group_array(json_array(id, wearer_id, placement,
                    (SELECT json_group_array(json_array(from_ms, person_id)) FROM wearing w
                        WHERE w.source_id = source.id))), '')
                FROM source WHERE event_id = ?1)
            || (SELECT coalesce(json_group_array(json_array(t.id, t.person_id)), '')
                FROM telling t JOIN recording r ON r.id = t.recording_id
                WHERE r.event_id = ?1)";
    UNNAMED = "SELECT id, number FROM person WHERE event_id = ?1 AND number IS NOT NULL";
    /// A person may be called 'speaker 3' by hand.
    NEW_UNNAMED = "INSERT INTO person (id, event_id, name, unnamed, number)
        VALUES (?1, ?2, CASE WHEN EXISTS (SELECT 1 FROM person WHERE event_id = ?2
            AND name = 'speaker ' || ?3) THEN 'speaker ' || ?3 || ' (' || ?1 || ')'
            ELSE 'speaker ' || ?3 END, 1, ?3)";
    NEW_WEARER = "INSERT INTO person (id, event_id, name, unnamed)
        VALUES (?1, ?2, CASE WHEN EXISTS (SELECT 1 FROM person WHERE event_id = ?2
            AND name = 'wearer of ' || ?3) THEN 'wearer of ' || ?3 || ' (' || ?1 || ')'
            ELSE 'wearer of ' || ?3 END, 1)";
    WITHOUT_WEARER = "SELECT id, label FROM source
        WHERE event_id = ?1 AND placement = 'worn' AND wearer_id IS NULL";
    WORN_BY = "UPDATE source SET wearer_id = ?2 WHERE id = ?1";
    SPEAK = "UPDATE moment SET person_id = s.value ->> 1, also_id = s.value ->> 2,
            certainty = CAST(s.value ->> 3 AS REAL), person_why = s.value ->> 4
        FROM json_each(?1) s WHERE moment.id = s.value ->> 0";
    VOICE = "UPDATE person SET voice = ?2 WHERE id = ?1";
    /// Found by voice once, and nobody's any more.
    DROP_UNNAMED = "DELETE FROM person WHERE event_id = ?1 AND unnamed = 1
        AND NOT EXISTS (SELECT 1 FROM moment m WHERE m.person_id = person.id)
        AND NOT EXISTS (SELECT 1 FROM moment m WHERE m.also_id = person.id)
        AND NOT EXISTS (SELECT 1 FROM telling t WHERE t.person_id = person.id)
        AND NOT EXISTS (SELECT 1 FROM wearing w WHERE w.person_id = person.id)
        AND NOT EXISTS (SELECT 1 FROM source s WHERE s.wearer_id = person.id)";
}

#[derive(FromRow)]
struct Unnamed {
    id: PersonId,
    number: u32,
}

impl Store {
    /// Who has heard the moments of an event, by island and time.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn speech_of_event(&self, event: &EventId) -> Result<Vec<SpeechRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(SPEECH))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// What people said about who speaks, oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn tellings(&self, event: &EventId) -> Result<Vec<TellingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(TELLINGS))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// What was heard of voices in an event.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn listened(&self, event: &EventId) -> Result<Vec<ListenedRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(LISTENED))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Keeps what was heard of voices.
    ///
    /// # Errors
    /// [`StoreError::DiskFull`].
    pub async fn keep_listened(&self, rows: &[ListenedRow]) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        for row in rows {
            sqlx::query(self.sql(KEEP_LISTENED))
                .bind(&row.recording_id)
                .bind(row.start_ms)
                .bind(row.end_ms)
                .bind(&row.body)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// A text that is another when anything was changed that who speaks is judged by.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn speech_seen(&self, event: &EventId) -> Result<String, StoreError> {
        Ok(sqlx::query_scalar(self.sql(SEEN))
            .bind(event)
            .fetch_one(&self.read)
            .await?)
    }

    /// Gives every worn source that nobody wears an unnamed wearer.
    ///
    /// # Errors
    /// [`StoreError::DiskFull`].
    pub async fn name_wearers(&self, event: &EventId) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let sources: Vec<(String, String)> = sqlx::query_as(self.sql(WITHOUT_WEARER))
            .bind(event)
            .fetch_all(&mut *transaction)
            .await?;
        for (source, label) in sources {
            let id = PersonId::fresh();
            sqlx::query(self.sql(NEW_WEARER))
                .bind(&id)
                .bind(event)
                .bind(label)
                .execute(&mut *transaction)
                .await?;
            sqlx::query(self.sql(WORN_BY))
                .bind(source)
                .bind(&id)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// Writes who speaks, and that `voices` is done, as one. A moment in which several
    /// speak one after the other becomes several, cut between words; one that a person
    /// put right stays whole. Where anything was changed meanwhile, nothing of it is
    /// written and who speaks is looked for once more.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_voices(
        &self,
        lease: &Lease,
        event: &EventId,
        spoken: &Spoken,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut transaction = self.begin().await?;
        let seen: String = sqlx::query_scalar(self.sql(SEEN))
            .bind(event)
            .fetch_one(&mut *transaction)
            .await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        if seen != spoken.seen {
            self.look_for_speakers(&mut transaction, event).await?;
            transaction.commit().await?;
            return Ok(());
        }
        let people = self.all_speakers(&mut transaction, event, spoken).await?;
        let id_of = |speaker: &Option<SpeakerRef>| match speaker.as_ref()? {
            SpeakerRef::Person(id) => Some(id.clone()),
            SpeakerRef::Unnamed(number) => {
                let of = people.iter().find(|one| one.number == *number);
                of.map(|one| one.id.clone())
            }
        };
        let parts = self
            .part_moments(&mut transaction, event, &spoken.moments)
            .await?;
        let rows: Vec<Value> = parts
            .iter()
            .map(|(part, turn)| {
                let (speaker, also) = (id_of(&turn.speaker), id_of(&turn.also));
                let certainty = f64::from(turn.certainty.clamp(0.0, 1.0));
                json!([part, speaker, also, certainty, turn.why])
            })
            .collect();
        sqlx::query(self.sql(SPEAK))
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        for (speaker, voice) in &spoken.voices {
            sqlx::query(self.sql(VOICE))
                .bind(id_of(&Some(speaker.clone())))
                .bind(voice)
                .execute(&mut *transaction)
                .await?;
        }
        for statement in [DROP_UNNAMED, FORGET_OTHERS] {
            sqlx::query(self.sql(statement))
                .bind(event)
                .execute(&mut *transaction)
                .await?;
        }
        transaction.commit().await?;
        Ok(())
    }

    /// The unnamed speakers of an event, with those that are new.
    async fn all_speakers(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        spoken: &Spoken,
    ) -> Result<Vec<Unnamed>, StoreError> {
        let mut there: Vec<Unnamed> = sqlx::query_as(self.sql(UNNAMED))
            .bind(event)
            .fetch_all(&mut **transaction)
            .await?;
        let turns = spoken.moments.iter().flat_map(|(_, turns)| turns);
        let told = turns.flat_map(|turn| [&turn.speaker, &turn.also]).flatten();
        let told: BTreeSet<u32> = told
            .filter_map(|speaker| match speaker {
                SpeakerRef::Unnamed(number) => Some(*number),
                SpeakerRef::Person(_) => None,
            })
            .collect();
        for number in told {
            if there.iter().any(|one| one.number == number) {
                continue;
            }
            let id = PersonId::fresh();
            sqlx::query(self.sql(NEW_UNNAMED))
                .bind(&id)
                .bind(event)
                .bind(number)
                .execute(&mut **transaction)
                .await?;
            there.push(Unnamed { id, number });
        }
        Ok(there)
    }
}
