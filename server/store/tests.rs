//! Holds the store to what its docs say.
