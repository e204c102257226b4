//! Which of the lines between two recordings is the truth, and is it sure?

use super::looks::Look;
use super::track::FRAME_MS;
use super::weigh::{Island, Weighed};
use super::{Coarse, Line, Support};

/// A line that claims the same sound with this share of the best one's weight is
/// as good as it. Half the weight is seven tenths of the height, which is what
/// another distance to the same loudspeaker changes.
const AS_GOOD: f32 = 0.5;

/// Lines closer than this are one, frames (240 ms); where the clock is said to
/// jump, it must jump by more than half of that.
const SAME: f64 = 6.0;
const JUMP: f64 = 3.0;

/// A lone stretch shorter than this (8 min, longer than a piece of music), with
/// so many times more looks around it that speak against it, is no proof.
const LONE_MS: f64 = 480_000.0;
pub(super) const TIMES_AGAINST: u32 = 4;

/// Islands further apart than this are two pieces of evidence, frames (1 min).
const APART: f64 = 1_500.0;

/// What an island beside a sure one on the same line has at least: score, and
/// strength, which one line in ten between unrelated recordings reaches by chance.
const ALSO_SCORE: f32 = 4.0;
const ALSO_STRENGTH: f32 = 6.5;

/// Lines a tie lists at most.
const LISTED: usize = 4;

/// A finding, and the weight of what speaks for it.
#[derive(Clone, Debug)]
pub(super) struct Decided {
    pub finding: Coarse,
    /// Weight and rate (ppm) of the heaviest sure line, whatever became of it.
    pub best: Option<(f32, f64)>,
}

impl Decided {
    pub(super) fn nothing() -> Self {
        Self {
            finding: Coarse::Nothing,
            best: None,
        }
    }

    pub(super) fn weight(&self) -> f32 {
        self.best.map_or(0.0, |(weight, _)| weight)
    }

    /// Whether nobody need look at other rates: one line, or one jump, less steep than
    /// `most_ppm`, to which a steeper one is held, and more speaks for it than
    /// against. Two looks may fit by chance along what is really a steep line.
    pub(super) fn is_plain(&self, most_ppm: f64) -> bool {
        match &self.finding {
            Coarse::Shared(supports) => {
                let held = |support: &Support| support.line.ppm.abs() >= most_ppm;
                supports.len() <= 2
                    && supports.iter().any(Support::is_firm)
                    && !supports.iter().any(held)
            }
            Coarse::Tie(_) | Coarse::Nothing => false,
        }
    }

    pub(super) fn turned(self) -> Self {
        Self {
            finding: self.finding.inverse(),
            ..self
        }
    }
}

/// A line, or what is left of it, that is taken as true.
struct Taken {
    line: Weighed,
    islands: Vec<Island>,
}

impl Taken {
    fn from(&self) -> f64 {
        self.islands.first().map_or(0.0, |island| island.from)
    }

    fn to(&self) -> f64 {
        self.islands.last().map_or(0.0, |island| island.to)
    }

    fn there(&self, here: f64) -> f64 {
        here + self.line.guess.lag_at(here)
    }

    fn weight(&self) -> f32 {
        self.islands.iter().map(|island| island.weight).sum()
    }

    /// Whether sound at `here`, said to be at `there`, is claimed by this line in
    /// either recording.
    fn claims(&self, here: f64, there: f64) -> bool {
        (self.from()..self.to()).contains(&here)
            || (self.there(self.from())..self.there(self.to())).contains(&there)
    }

    /// Whether one lies wholly before the other in both recordings.
    fn in_order(&self, other: &Self) -> bool {
        let before = |x: &Self, y: &Self| {
            x.to() <= y.from() + 1.0 && x.there(x.to()) <= y.there(y.from()) + 1.0
        };
        before(self, other) || before(other, self)
    }

