//! When does everybody speak, and when do they clap?

use super::super::lines::DryLine;
use super::super::random::Random;
use super::super::spec::{BedKind, BedSpec, LineSpec, Place};
use super::SEED;

/// How fast the second reading is, and what it leaves out.
const QUICKER: f64 = 1.04;
const LEFT_OUT: &str = "letter-ottilie-5";

/// When everything happens.
pub(super) struct Timing {
    pub(super) lines: Vec<LineSpec>,
    pub(super) beds: Vec<BedSpec>,
    /// Between the two letters.
    pub(super) second_letter_s: f64,
    /// Ends of letters, ceremony and toasts.
    pub(super) ends_s: [f64; 3],
}

impl Timing {
    /// Lets everybody speak in the order of the list, with pauses.
    pub(super) fn of(dry: &[DryLine]) -> Self {
        let mut random = Random::new(SEED, "timing");
        let names = ["letters", "ceremony", "toasts"];
        let mut timing = Self {
            lines: Vec::new(),
            beds: Vec::new(),
            second_letter_s: 0.0,
            ends_s: [0.0; 3],
        };
        let mut at_s = 4.0;
        let mut before: Option<&DryLine> = None;
        for (index, line) in dry.iter().enumerate() {
            let part = names
                .iter()
                .position(|name| *name == line.entry.part)
                .unwrap_or(0);
            if let Some(before) = before {
                at_s += timing.pause_s(&before.entry.id, part, at_s, &mut random);
                if before.entry.speaker != line.entry.speaker {
                    at_s += random.between(0.6, 1.2);
                }
            }
            if line.entry.id == "letter-corin-1" {
                timing.second_letter_s = at_s - 1.0;
            }
            timing.lines.push(LineSpec {
                line: index,
                speaker: line.entry.speaker.clone(),
                part,
                start_s: at_s,
                speed: 1.0,
                effort_db: random.between(-1.5, 1.5),
            });
            at_s += line.length_s();
            before = Some(line);
            if line.entry.id == "letter-ottilie-8" {
                at_s = timing.read_again(dry, part, at_s);
            }
        }
        timing.pause_s("toast-halvard-7", 2, at_s, &mut random);
        timing.ends_s[2] = at_s + 7.0;
        timing
    }

    /// Ottilie takes a breath and reads her letter once more, a little quicker, leaving out
    /// a line. Ends when she does.
    fn read_again(&mut self, dry: &[DryLine], part: usize, mut at_s: f64) -> f64 {
        // Draws of its own, so that whatever comes after is as it would be without.
        let mut random = Random::new(SEED, "timing/again");
        at_s += 3.5;
        for (index, line) in dry.iter().enumerate() {
            let own = line.entry.id.starts_with("letter-ottilie");
            if !own || line.entry.id == LEFT_OUT {
                continue;
            }
            self.lines.push(LineSpec {
                line: index,
                speaker: line.entry.speaker.clone(),
                part,
                start_s: at_s,
                speed: QUICKER,
                effort_db: random.between(-1.5, 1.5),
            });
            at_s += line.length_s() / QUICKER + random.between(0.5, 1.1);
        }
        at_s
    }

    /// Seconds after the line `before`; ends parts and starts applause.
    fn pause_s(&mut self, before: &str, next_part: usize, at_s: f64, random: &mut Random) -> f64 {
        let applause = |seconds| BedSpec {
            kind: BedKind::Applause,
            start_s: at_s + 0.4,
            end_s: at_s + 0.4 + seconds,
            place: Place::new("boathouse", 4.5, 1.0),
            level_db: 8.0,
        };
        let (pause_s, clapping) = match before {
            "letter-ottilie-8" => (2.5, None),
            "letter-corin-8" => (4.0, None),
            "rings-3" => (7.5, Some(applause(5.0))),
            "toast-jory-7" => (5.5, Some(applause(4.0))),
            "toast-halvard-7" => (7.0, Some(applause(5.0))),
            _ => (random.between(0.5, 1.1), None),
        };
        self.beds.extend(clapping);
        let part = self.lines.last().map_or(0, |line| line.part);
        if part != next_part {
            self.ends_s[part] = at_s + pause_s - 1.0;
        }
        pause_s
    }
}
