//! What became of the moments of an event when they were found once more?
//!
//! A moment that was listened to keeps its id and its words; one that was not
//! keeps its id as long as one of its hearings is the same stretch of sound.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sayback_core::clock::Placement;
use sayback_core::quality::Verdict;
use serde_json::json;
use sqlx::{FromRow, Sqlite, Transaction};

use super::listening::Fuse;
use super::moved::Moved;
use super::queue::Ended;
use super::segments::{finite, or_zero};
use super::statement::statements;
use super::{
    EventId, HearingRow, JobKind, Lease, MomentId, NewJob, RecordingId, Store, StoreError,
};

/// One recording's copy of a moment that was found.
#[derive(Clone, Debug)]
pub struct NewHearing {
    /// The recording.
    pub recording: RecordingId,
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
    /// Reverberance.
    pub reverb: f32,
    /// What it is ranked by.
    pub score: f32,
    /// The reasons for its rank.
    pub why: Vec<String>,
    /// In a word, how usable it is.
    pub verdict: Verdict,
}

/// A moment that was found.
#[derive(Clone, Debug)]
pub struct NewMoment {
    /// Moments with words that it is; the first of them survives.
    pub kept: Vec<MomentId>,
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on that clock, ms.
    pub start_ms: i64,
    /// End on that clock, ms, exclusive.
    pub end_ms: i64,
    /// Its hearings, the best first; one a recording.
    pub hearings: Vec<NewHearing>,
}

/// The output of the group step.
#[derive(Clone, Copy)]
pub struct Grouped<'a> {
    /// The event.
    pub event: &'a EventId,
    /// Its moments.
    pub moments: &'a [NewMoment],
    /// Makes the words of moments whose attempts are others now.
    pub fuse: &'a Fuse<'a>,
    /// The event's names, by which it makes them.
    pub names: &'a [String],
}

#[derive(FromRow)]
pub(super) struct There {
    pub id: MomentId,
    unheard: bool,
    /// Whether it is a person's.
    by_hand: bool,
    pub recording_id: RecordingId,
    pub start_ms: i64,
    pub end_ms: i64,
    /// Whether there is an attempt at it.
    pub tried: bool,
    /// Whether the times of the words are in its file.
    pub has_words: bool,
}

#[derive(FromRow)]
struct Pending {
    recording_id: RecordingId,
    audio_ms: i64,
}

