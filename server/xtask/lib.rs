//! Chores.
