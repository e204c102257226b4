//! What words are in these samples?
