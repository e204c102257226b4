//! Which recorders were there, and who wore them?

use sqlx::{Sqlite, Transaction};

use super::error::unknown;
use super::queue::NewJob;
use super::statement::statements;
use super::{EventId, JobKind, PersonId, Placement, SourceId, SourceRow, Store, StoreError};

statements! {
    PERSON = "INSERT INTO person (id, event_id, name) VALUES (?, ?, ?)
        ON CONFLICT (event_id, name) DO UPDATE SET unnamed = 0, number = NULL RETURNING id";
    /// What the caller leaves out stays as it was.
    SOURCE = "INSERT INTO source (id, event_id, label, placement, wearer_id)
        VALUES (?1, ?2, ?3, coalesce(?4, ?5), ?6)
        ON CONFLICT (event_id, label) DO UPDATE SET
            placement = coalesce(?4, placement), wearer_id = coalesce(?6, wearer_id)
        RETURNING id";
    CHANGE_SOURCE = "UPDATE source SET label = coalesce(?2, label), placement = coalesce(?3, placement)
        WHERE id = ?1 RETURNING event_id";
    /// Whether moments of an event were made already.
    WAS_GROUPED = "SELECT EXISTS (SELECT 1 FROM job WHERE kind = 'group' AND subject = ?1)";
    /// Whether who speaks in an event was looked for already.
    LOOKED = "SELECT EXISTS (SELECT 1 FROM job WHERE kind = 'voices' AND subject = ?1)";
    LIST = "SELECT s.id, s.event_id, s.label, s.placement, s.wearer_id, p.name AS wearer_name
        FROM source s LEFT JOIN person p ON p.id = s.wearer_id
        WHERE s.event_id = ?1 ORDER BY s.id";
    ONE = "SELECT s.id, s.event_id, s.label, s.placement, s.wearer_id, p.name AS wearer_name
        FROM source s LEFT JOIN person p ON p.id = s.wearer_id WHERE s.id = ?1";
}

impl Store {
    /// The source of `event` called `label`, made if it is not there. A given
    /// placement or wearer replaces the one it had. A new source whose placement
    /// nobody gives is `worn` if it has a wearer, otherwise `ambient`. Where who speaks
    /// was found without that wearer, it is found again.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event; [`StoreError::Invalid`] for a blank label
    /// or name.
    pub async fn ensure_source(
        &self,
        event: &EventId,
        label: &str,
        placement: Option<Placement>,
        wearer: Option<&str>,
    ) -> Result<SourceRow, StoreError> {
        let mut transaction = self.begin().await?;
        let wearer = match wearer {
            Some(name) => Some(self.ensure_person(&mut transaction, event, name).await?),
            None => None,
        };
        let is_worn = wearer.is_some();
        let otherwise = if is_worn {
            Placement::Worn
        } else {
            Placement::Ambient
        };
        let id: SourceId = sqlx::query_scalar(self.sql(SOURCE))
            .bind(SourceId::fresh())
            .bind(event)
            .bind(label.trim())
            .bind(placement)
            .bind(otherwise)
            .bind(wearer)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("event", event))?;
        let looked: bool = sqlx::query_scalar(self.sql(LOOKED))
            .bind(event)
            .fetch_one(&mut *transaction)
            .await?;
        if looked && is_worn {
            self.look_for_speakers(&mut transaction, event).await?;
        }
        transaction
            .commit()
            .await
            .map_err(unknown("event", event))?;
        self.source(&id).await
    }

    /// Gives a source another label or placement. With another placement the moments of
    /// its event are made again, and after them who speaks in them is found.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::Exists`] if another source is called so;
    /// [`StoreError::Invalid`] for a blank label.
    pub async fn change_source(
        &self,
        id: &SourceId,
        label: Option<&str>,
        placement: Option<Placement>,
    ) -> Result<SourceRow, StoreError> {
        let before = self.source(id).await?;
        let mut transaction = self.begin().await?;
        let event: EventId = sqlx::query_scalar(self.sql(CHANGE_SOURCE))
            .bind(id)
            .bind(label.map(str::trim))
            .bind(placement)
            .fetch_one(&mut *transaction)
            .await
            .map_err(unknown("source", id))?;
        let grouped: bool = sqlx::query_scalar(self.sql(WAS_GROUPED))
            .bind(&event)
            .fetch_one(&mut *transaction)
            .await?;
        if grouped && placement.is_some_and(|placement| placement != before.placement) {
            let again = NewJob::of_event(JobKind::Group, &event);
            self.queue_again(&mut transaction, again).await?;
        }
        transaction.commit().await?;
        self.source(id).await
    }

    async fn ensure_person(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        name: &str,
    ) -> Result<PersonId, StoreError> {
        sqlx::query_scalar(self.sql(PERSON))
            .bind(PersonId::fresh())
            .bind(event)
            .bind(name.trim())
            .fetch_one(&mut **transaction)
            .await
            .map_err(unknown("event", event))
    }

    /// The sources of an event, oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn sources(&self, event: &EventId) -> Result<Vec<SourceRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(LIST))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// One source.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn source(&self, id: &SourceId) -> Result<SourceRow, StoreError> {
        sqlx::query_as(self.sql(ONE))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("source", id))
    }
}
