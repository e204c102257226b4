//! Other names for an event: what was written is made anew of what was heard.

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

    /// Whether the model knows these languages.
    ///
    /// # Errors
    /// [`SpeechError::Language`], naming the model.
    pub fn knows(&self, languages: &[String]) -> Result<(), SpeechError> {
        self.inner().config.model.knows(languages)
    }
}
