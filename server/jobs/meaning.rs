//! Which lines mean what this question asks for?
//!
//! The model is loaded when somebody asks for the first time (0.2 s, 70 MB) and kept.
//! Where it is not there, nobody waits and nothing fails: lines are found by their words.

use std::sync::{Arc, Mutex, PoisonError};

use sayback_core::Cancel;
use sayback_core::meaning::{LEAST_LIKE, SentenceEncoder};

use super::engine::Inner;
use super::{Engine, JobsError, What};
use crate::store::{EventId, MeantRow, StoreError};

/// The model, once somebody asked.
pub(super) type Kept = Mutex<Option<Arc<SentenceEncoder>>>;

/// What is near to a question.
#[derive(Clone, Debug, PartialEq)]
pub enum Meant {
    /// There is no model of meaning.
    NoModel,
    /// The moments, the likest first; none where even that is less like the question
    /// than [`LEAST_LIKE`]. Those of which `meaning` has not been found yet are not
    /// among them.
    Moments(Vec<MeantRow>),
}

impl Engine {
    /// The moments that mean the like of a question, of one event or of all, at most so
    /// many. Of a long question the first 190 words or so count.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn meant(
        &self,
        question: &str,
        event: Option<&EventId>,
        most: usize,
    ) -> Result<Meant, JobsError> {
        if question.trim().is_empty() {
            return Ok(Meant::Moments(Vec::new()));
        }
        let inner = Arc::clone(self.inner());
        let question = question.to_owned();
        let event = event.cloned();
        // Both halves compute for long.
        let asked = tokio::task::spawn_blocking(move || -> Result<Option<_>, StoreError> {
            let Some(model) = inner.sentences() else {
                return Ok(None);
            };
            let found = model.embed(&[&question], &Cancel::new());
            let Some(question) = found.first().map(|found| found.to_question()) else {
                return Ok(Some(Vec::new()));
            };
            let nearest = inner.store.nearest(&question, event.as_ref(), most);
            inner.block(nearest).map(Some)
        });
        let found = match asked.await {
            Ok(found) => found?,
            Err(panicked) => {
                tracing::error!("finding by meaning: {panicked}");
                Some(Vec::new())
            }
        };
        let Some(mut rows) = found else {
            return Ok(Meant::NoModel);
        };
        if rows.first().is_none_or(|row| row.likeness < LEAST_LIKE) {
            rows.clear();
        }
        Ok(Meant::Moments(rows))
    }
}

impl Inner {
    /// Queues what was said before there was a model of meaning, or has no more queued
    /// when there is none.
    pub(super) async fn look_for_meaning(&self) -> Result<(), StoreError> {
        let there = self.config.model.finds_meaning();
        if self.store.look_for_meaning(there).await? {
            self.changed(None, What::Queue);
        }
        Ok(())
    }

    /// The model: loaded once, and kept for the next question.
    fn sentences(&self) -> Option<Arc<SentenceEncoder>> {
        let mut kept = self
            .sentences
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if kept.is_none() {
            *kept = self.config.model.sentences();
            // It may have come since the program was started.
            if kept.is_some()
                && self.config.works()
                && let Err(error) = self.block(self.look_for_meaning())
            {
                tracing::warn!("meaning is not looked for: {error}");
            }
        }
        kept.clone()
    }
}
