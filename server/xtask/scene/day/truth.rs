//! Which instants of two recordings are the same?
//!
//! The exact answer depends on who speaks: a voice reaches two microphones at
//! different times. So the truth about an instant of one recording is a range
//! in another: the true clocks, plus the acoustic delays of every voice that
//! both heard. An error *beside the acoustic delay* is the distance from that
//! range, one *beside the nearest voice* that from the nearest of the delays
//! themselves, and a *plain* error that from the true clocks alone. The strictest is
//! the error *for the voice* that speaks at that instant: one offset can't be right
//! for two voices that stand apart, so the way through the air counts in it.

use super::corpus::Corpus;
use super::spec::{Day, Take};
use sayback_core::units::ANALYSIS_RATE_HZ;

/// A stretch of a file during which its recorder ran.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// Its first instant, event seconds.
    pub start_s: f64,
    /// The same, file seconds.
    pub file_s: f64,
    /// File seconds for each event second.
    pub pace: f64,
}

impl Run {
    /// Event seconds of a file second.
    #[must_use]
    pub fn event_s(&self, file_s: f64) -> f64 {
        self.start_s + (file_s - self.file_s) / self.pace
    }

    /// File seconds of an event second.
    #[must_use]
    pub fn file_s(&self, event_s: f64) -> f64 {
        self.file_s + (event_s - self.start_s) * self.pace
    }
}

/// The true clock of a take.
#[derive(Clone, Debug, PartialEq)]
pub struct Clock {
    runs: Vec<Run>,
    length_s: f64,
}

impl Clock {
    /// Of a take: a stop begins and ends on a sample.
    #[must_use]
    pub fn of(take: &Take) -> Self {
        let rate = f64::from(ANALYSIS_RATE_HZ);
        let on_sample = |file_s: f64| (file_s * rate).round() / rate;
        let mut runs = vec![Run {
            start_s: take.start_s,
            file_s: 0.0,
            pace: take.pace,
        }];
        let mut run = runs[0];
        for stop in &take.stops {
            let file_s = on_sample(run.file_s(stop.at_s));
            run = Run {
                start_s: run.event_s(file_s) + stop.lost_s,
                file_s,
                pace: take.pace,
            };
            runs.push(run);
        }
        Self {
            runs,
            length_s: on_sample(run.file_s(take.end_s)),
        }
    }

    /// The stretches it is made of.
    #[must_use]
    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    /// Length of the file, seconds.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.length_s
    }

    /// Event seconds of a file second.
    #[must_use]
    pub fn event_s(&self, file_s: f64) -> f64 {
        let begun = self.runs[1..].iter().take_while(|run| run.file_s <= file_s);
        self.runs[begun.count()].event_s(file_s)
    }

    /// File seconds of an event second; none before the first sample, behind
    /// the last, and while it had stopped.
    #[must_use]
    pub fn file_s(&self, event_s: f64) -> Option<f64> {
        let begun = self.runs[1..]
            .iter()
            .take_while(|run| run.start_s <= event_s);
        let number = begun.count();
        let file_s = self.runs[number].file_s(event_s);
        let end_s = self
            .runs
            .get(number + 1)
            .map_or(self.length_s, |next| next.file_s);
        (file_s >= 0.0 && file_s < end_s).then_some(file_s)
    }
}

/// What two takes share.
#[derive(Clone, Debug, PartialEq)]
pub struct Shared {
    /// Seconds during which both ran.
    pub overlap_s: f64,
    /// Seconds of talk that both heard.
    pub talk_s: f64,
    /// Delays of the voices in the second against the first, ms, in order, one
    /// for each voice and place. Where no voice reached both: the ends of the
    /// range that the delays of the voices each heard span.
    pub delays_ms: Vec<f64>,
    /// What both heard: start and end, event seconds, and its delay, ms.
    pub heard: Vec<(f64, f64, f64)>,
}

impl Shared {
    /// Delay of the voice that speaks at an instant, ms.
    #[must_use]
    pub fn speaking_ms(&self, event_s: f64) -> Option<f64> {
        let mut heard = self.heard.iter();
        let here = heard.find(|(start_s, end_s, _)| (*start_s..*end_s).contains(&event_s));
        here.map(|(_, _, delay_ms)| *delay_ms)
    }

    /// Least and most delay, ms.
    #[must_use]
    pub fn range_ms(&self) -> (f64, f64) {
        let end = |delay: Option<&f64>| delay.copied().unwrap_or(0.0);
        (end(self.delays_ms.first()), end(self.delays_ms.last()))
    }
}

/// How far a mapped instant is from the truth, ms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Error {
    /// From the range of the acoustic delays.
    pub beside_ms: f64,
    /// From the nearest of them.
    pub nearest_ms: f64,
    /// From the true clocks alone.
    pub plain_ms: f64,
    /// For the voice that speaks then, if one does that both heard.
    pub voice_ms: Option<f64>,
}

