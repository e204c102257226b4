//! What does a person put right?
//!
//! The words of a moment, its bounds, the times of its words, and where one ends and
//! the next begins. A change says which version of the moment it was made against:
//! where that is not the one that stands, nothing is written and what stands is told
//! ([`Stale`]). Everything that was is kept ([`ChangeRow`]), and going back is a change
//! like any other.
//!
//! A moment that a person changed is theirs: [`super::listening`] writes no words over
//! theirs, and [`super::grouping`] leaves it as it is.

mod desk;
mod history;
mod kinds;
mod parted;
mod state;
mod undo;
mod written;

use sqlx::{FromRow, Sqlite, Transaction};

pub use history::{ChangeRow, HeardText};
pub use kinds::{ChangeKind, Cut, Fix, Fixing, LastChange, Stale, WordTimes};
pub use state::{State, StateWord};
#[cfg(test)]
pub(in crate::store) use {
    desk::ALL as DESK_ALL, history::ALL as HISTORY_ALL, written::ALL as WRITTEN_ALL,
};

use super::statement::statements;
use super::{HearingRow, MomentId, MomentRow, RecordingId, Store, StoreError, WordRow};
use desk::Desk;
use state::{Times, unfit};

impl From<&WordRow> for StateWord {
    fn from(row: &WordRow) -> Self {
        Self {
            text: row.text.clone(),
            start_ms: row.start_ms,
            end_ms: row.end_ms,
            confidence: row.confidence,
            by_hand: row.by_hand,
            heard: row.heard.clone(),
            language: row.language.clone(),
        }
    }
}

/// What a change is worked out from.
struct Found {
    row: MomentRow,
    hearings: Vec<HearingRow>,
    state: State,
}

/// How a line changes: what was and what is.
struct Step {
    kind: ChangeKind,
    before: Vec<State>,
    after: Vec<State>,
}

impl Step {
    /// What a moment was before, if it was one.
    fn was(&self, state: &State) -> Option<&State> {
        self.before.iter().find(|was| was.moment == state.moment)
    }

    /// The moments that are no more.
    fn gone(&self) -> Vec<&State> {
        let stays = |was: &State| self.after.iter().any(|now| now.moment == was.moment);
        self.before.iter().filter(|was| !stays(was)).collect()
    }
}

#[derive(FromRow)]
struct Beside {
    moment_id: MomentId,
    start_ms: i64,
    end_ms: i64,
    text: Option<String>,
}

statements! {
    /// What else a recording has heard of a stretch of its file.
    BESIDE = "SELECT h.moment_id, h.start_ms, h.end_ms, m.text
        FROM hearing h JOIN moment m ON m.id = h.moment_id
        WHERE h.recording_id = ?1 AND h.heard = 1 AND h.start_ms < ?3 AND h.end_ms > ?2
        ORDER BY h.start_ms";
}

impl Store {
    /// Puts a moment right and says which moments there are now in its place, the
    /// one that was asked for first; what changes nothing is no new version.
    ///
    /// # Errors
    /// [`StoreError::Stale`] when it was made against another version;
    /// [`StoreError::Unfit`] when it makes no sense; [`StoreError::Unknown`];
    /// [`StoreError::DiskFull`].
    pub async fn fix(&self, fixing: &Fixing<'_>, now_ms: i64) -> Result<Vec<MomentId>, StoreError> {
        let mut transaction = self.begin().await?;
        let found = self
            .seen(&mut transaction, fixing.moment, fixing.version)
            .await?;
        let mut desk = Desk::of(self, &mut transaction, &found.row.event_id).await?;
        desk.gather(&found);
        let step = self
            .step(&mut transaction, &mut desk, &found, fixing)
            .await?;
        let ids = step
            .after
            .iter()
            .map(|state| state.moment.clone())
            .collect();
        let same = |(a, b): (&State, &State)| a.is_as(b) && a.by_hand == b.by_hand;
        if step.before.len() == step.after.len() && step.before.iter().zip(&step.after).all(same) {
            return Ok(ids);
        }
        self.write_step(&mut transaction, &desk, step, fixing.by, now_ms)
            .await?;
        transaction.commit().await?;
        Ok(ids)
    }

