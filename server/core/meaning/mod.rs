//! Which line means what this question asks for, whatever its words?
//!
//! In: texts. Out: for each a direction in 384 dimensions, such that texts of like
//! meaning point the same way; likeness is the cosine between two, -1 to 1.
//!
//! - [`passages`]: what a moment is known by, mostly its own words.
//! - [`SentenceEncoder`]: the model, in the form that [`kept_form`] makes of the
//!   published one.
//! - [`Meaning`]: a direction, and the 388 bytes it is kept in.
//! - [`Nearest`]: the best of very many.
//!
//! This room never opens a file, never knows an event, never says that two texts *are*
//! the same: a likeness is a guess, and where the best is below [`LEAST_LIKE`] none is told.
//!
//! Cost on one core, some 30 tokens a passage: 20 to 30 ms a passage, 10 ms a short
//! question; 70 MB for the model.

mod encoder;
mod nearest;
mod passage;
mod vector;
mod weights;
mod wordpiece;

pub use encoder::SentenceEncoder;
pub use nearest::Nearest;
pub use passage::{Passage, Said, passages, reaching};
pub use vector::{KEPT_VECTOR_BYTES, Meaning, NoMeaning, Question};
pub use weights::{NoModel, PUBLISHED_BYTES, kept_form};

/// A question whose likest moment is less like it than this is answered by none. Chosen
/// on every other question of `cargo xtask bench meaning`, whose other half says what it
/// is worth.
pub const LEAST_LIKE: f32 = 0.44;
