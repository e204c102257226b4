//! Are these the words that were asked for?
//!
//! In: words as spoken or typed. Out: their normal form, parsed queries, which
//! words of a text match. **Pure**: no I/O, no state, no SQL.
