//! photoproof command line.

fn main() {}
