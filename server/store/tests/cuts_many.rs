//! Cut lists that are long, old or late.

use std::time::Instant;

use super::cuts::{add, edit, landing, lie, quote, texts};
use super::story::NOW;
use super::*;

#[tokio::test]
async fn versions_are_bounded_but_for_those_with_a_name() {
    let (_folder, store, cut) = landing().await;
    add(&store, &cut, None, &["one"]).await;
    store
        .name_cut_version(&cut.id, 2, "first", NOW)
        .await
        .unwrap();
    let note = |n: i64| CutEdit::Name {
        name: None,
        note: Some(n.to_string()),
    };
    for n in 0..super::super::cuts::KEPT + 20 {
        edit(&store, &cut, note(n)).await.unwrap();
    }
    let versions = store.cut_versions(&cut.id).await.unwrap();
    assert_eq!(versions.len(), super::super::cuts::KEPT as usize + 1);
    assert_eq!(versions.last().unwrap().name.as_deref(), Some("first"));
    let back = edit(&store, &cut, CutEdit::Restore(Some(2))).await.unwrap();
    assert_eq!(
        (texts(&back.quotes), back.cut.note.as_str()),
        (vec!["one"], "")
    );
}

/// The figures are told by `--nocapture`.
#[tokio::test]
async fn two_thousand_quotes_are_a_list_and_one_more_is_none() {
    let (_folder, store, cut) = landing().await;
    let lies: Vec<Lie> = (0..8)
        .map(|n| lie(&format!("r{n:016}"), 1_000.125, 4_000.25))
        .collect();
    let quotes: Vec<Quote> = (0..MOST_QUOTES)
        .map(|n| Quote {
            text: format!("the kettle will sing before the ferry leaves {n}"),
            ..Quote::fresh(Some(MomentId::fresh()), lies.clone())
        })
        .collect();
    let all = CutEdit::Add {
        place: None,
        quotes,
    };
    let begun = Instant::now();
    let there = edit(&store, &cut, all).await.unwrap().quotes;
    println!("2,000 quotes added: {:?}", begun.elapsed());
    let more = CutEdit::Add {
        place: None,
        quotes: vec![quote("x")],
    };
    let refused = edit(&store, &cut, more).await.unwrap_err();
    assert!(
        refused.to_string().contains("at most 2000 quotes"),
        "{refused}"
    );
    let begun = Instant::now();
    let first = there[0].id.clone();
    let moved = CutEdit::Move {
        quote: first.clone(),
        place: MOST_QUOTES,
    };
    let moved = edit(&store, &cut, moved).await.unwrap();
    println!("the first made the last: {:?}", begun.elapsed());
    assert_eq!(moved.quotes.last().unwrap().id, first);
    assert_eq!(moved.quotes[..MOST_QUOTES - 1], there[1..]);
    // Each version of it is a megabyte and more: only some of them are kept.
    for place in 1..=12 {
        let moved = CutEdit::Move {
            quote: first.clone(),
            place,
        };
        edit(&store, &cut, moved).await.unwrap();
    }
    let kept = store.cut_versions(&cut.id).await.unwrap();
    assert!((2..13).contains(&kept.len()), "{}", kept.len());
    assert_eq!(kept[0].version, 14);
}

#[tokio::test]
async fn lists_go_with_their_event_and_quotes_stay_without_their_recording() {
    let (_folder, store, cut) = landing().await;
    add(&store, &cut, None, &["one"]).await;
    sqlx::query("DELETE FROM recording")
        .execute(&store.write)
        .await
        .unwrap();
    assert_eq!(store.whole_cut(&cut.id).await.unwrap().1.len(), 1);
    store.remove_event(&cut.event_id).await.unwrap();
    let gone = edit_late(&store, &cut).await;
    assert!(
        matches!(gone, StoreError::Unknown { what: "cut", .. }),
        "{gone}"
    );
    for table in ["cut", "quote", "cut_version"] {
        let count = format!("SELECT count(*) FROM {table}");
        let left: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(count))
            .fetch_one(&store.read)
            .await
            .unwrap();
        assert_eq!(left, 0, "{table}");
    }
}

/// What somebody does who has the list open still.
async fn edit_late(store: &Store, cut: &CutRow) -> StoreError {
    let quotes = vec![quote("late")];
    let edit = CutEdit::Add {
        place: None,
        quotes,
    };
    store.edit_cut(&cut.id, 2, &edit, NOW).await.unwrap_err()
}

/// Which moments a stretch touches, also those that began long before it.
#[tokio::test]
async fn moments_are_found_by_where_they_lie_in_a_file() {
    let (desk, ids) = super::put_right::heard(&["he rang the bell", "the tide is out"]).await;
    let store = &desk.store;
    let (a, b) = (desk.id(0).clone(), desk.id(1).clone());
    let asked = [
        (a.clone(), 3_999.5, 5_000.5),
        (a.clone(), 4_000.0, 5_000.0),
        (b, 5_600.0, 5_601.0),
        ("nobody".into(), 0.0, 9_000.0),
        (a, 1_000.0, 1_001.0),
    ];
    let touched = store.touched(&asked).await.unwrap();
    let told: Vec<_> = touched.iter().map(|row| (row.n, &row.moment_id)).collect();
    assert_eq!(
        told,
        [(0, &ids[0]), (0, &ids[1]), (2, &ids[1]), (4, &ids[0])]
    );
}
