//! How do I get samples, times and facts out of this file?
