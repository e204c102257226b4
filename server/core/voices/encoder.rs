//! What is this voice like, in 256 numbers?
//!
//! The forward pass of a recurrent network that was taught to put utterances of one
//! person close together (Wan et al., *Generalized end-to-end loss for speaker
//! verification*, ICASSP 2018): three layers of 256 units with the gates of Hochreiter
//! and Schmidhuber (*Neural Computation* 9(8), 1997) and Gers et al. (2000), a linear
//! layer, no negative numbers, length 1. Eight windows go through at once, so that each
//! weight is read once for eight.

use super::mel::{BANDS, MelFrame};
use super::weights::{LAYERS, NoModel, ROWS, WIDTH, numbers};

/// Frames in a window: 1.6 s, as the model was taught.
pub(super) const FRAMES: usize = 160;
/// Windows that go through at once.
pub(super) const LANES: usize = 8;
/// Rows worked out together: their sums fit the registers.
const BLOCK: usize = 4;

/// One number for each of the windows.
type Lanes = [f32; LANES];

/// The model, ready to run.
pub struct Encoder {
    layers: Vec<Layer>,
    last: Vec<f32>,
    last_bias: Vec<f32>,
}

struct Layer {
    /// By block of rows: for each number of input and state, the block's weights.
    weights: Vec<[f32; BLOCK]>,
    bias: Vec<f32>,
    inputs: usize,
}

/// What a layer remembers.
#[derive(Clone)]
struct State {
    /// The input, then the state.
    seen: Vec<Lanes>,
    cell: Vec<Lanes>,
    gates: Vec<Lanes>,
}

impl Encoder {
    /// Of the bytes that [`kept_form`](super::kept_form) made.
    ///
    /// # Errors
    /// [`NoModel`], if they are not that.
    pub fn from_bytes(kept: &[u8]) -> Result<Self, NoModel> {
        let numbers = numbers(kept)?;
        let mut rest = numbers.as_slice();
        let mut take = |count: usize| -> Result<&[f32], NoModel> {
            let (part, after) = rest.split_at_checked(count).ok_or(NoModel::Layout)?;
            rest = after;
            Ok(part)
        };
        let mut matrices = Vec::new();
        for layer in 0..LAYERS {
            let inputs = if layer == 0 { BANDS } else { WIDTH };
            matrices.push((inputs, take(ROWS * inputs)?, take(ROWS * WIDTH)?));
        }
        let mut layers = Vec::new();
        for (inputs, of_input, of_state) in matrices {
            let (one, other) = (take(ROWS)?, take(ROWS)?);
            layers.push(Layer {
                weights: packed(inputs, of_input, of_state),
                bias: one.iter().zip(other).map(|(a, b)| a + b).collect(),
                inputs,
            });
        }
        Ok(Self {
            layers,
            last: take(WIDTH * WIDTH)?.to_vec(),
            last_bias: take(WIDTH)?.to_vec(),
        })
    }

    /// The voices of up to eight windows of [`FRAMES`] frames; a shorter one is
    /// said again until it is full.
    pub(super) fn voices(&self, windows: &[&[MelFrame]]) -> Vec<Vec<f32>> {
        let mut states: Vec<State> = self.layers.iter().map(Layer::start).collect();
        for frame in 0..FRAMES {
            for (layer, n) in self.layers.iter().zip(0..) {
                let (before, here) = states.split_at_mut(n);
                let Some(state) = here.first_mut() else { break };
                match before.last() {
                    None => state.hear(windows, frame),
                    Some(below) => state.seen[..WIDTH].copy_from_slice(below.output(WIDTH)),
                }
                layer.step(state);
            }
        }
        let output = states.last().map_or(&[][..], |state| state.output(WIDTH));
        (0..windows.len().min(LANES))
            .map(|lane| self.voice(output, lane))
            .collect()
    }

