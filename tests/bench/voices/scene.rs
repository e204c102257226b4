//! Events that are made up, and how they are listened to.

use std::path::Path;

use sayback::core::quality::Heard as Measured;
use sayback::core::units::{EventMs, FileMs};
use sayback::core::voices::{Ear, Encoder};
use sayback::media::read_analysis;
use xtask::scene::random::Random;
use xtask::scene::spec::{Place, Placement, SceneSpec, Spot};
use xtask::scene::truth::LineTruth;
use xtask::scene::{self, Shuffled, Truth, lines};

use super::event::{Event, Heard, Line, Mic};
use super::recordings::{Recording, listened, moments, recordings};

const LENGTH_S: f64 = 240.0;

/// What is special about an event.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Two wear a microphone.
    Plain,
    /// One of them switches it off half-way.
    Off,
    /// One of them wears two.
    Two,
    /// They stand 0.4 m apart.
    Close,
    /// They change recorders half-way.
    Swap,
}

impl Kind {
    pub const ALL: [Self; 5] = [Self::Plain, Self::Off, Self::Two, Self::Close, Self::Swap];

    pub fn name(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Off => "one switched off",
            Self::Two => "one has two",
            Self::Close => "0.4 m apart",
            Self::Swap => "recorders swapped",
        }
    }
}

/// A random event.
pub fn made(kind: Kind, seed: u64, encoder: &Encoder) -> Event {
    let folder = tempfile::tempdir().expect("a folder");
    let shuffled = Shuffled {
        recorders: (8, 8),
        pause_s: (0.1, 2.5),
        ..Shuffled::new(seed, LENGTH_S)
    };
    let mut spec = shuffled.spec().expect("a spec");
    change(&mut spec, kind, seed);
    let truth = scene::build(&spec, folder.path()).expect("a scene");
    event(folder.path(), &truth, encoder)
}

/// The demo.
pub fn demo(encoder: &Encoder) -> Event {
    let folder = tempfile::tempdir().expect("a folder");
    let truth = scene::demo::build(folder.path()).expect("the demo");
    event(folder.path(), &truth, encoder)
}

/// Takes two of the four worn microphones off their wearers, lets people talk into
/// each other, and makes the event of its kind.
fn change(spec: &mut SceneSpec, kind: Kind, seed: u64) {
    let mut random = Random::new(seed, "who spoke");
    let mut worn: Vec<usize> = (0..spec.recorders.len())
        .filter(|n| spec.recorders[*n].wearer.is_some())
        .collect();
    random.shuffle(&mut worn);
    let keeps = worn.split_off(worn.len() - 2);
    let places = spec.parts[0].places.clone();
    for (n, placement) in worn.into_iter().zip([Placement::Stand, Placement::Camera]) {
        let recorder = &mut spec.recorders[n];
        let near = match placement {
            Placement::Stand => recorder.wearer.as_ref().and_then(|who| places.get(who)),
            _ => None,
        };
        let place = match near {
            Some(place) => Place::new("room", place.x + 0.5, place.y + 0.3),
            None => Place::new("room", 4.0, 7.0),
        };
        recorder.placement = placement;
        recorder.wearer = None;
        fix(recorder, place);
    }
    let (first, second) = (keeps[0], keeps[1]);
    match kind {
        Kind::Plain => {}
        Kind::Off => spec.recorders[first].end_s = 0.5 * LENGTH_S,
        Kind::Two => {
            let mut more = spec.recorders[first].clone();
            more.label += "-more";
            more.folder += "-more";
            more.drift_ppm = -more.drift_ppm;
            for channel in &mut more.channels {
                if let scene::spec::ChannelSpec::Mic(mic) = channel {
                    mic.level_dbfs -= 5.0;
                    if let Spot::Worn { mouth_m, .. } = &mut mic.spot {
                        *mouth_m += 0.15;
                    }
                }
            }
            spec.recorders.push(more);
        }
        Kind::Close => {
            let wearer = |n: usize| spec.recorders[n].wearer.clone().expect("a wearer");
            let beside = places[&wearer(first)].clone();
            let other = wearer(second);
            let place = Place::new("room", beside.x + 0.4, beside.y);
            spec.parts[0].places.insert(other, place);
        }
        Kind::Swap => {
            // Another take of each, on the other person.
            for (own, other) in [(first, second), (second, first)] {
                let wearer = spec.recorders[other].wearer.clone().expect("a wearer");
                let mut later = spec.recorders[own].clone();
                later.start_s = 0.5 * LENGTH_S + 1.0;
                later.stem += "B";
                later.folder += "-later";
                set_wearer(&mut later, &wearer);
                spec.recorders.push(later);
            }
            for n in [first, second] {
                spec.recorders[n].end_s = 0.5 * LENGTH_S;
            }
        }
    }
    voices(spec, &mut random);
    overlap(spec, &mut random);
}

/// Gives each person another voice in each event, of another pitch and another throat:
/// the four that there are, read faster or slower.
fn voices(spec: &mut SceneSpec, random: &mut Random) {
    let dry = lines::load().expect("dry lines");
    let people: Vec<String> = spec.parts[0].places.keys().cloned().collect();
    let faster: Vec<f64> = people.iter().map(|_| random.between(0.88, 1.14)).collect();
    let (mut before_s, mut end_s) = (0.0, 0.0);
    for line in &mut spec.lines {
        let pause_s = line.start_s - before_s;
        before_s = line.start_s + dry[line.line].length_s() / line.speed;
        let who = people.iter().position(|person| *person == line.speaker);
        line.speed *= who.map_or(1.0, |who| faster[who]);
        line.start_s = end_s + pause_s;
        end_s = line.start_s + dry[line.line].length_s() / line.speed;
    }
    spec.lines
        .retain(|line| line.start_s + dry[line.line].length_s() / line.speed < LENGTH_S);
}

