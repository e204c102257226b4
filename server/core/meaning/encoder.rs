//! Where does this text point?
//!
//! The forward pass of a small transformer (Vaswani et al., *Attention is all you need*,
//! NIPS 2017; layers as in Devlin et al., *BERT*, NAACL 2019: the norm after each half)
//! that was taught to turn texts of like meaning the same way (Wang et al., *MiniLM*,
//! NeurIPS 2020; Reimers and Gurevych, *Sentence-BERT*, EMNLP 2019): the mean of the
//! last layer over all pieces, length 1. Texts go through together, one below the other,
//! so that each weight is read once for all; only attention looks at one text alone.

use std::ops::Range;

use half::f16;
use ndarray::{Array1, Array2, ArrayView2, Axis, s};

use super::vector::Meaning;
use super::weights::{HEADS, INNER, LAYERS, NoModel, Numbers, PLACES, VOCABULARY, WIDTH, parts};
use super::wordpiece::WordPiece;
use crate::Cancel;

/// Pieces of a text that are read, with the marks of start and end: as the model was
/// taught. Some 190 words.
const MOST_PIECES: usize = 256;
/// Pieces that go through together, unless one text alone has more.
const TOGETHER: usize = 512;
/// As the model was taught.
const NORM_EPSILON: f32 = 1e-12;

/// The model, ready to run.
pub struct SentenceEncoder {
    words: WordPiece,
    /// By piece.
    pieces: Vec<f16>,
    /// By place.
    places: Array2<f32>,
    norm: Norm,
    layers: Vec<Layer>,
}

struct Norm {
    gain: Array1<f32>,
    bias: Array1<f32>,
}

/// A row of weights for each number that comes out.
struct Dense {
    weights: Array2<f32>,
    bias: Array1<f32>,
}

struct Layer {
    query: Dense,
    key: Dense,
    value: Dense,
    attended: Dense,
    attended_norm: Norm,
    inner: Dense,
    outer: Dense,
    outer_norm: Norm,
}

impl SentenceEncoder {
    /// Of the bytes that [`kept_form`](super::kept_form) made.
    ///
    /// # Errors
    /// [`NoModel`], if they are not that.
    pub fn from_bytes(kept: &[u8]) -> Result<Self, NoModel> {
        let (vocabulary, mut numbers) = parts(kept)?;
        let norm = Norm::of(&mut numbers)?;
        let mut places = matrix(&mut numbers, PLACES, WIDTH)?;
        // Which of two texts a piece is of: always the first.
        places += &matrix(&mut numbers, 2, WIDTH)?.row(0);
        let pieces = numbers.halves(VOCABULARY * WIDTH)?;
        let layers: Result<Vec<Layer>, NoModel> =
            (0..LAYERS).map(|_| Layer::of(&mut numbers)).collect();
        Ok(Self {
            words: WordPiece::new(vocabulary)?,
            pieces,
            places,
            norm,
            layers: layers?,
        })
    }

    /// Where each text points, in order; fewer when it was cancelled. Of a longer text
    /// the first 256 pieces are read.
    #[must_use]
    pub fn embed(&self, texts: &[&str], cancel: &Cancel) -> Vec<Meaning> {
        let numbers: Vec<Vec<u32>> = texts.iter().map(|text| self.pieces(text)).collect();
        let mut meanings = Vec::with_capacity(texts.len());
        let mut rest = numbers.as_slice();
        while !rest.is_empty() && !cancel.is_cancelled() {
            let mut pieces = 0;
            let fits = rest.iter().take_while(|text| {
                pieces += text.len();
                pieces <= TOGETHER
            });
            let (now, later) = rest.split_at(fits.count().clamp(1, rest.len()));
            meanings.extend(self.through(now));
            rest = later;
        }
        meanings
    }

    /// The numbers of the pieces of words that are read of a text.
    #[must_use]
    pub fn pieces(&self, text: &str) -> Vec<u32> {
        self.words.numbers(text, MOST_PIECES)
    }

    fn through(&self, texts: &[Vec<u32>]) -> Vec<Meaning> {
        let ends = texts.iter().scan(0, |end, text| {
            let start = *end;
            *end += text.len();
            Some(start..*end)
        });
        let spans: Vec<Range<usize>> = ends.collect();
        let mut rows = Array2::zeros((spans.last().map_or(0, |span| span.end), WIDTH));
        let places = texts.iter().flat_map(|text| text.iter().zip(0..PLACES));
        for (mut row, (piece, place)) in rows.outer_iter_mut().zip(places) {
            let start = *piece as usize * WIDTH;
            let halves = self.pieces.get(start..start + WIDTH).unwrap_or_default();
            let numbers = halves.iter().zip(self.places.row(place));
            for (to, (half, place)) in row.iter_mut().zip(numbers) {
                *to = half.to_f32() + place;
            }
        }
        self.norm.apply(&mut rows);
        for layer in &self.layers {
            layer.apply(&mut rows, &spans);
        }
        let mean = |span: Range<usize>| rows.slice(s![span, ..]).mean_axis(Axis(0));
        let means = spans.into_iter().map(mean);
        means
            .map(|mean| Meaning::towards(&mean.map(|mean| mean.to_vec()).unwrap_or_default()))
            .collect()
    }
}

