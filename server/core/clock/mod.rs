//! Where does each recording lie on the one clock of its event?
//!
//! In: the band levels of every recording, its samples on demand, and
//! what else is known of it (stamps, takes, what a person fixed). Out: a
//! [`Placement`] for each recording, how it was found, and how sure that is.
//! Times are ms with fractions, rates ppm.
//!
//! A constant delay between two microphones (2.9 ms a metre) is distance, not
//! clock error; nothing here tries to remove it, so it is inside the offset.
//!
//! This room never opens a file and never guesses: where two answers are as good,
//! it says so.

mod align;
mod coarse;
mod coarse_all;
mod decide;
mod field;
mod fine;
mod fit;
mod line;
mod looks;
mod measure;
mod member;
mod params;
mod peak;
mod placement;
mod polarity;
mod prepared;
#[cfg(test)]
mod room;
#[cfg(test)]
pub(crate) mod scenes;
mod solution;
mod solve;
mod support;
mod track;
mod track_maker;
mod votes;
mod weigh;

pub use align::align;
pub use fine::{FINE_WINDOW, FineLag, FineLags, FineSpectrum};
pub use fit::{LagLine, LagPoint, Slope, lag_line};
pub use line::Line;
pub use member::{Before, Fix, Member, Samples, StampAt};
pub use params::ClockParams;
pub use placement::{How, Piece, Placement};
pub use solution::{Finding, Fine, PAIR_VERSION, Pair, Placed, Solution, Stretch, Warning};
pub use track::{FRAME_MS, TRACK_BANDS, Track, TrackError, TrackLevels, dbfs_of};
pub use track_maker::TrackMaker;

use coarse_all::coarse_all;
use fine::stretched;
use support::{Coarse, Support};
