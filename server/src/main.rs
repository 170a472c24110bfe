//! The binary `mendpost`.
fn main() {}
