//! Which recordings of an event share sound, without searching every pair?

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::coarse::{along, better, other_rates, search};
use super::decide::Decided;
use super::prepared::Prepared;
use super::track::{FRAME_MS, Track};
use super::votes::Guess;
use super::{ClockParams, Coarse, Line};
use crate::Cancel;

/// What was found, by the indices of two recordings, the lower one first.
pub type Found = BTreeMap<(usize, usize), Coarse>;

/// Lines a chain may predict at most: each jump in a link doubles them.
const PREDICTED: usize = 8;

/// Frames (10 min) that a recording runs where another does not, for both to be
/// tried against other groups at wrong rates.
const ALONE: f64 = 15_000.0;

/// Groups with most sound that every other group is tried against: one for each
/// place where an event begins, and one to spare.
const CENTRES: usize = 3;

/// Share of the work that is not spent on looking for wrong rates.
const USUAL_SHARE: f32 = 0.8;

/// The finding for every pair of recordings, those of `known` as they are; `None`
/// if cancelled. `progress` hears the share that is done.
///
/// The longest recording is searched against all others first. Where links
/// already lead from one recording to another, the line they predict is looked at
/// and the pair is searched only if its sound does not agree there. So with one
/// clock per source the searches grow with the number of recordings, not of
/// pairs. Wrong rates are looked for between groups that nothing else connects.
pub fn coarse_all(
    tracks: &[&Track],
    known: &Found,
    params: &ClockParams,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Option<Found> {
    let prepared: Vec<Prepared> = tracks.iter().map(|track| Prepared::new(track)).collect();
    let mut by_length: Vec<usize> = (0..tracks.len()).collect();
    by_length.sort_by_key(|&n| (std::cmp::Reverse(tracks[n].frames()), n));
    let mut event = Event {
        found: Found::new(),
        links: vec![Vec::new(); tracks.len()],
        prepared,
        params,
        cancel,
    };
    for (&(a, b), finding) in known {
        if a < b && b < tracks.len() {
            event.insert((a, b), finding.clone());
        }
    }
    let pairs: Vec<(usize, usize)> = by_length
        .iter()
        .enumerate()
        .flat_map(|(n, &a)| {
            by_length[n + 1..]
                .iter()
                .map(move |&b| (a.min(b), a.max(b)))
        })
        .filter(|pair| !event.found.contains_key(pair))
        .collect();
    for (n, &pair) in pairs.iter().enumerate() {
        progress(USUAL_SHARE * n as f32 / pairs.len() as f32);
        let finding = event.look(pair)?;
        event.insert(pair, finding);
    }
    event.join_groups(&by_length, known, progress)?;
    // Links that were found later may lead where the search saw nothing.
    for pair in pairs {
        if event.found.get(&pair) == Some(&Coarse::Nothing)
            && let Some(Decided { finding, .. }) = event.predicted(pair)?
        {
            event.insert(pair, finding);
        }
    }
    progress(1.0);
    Some(event.found)
}

struct Event<'a> {
    prepared: Vec<Prepared>,
    found: Found,
    /// Of each recording, those that surely share sound with it, with the lines to
    /// them.
    links: Vec<Vec<(usize, Vec<Line>)>>,
    params: &'a ClockParams,
    cancel: &'a Cancel,
}

