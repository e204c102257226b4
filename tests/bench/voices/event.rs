//! What an event has to judge by, and who really spoke.

use sayback::core::Cancel;
use sayback::core::clock::{Placement, Track};
use sayback::core::units::EventMs;
use sayback::core::voices::{
    Evidence, Found, Listened, Speaker, Stretch, Told, VoiceParams, Worn, turns,
};

/// An event, listened to.
pub struct Event {
    pub stretches: Vec<Heard>,
    pub worn: Vec<Mic>,
    pub lines: Vec<Line>,
}

/// A moment.
pub struct Heard {
    pub start: EventMs,
    pub end: EventMs,
    pub heard_by: Vec<usize>,
    pub listened: Listened,
}

/// A worn recording.
pub struct Mic {
    pub recording: usize,
    pub placement: Placement,
    pub track: Track,
    pub gain: usize,
    pub wearers: Vec<(EventMs, usize)>,
}

/// What somebody said, by the truth, ms of the event clock.
pub struct Line {
    pub speaker: usize,
    /// Whether the own microphone ran.
    pub worn: bool,
    pub start_ms: f64,
    pub end_ms: f64,
    /// Where it sounds.
    pub spans_ms: Vec<(f64, f64)>,
}

impl Event {
    /// Who spoke, as the product says.
    pub fn found(&self, told: &[Told], params: &VoiceParams) -> Found {
        let stretches: Vec<Stretch> = self
            .stretches
            .iter()
            .map(|heard| Stretch {
                island: 0,
                start: heard.start,
                end: heard.end,
                heard_by: &heard.heard_by,
                listened: &heard.listened,
            })
            .collect();
        let worn: Vec<Worn> = self
            .worn
            .iter()
            .map(|mic| Worn {
                recording: mic.recording,
                placement: &mic.placement,
                island: 0,
                track: &mic.track,
                gain: mic.gain,
                wearers: &mic.wearers,
            })
            .collect();
        let evidence = Evidence {
            stretches: &stretches,
            worn: &worn,
            known: &[],
            told,
        };
        turns(&evidence, params, &Cancel::new())
    }

    /// An editor names each who wears nothing once: by the first line of 2 s or more
    /// that lies in a moment.
    pub fn told(&self) -> Vec<Told> {
        let mut told: Vec<Told> = Vec::new();
        for line in self.lines.iter().filter(|line| !line.worn) {
            let speaker = Speaker::Person(line.speaker);
            let (from, to) = (EventMs(line.start_ms as i64), EventMs(line.end_ms as i64));
            let inside = |heard: &Heard| heard.start.0 <= from.0 + 100 && to.0 <= heard.end.0 + 100;
            let alone = self
                .lines
                .iter()
                .filter(|other| other.start_ms < line.end_ms && line.start_ms < other.end_ms);
            let new = told.iter().all(|told| told.speaker != speaker);
            if new
                && to.0 - from.0 >= 2_000
                && alone.count() == 1
                && self.stretches.iter().any(inside)
            {
                told.push(Told {
                    island: 0,
                    from,
                    to,
                    speaker,
                });
            }
        }
        told
    }
}
