//! fairprint
fn main() {}
