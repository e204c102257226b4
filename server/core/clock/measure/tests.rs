//! What is measured of recorders whose clocks and places are known.

use std::collections::BTreeMap;

use super::{measure, stands};
use crate::Cancel;
use crate::clock::room::*;
use crate::clock::*;
use crate::units::FileMs;

/// What the search would say: up to 60 ms wrong.
fn searched(room: &Room, a: usize, b: usize, from_ms: f64, to_ms: f64) -> Stretch {
    let of = |n: usize| Placement::even(room.start_ms[n], room.ppm[n]);
    let middle = 0.5 * (from_ms + to_ms);
    let there = of(b).file_at(of(a).event_at(middle));
    Stretch {
        line: Line {
            here_ms: middle,
            there_ms: there + 37.0,
            ppm: 0.0,
        },
        from_ms,
        to_ms,
        blocks: 10,
        against: 0,
        strength: 10.0,
        fine: None,
    }
}

/// The second recorder is wired the other way round.
struct Turned<'a>(&'a mut Room);

impl Samples for Turned<'_> {
    fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
        let sign = if member == 1 { -1.0 } else { 1.0 };
        let heard = self.0.read(member, from, to);
        heard.into_iter().map(|x| sign * x).collect()
    }
}

fn run(room: &mut Room, stretches: Vec<Stretch>) -> (Pair, Vec<usize>) {
    let track = TrackMaker::new().finish();
    let members = members(room, &track);
    measured(&members, room, stretches)
}

fn measured(
    members: &[Member],
    samples: &mut dyn Samples,
    stretches: Vec<Stretch>,
) -> (Pair, Vec<usize>) {
    let mut pairs = BTreeMap::from([(
        (0, 1),
        Pair {
            finding: Finding::Shared,
            stretches,
            used: false,
            mute: (false, false),
        },
    )]);
    let mut last = 0.0;
    let mut progress = |done: f32| {
        assert!(done >= last && done <= 1.0);
        last = done;
    };
    let mute = measure(
        members,
        &mut pairs,
        &[(0, 1)],
        samples,
        &Cancel::new(),
        &mut progress,
    )
    .unwrap();
    (pairs.remove(&(0, 1)).unwrap(), mute)
}

/// How wrong a line is beside the first speaker's way, at the worse end, ms.
fn error(room: &Room, line: &Line, from_ms: f64, to_ms: f64) -> f64 {
    let of = |n: usize| Placement::even(room.start_ms[n], room.ppm[n]);
    let ways = &room.speakers[0].delay_ms;
    [from_ms, to_ms]
        .map(|at| {
            let truth = of(1).file_at(of(0).event_at(at) + ways[1] - ways[0]);
            (line.map(at) - truth).abs()
        })
        .into_iter()
        .fold(0.0, f64::max)
}

#[test]
fn a_line_is_found_to_a_tenth_of_a_ms_in_a_room_with_echoes() {
    // 0.05 of noise lies some 6 dB below the voice's quieter syllables.
    for noise in [0.0, 0.05] {
        let mut room = two(noise);
        let stretch = searched(&room, 0, 1, 0.0, 860_000.0);
        let (pair, mute) = run(&mut room, vec![stretch]);
        let stretch = pair.stretches[0];
        let fine = stretch.fine.unwrap();
        let off = error(&room, &stretch.line, 0.0, 860_000.0);
        assert!(
            off < 0.1 && off < fine.uncertainty_ms + 0.001 * fine.ppm_uncertainty * 430.0,
            "{off} {fine:?}"
        );
        // The ratio of the two rates.
        let ppm = ((1.0 - 62e-6) / (1.0 + 15e-6) - 1.0) * 1e6;
        assert!((stretch.line.ppm - ppm).abs() < 0.5, "{}", stretch.line.ppm);
        assert!(fine.agreement > 0.8 && fine.points == 40, "{fine:?}");
        assert!(fine.gain_db.abs() < 1.0, "{fine:?}");
        assert!(mute.is_empty());
        // Each recorder once an instant.
        assert!(room.reads <= 2 * 40, "{}", room.reads);
    }
}

