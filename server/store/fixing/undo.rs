//! How is a change taken back?
//!
//! Changes are taken back from the last one on, each as a whole: a moment that was
//! split off goes, one that was joined comes back under its id. What became since of
//! another moment that is still there is not thrown away: it has to be taken back
//! first. A change that was taken back before is passed over, together with that.

use std::collections::BTreeMap;

use sqlx::{Sqlite, Transaction};

use super::super::{ChangeKind, ChangeRow, MomentId, Store, StoreError};
use super::desk::Desk;
use super::{Found, State, Step, unfit};

/// The moments that are concerned: as they were found, and as they become.
struct Concerned {
    was: BTreeMap<MomentId, Option<State>>,
    now: BTreeMap<MomentId, Option<State>>,
}

impl Store {
    pub(super) async fn undone(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &mut Desk,
        found: &Found,
        to: i64,
    ) -> Result<Step, StoreError> {
        let moment = &found.row.id;
        if to < 1 || to >= found.row.version {
            let why = match found.row.version {
                1 => "it is at version 1, the first; there is nothing to go back to".into(),
                now => format!(
                    "it is at version {now}; go back to one from 1 to {}",
                    now - 1
                ),
            };
            return Err(unfit("to", why));
        }
        let own = (moment.clone(), Some(found.state.clone()));
        let mut concerned = Concerned {
            was: BTreeMap::from([own.clone()]),
            now: BTreeMap::from([own]),
        };
        let not_kept = || {
            unfit(
                "to",
                format!("what a model wrote in version {to} was not kept"),
            )
        };
        let mut version = found.row.version;
        while version != to {
            // One at a time: all of them may be more than there is memory for.
            let change = self.change_before(transaction, moment, to, version).await?;
            let change = change.ok_or_else(not_kept)?;
            let left = of(&change.after.0, moment);
            // A model wrote over it since, or it is an earlier version again.
            let earlier = match change.version < version {
                true => Some(change.version),
                false => left.and_then(|left| left.again.filter(|again| *again >= to)),
            };
            if let Some((left, earlier)) = left.zip(earlier) {
                concerned.now.insert(moment.clone(), Some(left.clone()));
                version = earlier;
                continue;
            }
            self.look_at(transaction, desk, &mut concerned, &change)
                .await?;
            concerned.take_back(&change, moment)?;
            let was = of(&change.before.0, moment);
            version = was.ok_or_else(not_kept)?.version;
        }
        let Concerned { was, mut now } = concerned;
        let first = now.remove(moment).flatten();
        Ok(Step {
            kind: ChangeKind::Undo,
            before: std::iter::once(found.state.clone())
                .chain(was.into_values().flatten().filter(|s| s.moment != *moment))
                .collect(),
            after: first
                .into_iter()
                .chain(now.into_values().flatten())
                .map(|state| State {
                    again: Some(state.again.unwrap_or(state.version)),
                    ..state
                })
                .collect(),
        })
    }

    /// Finds the moments of a change as they are.
    async fn look_at(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        desk: &mut Desk,
        concerned: &mut Concerned,
        change: &ChangeRow,
    ) -> Result<(), StoreError> {
        for state in change.before.0.iter().chain(&change.after.0) {
            if concerned.was.contains_key(&state.moment) {
                continue;
            }
            let found = self.found(transaction, &state.moment).await?;
            if let Some(found) = &found {
                desk.gather(found);
            }
            let there = found.map(|found| found.state);
            concerned.was.insert(state.moment.clone(), there.clone());
            concerned.now.insert(state.moment.clone(), there);
        }
        Ok(())
    }
}

impl Concerned {
    fn take_back(&mut self, change: &ChangeRow, moment: &MomentId) -> Result<(), StoreError> {
        let (before, after) = (&change.before.0, &change.after.0);
        for state in before.iter().chain(after) {
            let other = &state.moment;
            let there = self.now.get(other).and_then(Option::as_ref);
            let as_left = match (there, of(after, other)) {
                (Some(there), Some(left)) => there.is_as(left),
                (None, None) => true,
                _ => false,
            };
            // What came apart from it in this very undo is part of its own past.
            let own = self.was.get(other).is_some_and(Option::is_none) && there.is_some();
            if other != moment && !own && !as_left {
                return Err(unfit(
                    "to",
                    format!(
                        "moment {other} was part of version {} and has been changed since; take \
                         that back first",
                        change.version
                    ),
                ));
            }
        }
        for state in after {
            self.now.insert(state.moment.clone(), None);
        }
        for state in before {
            self.now.insert(state.moment.clone(), Some(state.clone()));
        }
        Ok(())
    }
}

fn of<'a>(states: &'a [State], moment: &MomentId) -> Option<&'a State> {
    states.iter().find(|state| state.moment == *moment)
}
