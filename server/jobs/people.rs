//! Who of other events may somebody be?

use std::collections::HashMap;

use sayback_core::voices::{Voice, same_voice};

use super::Engine;
use crate::store::{ElsewhereRow, EventId, PersonId, PersonRow, StoreError};

impl Engine {
    /// Whom of other events the unnamed of an event sound like, with how alike they are
    /// (0 to 1): a guess, and nobody unless that is turned on.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn perhaps(
        &self,
        event: &EventId,
        people: &[PersonRow],
    ) -> Result<HashMap<PersonId, (ElsewhereRow, f32)>, StoreError> {
        let store = self.store();
        let mut found = HashMap::new();
        let unnamed = |one: &PersonRow| one.unnamed && one.has_voice;
        if !people.iter().any(unnamed) || !store.voices_across_events().await? {
            return Ok(found);
        }
        let elsewhere: Vec<(ElsewhereRow, Voice)> = store
            .voices_elsewhere(event)
            .await?
            .into_iter()
            .filter_map(|row| Voice::from_bytes(&row.voice).ok().map(|voice| (row, voice)))
            .collect();
        let voices: Vec<&Voice> = elsewhere.iter().map(|(_, voice)| voice).collect();
        for row in store.voices(event).await? {
            let is_unnamed = |one: &PersonRow| one.id == row.person_id && one.unnamed;
            let voice = Voice::from_bytes(&row.voice).ok();
            let Some(voice) = voice.filter(|_| people.iter().any(is_unnamed)) else {
                continue;
            };
            if let Some((n, alike)) = same_voice(&voice, &voices)
                && let Some((other, _)) = elsewhere.get(n)
            {
                found.insert(row.person_id, (other.clone(), alike));
            }
        }
        Ok(found)
    }
}
