//! How much of the speech has its speaker's name?

use std::collections::BTreeMap;

use sayback::core::voices::{Found, Speaker, Turn};

use super::event::{Event, Line};

/// Time is looked at each so many ms.
const FRAME_MS: usize = 10;
/// A change of turn is found where one lies so near to the pause in which it is, ms.
const NEAR_MS: f64 = 500.0;
/// Who is so sure should be right.
const CONFIDENT: f32 = 0.9;
/// Bands of certainty, from below.
pub const BANDS: [f32; 6] = [0.0, 0.5, 0.7, 0.8, 0.9, 0.95];

/// Who the unnamed are; nobody, where no match is made.
#[derive(Default)]
pub struct Named(Option<BTreeMap<u32, usize>>);

impl Named {
    /// One to one, the pairs that share most speech first.
    pub fn by_overlap(event: &Event, found: &Found) -> Self {
        let mut shared: BTreeMap<(u32, usize), usize> = BTreeMap::new();
        for (frame, turn) in frames(event, found) {
            if let Some(Speaker::Unnamed(number)) = turn.speaker {
                for speaker in frame.speakers {
                    *shared.entry((number, speaker)).or_default() += 1;
                }
            }
        }
        let mut pairs: Vec<_> = shared.into_iter().collect();
        pairs.sort_by_key(|(_, frames)| std::cmp::Reverse(*frames));
        let mut named = BTreeMap::new();
        for ((number, speaker), _) in pairs {
            if !named.contains_key(&number) && named.values().all(|one| *one != speaker) {
                named.insert(number, speaker);
            }
        }
        Self(Some(named))
    }

    fn who(&self, speaker: Option<Speaker>) -> Option<usize> {
        match speaker? {
            Speaker::Person(person) => Some(person),
            // Without a match wrong, whoever speaks.
            Speaker::Unnamed(number) => {
                let named = self.0.as_ref()?;
                Some(named.get(&number).copied().unwrap_or(usize::MAX))
            }
        }
    }
}

/// Frames of 10 ms in which one person speaks.
#[derive(Clone, Copy, Default)]
pub struct Share {
    pub all: usize,
    pub unknown: usize,
    pub wrong: usize,
    pub confident: usize,
}

/// Things there are, those found, and those found where there are none.
#[derive(Clone, Copy, Default)]
pub struct Events {
    pub all: usize,
    pub found: usize,
    pub false_ones: usize,
}

/// What came out.
#[derive(Clone, Default)]
pub struct Score {
    pub wearers: Share,
    pub others: Share,
    /// Frames, and those of them that are right, by certainty.
    pub bands: [(usize, usize); BANDS.len()],
    pub changes: Events,
    /// In frames: two who wear a microphone at once.
    pub overlap: Events,
    /// In frames: any two at once.
    pub overlap_all: usize,
    /// Speakers without a name.
    pub unnamed: usize,
}

/// Who speaks in 10 ms.
struct Frame {
    speakers: Vec<usize>,
    /// Whether all of them wear a microphone.
    worn: bool,
}

impl Score {
    pub fn of(event: &Event, found: &Found, named: &Named) -> Self {
        let mut score = Self::default();
        for (frame, turn) in frames(event, found) {
            score.frame(&frame, turn, named);
        }
        score.changes = changes(event, found);
        let numbers = found.turns.iter().filter_map(|turn| match turn.speaker? {
            Speaker::Unnamed(number) => Some(number),
            Speaker::Person(_) => None,
        });
        score.unnamed = numbers.collect::<std::collections::BTreeSet<_>>().len();
        score
    }

    fn frame(&mut self, frame: &Frame, turn: &Turn, named: &Named) {
        let (who, also) = (named.who(turn.speaker), named.who(turn.also));
        if frame.speakers.len() > 1 {
            self.overlap_all += 1;
            if frame.worn {
                let said =
                    |one: Option<usize>| one.is_some_and(|one| frame.speakers.contains(&one));
                self.overlap.all += 1;
                self.overlap.found += usize::from(said(who) && said(also) && who != also);
            }
            return;
        }
        self.overlap.false_ones += usize::from(also.is_some());
        let share = if frame.worn {
            &mut self.wearers
        } else {
            &mut self.others
        };
        let right = who.is_some_and(|who| frame.speakers.contains(&who));
        let wrong = who.is_some() && !right;
        share.all += 1;
        share.unknown += usize::from(who.is_none());
        share.wrong += usize::from(wrong);
        share.confident += usize::from(wrong && turn.certainty >= CONFIDENT);
        if who.is_some() {
            let band = BANDS.iter().rposition(|from| turn.certainty >= *from);
            let (all, good) = &mut self.bands[band.unwrap_or(0)];
            *all += 1;
            *good += usize::from(right);
        }
    }

