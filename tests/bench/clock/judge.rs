//! How right is a solution, against the truth of its day?

use sayback::core::clock::{Finding, How, Placed, Solution};
use xtask::scene::day::truth::{self, Shared};
use xtask::scene::day::{Clock, Corpus, Day};

/// Instants looked at in the overlap of two recordings.
const INSTANTS: usize = 21;

/// Recordings truly overlap when they share so much talk, seconds.
pub const TRULY_S: f64 = 10.0;

/// One frame of picture at 25 frames a second, ms: a wrong place is farther off.
pub const FRAME_25_MS: f64 = 40.0;

/// What came of one day.
#[derive(Clone, Debug, Default)]
pub struct Judged {
    /// Errors of mapped instants beside the acoustic delay, ms.
    pub beside_ms: Vec<f64>,
    /// The same beside the nearest voice's delay, ms.
    pub nearest_ms: Vec<f64>,
    /// The same against the true clocks alone, ms.
    pub plain_ms: Vec<f64>,
    /// The same for the voice that speaks at the instant, ms.
    pub voice_ms: Vec<f64>,
    /// Widths of the ranges of acoustic delay, ms, one a pair.
    pub delays_ms: Vec<f64>,
    /// Errors of rates between two recordings, ppm.
    pub ppm: Vec<f64>,
    /// Recordings that truly overlap another, and how many of them are placed.
    pub overlapping: usize,
    pub placed: usize,
    /// Recordings whose place claims certainty, and how many of them are wrong.
    pub certain: usize,
    pub wrong: usize,
    /// Pairs called a tie.
    pub ties: usize,
    /// Mapped instants within the 95 % that was claimed.
    pub covered: usize,
    /// What went wrong, for who mends it.
    pub notes: Vec<String>,
}

/// Whether it says that sound tells where it is.
fn by_sound(placed: &Placed) -> bool {
    matches!(placed.how, How::Sound | How::Joined)
}

/// Judges `solution`.
pub fn judge(day: &Day, corpus: &Corpus, solution: &Solution) -> Judged {
    let clocks: Vec<Clock> = day.takes.iter().map(Clock::of).collect();
    let count = day.takes.len();
    let mut judged = Judged::default();
    let mut shares = vec![Vec::new(); count];
    for a in 0..count {
        for b in a + 1..count {
            let shared = truth::shared(day, corpus, &day.takes[a], &day.takes[b]);
            if shared.talk_s >= TRULY_S {
                shares[a].push(b);
                shares[b].push(a);
            }
            judged.pair(day, &clocks, solution, (a, b), &shared);
        }
    }
    let ties = |pair: &&_| {
        matches!(
            pair,
            sayback::core::clock::Pair {
                finding: Finding::Tie,
                ..
            }
        )
    };
    judged.ties = solution.pairs.values().filter(ties).count();
    for (n, with) in shares
        .iter()
        .enumerate()
        .filter(|(_, with)| !with.is_empty())
    {
        let placed = &solution.placed[n];
        let together = |&other: &usize| {
            let other = &solution.placed[other];
            by_sound(other) && other.island == placed.island
        };
        judged.overlapping += 1;
        if by_sound(placed) && with.iter().any(together) {
            judged.placed += 1;
        } else {
            let talk = with.iter().map(|&m| {
                let (a, b) = (&day.takes[n], &day.takes[m]);
                let shared = truth::shared(day, corpus, a, b);
                format!("{m}: {:.0} s at {:.0} dB", shared.talk_s, b.snr_db)
            });
            let talk: Vec<String> = talk.collect();
            judged.notes.push(format!(
                "take {n} ({:.0} dB {:?}) is {:?} on island {}; shares talk with {}",
                day.takes[n].snr_db,
                day.takes[n].noise,
                placed.how,
                placed.island,
                talk.join(", ")
            ));
        }
    }
    judged.certainty(day, &clocks, solution);
    judged
}