    fn voice(&self, output: &[Lanes], lane: usize) -> Vec<f32> {
        let rows = self.last.chunks_exact(WIDTH).zip(&self.last_bias);
        let mut voice: Vec<f32> = rows
            .map(|(row, bias)| {
                let sum: f32 = row.iter().zip(output).map(|(w, h)| w * h[lane]).sum();
                (sum + bias).max(0.0)
            })
            .collect();
        let length = voice.iter().map(|x| x * x).sum::<f32>().sqrt();
        if length > 0.0 {
            voice.iter_mut().for_each(|x| *x /= length);
        }
        voice
    }
}

/// Weights in the order they are read in.
fn packed(inputs: usize, of_input: &[f32], of_state: &[f32]) -> Vec<[f32; BLOCK]> {
    let mut packed = Vec::with_capacity(ROWS / BLOCK * (inputs + WIDTH));
    let at = |weights: &[f32], place: usize| weights.get(place).copied().unwrap_or(0.0);
    for block in 0..ROWS / BLOCK {
        let row = |n: usize| block * BLOCK + n;
        for place in 0..inputs {
            packed.push(std::array::from_fn(|n| {
                at(of_input, row(n) * inputs + place)
            }));
        }
        for place in 0..WIDTH {
            packed.push(std::array::from_fn(|n| {
                at(of_state, row(n) * WIDTH + place)
            }));
        }
    }
    packed
}

impl Layer {
    fn start(&self) -> State {
        State {
            seen: vec![[0.0; LANES]; self.inputs + WIDTH],
            cell: vec![[0.0; LANES]; WIDTH],
            gates: vec![[0.0; LANES]; ROWS],
        }
    }

    fn step(&self, state: &mut State) {
        let blocks = self.weights.chunks_exact(self.inputs + WIDTH);
        let sums = state.gates.as_chunks_mut::<BLOCK>().0;
        let biases = self.bias.as_chunks::<BLOCK>().0;
        for ((weights, sums), bias) in blocks.zip(sums).zip(biases) {
            let mut sum: [Lanes; BLOCK] = bias.map(|bias| [bias; LANES]);
            for (weight, seen) in weights.iter().zip(&state.seen) {
                for (sum, weight) in sum.iter_mut().zip(weight) {
                    for (sum, seen) in sum.iter_mut().zip(seen) {
                        *sum += weight * seen;
                    }
                }
            }
            *sums = sum;
        }
        let (input, rest) = state.gates.split_at(WIDTH);
        let (forget, rest) = rest.split_at(WIDTH);
        let (new, output) = rest.split_at(WIDTH);
        let gates = input.iter().zip(forget).zip(new).zip(output);
        let outputs = &mut state.seen[self.inputs..];
        for ((cell, out), (((i, f), g), o)) in state.cell.iter_mut().zip(outputs).zip(gates) {
            for lane in 0..LANES {
                cell[lane] = logistic(f[lane]) * cell[lane] + logistic(i[lane]) * tanh(g[lane]);
                out[lane] = logistic(o[lane]) * tanh(cell[lane]);
            }
        }
    }
}

impl State {
    fn hear(&mut self, windows: &[&[MelFrame]], frame: usize) {
        for (lane, window) in windows.iter().take(LANES).enumerate() {
            let heard = frame.checked_rem(window.len()).and_then(|n| window.get(n));
            for (band, seen) in self.seen[..BANDS].iter_mut().enumerate() {
                seen[lane] = heard.map_or(0.0, |heard| heard[band]);
            }
        }
    }

    fn output(&self, width: usize) -> &[Lanes] {
        &self.seen[self.seen.len() - width..]
    }
}

/// 1 / (1 + e^−x).
fn logistic(x: f32) -> f32 {
    0.5 * tanh(0.5 * x) + 0.5
}

/// The hyperbolic tangent, within 3·10⁻⁴: the continued fraction of Lambert (1761), to
/// its seventh term, which is 1 before it grows beyond.
fn tanh(x: f32) -> f32 {
    let x = x.clamp(-4.97, 4.97);
    let square = x * x;
    let up = x * (135_135.0 + square * (17_325.0 + square * (378.0 + square)));
    let down = 135_135.0 + square * (62_370.0 + square * (3_150.0 + square * 28.0));
    (up / down).clamp(-1.0, 1.0)
}

#[cfg(test)]
mod tests;
