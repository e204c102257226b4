//! Other names for an event: what was written is made anew of what was heard. Other
//! languages: what is written from now on is heard in them.

use super::steps::Fuser;
use super::{Engine, What};
use crate::speech::SpeechError;
use crate::store::{EventId, StoreError};

impl Engine {
    /// Gives an event its names, in place of those it had.
    ///
    /// # Errors
    /// When the database can't be read or written.
    pub async fn set_glossary(&self, event: &EventId, names: &[String]) -> Result<(), StoreError> {
        let (store, event, names) = (self.store().clone(), event.clone(), names.to_vec());
        let id = event.clone();
        // Comparing a day's words with thousands of names takes a second.
        let work = move || {
            let runtime = tokio::runtime::Handle::current();
            runtime.block_on(async {
                let placements = store.placements(&event).await?;
                let fuser = Fuser::new(&placements, names.clone());
                let fuse = |_: &_, attempts: &[_]| fuser.words(attempts);
                store.set_glossary(&event, &names, &fuse).await
            })
        };
        match tokio::task::spawn_blocking(work).await {
            Ok(done) => done?,
            Err(gone) => std::panic::resume_unwind(gone.into_panic()),
        }
        self.changed(Some(id), What::Content);
        Ok(())
    }

    /// Gives an event other languages, for windows that are listened to from now on.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn set_languages(
        &self,
        event: &EventId,
        languages: &[String],
    ) -> Result<(), StoreError> {
        self.store().set_languages(event, languages).await?;
        self.changed(Some(event.clone()), What::Content);
        Ok(())
    }

    /// Whether the model knows these languages. Reading the model's file to say so can
    /// take seconds.
    ///
    /// # Errors
    /// [`SpeechError::Language`], naming the model.
    pub async fn knows(&self, languages: &[String]) -> Result<(), SpeechError> {
        let (model, languages) = (self.inner().config.model.clone(), languages.to_vec());
        match tokio::task::spawn_blocking(move || model.knows(&languages)).await {
            Ok(known) => known,
            Err(gone) => std::panic::resume_unwind(gone.into_panic()),
        }
    }
}