impl Judged {
    fn pair(
        &mut self,
        day: &Day,
        clocks: &[Clock],
        solution: &Solution,
        (a, b): (usize, usize),
        shared: &Shared,
    ) {
        let (here, there) = (&solution.placed[a], &solution.placed[b]);
        if !(by_sound(here) && by_sound(there) && here.island == there.island) {
            return;
        }
        let (take_a, take_b) = (&day.takes[a], &day.takes[b]);
        let claimed = there.placement.ppm() - here.placement.ppm();
        let true_ppm = take_b.ppm() - take_a.ppm();
        self.ppm.push((claimed - true_ppm).abs());
        if shared.overlap_s <= 1.0 {
            return;
        }
        let limit = match (here.uncertainty_ms, there.uncertainty_ms) {
            (Some(a), Some(b)) => a.hypot(b),
            _ => f64::INFINITY,
        };
        let (least, most) = shared.range_ms();
        self.delays_ms.push(most - least);
        let from_s = take_a.start_s.max(take_b.start_s) + 0.5;
        let mut worst = 0.0_f64;
        for n in 0..INSTANTS {
            let part = n as f64 / (INSTANTS - 1) as f64;
            let event_s = from_s + (shared.overlap_s - 1.0) * part;
            let Some(file_s) = clocks[a].file_s(event_s) else {
                continue;
            };
            let event_ms = here.placement.event_at(file_s * 1000.0);
            let mapped_ms = there.placement.file_at(event_ms);
            let Some(error) = truth::error(&clocks[b], event_s, mapped_ms, shared) else {
                continue;
            };
            self.beside_ms.push(error.beside_ms);
            self.nearest_ms.push(error.nearest_ms);
            self.plain_ms.push(error.plain_ms);
            self.voice_ms.extend(error.voice_ms);
            self.covered += usize::from(error.beside_ms <= limit);
            worst = worst.max(error.beside_ms);
        }
        if worst > 10.0 {
            self.notes.push(format!(
                "takes {a} and {b}: {worst:.1} ms beside the delay ({:.1} to {:.1} ms), \
                 claimed within {limit:.1}; {:.0} s of talk shared, {:.0} and {:.0} dB, \
                 rate off by {:.1} ppm",
                least,
                most,
                shared.talk_s,
                take_a.snr_db,
                take_b.snr_db,
                claimed - true_ppm,
            ));
        }
    }

    /// A recording is wrong while certain when against at least half of its
    /// island it lies farther off than both claim together, and than one frame
    /// of picture: where both ran, or where they come nearest.
    fn certainty(&mut self, day: &Day, clocks: &[Clock], solution: &Solution) {
        let sure = |n: &usize| {
            let placed = &solution.placed[*n];
            placed.uncertainty_ms.is_some() && !matches!(placed.how, How::Unplaced | How::Stamp)
        };
        for n in (0..clocks.len()).filter(sure) {
            let placed = &solution.placed[n];
            let claimed = |m: usize| solution.placed[m].uncertainty_ms.unwrap_or(0.0);
            let others: Vec<(f64, f64)> = (0..clocks.len())
                .filter(|m| *m != n && sure(m) && solution.placed[*m].island == placed.island)
                .map(|m| {
                    (
                        worst_ms(day, clocks, solution, n, m),
                        claimed(n).hypot(claimed(m)),
                    )
                })
                .collect();
            let wrong = |(off, claimed): &&(f64, f64)| *off > FRAME_25_MS && off > claimed;
            let against = others.iter().filter(wrong).count();
            self.certain += 1;
            if against > 0 && 2 * against >= others.len() {
                self.wrong += 1;
                self.notes.push(format!(
                    "take {n} is WRONG while certain ({:?}, island {}): off and claimed, ms, {}",
                    placed.how,
                    placed.island,
                    others
                        .iter()
                        .map(|(off, claimed)| format!("{off:.0} ({claimed:.1})"))
                        .collect::<Vec<_>>()
                        .join(", ")
                ));
            }
        }
    }

    /// Takes another day in.
    pub fn add(&mut self, other: Self) {
        self.beside_ms.extend(other.beside_ms);
        self.nearest_ms.extend(other.nearest_ms);
        self.plain_ms.extend(other.plain_ms);
        self.voice_ms.extend(other.voice_ms);
        self.delays_ms.extend(other.delays_ms);
        self.ppm.extend(other.ppm);
        self.overlapping += other.overlapping;
        self.placed += other.placed;
        self.certain += other.certain;
        self.wrong += other.wrong;
        self.ties += other.ties;
        self.covered += other.covered;
        self.notes.extend(other.notes);
    }
}

/// Worst plain error of instants of one mapped to another, at both ends and in
/// the middle of their overlap; at the nearest ends when there is none.
fn worst_ms(day: &Day, clocks: &[Clock], solution: &Solution, a: usize, b: usize) -> f64 {
    let (here, there) = (&day.takes[a], &day.takes[b]);
    let into = |event_s: f64| event_s.clamp(here.start_s, here.end_s);
    let (from_s, to_s) = (into(there.start_s), into(there.end_s));
    [from_s, (from_s + to_s) / 2.0, to_s]
        .into_iter()
        .filter_map(|event_s| {
            let file_s = clocks[a].file_s(event_s.min(here.end_s - 0.001))?;
            let event_ms = solution.placed[a].placement.event_at(file_s * 1000.0);
            let mapped_ms = solution.placed[b].placement.file_at(event_ms);
            let event_s = clocks[a].event_s(file_s);
            let run = clocks[b]
                .runs()
                .iter()
                .rev()
                .find(|run| run.start_s <= event_s);
            let run = run.unwrap_or(&clocks[b].runs()[0]);
            Some((mapped_ms - run.file_s(event_s) * 1000.0).abs())
        })
        .fold(0.0, f64::max)
}

/// The value that the share `part` of them does not pass (nearest rank).
pub fn quantile(values: &[f64], part: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (part * sorted.len() as f64).ceil() as usize;
    sorted
        .get(rank.clamp(1, sorted.len().max(1)) - 1)
        .copied()
        .unwrap_or(f64::NAN)
}
