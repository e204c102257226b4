//! Who spoke?
//!
//! In: the stretches of speech of an event, each listened to once in its best hearing
//! ([`Ear`]), the band levels of worn recordings on the event clock, voices known
//! before, and what people said. Out: turns ([`turns`]), each with a speaker, how sure
//! that is, and why. Times are ms of the event clock, levels dBFS, likeness of voices a
//! cosine.
//!
//! - [`mel`], [`weights`], [`encoder`], [`listen`], [`kept`]: what a voice is like.
//! - [`voice`], [`windows`], [`cluster`], [`groups`]: which windows are one voice.
//! - [`levels`], [`worn`], [`own`]: whose microphone stands out.
//! - [`people`]: whose voice it is.
//! - [`path`], [`decide`], `turns`: both together, over time.
//!
//! A [`Voice`] is biometric data: nothing here stores it, and whoever does answers for
//! how long. Cost: listening, some 0.03 s of processor time for a second of speech; the
//! rest some 4 s for 8 hours of speech in 2,000 stretches with ten microphones.
//!
//! **Never opens a file, never listens to more than one hearing of a stretch, never
//! gives a name it was not given.**

mod cluster;
mod decide;
mod encoder;
mod groups;
mod kept;
mod kinds;
mod levels;
mod listen;
mod mel;
mod own;
mod params;
mod path;
mod people;
mod turns;
mod voice;
mod weights;
mod windows;
mod worn;

#[cfg(test)]
mod doubt_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod worn_tests;

pub use decide::turns;
pub use encoder::Encoder;
pub use kept::NotListened;
pub use kinds::{Evidence, Found, Known, Speaker, Stretch, Told, Turn, Worn};
pub use listen::{Ear, Glance, Listened};
pub use params::VoiceParams;
pub use voice::{NoVoice, Voice, same_voice};
pub use weights::{KEPT_BYTES, NoModel, PUBLISHED_BYTES, kept_form};
