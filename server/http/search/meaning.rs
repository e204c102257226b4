//! What means the like of a question, beside what has its words.

use std::collections::{HashMap, HashSet};

use sayback_core::text::{Query, Wanted};

use super::super::AppState;
use super::super::problem::Answer;
use super::super::wire::ByMeaning;
use super::answer::{Told, tell};
use crate::jobs::Meant;
use crate::store::{Filter, MOST_PAGED, MomentId};

/// The most moments that are told.
const MOST: usize = 10;
/// So many of the likest are put to the filter.
const LOOKED_AT: usize = 100;

/// The moments of one event that mean the like of a question and pass a filter.
///
/// # Errors
/// When the database can't be read.
pub async fn found(state: &AppState, question: &str, filter: &Filter) -> Answer<ByMeaning> {
    let store = &state.store;
    let event = filter.events.iter().flatten().next();
    let meant = state.engine.meant(question, event, LOOKED_AT).await?;
    let Meant::Moments(mut meant) = meant else {
        return Ok(ByMeaning {
            model: false,
            hits: Vec::new(),
        });
    };
    let of_event = Filter {
        events: filter.events.clone(),
        ..Filter::default()
    };
    if *filter != of_event {
        let (nothing, anything) = (Query::default(), Wanted::default());
        let left = store
            .matching(&nothing, &anything, filter, MOST_PAGED)
            .await?;
        let left = store.said(&left.exact).await?;
        let left: HashSet<&MomentId> = left.iter().map(|row| &row.id).collect();
        meant.retain(|one| left.contains(&one.moment));
    }
    meant.truncate(MOST);
    let ids: Vec<MomentId> = meant.iter().map(|one| one.moment.clone()).collect();
    let whole = store.whole_moments(&ids).await?;
    let whole: HashMap<_, _> = whole.iter().map(|one| (&one.moment.id, one)).collect();
    let told = meant.iter().filter_map(|one| {
        let candidate = whole.get(&one.moment)?;
        Told::meant(candidate, one.likeness)
    });
    let told: Vec<Told> = told.collect();
    Ok(ByMeaning {
        model: true,
        hits: tell(store, &told).await?,
    })
}
