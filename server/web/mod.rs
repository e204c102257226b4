//! What does a person see?
