//! Cut lists: what is kept of them, and what they become.

use super::story::NOW;
use super::*;

pub(super) fn lie(recording: &str, start_ms: f64, end_ms: f64) -> Lie {
    Lie {
        recording: recording.into(),
        start_ms,
        end_ms,
    }
}

/// A second of speech in one file.
pub(super) fn quote(text: &str) -> Quote {
    Quote {
        text: text.into(),
        ..Quote::fresh(Some("m".into()), vec![lie("r", 1_000.0, 2_000.5)])
    }
}

pub(super) fn texts(quotes: &[Quote]) -> Vec<&str> {
    quotes.iter().map(|quote| quote.text.as_str()).collect()
}

pub(super) async fn edit(
    store: &Store,
    cut: &CutRow,
    edit: CutEdit,
) -> Result<CutEdited, StoreError> {
    let version = store.cut(&cut.id).await.unwrap().version;
    store.edit_cut(&cut.id, version, &edit, NOW).await
}

pub(super) async fn add(
    store: &Store,
    cut: &CutRow,
    place: Option<usize>,
    new: &[&str],
) -> CutEdited {
    let quotes = new.iter().map(|text| quote(text)).collect();
    let edit = edit(store, cut, CutEdit::Add { place, quotes }).await;
    edit.unwrap()
}

/// An event of 30000/1001 frames a second and an empty list.
pub(super) async fn landing() -> (tempfile::TempDir, Store, CutRow) {
    let (folder, store) = store().await;
    let new = NewEvent {
        title: "Landing".into(),
        frame_rate: "30000/1001".parse().ok(),
        ..NewEvent::default()
    };
    let event = store.create_event(new, NOW).await.unwrap().id;
    let cut = store.add_cut(&event, "film", "", 9, NOW).await.unwrap();
    (folder, store, cut)
}

/// Makes a list, does everything to it, takes it away.
pub(super) async fn kept(store: &Store, event: &EventId) {
    assert_eq!(store.cuts(event).await.unwrap(), []);
    let cut = store.add_cut(event, " Film ", "n", 1, NOW).await.unwrap();
    assert_eq!(
        (
            cut.name.as_str(),
            cut.version,
            cut.quotes,
            cut.created_at_ms
        ),
        ("Film", 1, 0, NOW)
    );
    assert_eq!(store.cuts(event).await.unwrap(), std::slice::from_ref(&cut));
    for name in ["Film", cut.id.as_str()] {
        assert_eq!(store.find_cut(name).await.unwrap(), cut);
    }
    let full = store.add_cut(event, "b", "", 1, NOW).await.unwrap_err();
    assert!(full.to_string().contains("at most 1"), "{full}");

    let first = add(store, &cut, None, &["one", "three"]).await;
    assert_eq!(
        (first.cut.version, first.cut.quotes, first.about.len()),
        (2, 2, 2)
    );
    let second = add(store, &cut, Some(2), &["two"]).await;
    assert_eq!(texts(&second.quotes), ["one", "two", "three"]);
    let (row, quotes) = store.whole_cut(&cut.id).await.unwrap();
    assert_eq!((row, quotes), (second.cut.clone(), second.quotes.clone()));

    let named = store
        .name_cut_version(&cut.id, 3, " rough ", NOW)
        .await
        .unwrap();
    assert_eq!((named.version, named.name.as_deref()), (3, Some("rough")));
    let dropped = CutEdit::Drop(second.quotes[0].id.clone());
    let dropped = edit(store, &cut, dropped).await.unwrap();
    assert_eq!(texts(&dropped.quotes), ["two", "three"]);
    let undone = edit(store, &cut, CutEdit::Restore(None)).await.unwrap();
    assert_eq!((undone.cut.version, &undone.quotes), (5, &second.quotes));
    let versions = store.cut_versions(&cut.id).await.unwrap();
    let told: Vec<_> = versions
        .iter()
        .map(|kept| (kept.version, kept.name.as_deref(), kept.before, kept.quotes))
        .collect();
    // The name outlives what was done to the version afterwards.
    assert_eq!(
        told,
        [
            (4, None, Before::Restore, 2),
            (3, Some("rough"), Before::Keep, 3),
            (2, None, Before::Add, 2),
            (1, None, Before::Add, 0),
        ]
    );
    store.forget_cut_version(&cut.id, 3).await.unwrap();
    let gone = store.forget_cut_version(&cut.id, 3).await.unwrap_err();
    assert_eq!(gone.to_string(), "there is no version '3'");
    let gone = edit(store, &cut, CutEdit::Restore(Some(3)))
        .await
        .unwrap_err();
    assert_eq!(gone.to_string(), "there is no version '3'");
    assert_eq!(store.touched(&[("r".into(), 0.0, 9.0)]).await.unwrap(), []);

    assert_eq!(store.delete_cut(&cut.id).await.unwrap(), *event);
    let gone = format!("there is no cut '{}'", cut.id);
    for error in [
        store.cut(&cut.id).await.unwrap_err(),
        store.whole_cut(&cut.id).await.unwrap_err(),
        store.find_cut(cut.id.as_str()).await.unwrap_err(),
        store.delete_cut(&cut.id).await.unwrap_err(),
        store
            .name_cut_version(&cut.id, 1, "x", NOW)
            .await
            .unwrap_err(),
        store
            .edit_cut(&cut.id, 1, &CutEdit::Restore(None), NOW)
            .await
            .unwrap_err(),
    ] {
        assert_eq!(error.to_string(), gone);
    }
    assert_eq!(store.cut_versions(&cut.id).await.unwrap(), []);
    let nobody = EventId::from("nobody");
    let error = store.add_cut(&nobody, "x", "", 9, NOW).await.unwrap_err();
    assert_eq!(error.to_string(), "there is no event 'nobody'");
}

