//! Which stretches of speech are the same, and which hearing of each is best?
//!
//! In: recordings with their place on a clock ([`Hearer`]), the speech found in
//! each, what two of them share in sound ([`Sound`]), and the moments that exist
//! ([`Kept`]). Out: each stretch of speech once ([`Moment`]), with every hearing
//! of it in rank order and the reasons; later, of several attempts at its words,
//! the ones to keep, and what a person makes of them ([`reworded`]). Event times are those of an island's clock, ms.
//!
//! Recordings on different islands are never compared, and nothing here listens:
//! what a recording sounds like is asked of [`Sound`], what was said comes as
//! words.

mod fuse;
mod group;
mod hearings;
mod kinds;
mod lanes;
mod line;
mod params;
mod pieces;
mod score;
mod seconds;
mod times;
mod together;
mod tracks;
mod words;

pub use fuse::{Fused, FusedWord, fuse};
pub use group::group;
pub use kinds::{Hearer, Hearing, Kept, Moment, NotAPlace, PlacedAs, Sound};
pub use line::{Bounds, LineWord, cut_at, fault, has_room, reworded, settled, whole_names};
pub use params::MomentParams;
pub use seconds::{SecondTry, second_tries};
pub use times::in_place_of;
pub use tracks::{Measured, Tracks};
pub use words::{Attempt, SaidWord, weakness};