/// Works out what two takes share.
#[must_use]
pub fn shared(day: &Day, corpus: &Corpus, a: &Take, b: &Take) -> Shared {
    let (from, to) = (a.start_s.max(b.start_s), a.end_s.min(b.end_s));
    let mut talk_s = 0.0;
    let mut both: Vec<f64> = Vec::new();
    let mut heard: Vec<(f64, f64, f64)> = Vec::new();
    let (mut alone_a, mut alone_b) = (None, None);
    for said in &day.said {
        let utterance = corpus.get(said.utterance);
        let end_s = said.start_s + utterance.length_s() / said.speed;
        let part = day.part_at(said.start_s);
        let delay_ms = |take: &Take| {
            let heard = said.start_s < take.end_s && end_s > take.start_s;
            let metres = day.distance_m(take, said.speaker, part).filter(|_| heard)?;
            Some(Day::delay_s(metres) * 1000.0)
        };
        let (in_a, in_b) = (delay_ms(a), delay_ms(b));
        if let Some(delay) = in_a {
            widen(&mut alone_a, delay);
        }
        if let Some(delay) = in_b {
            widen(&mut alone_b, delay);
        }
        let inside_s = end_s.min(to) - said.start_s.max(from);
        if let (Some(here), Some(there)) = (in_a, in_b)
            && inside_s > 0.0
        {
            both.push(there - here);
            heard.push((said.start_s, end_s, there - here));
            talk_s += inside_s;
        }
    }
    if both.is_empty() {
        let (a, b): ((f64, f64), (f64, f64)) =
            (alone_a.unwrap_or_default(), alone_b.unwrap_or_default());
        both = vec![b.0 - a.1, b.1 - a.0];
    }
    both.sort_by(f64::total_cmp);
    both.dedup_by(|later, earlier| (*later - *earlier).abs() < 1e-6);
    Shared {
        overlap_s: (to - from).max(0.0),
        talk_s,
        delays_ms: both,
        heard,
    }
}

fn widen(range: &mut Option<(f64, f64)>, by: f64) {
    let (low, high) = range.unwrap_or((by, by));
    *range = Some((low.min(by), high.max(by)));
}

/// How far a mapped instant of the second file is from the truth. `event_s` is
/// the true time of the instant that was mapped, `mapped_ms` where it was mapped
/// to. `None` where the second recorder did not run.
#[must_use]
pub fn error(there: &Clock, event_s: f64, mapped_ms: f64, shared: &Shared) -> Option<Error> {
    let off = |late_ms: &f64| Some(mapped_ms - there.file_s(event_s + late_ms / 1000.0)? * 1000.0);
    let offs: Vec<f64> = shared.delays_ms.iter().map(off).collect::<Option<_>>()?;
    let (least, most) = (*offs.last()?, *offs.first()?);
    Some(Error {
        beside_ms: (-most).max(least).max(0.0),
        nearest_ms: offs.iter().fold(f64::INFINITY, |a, off| a.min(off.abs())),
        plain_ms: off(&0.0)?.abs(),
        voice_ms: (shared.speaking_ms(event_s).as_ref())
            .and_then(off)
            .map(f64::abs),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::day::spec::{Ear, Stop};
    use crate::scene::noise::NoiseKind;
    use crate::scene::spec::RoomSpec;

    fn take() -> Take {
        Take {
            source: 0,
            ear: Ear::At(Vec::new()),
            start_s: 10.0,
            end_s: 110.0,
            pace: 1.02,
            stops: vec![Stop {
                at_s: 60.0,
                lost_s: 5.0,
            }],
            level_dbfs: -26.0,
            snr_db: 20.0,
            noise: NoiseKind::Pink,
            room: RoomSpec {
                critical_m: 3.0,
                rt60_s: 0.4,
            },
            stamp_s: None,
            copy_of: None,
        }
    }

    #[test]
    fn a_stop_and_a_wrong_rate_are_in_the_clock() {
        let clock = Clock::of(&take());
        // 50 s run, 5 s lost, 45 s run: 95 s at 2 % more.
        assert!((clock.length_s() - 95.0 * 1.02).abs() < 1e-4);
        assert!((clock.event_s(0.0) - 10.0).abs() < 1e-9);
        assert!((clock.event_s(51.0) - 65.0).abs() < 1e-4);
        assert_eq!(clock.file_s(62.0), None, "it had stopped");
        assert_eq!(clock.file_s(9.0), None);
        assert_eq!(clock.file_s(110.1), None);
        let back = clock.file_s(80.0).map(|file_s| clock.event_s(file_s));
        assert!((back.expect("it ran") - 80.0).abs() < 1e-9);
    }

    #[test]
    fn an_error_is_the_distance_from_the_range_of_delays() {
        let mut take = take();
        (take.pace, take.stops) = (1.0, Vec::new());
        let clock = Clock::of(&take);
        // 40 s in, voices 3 ms early and 1 and 5 ms late.
        let shared = Shared {
            overlap_s: 100.0,
            talk_s: 50.0,
            delays_ms: vec![-3.0, 1.0, 5.0],
            heard: vec![(30.0, 49.0, -3.0), (49.5, 52.0, 1.0)],
        };
        let nobody = error(&clock, 49.2, 39_205.5, &shared).and_then(|error| error.voice_ms);
        assert_eq!(nobody, None);
        let off = error(&clock, 50.0, 40_004.5, &shared).and_then(|error| error.voice_ms);
        assert!(off.is_some_and(|off| (off - 3.5).abs() < 1e-6), "{off:?}");
        let is = |mapped_ms: f64, wanted: [f64; 3]| {
            let found = error(&clock, 50.0, mapped_ms, &shared).expect("inside");
            let found = [found.beside_ms, found.nearest_ms, found.plain_ms];
            let near = |(a, b): (f64, f64)| (a - b).abs() < 1e-6;
            assert!(found.into_iter().zip(wanted).all(near), "{found:?}");
        };
        is(40_004.5, [0.0, 0.5, 4.5]);
        is(40_003.0, [0.0, 2.0, 3.0]);
        is(40_007.5, [2.5, 2.5, 7.5]);
        is(39_995.0, [2.0, 2.0, 5.0]);
    }
}