#[tokio::test]
async fn a_quote_is_read_as_it_was_written() {
    let (_folder, store, cut) = landing().await;
    let whole = Quote {
        text: "Kettle, \"will\"\nsing — Ζωή".into(),
        person: Some("Ottilie".into()),
        lies: Json(vec![lie("r", 0.125, 7.5), lie("s", -3.0, 4.0)]),
        island: Some(0),
        start_ms: Some(-5),
        end_ms: Some(3),
        in_ms: -120,
        in_frames: 2,
        out_ms: 7,
        out_frames: -1,
        hearing_id: Some("s".into()),
        hearing_name: Some("Lectern (a.wav)".into()),
        backups: Some(0),
        note: "it's fine; DROP TABLE".into(),
        ..quote("")
    };
    let quotes = vec![whole.clone(), quote("")];
    let edited = edit(
        &store,
        &cut,
        CutEdit::Add {
            place: None,
            quotes,
        },
    )
    .await;
    let edited = edited.unwrap();
    assert_eq!(edited.quotes[0], whole);
    // And through a version of the list.
    edit(&store, &cut, CutEdit::Drop(whole.id.clone()))
        .await
        .unwrap();
    let back = edit(&store, &cut, CutEdit::Restore(None)).await.unwrap();
    assert_eq!(back.quotes, edited.quotes);
}

