//! What was said in an event, and who heard it?
//!
//! A moment is a stretch of speech with one text; a hearing is one recording's
//! copy of it.

use sayback_core::quality::Verdict;
use serde_json::json;
use sqlx::FromRow;

use super::statement::statements;
use super::{EventId, Json, MomentId, PersonId, RecordingId, Store, StoreError, Word};

/// A stretch of speech.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct MomentRow {
    /// Its id; kept for good once it has words.
    pub id: MomentId,
    /// The event.
    pub event_id: EventId,
    /// Whose clock its times are on: 0 is the event clock.
    pub island: i64,
    /// Start on that clock, ms.
    pub start_ms: i64,
    /// End on that clock, ms, exclusive.
    pub end_ms: i64,
    /// The recording in whose file the word times are; `None` without words.
    pub words_from: Option<RecordingId>,
    /// The model that heard them.
    pub model: Option<String>,
    /// Why the words should not be trusted as they are.
    pub doubt: Option<String>,
    /// Why these words and not those of another hearing.
    pub why: Option<String>,
    /// The words joined by spaces; `None` until listened to, empty if none were
    /// heard.
    pub text: Option<String>,
    /// Raised when the text becomes another, and by what people do to the moment.
    pub version: i64,
    /// Whether a person has changed it.
    pub by_hand: bool,
    /// Where what it stands for starts in the file of `words_from`, ms, and
    pub covers_from_ms: Option<i64>,
    /// where that ends, if that is more than its hearing there.
    pub covers_to_ms: Option<i64>,
    /// The language of most of the words; `None` without words, and for those of an
    /// earlier version.
    pub language: Option<String>,
    /// Who speaks; `None` where that is not known.
    pub person_id: Option<PersonId>,
    /// What they are called.
    pub person_name: Option<String>,
    /// Who speaks at the same time.
    pub also_id: Option<PersonId>,
    /// What they are called.
    pub also_name: Option<String>,
    /// How sure that is, 0 to 1; `None` until it was looked for.
    pub certainty: Option<f32>,
    /// Why, in a few words.
    pub person_why: Option<String>,
}

/// A word of a moment.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct WordRow {
    /// The moment.
    pub moment_id: MomentId,
    /// Its place in the moment, from 0.
    pub n: i64,
    /// As it is shown.
    pub text: String,
    /// Start in the file of [`MomentRow::words_from`], ms.
    pub start_ms: i64,
    /// End in that file, ms, exclusive.
    pub end_ms: i64,
    /// How sure the model is, 0 to 1; 1 for what a person wrote.
    pub confidence: f32,
    /// Whether a person wrote it.
    pub by_hand: bool,
    /// What the model wrote where this is a name of the glossary; see
    /// [`super::NewWord::heard`].
    pub heard: Option<String>,
    /// The language it was heard in, as ISO 639-1 has it.
    pub language: Option<String>,
}

/// One recording's copy of a moment.
#[derive(Clone, Debug, PartialEq, FromRow)]
pub struct HearingRow {
    /// The moment.
    pub moment_id: MomentId,
    /// The recording.
    pub recording_id: RecordingId,
    /// Rank among the hearings of the moment, from 1.
    #[sqlx(rename = "n")]
    pub rank: i64,
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// Whether it is above the recording's own noise there.
    pub heard: bool,
    /// Level, dB relative to full scale.
    pub level_dbfs: f32,
    /// Signal-to-noise ratio, dB.
    pub snr_db: f32,
    /// Share of samples at flat tops, 0 to 1.
    pub clipped: f32,
    /// Reverberance, as `core::signal` measures it.
    pub reverb: f32,
    /// What it is ranked by; larger is better.
    pub score: f32,
    /// In a word, how usable it is.
    #[sqlx(try_from = "String")]
    pub verdict: Word<Verdict>,
    /// The reasons for its rank.
    #[sqlx(try_from = "String")]
    pub why: Json<Vec<String>>,
    /// 1 when the model listens to it as the first choice, 2 as a second try,
    /// else 0.
    pub wanted: i64,
    /// Whether the model has listened to it.
    pub tried: bool,
}

