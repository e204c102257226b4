//! Where quotes lie when recordings are put elsewhere or are removed.

use sayback_core::clock::{How, Placement};

use super::super::made;
use super::super::places::{Places, Stretch};
use super::resolve::{Base, Desk};
use super::sound::Heard;
use super::spoken::Spoken;
use crate::store::{self, Json, Lie, PlacementRow, Word};

fn placed(recording: &str, island: i64, start_ms: f64, ppm: f64) -> PlacementRow {
    PlacementRow {
        recording_id: recording.into(),
        island,
        placement: Json(Placement::even(start_ms, ppm)),
        how: Word(How::Sound),
        uncertainty_ms: Some(3.0),
        agreement: None,
        residual_ms: None,
        points: 0,
        warnings: Json(serde_json::Value::Null),
    }
}

/// An event whose recordings, a minute each, lie so.
fn desk(rows: Vec<PlacementRow>) -> Desk {
    let ids = rows.iter().map(|row| row.recording_id.clone());
    Desk {
        event: "e".into(),
        rate: Some(sayback_core::timecode::FrameRate::R29_97),
        frame_rate: Some("30000/1001".into()),
        recordings: ids
            .map(|id| (id.clone(), made::recording(id.as_str())))
            .collect(),
        places: Places::with(rows),
    }
}

fn lie(recording: &str, start_ms: f64, end_ms: f64) -> Lie {
    Lie {
        recording: recording.into(),
        start_ms,
        end_ms,
    }
}

/// Picked in a at 10 to 12 s; b begins half a second later.
fn quote() -> store::Quote {
    store::Quote {
        text: "the ferry bell".into(),
        island: Some(0),
        start_ms: Some(10_000),
        end_ms: Some(12_000),
        ..store::Quote::fresh(
            None,
            vec![lie("a", 10_000.0, 12_000.0), lie("b", 9_500.0, 11_500.0)],
        )
    }
}

fn at(base: &Base) -> (f64, f64) {
    (base.at.start_ms.round(), base.at.end_ms.round())
}

fn problems(desk: &Desk, quote: &store::Quote) -> Vec<String> {
    let (base, online) = (desk.base(quote), desk.recordings.keys().cloned().collect());
    let heard = Heard::of(desk, &Spoken::default(), &online, 0, quote, &base);
    let kinds = super::resolve::of_words(quote, &base, Some(&quote.text));
    let all = kinds.into_iter().chain(heard.problems);
    all.map(|problem| problem.kind).collect()
}

#[test]
fn a_quote_goes_with_the_file_it_was_picked_in() {
    let quote = quote();
    let before = desk(vec![placed("a", 0, 0.0, 0.0), placed("b", 0, 500.0, 0.0)]);
    assert_eq!(at(&before.base(&quote)), (10_000.0, 12_000.0));
    assert_eq!(problems(&before, &quote), [""; 0]);
    // Both an hour later, and a has a rate: b is heard where the clock says.
    let after = desk(vec![
        placed("a", 0, 3_600_000.0, 100.0),
        placed("b", 0, 3_600_700.0, 0.0),
    ]);
    let base = after.base(&quote);
    assert_eq!(at(&base), (3_609_999.0, 3_611_999.0));
    let there = after
        .in_file(&base, &"b".into(), base.at)
        .expect("b has it");
    assert_eq!(
        (there.start_ms.round(), there.end_ms.round()),
        (9_299.0, 11_299.0)
    );
    let own = after
        .in_file(&base, &"a".into(), base.at)
        .expect("a has it");
    assert!((own.start_ms - 10_000.0).abs() < 0.5, "{own:?}");
    // On another island than the event clock it is nowhere else.
    let apart = desk(vec![placed("a", 3, 0.0, 0.0), placed("b", 0, 500.0, 0.0)]);
    let base = apart.base(&quote);
    assert_eq!((base.island, base.lost), (Some(3), false));
    assert_eq!(apart.in_file(&base, &"b".into(), base.at), None);
    assert!(apart.nudges_to(&quote, Some(5), None).is_err());
}