fn fix(recorder: &mut scene::spec::RecorderSpec, place: Place) {
    for channel in &mut recorder.channels {
        if let scene::spec::ChannelSpec::Mic(mic) = channel {
            mic.spot = Spot::Fixed(place.clone());
        }
    }
}

fn set_wearer(recorder: &mut scene::spec::RecorderSpec, wearer: &str) {
    recorder.wearer = Some(wearer.to_owned());
    for channel in &mut recorder.channels {
        if let scene::spec::ChannelSpec::Mic(mic) = channel
            && let Spot::Worn { person, .. } = &mut mic.spot
        {
            *person = wearer.to_owned();
        }
    }
}

/// Every sixth line or so starts before the one before has ended.
fn overlap(spec: &mut SceneSpec, random: &mut Random) {
    let dry = lines::load().expect("dry lines");
    for n in 1..spec.lines.len() {
        let (before, line) = (&spec.lines[n - 1], &spec.lines[n]);
        if before.speaker == line.speaker || random.unit() > 0.17 {
            continue;
        }
        let end_s = before.start_s + dry[before.line].length_s() / before.speed;
        let length_s = (end_s - before.start_s).min(dry[line.line].length_s());
        spec.lines[n].start_s = end_s - random.between(0.3, 0.6) * length_s;
    }
}

/// Detection, moments on the true clock, and each moment's best hearing listened to.
fn event(folder: &Path, truth: &Truth, encoder: &Encoder) -> Event {
    let recordings = recordings(folder, truth);
    let levels: Vec<Measured> = recordings.iter().map(listened).collect();
    let people = people(truth);
    let who = |name: &str| people.iter().position(|one| one == name).expect("a person");
    let mut ear = Ear::new(encoder);
    let mut stretches = Vec::new();
    for moment in moments(&recordings, &levels) {
        let best = &recordings[moment.hearings[0].hearer];
        ear.hear(&samples(best, moment.start, moment.end));
        let heard = moment.hearings.iter().filter(|hearing| hearing.heard);
        let heard_by = heard.map(|hearing| hearing.hearer).collect();
        stretches.push((moment.start, moment.end, heard_by));
    }
    let heard = stretches.into_iter().zip(ear.finish());
    let worn = recordings.iter().enumerate().filter_map(|(n, recording)| {
        let recorder = &truth.recorders[recording.recorder];
        let wearer = recorder.wearer.as_ref()?;
        // Takes of one recorder have one label.
        let gain = truth
            .recorders
            .iter()
            .position(|one| one.label == recorder.label);
        Some(Mic {
            recording: n,
            placement: recording.truth.clone(),
            track: recording.bands.clone(),
            gain: gain? * 8 + recording.channel,
            wearers: vec![(EventMs(0), who(wearer))],
        })
    });
    let dry = lines::load().expect("dry lines");
    Event {
        worn: worn.collect(),
        stretches: heard
            .map(|((start, end, heard_by), listened)| Heard {
                start,
                end,
                heard_by,
                listened,
            })
            .collect(),
        lines: truth
            .lines
            .iter()
            .map(|line| Line {
                speaker: who(&line.speaker),
                worn: wears(truth, line),
                start_ms: line.start_ms,
                end_ms: line.end_ms,
                spans_ms: spans(line, &dry),
            })
            .collect(),
    }
}

fn samples(recording: &Recording, start: EventMs, end: EventMs) -> Vec<f32> {
    let at = |ms: EventMs| recording.truth.to_file(ms);
    let (from, to) = (at(start), at(end));
    let heard = read_analysis(&recording.path, recording.pick, FileMs(from.0.max(0)), to);
    let mut heard = heard.expect("samples");
    // What lies before the recording is silence.
    let missing = (-from.0).max(0) as usize * 16;
    heard.splice(0..0, std::iter::repeat_n(0.0, missing));
    heard
}

fn people(truth: &Truth) -> Vec<String> {
    let mut names: Vec<String> = truth
        .lines
        .iter()
        .map(|line| line.speaker.clone())
        .collect();
    names.sort();
    names.dedup();
    names
}

/// Whether a microphone on its speaker ran all through the line.
fn wears(truth: &Truth, line: &LineTruth) -> bool {
    truth.recorders.iter().any(|recorder| {
        let length_ms = 1000.0 * recorder.frames as f64 / f64::from(recorder.rate_hz);
        recorder.wearer.as_ref() == Some(&line.speaker)
            && recorder.file_ms(line.start_ms) >= 0.0
            && recorder.file_ms(line.end_ms) <= length_ms
    })
}

fn spans(line: &LineTruth, dry: &[lines::DryLine]) -> Vec<(f64, f64)> {
    let dry = dry.iter().find(|dry| dry.entry.id == line.id);
    let at = |s: f64| line.origin_ms + 1000.0 * s / line.speed;
    let spans = &dry.expect("a line").spans_s;
    spans
        .iter()
        .map(|(from, to)| (at(*from), at(*to)))
        .collect()
}