#[test]
fn a_recorder_wired_the_other_way_round_is_told_and_lies_right() {
    for noise in [0.0, 0.05] {
        for turned in [false, true] {
            let mut room = two(noise);
            let stretch = searched(&room, 0, 1, 0.0, 860_000.0);
            let track = TrackMaker::new().finish();
            let members = members(&room, &track);
            let (pair, _) = if turned {
                measured(&members, &mut Turned(&mut room), vec![stretch])
            } else {
                measured(&members, &mut room, vec![stretch])
            };
            let stretch = pair.stretches[0];
            let fine = stretch.fine.unwrap();
            assert_eq!(fine.inverted, f32::from(u8::from(turned)), "{fine:?}");
            let off = error(&room, &stretch.line, 0.0, 860_000.0);
            assert!(off < 0.1, "{off} {fine:?}");
        }
    }
}

#[test]
fn speakers_at_other_distances_are_no_drift() {
    let mut room = two(0.01);
    // The second place, from the middle on, is 60 ms nearer to the other recorder.
    room.speakers[0].says.truncate(450 * 16_000);
    room.speakers.push(Speaker {
        says: voice(9, 440),
        delay_ms: vec![41.0, -11.0],
        from_s: 450,
    });
    room.speakers.push(Speaker {
        says: voice(11, 90),
        delay_ms: vec![3.0, 11.0],
        from_s: 780,
    });
    room.speakers[1].says.truncate(330 * 16_000);
    let stretch = searched(&room, 0, 1, 0.0, 860_000.0);
    let (pair, _) = run(&mut room, vec![stretch]);
    let ppm = ((1.0 - 62e-6) / (1.0 + 15e-6) - 1.0) * 1e6;
    let line = pair.stretches[0].line;
    assert!((line.ppm - ppm).abs() < 0.5, "{} {ppm}", line.ppm);
    let off = error(&room, &line, 430_000.0, 430_000.0);
    assert!(off < 0.5 || (off - 60.0).abs() < 0.5, "{off}");
}

#[test]
fn two_seconds_give_an_offset_and_no_wild_rate() {
    let mut room = two(0.01);
    room.length_ms[0] = 2_000.0;
    let stretch = searched(&room, 0, 1, 0.0, 2_000.0);
    let (pair, _) = run(&mut room, vec![stretch]);
    let line = pair.stretches[0].line;
    assert!(line.ppm.abs() < 100.0, "{}", line.ppm);
    // Either exact, or still the search's own.
    let off = error(&room, &line, 1_000.0, 1_000.0);
    assert!(off < 1.0 || pair.stretches[0].fine.is_none(), "{off}");
}

#[test]
fn a_wrong_header_does_not_blur() {
    let mut room = two(0.01);
    room.ppm[1] = 20_000.0;
    let mut stretch = searched(&room, 0, 1, 0.0, 840_000.0);
    stretch.line.ppm = 19_900.0;
    let (pair, _) = run(&mut room, vec![stretch]);
    let stretch = pair.stretches[0];
    let off = error(&room, &stretch.line, 0.0, 840_000.0);
    assert!(off < 1.0, "{off} {:?}", stretch.fine);
}

#[test]
fn a_stop_is_found_to_a_second() {
    // The second recorder misses 9 s of the event after 400 s of its file.
    struct Stopped(Room);
    impl Samples for Stopped {
        fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
            if member == 0 {
                return self.0.read(member, from, to);
            }
            let stop = FileMs(400_000);
            let mut out = if from < stop {
                self.0.read(1, from, to.min(stop))
            } else {
                Vec::new()
            };
            if to > stop {
                let later = |at: FileMs| FileMs(at.0.max(stop.0) + 9_000);
                out.extend(self.0.read(1, later(from), later(to)));
            }
            out
        }
    }
    let room = two(0.01);
    let whole = searched(&room, 0, 1, 0.0, 840_000.0);
    let (mut before, mut after) = (whole, whole);
    // The search knows it to 8 s.
    (before.to_ms, after.from_ms) = (381_000.0, 405_000.0);
    after.line.there_ms -= 9_000.0;
    let truth = Placement::even(room.start_ms[0], 15.0)
        .file_at(Placement::even(room.start_ms[1], -62.0).event_at(400_000.0));
    let track = TrackMaker::new().finish();
    let members = members(&room, &track);
    let mut pairs = BTreeMap::from([(
        (0, 1),
        Pair {
            finding: Finding::Shared,
            stretches: vec![before, after],
            used: false,
            mute: (false, false),
        },
    )]);
    let mut room = Stopped(room);
    measure(
        &members,
        &mut pairs,
        &[(0, 1)],
        &mut room,
        &Cancel::new(),
        &mut |_| (),
    )
    .unwrap();
    let found = &pairs[&(0, 1)].stretches;
    assert!(
        (found[0].to_ms - truth).abs() < 1_000.0,
        "{} {truth}",
        found[0].to_ms
    );
    assert!(
        (found[1].from_ms - truth - 9_000.0).abs() < 1_000.0,
        "{}",
        found[1].from_ms
    );
}