    pub fn add(&mut self, other: &Self) {
        for (to, from) in [
            (&mut self.wearers, other.wearers),
            (&mut self.others, other.others),
        ] {
            to.all += from.all;
            to.unknown += from.unknown;
            to.wrong += from.wrong;
            to.confident += from.confident;
        }
        for (to, from) in self.bands.iter_mut().zip(other.bands) {
            to.0 += from.0;
            to.1 += from.1;
        }
        for (to, from) in [
            (&mut self.changes, other.changes),
            (&mut self.overlap, other.overlap),
        ] {
            to.all += from.all;
            to.found += from.found;
            to.false_ones += from.false_ones;
        }
        self.overlap_all += other.overlap_all;
        self.unnamed += other.unnamed;
    }
}

/// Each 10 ms of speech that lies in a moment, with the turn it lies in. Who talks into
/// somebody speaks with them also where one of the two draws breath.
fn frames<'a>(event: &'a Event, found: &'a Found) -> impl Iterator<Item = (Frame, &'a Turn)> {
    found.turns.iter().flat_map(move |turn| {
        let (from, to) = (turn.start.0 as f64, turn.end.0 as f64);
        let near = |line: &&Line| line.start_ms < to && from < line.end_ms;
        let lines: Vec<&Line> = event.lines.iter().filter(near).collect();
        let middles = (turn.start.0..turn.end.0).step_by(FRAME_MS);
        middles.filter_map(move |ms| {
            let at = ms as f64 + 0.5 * FRAME_MS as f64;
            let sounds = |(from, to): &(f64, f64)| *from <= at && at < *to;
            if !lines.iter().any(|line| line.spans_ms.iter().any(sounds)) {
                return None;
            }
            let said = |line: &&&Line| sounds(&(line.start_ms, line.end_ms));
            let lines: Vec<&&Line> = lines.iter().filter(said).collect();
            let mut speakers: Vec<usize> = lines.iter().map(|line| line.speaker).collect();
            speakers.sort_unstable();
            speakers.dedup();
            let worn = lines.iter().all(|line| line.worn);
            Some((Frame { speakers, worn }, turn))
        })
    })
}

/// Changes of speaker within a moment; where people talk into each other there is none
/// to be found.
fn changes(event: &Event, found: &Found) -> Events {
    let mut pauses: Vec<(f64, f64)> = Vec::new();
    let mut blurred: Vec<(f64, f64)> = Vec::new();
    for two in event.lines.windows(2) {
        let (before, after) = (&two[0], &two[1]);
        if after.start_ms < before.end_ms {
            blurred.push((after.start_ms - NEAR_MS, before.end_ms + NEAR_MS));
        } else if before.speaker != after.speaker {
            pauses.push((before.end_ms, after.start_ms));
        }
    }
    let inside = |pause: &(f64, f64)| {
        event.stretches.iter().any(|stretch| {
            stretch.start.0 as f64 + NEAR_MS < pause.0 && pause.1 < stretch.end.0 as f64 - NEAR_MS
        })
    };
    let pauses: Vec<_> = pauses.into_iter().filter(inside).collect();
    let said: Vec<f64> = found
        .turns
        .windows(2)
        .filter(|two| two[0].stretch == two[1].stretch && two[0].speaker != two[1].speaker)
        .map(|two| two[1].start.0 as f64)
        .collect();
    let near = |at: f64, (from, to): &(f64, f64)| from - NEAR_MS <= at && at <= to + NEAR_MS;
    let found = pauses
        .iter()
        .filter(|pause| said.iter().any(|at| near(*at, pause)));
    let known = |at: &&f64| {
        pauses.iter().any(|pause| near(**at, pause))
            || blurred.iter().any(|(from, to)| (*from..*to).contains(*at))
    };
    Events {
        all: pauses.len(),
        found: found.count(),
        false_ones: said.len() - said.iter().filter(known).count(),
    }
}
