//! Parse, run, exit code.

fn main() {}
