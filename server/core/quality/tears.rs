//! Is the wave torn off?
//!
//! A dropout ends a voice from one sample to the next; a gate closes when it has been
//! quiet for a while. So a tear is digital silence right after sound that is about as
//! strong as that of the time before.

/// Sound right before: its memory, s.
const NOW_S: f32 = 0.003;
/// Sound of the time before: its memory, s.
const LATELY_S: f32 = 0.3;
/// Torn off is what was no weaker than so much of the time before, as power: −12 dB.
const STRONG: f32 = 0.063;
/// Below this power nothing is torn off: −70 dBFS.
const FAINT: f32 = 1e-7;
/// Zeros of this length are a tear, s.
const SILENCE_S: f32 = 0.01;

/// Watches all channels together.
pub(super) struct Tears {
    now: f32,
    lately: f32,
    /// How quickly each forgets, a frame.
    forget: [f32; 2],
    /// Frames of zeros in a row, and how many are a tear.
    zeros: u32,
    least: u32,
    /// Whether these follow on strong sound.
    strong: bool,
}

impl Tears {
    /// For frames at this rate.
    pub fn new(rate_hz: u32) -> Self {
        let rate = rate_hz.max(1) as f32;
        Self {
            now: 0.0,
            lately: 0.0,
            forget: [NOW_S, LATELY_S].map(|memory| 1.0 - (-1.0 / (memory * rate)).exp()),
            zeros: 0,
            least: ((SILENCE_S * rate) as u32).max(1),
            strong: false,
        }
    }

    /// Takes the next frame; whether it makes silence a tear.
    pub fn push(&mut self, frame: &[f32]) -> bool {
        let power = frame
            .iter()
            .fold(0.0_f32, |most, sample| most.max(sample * sample));
        if power > 0.0 {
            // A square of a loud float may be no number.
            let power = power.min(1e6);
            self.now += self.forget[0] * (power - self.now);
            self.lately += self.forget[1] * (power - self.lately);
            self.zeros = 0;
            return false;
        }
        if self.zeros == 0 {
            self.strong = self.now > STRONG * self.lately && self.now > FAINT;
        }
        self.zeros = self.zeros.saturating_add(1);
        // Silence is forgotten like sound, so that the next voice is strong again.
        self.now -= self.forget[0] * self.now;
        self.lately -= self.forget[1] * self.lately;
        self.strong && self.zeros == self.least
    }
}