/// A moment as one recording has it.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardMoment {
    /// This recording's copy.
    pub hearing: HearingRow,
    /// The moment.
    pub moment: MomentRow,
    /// Its words in order, at their times in the file of
    /// [`MomentRow::words_from`], which may be another recording's.
    pub words: Vec<WordRow>,
}

macro_rules! select_hearing {
    ($rest:literal) => {
        concat!(
            "SELECT h.moment_id, h.recording_id, h.n, h.start_ms, h.end_ms, h.heard, h.level_dbfs,
                h.snr_db, h.clipped, h.reverb, h.score, h.verdict, h.why, h.wanted,
                EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = h.moment_id
                    AND a.recording_id = h.recording_id) AS tried ",
            $rest
        )
    };
}

macro_rules! select_moment {
    ($rest:literal) => {
        concat!(
            "SELECT m.id, m.event_id, m.island, m.start_ms, m.end_ms, m.words_from, m.model,
                m.doubt, m.why, m.text, m.version, m.by_hand, m.covers_from_ms, m.covers_to_ms,
                (SELECT w.language FROM word w WHERE w.moment_id = m.id
                    GROUP BY w.language ORDER BY count(*) DESC, min(w.n) LIMIT 1) AS language,
                m.person_id, (SELECT p.name FROM person p WHERE p.id = m.person_id) AS person_name,
                m.also_id, (SELECT p.name FROM person p WHERE p.id = m.also_id) AS also_name,
                m.certainty, m.person_why ",
            $rest
        )
    };
}

