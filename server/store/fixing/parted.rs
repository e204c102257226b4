//! A moment in which several speak one after the other becomes several.
//!
//! No person does it, so it is no change of theirs: it stands in nobody's history, and
//! the words stay a model's.

use sqlx::{Sqlite, Transaction};

use super::super::speaking::Speaks;
use super::super::{ChangeKind, EventId, MomentId, Store, StoreError};
use super::desk::Desk;
use super::{Found, State, Step};

impl Store {
    /// Cuts moments where another speaker begins, between words; says which parts there
    /// are, each with who speaks in it.
    pub(in crate::store) async fn part_moments<'a>(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        moments: &'a [(MomentId, Vec<Speaks>)],
    ) -> Result<Vec<(MomentId, &'a Speaks)>, StoreError> {
        let mut desk = None;
        let mut all = Vec::new();
        for (moment, turns) in moments {
            let parts = self
                .parted(transaction, event, moment, turns, &mut desk)
                .await?;
            let parts = parts.into_iter();
            all.extend(parts.filter_map(|(part, turn)| Some((part, turns.get(turn)?))));
        }
        Ok(all)
    }

    /// The parts of a moment, each with the number of the one who speaks in it.
    async fn parted(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        moment: &MomentId,
        turns: &[Speaks],
        desk: &mut Option<Desk>,
    ) -> Result<Vec<(MomentId, usize)>, StoreError> {
        let whole = |turn: usize| Ok(vec![(moment.clone(), turn)]);
        if turns.len() < 2 {
            return if turns.is_empty() {
                Ok(Vec::new())
            } else {
                whole(0)
            };
        }
        let Some(found) = self.found(transaction, moment).await? else {
            return Ok(Vec::new());
        };
        let desk = match desk {
            Some(desk) => desk,
            None => desk.insert(Desk::of(self, transaction, event).await?),
        };
        desk.clear();
        desk.gather(&found);
        let at: Option<Vec<i64>> = turns
            .iter()
            .map(|turn| desk.in_file(&found.state.timed_in, turn.from_ms))
            .collect();
        let Some(at) = at else {
            return whole(longest(&found, turns));
        };
        let parts = parts(&found.state, &at);
        if found.state.by_hand || parts.len() < 2 {
            return whole(match parts.as_slice() {
                [(_, turn)] => *turn,
                _ => longest(&found, turns),
            });
        }
        let ids = parts
            .iter()
            .map(|(state, turn)| (state.moment.clone(), *turn))
            .collect();
        let mut step = Step {
            kind: ChangeKind::Split,
            before: vec![found.state.clone()],
            after: parts.into_iter().map(|(state, _)| state).collect(),
        };
        self.write_states(transaction, desk, &mut step).await?;
        Ok(ids)
    }
}

/// The parts of a moment that have words, each with the number of the turn they lie in.
/// `at`: where each turn begins in the file, ms.
fn parts(state: &State, at: &[i64]) -> Vec<(State, usize)> {
    let words = state.words.as_deref().unwrap_or_default();
    let turn_of = |middle: i64| at.iter().skip(1).filter(|from| **from <= middle).count();
    let turns: Vec<usize> = words
        .iter()
        .map(|word| turn_of(word.start_ms.midpoint(word.end_ms)))
        .collect();
    let Some(first) = turns.first() else {
        return Vec::new();
    };
    let mut parts = vec![(state.clone(), *first)];
    let mut cut = 0;
    for n in 1..turns.len() {
        let (Some(before), Some(turn)) = (turns.get(n - 1), turns.get(n)) else {
            break;
        };
        if before == turn {
            continue;
        }
        let Some((rest, _)) = parts.last() else { break };
        let two = rest
            .before_word(n - cut)
            .and_then(|at_ms| rest.split(at_ms, MomentId::fresh()));
        // Where there is no room for a cut, whoever began goes on.
        let Ok([one, two]) = two else { continue };
        if let Some(last) = parts.last_mut() {
            last.0 = State {
                by_hand: state.by_hand,
                ..one
            };
        }
        parts.push((
            State {
                by_hand: state.by_hand,
                ..two
            },
            *turn,
        ));
        cut = n;
    }
    parts
}

/// Whoever speaks longest.
fn longest(found: &Found, turns: &[Speaks]) -> usize {
    let ends = turns.iter().skip(1).map(|turn| turn.from_ms);
    let ends = ends.chain(std::iter::once(found.row.end_ms));
    let lengths = turns.iter().zip(ends).map(|(turn, end)| end - turn.from_ms);
    let longest = lengths
        .enumerate()
        .max_by_key(|(n, ms)| (*ms, std::cmp::Reverse(*n)));
    longest.map_or(0, |(n, _)| n)
}
