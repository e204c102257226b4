//! Which windows of 1.6 s have one voice?

use super::cluster::cluster;
use super::kinds::{Evidence, Stretch};
use super::levels;
use super::listen::STEP_MS;
use super::windows::Window;

/// The voices, before anybody knows whose they are.
#[derive(Clone, Debug, Default)]
pub(super) struct Groups {
    /// Of each window.
    pub of: Vec<usize>,
    /// Of each step of each stretch: the voice of the window whose middle is nearest;
    /// none where none is.
    pub steps: Vec<Vec<Option<usize>>>,
}

impl Groups {
    /// Groups what sounds alike.
    pub fn new(evidence: &Evidence, windows: &[Window], alike_from: f32) -> Self {
        let voices: Vec<&[f32]> = windows.iter().map(|w| &w.glance.voice[..]).collect();
        let of = cluster(&voices, alike_from);
        let mut here: Vec<Vec<(i64, i64, usize)>> = vec![Vec::new(); evidence.stretches.len()];
        for (window, group) in windows.iter().zip(&of) {
            if let Some(here) = here.get_mut(window.stretch) {
                here.push((window.glance.from_ms, window.glance.to_ms, *group));
            }
        }
        let steps = evidence.stretches.iter().zip(&here);
        Self {
            steps: steps
                .map(|(stretch, here)| by_step(stretch, here))
                .collect(),
            of,
        }
    }
}

/// `windows`: from, to, voice; in order.
fn by_step(stretch: &Stretch, windows: &[(i64, i64, usize)]) -> Vec<Option<usize>> {
    let nearest = |step: usize| {
        let at = step as i64 * STEP_MS + STEP_MS / 2;
        // A window reaches no farther than 1.6 s, and they are in order.
        let next = windows.partition_point(|(from, ..)| *from <= at);
        let near = windows.get(next.saturating_sub(3)..next)?.iter();
        let over = near.filter(|(_, to, _)| *to > at);
        let middle = |(from, to, _): &&(i64, i64, usize)| from.midpoint(*to).abs_diff(at);
        over.min_by_key(middle).map(|(.., group)| *group)
    };
    (0..levels::steps(stretch)).map(nearest).collect()
}