impl Event<'_> {
    fn insert(&mut self, (a, b): (usize, usize), finding: Coarse) {
        for (here, next) in [(a, b), (b, a)] {
            self.links[here].retain(|(other, _)| *other != next);
        }
        for (here, next, finding) in [(a, b, &finding), (b, a, &finding.inverse())] {
            if let Coarse::Shared(supports) = finding {
                let firm = supports.iter().filter(|support| support.is_firm());
                let lines: Vec<Line> = firm.map(|support| support.line).collect();
                if !lines.is_empty() {
                    self.links[here].push((next, lines));
                }
            }
        }
        self.found.insert((a, b), finding);
    }

    /// One pair: by the chain that leads there, else by a search.
    fn look(&self, pair: (usize, usize)) -> Option<Coarse> {
        if let Some(decided) = self.predicted(pair)? {
            return Some(decided.finding);
        }
        let (a, b) = (&self.prepared[pair.0], &self.prepared[pair.1]);
        let usual = search(a, b, self.params, self.cancel)?;
        if usual.is_plain(0.99 * self.params.max_ppm) || usual.finding == Coarse::Nothing {
            return Some(usual.finding);
        }
        let other = other_rates(a, b, self.params, self.cancel)?;
        Some(better(usual, other).finding)
    }

    /// What the sound says where the links found so far say it should agree; the
    /// inner `None` if no chain leads there or it does not agree.
    fn predicted(&self, pair: (usize, usize)) -> Option<Option<Decided>> {
        let lines = self.chain(pair);
        let Some(first) = lines.first() else {
            return Some(None);
        };
        // A chain over a recorder with a wrong rate is steep.
        let rate = if first.ppm.abs() > 2.0 * self.params.max_ppm {
            1.0 + first.ppm / 1e6
        } else {
            1.0
        };
        let stretched = (rate != 1.0).then(|| self.prepared[pair.0].at_rate(rate));
        let a = stretched.as_ref().unwrap_or(&self.prepared[pair.0]);
        let b = &self.prepared[pair.1];
        let guesses: Vec<Guess> = lines.iter().map(|line| guess_of(line, rate)).collect();
        if !guesses.iter().any(|guess| guess.overlap(a, b) > 0.0) {
            return Some(Some(Decided::nothing()));
        }
        let most_ppm = 2.0 * self.params.max_ppm;
        let mut decided = along(a, b, &guesses, most_ppm, self.params, self.cancel)?
            .back_from(rate)
            .without_short_steep(self.params);
        // Alone it would be doubted, but the chain says the same. A steep chain is
        // itself in doubt.
        if let Coarse::Tie(supports) = &decided.finding
            && supports.len() == 1
            && rate == 1.0
        {
            decided.finding = Coarse::Shared(supports.clone());
        }
        let agrees = matches!(decided.finding, Coarse::Shared(_));
        Some(agrees.then_some(decided))
    }

    /// The lines from one recording to another along the fewest links.
    fn chain(&self, (from, to): (usize, usize)) -> Vec<Line> {
        let mut seen = BTreeSet::from([from]);
        let mut waiting: VecDeque<(usize, Vec<Line>)> = VecDeque::new();
        waiting.push_back((from, Vec::new()));
        while let Some((here, lines)) = waiting.pop_front() {
            for (next, links) in &self.links[here] {
                let next = *next;
                if !seen.insert(next) {
                    continue;
                }
                let mut longer: Vec<Line> = if here == from {
                    links.clone()
                } else {
                    let then = |line: &Line| links.iter().map(|link| line.then(link)).collect();
                    lines.iter().flat_map::<Vec<Line>, _>(then).collect()
                };
                longer.truncate(PREDICTED);
                if next == to {
                    return longer;
                }
                waiting.push_back((next, longer));
            }
        }
        Vec::new()
    }

    /// Looks for wrong rates between the longest recordings of groups that nothing
    /// connects, each against those with most sound.
    fn join_groups(
        &mut self,
        by_length: &[usize],
        known: &Found,
        progress: &mut dyn FnMut(f32),
    ) -> Option<()> {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        let mut grouped = vec![false; self.prepared.len()];
        for &n in by_length {
            if !grouped[n] {
                let group = self.group_of(n);
                group.iter().for_each(|&member| grouped[member] = true);
                groups.push(group);
            }
        }
        let sound = |group: &Vec<usize>| group.iter().map(|&n| self.prepared[n].frames()).sum();
        groups.sort_by_key(|group| std::cmp::Reverse::<usize>(sound(group)));
        let tried: Vec<Vec<usize>> = groups.iter().map(|group| self.tried(group)).collect();
        for (n, one) in tried.iter().enumerate().skip(1) {
            progress(USUAL_SHARE + (1.0 - USUAL_SHARE) * n as f32 / tried.len() as f32);
            for other in &tried[..n.min(CENTRES)] {
                for &a in one {
                    for &b in other {
                        let pair = (a.min(b), a.max(b));
                        let nothing = self.found.get(&pair) == Some(&Coarse::Nothing);
                        if !nothing || known.contains_key(&pair) {
                            continue;
                        }
                        let (x, y) = (&self.prepared[pair.0], &self.prepared[pair.1]);
                        let decided = other_rates(x, y, self.params, self.cancel)?;
                        if matches!(decided.finding, Coarse::Shared(_)) {
                            self.insert(pair, decided.finding);
                        }
                    }
                }
            }
        }
        Some(())
    }

    /// Those of a group, longest first, that stand for it: the longest, and of the
    /// others the first that runs for a while where that does not, else the first.
    fn tried(&self, group: &[usize]) -> Vec<usize> {
        let Some((&longest, others)) = group.split_first() else {
            return Vec::new();
        };
        let runs_alone = |other: &&usize| {
            let (a, b) = (&self.prepared[longest], &self.prepared[**other]);
            let chain = self.chain((longest, **other));
            let beside = chain.first().map(|line| guess_of(line, 1.0).overlap(a, b));
            b.frames() as f64 - beside.unwrap_or(0.0).max(0.0) >= ALONE
        };
        let next = others.iter().find(runs_alone).or(others.first());
        [longest].into_iter().chain(next.copied()).collect()
    }

    /// Everything links lead to from one recording, longest first.
    fn group_of(&self, n: usize) -> Vec<usize> {
        let mut group = vec![n];
        let mut seen = BTreeSet::from([n]);
        let mut at = 0;
        while let Some(&here) = group.get(at) {
            at += 1;
            let next = self.links[here].iter().map(|(next, _)| *next);
            group.extend(next.filter(|next| seen.insert(*next)));
        }
        group.sort_by_key(|&n| (std::cmp::Reverse(self.prepared[n].frames()), n));
        group
    }
}

