//! What do these samples say: is it speech, how loud, how are channels related?
//!
//! In: mono samples at 16 kHz (or interleaved channels at any rate where said
//! so), full scale 1.0. Out: times in ms from the first sample, levels in
//! dBFS, ratios in dB. Cost: linear in the number of samples, constant memory.
//! **Never does I/O**, keeps no state outside its structs, never panics on
//! non-finite samples.
