//! Names and languages of an event.

use super::words::first;
use super::*;

/// Gives an event with words its names and languages.
pub(super) async fn given(store: &Store, event: &EventId, moments: &[MomentId]) {
    assert!(store.glossary(event).await.unwrap().is_empty());
    assert!(store.languages(event).await.unwrap().is_empty());
    let names = ["Ottilie".to_owned(), "Tarrow \"Landing\"".to_owned()];
    let before = store.words_of(moments).await.unwrap();
    assert!(!before.is_empty());

    // The names decide what stands there; what was heard is what it is made of.
    let loud = |id: &MomentId, attempts: &[AttemptRow]| {
        let mut made = first(id, attempts);
        for word in &mut made.words {
            let heard = std::mem::replace(&mut word.text, "Ottilie".into());
            word.heard = Some(heard);
            word.language = Some("en".into());
        }
        made
    };
    store.set_glossary(event, &names, &loud).await.unwrap();
    assert_eq!(store.glossary(event).await.unwrap(), names);
    let now = store.words_of(moments).await.unwrap();
    assert!(now.iter().all(|word| word.text == "Ottilie"));
    let heard: Vec<_> = now.iter().map(|word| word.heard.clone().unwrap()).collect();
    let texts: Vec<_> = before.iter().map(|word| word.text.clone()).collect();
    assert_eq!(heard, texts);
    let rows = store.moments_by_ids(moments).await.unwrap();
    assert_eq!(rows[0].language.as_deref(), Some("en"));

    store.reword(moments, &first).await.unwrap();
    assert_eq!(store.words_of(moments).await.unwrap(), before);
    store
        .set_languages(event, &["en".into(), "de".into()])
        .await
        .unwrap();
    assert_eq!(store.languages(event).await.unwrap(), ["en", "de"]);
    let row = store.event(event).await.unwrap();
    assert_eq!((row.names, row.languages.0.len()), (2, 2));

    let nobody = EventId::from("nobody");
    assert!(matches!(
        store.glossary(&nobody).await,
        Err(StoreError::Unknown { .. })
    ));
}