#[test]
fn two_looks_that_the_samples_know_nothing_of_are_nothing() {
    // Recorders in two houses, and what the search took for sound of both.
    let apart = || {
        let mut room = two(0.01);
        room.speakers[0].delay_ms = vec![3.0, 1e9];
        room.speakers.push(Speaker {
            says: voice(12, 900),
            delay_ms: vec![1e9, 4.0],
            from_s: 0,
        });
        room
    };
    let found = |from_ms, to_ms, blocks, against| Stretch {
        blocks,
        against,
        ..searched(&apart(), 0, 1, from_ms, to_ms)
    };
    // A sentence or two, a short file, and looks enough for any noise but against
    // still more of them.
    for lone in [
        found(141_000.0, 161_000.0, 2, 0),
        found(100_000.0, 105_000.0, 2, 0),
        found(100_000.0, 400_000.0, 9, 12),
    ] {
        let (pair, _) = run(&mut apart(), vec![lone]);
        assert_eq!(pair.finding, Finding::Nothing, "{lone:?}");
        assert!(pair.stretches.is_empty());
    }
    // The true stretch beside it stays, with its points.
    let mut room = two(0.01);
    let mut wrong = searched(&room, 0, 1, 700_000.0, 720_000.0);
    (wrong.blocks, wrong.line.there_ms) = (2, wrong.line.there_ms + 5_000.0);
    let right = searched(&room, 0, 1, 0.0, 600_000.0);
    let (pair, _) = run(&mut room, vec![right, wrong]);
    assert_eq!((pair.finding, pair.stretches.len()), (Finding::Shared, 1));
    assert!(pair.stretches[0].fine.is_some());
}

#[test]
fn points_that_agree_loosely_need_looks_that_agree() {
    let fine = |uncertainty_ms| Fine {
        uncertainty_ms,
        ppm_uncertainty: 166.6,
        residual_ms: 9.0,
        agreement: 0.75,
        points: 4,
        alike: 0.5,
        gain_db: 0.0,
        inverted: 0.0,
    };
    let stretch = |blocks, against, uncertainty_ms| Stretch {
        blocks,
        against,
        fine: Some(fine(uncertainty_ms)),
        ..searched(&two(0.0), 0, 1, 16_000.0, 26_000.0)
    };
    // A sentence said twice in one manner, a hundredth faster the second time or
    // not, is two looks; two people who meet say more.
    for (one, believed) in [
        (stretch(2, 4, 4.0), false),
        (stretch(2, 4, 46.0), false),
        (stretch(4, 6, 4.0), true),
        (stretch(4, 6, 46.0), false),
        (stretch(2, 1, 4.0), true),
        (stretch(4, 2, 46.0), true),
    ] {
        assert_eq!(stands(&one, &[]), believed, "{one:?}");
    }
}

#[test]
fn silence_is_told_and_cancelling_stops() {
    let mut room = two(0.0);
    room.speakers.clear();
    let stretch = searched(&room, 0, 1, 0.0, 860_000.0);
    let (pair, mute) = run(&mut room, vec![stretch]);
    assert_eq!(pair.stretches[0], stretch);
    // The second is not asked for where the first has nothing.
    assert_eq!(mute, [0]);

    let track = TrackMaker::new().finish();
    let mut pairs = BTreeMap::from([((0, 1), pair)]);
    let cancel = Cancel::new();
    cancel.cancel();
    let members = members(&room, &track);
    assert_eq!(
        measure(
            &members,
            &mut pairs,
            &[(0, 1)],
            &mut room,
            &cancel,
            &mut |_| ()
        ),
        None
    );
}