    /// A moment, if it is at the version that a person has seen.
    async fn seen(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
        version: i64,
    ) -> Result<Found, StoreError> {
        let Some(found) = self.found(transaction, moment).await? else {
            let mut now_in = self.now_in(transaction, moment).await?;
            let mut last = self.last_change(transaction, moment, 0).await?;
            if now_in.is_empty() {
                // No person did it: moments were found anew.
                now_in = self.in_its_place(transaction, moment).await?;
                last = None;
            }
            if now_in.is_empty() {
                return Err(StoreError::Unknown {
                    what: "moment",
                    id: moment.0.clone(),
                });
            }
            return Err(StoreError::Stale(Box::new(Stale {
                moment: moment.clone(),
                version: None,
                text: None,
                now_in,
                last,
            })));
        };
        if found.row.version == version {
            return Ok(found);
        }
        let stands = found.row.version;
        Err(StoreError::Stale(Box::new(Stale {
            moment: moment.clone(),
            version: Some(stands),
            text: found.row.text,
            now_in: Vec::new(),
            last: self.last_change(transaction, moment, stands).await?,
        })))
    }

    /// The moments that lie where a person last left one that is no more.
    async fn in_its_place(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
    ) -> Result<Vec<MomentId>, StoreError> {
        let last = self.change_before(transaction, moment, 0, i64::MAX).await?;
        let mut there = Vec::new();
        for left in last.iter().flat_map(|change| &change.after.0) {
            let beside = self
                .beside(transaction, &left.timed_in, left.start_ms, left.end_ms)
                .await?;
            there.extend(beside.into_iter().map(|row| row.moment_id));
        }
        Ok(there)
    }

    async fn found(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        moment: &MomentId,
    ) -> Result<Option<Found>, StoreError> {
        let ids = std::slice::from_ref(moment);
        let Some(row) = self.moments_at(&mut **transaction, ids).await?.pop() else {
            return Ok(None);
        };
        let words = self.words_at(&mut **transaction, ids).await?;
        let hearings = self.hearings_at(&mut **transaction, ids).await?;
        let from = row.words_from.as_ref();
        let anchor = hearings
            .iter()
            .find(|hearing| Some(&hearing.recording_id) == from)
            .or_else(|| hearings.first());
        let Some(anchor) = anchor else {
            return Ok(None);
        };
        let state = State {
            moment: row.id.clone(),
            version: row.version,
            by_hand: row.by_hand,
            timed_in: anchor.recording_id.clone(),
            start_ms: anchor.start_ms,
            end_ms: anchor.end_ms,
            covers: row.covers_from_ms.zip(row.covers_to_ms),
            model: row.model.clone(),
            doubt: row.doubt.clone(),
            why: row.why.clone(),
            again: None,
            words: row
                .text
                .is_some()
                .then(|| words.iter().map(Into::into).collect()),
        };
        Ok(Some(Found {
            row,
            hearings,
            state,
        }))
    }