statements! {
    HEARINGS_OF_RECORDING = select_hearing!("FROM hearing h WHERE h.recording_id = ?1
        ORDER BY h.start_ms, h.moment_id");
    HEARINGS_OF = select_hearing!("FROM json_each(?1) i JOIN hearing h ON h.moment_id = i.value
        ORDER BY i.key, h.n, h.recording_id");
    OF_RECORDING = select_moment!("FROM hearing h JOIN moment m ON m.id = h.moment_id
        WHERE h.recording_id = ?1 ORDER BY h.start_ms, h.moment_id");
    // What is passed over is not looked at but in its index: 5 instead of 60 ms for a page
    // behind 9,000 moments.
    OF_EVENT = select_moment!("FROM moment m WHERE m.id IN (SELECT id FROM moment
            WHERE event_id = ?1
                AND (?2 IS NULL OR island = 0 AND end_ms > ?2)
                AND (?3 IS NULL OR island = 0 AND start_ms < ?3)
            ORDER BY island, start_ms, id LIMIT ?4 OFFSET ?5)
        ORDER BY m.island, m.start_ms, m.id");
    COUNT_OF_EVENT = "SELECT count(*) FROM moment m WHERE m.event_id = ?1
        AND (?2 IS NULL OR m.island = 0 AND m.end_ms > ?2)
        AND (?3 IS NULL OR m.island = 0 AND m.start_ms < ?3)";
    OF_IDS = select_moment!("FROM json_each(?1) i JOIN moment m ON m.id = i.value ORDER BY i.key");
    WORDS_OF_RECORDING = "SELECT w.moment_id, w.n, w.text, w.start_ms, w.end_ms, w.confidence,
            w.by_hand, w.heard, w.language
        FROM hearing h JOIN word w ON w.moment_id = h.moment_id
        WHERE h.recording_id = ?1 ORDER BY h.start_ms, h.moment_id, w.n";
    WORDS_OF = "SELECT w.moment_id, w.n, w.text, w.start_ms, w.end_ms, w.confidence,
            w.by_hand, w.heard, w.language
        FROM json_each(?1) i JOIN word w ON w.moment_id = i.value ORDER BY i.key, w.n";
}

impl Store {
    /// The moments a recording has a hearing of (also those it did not hear), in
    /// the order of its file.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn moments_of(
        &self,
        recording: &RecordingId,
    ) -> Result<Vec<HeardMoment>, StoreError> {
        // One look at the database, so that the three lists fit each other.
        let mut look = self.read.begin().await?;
        let hearings: Vec<HearingRow> = sqlx::query_as(self.sql(HEARINGS_OF_RECORDING))
            .bind(recording)
            .fetch_all(&mut *look)
            .await?;
        let moments: Vec<MomentRow> = sqlx::query_as(self.sql(OF_RECORDING))
            .bind(recording)
            .fetch_all(&mut *look)
            .await?;
        let words: Vec<WordRow> = sqlx::query_as(self.sql(WORDS_OF_RECORDING))
            .bind(recording)
            .fetch_all(&mut *look)
            .await?;
        let mut words = words.into_iter().peekable();
        Ok(hearings
            .into_iter()
            .zip(moments)
            .map(|(hearing, moment)| HeardMoment {
                words: own(&mut words, &moment.id),
                hearing,
                moment,
            })
            .collect())
    }

    /// The moments of an event by island and time, from number `offset` at most
    /// `limit`; with bounds, only those of the event clock that touch
    /// `[from_ms, to_ms)`.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn moments(
        &self,
        event: &EventId,
        from_ms: Option<i64>,
        to_ms: Option<i64>,
        limit: u32,
        offset: u32,
    ) -> Result<Vec<MomentRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(OF_EVENT))
            .bind(event)
            .bind(from_ms)
            .bind(to_ms)
            .bind(limit)
            .bind(offset)
            .fetch_all(&self.read)
            .await?)
    }

    /// How many moments [`Store::moments`] would list without a limit.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn moment_count(
        &self,
        event: &EventId,
        from_ms: Option<i64>,
        to_ms: Option<i64>,
    ) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar(self.sql(COUNT_OF_EVENT))
            .bind(event)
            .bind(from_ms)
            .bind(to_ms)
            .fetch_one(&self.read)
            .await?)
    }

    /// Moments in the order of `ids`; an id that names nothing is left out.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn moments_by_ids(&self, ids: &[MomentId]) -> Result<Vec<MomentRow>, StoreError> {
        self.moments_at(&self.read, ids).await
    }

    /// [`Store::moments_by_ids`] as one look at the database sees them.
    pub(super) async fn moments_at(
        &self,
        look: impl sqlx::SqliteExecutor<'_>,
        ids: &[MomentId],
    ) -> Result<Vec<MomentRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(OF_IDS))
            .bind(json!(ids).to_string())
            .fetch_all(look)
            .await?)
    }

    /// The hearings of moments, those of the first moment first, each moment's in
    /// rank order.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn hearings_of(&self, moments: &[MomentId]) -> Result<Vec<HearingRow>, StoreError> {
        self.hearings_at(&self.read, moments).await
    }

    /// [`Store::hearings_of`] as one look at the database sees them.
    pub(super) async fn hearings_at(
        &self,
        look: impl sqlx::SqliteExecutor<'_>,
        moments: &[MomentId],
    ) -> Result<Vec<HearingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(HEARINGS_OF))
            .bind(json!(moments).to_string())
            .fetch_all(look)
            .await?)
    }

    /// The words of moments, those of the first moment first, in order.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn words_of(&self, moments: &[MomentId]) -> Result<Vec<WordRow>, StoreError> {
        self.words_at(&self.read, moments).await
    }

    /// [`Store::words_of`] as one look at the database sees them.
    pub(super) async fn words_at(
        &self,
        look: impl sqlx::SqliteExecutor<'_>,
        moments: &[MomentId],
    ) -> Result<Vec<WordRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(WORDS_OF))
            .bind(json!(moments).to_string())
            .fetch_all(look)
            .await?)
    }
}

/// Takes the words of one moment off the front of words in the order of moments.
pub(super) fn own(
    words: &mut std::iter::Peekable<std::vec::IntoIter<WordRow>>,
    moment: &MomentId,
) -> Vec<WordRow> {
    let mut own = Vec::new();
    while let Some(word) = words.next_if(|word| word.moment_id == *moment) {
        own.push(word);
    }
    own
}