impl Layer {
    fn of(numbers: &mut Numbers<'_>) -> Result<Self, NoModel> {
        // In the order of their published names.
        let attended_norm = Norm::of(numbers)?;
        let attended = Dense::of(numbers, WIDTH, WIDTH)?;
        let key = Dense::of(numbers, WIDTH, WIDTH)?;
        let query = Dense::of(numbers, WIDTH, WIDTH)?;
        let value = Dense::of(numbers, WIDTH, WIDTH)?;
        let inner = Dense::of(numbers, INNER, WIDTH)?;
        let outer_norm = Norm::of(numbers)?;
        let outer = Dense::of(numbers, WIDTH, INNER)?;
        Ok(Self {
            query,
            key,
            value,
            attended,
            attended_norm,
            inner,
            outer,
            outer_norm,
        })
    }

    fn apply(&self, rows: &mut Array2<f32>, spans: &[Range<usize>]) {
        let attended = self.attend(rows, spans);
        *rows += &self.attended.apply(attended.view());
        self.attended_norm.apply(rows);
        let mut inner = self.inner.apply(rows.view());
        inner.mapv_inplace(gelu);
        *rows += &self.outer.apply(inner.view());
        self.outer_norm.apply(rows);
    }

    /// What each piece takes from those of its own text, head by head.
    fn attend(&self, rows: &Array2<f32>, spans: &[Range<usize>]) -> Array2<f32> {
        const HEAD: usize = WIDTH / HEADS;
        let mut query = self.query.apply(rows.view());
        query /= (HEAD as f32).sqrt();
        let key = self.key.apply(rows.view());
        let value = self.value.apply(rows.view());
        let mut attended = Array2::zeros(rows.raw_dim());
        for span in spans {
            for head in 0..HEADS {
                let part = s![span.clone(), head * HEAD..(head + 1) * HEAD];
                let mut shares = query.slice(part).dot(&key.slice(part).t());
                for mut row in shares.outer_iter_mut() {
                    let most = row.fold(f32::MIN, |most, x| most.max(*x));
                    row.mapv_inplace(|x| (x - most).exp());
                    row /= row.sum();
                }
                attended
                    .slice_mut(part)
                    .assign(&shares.dot(&value.slice(part)));
            }
        }
        attended
    }
}

impl Dense {
    fn of(numbers: &mut Numbers<'_>, outputs: usize, inputs: usize) -> Result<Self, NoModel> {
        Ok(Self {
            bias: Array1::from_vec(numbers.take(outputs)?),
            weights: matrix(numbers, outputs, inputs)?,
        })
    }

    fn apply(&self, rows: ArrayView2<'_, f32>) -> Array2<f32> {
        rows.dot(&self.weights.t()) + &self.bias
    }
}

impl Norm {
    fn of(numbers: &mut Numbers<'_>) -> Result<Self, NoModel> {
        Ok(Self {
            bias: Array1::from_vec(numbers.take(WIDTH)?),
            gain: Array1::from_vec(numbers.take(WIDTH)?),
        })
    }

    /// Each row to mean 0 and variance 1, then scaled (Ba et al., *Layer normalization*,
    /// arXiv 1607.06450).
    fn apply(&self, rows: &mut Array2<f32>) {
        for mut row in rows.outer_iter_mut() {
            let mean = row.sum() / WIDTH as f32;
            row -= mean;
            let variance = row.fold(0.0, |sum, x| sum + x * x) / WIDTH as f32;
            row /= (variance + NORM_EPSILON).sqrt();
            row *= &self.gain;
            row += &self.bias;
        }
    }
}

fn matrix(numbers: &mut Numbers<'_>, rows: usize, columns: usize) -> Result<Array2<f32>, NoModel> {
    let taken = numbers.take(rows * columns)?;
    Array2::from_shape_vec((rows, columns), taken).map_err(|_| NoModel::Layout)
}

/// x times the share of a normal distribution below x (Hendrycks and Gimpel,
/// arXiv 1606.08415).
fn gelu(x: f32) -> f32 {
    0.5 * x * (1.0 + erf(x * std::f32::consts::FRAC_1_SQRT_2))
}

/// The error function, within 1.5e-7: Abramowitz and Stegun, *Handbook of mathematical
/// functions*, 7.1.26.
fn erf(x: f32) -> f32 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let sum = t
        * (0.254_829_6
            + t * (-0.284_496_74 + t * (1.421_413_7 + t * (-1.453_152 + t * 1.061_405_4))));
    (1.0 - sum * (-x * x).exp()).copysign(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_error_function_is_that_of_the_tables() {
        // Abramowitz and Stegun, table 7.1.
        for (x, value) in [
            (0.0, 0.0),
            (0.5, 0.520_5),
            (1.0, 0.842_700_8),
            (2.0, 0.995_322_3),
        ] {
            assert!((erf(x) - value).abs() < 1e-5, "{x}: {}", erf(x));
            assert!((erf(-x) + value).abs() < 1e-5);
        }
        assert_eq!(gelu(-40.0), 0.0);
        assert_eq!(gelu(40.0), 40.0);
    }

    #[test]
    fn a_norm_leaves_rows_of_one_number_at_its_bias() {
        let norm = Norm {
            gain: Array1::from_elem(WIDTH, 2.0),
            bias: Array1::from_elem(WIDTH, 0.25),
        };
        let mut rows = Array2::from_elem((1, WIDTH), 7.0);
        norm.apply(&mut rows);
        assert!(rows.iter().all(|x| (x - 0.25).abs() < 1e-6));
    }

    #[test]
    fn other_bytes_are_refused() {
        assert_eq!(
            SentenceEncoder::from_bytes(b"x").err(),
            Some(NoModel::Layout)
        );
    }
}