    /// Less of its end or start, up to half a look, where that reaches into another:
    /// a look counts where its middle lies, so the last one before a jump may.
    fn trimmed(mut self, other: &Self) -> Self {
        let half = 0.5 * self.line.length as f64;
        let here = |there: f64| there - self.line.guess.lag_at(there);
        let limit = other.from().min(here(other.there(other.from())));
        let start = other.to().max(here(other.there(other.to())));
        if let Some(last) = self.islands.last_mut()
            && (limit..=limit + half).contains(&last.to)
        {
            last.to = limit;
        }
        if let Some(first) = self.islands.first_mut()
            && (start - half..=start).contains(&first.from)
        {
            first.from = start;
        }
        self
    }

    fn support(&self, against: u32) -> Support {
        let middle = 0.5 * (self.from() + self.to());
        let ms = |frame: f64| frame * FRAME_MS;
        let looks: f32 = self
            .islands
            .iter()
            .map(|island| island.agreeing as f32)
            .sum();
        let strengths = self.islands.iter().map(|island| island.strength.powi(2));
        Support {
            line: Line {
                here_ms: ms(middle),
                there_ms: ms(self.there(middle)),
                ppm: self.line.guess.ppm,
            },
            from_ms: ms(self.from()),
            to_ms: ms(self.to()),
            blocks: looks as u32,
            against,
            strength: strengths.sum::<f32>().sqrt(),
        }
    }
}

/// What is left of a line's agreement among some of its looks, if it is sure.
fn take(line: &Weighed, wanted: impl Fn(&Look) -> bool) -> Option<Taken> {
    let mut islands = line.islands(wanted);
    if !islands.iter().any(Island::is_sure) {
        return None;
    }
    islands.retain(|island| {
        island.is_sure() || island.score >= ALSO_SCORE && island.strength >= ALSO_STRENGTH
    });
    Some(Taken {
        line: line.clone(),
        islands,
    })
}

/// Decides between lines that were looked at.
pub(super) fn decide(lines: Vec<Weighed>) -> Decided {
    let mut sure: Vec<Taken> = lines
        .iter()
        .filter_map(|line| take(line, |_| true))
        .collect();
    sure.sort_by(|x, y| y.weight().total_cmp(&x.weight()));
    let Some(first) = sure.first() else {
        return Decided::nothing();
    };
    let best = Some((first.weight(), first.line.guess.ppm));
    let mut taken: Vec<Taken> = Vec::new();
    let mut ties: Vec<Support> = Vec::new();
    for other in sure {
        let Some(first) = taken.first() else {
            taken.push(other);
            continue;
        };
        let apart = |taken: &Taken, here: f64| {
            (taken.line.guess.lag_at(here) - other.line.guess.lag_at(here)).abs()
        };
        let place = |look: &Look| (look.here, look.here + other.line.guess.lag_at(look.here));
        let claimed = |look: &Look| {
            let (here, there) = place(look);
            taken.iter().any(|taken| taken.claims(here, there))
        };
        let middle = 0.5 * (other.from() + other.to());
        let rival: f32 = {
            let islands = other.line.islands(claimed);
            islands.iter().map(|island| island.weight).sum()
        };
        if rival >= AS_GOOD * first.weight() && apart(first, middle) > SAME {
            ties.push(other.support(0));
            continue;
        }
        let Some(rest) = take(&other.line, |look| !claimed(look)) else {
            continue;
        };
        let rest = taken.iter().fold(rest, Taken::trimmed);
        let middle = 0.5 * (rest.from() + rest.to());
        let fits = taken
            .iter()
            .all(|taken| taken.in_order(&rest) && apart(taken, middle) > JUMP);
        if fits {
            taken.push(rest);
        }
    }
    taken.sort_by(|x, y| x.from().total_cmp(&y.from()));
    let supports: Vec<Support> = taken
        .iter()
        .enumerate()
        .map(|(n, one)| {
            let others = || taken.iter().enumerate().filter(|(m, _)| *m != n);
            let alone = |look: &Look| {
                let there = one.there(look.here);
                !others().any(|(_, other)| other.claims(look.here, there))
            };
            one.support(one.line.against(alone) as u32)
        })
        .collect();
    let finding = if ties.is_empty() {
        // Each for itself: two doubtful stretches are no better than one.
        let sound: Vec<Support> = taken
            .iter()
            .zip(&supports)
            .filter(|(one, support)| !is_lone(one, support))
            .map(|(_, support)| *support)
            .collect();
        if sound.is_empty() {
            Coarse::Tie(listed(supports, ties))
        } else {
            Coarse::Shared(sound)
        }
    } else {
        Coarse::Tie(listed(supports, ties))
    };
    Decided { finding, best }
}

