//! What happened on a day, and who recorded it?

use crate::scene::noise::NoiseKind;
use crate::scene::spec::{Place, RoomSpec, SPEED_OF_SOUND};

/// A day.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Every random number of the rendering comes from this.
    pub seed: u64,
    /// Length, seconds.
    pub length_s: f64,
    /// Stretches during which people stay where they are, in order, without
    /// gaps.
    pub parts: Vec<Part>,
    /// What is said.
    pub said: Vec<Said>,
    /// What else sounds.
    pub beds: Vec<Bed>,
    /// Who records.
    pub takes: Vec<Take>,
}

/// A stretch of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its first second; it ends where the next begins.
    pub start_s: f64,
    /// Where each speaker is.
    pub places: Vec<Place>,
}

/// An utterance at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// Position in the corpus.
    pub utterance: usize,
    /// Who says it, a position in [`Part::places`].
    pub speaker: usize,
    /// When its first sample leaves the mouth.
    pub start_s: f64,
    /// Read so many times faster.
    pub speed: f64,
    /// Louder than the dry recording, dB.
    pub effort_db: f64,
}

/// A sound that is not talk, of RMS 1 before its level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BedSound {
    /// Claps.
    Applause,
    /// A band; the same piece wherever the number is the same.
    Song(u64),
}

/// Applause or music at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Bed {
    /// What sounds.
    pub sound: BedSound,
    /// From.
    pub start_s: f64,
    /// For so long.
    pub length_s: f64,
    /// Where.
    pub place: Place,
    /// Level at one metre against a dry line there, dB.
    pub level_db: f64,
}

/// Where a microphone is.
#[derive(Clone, Debug, PartialEq)]
pub enum Ear {
    /// On a speaker, so far from the mouth.
    Worn {
        /// Who wears it.
        speaker: usize,
        /// Metres.
        mouth_m: f64,
    },
    /// At a place for each part of the day.
    At(Vec<Place>),
}

/// The recorder stops, or loses samples, inside a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// When, on the event clock.
    pub at_s: f64,
    /// For so long; the file goes on as if nothing had been.
    pub lost_s: f64,
}

/// One file of one recorder.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// Which recorder made it.
    pub source: usize,
    /// Where it is.
    pub ear: Ear,
    /// When it starts.
    pub start_s: f64,
    /// When it ends.
    pub end_s: f64,
    /// File seconds for each second of the day: 1 + drift, times a header's
    /// wrong rate.
    pub pace: f64,
    /// Stops inside, in order.
    pub stops: Vec<Stop>,
    /// RMS of the direct talk it hears, dBFS.
    pub level_dbfs: f64,
    /// The same against its noise, dB.
    pub snr_db: f64,
    /// Its noise.
    pub noise: NoiseKind,
    /// Its room.
    pub room: RoomSpec,
    /// When it says it started: event seconds by the recorder's wall clock.
    pub stamp_s: Option<f64>,
    /// The same samples as an earlier take, so much louder, dB.
    pub copy_of: Option<(usize, f64)>,
}

impl Take {
    /// How fast its clock runs, ppm.
    #[must_use]
    pub fn ppm(&self) -> f64 {
        (self.pace - 1.0) * 1e6
    }
}

impl Day {
    /// The part a second falls into.
    #[must_use]
    pub fn part_at(&self, at_s: f64) -> usize {
        let begun = self.parts.iter().take_while(|part| part.start_s <= at_s);
        begun.count().saturating_sub(1)
    }

    /// Metres from a speaker's mouth to a take's microphone during a part.
    #[must_use]
    pub fn distance_m(&self, take: &Take, speaker: usize, part: usize) -> Option<f64> {
        if let Ear::Worn {
            speaker: own,
            mouth_m,
        } = take.ear
            && own == speaker
        {
            return Some(mouth_m);
        }
        self.away_m(take, self.parts.get(part)?.places.get(speaker)?, part)
    }

    /// Metres from any place.
    #[must_use]
    pub fn away_m(&self, take: &Take, place: &Place, part: usize) -> Option<f64> {
        match &take.ear {
            Ear::Worn { speaker, .. } => {
                let own = self.parts.get(part)?.places.get(*speaker)?;
                own.distance_m(place)
            }
            Ear::At(places) => places.get(part).or(places.last())?.distance_m(place),
        }
    }

    /// Time sound takes, seconds.
    #[must_use]
    pub fn delay_s(distance_m: f64) -> f64 {
        distance_m / SPEED_OF_SOUND
    }
}
