//! What is known, and is it safely written?