    async fn step(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &mut Desk,
        found: &Found,
        fixing: &Fixing<'_>,
    ) -> Result<Step, StoreError> {
        let state = &found.state;
        let one = |kind, after: Vec<State>| Step {
            kind,
            before: vec![state.clone()],
            after,
        };
        Ok(match fixing.fix {
            Fix::Words { text } => one(ChangeKind::Words, vec![state.worded(text, fixing.by)?]),
            Fix::Split(cut) => {
                let at_ms = match *cut {
                    Cut::Word(n) => state.before_word(n)?,
                    Cut::At(at_ms) => at_ms,
                };
                one(
                    ChangeKind::Split,
                    state.split(at_ms, MomentId::fresh())?.to_vec(),
                )
            }
            Fix::Times {
                start_ms,
                end_ms,
                words,
            } => {
                let times = Times {
                    start_ms: *start_ms,
                    end_ms: *end_ms,
                    words,
                    duration_ms: desk.duration_ms(&state.timed_in),
                };
                let timed = state.timed(&times)?;
                self.nobody_is_there(transaction, state, &timed).await?;
                one(ChangeKind::Times, vec![timed])
            }
            Fix::Join { with, version } => {
                if with == fixing.moment {
                    return Err(unfit("with", "a moment can't be joined to itself"));
                }
                let other = self.seen(transaction, with, *version).await?;
                self.join(transaction, desk, found, &other).await?
            }
            Fix::Undo { to } => self.undone(transaction, desk, found, *to).await?,
        })
    }

    async fn join(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &mut Desk,
        one: &Found,
        other: &Found,
    ) -> Result<Step, StoreError> {
        if (&one.row.event_id, one.row.island) != (&other.row.event_id, other.row.island) {
            return Err(unfit(
                "with",
                "only moments of one event that lie on one clock can be joined",
            ));
        }
        desk.gather(other);
        let mut candidates = vec![&one.state.timed_in, &other.state.timed_in];
        candidates.extend(one.hearings.iter().map(|hearing| &hearing.recording_id));
        for timed_in in candidates {
            let both = desk
                .moved(&one.state, timed_in)
                .zip(desk.moved(&other.state, timed_in));
            let Some((a, b)) = both else { continue };
            let (start_ms, end_ms) = (a.start_ms.min(b.start_ms), a.end_ms.max(b.end_ms));
            if start_ms < 0 || end_ms > desk.duration_ms(timed_in) {
                continue;
            }
            let gap = (a.end_ms.min(b.end_ms), a.start_ms.max(b.start_ms));
            let beside = self.beside(transaction, timed_in, gap.0, gap.1).await?;
            let between = beside.iter().find(|row| {
                row.moment_id != a.moment
                    && row.moment_id != b.moment
                    && row.start_ms >= gap.0
                    && row.end_ms <= gap.1
                    && row.text.as_deref() != Some("")
            });
            if let Some(between) = between {
                return Err(unfit(
                    "with",
                    format!(
                        "moment {} lies between the two; join that one first",
                        between.moment_id
                    ),
                ));
            }
            return Ok(Step {
                kind: ChangeKind::Join,
                after: vec![a.joined(&b)?],
                before: vec![one.state.clone(), other.state.clone()],
            });
        }
        Err(unfit("with", "no recording has both moments whole"))
    }

    async fn beside(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        recording: &RecordingId,
        from_ms: i64,
        to_ms: i64,
    ) -> Result<Vec<Beside>, StoreError> {
        Ok(sqlx::query_as(self.sql(BESIDE))
            .bind(recording)
            .bind(from_ms)
            .bind(to_ms)
            .fetch_all(&mut **transaction)
            .await?)
    }

    /// Refuses new bounds that take in more of another moment than the old ones.
    async fn nobody_is_there(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        old: &State,
        new: &State,
    ) -> Result<(), StoreError> {
        let common = |state: &State, row: &Beside| {
            state.end_ms.min(row.end_ms) - state.start_ms.max(row.start_ms)
        };
        let beside = self
            .beside(transaction, &new.timed_in, new.start_ms, new.end_ms)
            .await?;
        let taken = beside
            .iter()
            .find(|row| row.moment_id != new.moment && common(new, row) > common(old, row).max(0));
        let Some(taken) = taken else {
            return Ok(());
        };
        let field = match taken.start_ms < old.start_ms {
            true => "start_ms",
            false => "end_ms",
        };
        Err(unfit(
            field,
            format!(
                "moment {} lies there, from {} to {} ms; join the two, or make that one shorter \
                 first",
                taken.moment_id, taken.start_ms, taken.end_ms
            ),
        ))
    }
}
