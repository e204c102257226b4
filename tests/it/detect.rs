//! Is speech found where people labelled it, and where two other detectors
//! find it?
//!
//! The goals: on every set an F1 no worse than webrtcvad's in its best mode; on
//! the labelled real recordings within 0.03 of silero-vad's; recall of at least
//! 0.98 where a reference has it.

#[path = "../bench/detect/case.rs"]
mod case;
#[path = "../bench/detect/labelled.rs"]
mod labelled;
#[path = "../bench/detect/ours.rs"]
mod ours;
#[path = "../bench/detect/references.rs"]
mod references;
#[path = "../bench/detect/scenes.rs"]
#[allow(dead_code, reason = "the figures have more scenes")]
mod scenes;
#[path = "../bench/detect/score.rs"]
mod score;
#[path = "../../server/core/signal/sounds.rs"]
mod sounds;

use case::Case;
use score::{Score, Table};
use xtask::oracle;

fn scored(cases: &[Case]) -> Table {
    let mut table = Table::default();
    for (case, said) in cases.iter().zip(references::run(cases)) {
        for (name, frames) in said {
            table.add(&case.set, name, &case.truth, &frames);
        }
        let found = ours::frames(&case.samples);
        table.add(&case.set, ours::OURS, &case.truth, &found);
    }
    table
}

fn figures(score: Score) -> String {
    format!(
        "precision {:.3} recall {:.3} F1 {:.3}",
        score.precision(),
        score.recall(),
        score.f1()
    )
}

fn assert_no_worse_than_webrtc(table: &Table, set: &str) {
    let best = table.best(set, &references::WEBRTC);
    let (ours, theirs) = (table.score(set, ours::OURS), table.score(set, best));
    assert!(
        ours.f1() >= theirs.f1(),
        "{set}: {} against {best}'s {}",
        figures(ours),
        figures(theirs)
    );
}

#[test]
fn real_recordings_are_segmented_as_well_as_by_the_references() {
    let mut cases = labelled::meetings(&oracle::data("pyannote.audio"));
    assert_eq!(cases.len(), 15, "14 excerpts and a telephone talk");
    cases.extend(labelled::passages(&oracle::data("pocketsphinx")));
    let table = scored(&cases);
    assert_eq!(table.sets().len(), 3);
    for set in table.sets() {
        assert_no_worse_than_webrtc(&table, set);
        let ours = table.score(set, ours::OURS);
        for name in references::SILERO {
            let silero = table.score(set, name);
            assert!(
                ours.f1() >= silero.f1() - 0.03,
                "{set}: {} against {name}'s {}",
                figures(ours),
                figures(silero)
            );
        }
        let webrtc = table.best(set, &references::WEBRTC);
        for name in [webrtc, "silero", "silero-segments"] {
            if table.score(set, name).recall() >= 0.98 {
                assert!(ours.recall() >= 0.98, "{set}: {}", figures(ours));
            }
        }
    }
}

#[test]
fn speech_in_noise_hum_music_and_wind_is_found_no_worse_than_by_webrtcvad() {
    let work = tempfile::tempdir().expect("a folder to work in");
    let lines = scenes::Lines::Said(&scenes::HELD_OUT, work.path());
    let table = scored(&scenes::in_beds(&lines, 101..105));
    assert_eq!(table.sets().len(), 16, "four beds at four ratios");
    for set in table.sets() {
        assert_no_worse_than_webrtc(&table, set);
    }
}
