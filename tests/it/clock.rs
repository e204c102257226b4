//! Do recordings come to one clock, and never to a wrong one?
//!
//! The goals: an instant mapped from one recording into another is off by at
//! most 2 ms (median) and 10 ms (99 of 100) beside the true acoustic delay; what
//! overlaps is placed; nothing is placed wrongly while claiming certainty. How
//! much is wrong at all: one frame of picture at 25 frames a second, 40 ms; ITU-R
//! BT.1359-1 has sound 45 ms early or 125 ms late as just detectable.

#[path = "clock/cases.rs"]
mod cases;
#[path = "clock/demo.rs"]
mod demo;
#[path = "../bench/clock/judge.rs"]
mod judge;
#[path = "clock/real.rs"]
mod real;
#[path = "../bench/clock/solving.rs"]
mod solving;

use sayback::core::clock::{Finding, How, Solution, Warning};
use xtask::scene::day::{Chances, Corpus, Day, render};

use judge::{Judged, judge, quantile};

/// Goals, ms.
const MEDIAN_MS: f64 = 2.0;
const P99_MS: f64 = 10.0;

impl Judged {
    #[track_caller]
    fn keeps_the_goals(&self) {
        let notes = self.notes.join("\n");
        assert_eq!(self.placed, self.overlapping, "{notes}");
        self.is_never_surely_wrong();
        for values in [&self.beside_ms, &self.nearest_ms] {
            let (median, p99) = (quantile(values, 0.5), quantile(values, 0.99));
            assert!(
                median <= MEDIAN_MS && p99 <= P99_MS,
                "{median} {p99}\n{notes}"
            );
        }
    }

    #[track_caller]
    fn is_never_surely_wrong(&self) {
        assert_eq!(self.wrong, 0, "{}", self.notes.join("\n"));
    }
}

/// A day, solved and judged.
struct Solved {
    solution: Solution,
    judged: Judged,
}

fn corpus() -> Corpus {
    Corpus::load(64).expect("talk")
}

fn solved(day: &Day, corpus: &Corpus) -> Solved {
    let folder = tempfile::tempdir().expect("a folder");
    let sounds = render(day, corpus, folder.path()).expect("the day is rendered");
    let heard: Vec<_> = sounds.iter().map(solving::listen).collect();
    let members = solving::members(day, &sounds, &heard);
    let solution = solving::solve(&members, &sounds);
    let judged = judge(day, corpus, &solution);
    Solved { solution, judged }
}

impl Solved {
    #[track_caller]
    fn keeps_the_goals(&self) {
        self.judged.keeps_the_goals();
    }

    #[track_caller]
    fn is_never_surely_wrong(&self) {
        self.judged.is_never_surely_wrong();
    }

    /// Whether sound ties two recordings to one clock.
    fn together(&self, a: usize, b: usize) -> bool {
        let (a, b) = (&self.solution.placed[a], &self.solution.placed[b]);
        let sound = |how: How| matches!(how, How::Sound | How::Joined);
        a.island == b.island && sound(a.how) && sound(b.how)
    }

    fn finding(&self, a: usize, b: usize) -> Finding {
        self.solution.pairs[&(a, b)].finding
    }

    /// Every warning, of the event and of its recordings.
    fn warnings(&self) -> Vec<Warning> {
        let own = self.solution.placed.iter().flat_map(|one| &one.warnings);
        own.chain(&self.solution.warnings).copied().collect()
    }
}

#[test]
fn days_drawn_by_chance_keep_the_goals() {
    let corpus = corpus();
    let mut all = Judged::default();
    for seed in [1, 2, 3] {
        let chances = Chances {
            length_s: 600.0,
            recorders: (3, 5),
            ..Chances::of_seed(seed)
        };
        all.add(solved(&chances.day(&corpus), &corpus).judged);
    }
    all.keeps_the_goals();
}