#[tokio::test]
async fn two_editors_never_write_over_each_other() {
    let (_folder, store, cut) = landing().await;
    let there = add(&store, &cut, None, &["one", "two"]).await;
    let (first, second) = (there.quotes[0].id.clone(), there.quotes[1].id.clone());
    let note = |text: &str| CutEdit::Change {
        quote: first.clone(),
        change: QuoteChange {
            note: Some(text.into()),
            ..QuoteChange::default()
        },
    };
    let ours = store
        .edit_cut(&cut.id, 2, &note("ours"), NOW)
        .await
        .unwrap();
    assert_eq!(ours.cut.version, 3);
    let nudge = CutEdit::Nudge {
        quote: second.clone(),
        begin: Nudge { ms: 1, frames: 0 },
        end: Nudge::default(),
    };
    for late in [
        note("theirs"),
        nudge,
        CutEdit::Drop(second),
        CutEdit::Restore(Some(1)),
    ] {
        let refused = store.edit_cut(&cut.id, 2, &late, NOW).await.unwrap_err();
        assert!(
            matches!(refused, StoreError::Outdated { version: 3, .. }),
            "{refused}"
        );
    }
    let late = store
        .name_cut_version(&cut.id, 2, "x", NOW)
        .await
        .unwrap_err();
    assert!(matches!(late, StoreError::Outdated { version: 3, .. }));
    // Sent once more after a lost answer, it is as it should be, and no new version.
    let again = store
        .edit_cut(&cut.id, 2, &note("ours"), NOW)
        .await
        .unwrap();
    assert_eq!((again.cut.version, &again.quotes), (3, &ours.quotes));

    // At the very same time: one of each two is written, and none is lost.
    let mut written = 0;
    for n in 0..20_u32 {
        let version = store.cut(&cut.id).await.unwrap().version;
        let one = |which: &'static str| {
            let quotes = vec![quote(which)];
            let (store, id) = (store.clone(), cut.id.clone());
            tokio::spawn(async move {
                let edit = CutEdit::Add {
                    place: None,
                    quotes,
                };
                store.edit_cut(&id, version, &edit, NOW).await.is_ok()
            })
        };
        let (a, b) = (one("a"), one("b"));
        let done = [a.await.unwrap(), b.await.unwrap()];
        assert_eq!(
            done.iter().filter(|&&done| done).count(),
            1,
            "{n}: {done:?}"
        );
        written += 1;
    }
    assert_eq!(store.cut(&cut.id).await.unwrap().quotes, 2 + written);
}

#[tokio::test]
async fn quotes_are_moved_and_put_in_order() {
    let (_folder, store, cut) = landing().await;
    let there = add(&store, &cut, None, &["a", "b", "c", "d"]).await.quotes;
    let id = |n: usize| there[n].id.clone();
    for (from, place, order) in [
        (0, 4, ["b", "c", "d", "a"]),
        (2, 1, ["c", "b", "d", "a"]),
        (2, 1, ["c", "b", "d", "a"]),
        (1, 3, ["c", "d", "b", "a"]),
    ] {
        let moved = CutEdit::Move {
            quote: id(from),
            place,
        };
        let moved = edit(&store, &cut, moved).await.unwrap();
        assert_eq!(texts(&moved.quotes), order);
    }
    let order = CutEdit::Order((0..4).map(id).collect());
    let edited = edit(&store, &cut, order).await.unwrap();
    assert_eq!(texts(&edited.quotes), ["a", "b", "c", "d"]);
    let wrong = [
        CutEdit::Order((0..3).map(id).collect()),
        CutEdit::Order([0, 1, 2, 2].into_iter().map(id).collect()),
        CutEdit::Order([0, 1, 2, 3, 0].into_iter().map(id).collect()),
        CutEdit::Move {
            quote: id(0),
            place: 0,
        },
        CutEdit::Move {
            quote: id(0),
            place: 5,
        },
        CutEdit::Add {
            place: Some(6),
            quotes: vec![quote("x")],
        },
        CutEdit::Add {
            place: Some(0),
            quotes: vec![quote("x")],
        },
    ];
    for wrong in wrong {
        let refused = edit(&store, &cut, wrong).await.unwrap_err();
        assert!(matches!(refused, StoreError::Unfit { .. }), "{refused}");
    }
    let nobody = CutEdit::Drop("nobody".into());
    let refused = edit(&store, &cut, nobody).await.unwrap_err();
    assert_eq!(refused.to_string(), "there is no quote 'nobody'");
}

