//! Are the speakers of real meetings told apart? Scored by NIST's md-eval.

#[path = "../bench/voices/event.rs"]
#[allow(dead_code, reason = "the figures have more events")]
mod event;
#[path = "../bench/voices/meetings.rs"]
#[allow(dead_code, reason = "the figures have more rows")]
mod meetings;

use meetings::Speech;
use sayback::core::voices::{Encoder, Found, VoiceParams};
use xtask::oracle;

/// The goal is to be of use at all: a third less of the time is given to a wrong speaker
/// than by taking all for one. Excerpts of 30 s with up to four people teach little of a
/// voice.
#[test]
fn speakers_of_meetings_are_told_apart_better_than_by_taking_all_for_one() {
    let model = std::fs::read(oracle::model("voices")).expect("a model");
    let encoder = Encoder::from_bytes(&model).expect("a model of voices");
    let meetings = meetings::all(&oracle::data("pyannote.audio"));
    assert_eq!(meetings.len(), 14);
    let found: Vec<Found> = meetings
        .iter()
        .map(|meeting| meeting.event(Speech::Detected, &encoder))
        .map(|event| event.found(&[], &VoiceParams::default()))
        .collect();
    let one: Vec<Found> = found.iter().map(meetings::one_for_all).collect();
    for collar_s in [0.25, 0.0] {
        let ours = meetings::errors(&meetings, &found, collar_s);
        let all_one = meetings::errors(&meetings, &one, collar_s);
        assert!(
            ours.speaker_s <= 0.67 * all_one.speaker_s,
            "collar {collar_s} s: {ours:?} against {all_one:?}"
        );
        // Nothing is bought by saying less, or by naming two where one speaks.
        assert!(
            ours.missed_s <= all_one.missed_s + 0.01,
            "{ours:?} {all_one:?}"
        );
        assert!(
            ours.false_s <= all_one.false_s + 0.01,
            "{ours:?} {all_one:?}"
        );
    }
}
