//! What goes in and what comes out?

use super::listen::Listened;
use super::voice::Voice;
use crate::clock::{Placement, Track};
use crate::units::EventMs;

/// Who speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Speaker {
    /// A person of the event: the caller's number.
    Person(usize),
    /// Somebody nobody has named: 'speaker 1' and so on.
    Unnamed(u32),
}

/// A recording of a recorder that somebody wore.
#[derive(Clone, Copy, Debug)]
pub struct Worn<'a> {
    /// Its number in [`Stretch::heard_by`].
    pub recording: usize,
    /// Where it lies on the clock of its island.
    pub placement: &'a Placement,
    /// Whose clock that is; 0 is the event clock.
    pub island: u32,
    /// Its band levels.
    pub track: &'a Track,
    /// Recordings made with one microphone at one gain have one number: the pieces of
    /// a take, but not its safety copy.
    pub gain: usize,
    /// Who wore it from which time on, in order of time. The first counts for all
    /// before, too; none where nobody is known.
    pub wearers: &'a [(EventMs, usize)],
}

/// A stretch of speech: a moment.
#[derive(Clone, Copy, Debug)]
pub struct Stretch<'a> {
    /// Whose clock its times are on.
    pub island: u32,
    /// Start.
    pub start: EventMs,
    /// End, exclusive.
    pub end: EventMs,
    /// The recordings that heard it.
    pub heard_by: &'a [usize],
    /// What its best hearing sounds like, from the start on.
    pub listened: &'a Listened,
}

/// A voice whose speaker is known already: from an earlier run over the same event, or
/// from another event where the studio allows that.
#[derive(Clone, Debug, PartialEq)]
pub struct Known {
    /// Who it is.
    pub speaker: Speaker,
    /// The voice.
    pub voice: Voice,
}

/// What a person says about a stretch: it is certain, and teaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    /// Whose clock its times are on.
    pub island: u32,
    /// From.
    pub from: EventMs,
    /// To, exclusive.
    pub to: EventMs,
    /// Who speaks.
    pub speaker: Speaker,
}

/// Everything there is to judge by.
#[derive(Clone, Copy, Debug, Default)]
pub struct Evidence<'a> {
    /// The stretches of speech, in any order.
    pub stretches: &'a [Stretch<'a>],
    /// The worn recordings.
    pub worn: &'a [Worn<'a>],
    /// Voices known before.
    pub known: &'a [Known],
    /// What people said. Of two that overlap the later in the list counts.
    pub told: &'a [Told],
}

/// Somebody speaks.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// Which stretch it is a part of.
    pub stretch: usize,
    /// Start.
    pub start: EventMs,
    /// End, exclusive; later than the start.
    pub end: EventMs,
    /// Who; none for 'unknown speaker'.
    pub speaker: Option<Speaker>,
    /// Who else speaks at the same time.
    pub also: Option<Speaker>,
    /// How sure, 0 to 1: of what is said at 0.9, nine tenths are to be right.
    pub certainty: f32,
    /// The reason, in a few plain words.
    pub why: String,
}

/// Who spoke.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// The turns, by stretch, in order of time; those of one stretch fill it without
    /// gap or overlap.
    pub turns: Vec<Turn>,
    /// The voices of all speakers found, to be given as [`Evidence::known`] the next
    /// time, so that 'speaker 1' stays 'speaker 1'.
    pub voices: Vec<Known>,
}