statements! {
    THERE = "SELECT m.id, m.text IS NULL AS unheard, m.by_hand, h.recording_id, h.start_ms, h.end_ms,
            EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = h.moment_id
                AND a.recording_id = h.recording_id) AS tried,
            m.words_from IS h.recording_id AS has_words
        FROM moment m JOIN hearing h ON h.moment_id = m.id
        WHERE m.event_id = ?1 ORDER BY m.no, h.n, h.recording_id";
    HEARINGS_OF_EVENT = "SELECT h.moment_id, h.recording_id, h.n, h.start_ms, h.end_ms, h.heard,
            h.level_dbfs, h.snr_db, h.clipped, h.reverb, h.score, h.verdict, h.why, h.wanted,
            EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = h.moment_id
                AND a.recording_id = h.recording_id) AS tried
        FROM moment m JOIN hearing h ON h.moment_id = m.id
        WHERE m.event_id = ?1 ORDER BY m.no, h.n, h.recording_id";
    DROP_MOMENTS = "DELETE FROM moment WHERE id IN (SELECT value FROM json_each(?1))";
    MOMENTS = "INSERT INTO moment (id, event_id, island, start_ms, end_ms)
        SELECT value ->> 0, ?1, value ->> 1, value ->> 2, value ->> 3 FROM json_each(?2)
        WHERE true
        ON CONFLICT (id) DO UPDATE SET island = excluded.island, start_ms = excluded.start_ms,
            end_ms = excluded.end_ms";
    HEARINGS = "INSERT INTO hearing (moment_id, recording_id, n, start_ms, end_ms, heard,
            level_dbfs, snr_db, clipped, reverb, score, why, verdict)
        SELECT value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5,
            CAST(value ->> 6 AS REAL), CAST(value ->> 7 AS REAL), CAST(value ->> 8 AS REAL),
            CAST(value ->> 9 AS REAL), CAST(value ->> 10 AS REAL), value -> 11, value ->> 12
        FROM json_each(?1) WHERE true
        ON CONFLICT (moment_id, recording_id) DO UPDATE SET n = excluded.n,
            start_ms = excluded.start_ms, end_ms = excluded.end_ms, heard = excluded.heard,
            level_dbfs = excluded.level_dbfs, snr_db = excluded.snr_db,
            clipped = excluded.clipped, reverb = excluded.reverb, score = excluded.score,
            why = excluded.why, verdict = excluded.verdict";
    DROP_HEARINGS = "DELETE FROM hearing WHERE (moment_id, recording_id) IN
            (SELECT value ->> 0, value ->> 1 FROM json_each(?1))";
    /// What is not listened to yet is packed anew.
    UNPACK = "UPDATE hearing SET batch = NULL
        WHERE batch IS NOT NULL AND moment_id IN (SELECT id FROM moment WHERE event_id = ?1)
            AND NOT EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = hearing.moment_id
                AND a.recording_id = hearing.recording_id)";
    /// A second try that can't be made is open to others.
    RELEASE = "UPDATE hearing SET wanted = 0, batch = NULL
        WHERE wanted = 2 AND moment_id IN (SELECT id FROM moment WHERE event_id = ?1)
            AND NOT EXISTS (SELECT 1 FROM attempt a WHERE a.moment_id = hearing.moment_id
                AND a.recording_id = hearing.recording_id)
            AND (heard = 0 OR EXISTS (SELECT 1 FROM job j WHERE j.subject = hearing.recording_id
                AND j.kind = 'transcribe' AND j.state IN ('failed', 'cancelled')))";
    /// A moment nobody listened to is listened to where it is best; a recording
    /// that could not or should not be listened to comes last, and one that did not
    /// hear it is never asked.
    CHOOSE = "UPDATE hearing SET wanted = coalesce(recording_id = (
            SELECT h.recording_id FROM hearing h
            WHERE h.moment_id = hearing.moment_id AND h.heard = 1
            ORDER BY EXISTS (SELECT 1 FROM job j WHERE j.subject = h.recording_id
                    AND j.kind = 'transcribe' AND j.state IN ('failed', 'cancelled')),
                h.n, h.recording_id LIMIT 1), 0)
        WHERE moment_id IN (SELECT id FROM moment WHERE event_id = ?1 AND text IS NULL)";
    LEAVE_UNPLACED = "INSERT INTO placement (recording_id, island, pieces, how, points, warnings)
        SELECT r.id, (SELECT coalesce(max(p.island), 0) FROM placement p
                JOIN recording o ON o.id = p.recording_id WHERE o.event_id = ?1)
            + row_number() OVER (ORDER BY r.id), ?2, 'unplaced', 0, '[]'
        FROM recording r WHERE r.event_id = ?1 AND r.segment_count IS NOT NULL
            AND NOT EXISTS (SELECT 1 FROM placement p WHERE p.recording_id = r.id)";
    GROUPED = "UPDATE recording SET grouped = 1
        WHERE event_id = ?1 AND segment_count IS NOT NULL";
    /// The words of a moment are those of every recording that hears it.
    COUNT_EVENT = "UPDATE recording SET word_count = (SELECT coalesce(sum(m.word_count), 0)
            FROM hearing h JOIN moment m ON m.id = h.moment_id
            WHERE h.recording_id = recording.id AND h.heard = 1)
        WHERE event_id = ?1";
    PENDING = "SELECT h.recording_id, sum(h.end_ms - h.start_ms) AS audio_ms
        FROM recording r JOIN hearing h ON h.recording_id = r.id AND h.wanted > 0
        WHERE r.event_id = ?1 AND NOT EXISTS (SELECT 1 FROM attempt a
            WHERE a.moment_id = h.moment_id AND a.recording_id = h.recording_id)
        GROUP BY h.recording_id ORDER BY h.recording_id";
    /// A person's 'no' and a file that can't be heard stand; the priority is what
    /// the recording was given while it was looked through.
    QUEUE_WORDS = "INSERT INTO job (kind, subject, event_id, audio_ms, priority)
        SELECT 'transcribe', r.id, r.event_id, ?2, coalesce((SELECT j.priority FROM job j
            WHERE j.kind = 'detect' AND j.subject = r.id), 0)
        FROM recording r WHERE r.id = ?1
        ON CONFLICT (kind, subject) DO UPDATE SET
            again = state = 'running', audio_ms = excluded.audio_ms,
            priority = max(priority, excluded.priority),
            progress = CASE state WHEN 'done' THEN 0 ELSE progress END,
            begun = CASE state WHEN 'done' THEN 0 ELSE begun END,
            cursor = CASE state WHEN 'done' THEN 0 ELSE cursor END,
            windows = CASE state WHEN 'done' THEN NULL ELSE windows END,
            state = CASE state WHEN 'done' THEN 'ready' ELSE state END
        WHERE state IN ('ready', 'running', 'done')";
}