/// A line as a guess between the first recording at `rate` times its rate and the
/// second.
fn guess_of(line: &Line, rate: f64) -> Guess {
    let here = line.here_ms * rate / FRAME_MS;
    Guess {
        here,
        lag: line.there_ms / FRAME_MS - here,
        ppm: ((1.0 + line.ppm / 1e6) / rate - 1.0) * 1e6,
        height: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::scenes::{Recorder, talk};

    fn all(tracks: &[Track], known: &Found) -> Found {
        let tracks: Vec<&Track> = tracks.iter().collect();
        let mut heard = Vec::new();
        let mut progress = |share| heard.push(share);
        let params = ClockParams::default();
        let found = coarse_all(&tracks, known, &params, &Cancel::new(), &mut progress).unwrap();
        assert_eq!(heard.last(), Some(&1.0));
        assert!(heard.is_sorted());
        found
    }

    #[test]
    fn every_pair_is_answered_truly() {
        let sound = talk(1_500, 21);
        let recorder = |start_s, length_s, ppm| Recorder {
            start_s,
            length_s,
            ppm,
            noise_db: -5.0,
        };
        // 4 is of another event; 5 runs 2 % fast; 2 and 3 do not overlap.
        let recorders = [
            recorder(0.0, 1_500.0, 40.0),
            recorder(300.0, 900.0, -60.0),
            recorder(0.0, 400.0, 10.0),
            recorder(700.0, 300.0, 90.0),
            recorder(0.0, 700.0, 0.0),
            recorder(200.0, 800.0, 20_000.0),
        ];
        let other = talk(1_500, 22);
        let tracks: Vec<Track> = recorders
            .iter()
            .enumerate()
            .map(|(n, r)| r.hears(if n == 4 { &other } else { &sound }, n as u64))
            .collect();
        let found = all(&tracks, &Found::new());
        assert_eq!(found.len(), 15);
        for (&(a, b), finding) in &found {
            let nothing = a == 4 || b == 4 || (a, b) == (2, 3);
            let Coarse::Shared(supports) = finding else {
                assert!(
                    nothing && *finding == Coarse::Nothing,
                    "{a} {b} {finding:?}"
                );
                continue;
            };
            assert!(!nothing && supports.len() == 1, "{a} {b} {supports:?}");
            for here in [supports[0].from_ms, supports[0].to_ms] {
                let truth = 1e3 * recorders[a].truth(&recorders[b], here / 1e3);
                let off = supports[0].line.map(here) - truth;
                assert!(off.abs() <= 40.0, "{a} {b}: {off} ms");
            }
        }
        // What is known is believed, not looked at.
        let mut known = found.clone();
        known.insert((0, 1), Coarse::Nothing);
        assert_eq!(all(&tracks, &known), known);
    }

    #[test]
    fn no_recordings_and_odd_knowledge_do_no_harm() {
        assert!(all(&[], &Found::new()).is_empty());
        let known = Found::from([((3, 1), Coarse::Nothing), ((0, 9), Coarse::Nothing)]);
        assert!(all(&[], &known).is_empty());
    }
}
