//! What has no backup?
//!
//! The rule of the trade is never to rely on one source for anything that can't be
//! repeated (common practice, no source): each stretch of speech is to be had from two
//! recorders at least, each good enough to be used.

use super::Verdict;
use crate::units::EventMs;

/// Moments that lack a backup and are no further apart are told as one gap, ms.
const ONE_GAP_MS: i64 = 10_000;

/// So many usable sources are a source and its backup.
pub const BACKED_UP: usize = 2;

/// Whether what was said in a moment with this text needs a backup: not where the model
/// listened and heard no words.
#[must_use]
pub fn needs_backup(text: Option<&str>) -> bool {
    text != Some("")
}

/// The sources that have a moment well enough to be used, in order, each once: of its
/// hearings, whether each is above its recorder's noise, how usable it is, and its source.
#[must_use]
pub fn usable_sources<S: Ord>(hearings: impl IntoIterator<Item = (bool, Verdict, S)>) -> Vec<S> {
    let mut sources: Vec<S> = hearings
        .into_iter()
        .filter(|(heard, verdict, _)| *heard && verdict.is_usable())
        .map(|(.., source)| source)
        .collect();
    sources.sort_unstable();
    sources.dedup();
    sources
}

/// A named stretch of an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// Where it starts.
    pub start: EventMs,
    /// Where it ends, exclusive.
    pub end: EventMs,
}

/// A moment, and the sources that have it well enough to be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Covered {
    /// Where it lies.
    pub at: Span,
    /// By the caller's numbers, in any order; one that stands there twice counts once.
    pub usable: Vec<usize>,
}

/// How well the speech of a part is backed up.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PartCoverage {
    /// Its moments, by their place in the list.
    pub moments: Vec<usize>,
    /// Speech that no source has well enough, ms.
    pub none_ms: i64,
    /// Speech that one has, ms.
    pub one_ms: i64,
    /// Speech that two or more have, ms.
    pub more_ms: i64,
    /// What none or one has, in order of time.
    pub gaps: Vec<Gap>,
}

impl PartCoverage {
    /// Speech in all, ms.
    #[must_use]
    pub fn speech_ms(&self) -> i64 {
        self.none_ms + self.one_ms + self.more_ms
    }

    /// Whether all its speech has a backup. A part without any speech has none: what
    /// should be there was not recorded.
    #[must_use]
    pub fn is_backed_up(&self) -> bool {
        !self.moments.is_empty() && self.gaps.is_empty()
    }
}

/// Moments near each other that the same source has, or none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gap {
    /// Where they lie.
    pub at: Span,
    /// Which, by their place in the list.
    pub moments: Vec<usize>,
    /// The one source; `None` where there is none.
    pub only: Option<usize>,
}

/// What of each part has a backup, in the order of `parts`, and at the end what lies
/// in none of them. A moment belongs to the shortest part that its middle lies in.
#[must_use]
pub fn coverage(parts: &[Span], moments: &[Covered]) -> Vec<PartCoverage> {
    let mut found = vec![PartCoverage::default(); parts.len() + 1];
    let mut order: Vec<usize> = (0..moments.len()).collect();
    order.sort_by_key(|&n| (moments[n].at.start, moments[n].at.end, n));
    for n in order {
        let moment = &moments[n];
        let part = part_of(parts, moment.at).unwrap_or(parts.len());
        found[part].take(n, moment);
    }
    found
}

/// The shortest part that the middle of a stretch lies in, the first of equals.
#[must_use]
pub fn part_of(parts: &[Span], at: Span) -> Option<usize> {
    let middle = at.start.0.midpoint(at.end.0);
    let holds = |part: &Span| part.start.0 <= middle && middle < part.end.0;
    (0..parts.len())
        .filter(|&n| holds(&parts[n]))
        .min_by_key(|&n| parts[n].end.0.saturating_sub(parts[n].start.0))
}