impl Store {
    /// All hearings of an event, those of the oldest moment first, each moment's
    /// in rank order.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn hearings_of_event(&self, event: &EventId) -> Result<Vec<HearingRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(HEARINGS_OF_EVENT))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// Writes the moments of an event in place of those that nobody listened to
    /// yet, chooses where to listen to each, and that `group` is done, as one;
    /// and has the chosen hearings listened to and who speaks looked for. What was heard of sound that a
    /// hearing no longer is, is forgotten. Where what a person did meanwhile would be
    /// lost, doubled or moved, or the event has other names, they are found once more
    /// instead.
    ///
    /// # Errors
    /// [`StoreError::LeaseLost`]; [`StoreError::DiskFull`].
    pub async fn finish_group(
        &self,
        lease: &Lease,
        grouped: &Grouped<'_>,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let Grouped { event, moments, .. } = *grouped;
        let mut transaction = self.begin().await?;
        self.complete(&mut transaction, lease, None, now_ms).await?;
        let there: Vec<There> = sqlx::query_as(self.sql(THERE))
            .bind(event)
            .fetch_all(&mut *transaction)
            .await?;
        let names = self.glossary_within(&mut transaction, event).await?;
        if is_outdated(&there, moments) || names != grouped.names {
            let again = NewJob::of_event(JobKind::Group, event);
            self.queue_again(&mut transaction, again).await?;
            transaction.commit().await?;
            return Ok(());
        }
        let ids = ids(&there, moments);
        let moved = Moved::of(&there, &ids, moments);
        self.move_attempts(&mut transaction, &moved).await?;
        let dropped = json!(dropped(&there, &ids, moments)).to_string();
        sqlx::query(self.sql(DROP_MOMENTS))
            .bind(dropped)
            .execute(&mut *transaction)
            .await?;
        let rows = ids.iter().zip(moments);
        let rows: Vec<_> = rows
            .map(|(id, m)| json!([id, m.island, m.start_ms, m.end_ms.max(m.start_ms + 1)]))
            .collect();
        sqlx::query(self.sql(MOMENTS))
            .bind(event)
            .bind(json!(rows).to_string())
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(HEARINGS))
            .bind(json!(hearings(&ids, moments)).to_string())
            .execute(&mut *transaction)
            .await?;
        sqlx::query(self.sql(DROP_HEARINGS))
            .bind(json!(gone(&there, &ids, moments)).to_string())
            .execute(&mut *transaction)
            .await?;
        self.settle_moved(&mut transaction, &moved, grouped.fuse)
            .await?;
        for statement in [UNPACK, RELEASE, CHOOSE, GROUPED, COUNT_EVENT] {
            sqlx::query(self.sql(statement))
                .bind(event)
                .execute(&mut *transaction)
                .await?;
        }
        self.queue_words(&mut transaction, event).await?;
        self.try_seconds(&mut transaction, event).await?;
        self.look_for_speakers(&mut transaction, event).await?;
        transaction.commit().await?;
        Ok(())
    }

    /// Has every wanted hearing of an event listened to.
    pub(super) async fn queue_words(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
    ) -> Result<(), StoreError> {
        let pending: Vec<Pending> = sqlx::query_as(self.sql(PENDING))
            .bind(event)
            .fetch_all(&mut **transaction)
            .await?;
        for pending in pending {
            sqlx::query(self.sql(QUEUE_WORDS))
                .bind(&pending.recording_id)
                .bind(pending.audio_ms)
                .execute(&mut **transaction)
                .await?;
        }
        Ok(())
    }

    /// Lets an event go on without what ended: a recording's share of the words is
    /// given to others; without a clock every recording is on one of its own.
    pub(super) async fn pass_on(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        ended: &Ended,
    ) -> Result<(), StoreError> {
        match ended.kind {
            JobKind::Align => {
                sqlx::query(self.sql(LEAVE_UNPLACED))
                    .bind(&ended.event_id)
                    .bind(json!(Placement::even(0.0, 0.0)).to_string())
                    .execute(&mut **transaction)
                    .await?;
            }
            JobKind::Transcribe => {}
            JobKind::Voices if self.has_meaning().await? => {
                return self.meaning_of(transaction, &ended.event_id).await;
            }
            JobKind::Probe
            | JobKind::Detect
            | JobKind::Group
            | JobKind::Voices
            | JobKind::Meaning => return Ok(()),
        }
        let group = NewJob::of_event(JobKind::Group, &ended.event_id);
        self.queue_again(transaction, group).await
    }
}

