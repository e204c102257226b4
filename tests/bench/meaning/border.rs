//! How like must a moment be to be shown? Chosen on every other question, told on the
//! others.

use std::fmt::Write as _;

use super::corpus::{Event, Question};
use sayback::core::meaning::LEAST_LIKE;

/// Of every question: how like the first moment is, and whether it is right.
#[derive(Default)]
pub struct Tops {
    asked: [Vec<(f32, bool)>; 2],
    nothing: [Vec<f32>; 2],
}

/// At most so many of those that nothing answers may be answered.
const FALSE: f64 = 0.05;

impl Tops {
    pub fn asked(&mut self, n: usize, first: (usize, f32), event: &Event, question: &Question) {
        self.asked[n % 2].push((first.1, event.answers(first.0, question)));
    }

    pub fn nothing(&mut self, n: usize, likeness: f32) {
        self.nothing[n % 2].push(likeness);
    }

    pub fn report(&self) -> String {
        let mut text = String::from(
            "border: answered of what nothing answers, of the questions, of these rightly first",
        );
        let mut chosen = None;
        for step in 20..=60 {
            let border = step as f32 / 100.0;
            if chosen.is_none() && share(&self.nothing[0], |x| *x >= border) <= FALSE {
                chosen = Some(border);
            }
        }
        for border in [0.25, LEAST_LIKE, 0.35, 0.4, 0.45, chosen.unwrap_or(1.0)] {
            for half in 0..2 {
                let shown: Vec<&(f32, bool)> = self.asked[half]
                    .iter()
                    .filter(|(x, _)| *x >= border)
                    .collect();
                let _ = write!(
                    text,
                    "\n  {border:.2} half {half}: {:.3} {:.3} {:.3}",
                    share(&self.nothing[half], |x| *x >= border),
                    share(&self.asked[half], |(x, _)| *x >= border),
                    share(&shown, |(_, right)| *right),
                );
            }
        }
        let _ = write!(
            text,
            "\n  by half 0, at most {FALSE}: {chosen:?}; built: {LEAST_LIKE}"
        );
        text
    }
}

fn share<T>(of: &[T], holds: impl Fn(&T) -> bool) -> f64 {
    of.iter().filter(|one| holds(one)).count() as f64 / of.len().max(1) as f64
}