#[tokio::test]
async fn a_quote_always_begins_before_it_ends() {
    let (_folder, store, cut) = landing().await;
    let id = add(&store, &cut, None, &["one"]).await.about[0].clone();
    let nudge = |begin: (i64, i64), end: (i64, i64)| {
        let of = |(ms, frames)| Nudge { ms, frames };
        CutEdit::Nudge {
            quote: id.clone(),
            begin: of(begin),
            end: of(end),
        }
    };
    // 1,000.5 ms: thirty frames are 1,001.
    for (wrong, field) in [
        (nudge((0, 30), (0, 0)), "in"),
        (nudge((0, 0), (0, -30)), "out"),
        (nudge((1_000, 0), (0, 0)), "in"),
        (nudge((i64::MAX, 0), (0, 0)), "in"),
        (nudge((0, 0), (0, i64::MIN)), "out"),
    ] {
        let refused = edit(&store, &cut, wrong).await.unwrap_err();
        assert!(
            matches!(refused, StoreError::Unfit { field: of, .. } if of == field),
            "{refused}"
        );
    }
    for _ in 0..29 {
        edit(&store, &cut, nudge((0, 1), (0, 0))).await.unwrap();
    }
    let (row, quotes) = store.whole_cut(&cut.id).await.unwrap();
    let left = quotes[0].length_ms(row.rate());
    assert!(
        (left - (1_000.5 - 29.0 * 1_001.0 / 30.0)).abs() < 1e-9,
        "{left}"
    );
    assert_eq!((row.version, quotes[0].in_frames), (31, 29));

    let empty = Quote::fresh(None, vec![lie("r", 5.0, 5.0)]);
    let quotes = vec![empty];
    let refused = edit(
        &store,
        &cut,
        CutEdit::Add {
            place: None,
            quotes,
        },
    )
    .await;
    assert!(matches!(
        refused,
        Err(StoreError::Unfit {
            field: "end_ms",
            ..
        })
    ));
    let long = Quote::fresh(None, vec![lie("r", 0.0, 86_400_001.0)]);
    let quotes = vec![long];
    let refused = edit(
        &store,
        &cut,
        CutEdit::Add {
            place: None,
            quotes,
        },
    )
    .await;
    assert!(refused.unwrap_err().to_string().contains("24 hours"));
}

#[tokio::test]
async fn names_are_one_of_a_kind_in_their_event() {
    let (_folder, store, cut) = landing().await;
    let taken = store
        .add_cut(&cut.event_id, "film", "", 9, NOW)
        .await
        .unwrap_err();
    assert!(matches!(taken, StoreError::Exists { .. }), "{taken}");
    let other = store
        .add_cut(&cut.event_id, "teaser", "", 9, NOW)
        .await
        .unwrap();
    let name = |name: &str| CutEdit::Name {
        name: Some(name.into()),
        note: None,
    };
    let taken = edit(&store, &other, name("film")).await.unwrap_err();
    assert!(matches!(taken, StoreError::Exists { .. }), "{taken}");
    // Undoing another name gives it back.
    edit(&store, &cut, name("long film")).await.unwrap();
    let back = edit(&store, &cut, CutEdit::Restore(None)).await.unwrap();
    assert_eq!((back.cut.name.as_str(), back.cut.version), ("film", 3));
    for (name, note, says) in [
        (" ", "", "cut name is blank"),
        ("x", &"x".repeat(10_001)[..], "cut note is too long"),
    ] {
        let refused = store.add_cut(&cut.event_id, name, note, 9, NOW).await;
        assert_eq!(refused.unwrap_err().to_string(), says);
    }
    // In another event the name is free, and alone it does not tell the two apart.
    let new = NewEvent {
        title: "Boathouse".into(),
        ..NewEvent::default()
    };
    let event = store.create_event(new, NOW).await.unwrap().id;
    store.add_cut(&event, "film", "", 9, NOW).await.unwrap();
    let both = store.find_cut("film").await.unwrap_err();
    assert!(matches!(both, StoreError::Ambiguous { ids, .. } if ids.len() == 2));
}