impl PartCoverage {
    fn take(&mut self, n: usize, moment: &Covered) {
        let length = moment.at.end.0.saturating_sub(moment.at.start.0).max(0);
        self.moments.push(n);
        let mut usable = moment.usable.clone();
        usable.sort_unstable();
        usable.dedup();
        match usable.len() {
            0 => self.none_ms += length,
            1 => self.one_ms += length,
            _ => self.more_ms += length,
        }
        if usable.len() >= BACKED_UP {
            return;
        }
        let only = usable.first().copied();
        let last = self.gaps.last_mut().filter(|gap| {
            gap.only == only && moment.at.start.0.saturating_sub(gap.at.end.0) <= ONE_GAP_MS
        });
        match last {
            Some(gap) => {
                gap.at.end = gap.at.end.max(moment.at.end);
                gap.moments.push(n);
            }
            None => self.gaps.push(Gap {
                at: moment.at,
                moments: vec![n],
                only,
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn span(start: i64, end: i64) -> Span {
        Span {
            start: EventMs(start),
            end: EventMs(end),
        }
    }

    fn covered(start: i64, end: i64, usable: &[usize]) -> Covered {
        Covered {
            at: span(start, end),
            usable: usable.to_vec(),
        }
    }

    #[test]
    fn speech_is_counted_by_how_many_have_it() {
        let letters = span(0, 60_000);
        let vows = span(100_000, 200_000);
        let moments = [
            covered(100_000, 104_000, &[0, 2]),
            covered(1_000, 3_000, &[0]),
            // The same source twice is no backup.
            covered(4_000, 5_000, &[0, 0]),
            covered(20_000, 21_000, &[]),
            covered(40_000, 41_000, &[0]),
            covered(90_000, 91_000, &[1]),
        ];
        let found = coverage(&[letters, vows], &moments);
        assert_eq!(
            found[0],
            PartCoverage {
                moments: vec![1, 2, 3, 4],
                none_ms: 1_000,
                one_ms: 4_000,
                more_ms: 0,
                gaps: vec![
                    Gap {
                        at: span(1_000, 5_000),
                        moments: vec![1, 2],
                        only: Some(0)
                    },
                    Gap {
                        at: span(20_000, 21_000),
                        moments: vec![3],
                        only: None
                    },
                    Gap {
                        at: span(40_000, 41_000),
                        moments: vec![4],
                        only: Some(0)
                    },
                ],
            }
        );
        assert!(!found[0].is_backed_up());
        assert_eq!((found[1].more_ms, found[1].gaps.len()), (4_000, 0));
        assert!(found[1].is_backed_up());
        assert_eq!(
            (found[2].one_ms, found[2].moments.as_slice()),
            (1_000, &[5][..])
        );
    }

    #[test]
    fn a_source_counts_once_and_only_where_it_heard() {
        let hearings = [
            (true, Verdict::Usable, 7),
            (true, Verdict::Clean, 3),
            (true, Verdict::Poor, 1),
            (false, Verdict::Clean, 2),
            (true, Verdict::Clean, 7),
            (true, Verdict::Lost, 4),
        ];
        assert_eq!(usable_sources(hearings), [3, 7]);
        assert!(needs_backup(None) && needs_backup(Some("a")) && !needs_backup(Some("")));
    }

    #[test]
    fn a_part_in_which_nothing_was_heard_has_no_backup() {
        let found = coverage(&[span(0, 1_000)], &[]);
        assert!(!found[0].is_backed_up());
        assert_eq!(found[0].speech_ms(), 0);
    }

    #[test]
    fn a_moment_belongs_to_the_shortest_part_around_its_middle() {
        let parts = [span(0, 100_000), span(20_000, 40_000), span(39_000, 50_000)];
        let part = |start, end| part_of(&parts, span(start, end));
        assert_eq!(part(10_000, 12_000), Some(0));
        assert_eq!(part(19_000, 25_000), Some(1));
        assert_eq!(part(39_500, 40_500), Some(2));
        assert_eq!(part(99_000, 103_000), None);
        assert_eq!(part(i64::MAX - 1, i64::MAX), None);
    }

    proptest! {
        /// Every moment is in one part, and in a gap exactly if it has no backup.
        #[test]
        fn nothing_is_lost(
            parts in prop::collection::vec((-50_i64..50, 0_i64..80), 0..5),
            moments in prop::collection::vec(
                (-60_i64..120, 1_i64..20, prop::collection::vec(0_usize..4, 0..4)), 0..40),
        ) {
            let parts: Vec<Span> = parts.iter()
                .map(|&(start, length)| span(start * 1_000, (start + length) * 1_000)).collect();
            let moments: Vec<Covered> = moments.iter()
                .map(|(start, length, usable)| covered(start * 1_000, (start + length) * 1_000, usable))
                .collect();
            let found = coverage(&parts, &moments);
            let mut seen: Vec<usize> = found.iter().flat_map(|part| part.moments.clone()).collect();
            seen.sort_unstable();
            prop_assert_eq!(seen, (0..moments.len()).collect::<Vec<_>>());
            let speech: i64 = found.iter().map(PartCoverage::speech_ms).sum();
            prop_assert_eq!(speech, moments.iter().map(|m| m.at.end.0 - m.at.start.0).sum::<i64>());
            let mut gaps: Vec<usize> = found.iter()
                .flat_map(|part| part.gaps.iter().flat_map(|gap| gap.moments.clone())).collect();
            gaps.sort_unstable();
            let lacking: Vec<usize> = (0..moments.len()).filter(|&n| {
                let mut usable = moments[n].usable.clone();
                usable.sort_unstable();
                usable.dedup();
                usable.len() < BACKED_UP
            }).collect();
            prop_assert_eq!(gaps, lacking);
        }
    }
}
