//! All recordings of an event on one clock, in one call.

use std::collections::BTreeMap;

use super::measure::measure;
use super::polarity::inverted;
use super::solve::{rigid, solve};
use super::{
    ClockParams, Coarse, Finding, Line, Member, Pair, Samples, Solution, Stretch, Support, Track,
    Warning, coarse_all,
};
use crate::Cancel;

/// Shares of the work, as far as a person waits: the search, then samples.
const SEARCH_SHARE: f32 = 0.4;

/// Places every member. `known` holds pairs of earlier calls, by members of this one
/// (a < b): they are neither searched nor measured again. `progress` is told 0 to 1.
/// `None` when cancelled.
///
/// Contradictory or meaningless input is no error: what can't be placed is unplaced.
/// Cost: the search is by FFT over band levels; each recording is read at some 40
/// instants for each pair that shares sound, the same ones for all pairs where they
/// serve, however long it is.
pub fn align(
    members: &[Member],
    known: &BTreeMap<(usize, usize), Pair>,
    samples: &mut dyn Samples,
    params: &ClockParams,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<Solution> {
    let tracks: Vec<&Track> = members.iter().map(|member| member.track).collect();
    let searched = search(members, &tracks, known, params, cancel, progress)?;
    let mut pairs = BTreeMap::new();
    let mut wanted = Vec::new();
    for (key, coarse) in searched {
        let (a, b) = key;
        if a >= b || b >= members.len() {
            continue;
        }
        let pair = match known.get(&key) {
            Some(pair) => pair.clone(),
            None => {
                let pair = of_coarse(&coarse);
                if pair.finding == Finding::Shared {
                    wanted.push(key);
                }
                pair
            }
        };
        pairs.insert(key, pair);
    }
    let mut told = |done: f32| progress(SEARCH_SHARE + (1.0 - SEARCH_SHARE) * done);
    let mute = measure(members, &mut pairs, &wanted, samples, cancel, &mut told)?;
    for key in &wanted {
        if let Some(pair) = pairs.get_mut(key) {
            pair.mute = (mute.contains(&key.0), mute.contains(&key.1));
        }
    }
    let (mut placed, warnings) = solve(members, &mut pairs);
    for (member, against) in inverted(members.len(), &pairs) {
        if let Some(placed) = placed.get_mut(member) {
            placed.warnings.push(Warning::Inverted { member, against });
        }
    }
    progress(1.0);
    Some(Solution {
        placed,
        pairs,
        warnings,
    })
}

/// What every pair has in common, the known ones unasked; channels of one file by
/// their samples, pieces of a take nothing.
fn search(
    members: &[Member],
    tracks: &[&Track],
    known: &BTreeMap<(usize, usize), Pair>,
    params: &ClockParams,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<BTreeMap<(usize, usize), Coarse>> {
    let mut given: BTreeMap<(usize, usize), Coarse> = known
        .iter()
        .filter(|((a, b), _)| a < b && *b < members.len())
        .map(|(key, pair)| (*key, to_coarse(pair)))
        .collect();
    for (a, b) in rigid(members) {
        let coarse = if members[a].file == members[b].file {
            let end = members[a].duration_ms.min(members[b].duration_ms);
            Coarse::Shared(vec![Support {
                line: Line {
                    here_ms: 0.0,
                    there_ms: 0.0,
                    ppm: 0.0,
                },
                from_ms: 0.0,
                to_ms: end.max(0.0),
                blocks: 1,
                against: 0,
                strength: 0.0,
            }])
        } else {
            Coarse::Nothing
        };
        given.entry((a, b)).or_insert(coarse);
    }
    let mut told = |done: f32| progress(SEARCH_SHARE * done);
    coarse_all(tracks, &given, params, cancel, &mut told)
}

fn of_coarse(coarse: &Coarse) -> Pair {
    let (finding, supports): (Finding, &[Support]) = match coarse {
        Coarse::Nothing => (Finding::Nothing, &[]),
        Coarse::Shared(supports) => (Finding::Shared, supports),
        Coarse::Tie(supports) => (Finding::Tie, supports),
    };
    let stretches = supports.iter().map(|support| Stretch {
        line: support.line,
        from_ms: support.from_ms,
        to_ms: support.to_ms,
        blocks: support.blocks,
        against: support.against,
        strength: support.strength,
        fine: None,
    });
    Pair {
        finding,
        stretches: stretches.collect(),
        used: false,
        mute: (false, false),
    }
}

fn to_coarse(pair: &Pair) -> Coarse {
    let supports = pair.stretches.iter().map(|stretch| Support {
        line: stretch.line,
        from_ms: stretch.from_ms,
        to_ms: stretch.to_ms,
        blocks: stretch.blocks,
        against: stretch.against,
        strength: stretch.strength,
    });
    match pair.finding {
        Finding::Nothing => Coarse::Nothing,
        Finding::Shared => Coarse::Shared(supports.collect()),
        Finding::Tie => Coarse::Tie(supports.collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::room::*;
    use crate::clock::{Before, How, Placement, TrackMaker, Warning};
    use crate::units::FileMs;

    /// Four recorders with their own noise, starts, rates and places; the last in
    /// another house.
    fn event() -> Room {
        let mut room = two(0.02);
        room.start_ms = vec![0.0, 40_000.3, 95_000.7, 20_000.0];
        room.ppm = vec![12.0, -70.0, 55.0, 5.0];
        room.length_ms = vec![600_000.0, 560_000.0, 420_000.0, 500_000.0];
        room.speakers[0].delay_ms = vec![2.0, 14.0, 31.0, 1e9];
        room.speakers.push(Speaker {
            says: voice(99, 600),
            delay_ms: vec![1e9, 1e9, 1e9, 3.0],
            from_s: 0,
        });
        room
    }

    fn tracks(room: &mut Room) -> Vec<Track> {
        let lengths = room.length_ms.clone();
        let track = |(n, length): (usize, &f64)| {
            let mut maker = TrackMaker::new();
            for from in (0..*length as i64).step_by(10_000) {
                maker.push(&room.read(n, FileMs(from), FileMs(from + 10_000)));
            }
            maker.finish()
        };
        lengths.iter().enumerate().map(track).collect()
    }

    fn solved(
        members: &[Member],
        known: &BTreeMap<(usize, usize), Pair>,
        room: &mut Room,
    ) -> Solution {
        let mut last = 0.0;
        let mut told = |done: f32| {
            assert!(done >= last - 1e-6 && done <= 1.0, "{last} {done}");
            last = done;
        };
        let solution = align(
            members,
            known,
            room,
            &ClockParams::default(),
            &Cancel::new(),
            &mut told,
        );
        assert!((last - 1.0).abs() < 1e-6);
        solution.unwrap()
    }

    #[test]
    fn an_event_is_solved_and_one_more_recording_joins_it() {
        let mut room = event();
        let tracks = tracks(&mut room);
        let all = members_with(&room, &tracks);
        let solution = solved(&all, &BTreeMap::new(), &mut room);
        let place = |n: usize| Placement::even(room.start_ms[n], room.ppm[n]);
        for n in 1..3 {
            let placed = &solution.placed[n];
            assert_eq!((placed.how, placed.island), (How::Sound, 0), "{n}");
            for at in [0.0, room.length_ms[n]] {
                let way = room.speakers[0].delay_ms[0] - room.speakers[0].delay_ms[n];
                let truth = place(0).file_at(place(n).event_at(at) + way);
                let off = solution.placed[0]
                    .placement
                    .file_at(placed.placement.event_at(at))
                    - truth;
                // The goal for the median is 2 ms; this is an easy event.
                assert!(off.abs() < 1.0, "{n}: {off} {placed:?}");
            }
        }
        assert_eq!(
            (solution.placed[3].how, solution.placed[3].island),
            (How::Unplaced, 1)
        );
        assert_eq!(solution.pairs.len(), 6);
        assert_eq!(solution.pairs[&(0, 3)].finding, Finding::Nothing);

        // Again: nothing is read, nothing moves.
        let mut again = all.clone();
        for (member, placed) in again.iter_mut().zip(&solution.placed) {
            member.before = Some(Before {
                placement: placed.placement.clone(),
                island: placed.island,
                how: placed.how,
            });
        }
        room.reads = 0;
        let second = solved(&again, &solution.pairs, &mut room);
        assert_eq!(room.reads, 0);
        for (new, old) in second.placed.iter().zip(&solution.placed) {
            assert!((new.placement.start_ms() - old.placement.start_ms()).abs() < 1e-6);
        }

        // Without what is known of the third, only its pairs are read for.
        let mut known = solution.pairs.clone();
        known.retain(|(a, b), _| *a != 2 && *b != 2);
        let third = solved(&again, &known, &mut room);
        assert!(room.reads > 0 && room.reads <= 3 * 40, "{}", room.reads);
        assert_eq!(
            third.pairs[&(0, 1)].stretches,
            solution.pairs[&(0, 1)].stretches
        );
    }

    #[test]
    fn channels_and_copies_are_told_with_their_gain() {
        struct Copies(Room);
        impl Samples for Copies {
            fn read(&mut self, member: usize, from: FileMs, to: FileMs) -> Vec<f32> {
                let gain = [1.0, 0.25, 0.5][member];
                let mut out = self.0.read(0, from, to);
                out.iter_mut().for_each(|x| *x *= gain);
                out
            }
        }
        let mut room = two(0.001);
        room.length_ms = vec![120_000.0; 2];
        room.speakers[0].says.truncate(121 * 16_000);
        let track = tracks(&mut room).remove(0);
        room.length_ms.push(120_000.0);
        let tracks = [track.clone(), track.clone(), track];
        let mut members = members_with(&room, &tracks);
        members[1].file = 0;
        let mut copies = Copies(room);
        let solution = align(
            &members,
            &BTreeMap::new(),
            &mut copies,
            &ClockParams::default(),
            &Cancel::new(),
            &mut |_| (),
        )
        .unwrap();
        let said: Vec<&Warning> = solution.placed.iter().flat_map(|p| &p.warnings).collect();
        for (member, of, gain) in [(1, 0, -12.04), (2, 0, -6.02)] {
            let told = said.iter().any(|warning| matches!(warning,
                Warning::Copy { member: m, of: o, gain_db } if (*m, *o) == (member, of) && (gain_db - gain).abs() < 0.1));
            assert!(told, "{member}: {said:?}");
        }
        assert_eq!(solution.placed[0].placement, solution.placed[1].placement);
        assert_eq!(solution.placed[0].placement, solution.placed[2].placement);
    }

    #[test]
    fn cancelling_and_nobody() {
        let cancel = Cancel::new();
        let params = ClockParams::default();
        let mut room = two(0.0);
        let none = align(
            &[],
            &BTreeMap::new(),
            &mut room,
            &params,
            &cancel,
            &mut |_| (),
        );
        assert_eq!(none, Some(Solution::default()));
        cancel.cancel();
        room.length_ms = vec![30_000.0; 2];
        let tracks = tracks(&mut room);
        let members = members_with(&room, &tracks);
        assert_eq!(
            align(
                &members,
                &BTreeMap::new(),
                &mut room,
                &params,
                &cancel,
                &mut |_| ()
            ),
            None
        );
    }
}
