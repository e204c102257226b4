//! What of an event's earlier solves is to be believed?

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sayback_core::clock::{Before, How, PAIR_VERSION, Pair, Warning};

use crate::store::{PairRow, PlacementRow, RecordingId};

/// Pairs by the members' places, the lower first.
pub(super) type Pairs = BTreeMap<(usize, usize), Pair>;

/// The pairs that were measured before, turned where files stand in another order
/// now.
pub(super) fn pairs(rows: &[PairRow], places: &HashMap<RecordingId, usize>) -> Pairs {
    let mut known = Pairs::new();
    for row in rows.iter().filter(|row| is_current(row)) {
        let (a, b) = (places.get(&row.a_id), places.get(&row.b_id));
        let pair = serde_json::from_value::<Pair>(row.body.0.clone());
        let (Some(&a), Some(&b), Ok(pair)) = (a, b, pair) else {
            continue;
        };
        if a < b {
            known.insert((a, b), pair);
        } else if b < a {
            known.insert((b, a), pair.turned());
        }
    }
    known
}

/// Where recordings lay, but those whose place nobody measured: such a place is the
/// search's alone because a file could not be read, or another version's, and to
/// hold it would make it stay as rough as it is. `files` are the recordings' files:
/// channels of one say nothing of where it lies.
pub(super) fn places(
    rows: &[PlacementRow],
    pairs: &[PairRow],
    files: &HashMap<&RecordingId, &str>,
) -> HashMap<RecordingId, Before> {
    let (mut now, mut once) = (BTreeSet::new(), BTreeSet::new());
    for row in pairs {
        let same_file = files.get(&row.a_id) == files.get(&row.b_id);
        if row.body["used"] == true && !same_file {
            let seen = if is_current(row) { &mut now } else { &mut once };
            seen.extend([&row.a_id, &row.b_id]);
        }
    }
    let unreadable = rows.iter().any(was_unreadable);
    let rough = |row: &&PlacementRow| {
        matches!(*row.how, How::Sound | How::Joined)
            && !now.contains(&row.recording_id)
            && (unreadable || once.contains(&row.recording_id))
    };
    rows.iter()
        .filter(|row| !rough(row))
        .map(|row| {
            let before = Before {
                placement: row.placement.0.clone(),
                island: u32::try_from(row.island).unwrap_or(u32::MAX),
                how: *row.how,
            };
            (row.recording_id.clone(), before)
        })
        .collect()
}

fn is_current(row: &PairRow) -> bool {
    row.version == i64::from(PAIR_VERSION)
}

fn was_unreadable(row: &PlacementRow) -> bool {
    let warnings = row.warnings.as_array().map_or(&[][..], Vec::as_slice);
    warnings.iter().any(|warning| {
        let warning = serde_json::from_value(warning.clone());
        matches!(warning, Ok(Warning::Unreadable { .. }))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Json, Word};
    use sayback_core::clock::{Finding, Line, Placement, Stretch};
    use serde_json::json;

    fn id(name: &str) -> RecordingId {
        RecordingId::from(name)
    }

    fn row(a: &str, b: &str, version: u32) -> PairRow {
        let pair = Pair {
            finding: Finding::Shared,
            stretches: vec![Stretch {
                line: Line {
                    here_ms: 0.0,
                    there_ms: 2_000.0,
                    ppm: 0.0,
                },
                from_ms: 0.0,
                to_ms: 9_000.0,
                blocks: 4,
                against: 0,
                strength: 9.0,
                fine: None,
            }],
            used: true,
            mute: (false, false),
        };
        PairRow {
            a_id: id(a),
            b_id: id(b),
            version: i64::from(version),
            body: Json(json!(pair)),
        }
    }

    fn placed(name: &str, warnings: &[Warning]) -> PlacementRow {
        PlacementRow {
            recording_id: id(name),
            island: 0,
            placement: Json(Placement::even(0.0, 0.0)),
            how: Word(How::Sound),
            uncertainty_ms: Some(0.5),
            agreement: None,
            residual_ms: None,
            points: 0,
            warnings: Json(json!(warnings)),
        }
    }

    #[test]
    fn a_pair_is_known_in_whatever_order_the_files_stand() {
        let rows = [row("late", "early", PAIR_VERSION), row("x", "early", 1)];
        let places = HashMap::from([(id("early"), 0), (id("late"), 1), (id("x"), 2)]);
        let known = pairs(&rows, &places);
        assert_eq!(known.keys().collect::<Vec<_>>(), [&(0, 1)]);
        assert_eq!(known[&(0, 1)].stretches[0].line.map(2_000.0), 0.0);
        let places = HashMap::from([(id("late"), 0), (id("early"), 1)]);
        let known = pairs(&rows, &places);
        assert_eq!(known[&(0, 1)].stretches[0].line.map(0.0), 2_000.0);
    }

    #[test]
    fn a_place_that_was_not_measured_is_not_held() {
        let files = ["a", "b", "c", "d"].map(|name| (id(name), name));
        let files: HashMap<&RecordingId, &str> = files.iter().map(|(id, f)| (id, *f)).collect();
        let held = |rows: &[PlacementRow], pairs: &[PairRow]| {
            let mut held: Vec<String> = places(rows, pairs, &files)
                .into_keys()
                .map(|id| id.to_string())
                .collect();
            held.sort();
            held
        };
        let deaf = placed("c", &[Warning::Unreadable { member: 2 }]);
        let rows = [placed("a", &[]), placed("b", &[]), deaf, placed("d", &[])];
        // What hangs on the file that could not be read is as rough as its place.
        let now = row("a", "b", PAIR_VERSION);
        assert_eq!(held(&rows, std::slice::from_ref(&now)), ["a", "b"]);
        // Measured before the file was gone, it stays.
        let both = [now.clone(), row("b", "c", PAIR_VERSION)];
        assert_eq!(held(&rows, &both), ["a", "b", "c"]);
        // Another version's measurement.
        let rows = ["a", "b", "c", "d"].map(|name| placed(name, &[]));
        assert_eq!(held(&rows, &[now, row("c", "b", 1)]), ["a", "b", "d"]);
        let mut by_hand = rows.clone();
        by_hand[2].how = Word(How::ByHand);
        assert_eq!(held(&by_hand, &[row("c", "b", 1)]), ["a", "c", "d"]);
    }
}