#[test]
fn a_removed_recording_leaves_its_quotes_to_the_others() {
    let quote = quote();
    // The clock was solved once more without a: b begins it.
    let without = desk(vec![placed("b", 0, 0.0, 0.0)]);
    let base = without.base(&quote);
    assert_eq!((at(&base), base.lost), ((9_500.0, 11_500.0), true));
    assert_eq!(problems(&without, &quote), ["recording removed"]);
    // Added again it is the same recording, and all is as it was.
    let back = desk(vec![placed("b", 0, 500.0, 0.0), placed("a", 0, 0.0, 0.0)]);
    assert_eq!(problems(&back, &quote), [""; 0]);
    // Without both, what is left is when it was.
    let neither = desk(vec![placed("c", 0, 0.0, 0.0)]);
    let base = neither.base(&quote);
    assert_eq!(
        (at(&base), base.anchor.is_none()),
        ((10_000.0, 12_000.0), true)
    );
    assert_eq!(problems(&neither, &quote), ["recording removed"]);
    let nothing = desk(Vec::new());
    assert_eq!(
        problems(&nothing, &quote),
        ["recording removed", "no hearing"]
    );
}

#[test]
fn a_choice_that_is_gone_is_told_by_its_name() {
    let there = desk(vec![placed("a", 0, 0.0, 0.0), placed("b", 0, 500.0, 0.0)]);
    let chosen = |id: &str| store::Quote {
        hearing_id: Some(id.into()),
        hearing_name: Some("Lectern (z.wav)".into()),
        ..quote()
    };
    assert_eq!(problems(&there, &chosen("b")), [""; 0]);
    assert_eq!(problems(&there, &chosen("z")), ["hearing removed"]);
    let late = desk(vec![
        placed("a", 0, 0.0, 0.0),
        placed("b", 0, 50_000.0, 0.0),
    ]);
    assert_eq!(problems(&late, &chosen("b")), ["out of the file"]);
    let base = late.base(&quote());
    let online = late.recordings.keys().cloned().collect();
    let heard = Heard::of(&late, &Spoken::default(), &online, 0, &chosen("b"), &base);
    let used = heard.chosen.expect("a has it");
    assert_eq!((used.recording.id.as_str(), used.covers), ("a", true));
    assert!(heard.problems[0].detail.contains("Lectern (z.wav)"));
    assert!(heard.backups.is_empty());
}

#[test]
fn what_begins_before_its_file_is_cut_there() {
    let there = desk(vec![
        placed("a", 0, 0.0, 0.0),
        placed("b", 0, 10_500.0, 0.0),
    ]);
    let early = store::Quote {
        in_frames: -30,
        ..quote()
    };
    let base = there.base(&early);
    // Thirty frames of 30000/1001 are 1,001 ms.
    assert_eq!((at(&base), base.length_ms()), ((8_999.0, 12_000.0), 3_001));
    let online = there.recordings.keys().cloned().collect();
    let heard = Heard::of(&there, &Spoken::default(), &online, 0, &early, &base);
    let backup = &heard.backups[0];
    assert_eq!(
        (backup.start_ms, backup.end_ms, backup.covers, backup.rank),
        (0, 1_500, false, 2)
    );
    // Nothing is placed yet: it has its own file's times.
    let mut unplaced = desk(vec![placed("a", 0, 0.0, 0.0)]);
    unplaced.places = Places::default();
    let base = unplaced.base(&quote());
    assert_eq!((base.island, at(&base)), (None, (10_000.0, 12_000.0)));
    let own = unplaced.in_file(&base, &"a".into(), base.at);
    assert_eq!(
        own,
        Some(Stretch {
            start_ms: 10_000.0,
            end_ms: 12_000.0
        })
    );
    assert_eq!(problems(&unplaced, &quote()), ["not placed"]);
}