/// The lines of a tie, strongest first: the strongest of those taken, its rivals,
/// and the others while there is room.
fn listed(mut taken: Vec<Support>, rivals: Vec<Support>) -> Vec<Support> {
    let strongest_first =
        |all: &mut Vec<Support>| all.sort_by(|x, y| y.strength.total_cmp(&x.strength));
    strongest_first(&mut taken);
    taken.splice(taken.len().min(1)..taken.len().min(1), rivals);
    taken.truncate(LISTED);
    strongest_first(&mut taken);
    taken
}

/// A short stretch amid hours that speak against it, in one piece.
fn is_lone(one: &Taken, support: &Support) -> bool {
    let sure: Vec<&Island> = one.islands.iter().filter(|i| i.is_sure()).collect();
    let apart = sure.windows(2).any(|two| two[1].from - two[0].to > APART);
    let longest = sure.iter().map(|island| island.to - island.from);
    longest.fold(0.0, f64::max) * FRAME_MS < LONE_MS
        && support.against >= TIMES_AGAINST * support.blocks.max(1)
        && !apart
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::votes::Guess;

    /// A line that agrees at these looks, of 100 frames each, with this height.
    fn line(lag: f64, looks: std::ops::Range<usize>, height: f32) -> Weighed {
        let look = |n: usize| Look {
            here: 50.0 + 100.0 * n as f64,
            height,
            best: height,
            lag,
            alive: true,
        };
        Weighed {
            guess: Guess {
                here: 0.0,
                lag,
                ppm: 0.0,
                height,
            },
            looks: looks.map(look).collect(),
            length: 100,
        }
    }

    #[test]
    fn a_jump_is_found_wherever_it_lies_between_two_looks() {
        // The second recording loses 50 frames at some place near 2,000.
        for at in 1_950..=2_050_usize {
            let end = (at + 49) / 100;
            let before = line(0.0, 0..end, 6.0);
            let mut after = line(-50.0, 0..20, 6.5);
            for look in &mut after.looks {
                look.here += (at + 50) as f64;
            }
            let Coarse::Shared(found) = decide(vec![before, after]).finding else {
                panic!("{at}");
            };
            let [first, second] = found.as_slice() else {
                panic!("{at}: {found:?}");
            };
            assert!(first.to_ms <= second.from_ms + FRAME_MS, "{at}");
            assert!(first.line.map(first.to_ms) <= second.line.map(second.from_ms) + FRAME_MS);
        }
    }

    #[test]
    fn a_tie_lists_the_strongest_first_and_never_without_a_rival() {
        // Six stretches with a jump after each, and a rival to the strongest, which
        // is the fifth.
        let mut lines: Vec<Weighed> = (0..6)
            .map(|n| line(100.0 * n as f64, 60 * n..60 * n + 50, 5.0 + (n % 5) as f32))
            .collect();
        lines.push(line(5_000.0, 240..290, 7.0));
        let Coarse::Tie(listed) = decide(lines).finding else {
            panic!("no tie");
        };
        let told: Vec<f64> = listed
            .iter()
            .map(|one| (one.line.there_ms - one.line.here_ms) / FRAME_MS)
            .collect();
        assert_eq!(listed.len(), LISTED);
        assert!(
            listed.is_sorted_by(|x, y| x.strength >= y.strength),
            "{listed:?}"
        );
        assert_eq!(told[0], 400.0, "{told:?}");
        assert!(told.contains(&5_000.0), "{told:?}");
    }
}