/// Whether a person has changed moments since these were found, so that something of
/// theirs would be lost, doubled or moved.
fn is_outdated(there: &[There], moments: &[NewMoment]) -> bool {
    let exist: BTreeSet<&MomentId> = there.iter().map(|row| &row.id).collect();
    let mut found: HashMap<&MomentId, (usize, &NewMoment)> = HashMap::new();
    for moment in moments {
        found.extend((0..).zip(&moment.kept).map(|(n, id)| (id, (n, moment))));
    }
    let gone = found.keys().any(|id| !exist.contains(id));
    let other = |row: &There| match found.get(&row.id) {
        // A survivor keeps its bounds to the millisecond.
        Some((0, moment)) => !moment.hearings.iter().any(|hearing| {
            (&hearing.recording, hearing.start_ms, hearing.end_ms)
                == (&row.recording_id, row.start_ms, row.end_ms)
        }),
        // Those by hand come first: this one was a model's when it was taken for another.
        Some(_) => row.by_hand,
        // Nobody had listened to it, so that its speech was taken for a new moment.
        None => row.by_hand && moments.iter().any(|moment| has_some_of(moment, row)),
    };
    gone || there.iter().filter(|row| row.has_words).any(other)
}

/// Whether a moment is some of the same sound as a hearing.
fn has_some_of(moment: &NewMoment, row: &There) -> bool {
    moment.hearings.iter().any(|hearing| {
        hearing.recording == row.recording_id
            && hearing.start_ms < row.end_ms
            && row.start_ms < hearing.end_ms
    })
}

/// The id of each moment: that of the one with words which it is, or else of one
/// nobody listened to that has a hearing of the same sound, or else a new one.
fn ids(there: &[There], moments: &[NewMoment]) -> Vec<MomentId> {
    let exist: BTreeSet<&MomentId> = there.iter().map(|row| &row.id).collect();
    let unheard: HashMap<(&RecordingId, i64, i64), &MomentId> = there
        .iter()
        .filter(|row| row.unheard)
        .map(|row| ((&row.recording_id, row.start_ms, row.end_ms), &row.id))
        .collect();
    let mut taken = BTreeSet::new();
    let mut take = |moment: &NewMoment| {
        let kept = moment.kept.iter().find(|id| exist.contains(id));
        let same = || {
            moment.hearings.iter().find_map(|h| {
                let id = *unheard.get(&(&h.recording, h.start_ms, h.end_ms))?;
                (!taken.contains(id)).then(|| id.clone())
            })
        };
        let id = kept.cloned().or_else(same);
        let id = id.unwrap_or_else(MomentId::fresh);
        taken.insert(id.clone());
        id
    };
    moments.iter().map(&mut take).collect()
}

/// Moments that are no more: unheard ones that were not found again, and those
/// that turned out to be another.
fn dropped(there: &[There], ids: &[MomentId], moments: &[NewMoment]) -> BTreeSet<MomentId> {
    let stay: BTreeSet<&MomentId> = ids.iter().collect();
    let merged = moments.iter().flat_map(|moment| moment.kept.iter());
    let unheard = there.iter().filter(|row| row.unheard).map(|row| &row.id);
    merged
        .chain(unheard)
        .filter(|id| !stay.contains(id))
        .cloned()
        .collect()
}

fn hearings(ids: &[MomentId], moments: &[NewMoment]) -> Vec<serde_json::Value> {
    let mut rows = Vec::new();
    for (id, moment) in ids.iter().zip(moments) {
        for (n, h) in (1_i64..).zip(&moment.hearings) {
            rows.push(json!([
                id,
                h.recording,
                n,
                h.start_ms,
                h.end_ms,
                i64::from(h.heard),
                finite(h.level_dbfs),
                finite(h.snr_db),
                or_zero(h.clipped),
                or_zero(h.reverb),
                or_zero(h.score),
                h.why,
                h.verdict
            ]));
        }
    }
    rows
}

/// Hearings that moments had and have no more.
fn gone(there: &[There], ids: &[MomentId], moments: &[NewMoment]) -> Vec<serde_json::Value> {
    let now: BTreeMap<&MomentId, BTreeSet<&RecordingId>> = ids
        .iter()
        .zip(moments)
        .map(|(id, m)| (id, m.hearings.iter().map(|h| &h.recording).collect()))
        .collect();
    there
        .iter()
        .filter(|row| {
            now.get(&row.id)
                .is_some_and(|stay| !stay.contains(&row.recording_id))
        })
        .map(|row| json!([row.id, row.recording_id]))
        .collect()
}
